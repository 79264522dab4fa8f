package maintenance

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const histories = "../testdata/history"

// historyRules are the defaults with the upkeep tasks that the stories speak of.
func historyRules() Rules {
	r := DefaultRules()
	r.Zone = time.FixedZone("CET", 3600)
	r.Care = []CareTask{
		{Task: "clean-chamber", Cycles: 1, Class: "curd"},
		{Task: "exhaust-filter", RunHours: 500},
		{Task: "gasket", Next: func(after time.Time) time.Time {
			after = after.In(r.Zone)
			return time.Date(after.Year(), after.Month()+1, 1, 9, 0, 0, 0, r.Zone)
		}},
	}
	return r
}

// An expectation is one line of a story's .expect file.
type expectation struct {
	line       string
	at         time.Time
	id         string // DO/SUBJECT/ENTRY, or DO/SUBJECT for whichever entry
	state      string // of an action, or settled (was asked before), or none (never was)
	opens, due string
}

// Every kind of action has one story in which it is coming, open, overdue, settled and, for
// another subject or at another time, not asked for.
func TestHistories(t *testing.T) {
	for _, do := range Dos() {
		t.Run(string(do), func(t *testing.T) {
			entries := storyEntries(t, string(do))
			seen := map[string]bool{}
			var asked []string
			for _, x := range storyExpectations(t, string(do)) {
				asked = append(asked, x.check(t, entries, asked)...)
				if strings.HasPrefix(x.id, string(do)+"/") {
					seen[x.state] = true
				}
			}
			for _, state := range []string{"coming", "open", "overdue", "settled", "none"} {
				require.True(t, seen[state], "the story of %s never shows it %s", do, state)
			}
		})
	}
}

func storyEntries(t *testing.T, name string) (all []Entry) {
	b, err := os.ReadFile(filepath.Join(histories, name+".jsonl"))
	require.NoError(t, err)
	for i, line := range bytes.Split(bytes.TrimSpace(b), []byte("\n")) {
		e, err := Decode(line)
		require.NoError(t, err, "line %d", i+1)
		e.Seq = uint64(i + 1)
		all = append(all, e)
	}
	require.Contains(t, all[0].Note, "invented data")
	return all
}

func storyExpectations(t *testing.T, name string) (all []expectation) {
	b, err := os.ReadFile(filepath.Join(histories, name+".expect"))
	require.NoError(t, err)
	for line := range strings.Lines(string(b)) {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		words := strings.Fields(line)
		at, err := time.Parse(time.RFC3339, words[0])
		require.NoError(t, err, line)
		x := expectation{line: line, at: at, id: words[1], state: words[2]}
		for _, more := range words[3:] {
			key, value, _ := strings.Cut(more, "=")
			switch key {
			case "opens":
				x.opens = value
			case "due":
				x.due = value
			default:
				require.Fail(t, "unknown word", line)
			}
		}
		all = append(all, x)
	}
	return all
}

// check replays the story up to the expectation's time and gives the ids asked for then.
func (x expectation) check(t *testing.T, entries []Entry, before []string) (asked []string) {
	told := slices.DeleteFunc(slices.Clone(entries), func(e Entry) bool { return e.At.After(x.at) })
	s, err := Fold(historyRules(), told)
	require.NoError(t, err, x.line)
	var found *Action
	for _, a := range Next(s, historyRules(), x.at) {
		asked = append(asked, a.ID)
		if x.means(a.ID) {
			found = &a
		}
	}
	switch x.state {
	case "none", "settled":
		require.Nil(t, found, x.line)
		require.True(t, x.state == "none" || slices.ContainsFunc(before, x.means), "%s: it was never asked", x.line)
		return asked
	}
	require.NotNil(t, found, "%s: asked are %v", x.line, asked)
	require.Equal(t, x.state, string(found.State), x.line)
	x.checkTime(t, x.opens, found.Opens)
	x.checkTime(t, x.due, found.Due)
	return asked
}

func (x expectation) means(id string) bool { return id == x.id || strings.HasPrefix(id, x.id+"/") }

func (x expectation) checkTime(t *testing.T, want string, got time.Time) {
	if want == "" {
		return
	}
	at, err := time.Parse(time.RFC3339, want)
	require.NoError(t, err, x.line)
	require.True(t, at.Equal(got), "%s: got %s", x.line, got.In(x.at.Location()).Format(time.RFC3339Nano))
}
