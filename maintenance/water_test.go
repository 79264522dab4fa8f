package maintenance

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Expected carry-over of a 7 m3/h pump in 24 h at 20 °C gas: 47.19, 15.95 and 4.89 g behind
// a trap at −30, −40 and −50 °C (physics checks T02-001 to T02-003). A pump draws 0.8 of
// its nominal speed (0.7 to 0.9).
func TestCarryOver(t *testing.T) {
	const at30, at40, at50 = 47.19199, 15.94522, 4.889554
	const at32, at48 = at40 * 30.83 / 12.841, at40 * 5.032 / 12.841 // Magnus over ice, WMO-No. 8
	for _, c := range []struct {
		name, pump, start, stop string
		low, mid, high          float64
	}{
		{"speed and trap told", "speed_m3_h=7", "trap_c=-40", "", 0, 0.8 * at40, 0},
		{"told at the stop alone", "speed_m3_h=7", "", "trap_c=-30", 0, 0.8 * at30, 0},
		{"told at both ends: the mean of the rates", "speed_m3_h=7", "trap_c=-50", "trap_c=-30", 0, 0.8 * (at50 + at30) / 2, 0},
		{"declared with the pump", "speed_m3_h=7 trap_c=-50", "", "", 0, 0.8 * at50, 0},
		{"told for the cycle over declared", "speed_m3_h=7 trap_c=-50", "trap_c=-40", "", 0, 0.8 * at40, 0},
		{"all assumed: 7 m3/h and −40 ± 8 °C", "", "", "", 0.8 * at40 * apart(0.7/0.8, 0.5, at48/at40), 0.8 * at40, 0.8 * at40 * apart(0.9/0.8, 1.5, at32/at40)},
		{"twice the speed, twice the water", "speed_m3_h=14", "trap_c=-40", "", 0, 1.6 * at40, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := kitchen(t).tell("pump pump=north "+c.pump, "start pump=north "+c.start).after(24).tell("stop pump=north " + c.stop)
			require.InDelta(t, c.mid, b.pump("north").Charge.CarryOverG, 1e-3)
			require.InDelta(t, c.mid, b.ledger().CarryOverG, 1e-3)
			require.Equal(t, b.s.Pumps["north"].History[0].CarryOut.Grams(), b.pump("north").Charge.CarryOverG)
			if c.high > 0 {
				charge := b.pump("north").Charge
				require.InDelta(t, c.low, charge.CarryLowG, 0.01, "drawn, speed and trap in quadrature")
				require.InDelta(t, c.high, charge.CarryHighG, 0.2, "drawn, speed and trap in quadrature")
			}
		})
	}
	t.Run("the less is known, the wider", func(t *testing.T) {
		width := func(pump, start string) float64 {
			b := kitchen(t).tell("pump pump=north "+pump, "start pump=north "+start).after(24).tell("stop pump=north")
			c := b.pump("north").Charge
			require.Less(t, c.WaterLowG, c.WaterG)
			return c.WaterHighG - c.WaterLowG
		}
		told, declared, speed, hours := width("speed_m3_h=7", "trap_c=-40"), width("speed_m3_h=7 trap_c=-40", ""), width("speed_m3_h=7", ""), width("", "")
		require.Less(t, told, declared)
		require.Less(t, declared, speed)
		require.Less(t, speed, hours)
	})
	t.Run("a trap near the melting point stays ice", func(t *testing.T) {
		b := kitchen(t).tell("start pump=north trap_c=-1").after(1).tell("stop pump=north")
		require.Greater(t, b.pump("north").Charge.WaterHighG, b.pump("north").Charge.WaterG)
	})
}

// apart is how far a product lies from the expected where its factors do, independent of one
// another: the logarithms in quadrature (JCGM 100:2008, 5.1.6).
func apart(ratios ...float64) float64 {
	sum := 0.0
	for _, r := range ratios {
		sum += math.Log(r) * math.Log(r)
	}
	return math.Exp(math.Copysign(math.Sqrt(sum), math.Log(ratios[0])))
}

