package maintenance

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// tightRules make every kind of action common: short lives, upkeep by cycles, hours and
// the calendar.
func tightRules() Rules {
	r := DefaultRules()
	r.Limits.ReplaceRunH, r.Limits.ReplaceUses, r.Limits.ReplaceWaterG, r.Limits.ThermalH = num(150), num(3), num(40), num(400)
	r.Limits.DrainRunH = num(40)
	monthly := func(after time.Time) time.Time {
		return time.Date(after.Year(), after.Month()+1, 1, 9, 0, 0, 0, time.UTC)
	}
	r.Care = []CareTask{{Task: "chamber", Cycles: 2}, {Task: "fish", Cycles: 1, Class: "fish"}, {Task: "exhaust-filter", RunHours: 60}, {Task: "gasket", Pump: "south", Next: monthly}}
	return r
}

// A book is a story with what a plain story leaves out: readings, looks, notes, cold
// vessels, waste, upkeep and set-aside actions.
type book struct {
	r    Rules
	s    *State
	told []Entry
}

func anyBook(t *rapid.T) *book {
	b := &book{r: tightRules(), s: NewState()}
	if rapid.Bool().Draw(t, "default") {
		b.r = DefaultRules()
	}
	for _, e := range story(t, rapid.IntRange(0, 40).Draw(t, "length")) {
		if _, err := b.s.Apply(b.r, e); err == nil {
			b.told = append(b.told, e)
		}
	}
	at := b.s.At
	b.tell(at, &VesselAct{Vessel: "waste", CapacityMl: num(3000), Waste: yes()}, "")
	for range rapid.IntRange(0, 25).Draw(t, "more") {
		at = at.Add(time.Duration(rapid.IntRange(1, 40*3600).Draw(t, "s")) * time.Second)
		b.tell(at, b.moreAct(t, at), "words")
	}
	return b
}

func yes() *bool { v := true; return &v }

func (b *book) tell(at time.Time, act Act, note string) bool {
	e := Entry{ID: fmt.Sprintf("e%d", len(b.told)+1), Seq: uint64(len(b.told) + 1), At: at, Act: act, Note: note}
	if _, err := b.s.Apply(b.r, e); err != nil {
		return false
	}
	b.told = append(b.told, e)
	return true
}

func (b *book) moreAct(t *rapid.T, at time.Time) Act {
	pump := rapid.SampledFrom([]string{"north", "south"}).Draw(t, "pump")
	jar := rapid.SampledFrom([]string{"jar-1", "jar-2", "jar-3", "jar-4", "jar-5", "can-1", "waste"}).Draw(t, "jar")
	level := num(float64(rapid.IntRange(1, 16).Draw(t, "colour")) / 2)
	switch rapid.IntRange(0, 10).Draw(t, "kind") {
	case 0:
		return &FreezeAct{Vessel: jar}
	case 1:
		return &InspectAct{Vessel: jar, Look: rapid.SampledFrom([]string{"clear", "hazy", "milky"}).Draw(t, "look"), Colour: level}
	case 2:
		return &InspectAct{Pump: pump, Colour: level, AcidMgG: level}
	case 3:
		return &VacuumAct{Pump: pump, Pa: num(float64(rapid.IntRange(1, 100).Draw(t, "pa")))}
	case 4:
		return &NoteAct{Pump: pump}
	case 5:
		return &CareAct{Task: "chamber", Pump: pump}
	case 6:
		return &StopAct{Pump: pump, Uncertain: yes()}
	case 7:
		return &WeighAct{Pump: pump, Grams: num(float64(rapid.IntRange(0, 900).Draw(t, "sump")))}
	case 8:
		return b.setAside(t, at)
	case 9:
		return &FilterAct{From: jar, To: "jar-5", Minutes: level}
	}
	return anyAct(t)
}

func (b *book) setAside(t *rapid.T, at time.Time) Act {
	all := Next(b.s, b.r, at)
	if len(all) == 0 {
		return &NoteAct{}
	}
	id := rapid.SampledFrom(all).Draw(t, "action").ID
	if rapid.Bool().Draw(t, "skip") {
		return &SkipAct{Action: id}
	}
	return &SnoozeAct{Action: id, Until: at.Add(time.Duration(rapid.IntRange(1, 100).Draw(t, "h")) * time.Hour)}
}

