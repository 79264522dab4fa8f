package maintenance

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// A pump whose trap is told at −35 °C: in 24 h some 22 g are reckoned to come over.
func wetKitchen(t testing.TB) *tale {
	return kitchen(t).tell("pump pump=north speed_m3_h=7 trap_c=-35", "vessel vessel=cold capacity_ml=1000")
}

// wetTurn runs a cycle, drains it, freezes the jar and weighs so many times the ice that was
// reckoned; the oil goes back as it is, since only the water matters here.
func (b *tale) wetTurn(times float64) *tale {
	b.t.Helper()
	b.ran(24).tell("drain pump=north to=jar-1")
	plain, _ := b.s.Vessels["jar-1"].Content.Reckoned.sums()
	require.Greater(b.t, plain, 5.0)
	b.after(100).tell("freeze vessel=jar-1")
	b.after(30).tell(fmt.Sprintf("separate from=jar-1 to=cold water_g=%.3f", times*plain))
	return b.tell("weigh vessel=cold water_g=0 grams="+fmt.Sprint(b.vessel("cold").Grams), "fill pump=north from=cold", "weigh vessel=cold grams=0")
}

func (b *tale) factor(name string) FactorView {
	b.t.Helper()
	v, ok := Learned(b.s, "north", b.now)
	require.True(b.t, ok)
	for _, f := range v.Factors {
		if f.Factor == name {
			return f
		}
	}
	require.Fail(b.t, "no factor "+name)
	return FactorView{}
}

func TestWeighedIceTeachesTheCarryOver(t *testing.T) {
	b := wetKitchen(t)
	f := b.factor("carry-over")
	require.Zero(t, f.N)
	require.Nil(t, f.Learned)
	require.Equal(t, "assumed", f.From)
	require.InDelta(t, 0.4394, f.Prior.Low, 2e-3, "exp(−1.645 × 0.5)")
	require.InDelta(t, 2.2758, f.Prior.High, 1e-2)

	b.wetTurn(1.9).wetTurn(2.1)
	f = b.factor("carry-over")
	require.Equal(t, 2, f.N)
	require.InDelta(t, 1.9, f.Seen[0].Ratio, 1e-3)
	require.Equal(t, "jar-1", f.Seen[0].Of)
	require.Equal(t, "assumed", f.From, "two weighings are not enough to go by")
	before := b.ran(24).pump("north").Charge
	b.tell("drain pump=north to=jar-1").after(130).tell("separate from=jar-1 to=cold water_g="+fmt.Sprint(2*before.CarryOverG),
		"weigh vessel=cold water_g=0 grams=560", "fill pump=north from=cold", "weigh vessel=cold grams=0")

	f = b.factor("carry-over")
	require.Equal(t, 3, f.N)
	require.Equal(t, "learned", f.From)
	require.InDelta(t, 2, f.Applied.Value, 0.25, "shrunk a little toward 1")
	require.Less(t, f.Applied.Value, 2.0)
	charge := b.ran(24).pump("north").Charge
	require.InDelta(t, f.Applied.Value*before.CarryOverG, charge.CarryOverG, 0.01)
	require.Less(t, charge.CarryHighG/charge.CarryLowG, before.CarryHighG/before.CarryLowG, "what is learned stands for the widths of speed and trap")
	require.InDelta(t, charge.CarryOverG*f.Applied.Low/f.Applied.Value, charge.CarryLowG, 0.02*charge.CarryLowG)

	b.tell("pump pump=north carry_over_factor=1.5")
	f = b.factor("carry-over")
	require.Equal(t, "pinned", f.From)
	require.InDelta(t, 1.5, f.Applied.Value, 0)
}

func TestASillyWeighingDoesNotWreckTheFactor(t *testing.T) {
	for _, silly := range []float64{0, 10, 15} {
		b, good := wetKitchen(t), wetKitchen(t)
		for range 4 {
			b.wetTurn(1.5)
			good.wetTurn(1.5)
		}
		b.wetTurn(silly)
		f, want := b.factor("carry-over"), good.factor("carry-over")
		require.Equal(t, 5, f.N, "it is kept and shown")
		require.InEpsilon(t, want.Applied.Value, f.Applied.Value, 0.15, "%v times", silly)
	}
}

