package maintenance

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestCycle(t *testing.T) {
	t.Run("is one run from start to stop, and has its start's id", func(t *testing.T) {
		b := kitchen(t).tell("id=c1 start pump=north").after(20)
		require.True(t, b.pump("north").Running)
		require.Equal(t, 20.0, b.pump("north").RunHours, "of a running pump hours count to now")
		require.Equal(t, 20.0, b.pump("north").Charge.RunHours)
		require.Equal(t, 20.0, b.pump("north").Charge.OilHours)
		require.Zero(t, b.pump("north").Cycles)
		require.Zero(t, b.pump("north").Charge.WaterG, "water is booked at the stop")
		b.tell("stop pump=north").after(5)
		p := b.pump("north")
		require.False(t, p.Running)
		require.Equal(t, 20.0, p.RunHours)
		require.Equal(t, 1, p.Cycles)
		require.Equal(t, 1, p.Charge.Cycles)
		require.Equal(t, "c1", b.s.Pumps["north"].History[0].ID)
		require.Greater(t, p.Charge.WaterG, 1.0)
	})
	t.Run("shorter than shortest_run counts hours, and is none", func(t *testing.T) {
		b := kitchen(t).tell("load pump=north grams=2000")
		b.ran(0.3)
		require.Zero(t, b.pump("north").Cycles)
		require.Equal(t, 0.3, b.pump("north").RunHours)
		require.False(t, b.s.Pumps["north"].Last.Counted)
		require.Len(t, b.s.Pumps["north"].Pending, 1, "its load waits for the cycle")
		b.ran(20.0 / 60)
		require.Equal(t, 1, b.pump("north").Cycles)
		require.Empty(t, b.s.Pumps["north"].Pending)
	})
	t.Run("a blank run counts hours, brings no water and is none", func(t *testing.T) {
		b := kitchen(t).tell("start pump=north what=blank").after(5).tell("stop pump=north")
		p := b.pump("north")
		require.Equal(t, 5.0, p.RunHours)
		require.Equal(t, 5.0, p.Charge.OilHours)
		require.Zero(t, p.Cycles)
		require.Zero(t, p.Charge.CarryOverG)
		require.Zero(t, p.Charge.WaterG)
		require.Zero(t, p.Charge.WaterHighG)
		require.Equal(t, 1, p.Charge.Uses)
	})
	t.Run("the counters of a charge begin with the change", func(t *testing.T) {
		b := kitchen(t).ran(10).tell("drain pump=north to=jar-1", "fill pump=north from=can-1").ran(7)
		p := b.pump("north")
		require.Equal(t, 17.0, p.RunHours)
		require.Equal(t, 7.0, p.Charge.RunHours)
		require.Equal(t, 2, p.Cycles)
		require.Equal(t, 1, p.Charge.Cycles)
		require.InDelta(t, p.Charge.CarryOverG, b.ledger().CarryOverG*7/17, 1e-2)
	})
	t.Run("a pump without oil runs, and is told to stop", func(t *testing.T) {
		b := kitchen(t).ran(10).tell("drain pump=north to=jar-1", "start pump=north")
		require.Contains(t, b.remarks, "stop it")
		b.after(1).tell("fill pump=north from=can-1").after(1).tell("stop pump=north")
		require.Equal(t, 1.0, b.pump("north").Charge.RunHours, "the charge runs from its fill")
		require.True(t, b.s.Pumps["north"].Charge.Started)
	})
}

