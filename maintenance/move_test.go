package maintenance

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A move of up to a tenth more than the book holds, or 30 g if that is more, is the better
// measurement; more is a slip.
func TestSurplus(t *testing.T) {
	for _, c := range []struct {
		name        string
		held, moved string
		found       float64
		taken       bool
	}{
		{"a tenth is found", "640", "704", 64, true},
		{"a milligram over a tenth is a slip", "640", "704.001", 0, false},
		{"30 g of little is found", "100", "130", 30, true},
		{"a milligram over 30 g is a slip", "100", "130.001", 0, false},
		{"of 300 g both are the same", "300", "330", 30, true},
		{"30 g of nothing is found", "0", "30", 30, true},
		{"more than 30 g of nothing is a slip", "0", "30.001", 0, false},
		{"what the book holds is moved as it is", "640", "640", 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newTale(t, "vessel vessel=jar-1", "vessel vessel=jar-2", "weigh vessel=jar-1 grams="+c.held)
			for _, kind := range []string{"pour", "filter", "discard", "decant"} {
				b := &tale{t: t, s: b.s.Clone(), rules: b.rules, now: b.now, told: b.told}
				line := kind + " from=jar-1 grams=" + c.moved
				if kind != "discard" {
					line += " to=jar-2"
				}
				if !c.taken {
					r := b.refused(line)
					require.Contains(t, r.Says, "by the book")
					require.Contains(t, r.Hint, "weigh")
					continue
				}
				b.tell(line)
				require.InDelta(t, c.found, b.ledger().FoundG, 1e-9, kind)
				require.Zero(t, b.vessel("jar-1").Grams)
				if c.found > 0 {
					require.Contains(t, b.remarks, "found")
				}
			}
		})
	}
	t.Run("a surplus has the make-up of what was there", func(t *testing.T) {
		b := kitchen(t).tell("weigh vessel=jar-1 grams=300 lot=lot-1 water_g=30", "pour from=jar-1 to=jar-2 grams=330")
		v := b.vessel("jar-2")
		require.InDelta(t, 33, v.WaterG, 1e-9)
		require.InDelta(t, 297, v.Lots["lot-1"], 1e-9)
	})
	t.Run("a surplus of a drain and of a fill too", func(t *testing.T) {
		b := kitchen(t).ran(1)
		held := b.pump("north").Charge.Grams
		b.tell("drain pump=north to=jar-1 grams=660")
		require.InDelta(t, 660-held, b.ledger().FoundG, 1e-9)
		require.Nil(t, b.pump("north").Charge, "nothing is left")
		require.Contains(t, b.refused("fill pump=north from=jar-1 grams=727").Says, "660 g")
		b.tell("fill pump=north from=jar-1 grams=726")
	})
	t.Run("oil found in a vessel that the book holds empty is drained oil of no known purchase", func(t *testing.T) {
		b := newTale(t, "vessel vessel=jar-1", "vessel vessel=jar-2", "pour from=jar-1 to=jar-2 grams=20")
		require.Equal(t, Drained, b.stage("jar-2"))
		require.Equal(t, []string{UnknownLot}, b.lots("jar-2"))
	})
	t.Run("less than a milligram is no move", func(t *testing.T) {
		require.Equal(t, "grams", kitchen(t).refused("pour from=can-1 to=jar-1 grams=0.0001").Field)
	})
}

func TestCapacity(t *testing.T) {
	t.Run("a vessel takes its capacity and no more", func(t *testing.T) {
		b := kitchen(t)
		b.tell("pour from=can-1 to=jar-1 ml=1000")
		require.Equal(t, "to", b.refused("pour from=can-1 to=jar-1 ml=1").Field)
	})
	t.Run("every move into a vessel is held against it", func(t *testing.T) {
		b := kitchen(t).ran(1).tell("vessel vessel=cup capacity_ml=100", "weigh vessel=jar-1 grams=500")
		for _, line := range []string{
			"pour from=jar-1 to=cup", "decant from=jar-1 to=cup", "filter from=jar-1 to=cup",
			"separate from=jar-1 to=cup water_g=3", "drain pump=north to=cup",
		} {
			r := b.refused(line)
			require.Equal(t, "to", r.Field, line)
			require.Contains(t, r.Says, "cup takes 100 ml", line)
		}
		require.Equal(t, "vessel", b.refused("lot lot=lot-2 vessel=cup grams=100").Field)
		require.Equal(t, "grams", b.refused("weigh vessel=cup grams=100").Field)
	})
	t.Run("a sump takes one and a half of its charge", func(t *testing.T) {
		b := kitchen(t)
		r := b.refused("fill pump=north from=can-1 ml=351")
		require.Contains(t, r.Says, "north takes 700 ml, and this would make it 1051.0 ml")
		b.tell("fill pump=north from=can-1 ml=349.9")
	})
}