// someTime is an instant at or after the last entry.
func (b *book) someTime(t *rapid.T) time.Time {
	return later(b.s.At, day0).Add(time.Duration(rapid.IntRange(0, 30*24*60).Draw(t, "minutes")) * time.Minute)
}

func TestLawTheSameFactsGiveTheSameActions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBook(t)
		now := b.someTime(t)
		before := fingerprint(t, b.s)
		first := Next(b.s, b.r, now)
		require.Equal(t, before, fingerprint(t, b.s), "asking changed the book")
		anew, err := Fold(b.r, b.told)
		require.NoError(t, err)
		require.Equal(t, first, Next(anew, b.r, now))
		require.Equal(t, Next(b.s, b.r, b.s.At), Next(b.s, b.r, b.s.At.Add(-time.Minute)), "an entry may be ahead of the clock")
	})
}

func TestLawActionsAreSound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBook(t)
		now := b.someTime(t)
		known := map[string]bool{}
		for _, e := range b.told {
			known[e.ID] = true
		}
		seen := map[string]bool{}
		into := map[string]string{}
		for i, a := range Next(b.s, b.r, now) {
			require.False(t, seen[a.ID], "%s is asked twice", a.ID)
			seen[a.ID] = true
			requireSound(t, a, now)
			require.True(t, known[a.restsOn()], "%s rests on no entry", a.ID)
			if i > 0 {
				require.False(t, waiting(Next(b.s, b.r, now)[i-1].State) > waiting(a.State), "what is coming stands before what is open")
			}
			if to := targetOf(a.Record.Act); to != "" && !b.s.Vessels[to].IsWaste {
				require.Contains(t, []string{"", pumpOf(a)}, into[to], "%s is offered twice", to)
				into[to] = pumpOf(a)
			}
		}
	})
}

func (a Action) restsOn() string {
	_, rest, _ := strings.Cut(a.ID, "/")
	_, entry, _ := strings.Cut(rest, "/")
	return entry
}

// pumpOf tells whose offer a vessel is: two actions of one pump may name the same, actions
// on vessels are each their own.
func pumpOf(a Action) string {
	if a.Pump != nil {
		return *a.Pump
	}
	return a.ID
}

func targetOf(act Act) string {
	switch a := act.(type) {
	case *DrainAct:
		return a.To
	case *DecantAct:
		return a.To
	case *FilterAct:
		return a.To
	case *SeparateAct:
		return a.To
	}
	return ""
}

func requireSound(t *rapid.T, a Action, now time.Time) {
	require.Regexp(t, idForm, a.ID)
	require.NotEmpty(t, a.Why, a.ID)
	for _, w := range a.Why {
		require.False(t, math.IsNaN(w.Value+w.Limit) || math.IsInf(w.Value+w.Limit, 0), "%s: %+v", a.ID, w)
		require.NotEmpty(t, w.Rule)
		require.NotEmpty(t, w.Unit)
		require.NotEmpty(t, w.Source)
	}
	require.False(t, a.Due.Before(a.Opens), a.ID)
	require.Equal(t, stateAt(now, a.Opens, a.Due), a.State)
	require.True(t, a.Record.At.IsZero(), "the record takes the time of the telling")
	require.NotEmpty(t, a.Cautions, a.ID)
	if isComplete(a.Record) {
		_, err := Decode(Encode(a.Record))
		require.NoError(t, err, a.ID)
	}
}

// isComplete says whether a record lacks nothing that a person has to add.
func isComplete(e Entry) bool {
	switch a := e.Act.(type) {
	case *DrainAct:
		return a.To != ""
	case *FillAct:
		return a.From != ""
	case *DecantAct:
		return a.To != ""
	case *FilterAct:
		return a.To != ""
	case *SeparateAct:
		return a.To != ""
	case *PumpAct:
		return a.ChargeMl != nil
	}
	return true
}

