package maintenance

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A said entry is one at so many hours after day0.
type said struct {
	id  string
	h   float64
	act Act
}

func hour(h float64) time.Time { return day0.Add(hours(h)) }

func told(t *testing.T, r Rules, all ...[]said) *State {
	s, seq := NewState(), uint64(0)
	for _, part := range all {
		for _, e := range part {
			seq++
			_, err := s.Apply(r, Entry{ID: e.id, Seq: seq, At: hour(e.h), Act: e.act, Note: "words"})
			require.NoError(t, err, e.id)
		}
	}
	return s
}

// shedNorth declares north, new oil with its readings, two jars and the waste, and fills north.
func shedNorth() []said {
	return []said{
		{"north", 0, &PumpAct{Pump: "north", ChargeMl: num(700), HeelMl: num(20)}},
		{"lot", 0, &LotAct{Lot: "lot-1", Vessel: "can-1", Amount: Amount{Grams: num(4000)}}},
		{"new", 0, &InspectAct{Vessel: "can-1", Colour: num(1), AcidMgG: num(0.1)}},
		{"j1", 0, &VesselAct{Vessel: "jar-1", CapacityMl: num(1500)}},
		{"j2", 0, &VesselAct{Vessel: "jar-2", CapacityMl: num(1000)}},
		{"w", 0, &VesselAct{Vessel: "waste", CapacityMl: num(5000), Waste: yes()}},
		{"fill", 0, &FillAct{Pump: "north", From: "can-1"}},
	}
}

// turn is one cycle of a day, drained, and the pump filled from a vessel.
func turn(name string, h float64, to, from string) []said {
	return []said{
		{"run-" + name, h, &StartAct{Pump: "north"}},
		{"end-" + name, h + 24, &StopAct{Pump: "north"}},
		{"out-" + name, h + 24.5, &DrainAct{Pump: "north", To: to}},
		{"in-" + name, h + 27, &FillAct{Pump: "north", From: from}},
	}
}

func findAsked(s *State, r Rules, h float64, prefix string) *Action {
	for _, a := range Next(s, r, hour(h)) {
		if strings.HasPrefix(a.ID, prefix) {
			return &a
		}
	}
	return nil
}

func asks(t *testing.T, s *State, r Rules, h float64, id string) Action {
	a := findAsked(s, r, h, id)
	require.NotNil(t, a, "%s is not asked: %v", id, WhyNot(s, r, hour(h), Do(strings.Split(id, "/")[0])))
	return *a
}

// oneOil lets north run its first oil without a drain for ten cycles.
func oneOil() Rules {
	r := DefaultRules()
	r.Limits.DrainCycles = num(10)
	return r
}

func TestReplaceBySight(t *testing.T) {
	r := oneOil()
	base := append(shedNorth(), said{"run", 1, &StartAct{Pump: "north"}}, said{"end", 25, &StopAct{Pump: "north"}})
	for _, c := range []struct {
		rule  string
		act   Act
		value float64
	}{
		{"colour_rise", &InspectAct{Pump: "north", Colour: num(3)}, 2},
		{"acid_rise_mg_g", &InspectAct{Pump: "north", AcidMgG: num(0.7)}, 0.6},
	} {
		t.Run(c.rule, func(t *testing.T) {
			s := told(t, r, base)
			require.Nil(t, findAsked(s, r, 26, "replace/north"))
			s = told(t, r, base, []said{{"look", 26, c.act}})
			a := asks(t, s, r, 27, "replace/north/fill")
			require.Equal(t, hour(26), a.Opens)
			require.Equal(t, c.rule, a.Why[0].Rule)
			require.InDelta(t, c.value, a.Why[0].Value, 1e-9)
			require.Equal(t, "waste", a.Record.Act.(*DrainAct).To)
			in := stepOf(t, mustWhy(t, s, r, 27, a.ID), "life: "+c.rule).Inputs
			require.Equal(t, "look", in[0].Entry)
			require.InDelta(t, c.value, in[0].Value-in[1].Value, 1e-9)
		})
	}
}