func TestAPersonIsOfferedTheMissingEntry(t *testing.T) {
	accepted := func(t *testing.T, b *tale, r *Rejection) *State {
		require.Len(t, r.Offer, 2)
		all := append([]Entry(nil), b.told...)
		for i, e := range r.Offer {
			require.Zero(t, e.Seq)
			if e.ID == "" {
				e.ID = "offered"
			}
			e.Seq = uint64(len(b.told) + 1 + i)
			all = append(all, e)
		}
		s, err := Fold(b.rules, all)
		require.NoError(t, err)
		return s
	}
	t.Run("the stop, at a start of a running pump", func(t *testing.T) {
		b := kitchen(t).tell("start pump=north").after(20)
		s := accepted(t, b, b.refused("id=c2 start pump=north"))
		require.Equal(t, "c2", s.Pumps["north"].Run.Cycle)
		require.Equal(t, 1, s.Pumps["north"].Cycles)
	})
	t.Run("the stop, at a drain of a running pump", func(t *testing.T) {
		b := kitchen(t).tell("start pump=north").after(20)
		s := accepted(t, b, b.refused("drain pump=north to=jar-1"))
		require.True(t, s.Pumps["north"].Open)
		require.Equal(t, 20*time.Hour, s.Pumps["north"].RunTime)
	})
	t.Run("the start, at a stop of a stopped pump: a usual cycle ago", func(t *testing.T) {
		b := kitchen(t).ran(30).after(10).ran(30).after(100)
		r := b.refused("stop pump=north")
		require.Equal(t, b.now.Add(-30*time.Hour), r.Offer[0].At)
		require.Equal(t, 3, accepted(t, b, r).Pumps["north"].Cycles)
	})
	t.Run("the start, of a first cycle: a day ago", func(t *testing.T) {
		b := kitchen(t).after(100)
		r := b.refused("stop pump=north")
		require.Equal(t, b.now.Add(-24*time.Hour), r.Offer[0].At)
		accepted(t, b, r)
	})
	t.Run("the start, but after what could not be while it ran", func(t *testing.T) {
		b := kitchen(t).ran(30).after(1).tell("drain pump=north to=jar-1").after(2).tell("fill pump=north from=can-1").after(5)
		accepted(t, b, b.refused("stop pump=north"))
		b = newTale(t, "pump pump=north charge_ml=700")
		accepted(t, b, b.refused("stop pump=north"))
		b = kitchen(t).ran(30)
		accepted(t, b, b.refused("stop pump=north"))
	})
}

