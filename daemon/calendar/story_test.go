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
	r.Care = []maintenance.CareTask{{Task: "exhaust-filter", RunHours: 500}}
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
	state := maintenance.NewState()
	for _, e := range s {
		if !e.At.After(at) {
			_, err := state.Apply(rules(), e)
			require.NoError(t, err)
		}
	}
	return Events(maintenance.Next(state, rules(), at), voice)
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

// Time that passes changes an event only where its status does, or an hour after which a
// pump that still runs is expected to stop: else every look would be news to every phone.
func TestTimeAloneMakesNoNews(t *testing.T) {
	for _, name := range []string{"buy-oil", "care", "check", "decant", "drain", "fill", "filter", "freeze", "hand-in", "replace", "separate", "stop-pump", "top-up"} {
		t.Run(name, func(t *testing.T) {
			s := storyOf(t, name)
			for i, e := range s {
				end := e.At.Add(20 * 24 * time.Hour)
				if i+1 < len(s) {
					end = s[i+1].At
				}
				end = end.Add(-time.Second)
				if end.Sub(e.At) < 10*time.Minute {
					continue
				}
				state := maintenance.NewState()
				for _, e := range s[:i+1] {
					_, err := state.Apply(rules(), e)
					require.NoError(t, err)
				}
				l, news := Ledger{}, map[string]int{}
				step := max(7*time.Minute, end.Sub(e.At)/200)
				looks := 0
				for at := e.At; at.Before(end); at = at.Add(step) {
					looks++
					changed := l.Changes(Events(maintenance.Next(state, rules(), at), voice), at)
					l.Put(changed)
					for _, r := range changed {
						news[r.ID]++
					}
				}
				for id, n := range news {
					most := 8 + int(end.Sub(e.At)/time.Hour) // coming, open, overdue, gone, words; and once an hour of an overlong run
					require.LessOrEqual(t, n, most, "%s after %s, in %d looks", id, e.ID, looks)
				}
			}
		})
	}
}