func mustWhy(t *testing.T, s *State, r Rules, h float64, id string) Working {
	w, ok := Why(s, r, hour(h), id)
	require.True(t, ok, id)
	return w
}

// A blank-off pressure that reused oil does not bring back is the oil's; one that new oil
// does not bring back is the pump's.
func TestBlankOffTellsOilFromPump(t *testing.T) {
	r := DefaultRules()
	reused := []said{
		{"good", 0.5, &VacuumAct{Pump: "north", Pa: num(4)}},
		{"weigh", 0.6, &WeighAct{Vessel: "jar-2", Grams: num(620), Stage: Filtered}},
	}
	reused = append(reused, turn("1", 1, "jar-1", "jar-2")...)
	bad := said{"bad", 29, &VacuumAct{Pump: "north", Pa: num(9)}}

	s := told(t, r, shedNorth(), reused, []said{{"fair", 29, &VacuumAct{Pump: "north", Pa: num(7)}}})
	require.Nil(t, findAsked(s, r, 30, "replace/north"))
	s = told(t, r, shedNorth(), reused, []said{bad})
	a := asks(t, s, r, 30, "replace/north/fill")
	require.Equal(t, Reason{"blank_off_factor", 2.25, 2, "1", practice}, a.Why[0])
	require.Nil(t, findAsked(s, r, 30, "check/north"))

	anew := append([]said{{"good", 0.5, &VacuumAct{Pump: "north", Pa: num(4)}}}, turn("1", 1, "waste", "can-1")...)
	s = told(t, r, shedNorth(), anew, []said{bad})
	require.Nil(t, findAsked(s, r, 30, "replace/north"))
	require.Equal(t, "blank_off_factor", asks(t, s, r, 30, "check/north/bad").Why[0].Rule)
	s = told(t, r, shedNorth(), anew, []said{bad, {"seen", 31, &NoteAct{Pump: "north"}}})
	require.Nil(t, findAsked(s, r, 32, "check/north"))
}

func TestReplaceByUsesCountsFromTheFullReplacement(t *testing.T) {
	r := DefaultRules()
	r.Limits.ReplaceUses = num(2)
	reuse := func(name string, h float64) []said {
		back := []said{{"all-" + name, h + 24.4, &WeighAct{Vessel: "jar-2", Grams: num(600), Stage: Filtered}}}
		return append(back, turn(name, h, "waste", "jar-2")...)
	}
	inOrder := func(all []said) []said {
		return append(append([]said{}, all[1:3]...), append(all[:1:1], all[3:]...)...)
	}
	first, second := inOrder(reuse("1", 1)), inOrder(reuse("2", 49))
	s := told(t, r, shedNorth(), first)
	require.Nil(t, findAsked(s, r, 30, "replace/north"), "one charge of two")
	s = told(t, r, shedNorth(), first, second[:2])
	require.Equal(t, 2.0, reasonOf(t, asks(t, s, r, 74, "replace/north/fill"), "replace_uses").Value)

	s = told(t, r, shedNorth(), first, second[:2], []said{
		{"out", 74, &DrainAct{Pump: "north", To: "waste"}}, {"in", 77, &FillAct{Pump: "north", From: "can-1"}},
		{"run", 78, &StartAct{Pump: "north"}}, {"end", 79, &StopAct{Pump: "north"}},
	})
	require.Greater(t, s.Pumps["north"].Sump.Uses, 2, "the heel has served longer")
	require.Nil(t, findAsked(s, r, 80, "replace/north"), "but the oil was replaced")
}

func TestCheckOfALongRun(t *testing.T) {
	r := DefaultRules()
	s := told(t, r, shedNorth(), turn("1", 1, "jar-1", "can-1"), []said{{"run", 50, &StartAct{Pump: "north"}}})
	require.Nil(t, findAsked(s, r, 50+48, "check/north"), "twice the usual day")
	a := asks(t, s, r, 50+48.5, "check/north/run")
	require.Equal(t, hour(98), a.Opens)
	require.Equal(t, &StopAct{Pump: "north"}, a.Record.Act)
}

