package daemon

import (
	"context"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

var day0 = time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)

func openBook(t testing.TB, path string) *Book {
	t.Helper()
	b, err := OpenBook(path, maintenance.DefaultRules())
	require.NoError(t, err)
	return b
}

func newTestBook(t testing.TB) *Book {
	t.Helper()
	b := openBook(t, filepath.Join(t.TempDir(), "book.db"))
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	return b
}

func entry(t require.TestingT, at time.Time, line string) maintenance.Entry {
	e, err := maintenance.Decode([]byte(line))
	require.NoError(t, err)
	e.At = at
	return e
}

// opening is a pump, three jars and a can of new oil.
func opening(t require.TestingT) []maintenance.Entry {
	var all []maintenance.Entry
	for i, line := range []string{
		`{"id":"p","kind":"pump","pump":"north","charge_ml":700}`,
		`{"id":"j1","kind":"vessel","vessel":"jar-1","capacity_ml":1000}`,
		`{"id":"j2","kind":"vessel","vessel":"jar-2","capacity_ml":1000}`,
		`{"id":"l","kind":"lot","lot":"lot-1","vessel":"can-1","grams":3000}`,
		`{"id":"f","kind":"fill","pump":"north","from":"can-1"}`,
	} {
		all = append(all, entry(t, day0.Add(time.Duration(i)*time.Minute), line))
	}
	return all
}

func fingerprint(t require.TestingT, s *maintenance.State) string {
	b, err := maintenance.EncodeState(s)
	require.NoError(t, err)
	return string(b)
}

func TestTheSameEntryTwiceIsOne(t *testing.T) {
	b, ctx, now := newTestBook(t), context.Background(), day0.Add(time.Hour)
	first, err := b.Record(ctx, now, opening(t))
	require.NoError(t, err)
	require.Equal(t, 5, first.Accepted)
	again, err := b.Record(ctx, now.Add(time.Minute), opening(t))
	require.NoError(t, err)
	require.Equal(t, 5, again.Duplicates)
	require.Equal(t, first.Entries[4].Seq, again.Entries[4].Seq)

	abroad := opening(t)[:1]
	abroad[0].At = abroad[0].At.In(time.FixedZone("", 3600))
	again, err = b.Record(ctx, now, abroad)
	require.NoError(t, err)
	require.Equal(t, 1, again.Duplicates, "the same instant, written in another zone")

	other := entry(t, day0, `{"id":"p","kind":"pump","pump":"north","charge_ml":800}`)
	_, err = b.Record(ctx, now, []maintenance.Entry{other})
	r := rejection(t, err)
	require.Equal(t, "id", r.Field)
	require.Contains(t, r.Says, "says something else")
}

func rejection(t require.TestingT, err error) *maintenance.Rejection {
	var r *maintenance.Rejection
	require.ErrorAs(t, err, &r)
	return r
}

func TestARequestIsTakenWholeOrNotAtAll(t *testing.T) {
	b, ctx := newTestBook(t), context.Background()
	bad := append(opening(t), entry(t, day0.Add(time.Hour), `{"id":"x","kind":"drain","pump":"north","to":"jar-9"}`))
	_, err := b.Record(ctx, day0.Add(2*time.Hour), bad)
	r := rejection(t, err)
	require.Equal(t, 6, r.Line)
	require.Equal(t, "to", r.Field)
	seq, _ := b.Head()
	require.Zero(t, seq)
	require.Empty(t, b.now.Load().state.Pumps)
}

func TestALateEntryTakesItsPlace(t *testing.T) {
	b, ctx, now := newTestBook(t), context.Background(), day0.Add(72*time.Hour)
	tell := func(at time.Duration, line string) error {
		_, err := b.Record(ctx, now, []maintenance.Entry{entry(t, day0.Add(at), line)})
		return err
	}
	_, err := b.Record(ctx, now, opening(t))
	require.NoError(t, err)
	require.NoError(t, tell(2*time.Hour, `{"id":"s1","kind":"start","pump":"north"}`))
	require.NoError(t, tell(26*time.Hour, `{"id":"s2","kind":"stop","pump":"north"}`))
	require.NoError(t, tell(time.Hour, `{"id":"v","kind":"vacuum","pump":"north","pa":2}`))

	t.Run("Refused", func(t *testing.T) {
		r := rejection(t, tell(150*time.Minute, `{"id":"late","kind":"drain","pump":"north","to":"jar-1"}`))
		require.Contains(t, r.Says, "is running")
		require.Len(t, r.Offer, 2)
	})
	t.Run("MakesALaterOneImpossible", func(t *testing.T) {
		r := rejection(t, tell(3*time.Hour, `{"id":"late","kind":"stop","pump":"north"}`))
		require.Equal(t, "s2", r.Blocks)
		require.Contains(t, r.Says, "later entry impossible")
	})
	t.Run("AsOfAnInstant", func(t *testing.T) {
		st, err := b.Stand(Moment{At: day0.Add(3 * time.Hour)}, now)
		require.NoError(t, err)
		require.NotNil(t, st.State.Pumps["north"].Run)
		require.Len(t, st.State.Pumps["north"].BlankOffs, 1)
		st, err = b.Stand(Moment{At: day0.Add(90 * time.Minute)}, now)
		require.NoError(t, err)
		require.Nil(t, st.State.Pumps["north"].Run)
	})
}

