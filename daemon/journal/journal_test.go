package journal

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

func TestNewJournalIsEmpty(t *testing.T) {
	j := fresh(t)
	seq, hash := j.Head()
	require.Zero(t, seq)
	require.Equal(t, maintenance.ZeroHash, hash)
	require.Len(t, j.ID(), 26)
	require.Empty(t, export(t, j))
	_, ok, err := j.Lookup("note-0000001")
	require.NoError(t, err)
	require.False(t, ok)
	_, ok, err = j.Checkpoint()
	require.NoError(t, err)
	require.False(t, ok)

	info, err := os.Stat(j.Path())
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	files, err := os.ReadDir(filepath.Dir(j.Path()))
	require.NoError(t, err)
	require.Len(t, files, 1, "nothing is left beside it")
}

func TestWhatIsAppendedIsReadAfterReopening(t *testing.T) {
	path := sample(t)
	j := opened(t, path)
	lines := export(t, j)
	require.Len(t, lines, 10)

	e, ok, err := j.Lookup("note-0000003")
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, uint64(3), e.Seq)
	require.Equal(t, lines[2], string(maintenance.Encode(e)))

	_, ok, err = j.At(11)
	require.NoError(t, err)
	require.False(t, ok)

	by, ok := j.VoidOf(2)
	require.True(t, ok)
	require.Equal(t, uint64(6), by)

	state, ok, err := j.Signal("north")
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, `{"on":true}`, string(state))
	_, ok, err = j.Signal("south")
	require.NoError(t, err)
	require.False(t, ok)

	c, ok, err := j.Checkpoint()
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, "derived", string(c.Blob))

	last, err := j.LastNotices(2)
	require.NoError(t, err)
	want := []notify.Notice{notice(2), notice(3)}
	want[0].Seq, want[1].Seq = 2, 3
	require.Equal(t, fmt.Sprint(want[0].Key, want[1].Key), fmt.Sprint(last[0].Key, last[1].Key))
	require.Equal(t, []uint64{2, 3}, []uint64{last[0].Seq, last[1].Seq})
	require.True(t, last[1].Until.Equal(*want[1].Until))
}

func TestInOrderFollowsTheTimesTold(t *testing.T) {
	j := opened(t, sample(t))
	var seqs []uint64
	collect := func(e maintenance.Entry) error {
		seqs = append(seqs, e.Seq)
		return nil
	}
	require.NoError(t, j.InOrder(Position{}, collect))
	require.Equal(t, []uint64{7, 1, 6, 2, 3, 4, 5, 8, 9, 10}, seqs)

	seqs = nil
	require.NoError(t, j.InOrder(Position{evening, 6}, collect))
	require.Equal(t, []uint64{6, 2, 3, 4, 5, 8, 9, 10}, seqs, "from there on, it included")

	seqs = nil
	require.NoError(t, j.InOrder(Position{}, func(e maintenance.Entry) error {
		seqs = append(seqs, e.Seq)
		return ErrStop
	}))
	require.Equal(t, []uint64{7}, seqs)
	oops := errors.New("oops")
	require.ErrorIs(t, j.InOrder(Position{}, func(maintenance.Entry) error { return oops }), oops)
}

// Callbacks may write: the walk sees what there was when it began.
func TestWalksSeeTheJournalAsOfTheirBeginning(t *testing.T) {
	j := fresh(t)
	s := continuing(j)
	appended(t, j, s.notes(2*chunkItems)...)
	n := 0
	require.NoError(t, j.InOrder(Position{}, func(maintenance.Entry) error {
		if n++; n%300 == 0 {
			appended(t, j, s.note())
		}
		return nil
	}))
	require.Equal(t, 2*chunkItems, n)
	n = 0
	require.NoError(t, j.Lines(3, func(seq uint64, line []byte) error {
		if n++; n%300 == 0 {
			appended(t, j, s.note())
		}
		require.Equal(t, uint64(n+3), seq)
		return nil
	}))
	require.Equal(t, 2*chunkItems, n)
}