func TestCheckOfTheExhaust(t *testing.T) {
	r := oneOil()
	weighed := func(id string, h, g float64) said { return said{id, h, &WeighAct{Pump: "north", Grams: &g}} }
	run := func(id string, h float64) []said {
		return []said{{"run" + id, h, &StartAct{Pump: "north", TrapC: num(-80)}}, {"end" + id, h + 10, &StopAct{Pump: "north"}}}
	}
	lost := func(second, third float64) *State {
		return told(t, r, shedNorth(), []said{weighed("a", 0.5, 600)}, run("1", 1), []said{weighed("b", 12, 600-second)},
			run("2", 13), []said{weighed("c", 24, 600-second-third)})
	}
	require.Nil(t, findAsked(lost(5, 9), r, 25, "check/north"))
	a := asks(t, lost(5, 11), r, 25, "check/north/c")
	require.Equal(t, "exhaust_g_h", a.Why[0].Rule)
	require.Contains(t, a.Cautions, cautionMist)
}

// A signal may name a pump that nobody declared: running, it is to be stopped; standing, it
// is to be declared.
func TestAnUndeclaredPump(t *testing.T) {
	r := DefaultRules()
	run := []said{{"east/start/1", 0, &StartAct{Pump: "east"}}}
	s := told(t, r, run)
	require.Equal(t, Overdue, asks(t, s, r, 1, "stop-pump/east/east/start/1").State)
	require.Len(t, Next(s, r, hour(1)), 1)
	s = told(t, r, run, []said{{"east/stop/2", 2, &StopAct{Pump: "east"}}})
	all := Next(s, r, hour(3))
	require.Len(t, all, 1)
	require.Equal(t, "check/east/east/stop/2", all[0].ID)
	require.Equal(t, &PumpAct{Pump: "east"}, all[0].Record.Act)
}

// filled are jars of filtered oil, by grams and run hours.
func filtered(name string, grams, ran float64) said {
	return said{name, 0.1, &WeighAct{Vessel: name, Grams: &grams, RunHours: &ran, Stage: Filtered}}
}

func TestFillNamesTheOil(t *testing.T) {
	r := DefaultRules()
	out := turn("1", 1, "waste", "")[:3]
	offered := func(more ...said) (Action, string) {
		a := asks(t, told(t, r, shedNorth(), more, out), r, 28, "fill/north/out-1")
		return a, a.Record.Act.(*FillAct).From
	}
	_, from := offered()
	require.Equal(t, "can-1", from, "new oil, where there is no other")
	_, from = offered(filtered("jar-1", 650, 40))
	require.Equal(t, "jar-1", from, "oil that has run goes back before new oil")
	_, from = offered(filtered("jar-1", 650, 40), filtered("jar-2", 650, 30))
	require.Equal(t, "jar-2", from, "the least life first")
	_, from = offered(filtered("jar-1", 650, 40), filtered("jar-2", 300, 30))
	require.Equal(t, "jar-1", from, "but enough for the charge")
	_, from = offered(filtered("jar-1", 650, 600))
	require.Equal(t, "can-1", from, "and none that has lived its life")
	a, from := offered(said{"empty", 0.1, &WeighAct{Vessel: "can-1", Grams: num(0)}}, filtered("jar-2", 300, 30))
	require.Equal(t, "jar-2", from, "what there is")
	require.Equal(t, 300.0, *a.Record.Act.(*FillAct).Grams)
	require.Contains(t, strings.Join(a.Cautions, "\n"), "holds less than the charge takes")
}

