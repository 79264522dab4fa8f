package daemon

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/maintenance/signal"
)

// together has tellings judged as one group, as those are that wait while the writer syncs.
func together(b *Book, now time.Time, requests ...[]maintenance.Entry) []told {
	var group []*telling
	for _, entries := range requests {
		group = append(group, &telling{entries: entries, now: now, answer: make(chan told, 1)})
	}
	b.answer(group)
	var all []told
	for _, t := range group {
		all = append(all, <-t.answer)
	}
	return all
}

func TestVoidsInsideARequest(t *testing.T) {
	ctx, now := context.Background(), day0.Add(time.Hour)
	void := func(id, target string) maintenance.Entry {
		return entry(t, now, `{"id":"`+id+`","kind":"void","entry":"`+target+`"}`)
	}
	note := func(id string) maintenance.Entry { return entry(t, now, `{"id":"`+id+`","kind":"note","note":"x"}`) }
	for _, c := range []struct {
		name    string
		request []maintenance.Entry
		line    int
		says    string
	}{
		{"AfterWhatItWithdraws", []maintenance.Entry{note("a"), void("v", "a")}, 0, ""},
		{"BeforeIt", []maintenance.Entry{void("v", "a"), note("b"), note("a")}, 0, ""},
		{"Twice", []maintenance.Entry{note("a"), void("v", "a"), void("w", "a")}, 3, "already"},
		{"OfAVoid", []maintenance.Entry{note("a"), void("w", "v"), void("v", "a")}, 2, "cannot be withdrawn"},
		{"OfNothing", []maintenance.Entry{note("a"), void("v", "b")}, 2, "no entry b"},
		{"OfItself", []maintenance.Entry{note("a"), void("v", "v")}, 2, "cannot be withdrawn"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newTestBook(t)
			receipt, err := b.Record(ctx, now, c.request)
			if c.says != "" {
				r := rejection(t, err)
				require.Equal(t, c.line, r.Line)
				require.Contains(t, r.Says, c.says)
				require.Equal(t, "entry", r.Field)
				return
			}
			require.NoError(t, err)
			require.Equal(t, len(c.request), receipt.Accepted)
			requireWhole(t, b)
			require.Equal(t, len(c.request)-2, b.now.Load().count-1, "what is withdrawn is not folded, the void is")
		})
	}
}

// A chain can be made that is right and an export that is not: it is refused, not a panic.
func TestAForgedExportIsRefused(t *testing.T) {
	now := day0.Add(time.Hour)
	chain := func(recorded time.Time, entries ...maintenance.Entry) []maintenance.Entry {
		prev := maintenance.ZeroHash
		for i := range entries {
			entries[i] = maintenance.Seal(entries[i], uint64(i+1), recorded, prev)
			prev = entries[i].Hash
		}
		return entries
	}
	note, other := entry(t, day0, `{"id":"a","kind":"note","note":"x"}`), entry(t, day0, `{"id":"b","kind":"note","note":"x"}`)
	void := entry(t, day0, `{"id":"v","kind":"void","entry":"b"}`)
	for name, c := range map[string]struct {
		export []maintenance.Entry
		field  string
		line   int
	}{
		"AnIDTwice":            {chain(day0, note, note, other), "id", 2},
		"AVoidBeforeItsTarget": {chain(day0, note, void, other), "entry", 2},
		"HeardInTheFuture":     {chain(now.AddDate(10, 0, 0), note, other), "recorded", 1},
		"WithAHole":            {chain(day0, note, other)[1:], "seq", 1},
	} {
		t.Run(name, func(t *testing.T) {
			b := newTestBook(t)
			_, err := b.Record(context.Background(), now, c.export)
			r := rejection(t, err)
			require.Equal(t, c.field, r.Field)
			if len(c.export) > 1 {
				require.Equal(t, c.line, r.Line)
			}
			_, err = b.Record(context.Background(), now, opening(t))
			require.NoError(t, err)
		})
	}
}

