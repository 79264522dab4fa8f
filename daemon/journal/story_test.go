package journal

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// The tests' kitchen is invented: a pump called north, jars, and notes about them.

func TestMain(m *testing.M) {
	if role := os.Getenv("SUMPBOOK_JOURNAL_CHILD"); role != "" {
		os.Exit(child(role, os.Getenv("SUMPBOOK_JOURNAL_PATH")))
	}
	goleak.VerifyTestMain(m)
}

var evening = time.Date(2026, 11, 24, 21, 40, 0, 0, time.FixedZone("", 3600))

// A story makes entries that continue a chain, and notices.
type story struct {
	link
	made int
}

func continuing(j *Journal) *story {
	seq, hash := j.Head()
	return &story{link: link{seq, hash}, made: int(seq)}
}

func (s *story) tell(id string, at time.Time, act maintenance.Act) maintenance.Entry {
	s.made++
	e := maintenance.Entry{ID: id, At: at, Act: act, By: "ana"}
	if n, ok := act.(*maintenance.NoteAct); ok {
		e.Note = fmt.Sprintf("note %d on %s", s.made, n.Vessel)
	}
	e = maintenance.Seal(e, s.seq+1, evening.Add(time.Duration(s.made)*time.Minute), s.hash)
	s.link = link{e.Seq, e.Hash}
	return e
}

func (s *story) note() maintenance.Entry {
	at := evening.Add(time.Duration(s.made) * time.Minute)
	return s.tell(fmt.Sprintf("note-%07d", s.made+1), at, &maintenance.NoteAct{Vessel: "jar-1"})
}

func (s *story) notes(n int) []maintenance.Entry {
	all := make([]maintenance.Entry, n)
	for i := range all {
		all[i] = s.note()
	}
	return all
}

func (s *story) void(target string) maintenance.Entry {
	return s.tell("void-of-"+target, evening, &maintenance.VoidAct{Entry: target})
}

func notice(n int) notify.Notice {
	until := evening.Add(time.Hour)
	return notify.Notice{
		At:  evening.Add(time.Duration(n) * time.Second),
		Key: notify.Key{Action: fmt.Sprintf("drain/north/note-%07d", n), Stage: notify.Opened, Channel: "phone"}, Outcome: notify.Held, Until: &until,
	}
}

// opened opens a journal that is verified and closed when the test ends.
func opened(t testing.TB, path string) *Journal {
	t.Helper()
	j, err := Open(path)
	require.NoError(t, err)
	t.Cleanup(func() {
		if j.why() == nil {
			verified(t, j)
		}
		require.NoError(t, j.Close())
	})
	return j
}

func fresh(t testing.TB) *Journal {
	t.Helper()
	return opened(t, filepath.Join(t.TempDir(), "book.db"))
}

func verified(t testing.TB, j *Journal) Report {
	t.Helper()
	r, err := j.Verify(context.Background(), nil)
	require.NoError(t, err)
	return r
}

func appended(t testing.TB, j *Journal, entries ...maintenance.Entry) {
	t.Helper()
	require.NoError(t, j.Append(&Batch{Entries: entries}))
}

// export is what a journal holds, as lines.
func export(t testing.TB, j *Journal) []string {
	t.Helper()
	var all []string
	require.NoError(t, j.Lines(0, func(seq uint64, line []byte) error {
		all = append(all, string(line))
		return nil
	}))
	return all
}

// sample makes a small file with something of everything, and gives its path.
func sample(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "book.db")
	j, err := Open(path)
	require.NoError(t, err)
	s := continuing(j)
	appended(t, j, s.notes(5)...)
	appended(t, j, s.void("note-0000002"), s.tell("late", evening.Add(-time.Hour), &maintenance.NoteAct{Pump: "north"}))
	require.NoError(t, j.Append(&Batch{
		Entries: s.notes(3), Notices: []notify.Notice{notice(1), notice(2), notice(3)},
		Signals: map[string][]byte{"north": []byte(`{"on":true}`)},
	}))
	require.NoError(t, j.PutCheckpoint(Checkpoint{s.seq, s.hash, []byte("derived")}))
	verified(t, j)
	require.NoError(t, j.Close())
	return path
}