func TestTimesFarAwaySort(t *testing.T) {
	j := fresh(t)
	s := continuing(j)
	for i, year := range []int{9999, 1970, 2263, 2026} {
		appended(t, j, s.tell(fmt.Sprint("y", i), time.Date(year, 1, 1, 0, 0, 0, i, time.UTC), &maintenance.NoteAct{Pump: "north"}))
	}
	var years []int
	require.NoError(t, j.InOrder(Position{}, func(e maintenance.Entry) error {
		years = append(years, e.At.Year())
		return nil
	}))
	require.Equal(t, []int{1970, 2026, 2263, 9999}, years)
}

func TestAppendRefuses(t *testing.T) {
	j := fresh(t)
	s := continuing(j)
	appended(t, j, s.notes(2)...)
	unchanged := *s
	for _, c := range []struct {
		name, says string
		batch      func() *Batch
	}{
		{"an id on record", `the id "note-0000001" is that of entry 1`, func() *Batch {
			return &Batch{Entries: []maintenance.Entry{s.note(), s.tell("note-0000001", evening, &maintenance.NoteAct{})}}
		}},
		{"an id twice in the batch", `the id "a" is that of entry 3`, func() *Batch {
			return &Batch{Entries: []maintenance.Entry{s.tell("a", evening, &maintenance.NoteAct{}), s.tell("a", evening, &maintenance.NoteAct{})}}
		}},
		{"a void of nothing", `of an entry "b" that is not on record`, func() *Batch { return &Batch{Entries: []maintenance.Entry{s.void("b")}} }},
		{"a void of itself", `of an entry "void-of-void-of-x" that is not on record`, func() *Batch {
			return &Batch{Entries: []maintenance.Entry{s.tell("void-of-void-of-x", evening, &maintenance.VoidAct{Entry: "void-of-void-of-x"})}}
		}},
		{"an entry without id", "has no id", func() *Batch {
			return &Batch{Entries: []maintenance.Entry{s.tell("", evening, &maintenance.NoteAct{})}}
		}},
		{"an entry that cannot be read back", "could not be read back", func() *Batch {
			return &Batch{Entries: []maintenance.Entry{s.tell("c", evening, &maintenance.NoteAct{Pump: "No Name"})}}
		}},
		{"a notice of a time that cannot be", "encode notice", func() *Batch {
			n := notice(1)
			n.At = time.Date(12000, 1, 1, 0, 0, 0, 0, time.UTC)
			return &Batch{Entries: s.notes(1), Notices: []notify.Notice{n}}
		}},
		{"a notice without end", "more than", func() *Batch {
			n := notice(1)
			n.Detail = strings.Repeat("x", maintenance.MaxLine)
			return &Batch{Notices: []notify.Notice{n}}
		}},
		{"a source without a name", "source", func() *Batch { return &Batch{Entries: s.notes(1), Signals: map[string][]byte{"": nil}} }},
	} {
		t.Run(c.name, func(t *testing.T) {
			*s = unchanged
			require.ErrorContains(t, j.Append(c.batch()), c.says)
			seq, _ := j.Head()
			require.Equal(t, uint64(2), seq)
			require.Equal(t, Report{Seq: 2, Hash: unchanged.hash}, verified(t, j))
		})
	}
	*s = unchanged
	appended(t, j, s.note())
	appended(t, j)
}

func TestAppendPanicsWhenTheChainIsNotContinued(t *testing.T) {
	j := fresh(t)
	s := continuing(j)
	first := s.note()
	appended(t, j, first)
	spoiled := s.note()
	spoiled.Note = "another"
	for name, e := range map[string]maintenance.Entry{"again": first, "a gap": s.note(), "spoiled": spoiled} {
		require.Panics(t, func() { _ = j.Append(&Batch{Entries: []maintenance.Entry{e}}) }, name)
	}
	appended(t, j, continuing(j).note())
}

