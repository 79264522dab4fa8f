package maintenance

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestOpeningBalance(t *testing.T) {
	t.Run("of a vessel: drained, dry, of unknown age, never fresh", func(t *testing.T) {
		b := newTale(t, "vessel vessel=jar-1", "weigh vessel=jar-1 grams=500")
		v := b.vessel("jar-1")
		require.InDelta(t, 500, b.ledger().OpeningG, 1e-9)
		require.Zero(t, b.ledger().FoundG)
		require.Equal(t, Drained, *v.Stage)
		require.Zero(t, v.WaterG)
		require.Equal(t, map[string]float64{UnknownLot: 500}, v.Lots)
		require.Equal(t, MassOf(500), b.s.Vessels["jar-1"].Content.AgeUnsure)
		require.Zero(t, b.s.Vessels["jar-1"].Content.Fresh)
	})
	t.Run("with its stage, lot, water and hours as told", func(t *testing.T) {
		b := kitchen(t).tell("weigh vessel=jar-1 grams=500 stage=new lot=lot-1 water_g=20 run_hours=100")
		v := b.vessel("jar-1")
		require.Equal(t, New, *v.Stage)
		require.InDelta(t, 480, v.Lots["lot-1"], 1e-9)
		require.InDelta(t, 20, v.WaterG, 1e-9)
		require.InDelta(t, 100, v.OilHours, 1e-9)
		require.Zero(t, b.s.Vessels["jar-1"].Content.Fresh, "never fresh, even if new")
		require.Zero(t, b.s.Vessels["jar-1"].Content.AgeUnsure)
	})
	t.Run("of an empty vessel opens nothing yet", func(t *testing.T) {
		b := newTale(t, "vessel vessel=jar-1", "weigh vessel=jar-1 grams=0")
		require.Nil(t, b.vessel("jar-1").Stage)
		b.tell("weigh vessel=jar-1 grams=5")
		require.InDelta(t, 5, b.ledger().OpeningG, 1e-9)
	})
	t.Run("of a pump above its heel starts a charge", func(t *testing.T) {
		b := newTale(t, "pump pump=north charge_ml=700").after(5).tell("id=w weigh pump=north grams=600 stage=drained")
		p := b.pump("north")
		require.False(t, p.Open)
		require.Equal(t, "w", p.Charge.ID)
		require.Equal(t, b.now, *p.LastChange)
		require.Nil(t, p.LastDrain)
		require.Zero(t, p.Charge.FreshFraction)
		require.InDelta(t, 600, b.ledger().OpeningG, 1e-9)
		b.ran(10)
		require.Equal(t, 1, b.pump("north").Charge.Uses)
		require.Nil(t, b.pump("north").Full, "no full replacement is on record")
	})
	t.Run("of a pump up to its heel does not", func(t *testing.T) {
		b := newTale(t, "pump pump=north charge_ml=700", "id=w weigh pump=north grams=18")
		p := b.pump("north")
		require.True(t, p.Open)
		require.Equal(t, "w", p.Charge.ID, "what an open pump holds is its heel")
		require.Nil(t, p.LastChange)
	})
	t.Run("of a pump that runs already is running from there", func(t *testing.T) {
		b := newTale(t, "pump pump=north charge_ml=700", "start pump=north").after(5).tell("weigh pump=north grams=600").after(5).tell("stop pump=north")
		c := b.pump("north").Charge
		require.Equal(t, 5.0, c.RunHours)
		require.Equal(t, 5.0, c.OilHours)
		require.Equal(t, 1, c.Uses)
	})
	t.Run("a volume of a lot is at its density", func(t *testing.T) {
		b := newTale(t, "lot lot=thick vessel=can-1 grams=1000 density_15=900", "vessel vessel=jar-1", "vessel vessel=jar-2",
			"weigh vessel=jar-1 ml=100 temp_c=15 lot=thick", "weigh vessel=jar-2 ml=100 temp_c=15")
		require.InDelta(t, 90, b.vessel("jar-1").Grams, 1e-3)
		require.InDelta(t, 87, b.vessel("jar-2").Grams, 1e-3)
	})
}

