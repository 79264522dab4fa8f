package maintenance

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"
)

// A tale is a book as it is told, line by line: "drain pump=north to=jar-1 grams=640".
// Each line goes the way of a person's JSON; time passes only by after and at.
type tale struct {
	t       testing.TB
	s       *State
	rules   Rules
	now     time.Time
	told    []Entry
	remarks string // of the newest entry
}

func newTale(t testing.TB, lines ...string) *tale {
	b := &tale{t: t, s: NewState(), rules: DefaultRules(), now: day0}
	return b.tell(lines...)
}

// kitchen is a pump of 700 ml on new oil, with two jars and a can of lot-1.
func kitchen(t testing.TB) *tale {
	return newTale(t,
		"pump pump=north charge_ml=700 heel_ml=20",
		"vessel vessel=jar-1 capacity_ml=1000", "vessel vessel=jar-2 capacity_ml=1000", "vessel vessel=jar-3 capacity_ml=1000",
		"medium medium=paper",
		"lot lot=lot-1 vessel=can-1 grams=4000",
		"id=fill-1 fill pump=north from=can-1")
}

// ran is the kitchen after a cycle of so many hours.
func (b *tale) ran(h float64) *tale {
	b.t.Helper()
	b.tell("start pump=north")
	b.after(h)
	return b.tell("stop pump=north")
}

func (b *tale) after(h float64) *tale {
	b.now = b.now.Add(hours(h))
	return b
}

func (b *tale) tell(lines ...string) *tale {
	b.t.Helper()
	for _, line := range lines {
		e := b.entry(line)
		remarks, err := b.s.Apply(b.rules, e)
		require.NoError(b.t, err, line)
		b.told, b.remarks = append(b.told, e), strings.Join(remarks, "; ")
	}
	return b
}

// refused tells a line that the book does not take; it must leave the state as it was.
func (b *tale) refused(line string) *Rejection {
	b.t.Helper()
	before := fingerprint(b.t, b.s)
	_, err := b.s.Apply(b.rules, b.entry(line))
	var r *Rejection
	require.ErrorAs(b.t, err, &r, line)
	require.Equal(b.t, before, fingerprint(b.t, b.s), "a refusal changed the state")
	require.NotEmpty(b.t, r.Hint)
	return r
}

// late folds the tale again with more lines told after it, of the times they name by at=.
func (b *tale) late(lines ...string) (*State, error) {
	all := slices.Clone(b.told)
	for i, line := range lines {
		e := b.entry(line)
		e.Seq += uint64(i)
		all = append(all, e)
	}
	return Fold(b.rules, all)
}

// entry reads a line: an optional id=, the kind, then the fields.
func (b *tale) entry(line string) Entry {
	b.t.Helper()
	n := len(b.told) + 1
	members := map[string]any{"id": fmt.Sprintf("e%d", n), "at": b.now}
	for _, word := range strings.Fields(line) {
		key, value, ok := strings.Cut(word, "=")
		if !ok {
			members["kind"] = key
			continue
		}
		members[key] = value
		if number, err := strconv.ParseFloat(value, 64); err == nil && isNumber(members["kind"], key) {
			members[key] = number
		} else if value == "true" || value == "false" {
			members[key] = value == "true"
		}
	}
	if h, ok := members["at"].(string); ok { // hours after the beginning
		v, err := strconv.ParseFloat(h, 64)
		require.NoError(b.t, err)
		members["at"] = day0.Add(hours(v))
	}
	raw, err := json.Marshal(members)
	require.NoError(b.t, err)
	e, err := Decode(raw)
	require.NoError(b.t, err, line)
	e.Seq = uint64(n)
	return e
}

func isNumber(kind any, key string) bool {
	i := slices.IndexFunc(FieldsOf(fmt.Sprint(kind)), func(f Field) bool { return f.Name == key })
	return i >= 0 && strings.Contains(FieldsOf(fmt.Sprint(kind))[i].Type.String(), "float64")
}

func (b *tale) pump(name string) PumpView {
	b.t.Helper()
	for _, p := range b.view().Pumps {
		if p.Pump == name {
			return p
		}
	}
	require.Fail(b.t, "no pump "+name)
	return PumpView{}
}

func (b *tale) vessel(name string) VesselView {
	b.t.Helper()
	for _, v := range b.view().Vessels {
		if v.Vessel == name {
			return v
		}
	}
	require.Fail(b.t, "no vessel "+name)
	return VesselView{}
}

func (b *tale) stage(name string) Stage {
	b.t.Helper()
	if s := b.vessel(name).Stage; s != nil {
		return *s
	}
	return NoStage
}

func (b *tale) ledger() LedgerView { return b.view().Ledger }

func (b *tale) view() StateView { return b.s.View(b.rules, b.now, b.s.Seq, "") }

func (b *tale) lots(name string) []string {
	return slices.Sorted(maps.Keys(b.vessel(name).Lots))
}