// What was measured once is not reckoned again: a second freezing of the same oil finds
// nothing to learn.
func TestMeasuredWaterTeachesOnce(t *testing.T) {
	b := wetKitchen(t).ran(24).tell("drain pump=north to=jar-1", "separate from=jar-1 to=jar-2 water_g=12")
	require.Equal(t, 1, b.factor("carry-over").N)
	b.tell("separate from=jar-2 to=jar-3 water_g=3")
	require.Equal(t, 1, b.factor("carry-over").N)
	b.tell("weigh vessel=jar-3 grams=500 water_g=1")
	require.Equal(t, 1, b.factor("carry-over").N)
}

// Of the water of two pumps in one jar nobody can say which was reckoned wrong, unless nearly
// all of it is of one.
func TestWaterOfTwoPumps(t *testing.T) {
	shared := func(southHours float64) (north, south FactorView) {
		b := wetKitchen(t).tell("pump pump=south charge_ml=700 speed_m3_h=7 trap_c=-35", "fill pump=south from=can-1", "vessel vessel=big capacity_ml=5000").ran(24)
		b.tell("start pump=south").after(southHours).tell("stop pump=south", "drain pump=north to=big", "drain pump=south to=big")
		plain, _ := b.s.Vessels["big"].Content.Reckoned.sums()
		b.tell(fmt.Sprintf("separate from=big to=jar-1 water_g=%.3f grams=700", 1.5*plain))
		v, _ := Learned(b.s, "south", b.now)
		return b.factor("carry-over"), v.Factors[0]
	}
	north, south := shared(24)
	require.Zero(t, north.N)
	require.Zero(t, south.N)
	north, south = shared(1.5)
	require.Equal(t, 1, north.N)
	require.InDelta(t, 1.53, north.Seen[0].Ratio, 0.02, "south's is taken off as it was booked")
	require.Zero(t, south.N)
}

func TestAWeighedDrainTeaches(t *testing.T) {
	weighed := func(pump, fill string) *tale {
		return newTale(t, "pump pump=north charge_ml=700 speed_m3_h=7 trap_c=-35 "+pump, "vessel vessel=jar-1", "lot lot=lot-1 vessel=can-1 grams=2000", "fill pump=north from=can-1 "+fill).ran(24)
	}
	drained := func(b *tale, times float64) *tale { // a heel of 20 ml stays
		sump := b.s.Pumps["north"].Sump
		return b.tell(fmt.Sprintf("drain pump=north to=jar-1 grams=%.3f", sump.OilMass().Grams()+times*sump.Water.Grams()-17.3))
	}
	b := drained(weighed("heel_ml=20", "grams=590"), 1.5)
	f := b.factor("carry-over")
	require.Equal(t, 1, f.N)
	require.InDelta(t, 1.5, f.Seen[0].Ratio, 0.02)
	require.Equal(t, 1, b.after(100).tell("separate from=jar-1 to=can-1 water_g=30").factor("carry-over").N, "the same water teaches once")

	require.Zero(t, drained(weighed("", "grams=590"), 1.5).factor("carry-over").N, "an assumed heel may differ by more than the water")
	require.Zero(t, drained(weighed("heel_ml=200", "grams=590"), 1.5).factor("carry-over").N, "so may a large one")
	require.Zero(t, drained(weighed("heel_ml=20", ""), 1.5).factor("carry-over").N, "filled to the mark, a charge may differ by as much")
}

// What the book had filled in and nobody weighed teaches nothing.
func TestTheBookDoesNotLearnFromItself(t *testing.T) {
	b := newTale(t, "pump pump=north charge_ml=700 heel_ml=20 speed_m3_h=7 trap_c=-35", "vessel vessel=jar-1", "vessel vessel=jar-2", "lot lot=lot-1 vessel=can-1 grams=9000", "fill pump=north from=can-1 grams=590")
	record := func(id string) {
		a := b.asked(id)
		require.NotNil(t, a, id)
		e := a.Record
		e.ID, e.At, e.Seq = "r"+fmt.Sprint(b.s.Seq), b.now, b.s.Seq+1
		_, err := b.s.Apply(b.rules, e)
		require.NoError(t, err)
		b.told = append(b.told, e)
	}
	b.ran(24)
	record("drain/north")
	require.NotNil(t, b.told[len(b.told)-1].Act.(*DrainAct).Grams)
	require.Zero(t, b.factor("carry-over").N)
	b.tell("freeze vessel=jar-1").after(30)
	record("separate/jar-1")
	require.Zero(t, b.factor("carry-over").N)
}