// What the journal cannot take is told to whoever told it; those who came at the same time
// are served.
func TestOnePoisonedRequestSpoilsNoOther(t *testing.T) {
	b, now := newTestBook(t), day0.Add(time.Hour)
	long := entry(t, now, `{"id":"long","kind":"note","note":"x"}`)
	long.Note, long.By = strings.Repeat("\x01", 2000), strings.Repeat("\x01", 700)
	answers := together(b, now, opening(t), []maintenance.Entry{long}, []maintenance.Entry{entry(t, now, `{"id":"n","kind":"note","note":"x"}`)})
	require.NoError(t, answers[0].err)
	require.Contains(t, rejection(t, answers[1].err).Says, "too long")
	require.NoError(t, answers[2].err)
	require.Equal(t, http.StatusUnprocessableEntity, problemOf(answers[1].err).Status)
	seq, _ := b.Head()
	require.Equal(t, uint64(6), seq)
	requireWhole(t, b)
}

// A late entry in a group is judged on top of the fast ones before it, and the other way
// round.
func TestAGroupIsJudgedInTurn(t *testing.T) {
	b, now := newTestBook(t), day0.Add(100*time.Hour)
	one := func(h int, line string) []maintenance.Entry {
		return []maintenance.Entry{entry(t, day0.Add(time.Duration(h)*time.Hour), line)}
	}
	answers := together(b, now,
		opening(t),
		one(10, `{"id":"s1","kind":"start","pump":"north"}`),
		one(30, `{"id":"s2","kind":"stop","pump":"north"}`),
		one(20, `{"id":"d","kind":"drain","pump":"north","to":"jar-1"}`), // it ran then
		one(5, `{"id":"d","kind":"drain","pump":"north","to":"jar-1"}`),  // and would have run dry: a remark
		one(6, `{"id":"f2","kind":"fill","pump":"north","from":"can-1"}`),
		one(6, `{"id":"v","kind":"void","entry":"s2"}`),
		one(40, `{"id":"s3","kind":"start","pump":"north"}`), // it runs again
		one(40, `{"id":"n","kind":"note","note":"x"}`),
	)
	var refused []int
	for i, a := range answers {
		if a.err != nil {
			rejection(t, a.err)
			refused = append(refused, i)
		}
	}
	require.Equal(t, []int{3, 7}, refused)
	requireWhole(t, b)
	require.Equal(t, "s1", b.now.Load().state.Pumps["north"].Run.Cycle)
}

// What a machine's entry says is in its id: a replay adds nothing, whoever tells it.
func TestAReplayAddsNothing(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	_, err := k.book.Record(context.Background(), *now, opening(t))
	require.NoError(t, err)
	at := *now
	stop := (&detector{By: "mqtt:north"}).entry("north", signal.Edge{Kind: signal.Stop, At: at})
	uncertain := (&detector{By: "http:north"}).entry("north", signal.Edge{Kind: signal.Stop, At: at, Uncertain: true})
	start := (&detector{By: "mqtt:north"}).entry("north", signal.Edge{Kind: signal.Start, At: at.Add(-time.Hour)})
	_, err = k.book.Record(context.Background(), *now, []maintenance.Entry{start, stop})
	require.NoError(t, err)
	receipt, err := k.book.Record(context.Background(), *now, []maintenance.Entry{uncertain})
	require.NoError(t, err)
	require.Equal(t, 1, receipt.Duplicates)
	uncertain.At = at.Add(time.Minute) // its id says another time
	_, err = k.book.Record(context.Background(), *now, []maintenance.Entry{uncertain})
	require.Equal(t, "id", rejection(t, err).Field)
}

// A board without a clock of its own starts in 1970: what is told without a time is dated
// as the newest entry, and said to be; what was already past is taken.
func TestAClockThatIsNotSet(t *testing.T) {
	b, ctx := newTestBook(t), context.Background()
	_, err := b.Record(ctx, day0.Add(time.Hour), opening(t))
	require.NoError(t, err)
	boot := time.Unix(60, 0).UTC()
	receipt, err := b.Record(ctx, boot, []maintenance.Entry{entry(t, time.Time{}, `{"id":"d","kind":"drain","pump":"north","to":"jar-1"}`)})
	require.NoError(t, err)
	require.True(t, receipt.Entries[0].At.Equal(day0.Add(time.Hour)))
	require.Contains(t, strings.Join(receipt.Entries[0].Remarks, "; "), "1970")
	require.True(t, b.now.Load().state.Pumps["north"].Open)
	requireWhole(t, b)
}