func TestFillWithoutOilNamesTheNearest(t *testing.T) {
	r := DefaultRules()
	s := told(t, r, shedNorth(), []said{{"empty", 0.1, &WeighAct{Vessel: "can-1", Grams: num(0)}}, {"hold", 0.2, &WeighAct{Vessel: "jar-1", Grams: num(640), WaterG: num(1)}}}, turn("1", 1, "waste", "")[:3])
	a := asks(t, s, r, 28, "fill/north")
	require.Empty(t, a.Record.Act.(*FillAct).From)
	require.Nil(t, a.Vessel)
	ready, ok := s.readyAt(s.Vessels["jar-1"], r.Limits)
	require.True(t, ok)
	require.InDelta(t, ready.Sub(hour(28)).Hours(), reasonOf(t, a, "wait_h").Value, 1e-6)
	require.Contains(t, reasonOf(t, a, "wait_h").Source, "jar-1")
	require.Equal(t, a.Due, asks(t, s, r, 28, "buy-oil/north/out-1").Due)
}

// Two pumps that wait are not sent to the same jar.
func TestAVesselIsOfferedToOnePumpAtATime(t *testing.T) {
	r := DefaultRules()
	south := []said{{"south", 0, &PumpAct{Pump: "south", ChargeMl: num(700)}}, filtered("jar-1", 650, 40)}
	s := told(t, r, shedNorth(), south, turn("1", 1, "waste", "")[:3])
	from := map[string]bool{}
	for _, a := range Next(s, r, hour(28)) {
		if a.Do == DoFill {
			from[a.Record.Act.(*FillAct).From] = true
		}
	}
	require.Equal(t, map[string]bool{"jar-1": true, "can-1": true}, from)
}

func TestWornOilIsReplacedByNewAlone(t *testing.T) {
	r := DefaultRules()
	r.Limits.ReplaceRunH = num(20)
	s := told(t, r, shedNorth(), []said{filtered("jar-1", 650, 5)}, turn("1", 1, "jar-2", "")[:2])
	require.Equal(t, "waste", asks(t, s, r, 25.1, "drain/north").Record.Act.(*DrainAct).To)
	require.Equal(t, "waste", asks(t, s, r, 25.1, "replace/north").Record.Act.(*DrainAct).To)
	s = told(t, r, shedNorth(), []said{filtered("jar-1", 650, 5)}, turn("1", 1, "waste", "")[:3])
	require.Equal(t, "can-1", asks(t, s, r, 28, "fill/north").Record.Act.(*FillAct).From)
	a := asks(t, s, r, 28, "replace/north")
	require.Equal(t, "can-1", a.Record.Act.(*FillAct).From)
	require.Greater(t, reasonOf(t, a, "full_fraction").Value, 0.95)
}

func TestDrainNamesVesselAndAmount(t *testing.T) {
	r := DefaultRules()
	run := func(name string, h float64) []said { return turn(name, h, "", "")[:2] }
	into := func(s *State, h float64) *DrainAct { return asks(t, s, r, h, "drain/north").Record.Act.(*DrainAct) }

	s := told(t, r, shedNorth(), run("1", 1))
	require.Equal(t, "jar-2", into(s, 25.1).To, "the smallest that holds it")
	p := s.Pumps["north"]
	require.InDelta(t, (p.Sump.Total() - s.massOfVolume(20, p.Sump, 20)).Grams(), *into(s, 25.1).Grams, 1, "all but the heel")

	s = told(t, r, shedNorth(), []said{filtered("jar-2", 100, 1)}, run("1", 1))
	require.Equal(t, "jar-1", into(s, 25.1).To, "an empty one")
	s = told(t, r, shedNorth(), []said{filtered("jar-2", 100, 1), {"old", 0.1, &WeighAct{Vessel: "jar-1", Grams: num(100)}}}, run("1", 1))
	require.Equal(t, "jar-1", into(s, 25.1).To, "else one of drained oil with room")
	s = told(t, r, shedNorth(), []said{filtered("jar-2", 100, 1), filtered("jar-1", 100, 1)}, run("1", 1))
	a := asks(t, s, r, 25.1, "drain/north")
	require.Empty(t, a.Record.Act.(*DrainAct).To)
	require.Contains(t, strings.Join(a.Cautions, "\n"), "no vessel on the book has room")

	var turns [][]said
	turns = append(turns, shedNorth())
	for i, g := range []float64{500, 560, 570} {
		n := string(rune('a' + i))
		all := turn(n, float64(48*i+1), "waste", "can-1")
		all[2].act = &DrainAct{Pump: "north", To: "waste", Amount: Amount{Grams: num(g)}}
		turns = append(turns, all)
	}
	s = told(t, r, append(turns, run("d", 150))...)
	require.Equal(t, 560.0, *into(s, 174.1).Grams, "as the last drains brought")
}