// A factor rests on the speed and the trap with which the water was reckoned.
func TestAnotherSpeedLetsTheFactorGo(t *testing.T) {
	b := wetKitchen(t).wetTurn(1.5).wetTurn(1.5).wetTurn(1.5).ran(24)
	require.Equal(t, "learned", b.tell("pump pump=north speed_m3_h=7 heel_ml=25").factor("carry-over").From, "told as before")
	require.Equal(t, "assumed", b.tell("pump pump=north speed_m3_h=3").factor("carry-over").From)
	require.Contains(t, b.remarks, "is let go")
	require.Empty(t, b.s.Pumps["north"].Sump.Reckoned)
}

// Newton: from 70 °C in a room of 20 °C a pump with a time constant of 90 min is at
// 20 + 50 exp(−40/90) = 52.06 °C after 40 min.
func TestAThermometerTeachesTheCooling(t *testing.T) {
	read := func(temp string) *tale {
		return kitchen(t).tell("start pump=north").after(24).tell("stop pump=north hot_c=70").after(40.0 / 60).tell("drain pump=north to=jar-1 temp_c=" + temp)
	}
	b := read("52.06")
	f := b.factor("cooling")
	require.Equal(t, 1, f.N)
	require.InDelta(t, 90, f.Seen[0].Measured, 0.1)
	require.Equal(t, "learned", f.From, "one reading teaches it")
	require.InDelta(t, 85, f.Applied.Value, 6, "shrunk toward 60 by what a thermometer and a stop nobody read are worth")
	require.Greater(t, f.Applied.High, 90.0)

	b.tell("pour from=can-1 to=jar-2 grams=600", "fill pump=north from=jar-2").ran(24)
	closes := asks(t, b.s, b.rules, b.now.Sub(day0).Hours(), "drain/north").Closes
	plain := kitchen(t).ran(24)
	require.InDelta(t, f.Applied.Value/60, closes.Sub(b.now).Minutes()/asks(t, plain.s, plain.rules, 24, "drain/north").Closes.Sub(plain.now).Minutes(), 1e-6, "the window is as much longer")
	require.Equal(t, "pinned", b.tell("pump pump=north cool_tau_min=80").factor("cooling").From)

	for _, temp := range []string{"70", "75", "20", "21", "10"} {
		require.Zero(t, read(temp).factor("cooling").N, "%s °C tells nothing of how it cools", temp)
	}
	require.Zero(t, kitchen(t).ran(24).after(0.6).tell("drain pump=north to=jar-1 ml=650 temp_c=25").factor("cooling").N, "of a measured volume it is the volume's")
	require.Zero(t, kitchen(t).ran(24).tell("drain pump=north to=jar-1 temp_c=60").factor("cooling").N, "nor does a reading at the stop")
}