// A drain of a pump that runs by a signal which is low books the stop; told again it adds
// nothing, also when the pump has run and is low once more.
func TestADrainAtALowSignal(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	ctx := context.Background()
	_, err := k.book.Record(ctx, *now, opening(t))
	require.NoError(t, err)
	s, err := k.sensorFor("north")
	require.NoError(t, err)
	feed := func(minutes int, watts float64) {
		for range minutes {
			*now = now.Add(time.Minute)
			require.NoError(t, s.Take(ctx, *now, []Reading{{At: *now, Arrived: *now, Power: &watts}}))
		}
	}
	drain := entry(t, time.Time{}, `{"id":"d","kind":"drain","pump":"north","to":"jar-1"}`)
	note := entry(t, time.Time{}, `{"id":"n","kind":"note","note":"x"}`)
	feed(60, 400)

	_, err = k.book.Record(ctx, *now, []maintenance.Entry{note, drain})
	r := rejection(t, err)
	require.Equal(t, 2, r.Line, "it runs")
	require.Len(t, r.Offer, 2)
	feed(2, 3)
	low := now.Add(-time.Minute)

	bad := entry(t, time.Time{}, `{"id":"x","kind":"drain","pump":"north","to":"jar-9"}`)
	_, err = k.book.Record(ctx, *now, []maintenance.Entry{drain, bad})
	require.Equal(t, 2, rejection(t, err).Line, "the stop that is added counts for no line")

	receipt, err := k.book.Record(ctx, *now, []maintenance.Entry{note, drain})
	require.NoError(t, err)
	require.Equal(t, []string{"note", "stop", "drain"}, []string{receipt.Entries[0].kind, receipt.Entries[1].kind, receipt.Entries[2].kind})
	require.True(t, receipt.Entries[1].At.Equal(low))
	feed(10, 3)
	_, err = k.book.Record(ctx, *now, []maintenance.Entry{entry(t, time.Time{}, `{"id":"f2","kind":"fill","pump":"north","from":"can-1"}`)})
	require.NoError(t, err)

	feed(60, 400)
	feed(1, 3)
	receipt, err = k.book.Record(ctx, *now, []maintenance.Entry{drain, note})
	require.NoError(t, err)
	require.Equal(t, 2, receipt.Duplicates)
	require.Zero(t, receipt.Accepted)
	require.NotNil(t, k.book.now.Load().state.Pumps["north"].Run)

	stop := entry(t, *now, `{"id":"s","kind":"stop","pump":"north"}`)
	again := entry(t, *now, `{"id":"d2","kind":"drain","pump":"north","to":"jar-2"}`)
	receipt, err = k.book.Record(ctx, *now, []maintenance.Entry{stop, again})
	require.NoError(t, err)
	require.Equal(t, 2, receipt.Accepted, "who tells the stop needs no other")
	requireWhole(t, k.book)
}

func TestAClosedBookRefuses(t *testing.T) {
	b := openBook(t, t.TempDir()+"/book.db")
	require.NoError(t, b.Close())
	require.NoError(t, b.Close())
	_, err := b.Record(context.Background(), day0, opening(t))
	require.True(t, errors.Is(err, os.ErrClosed), "%v", err)
}

// Closed while they tell: each has an answer or a refusal, and what was answered is there.
func TestClosingAnswersThoseWhoTell(t *testing.T) {
	path := t.TempDir() + "/book.db"
	b := openBook(t, path)
	var kept sync.Map
	var all sync.WaitGroup
	busy := make(chan struct{}, 1)
	for w := range 32 {
		all.Go(func() {
			for i := 0; ; i++ {
				id := fmt.Sprintf("n%d-%d", w, i)
				_, err := b.Record(context.Background(), day0, []maintenance.Entry{{ID: id, At: day0, Act: &maintenance.NoteAct{}, Note: "x"}})
				if err != nil {
					if !errors.Is(err, os.ErrClosed) {
						t.Error(err)
					}
					return
				}
				kept.Store(id, true)
				select {
				case busy <- struct{}{}:
				default:
				}
			}
		})
	}
	<-busy
	require.NoError(t, b.Close())
	all.Wait()
	b = openBook(t, path)
	defer func() { require.NoError(t, b.Close()) }()
	kept.Range(func(id, _ any) bool {
		_, found, err := b.journal.Lookup(id.(string))
		require.NoError(t, err)
		require.True(t, found, "%s was answered", id)
		return true
	})
	requireWhole(t, b)
}