func TestLawTellingTheRecordSettlesTheAction(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBook(t)
		now := b.someTime(t)
		for _, a := range Next(b.s, b.r, now) {
			if a.State == Coming || !isComplete(a.Record) {
				continue
			}
			s := b.s.Clone()
			e := a.Record
			e.ID, e.At, e.Seq = "told", now, s.Seq+1
			_, err := s.Apply(b.r, e)
			require.NoError(t, err, "%s: %s", a.ID, Encode(e))
			left := Next(s, b.r, now)
			if a.Do == DoBuyOil {
				require.Less(t, count(left, DoBuyOil), count(Next(b.s, b.r, now), DoBuyOil), "pumps share the stock, so another's may be settled")
				continue
			}
			for _, l := range left {
				require.True(t, l.ID != a.ID || isStep(a), "%s is still asked after %s", a.ID, Encode(e))
			}
		}
	})
}

func count(all []Action, do Do) (n int) {
	for _, a := range all {
		if a.Do == do {
			n++
		}
	}
	return n
}

// isStep says whether a replacement takes more than this record: a drain comes before the
// fill, and a heel too large wants a second one.
func isStep(a Action) bool {
	if a.Do != DoReplace {
		return false
	}
	if _, drains := a.Record.Act.(*DrainAct); drains {
		return true
	}
	for _, w := range a.Why {
		if w.Rule == "full_fraction" {
			return w.Value < w.Limit
		}
	}
	return false
}

// Two tellings of one story differ only in how warm the trap was: the wetter is drained no
// later.
func TestLawMoreWaterNeverPostponesADrain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := DefaultRules()
		r.Limits.DrainCycles = num(float64(rapid.IntRange(1, 4).Draw(t, "cycles")))
		r.Limits.DrainWaterG = num(float64(rapid.IntRange(1, 60).Draw(t, "limit")))
		told := story(t, 40)
		trap := rapid.Float64Range(-60, -20).Draw(t, "trap")
		dry, wet := foldAtTrap(t, r, told, trap), foldAtTrap(t, r, told, trap+rapid.Float64Range(0, 20).Draw(t, "warmer"))
		if dry == nil || wet == nil {
			t.Skip("a later entry of the story does not fit the other book")
		}
		now := dry.At.Add(time.Duration(rapid.IntRange(0, 3000).Draw(t, "minutes")) * time.Minute)
		wetDrains := drainsOf(Next(wet, r, now))
		for id, a := range drainsOf(Next(dry, r, now)) {
			w, ok := wetDrains[id]
			require.True(t, ok, "%s is not asked with more water", id)
			require.False(t, w.Opens.After(a.Opens))
			require.False(t, w.Due.After(a.Due))
		}
	})
}

func foldAtTrap(t *rapid.T, r Rules, told []Entry, trapC float64) *State {
	all := make([]Entry, len(told))
	for i, e := range told {
		if p, ok := e.Act.(*PumpAct); ok {
			c := *p
			c.TrapC = num(trapC)
			e.Act = &c
		}
		all[i] = e
	}
	s, err := Fold(r, all)
	if err != nil {
		return nil
	}
	return s
}

func drainsOf(all []Action) map[string]Action {
	out := map[string]Action{}
	for _, a := range all {
		if a.Do == DoDrain {
			out[a.ID] = a
		}
	}
	return out
}

// Between two entries time alone moves an action from coming to open to overdue; what is
// to be done, by when and with what stays.
func TestLawTimeAloneChangesOnlyTheState(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBook(t)
		now := b.someTime(t)
		then := now.Add(time.Duration(rapid.IntRange(0, 600).Draw(t, "later")) * time.Second)
		after := map[string]Action{}
		for _, a := range Next(b.s, b.r, then) {
			after[a.ID] = a
		}
		for _, a := range Next(b.s, b.r, now) {
			if a.State == Coming || a.Do == DoBuyOil {
				continue // a forecast may be put off by what did not happen, and oil is bought on a forecast
			}
			o, ok := after[a.ID]
			require.True(t, ok, "%s has gone without an entry", a.ID)
			require.Equal(t, a.Opens, o.Opens, a.ID)
			require.Equal(t, a.Due, o.Due, a.ID)
			require.Equal(t, a.Closes, o.Closes, a.ID)
			require.Equal(t, a.Record.Act.Kind(), o.Record.Act.Kind(), a.ID)
			require.NotEqual(t, Coming, o.State, a.ID)
		}
	})
}