func TestWeighing(t *testing.T) {
	jar := func(t *testing.T) *tale {
		return newTale(t, "lot lot=lot-1 vessel=jar-1 grams=300", "lot lot=lot-2 vessel=jar-1 grams=100")
	}
	t.Run("less than the book is lost, in proportion", func(t *testing.T) {
		b := jar(t).tell("weigh vessel=jar-1 grams=360")
		require.InDelta(t, 40, b.ledger().LostG, 1e-9)
		require.InDelta(t, 270, b.vessel("jar-1").Lots["lot-1"], 1e-9)
		require.Contains(t, b.remarks, "40 g less")
	})
	t.Run("more is found, in proportion", func(t *testing.T) {
		b := jar(t).tell("weigh vessel=jar-1 grams=440")
		require.InDelta(t, 40, b.ledger().FoundG, 1e-9)
		require.InDelta(t, 330, b.vessel("jar-1").Lots["lot-1"], 1e-9)
		require.Equal(t, New, b.stage("jar-1"))
		require.Contains(t, b.remarks, "40 g more")
	})
	t.Run("more is found of the lot told", func(t *testing.T) {
		b := jar(t).tell("weigh vessel=jar-1 grams=440 lot=lot-2")
		require.InDelta(t, 140, b.vessel("jar-1").Lots["lot-2"], 1e-9)
		require.Equal(t, MassOf(40), b.s.Vessels["jar-1"].Content.AgeUnsure)
		require.Equal(t, "lot", b.refused("weigh vessel=jar-1 grams=450 lot=lot-9").Field)
		b.tell("weigh vessel=jar-1 grams=450 lot=unknown")
		require.InDelta(t, 10, b.vessel("jar-1").Lots[UnknownLot], 1e-9)
	})
	t.Run("more of the one lot there is more of the same", func(t *testing.T) {
		b := newTale(t, "lot lot=lot-1 vessel=jar-1 grams=300", "weigh vessel=jar-1 grams=310 lot=lot-1")
		require.Equal(t, MassOf(310), b.s.Vessels["jar-1"].Content.Fresh)
	})
	t.Run("more in a place that is empty by now is of no known purchase", func(t *testing.T) {
		b := jar(t).tell("discard from=jar-1", "weigh vessel=jar-1 grams=50")
		require.InDelta(t, 50, b.ledger().FoundG, 1e-9)
		require.Equal(t, []string{UnknownLot}, b.lots("jar-1"))
		require.Equal(t, Drained, b.stage("jar-1"))
		b.tell("discard from=jar-1", "weigh vessel=jar-1 grams=50 stage=filtered")
		require.Equal(t, Filtered, b.stage("jar-1"))
	})
	t.Run("nothing leaves an empty vessel", func(t *testing.T) {
		b := jar(t).tell("weigh vessel=jar-1 grams=0")
		require.Nil(t, b.vessel("jar-1").Stage)
		require.InDelta(t, 400, b.ledger().LostG, 1e-9)
	})
	t.Run("the same changes nothing and says nothing", func(t *testing.T) {
		b := jar(t).tell("weigh vessel=jar-1 grams=400")
		require.Zero(t, b.ledger().LostG+b.ledger().FoundG)
		require.Empty(t, b.remarks)
	})
	t.Run("a stage told is the stage from now on", func(t *testing.T) {
		b := jar(t).after(1).tell("weigh vessel=jar-1 grams=400 stage=residue")
		require.Equal(t, Residue, b.stage("jar-1"))
		require.Equal(t, b.now, b.vessel("jar-1").Since)
	})
	t.Run("hours told replace the book's", func(t *testing.T) {
		b := jar(t).tell("weigh vessel=jar-1 grams=400 run_hours=55")
		require.InDelta(t, 55, b.vessel("jar-1").OilHours, 1e-9)
	})
	t.Run("gross weight needs the tare", func(t *testing.T) {
		b := jar(t)
		require.Contains(t, b.refused("weigh vessel=jar-1 gross_g=900").Hint, "tare_g")
		b.tell("vessel vessel=jar-1 tare_g=510", "weigh vessel=jar-1 gross_g=900")
		require.InDelta(t, 390, b.vessel("jar-1").Grams, 1e-9)
		require.Contains(t, b.refused("weigh vessel=jar-1 gross_g=500").Says, "less than the empty vessel")
	})
	t.Run("a volume is at 20 °C or as told, of a sump too", func(t *testing.T) {
		b := jar(t).tell("weigh vessel=jar-1 ml=400")
		require.InDelta(t, 400*0.8668576, b.vessel("jar-1").Grams, 1e-2)
		b.tell("weigh vessel=jar-1 ml=400 temp_c=70")
		require.InDelta(t, 400*0.8350942, b.vessel("jar-1").Grams, 1e-2)
		k := kitchen(t).tell("start pump=north what=blank").after(5).tell("weigh pump=north ml=600")
		require.InDelta(t, 600*0.8668576, k.pump("north").Charge.Grams, 1e-2)
	})
	t.Run("unknown places are refused", func(t *testing.T) {
		b := jar(t)
		require.Equal(t, "vessel", b.refused("weigh vessel=jar-9 grams=5").Field)
		require.Equal(t, "pump", b.refused("weigh pump=north grams=5").Field)
	})
}