func TestDrainIsForeseenByItsLimits(t *testing.T) {
	r := DefaultRules()
	r.Limits.DrainCycles, r.Limits.DrainRunH, r.Limits.DrainWaterG = nil, nil, num(20)
	running := func(trap float64) *State {
		return told(t, r, shedNorth(), turn("1", 1, "jar-1", "can-1"), []said{{"run", 50, &StartAct{Pump: "north", TrapC: &trap}}})
	}
	require.Nil(t, findAsked(running(-40), r, 60, "drain/north"), "some 13 g of 20")
	require.Equal(t, "set in the configuration", reasonOf(t, asks(t, running(-30), r, 60, "drain/north/run"), "drain_water_g").Source)
	require.Contains(t, WhyNot(running(-40), r, hour(60), DoDrain)[0], "0.0 g of water carried over since the change; limit 20 g")

	own := []said{{"own", 0, &PumpAct{Pump: "north", Limits: &Limits{DrainRunH: num(30)}}}}
	s := told(t, DefaultRules(), shedNorth(), own, turn("1", 1, "", "")[:2])
	require.Equal(t, "set for this pump", reasonOf(t, asks(t, s, DefaultRules(), 25, "drain/north"), "drain_run_h").Source)
}

// In a room as warm as that the oil never becomes too thick: the window does not close.
func TestDrainInAHotRoomHasNoEnd(t *testing.T) {
	r := DefaultRules()
	warm := []said{{"warm", 0, &PumpAct{Pump: "north", AmbientC: num(45), HotC: num(60)}}}
	a := asks(t, told(t, r, shedNorth(), warm, turn("1", 1, "", "")[:2]), r, 30, "drain/north/run-1")
	require.Nil(t, a.Closes)
	require.Equal(t, hour(49), a.Due)
	require.Equal(t, Open, a.State)
}

func TestAPumpStoppedColdIsToBeWarmed(t *testing.T) {
	r := DefaultRules()
	s := told(t, r, shedNorth(), []said{{"run", 1, &StartAct{Pump: "north"}}, {"end", 25, &StopAct{Pump: "north", HotC: num(30)}}})
	a := asks(t, s, r, 25.01, "drain/north/run")
	require.Equal(t, a.Opens, *a.Closes)
	require.Equal(t, Overdue, a.State)
	require.Equal(t, cautionWarm, a.Cautions[0])
}

// Filtered oil that is too wet clears by standing and is poured off again; where it does
// not, its water is frozen out.
func TestWetFilteredOilStandsOrFreezes(t *testing.T) {
	r := DefaultRules()
	wet := func(water, storeC float64) *State {
		return told(t, r, []said{
			{"j1", 0, &VesselAct{Vessel: "jar-1", CapacityMl: num(1000), StoreC: &storeC}}, {"j2", 0, &VesselAct{Vessel: "jar-2", CapacityMl: num(1000)}},
			{"oil", 0, &WeighAct{Vessel: "jar-2", Grams: num(600), WaterG: &water, Stage: Decanted}}, {"pass", 1, &FilterAct{From: "jar-2", To: "jar-1"}},
		})
	}
	require.Empty(t, Next(wet(1, 20), r, hour(3)), "ready")
	s := wet(4, 20)
	a := asks(t, s, r, 3, "decant/jar-1/pass")
	require.Equal(t, Coming, a.State)
	free := func(at time.Time) float64 {
		v := s.Vessels["jar-1"]
		return (v.freeWater() - s.sunkWater(v, at)).Grams()
	}
	require.LessOrEqual(t, free(a.Opens), 2.0)
	require.Greater(t, free(a.Opens.Add(-time.Hour)), 2.0)
	require.Nil(t, findAsked(s, r, 3, "freeze/jar-1"))
	require.Nil(t, findAsked(wet(30, 2), r, 3, "decant/jar-1"), "in the cold it takes longer than two weeks")
	require.Equal(t, Open, asks(t, wet(30, 2), r, 3, "freeze/jar-1").State)
}