func TestSignal(t *testing.T) {
	t.Run("start and stop are a cycle like any other", func(t *testing.T) {
		b := kitchen(t).tell("id=north/start/a start pump=north").after(20).tell("id=north/stop/b stop pump=north")
		require.Equal(t, 1, b.pump("north").Cycles)
		require.Empty(t, b.s.Pumps["north"].Oddities)
	})
	t.Run("a signal that confirms a person adds nothing", func(t *testing.T) {
		b := kitchen(t).tell("id=c1 start pump=north").after(0.1).tell("id=north/start/a start pump=north").after(20).
			tell("stop pump=north").after(0.1).tell("id=north/stop/b stop pump=north")
		require.Equal(t, 1, b.pump("north").Cycles)
		require.Equal(t, 20.1, b.pump("north").RunHours)
		require.Equal(t, "c1", b.s.Pumps["north"].History[0].ID)
		require.Empty(t, b.s.Pumps["north"].Oddities)
	})
	t.Run("one that does not fit is taken and asked about", func(t *testing.T) {
		b := kitchen(t).tell("id=north/stop/a stop pump=north")
		require.Len(t, b.s.Pumps["north"].Oddities, 1)
		b.tell("id=north/start/b start pump=north").after(1).tell("id=north/start/c start pump=north")
		require.Len(t, b.s.Pumps["north"].Oddities, 2, "a stop was missed between two starts")
		b.tell("id=north/stop/d stop pump=north").after(1).tell("id=north/stop/e stop pump=north")
		require.Len(t, b.s.Pumps["north"].Oddities, 3)
		require.Equal(t, "north/stop/e", b.s.Pumps["north"].Oddities[2].Entry)
		b.tell("note pump=north note=seen")
		require.Empty(t, b.s.Pumps["north"].Oddities, "a note answers")
	})
	t.Run("the memory of oddities is bounded", func(t *testing.T) {
		b := kitchen(t)
		for range 20 {
			b.after(1).tell("id=north/stop/x stop pump=north")
		}
		require.Len(t, b.s.Pumps["north"].Oddities, maxOddities)
	})
	t.Run("of a pump that nobody declared is kept, and a person's acts on its oil wait for it", func(t *testing.T) {
		b := kitchen(t).tell("id=south/start/a start pump=south").after(2)
		require.True(t, b.pump("south").Running)
		require.Contains(t, b.refused("fill pump=south from=can-1").Hint, "declare")
		require.Contains(t, b.refused("weigh pump=south grams=5").Hint, "declare")
		require.Equal(t, "charge_ml", b.refused("pump pump=south speed_m3_h=5").Field)
		b.tell("pump pump=south charge_ml=500", "weigh pump=south grams=400")
		p := b.pump("south")
		require.True(t, p.Running)
		require.Equal(t, 2.0, p.RunHours)
		require.InDelta(t, 400, p.Charge.Grams, 1e-9)
		b.after(1).tell("id=south/stop/b stop pump=south")
		require.Equal(t, 1, b.pump("south").Cycles)
	})
	t.Run("a pump declared for an earlier time was declared when it ran", func(t *testing.T) {
		b := kitchen(t).after(10).tell("id=south/start/a start pump=south").after(10).tell("id=south/stop/b stop pump=south")
		s, err := b.late("pump pump=south charge_ml=500 at=1", "weigh pump=south grams=400 at=2")
		require.NoError(t, err)
		require.Equal(t, 1, s.Pumps["south"].Charge.Cycles)
		require.True(t, s.Pumps["south"].Charge.Started)
	})
	t.Run("the last stop of a pump that has retired means nothing, a start does", func(t *testing.T) {
		b := kitchen(t).ran(1).tell("drain pump=north to=jar-1", "pump pump=north retired=true", "id=north/stop/a stop pump=north")
		require.Empty(t, b.view().Pumps)
		b.tell("id=north/start/b start pump=north")
		require.True(t, b.pump("north").Running)
	})
	t.Run("a person's acts on unknown pumps are refused", func(t *testing.T) {
		b := kitchen(t)
		for _, line := range []string{"start pump=west", "stop pump=west", "load pump=west grams=5", "yield pump=west grams=5"} {
			require.Equal(t, "pump", b.refused(line).Field)
		}
	})
}