// Water that was measured replaces the estimate and its width.
func TestWeighedWater(t *testing.T) {
	t.Run("collapses the interval, of a vessel and of a sump", func(t *testing.T) {
		b := kitchen(t).ran(24).tell("drain pump=north to=jar-1")
		v := b.vessel("jar-1")
		require.Less(t, v.WaterLowG, v.WaterG)
		require.Greater(t, v.WaterHighG, v.WaterG)
		b.tell("weigh vessel=jar-1 grams=580 water_g=20")
		v = b.vessel("jar-1")
		require.Equal(t, []float64{20, 20, 20, 560}, []float64{v.WaterG, v.WaterLowG, v.WaterHighG, v.OilG})
		k := kitchen(t).ran(24).tell("weigh pump=north grams=600 water_g=9")
		c := k.pump("north").Charge
		require.Equal(t, []float64{9, 9, 9, 591}, []float64{c.WaterG, c.WaterLowG, c.WaterHighG, c.OilG})
	})
	t.Run("is booked apart from the oil", func(t *testing.T) {
		b := newTale(t, "vessel vessel=jar-1", "weigh vessel=jar-1 grams=500 water_g=50", "weigh vessel=jar-1 grams=500 water_g=20")
		require.InDelta(t, 30, b.ledger().LostG, 1e-9)
		require.InDelta(t, 30, b.ledger().FoundG, 1e-9)
		require.Empty(t, b.remarks, "the sum is what it was")
	})
	t.Run("keeps its settled share", func(t *testing.T) {
		b := newTale(t, "vessel vessel=jar-1", "weigh vessel=jar-1 grams=500 water_g=50").after(100)
		settled := b.vessel("jar-1").Settled
		b.tell("weigh vessel=jar-1 grams=500 water_g=20")
		require.InDelta(t, settled, b.vessel("jar-1").Settled, 1e-3)
	})
	t.Run("of an unknown make-up takes the oil as unknown", func(t *testing.T) {
		b := newTale(t, "vessel vessel=jar-1", "weigh vessel=jar-1 grams=50 water_g=50", "weigh vessel=jar-1 grams=80 water_g=50")
		require.Equal(t, map[string]float64{UnknownLot: 30}, b.vessel("jar-1").Lots)
	})
	t.Run("more than all of it is refused", func(t *testing.T) {
		require.Equal(t, "water_g", kitchen(t).refused("weigh vessel=can-1 grams=30 water_g=31").Field)
	})
}

func TestWeighedSump(t *testing.T) {
	t.Run("hours of a running pump are counted first", func(t *testing.T) {
		b := kitchen(t).tell("start pump=north").after(10).tell("weigh pump=north grams=300").after(10).tell("weigh pump=north grams=330")
		require.InDelta(t, 20, b.pump("north").Charge.OilHours, 1e-9)
	})
	t.Run("a refusal counts none", func(t *testing.T) {
		b := kitchen(t).tell("start pump=north").after(10)
		require.Contains(t, b.refused("weigh pump=north grams=1000").Says, "takes 700 ml")
		require.Equal(t, "water_g", b.refused("weigh pump=north grams=10 water_g=11").Field)
	})
	t.Run("an open pump that holds more than half of its charge was filled by somebody", func(t *testing.T) {
		b := kitchen(t).ran(10).tell("drain pump=north to=jar-1").after(5).tell("weigh pump=north grams=40")
		require.True(t, b.pump("north").Open, "a heel that was measured is no fill")
		b.tell("id=w weigh pump=north grams=590")
		p := b.pump("north")
		require.False(t, p.Open)
		require.Equal(t, "w", p.Charge.ID)
		require.Zero(t, p.Charge.FreshFraction)
		require.Equal(t, "fill-1", b.s.Pumps["north"].FirstOil)
	})
	t.Run("an open pump weighed empty holds no charge, and one weighed again holds its heel", func(t *testing.T) {
		b := kitchen(t).tell("drain pump=north to=jar-1", "weigh pump=north grams=0")
		require.Nil(t, b.pump("north").Charge)
		b.tell("id=w weigh pump=north grams=8")
		require.Equal(t, "w", b.pump("north").Charge.ID)
		require.True(t, b.pump("north").Open)
	})
	t.Run("a low sump is noted until it is filled", func(t *testing.T) {
		b := kitchen(t).after(1).tell("id=w weigh pump=north grams=500")
		p := b.s.Pumps["north"]
		require.Equal(t, "w", p.LowEntry)
		require.Equal(t, b.now, p.LowSince)
		b.after(1).tell("weigh pump=north grams=499")
		require.Equal(t, "w", b.s.Pumps["north"].LowEntry, "since it first was low")
		b.tell("fill pump=north from=can-1")
		require.True(t, b.s.Pumps["north"].LowSince.IsZero())
	})
	t.Run("what it lost is told by run hours", func(t *testing.T) {
		b := kitchen(t).tell("weigh pump=north grams=600")
		blank := func(h float64) { b.tell("start pump=north what=blank").after(h).tell("stop pump=north") }
		require.Nil(t, b.s.Pumps["north"].Exhaust.Rate)
		blank(100)
		b.tell("weigh pump=north grams=590")
		require.InDelta(t, 0.1, *b.s.Pumps["north"].Exhaust.Rate, 1e-9)
		blank(0.5)
		b.tell("weigh pump=north grams=589")
		require.InDelta(t, 0.1, *b.s.Pumps["north"].Exhaust.Rate, 1e-9, "half an hour tells no rate")
		blank(49.5)
		b.tell("weigh pump=north grams=574")
		require.InDelta(t, 0.1, *b.s.Pumps["north"].Exhaust.Before, 1e-9)
		require.InDelta(t, 16.0/50, *b.s.Pumps["north"].Exhaust.Rate, 1e-9)
	})
}
