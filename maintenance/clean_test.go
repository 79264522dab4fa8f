package maintenance

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// jarOf is a jar of so much drained oil and water that has stood for a while; 100 mm deep.
func jarOf(t *testing.T, oilAndWater string, h float64) *tale {
	return newTale(t, "vessel vessel=jar-1", "vessel vessel=jar-2", "vessel vessel=jar-3", "medium medium=paper", "weigh vessel=jar-1 "+oilAndWater).after(h)
}

func TestDecant(t *testing.T) {
	t.Run("what has sunk stays, what has not goes along", func(t *testing.T) {
		b := jarOf(t, "grams=640 water_g=40", 72)
		v := b.vessel("jar-1")
		require.InDelta(t, 0.690315, v.Settled, 2e-4, "69 % after 3 days in 100 mm (physics checks T06-031)")
		sunk := b.s.sunkWater(b.s.Vessels["jar-1"], b.now).Grams()
		b.tell("decant from=jar-1 to=jar-2 grams=500")
		to, rest := b.vessel("jar-2"), b.vessel("jar-1")
		require.InDelta(t, 500*(40-sunk)/(640-sunk), to.WaterG, 1e-3)
		require.InDelta(t, 40, to.WaterG+rest.WaterG, 1e-9)
		require.Equal(t, Decanted, *to.Stage)
		require.Equal(t, Residue, *rest.Stage)
		require.InDelta(t, sunk, b.s.sunkWater(b.s.Vessels["jar-1"], b.now).Grams(), 0.01, "what was at the bottom is there still")
	})
	t.Run("no amount: all but a tenth", func(t *testing.T) {
		b := jarOf(t, "grams=640 water_g=5", 200).tell("decant from=jar-1 to=jar-2")
		require.InDelta(t, 576, b.vessel("jar-2").Grams, 1e-9)
		require.Empty(t, b.remarks)
	})
	t.Run("no amount: or all but twice the settled water, if that is more", func(t *testing.T) {
		b := jarOf(t, "grams=640 water_g=60", 1000)
		sunk := b.s.sunkWater(b.s.Vessels["jar-1"], b.now).Grams()
		require.Greater(t, sunk, 50.0)
		b.tell("decant from=jar-1 to=jar-2")
		require.InDelta(t, 640-2*sunk, b.vessel("jar-2").Grams, 1e-9)
	})
	t.Run("beyond the clear oil the settled water comes last", func(t *testing.T) {
		b := jarOf(t, "grams=640 water_g=60", 5000)
		sunk := b.s.sunkWater(b.s.Vessels["jar-1"], b.now).Grams()
		b.tell("decant from=jar-1 to=jar-2 grams=620")
		rest := b.vessel("jar-1")
		require.InDelta(t, 20, rest.WaterG, 1e-9)
		require.Zero(t, rest.OilG)
		require.InDelta(t, 40, b.vessel("jar-2").WaterG, 1e-9)
		require.Greater(t, sunk, 55.0)
	})
	t.Run("before it is ready is taken, and said", func(t *testing.T) {
		b := jarOf(t, "grams=640 water_g=40", 10).tell("decant from=jar-1 to=jar-2")
		require.Contains(t, b.remarks, "was to stand until")
		require.Greater(t, b.vessel("jar-2").WaterG, 25.0)
	})
	t.Run("nothing clear is refused", func(t *testing.T) {
		b := jarOf(t, "grams=60 water_g=59", 5000)
		require.Contains(t, b.refused("decant from=jar-1 to=jar-2").Says, "nothing clear")
		require.Contains(t, b.refused("decant from=jar-2 to=jar-1").Says, "empty")
		require.Equal(t, "to", b.refused("decant from=jar-1 to=jar-1").Field)
	})
	t.Run("all of it leaves no residue", func(t *testing.T) {
		b := jarOf(t, "grams=640", 200).tell("decant from=jar-1 to=jar-2 grams=640")
		require.Nil(t, b.vessel("jar-1").Stage)
	})
}