// The book hears of a signal's edge some minutes after it happened, when a person may have
// told of it already, or of what could not be without it.
func TestASignalToldLateIsTaken(t *testing.T) {
	t.Run("the start that a person told a little after it happened", func(t *testing.T) {
		b := kitchen(t).after(1).tell("id=c1 start pump=north ballast=open trap_c=-45").after(20).tell("stop pump=north", "yield pump=north cycle=c1 grams=300")
		s, err := b.late("id=north/start/a start pump=north at=0.95")
		require.NoError(t, err)
		p := s.Pumps["north"]
		require.Empty(t, p.Oddities)
		require.Equal(t, "c1", p.History[0].ID, "the id that the person's entry gave the cycle")
		require.InDelta(t, 20.05, p.RunTime.Hours(), 1e-9)
		require.Equal(t, 300.0, *p.History[0].OutG)
		require.True(t, p.Last.Ballast)
		require.Equal(t, -45.0, *p.Last.TrapC)
	})
	t.Run("the restart that a person told a little after it happened", func(t *testing.T) {
		b := kitchen(t).tell("id=c1 start pump=north").after(10).tell("stop pump=north uncertain=true").after(1).
			tell("id=c2 start pump=north").after(10).tell("stop pump=north", "yield pump=north cycle=c1 grams=300")
		s, err := b.late("id=north/start/a start pump=north at=10.95")
		require.NoError(t, err)
		require.Equal(t, "c1", s.Pumps["north"].History[0].ID)
		require.Equal(t, 1, s.Pumps["north"].Cycles)
	})
	t.Run("the stop that a person told a little after it happened", func(t *testing.T) {
		b := kitchen(t).tell("id=c1 start pump=north").after(20).tell("stop pump=north hot_c=63").after(1).tell("drain pump=north to=jar-1")
		s, err := b.late("id=north/stop/b stop pump=north at=19.95")
		require.NoError(t, err)
		p := s.Pumps["north"]
		require.Empty(t, p.Oddities)
		require.InDelta(t, 19.95, p.RunTime.Hours(), 1e-9)
		require.Equal(t, 63.0, p.Temp.C)
		require.True(t, p.Open)
	})
	t.Run("hours apart, it is asked about", func(t *testing.T) {
		b := kitchen(t).after(5).tell("id=c1 start pump=north").after(20).tell("stop pump=north")
		s, err := b.late("id=north/start/a start pump=north at=1", "id=north/stop/b stop pump=north at=10")
		require.NoError(t, err)
		require.Len(t, s.Pumps["north"].Oddities, 2)
	})
	t.Run("a run at the time of a drain ends with the drain", func(t *testing.T) {
		b := kitchen(t).ran(20).after(1).tell("id=d1 drain pump=north to=jar-1")
		s, err := b.late("id=north/start/a start pump=north at=20.5")
		require.NoError(t, err)
		p := s.Pumps["north"]
		require.Nil(t, p.Run)
		require.True(t, p.Open)
		require.InDelta(t, 20.5, p.RunTime.Hours(), 1e-9)
		require.Len(t, p.Oddities, 1)
		require.Equal(t, "d1", p.Oddities[0].Entry)
	})
	t.Run("a run at the time a pump retires ends there", func(t *testing.T) {
		b := kitchen(t).ran(20).tell("drain pump=north to=jar-1").after(1).tell("pump pump=north retired=true")
		s, err := b.late("id=north/start/a start pump=north at=20.5")
		require.NoError(t, err)
		require.True(t, s.Pumps["north"].Retired)
	})
	t.Run("what it makes impossible is left out and asked about", func(t *testing.T) {
		b := kitchen(t).tell("id=c1 start pump=north").after(20).tell("stop pump=north", "yield pump=north cycle=c1 grams=300")
		s, err := b.late("id=north/stop/a stop pump=north at=0.1")
		require.NoError(t, err)
		p := s.Pumps["north"]
		require.Zero(t, p.Cycles)
		require.Contains(t, p.Oddities[len(p.Oddities)-1].What, "the yield no longer fits")
	})
	t.Run("what a person tells late is still refused if it makes a later entry impossible", func(t *testing.T) {
		b := kitchen(t).ran(20).after(1).tell("id=d1 drain pump=north to=jar-1")
		_, err := b.late("start pump=north at=20.5")
		var r *Rejection
		require.ErrorAs(t, err, &r)
		require.Equal(t, "d1", r.Entry, "it names the later one")
	})
}

