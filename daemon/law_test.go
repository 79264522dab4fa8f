package daemon

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance"
)

// A plain is the book as a slice: a request is taken if the fold of everything, the
// request included, goes through.
type plain struct {
	told  []maintenance.Entry
	byID  map[string]maintenance.Entry
	voids map[string]bool
}

func newPlain() *plain {
	return &plain{byID: map[string]maintenance.Entry{}, voids: map[string]bool{}}
}

// judge gives how many entries of a request are new, or that it is refused.
func (r *plain) judge(entries []maintenance.Entry, now time.Time, keep bool) (fresh int, ok bool) {
	next := plain{append([]maintenance.Entry(nil), r.told...), map[string]maintenance.Entry{}, map[string]bool{}}
	for id, e := range r.byID {
		next.byID[id] = e
	}
	for id := range r.voids {
		next.voids[id] = true
	}
	for _, last := range []bool{false, true} { // what withdraws comes after the rest
		for _, e := range entries {
			if _, isVoid := e.Act.(*maintenance.VoidAct); isVoid == last && !next.tell(e, now) {
				return 0, false
			}
		}
	}
	for _, e := range next.told {
		if v, is := e.Act.(*maintenance.VoidAct); is {
			if _, known := next.byID[v.Entry]; !known {
				return 0, false
			}
		}
	}
	if _, err := maintenance.Fold(maintenance.DefaultRules(), next.told); err != nil {
		return 0, false
	}
	fresh = len(next.told) - len(r.told)
	if keep {
		*r = next
	}
	return fresh, true
}

func (r *plain) tell(e maintenance.Entry, now time.Time) bool {
	if known, found := r.byID[e.ID]; found {
		if e.At.IsZero() {
			e.At = known.At
		}
		return maintenance.Content(e) == maintenance.Content(known)
	}
	if e.At.IsZero() {
		e.At = now
	}
	if v, is := e.Act.(*maintenance.VoidAct); is {
		target, found := r.byID[v.Entry]
		if !found || target.Act.Kind() == "void" || r.voids[v.Entry] {
			return false
		}
		r.voids[v.Entry] = true
	}
	e.Seq = uint64(len(r.told) + 1)
	r.told = append(r.told, e)
	r.byID[e.ID] = e
	return true
}

// drawEntry draws one of few things that happen at one of few times, so that they often
// clash, tie, repeat and refer to one another. A machine's id is made of what it says.
func drawEntry(t *rapid.T) maintenance.Entry {
	at := day0.Add(time.Duration(rapid.IntRange(1, 40).Draw(t, "h")) * time.Hour)
	id := fmt.Sprintf("e%d", rapid.IntRange(0, 150).Draw(t, "id"))
	kind := rapid.SampledFrom([]string{"start", "stop", "drain", "fill", "void", "note", "note", "start/machine", "stop/machine"}).Draw(t, "kind")
	switch kind {
	case "drain":
		return entry(t, at, fmt.Sprintf(`{"id":%q,"kind":"drain","pump":"north","to":"jar-1"}`, id))
	case "fill":
		return entry(t, at, fmt.Sprintf(`{"id":%q,"kind":"fill","pump":"north","from":"can-1"}`, id))
	case "void":
		return entry(t, at, fmt.Sprintf(`{"id":%q,"kind":"void","entry":"e%d"}`, id, rapid.IntRange(0, 150).Draw(t, "target")))
	case "note":
		if rapid.Bool().Draw(t, "now") {
			at = time.Time{}
		}
		return entry(t, at, fmt.Sprintf(`{"id":%q,"kind":"note","note":"x"}`, id))
	case "start/machine", "stop/machine":
		kind = kind[:len(kind)-len("/machine")]
		id = fmt.Sprintf("north/%s/%s", kind, at.Format(time.RFC3339))
	}
	return entry(t, at, fmt.Sprintf(`{"id":%q,"kind":%q,"pump":"north"}`, id, kind))
}

// requireWhole holds the book against a fold of its journal from the beginning, rung by
// rung.
func requireWhole(t require.TestingT, b *Book) {
	s := b.now.Load()
	state, n, rungs := maintenance.NewState(), 0, s.ladder
	require.NoError(t, b.Walk(s.seq, day0.AddDate(100, 0, 0), func(e maintenance.Entry) error {
		_, err := state.Apply(b.rules, e)
		n++
		if len(rungs) > 0 && rungs[0].n == n {
			require.Equal(t, fingerprint(t, state), fingerprint(t, rungs[0].state))
			rungs = rungs[1:]
		}
		return err
	}))
	require.Empty(t, rungs)
	require.Equal(t, n, s.count)
	require.Equal(t, fingerprint(t, state), fingerprint(t, s.state))
	require.NoError(t, b.checkFold())
}

// Requests of one and of many entries, with ties and repeats, judged alone and in groups,
// for keeps and dry, over restarts with and without a checkpoint: the book takes what a
// plain fold of everything takes, and stands where that stands.
func TestLawTheBookIsTheFoldOfItsEntries(t *testing.T) {
	t.Parallel()
	dir, n := t.TempDir(), 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		path := filepath.Join(dir, fmt.Sprintf("book-%d.db", n))
		now := day0.Add(48 * time.Hour)
		b, err := OpenBook(path, maintenance.DefaultRules())
		require.NoError(t, err)
		defer func() { require.NoError(t, b.Close()) }()
		ref := newPlain()
		first := opening(t)
		for i := range rapid.IntRange(0, 120).Draw(t, "notes") { // so that there are rungs to go on from
			first = append(first, entry(t, day0.Add(time.Duration(i%45)*time.Hour), fmt.Sprintf(`{"id":"n%d","kind":"note","note":"x"}`, i)))
		}
		_, ok := ref.judge(first, now, true)
		require.True(t, ok)
		_, err = b.Record(context.Background(), now, first)
		require.NoError(t, err)
		for range rapid.IntRange(1, 12).Draw(t, "groups") {
			tellGroup(t, b, ref, now)
			requireWhole(t, b)
			if rapid.IntRange(0, 5).Draw(t, "restart") == 0 {
				if rapid.Bool().Draw(t, "checkpoint") {
					require.NoError(t, b.saveCheckpoint())
				}
				if rapid.Bool().Draw(t, "more") {
					tellGroup(t, b, ref, now)
				}
				require.NoError(t, b.Close())
				b, err = OpenBook(path, maintenance.DefaultRules())
				require.NoError(t, err)
				requireWhole(t, b)
			}
		}
	})
}