func TestVerdictsTeachWhatSettlingNeeds(t *testing.T) {
	b := kitchen(t)
	for range 5 {
		b.ran(24).tell("drain pump=north to=jar-1")
		need := b.vessel("jar-1").ReadyAt.Sub(b.now).Hours()
		b.after(1.4*need).tell("inspect vessel=jar-1 look=hazy").after(0.5*need).tell("inspect vessel=jar-1 look=clear",
			"discard from=jar-1", "pour from=can-1 to=jar-2 grams=600", "fill pump=north from=jar-2")
	}
	f := b.factor("settling")
	require.Equal(t, 5, f.N, "one of each jar")
	require.Empty(t, f.Seen[0].Bound)
	require.InDelta(t, math.Sqrt(1.4*1.9), f.Seen[0].Ratio, 0.06, "between the last cloudy and the first clear look")
	require.Equal(t, "assumed", f.From, "applied only after a yes")
	require.InDelta(t, 1.65, f.Learned.Value, 0.25)
	require.NotNil(t, f.Record)

	before := b.ran(24).tell("drain pump=north to=jar-1").vessel("jar-1")
	e := *f.Record
	e.ID, e.At, e.Seq = "yes", b.now, b.s.Seq+1
	_, err := b.s.Apply(b.rules, e)
	require.NoError(t, err)
	f = b.factor("settling")
	require.Equal(t, "pinned", f.From)
	require.Nil(t, f.Record)
	after := b.vessel("jar-1")
	require.InEpsilon(t, f.Applied.Value, after.ReadyAt.Sub(b.now).Hours()/before.ReadyAt.Sub(b.now).Hours(), 0.05, "but for the hours in which the jar cools")
	b.after(200)
	require.Less(t, b.vessel("jar-1").Settled, 0.9)

	t.Run("a verdict on decanted oil is one on how long it had stood", func(t *testing.T) {
		b := kitchen(t).ran(24).tell("drain pump=north to=jar-1")
		need := b.vessel("jar-1").ReadyAt.Sub(b.now).Hours()
		b.after(need / 2).tell("decant from=jar-1 to=jar-2").after(1).tell("inspect vessel=jar-2 look=hazy")
		f := b.factor("settling")
		require.Equal(t, 1, f.N)
		require.Equal(t, "at least", f.Seen[0].Bound)
		require.InDelta(t, 0.5, f.Seen[0].Ratio, 0.05)
		require.Equal(t, 1, b.tell("inspect vessel=jar-2 look=milky").factor("settling").N, "the newer verdict stands")
	})
	t.Run("oil that was always clear when looked at proposes nothing", func(t *testing.T) {
		b := kitchen(t).tell("lot lot=lot-1 vessel=can-1 grams=4000")
		for range 6 {
			b.ran(24).tell("drain pump=north to=jar-1").after(90).tell("inspect vessel=jar-1 look=clear",
				"discard from=jar-1", "pour from=can-1 to=jar-2 grams=600", "fill pump=north from=jar-2")
		}
		require.Equal(t, 6, b.factor("settling").N)
		require.Nil(t, b.factor("settling").Record)
	})
	t.Run("what tells nothing", func(t *testing.T) {
		b := kitchen(t).ran(24).tell("drain pump=north to=jar-1", "inspect vessel=jar-1 look=hazy", "inspect vessel=can-1 look=clear")
		require.Zero(t, b.after(90).tell("inspect vessel=jar-1 look=dark", "inspect vessel=jar-1 colour=3").factor("settling").N)
		dry := kitchen(t).tell("pump pump=north trap_c=-70").ran(24).tell("drain pump=north to=jar-1").after(20).tell("inspect vessel=jar-1 look=clear")
		require.Zero(t, dry.factor("settling").N, "nothing was there to sink")
		require.Zero(t, b.after(900).tell("inspect vessel=jar-1 look=milky").factor("settling").N, "an emulsion")
	})
}

func TestTimedPassesTeachTheMedium(t *testing.T) {
	b := kitchen(t)
	for range 4 { // 100 g a pass, three times as slow as assumed
		b.tell("medium medium=paper").ran(24).tell("drain pump=north to=jar-1", "pump pump=north").after(100).tell("decant from=jar-1 to=jar-2",
			"filter from=jar-2 to=jar-3 minutes=90 grams=100", "discard from=jar-3", "discard from=jar-2", "discard from=jar-1",
			"pour from=can-1 to=jar-2 grams=600", "fill pump=north from=jar-2", "weigh vessel=jar-2 grams=0")
	}
	f := b.factor("medium")
	require.Equal(t, 4, f.N)
	require.Equal(t, "learned", f.From)
	require.InDelta(t, 90/(1+2*50.0/3000), f.Seen[0].Measured, 1e-6, "at 20 °C, less what the pass itself loads")
	require.InDelta(t, 87, f.Applied.Value, 8)

	b.tell("medium medium=paper").ran(24).tell("drain pump=north to=jar-1").after(100).tell("decant from=jar-1 to=jar-2", "filter from=jar-2 to=jar-3 grams=100")
	b.tell("filter from=jar-2 to=jar-3 grams=100 minutes=270")
	a := asks(t, b.s, b.rules, b.now.Sub(day0).Hours(), "change-medium/paper")
	require.InDelta(t, 270/f.Applied.Value, a.Why[0].Value, 0.2, "against what is learned: its first pass was not timed")
}