func TestPour(t *testing.T) {
	t.Run("a blend is only as far along as its least finished part", func(t *testing.T) {
		for i, least := range stages {
			for _, other := range stages[i:] {
				b := newTale(t, "vessel vessel=jar-1", "vessel vessel=jar-2",
					"weigh vessel=jar-1 grams=100 stage="+string(least), "weigh vessel=jar-2 grams=100 stage="+string(other))
				b.tell("pour from=jar-1 to=jar-2 grams=50", "pour from=jar-2 to=jar-1 grams=10")
				require.Equal(t, least, b.stage("jar-2"))
				require.Equal(t, least, b.stage("jar-1"))
			}
		}
	})
	t.Run("ages are weighted by mass", func(t *testing.T) {
		b := newTale(t, "vessel vessel=jar-1", "vessel vessel=jar-2", "weigh vessel=jar-1 grams=300 run_hours=10", "weigh vessel=jar-2 grams=100 run_hours=50", "pour from=jar-1 to=jar-2")
		require.InDelta(t, 20, b.vessel("jar-2").OilHours, 1e-9)
	})
	t.Run("all of it leaves an empty vessel without a stage", func(t *testing.T) {
		b := kitchen(t).after(1).tell("pour from=can-1 to=jar-1 grams=800", "pour from=jar-1 to=jar-2")
		v := b.vessel("jar-1")
		require.Nil(t, v.Stage)
		require.Equal(t, b.now, v.Since)
		require.Empty(t, v.Lots)
		require.Equal(t, New, b.stage("jar-2"))
	})
	t.Run("settling begins anew in both", func(t *testing.T) {
		b := newTale(t, "vessel vessel=jar-1", "vessel vessel=jar-2", "weigh vessel=jar-1 grams=500 water_g=50").after(48)
		require.Greater(t, b.vessel("jar-1").Settled, 0.5)
		b.tell("pour from=jar-1 to=jar-2 grams=100")
		require.Zero(t, b.vessel("jar-1").Settled)
		require.Zero(t, b.vessel("jar-2").Settled)
		require.InDelta(t, 10, b.vessel("jar-2").WaterG, 1e-9, "well mixed")
		require.Equal(t, b.now, b.vessel("jar-1").Since)
	})
	t.Run("a can of new oil does not wait for what was poured", func(t *testing.T) {
		b := kitchen(t).after(5).tell("pour from=can-1 to=jar-1 grams=100")
		require.Equal(t, day0, b.vessel("can-1").Since)
	})
	t.Run("into itself, from nothing or from nowhere is refused", func(t *testing.T) {
		b := kitchen(t)
		require.Contains(t, b.refused("pour from=can-1 to=can-1").Says, "the same")
		require.Contains(t, b.refused("pour from=jar-1 to=jar-2").Says, "empty")
		require.Equal(t, "from", b.refused("pour from=jar-9 to=jar-2").Field)
		require.Equal(t, "to", b.refused("pour from=can-1 to=jar-9").Field)
	})
	t.Run("new oil added to filtered oil needs no pass, drained oil does", func(t *testing.T) {
		b := kitchen(t).ran(5).tell("drain pump=north to=jar-1", "filter from=jar-1 to=jar-2", "pour from=can-1 to=jar-2 grams=100")
		require.Equal(t, Filtered, b.stage("jar-2"))
		require.Equal(t, 1, b.vessel("jar-2").FilterPasses)
		b.tell("fill pump=north from=can-1").ran(5).tell("drain pump=north to=jar-3", "pour from=jar-3 to=jar-2 grams=10")
		require.Zero(t, b.vessel("jar-2").FilterPasses)
	})
}

func TestWaste(t *testing.T) {
	t.Run("all that enters a waste vessel is waste", func(t *testing.T) {
		b := kitchen(t).ran(1).tell("vessel vessel=drum waste=true", "pour from=can-1 to=drum grams=10")
		require.Equal(t, Waste, b.stage("drum"))
		b.tell("drain pump=north to=drum")
		require.Equal(t, Waste, b.stage("drum"))
		require.NotContains(t, b.remarks, "settles", "nobody waits for waste")
		b.tell("weigh vessel=drum grams=500 stage=new")
		require.Equal(t, Waste, b.stage("drum"))
	})
	t.Run("waste stays waste, whatever is done to it", func(t *testing.T) {
		b := newTale(t, "vessel vessel=drum waste=true", "vessel vessel=jar-1", "vessel vessel=jar-2", "vessel vessel=jar-3", "weigh vessel=drum grams=900",
			"pour from=drum to=jar-1 grams=300", "decant from=drum to=jar-2 grams=200", "filter from=jar-1 to=jar-3 grams=100",
			"freeze vessel=jar-1", "separate from=jar-1 to=jar-3 water_g=5 grams=100", "decant from=jar-2 to=jar-3 grams=100")
		for _, name := range []string{"drum", "jar-1", "jar-2", "jar-3"} {
			require.Equal(t, Waste, b.stage(name), name)
		}
	})
	t.Run("a vessel made a waste vessel makes waste of what it holds", func(t *testing.T) {
		b := kitchen(t).after(3).tell("vessel vessel=can-1 waste=true")
		require.Equal(t, Waste, b.stage("can-1"))
		require.Equal(t, b.now, b.vessel("can-1").Since)
		b.tell("vessel vessel=can-1 waste=false")
		require.Equal(t, Waste, b.stage("can-1"), "it does not become good again")
	})
	t.Run("waste that the book did not know of is waste too", func(t *testing.T) {
		b := newTale(t, "vessel vessel=drum waste=true", "vessel vessel=jar-1", "pour from=drum to=jar-1 grams=20")
		require.Equal(t, Waste, b.stage("jar-1"))
	})
}

func TestDiscard(t *testing.T) {
	b := kitchen(t).tell("discard from=can-1 grams=100 where=spilled", "discard from=can-1")
	require.Zero(t, b.vessel("can-1").Grams)
	require.InDelta(t, 4000-b.pump("north").Charge.Grams, b.ledger().DiscardedG, 1e-9)
	require.Contains(t, b.refused("discard from=can-1").Says, "empty")
	require.Equal(t, "from", b.refused("discard from=jar-9").Field)
}

func TestGramsAreWrittenAsAScaleShowsThem(t *testing.T) {
	for g, want := range map[float64]string{0: "0 g", 0.004: "0.004 g", 5.25: "5.25 g", 64: "64 g", 640.04: "640 g", 640.26: "640.3 g", 12345.6: "12346 g"} {
		require.Equal(t, want, grams(MassOf(g)))
	}
}
