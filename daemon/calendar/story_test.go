package calendar

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

var cet = time.FixedZone("CET", 3600)

var voice = notify.Voice{Zone: cet, BaseURL: "http://192.0.2.7:8417"}

func rules() maintenance.Rules {
	r := maintenance.DefaultRules()
	r.Zone = cet
	r.Care = []maintenance.CareTask{
		{Task: "clean-chamber", Cycles: 1, Class: "curd"},
		{Task: "exhaust-filter", RunHours: 500},
		{Task: "gasket", Next: func(after time.Time) time.Time {
			after = after.In(cet)
			return time.Date(after.Year(), after.Month()+1, 1, 9, 0, 0, 0, cet)
		}},
	}
	return r
}

// A story is one of the histories, invented, in the order in which it happened.
type story []maintenance.Entry

func storyOf(t testing.TB, name string) (all story) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "history", name+".jsonl"))
	require.NoError(t, err)
	for i, line := range bytes.Split(bytes.TrimSpace(b), []byte("\n")) {
		e, err := maintenance.Decode(line)
		require.NoError(t, err)
		require.NotEqual(t, "void", e.Act.Kind(), "this reader knows no withdrawals")
		e.Seq = uint64(i + 1)
		all = append(all, e)
	}
	slices.SortStableFunc(all, func(a, b maintenance.Entry) int { return a.At.Compare(b.At) })
	return all
}

// by is what is to be done at an instant, by what had happened then.
func (s story) by(t testing.TB, at time.Time) []Event {
	t.Helper()
	happened := slices.IndexFunc(s, func(e maintenance.Entry) bool { return e.At.After(at) })
	if happened < 0 {
		happened = len(s)
	}
	return Events(maintenance.Next(s[:happened].state(t), rules(), at), voice)
}

func (s story) state(t testing.TB) *maintenance.State {
	t.Helper()
	state := maintenance.NewState()
	for _, e := range s {
		_, err := state.Apply(rules(), e)
		require.NoError(t, err)
	}
	return state
}

func stamp(t testing.TB, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	require.NoError(t, err)
	return at
}

// told is the ledger of a daemon that looked at these times.
func (s story) told(t testing.TB, times ...string) Ledger {
	t.Helper()
	l := Ledger{}
	for _, text := range times {
		at := stamp(t, text)
		l.Put(l.Changes(s.by(t, at), at))
	}
	return l
}

// Time that passes changes an event only where its status or its words do, and where what
// was expected did not come about: an hour on for a pump that still runs, a usual gap on
// for a cycle that was not begun. Else every look would be news to every phone.
func TestTimeAloneMakesNoNews(t *testing.T) {
	for _, name := range []string{"buy-oil", "care", "check", "decant", "drain", "fill", "filter", "freeze", "hand-in", "replace", "separate", "stop-pump", "top-up"} {
		t.Run(name, func(t *testing.T) {
			s := storyOf(t, name)
			for i, e := range s {
				end := e.At.Add(20 * 24 * time.Hour)
				if i+1 < len(s) {
					end = s[i+1].At.Add(-time.Second)
				}
				requireQuiet(t, s[:i+1], e.At, end)
			}
		})
	}
}

func requireQuiet(t *testing.T, s story, from, to time.Time) {
	t.Helper()
	state := s.state(t)
	most := 6 + int(to.Sub(from)/(24*time.Hour))
	for _, p := range state.Pumps {
		if p.Run != nil {
			most += int(to.Sub(from) / time.Hour)
		}
	}
	l, news := Ledger{}, map[string]int{}
	for at := from; at.Before(to); at = at.Add(max(7*time.Minute, to.Sub(from)/300)) {
		changed := l.Changes(Events(maintenance.Next(state, rules(), at), voice), at)
		l.Put(changed)
		for _, r := range changed {
			news[r.ID]++
		}
	}
	for id, n := range news {
		require.LessOrEqual(t, n, most, "%s from %s to %s", id, from, to)
	}
}