func TestAStableEmulsionIsFrozen(t *testing.T) {
	r := DefaultRules()
	jar := []said{{"j1", 0, &VesselAct{Vessel: "jar-1", CapacityMl: num(1000), HeightMm: num(25)}}, {"oil", 0, &WeighAct{Vessel: "jar-1", Grams: num(600), WaterG: num(9)}}}
	look := func(h float64, is string) *State {
		return told(t, r, jar, []said{{"look", h, &InspectAct{Vessel: "jar-1", Look: is}}})
	}
	require.NotNil(t, findAsked(look(5, "milky"), r, 30, "decant/jar-1/oil"), "it had not stood long enough")
	require.NotNil(t, findAsked(look(25, "clear"), r, 30, "decant/jar-1/oil"))
	s := look(25, "milky")
	require.Nil(t, findAsked(s, r, 30, "decant/jar-1"))
	a := asks(t, s, r, 30, "freeze/jar-1/oil")
	require.Equal(t, hour(25), a.Opens)
	require.InDelta(t, 1-s.volumeMl(s.Vessels["jar-1"].Content, 20)/1000, reasonOf(t, a, "headspace").Value, 1e-9)
}

func TestASkippedActionIsSetAside(t *testing.T) {
	r := DefaultRules()
	s := told(t, r, shedNorth(), turn("1", 1, "", "")[:2], []said{{"no", 26, &SkipAct{Action: "drain/north/run-1"}}})
	require.Nil(t, findAsked(s, r, 27, "drain/north"))
	require.Equal(t, []string{"north: it was set aside by no"}, WhyNot(s, r, hour(27), DoDrain))
	s = told(t, r, shedNorth(), turn("1", 1, "", "")[:2], []said{{"no", 26, &SkipAct{Action: "drain/north/run-1"}}, {"run-2", 50, &StartAct{Pump: "north"}}, {"end-2", 60, &StopAct{Pump: "north"}}})
	require.NotNil(t, findAsked(s, r, 61, "drain/north/run-2"), "the next cycle is another thing")
}

func TestUpkeepByRunHours(t *testing.T) {
	r := DefaultRules()
	r.Care = []CareTask{{Task: "exhaust-filter", RunHours: 60}}
	s := told(t, r, shedNorth(), turn("1", 1, "waste", "can-1"), turn("2", 49, "waste", "can-1"))
	a := asks(t, s, r, 80, "care/exhaust-filter@north/north")
	require.Equal(t, Coming, a.State, "48 of 60 h, and a day every other day")
	require.Equal(t, hour(121), a.Opens, "at the end of the next cycle")
	s = told(t, r, shedNorth(), turn("1", 1, "waste", "can-1"), turn("2", 49, "waste", "can-1"), []said{{"run-3", 97, &StartAct{Pump: "north"}}})
	require.Equal(t, hour(109), asks(t, s, r, 111, "care/exhaust-filter@north/north").Opens, "twelve hours into the third")
	s = told(t, r, shedNorth(), turn("1", 1, "waste", "can-1"), turn("2", 49, "waste", "can-1"), turn("3", 97, "waste", "can-1"), []said{{"did", 125, &CareAct{Task: "exhaust-filter"}}})
	require.Nil(t, findAsked(s, r, 126, "care/exhaust-filter@north"))
}