// One well-mixed stage (physics.md section 3): 7 m3/h, trap −35 °C, 0.87 kg of oil, room
// 22 °C, warming to 67 °C, 24 h: 27.75 g come over; with the ballast of 0.35 m3/h open in
// the last hour and a contact efficiency of 0.2, 10.58 g stay.
func TestExpelled(t *testing.T) {
	run := func(t *testing.T, start, stop string) *tale {
		return newTale(t, "pump pump=north charge_ml=1000 speed_m3_h=8.75 ambient_c=22 hot_c=67 ballast_l_min=5.8333333", "weigh pump=north grams=870",
			"start pump=north trap_c=-35 "+start).after(24).tell("stop pump=north " + stop)
	}
	t.Run("an hour of open ballast before the stop takes most of it", func(t *testing.T) {
		c := run(t, "", "ballast_min=60").pump("north").Charge
		require.InDelta(t, 27.75, c.CarryOverG, 0.01)
		require.InDelta(t, 10.58, c.WaterG, 0.01)
		require.InDelta(t, c.CarryOverG, c.WaterG+c.ExpelledG, 1e-9)
		require.Less(t, c.WaterLowG, c.WaterG)
		require.Greater(t, c.WaterHighG, c.WaterG)
	})
	t.Run("ballast open all the time takes nearly all", func(t *testing.T) {
		require.Less(t, run(t, "ballast=open", "").pump("north").Charge.WaterG, 0.1)
		require.InDelta(t, 10.58, run(t, "ballast=open", "ballast_min=60").pump("north").Charge.WaterG, 0.01, "the stop knows better")
	})
	t.Run("shut, nearly all of it stays", func(t *testing.T) {
		require.Greater(t, run(t, "", "").pump("north").Charge.WaterG, 27.5)
		require.Greater(t, run(t, "ballast=shut", "").pump("north").Charge.WaterG, 27.5)
	})
	t.Run("a gasketed door that leaks ten times more widens it downward", func(t *testing.T) {
		c := run(t, "", "").pump("north").Charge
		require.Less(t, c.WaterLowG, 0.9*c.WaterG)
	})
	t.Run("the ledger has it", func(t *testing.T) {
		b := run(t, "", "ballast_min=60")
		require.InDelta(t, b.pump("north").Charge.ExpelledG, b.ledger().ExpelledG, 1e-9)
	})
	t.Run("a blank run with open ballast dries the oil", func(t *testing.T) {
		b := run(t, "", "").tell("start pump=north what=blank ballast=open").after(3).tell("stop pump=north")
		require.Less(t, b.pump("north").Charge.WaterG, 1.0)
		require.InDelta(t, 27.75, b.pump("north").Charge.CarryOverG, 0.01)
	})
	t.Run("a pump without oil keeps none", func(t *testing.T) {
		b := newTale(t, "pump pump=north charge_ml=700").ran(24)
		require.Nil(t, b.pump("north").Charge)
		require.InDelta(t, 0.8*15.94522, b.ledger().ExpelledG, 1e-3)
	})
	t.Run("outside the formula all of it stays", func(t *testing.T) {
		b := newTale(t, "pump pump=north charge_ml=700", "weigh pump=north grams=600", "start pump=north").after(24 * 366 * 130).tell("stop pump=north")
		require.Zero(t, b.pump("north").Charge.WaterG, "130 years of running tell nothing")
	})
	t.Run("a pump hotter than boiling water or colder than ice is reckoned at the edge", func(t *testing.T) {
		b := newTale(t, "pump pump=north charge_ml=700 hot_c=150", "weigh pump=north grams=600").ran(5)
		once := b.pump("north").Charge.ExpelledG
		require.Greater(t, b.ran(5).pump("north").Charge.ExpelledG, 1.5*once, "started hot, too")
		b = newTale(t, "pump pump=north charge_ml=700 ambient_c=-40", "weigh pump=north grams=600").ran(5)
		require.Greater(t, b.pump("north").Charge.WaterG, 0.0)
	})
	t.Run("a run of no length changes nothing", func(t *testing.T) {
		b := run(t, "", "")
		before := b.pump("north").Charge.WaterG
		b.ran(0)
		require.Equal(t, before, b.pump("north").Charge.WaterG)
	})
}

// Thermal hours by the ten-degree rule at 60 °C: an hour at 70 °C counts two.
func TestLifeOfTheOil(t *testing.T) {
	b := newTale(t, "pump pump=north charge_ml=700 hot_c=70", "vessel vessel=jar-1", "lot lot=lot-1 vessel=can-1 grams=2000", "fill pump=north from=can-1 grams=600").ran(100)
	c := b.pump("north").Charge
	require.Equal(t, 100.0, c.OilHours)
	require.InDelta(t, 200, c.ThermalHours, 3, "less while it warmed up")
	require.Less(t, c.ThermalHours, 200.0)
	b.tell("drain pump=north to=jar-1 grams=300", "pour from=can-1 to=jar-1 grams=300")
	v := b.vessel("jar-1")
	oil := b.s.Vessels["jar-1"].Content.OilMass().Grams()
	require.InDelta(t, 100*(oil-300)/oil, v.OilHours, 1e-6, "weighted by mass")
	require.InDelta(t, c.ThermalHours*(oil-300)/oil, v.ThermalHours, 1e-6)
	require.InDelta(t, c.CarryOverG*(oil-300)/oil, b.s.Vessels["jar-1"].Content.WaterTaken(), 1e-6)
}
