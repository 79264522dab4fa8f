package journal

import (
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A twin is what a journal should hold, in plain slices.
type twin struct {
	story
	lines   []string
	entries []maintenance.Entry
	voids   map[uint64]uint64
	notices int
	signals map[string]string
	blob    *Checkpoint
}

func (w *twin) seqOf(id string) uint64 {
	return uint64(1 + slices.IndexFunc(w.entries, func(e maintenance.Entry) bool { return e.ID == id }))
}

// Whatever is done to a journal, it holds what a slice would.
func TestJournalIsItsTwin(t *testing.T) {
	t.Parallel()
	dir, run := t.TempDir(), 0
	rapid.Check(t, func(t *rapid.T) {
		run++
		path := filepath.Join(dir, fmt.Sprint(run, ".db"))
		j, err := Open(path)
		require.NoError(t, err)
		defer func() { require.NoError(t, j.Close()) }()
		w := &twin{story: *continuing(j), voids: map[uint64]uint64{}, signals: map[string]string{}}
		t.Repeat(map[string]func(*rapid.T){
			"append":     func(t *rapid.T) { w.append(t, j) },
			"duplicate":  func(t *rapid.T) { w.duplicate(t, j) },
			"checkpoint": func(t *rapid.T) { w.checkpoint(t, j) },
			"reopen":     func(t *rapid.T) { require.NoError(t, j.Reopen()) },
			"restart": func(t *rapid.T) {
				require.NoError(t, j.Close())
				j, err = Open(path)
				require.NoError(t, err)
			},
			"": func(t *rapid.T) { w.compare(t, j) },
		})
	})
}

func (w *twin) append(t *rapid.T, j *Journal) {
	b := &Batch{Signals: map[string][]byte{}}
	for range rapid.IntRange(0, 4).Draw(t, "entries") {
		b.Entries = append(b.Entries, w.draw(t))
	}
	for range rapid.IntRange(0, 2).Draw(t, "notices") {
		b.Notices = append(b.Notices, notice(w.notices))
		w.notices++
	}
	if rapid.Bool().Draw(t, "signal") {
		source, state := rapid.SampledFrom([]string{"north", "south"}).Draw(t, "source"), rapid.String().Draw(t, "state")
		b.Signals[source], w.signals[source] = []byte(state), state
	}
	require.NoError(t, j.Append(b))
}

func (w *twin) draw(t *rapid.T) maintenance.Entry {
	at := evening.Add(time.Duration(rapid.IntRange(-3, 3).Draw(t, "hour")) * time.Hour)
	var act maintenance.Act = &maintenance.NoteAct{Vessel: "jar-1"}
	if n := len(w.entries); n > 0 && rapid.IntRange(0, 4).Draw(t, "void") == 0 {
		target := rapid.SampledFrom(w.entries).Draw(t, "target")
		act = &maintenance.VoidAct{Entry: target.ID}
		if _, twice := w.voids[target.Seq]; !twice {
			w.voids[target.Seq] = uint64(n + 1)
		}
	}
	e := w.tell(fmt.Sprintf("%s-%d", rapid.StringMatching(`[a-z]{1,4}`).Draw(t, "id"), w.made), at, act)
	w.entries, w.lines = append(w.entries, e), append(w.lines, string(maintenance.Encode(e)))
	return e
}

func (w *twin) duplicate(t *rapid.T, j *Journal) {
	if len(w.entries) == 0 {
		t.Skip("nothing on record")
	}
	s := w.story
	id := rapid.SampledFrom(w.entries).Draw(t, "duplicate").ID
	err := j.Append(&Batch{Entries: []maintenance.Entry{s.tell(id, evening, &maintenance.NoteAct{})}, Notices: []notify.Notice{notice(0)}})
	require.ErrorContains(t, err, fmt.Sprintf("that of entry %d", w.seqOf(id)))
}

func (w *twin) checkpoint(t *rapid.T, j *Journal) {
	if len(w.entries) == 0 {
		t.Skip("nothing on record")
	}
	e := rapid.SampledFrom(w.entries).Draw(t, "entry")
	w.blob = &Checkpoint{e.Seq, e.Hash, rapid.SliceOfN(rapid.Byte(), 1, 9000).Draw(t, "blob")}
	require.NoError(t, j.PutCheckpoint(*w.blob))
}

func (w *twin) compare(t *rapid.T, j *Journal) {
	r, err := j.Verify(t.Context(), nil)
	require.NoError(t, err)
	require.Equal(t, Report{uint64(len(w.lines)), w.hash, uint64(len(w.voids)), uint64(w.notices)}, r)
	from := uint64(rapid.IntRange(0, len(w.lines)).Draw(t, "after"))
	require.NoError(t, j.Lines(from, func(seq uint64, line []byte) error {
		from++
		require.Equal(t, from, seq)
		require.Equal(t, w.lines[seq-1], string(line))
		return nil
	}))
	require.EqualValues(t, len(w.lines), from)
	w.compareOrder(t, j)
	for target, by := range w.voids {
		got, ok := j.VoidOf(target)
		require.True(t, ok)
		require.Equal(t, by, got)
	}
	for source, state := range w.signals {
		got, ok, err := j.Signal(source)
		require.NoError(t, err)
		require.True(t, ok)
		require.Equal(t, state, string(got))
	}
	c, ok, err := j.Checkpoint()
	require.NoError(t, err)
	require.Equal(t, w.blob != nil, ok)
	if ok {
		require.Equal(t, *w.blob, c)
	}
}

func (w *twin) compareOrder(t *rapid.T, j *Journal) {
	sorted := slices.Clone(w.entries)
	slices.SortStableFunc(sorted, func(a, b maintenance.Entry) int { return a.At.Compare(b.At) })
	skip := 0
	var from Position
	if len(sorted) > 0 {
		skip = rapid.IntRange(0, len(sorted)-1).Draw(t, "from")
		from = Position{sorted[skip].At, sorted[skip].Seq}
	}
	require.NoError(t, j.InOrder(from, func(e maintenance.Entry) error {
		require.Equal(t, sorted[skip].Seq, e.Seq)
		skip++
		return nil
	}))
	require.Len(t, sorted, skip)
	for _, e := range sorted[:min(3, len(sorted))] {
		got, ok, err := j.Lookup(e.ID)
		require.NoError(t, err)
		require.True(t, ok)
		require.Equal(t, maintenance.Encode(e), maintenance.Encode(got))
	}
}