func TestTheFuture(t *testing.T) {
	b, ctx := newTestBook(t), context.Background()
	_, err := b.Record(ctx, day0, []maintenance.Entry{entry(t, day0.Add(3*time.Minute), `{"kind":"note","note":"x"}`)})
	require.Equal(t, "at", rejection(t, err).Field)
	_, err = b.Record(ctx, day0, []maintenance.Entry{entry(t, day0.Add(2*time.Minute), `{"kind":"note","note":"x"}`)})
	require.NoError(t, err)
}

func TestVoids(t *testing.T) {
	b, ctx, now := newTestBook(t), context.Background(), day0.Add(time.Hour)
	_, err := b.Record(ctx, now, opening(t))
	require.NoError(t, err)
	tell := func(line string) error {
		_, err := b.Record(ctx, now, []maintenance.Entry{entry(t, now, line)})
		return err
	}
	require.Equal(t, "entry", rejection(t, tell(`{"id":"v0","kind":"void","entry":"nothing"}`)).Field)
	require.Equal(t, "f", rejection(t, tell(`{"id":"v1","kind":"void","entry":"l"}`)).Blocks)
	require.NoError(t, tell(`{"id":"v2","kind":"void","entry":"f"}`))
	require.Contains(t, rejection(t, tell(`{"id":"v3","kind":"void","entry":"f"}`)).Says, "already")
	require.Contains(t, rejection(t, tell(`{"id":"v4","kind":"void","entry":"v2"}`)).Says, "cannot be withdrawn")
	require.True(t, b.now.Load().state.Pumps["north"].Open)
	before, err := b.Stand(Moment{KnownBy: now}, now)
	require.NoError(t, err)
	require.Equal(t, fingerprint(t, b.now.Load().state), fingerprint(t, before.State))
}

func TestManyWritersShareCommits(t *testing.T) {
	b, ctx := newTestBook(t), context.Background()
	_, err := b.Record(ctx, day0.Add(time.Hour), opening(t))
	require.NoError(t, err)
	var all sync.WaitGroup
	for i := range 64 {
		all.Go(func() {
			e := entry(t, day0.Add(time.Hour), fmt.Sprintf(`{"id":"n%d","kind":"note","note":"x"}`, i))
			_, err := b.Record(ctx, day0.Add(time.Hour), []maintenance.Entry{e})
			require.NoError(t, err)
		})
	}
	all.Wait()
	seq, _ := b.Head()
	require.Equal(t, uint64(5+64), seq)
}

// A setting by which an entry on the book could not have been told is named, with the entry;
// set back, the book opens as it was.
func TestRulesThatDoNotFitTheBook(t *testing.T) {
	path, now := filepath.Join(t.TempDir(), "book.db"), day0.Add(100*time.Hour)
	b := openBook(t, path)
	_, err := b.Record(context.Background(), now, append(opening(t),
		entry(t, day0.Add(time.Hour), `{"id":"s1","kind":"start","pump":"north"}`),
		entry(t, day0.Add(2*time.Hour), `{"id":"s2","kind":"stop","pump":"north"}`),
		entry(t, day0.Add(3*time.Hour), `{"id":"y","kind":"yield","pump":"north","grams":900}`)))
	require.NoError(t, err)
	want := fingerprint(t, b.now.Load().state)
	require.NoError(t, b.saveCheckpoint())
	require.NoError(t, b.Close())
	rules := maintenance.DefaultRules()
	rules.ShortestRun = 2 * time.Hour
	_, err = OpenBook(path, rules)
	require.ErrorContains(t, err, "entry 8, the yield")
	require.ErrorContains(t, err, "shortest_run")
	b = openBook(t, path)
	require.Equal(t, want, fingerprint(t, b.now.Load().state))
	require.NoError(t, b.Close())
}