func TestAnUncertainStop(t *testing.T) {
	silent := func(t *testing.T) *tale {
		return kitchen(t).tell("load pump=north grams=3000 class=fish", "id=c1 start pump=north ballast=open trap_c=-45").after(10).
			tell("id=u stop pump=north uncertain=true")
	}
	t.Run("asks one question", func(t *testing.T) {
		b := silent(t)
		require.Len(t, b.s.Pumps["north"].Oddities, 1)
		require.Equal(t, "u", b.s.Pumps["north"].Oddities[0].Entry)
		require.Equal(t, 1, b.pump("north").Cycles)
	})
	t.Run("and a restart within six hours are one cycle", func(t *testing.T) {
		b := silent(t).after(6).tell("load pump=north grams=100", "id=c2 start pump=north")
		require.Zero(t, b.pump("north").Cycles)
		require.Zero(t, b.pump("north").Charge.Cycles)
		require.True(t, b.s.Pumps["north"].Run.Ballast, "the valve stands as it stood")
		b.after(10).tell("stop pump=north")
		p := b.s.Pumps["north"]
		require.Equal(t, 1, p.Cycles)
		require.Equal(t, 1, p.Charge.Cycles)
		require.Equal(t, map[string]int{"fish": 1}, p.Classes)
		require.Len(t, p.History, 1)
		c := p.History[0]
		require.Equal(t, "c1", c.ID)
		require.Equal(t, 20*time.Hour, c.Length, "the silence does not count")
		require.Equal(t, day0, c.Start)
		require.Equal(t, b.now, c.Stop)
		require.Equal(t, 3100.0, loadG(c.Loads))
		require.Equal(t, p.Charge.CarryOver, c.CarryOut)
		require.Equal(t, 20.0, b.pump("north").RunHours)
		require.Equal(t, 1, b.pump("north").Charge.Uses)
		once := kitchen(t).tell("start pump=north ballast=open trap_c=-45").after(20).tell("stop pump=north")
		require.InDelta(t, once.pump("north").Charge.CarryOverG, b.pump("north").Charge.CarryOverG, 2e-3)
	})
	t.Run("what came out before the restart is kept", func(t *testing.T) {
		b := silent(t).tell("yield pump=north grams=1000")
		require.InDelta(t, 2000, b.pump("north").Charge.WaterRemovedG, 1e-9)
		b.after(1).tell("start pump=north")
		require.Zero(t, b.pump("north").Charge.WaterRemovedG)
		b.after(5).tell("stop pump=north")
		require.InDelta(t, 2000, b.pump("north").Charge.WaterRemovedG, 1e-9)
	})
	t.Run("short pieces add up to a cycle", func(t *testing.T) {
		b := kitchen(t).tell("id=c1 start pump=north").after(0.25).tell("stop pump=north uncertain=true").after(1).
			tell("start pump=north").after(0.25).tell("stop pump=north")
		require.Equal(t, 1, b.pump("north").Cycles)
		require.Equal(t, "c1", b.s.Pumps["north"].History[0].ID)
		require.Equal(t, b.s.Pumps["north"].Charge.CarryOver, b.s.Pumps["north"].History[0].CarryOut)
	})
	for name, between := range map[string]func(*tale){
		"after more than six hours": func(b *tale) { b.after(6.01) },
		"after a drain":             func(b *tale) { b.tell("drain pump=north to=jar-1").after(2).tell("fill pump=north from=can-1") },
	} {
		t.Run(name+" a restart is another cycle", func(t *testing.T) {
			b := silent(t)
			between(b)
			b.tell("id=c2 start pump=north").after(10).tell("stop pump=north")
			require.Equal(t, 2, b.pump("north").Cycles)
			require.Equal(t, "c2", b.s.Pumps["north"].History[1].ID)
		})
	}
	t.Run("a sample between is no drain", func(t *testing.T) {
		b := silent(t).tell("drain pump=north to=jar-1 grams=20", "start pump=north").after(1).tell("stop pump=north")
		require.Equal(t, 1, b.pump("north").Cycles)
	})
	t.Run("a certain stop is the end, and so is a blank run's", func(t *testing.T) {
		b := kitchen(t).ran(10).after(1).ran(10)
		require.Equal(t, 2, b.pump("north").Cycles)
		b.tell("start pump=north what=blank").after(1).tell("stop pump=north uncertain=true").after(1).tell("id=c4 start pump=north").after(1).tell("stop pump=north")
		require.Equal(t, 3, b.pump("north").Cycles)
		require.Equal(t, "c4", b.s.Pumps["north"].History[2].ID)
	})
}