func tellGroup(t *rapid.T, b *Book, ref *plain, now time.Time) {
	var group []*telling
	for range rapid.IntRange(1, 6).Draw(t, "tellings") {
		n := rapid.SampledFrom([]int{1, 1, 1, 2, 2, 3, 8}).Draw(t, "n")
		entries := rapid.SliceOfN(rapid.Custom(drawEntry), n, n).Draw(t, "entries")
		group = append(group, &telling{entries: entries, now: now, dry: rapid.IntRange(0, 4).Draw(t, "dry") == 0, answer: make(chan told, 1)})
	}
	b.answer(group)
	for i, one := range group {
		fresh, ok := ref.judge(one.entries, now, !one.dry)
		got := <-one.answer
		if !ok {
			require.Error(t, got.err, "telling %d", i)
			rejection(t, got.err)
			continue
		}
		require.NoError(t, got.err, "telling %d", i)
		require.Equal(t, fresh, got.receipt.Accepted)
		require.Equal(t, len(one.entries)-fresh, got.receipt.Duplicates)
		require.Len(t, got.receipt.Entries, len(one.entries))
	}
	seq, _ := b.Head()
	require.Len(t, ref.told, int(seq))
}

// Told late, at any place of a book that is long enough for every kind of rung, before and
// after restarts: the same state as if told in order, and each rung right.
func TestALateEntryAnywhere(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "book.db")
	all := seasons(t, 3000)
	now := all[len(all)-1].At
	b := openBook(t, path)
	defer func() { require.NoError(t, b.Close()) }()
	_, err := b.Record(context.Background(), now, all)
	require.NoError(t, err)
	require.NoError(t, b.saveCheckpoint())
	random := rand.New(rand.NewPCG(1, 2))
	var ids []string
	for i := range rounds(t, 12) {
		at := all[20+random.IntN(len(all)-20)].At // also the very instant of another
		line := fmt.Sprintf(`{"id":"late-%d","kind":"vacuum","pump":"north","pa":%d}`, i, 1+i%50)
		if i%4 == 3 {
			line = fmt.Sprintf(`{"id":"late-%d","kind":"void","entry":%q}`, i, ids[random.IntN(len(ids))])
			at = now
		} else {
			ids = append(ids, fmt.Sprintf("late-%d", i))
		}
		_, err := b.Record(context.Background(), now, []maintenance.Entry{entry(t, at, line)})
		if err != nil {
			require.Contains(t, rejection(t, err).Says, "already")
		}
		if i%3 == 2 {
			requireWhole(t, b)
			require.NoError(t, b.Close())
			b = openBook(t, path)
		}
		requireWhole(t, b)
	}
	require.GreaterOrEqual(t, len(b.now.Load().ladder), 3)
}

// As of a moment, by what was known at another: the fold of what had happened by the one
// among what the book had heard, and had not heard withdrawn, by the other.
func TestLawAMomentIsAFold(t *testing.T) {
	t.Parallel()
	dir, n := t.TempDir(), 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		b, err := OpenBook(filepath.Join(dir, fmt.Sprintf("book-%d.db", n)), maintenance.DefaultRules())
		require.NoError(t, err)
		defer func() { require.NoError(t, b.Close()) }()
		now := day0.Add(48 * time.Hour)
		_, err = b.Record(context.Background(), now, opening(t))
		require.NoError(t, err)
		for range rapid.IntRange(10, 30).Draw(t, "tellings") {
			now = now.Add(time.Minute)
			_, err := b.Record(context.Background(), now, []maintenance.Entry{drawEntry(t)})
			if err != nil {
				rejection(t, err)
			}
		}
		var told []maintenance.Entry
		require.NoError(t, b.journal.Lines(0, func(_ uint64, line []byte) error {
			e, err := maintenance.Decode(line)
			told = append(told, e)
			return err
		}))
		for range 5 {
			m := Moment{At: day0.Add(time.Duration(rapid.IntRange(0, 50).Draw(t, "at")) * time.Hour)}
			heard := told
			if rapid.Bool().Draw(t, "known") {
				m.KnownBy = day0.Add(48*time.Hour + time.Duration(rapid.IntRange(-1, 70).Draw(t, "by"))*time.Minute)
				for len(heard) > 0 && heard[len(heard)-1].Recorded.After(m.KnownBy) {
					heard = heard[:len(heard)-1]
				}
			}
			want := maintenance.NewState()
			for _, e := range maintenance.InOrder(heard) {
				if !e.At.After(m.At) {
					_, err := want.Apply(b.rules, e)
					require.NoError(t, err)
				}
			}
			st, err := b.Stand(m, now)
			require.NoError(t, err)
			require.Equal(t, fingerprint(t, want), fingerprint(t, st.State))
			require.True(t, st.At.Equal(m.At))
			require.Equal(t, uint64(len(heard)), st.Seq)
		}
	})
}