func TestFirstVoidStands(t *testing.T) {
	j := fresh(t)
	s := continuing(j)
	appended(t, j, s.note(), s.void("note-0000001"))
	appended(t, j, s.tell("again", evening, &maintenance.VoidAct{Entry: "note-0000001"}))
	require.NoError(t, j.Voids(func(target, by uint64) error {
		require.Equal(t, []uint64{1, 2}, []uint64{target, by})
		return nil
	}))
	_, ok := j.VoidOf(2)
	require.False(t, ok)
}

// A clock set back leaves an early time of recording behind a late one.
func TestSeqKnownBy(t *testing.T) {
	j := fresh(t)
	h := link{0, maintenance.ZeroHash}
	for i, minute := range []int{10, 20, 15, 30} {
		e := maintenance.Entry{ID: fmt.Sprint(i), At: evening, Act: &maintenance.NoteAct{}, Note: `,"recorded":"1999-01-01T00:00:00Z"`}
		e = maintenance.Seal(e, h.seq+1, evening.Add(time.Duration(minute)*time.Minute), h.hash)
		appended(t, j, e)
		h = link{e.Seq, e.Hash}
	}
	for minute, want := range map[int]uint64{9: 0, 10: 1, 15: 1, 19: 1, 20: 3, 29: 3, 30: 4, 99: 4} {
		known, err := j.SeqKnownBy(evening.Add(time.Duration(minute) * time.Minute))
		require.NoError(t, err)
		require.Equal(t, want, known, "minute %d", minute)
	}
}

func TestCheckpointOfAnotherEntryIsIgnored(t *testing.T) {
	j := fresh(t)
	s := continuing(j)
	appended(t, j, s.notes(2)...)
	require.NoError(t, j.PutCheckpoint(Checkpoint{1, s.hash, []byte("x")}))
	_, ok, err := j.Checkpoint()
	require.NoError(t, err)
	require.False(t, ok, "the hash is that of entry 2")
	require.NoError(t, j.PutCheckpoint(Checkpoint{3, s.hash, []byte("x")}))
	_, ok, err = j.Checkpoint()
	require.NoError(t, err)
	require.False(t, ok, "there is no entry 3")
	require.NoError(t, j.PutCheckpoint(Checkpoint{2, s.hash, nil}))
	c, ok, err := j.Checkpoint()
	require.NoError(t, err)
	require.True(t, ok)
	require.Empty(t, c.Blob)
}

func TestClosedJournalSaysSo(t *testing.T) {
	j, err := Open(filepath.Join(t.TempDir(), "book.db"))
	require.NoError(t, err)
	s := continuing(j)
	require.NoError(t, j.Close())
	require.NoError(t, j.Close())
	require.ErrorIs(t, j.Append(&Batch{Entries: s.notes(1)}), os.ErrClosed)
	require.ErrorIs(t, j.Reopen(), os.ErrClosed)
	_, _, err = j.Lookup("x")
	require.ErrorIs(t, err, os.ErrClosed)
	_, err = j.Verify(t.Context(), nil)
	require.ErrorIs(t, err, os.ErrClosed)
}

func TestReadOnlyReadsAndDoesNotWrite(t *testing.T) {
	path := sample(t)
	j, err := OpenReadOnly(path)
	require.NoError(t, err)
	defer j.Close()
	require.Len(t, export(t, j), 10)
	verified(t, j)
	require.ErrorContains(t, j.Append(&Batch{Entries: continuing(j).notes(1)}), "read-only")
	require.ErrorContains(t, j.Reopen(), "read-only")

	other, err := OpenReadOnly(path)
	require.NoError(t, err, "readers share")
	require.NoError(t, other.Close())

	_, err = OpenReadOnly(filepath.Join(t.TempDir(), "none.db"))
	require.ErrorIs(t, err, os.ErrNotExist)
}