func TestWaterRemoved(t *testing.T) {
	t.Run("is weight in minus weight out; several loads add up", func(t *testing.T) {
		b := kitchen(t).tell("load pump=north grams=2500").tell("start pump=north").after(1).tell("load pump=north grams=1500").after(20).
			tell("stop pump=north", "yield pump=north grams=520")
		require.InDelta(t, 3480, b.pump("north").Charge.WaterRemovedG, 1e-9, "4000 g less 520 g (physics check T14-021)")
	})
	t.Run("of food weighed fresh, 5 % went to the freezer", func(t *testing.T) {
		b := kitchen(t).tell("load pump=north grams=4000 weighed=fresh").ran(20).tell("yield pump=north grams=520")
		require.InDelta(t, 0.95*3480, b.pump("north").Charge.WaterRemovedG, 1e-3)
		b = kitchen(t).tell("load pump=north grams=1000 weighed=fresh", "load pump=north grams=3000 weighed=frozen").ran(20).tell("yield pump=north grams=520")
		require.InDelta(t, (1-0.05/4)*3480, b.pump("north").Charge.WaterRemovedG, 1e-3, "a quarter of it was fresh")
	})
	t.Run("a later yield replaces it", func(t *testing.T) {
		b := kitchen(t).tell("load pump=north grams=4000").ran(20).tell("yield pump=north grams=520", "yield pump=north grams=600")
		require.InDelta(t, 3400, b.pump("north").Charge.WaterRemovedG, 1e-9)
	})
	t.Run("none told is unknown, not 0 g out", func(t *testing.T) {
		b := kitchen(t).tell("load pump=north grams=4000").ran(20)
		require.Zero(t, b.pump("north").Charge.WaterRemovedG)
		require.Nil(t, b.s.Pumps["north"].History[0].OutG)
		b.tell("yield pump=north grams=0")
		require.InDelta(t, 4000, b.pump("north").Charge.WaterRemovedG, 1e-9)
	})
	t.Run("counts to the charge that ran the cycle, whenever it is told", func(t *testing.T) {
		b := kitchen(t).tell("load pump=north grams=4000", "id=c1 start pump=north").after(20).tell("stop pump=north", "drain pump=north to=jar-1")
		b.tell("yield pump=north grams=500")
		require.Zero(t, b.pump("north").Charge.WaterRemovedG, "not to the heel")
		b.tell("fill pump=north from=can-1", "load pump=north grams=1000").ran(20)
		b.tell("yield pump=north grams=400 cycle=c1")
		require.Zero(t, b.pump("north").Charge.WaterRemovedG)
		require.Equal(t, 400.0, *b.s.Pumps["north"].History[0].OutG)
		b.tell("yield pump=north grams=100")
		require.InDelta(t, 900, b.pump("north").Charge.WaterRemovedG, 1e-9)
	})
	t.Run("what cannot be told is said", func(t *testing.T) {
		b := kitchen(t)
		require.Equal(t, "cycle", b.refused("yield pump=north grams=5").Field)
		b.ran(20).tell("yield pump=north grams=5")
		require.Contains(t, b.remarks, "no weight in")
		b.tell("load pump=north grams=100").ran(20).tell("yield pump=north grams=120")
		require.Contains(t, b.remarks, "more came out")
		require.Zero(t, b.pump("north").Charge.WaterRemovedG)
		require.Equal(t, "cycle", b.refused("yield pump=north grams=5 cycle=nowhere").Field)
	})
	t.Run("loads that wait are bounded", func(t *testing.T) {
		b := kitchen(t)
		for range maxHistory {
			b.tell("load pump=north grams=1")
		}
		require.Contains(t, b.refused("load pump=north grams=1").Says, "wait")
	})
}

func TestCadence(t *testing.T) {
	b := kitchen(t)
	p := func() *Pump { return b.s.Pumps["north"] }
	length, n := p().usualCycle()
	require.Zero(t, length)
	require.Zero(t, n)
	_, ok := p().usualGap()
	require.False(t, ok)
	for i := range 15 {
		b.ran(float64(20 + i)).after(5)
	}
	length, n = p().usualCycle()
	require.Equal(t, 12, n)
	require.Equal(t, 29*time.Hour, length, "median of 23 to 34")
	gap, ok := p().usualGap()
	require.True(t, ok)
	require.Equal(t, 33*time.Hour, gap, "median of 28 to 38")
}

func TestTheMemoryOfCyclesIsBounded(t *testing.T) {
	b := kitchen(t)
	for range maxHistory + 5 {
		b.ran(1)
	}
	clone := b.s.Clone()
	require.Len(t, clone.Pumps["north"].History, maxHistory)
	require.Equal(t, maxHistory+5, clone.Pumps["north"].Cycles)
	before := fingerprint(t, clone)
	b.ran(1).tell("yield pump=north grams=5")
	require.Equal(t, before, fingerprint(t, clone), "a clone shares nothing that changes")
}