func TestFilter(t *testing.T) {
	t.Run("a pass leaves kept_g in the medium last declared", func(t *testing.T) {
		b := jarOf(t, "grams=640 water_g=8", 0).tell("medium medium=felt", "filter from=jar-1 to=jar-2 kept_g=16 minutes=40")
		v := b.vessel("jar-2")
		require.Equal(t, Filtered, *v.Stage)
		require.Equal(t, 1, v.FilterPasses)
		require.InDelta(t, 624, v.Grams, 1e-9)
		require.InDelta(t, 7.8, v.WaterG, 1e-9, "in proportion")
		require.InDelta(t, 16, b.ledger().InMediaG, 1e-9)
		require.Equal(t, MassOf(16), b.s.Media["felt"].Held.Total())
		b.tell("filter from=jar-2 to=jar-3 medium=paper kept_g=4")
		require.Equal(t, 2, b.vessel("jar-3").FilterPasses)
		require.Equal(t, MassOf(4), b.s.Media["paper"].Held.Total())
	})
	t.Run("a fresh medium discards what the old one held", func(t *testing.T) {
		b := jarOf(t, "grams=640", 0).tell("filter from=jar-1 to=jar-2 kept_g=16", "medium medium=paper")
		require.Zero(t, b.ledger().InMediaG)
		require.InDelta(t, 16, b.ledger().DiscardedG, 1e-9)
		require.Zero(t, b.s.Media["paper"].Passes)
	})
	t.Run("a medium grows slow by the minutes for a gram, as at 20 °C", func(t *testing.T) {
		b := jarOf(t, "grams=640", 0).tell("filter from=jar-1 to=jar-2 minutes=30", "filter from=jar-2 to=jar-1 grams=320 minutes=45")
		m := b.s.Media["paper"]
		require.InDelta(t, 3, m.LastM/m.FirstM, 1e-9)
		// VG 68 is 116.3 mm²/s at 30 °C and 216.9 at 20 °C (physics.md, default oil).
		b.tell("vessel vessel=jar-1 store_c=30").after(100).tell("filter from=jar-1 to=jar-3 grams=100 minutes=10")
		require.InDelta(t, 10.0/100*216.9/116.3, m.LastM, 1e-4)
	})
	t.Run("more kept than was poured is refused", func(t *testing.T) {
		b := jarOf(t, "grams=100", 0)
		require.Equal(t, "kept_g", b.refused("filter from=jar-1 to=jar-2 grams=50 kept_g=51").Field)
		b.tell("filter from=jar-1 to=jar-2 grams=50 kept_g=50")
		require.Nil(t, b.vessel("jar-2").Stage, "all of it stayed in the medium")
		require.Contains(t, b.refused("filter from=jar-2 to=jar-3").Says, "empty")
	})
	t.Run("no medium on the book is taken if it kept nothing", func(t *testing.T) {
		b := newTale(t, "vessel vessel=jar-1", "vessel vessel=jar-2", "weigh vessel=jar-1 grams=100")
		require.Equal(t, "medium", b.refused("filter from=jar-1 to=jar-2 kept_g=5").Field)
		require.Contains(t, b.refused("filter from=jar-1 to=jar-2 medium=felt").Says, `"felt"`)
		b.tell("filter from=jar-1 to=jar-2")
		require.Contains(t, b.remarks, "no filter medium")
	})
}

func TestFreezeAndSeparate(t *testing.T) {
	frozen := func(t *testing.T) *tale {
		return jarOf(t, "grams=300 water_g=40", 100).tell("freeze vessel=jar-1").after(24)
	}
	t.Run("the ice is taken out and the oil settles again", func(t *testing.T) {
		b := frozen(t)
		require.Equal(t, Freezing, b.stage("jar-1"))
		require.NotNil(t, b.vessel("jar-1").ReadyAt)
		b.tell("separate from=jar-1 to=jar-2 water_g=36")
		v := b.vessel("jar-2")
		require.Equal(t, Recovered, *v.Stage)
		require.InDelta(t, 264, v.Grams, 1e-9)
		require.InDelta(t, 4, v.WaterG, 1e-9)
		require.Equal(t, b.now, v.Since)
		require.True(t, v.ReadyAt.After(b.now.Add(hours(24))))
		require.InDelta(t, 36, b.ledger().WaterTakenG, 1e-9)
		require.Nil(t, b.vessel("jar-1").Stage)
		require.Zero(t, b.ledger().FoundG)
	})
	t.Run("more water than the book held is found", func(t *testing.T) {
		b := frozen(t).tell("separate from=jar-1 to=jar-2 water_g=120")
		require.InDelta(t, 80, b.ledger().FoundG, 1e-9)
		require.InDelta(t, 120, b.ledger().WaterTakenG, 1e-9)
		require.InDelta(t, 260, b.vessel("jar-2").OilG, 1e-9)
		require.Zero(t, b.vessel("jar-2").WaterG)
		require.Zero(t, b.vessel("jar-2").WaterHighG)
	})
	t.Run("more ice than there was of everything is a slip", func(t *testing.T) {
		b := frozen(t)
		require.Equal(t, "water_g", b.refused("separate from=jar-1 to=jar-2 water_g=330.001").Field)
		b.tell("separate from=jar-1 to=jar-2 water_g=330")
	})
	t.Run("the oil that is left behind is residue", func(t *testing.T) {
		b := frozen(t).tell("separate from=jar-1 to=jar-2 water_g=40 grams=200")
		require.Equal(t, Residue, b.stage("jar-1"))
		require.InDelta(t, 60, b.vessel("jar-1").Grams, 1e-9)
		require.Contains(t, b.refused("separate from=jar-1 to=jar-2 water_g=0 grams=100").Says, "by the book")
	})
	t.Run("a jar of nothing but water leaves nothing", func(t *testing.T) {
		b := jarOf(t, "grams=40 water_g=40", 0).tell("freeze vessel=jar-1", "separate from=jar-1 to=jar-2 water_g=40")
		require.Nil(t, b.vessel("jar-1").Stage)
		require.Nil(t, b.vessel("jar-2").Stage)
	})
	t.Run("the interval of the water narrows by what was taken", func(t *testing.T) {
		b := kitchen(t).ran(24).tell("drain pump=north to=jar-1")
		v := b.vessel("jar-1")
		b.tell("freeze vessel=jar-1").after(24).tell("separate from=jar-1 to=jar-2 water_g=6")
		w := b.vessel("jar-2")
		require.InDelta(t, v.WaterG-6, w.WaterG, 1e-9)
		require.InDelta(t, v.WaterHighG-6, w.WaterHighG, 1e-9)
		require.InDelta(t, max(0, v.WaterLowG-6), w.WaterLowG, 1e-9)
	})
	t.Run("of nothing is refused", func(t *testing.T) {
		b := jarOf(t, "grams=0", 0)
		require.Contains(t, b.refused("freeze vessel=jar-1").Says, "empty")
		require.Contains(t, b.refused("separate from=jar-1 to=jar-2 water_g=0").Says, "empty")
		require.Equal(t, "vessel", b.refused("freeze vessel=jar-9").Field)
		require.Equal(t, "from", b.refused("separate from=jar-9 to=jar-2 water_g=0").Field)
	})
}
