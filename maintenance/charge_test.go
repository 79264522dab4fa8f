package maintenance

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestDrain(t *testing.T) {
	t.Run("all but the heel, well mixed, into oil that settles from now", func(t *testing.T) {
		b := kitchen(t).ran(24)
		before := b.pump("north").Charge
		b.after(0.2).tell("id=d1 drain pump=north to=jar-1")
		p, v := b.pump("north"), b.vessel("jar-1")
		require.InDelta(t, before.Grams, p.Charge.Grams+v.Grams, 1e-9)
		require.InDelta(t, 20, b.s.volumeMl(b.s.Pumps["north"].Sump, 20), 0.01)
		require.InDelta(t, before.WaterG/before.Grams, v.WaterG/v.Grams, 1e-5, "well mixed")
		require.Equal(t, Drained, *v.Stage)
		require.Equal(t, b.now, v.Since)
		require.NotNil(t, v.ReadyAt)
		require.True(t, p.Open)
		require.Equal(t, b.now, *p.LastDrain)
		require.Equal(t, "d1", p.Charge.ID, "the heel is a charge since the drain")
		require.Equal(t, b.now, p.Charge.Since)
		require.Zero(t, p.Charge.RunHours)
	})
	t.Run("the heel is 3 % of the charge until told", func(t *testing.T) {
		b := newTale(t, "pump pump=north charge_ml=700", "lot lot=lot-1 vessel=can-1 grams=4000", "vessel vessel=jar-1",
			"fill pump=north from=can-1", "drain pump=north to=jar-1")
		require.InDelta(t, 21, b.s.volumeMl(b.s.Pumps["north"].Sump, 20), 0.01)
	})
	t.Run("what leaves more than half of the charge is a sample", func(t *testing.T) {
		b := kitchen(t).ran(24)
		before := b.pump("north")
		b.tell("drain pump=north to=jar-1 ml=300 temp_c=20")
		p := b.pump("north")
		require.False(t, p.Open)
		require.Nil(t, p.LastDrain)
		require.Equal(t, before.Charge.ID, p.Charge.ID)
		require.Equal(t, before.Charge.Since, p.Charge.Since)
		require.Equal(t, before.Charge.FreshFraction, p.Charge.FreshFraction)
		require.Equal(t, 24.0, p.Charge.RunHours)
		require.Contains(t, b.remarks, "sample")
		b.tell("fill pump=north from=can-1 grams=100")
		require.Equal(t, "fill-1", b.pump("north").Charge.ID, "the fill after it is a top-up")
	})
	t.Run("what leaves half of the charge is a drain", func(t *testing.T) {
		b := kitchen(t).tell("drain pump=north to=jar-1 ml=351 temp_c=20")
		require.True(t, b.pump("north").Open)
		b.tell("id=f2 fill pump=north from=can-1")
		require.Equal(t, "f2", b.pump("north").Charge.ID, "the fill after it is a change")
		require.Equal(t, b.now, *b.pump("north").LastChange)
	})
	t.Run("a volume is at the oil's temperature", func(t *testing.T) {
		// 1.00 L at 15 °C is 1.042 L at 70 °C (Table 54D: factor 0.95988, checks T04-076).
		b := kitchen(t).tell("pump pump=north hot_c=70 ambient_c=20").ran(24).tell("drain pump=north to=jar-1 ml=400")
		require.InDelta(t, 400*0.8350942+1, b.vessel("jar-1").Grams, 0.5, "oil of 835.1 kg/m3, and 2 % of water")
		cold := kitchen(t).tell("pump pump=north hot_c=70 ambient_c=20").ran(24).tell("drain pump=north to=jar-1 ml=400 temp_c=20")
		require.InDelta(t, 400*0.8668576+1, cold.vessel("jar-1").Grams, 0.5)
	})
	t.Run("of nothing but the heel it is refused, with grams it is taken", func(t *testing.T) {
		b := kitchen(t).tell("drain pump=north to=jar-1")
		require.Contains(t, b.refused("drain pump=north to=jar-1").Says, "no more than its heel")
		b.tell("drain pump=north to=jar-1 grams=10")
		require.True(t, b.pump("north").Open)
	})
	t.Run("onto other oil is taken, and said", func(t *testing.T) {
		b := kitchen(t).ran(1).tell("weigh vessel=jar-1 grams=100 stage=filtered", "drain pump=north to=jar-1")
		require.Equal(t, Drained, b.stage("jar-1"))
		require.Contains(t, b.remarks, "held 100 g of filtered oil")
		require.Zero(t, b.vessel("jar-1").FilterPasses)
	})
	t.Run("cold is taken, and said", func(t *testing.T) {
		b := kitchen(t).ran(24).after(10).tell("drain pump=north to=jar-1")
		require.Contains(t, b.remarks, "slow")
	})
	t.Run("of an unknown pump or into an unknown vessel is refused", func(t *testing.T) {
		b := kitchen(t)
		require.Contains(t, b.refused("drain pump=west to=jar-1").Hint, "known are north")
		require.Contains(t, b.refused("drain pump=north to=jar-9").Hint, "known are can-1, jar-1, jar-2, jar-3")
		require.Contains(t, b.refused("drain pump=north to=jar-1 grams=900").Hint, "weigh pump=north")
	})
}

func TestFill(t *testing.T) {
	t.Run("up to the charge, and it closes the pump", func(t *testing.T) {
		b := kitchen(t)
		p := b.pump("north")
		require.False(t, p.Open)
		require.InDelta(t, 700*0.8668576, p.Charge.Grams, 0.01, "VG 68 of 870 kg/m3 at 15 °C, at 20 °C")
		require.Equal(t, "fill-1", p.Charge.ID)
		require.Equal(t, day0, *p.LastChange)
		require.Contains(t, b.refused("fill pump=north from=can-1").Says, "whole charge")
	})
	t.Run("with what there is, if that is less", func(t *testing.T) {
		b := newTale(t, "pump pump=north charge_ml=700", "lot lot=lot-1 vessel=can-1 grams=200", "fill pump=north from=can-1")
		require.InDelta(t, 200, b.pump("north").Charge.Grams, 1e-9)
		require.Zero(t, b.vessel("can-1").Grams)
		require.Contains(t, b.refused("fill pump=north from=can-1").Says, "empty")
		require.Equal(t, "from", b.refused("fill pump=north from=can-2").Field)
		require.Equal(t, "pump", b.refused("fill pump=west from=can-1").Field)
	})
	t.Run("of a running pump is a top-up that counts hours from now", func(t *testing.T) {
		b := kitchen(t).tell("start pump=north").after(10).tell("fill pump=north from=can-1 grams=60").after(10).tell("stop pump=north")
		c := b.pump("north").Charge
		oil := 700 * 0.8668576
		require.InDelta(t, 20*oil/(oil+60)+10*60/(oil+60), c.OilHours, 1e-3)
	})
	t.Run("what it means is said", func(t *testing.T) {
		b := kitchen(t).ran(24).tell("drain pump=north to=jar-1").after(0.5).tell("fill pump=north from=jar-1")
		require.Contains(t, b.remarks, "jar-1 was not ready: it is drained, not filtered")
		require.Contains(t, b.remarks, "still near 47 °C")
		require.Contains(t, b.remarks, "stood open to air for 0.5 h")
		b = kitchen(t).ran(24).tell("drain pump=north to=jar-1").after(24).tell("fill pump=north from=can-1")
		require.Empty(t, b.remarks)
	})
}

// The share of never-run oil, the heel included; and what a full replacement is.
func TestFullReplacement(t *testing.T) {
	heel, charge := 20.0, 700.0
	t.Run("one fill leaves heel over charge of old oil", func(t *testing.T) {
		b := kitchen(t).ran(0.1).tell("drain pump=north to=jar-1", "fill pump=north from=can-1")
		require.InDelta(t, 1-heel/charge, b.pump("north").Charge.FreshFraction, 1e-4)
	})
	t.Run("two equal flushes square it", func(t *testing.T) {
		b := kitchen(t).ran(0.1).tell("drain pump=north to=jar-1", "fill pump=north from=can-1", "drain pump=north to=jar-2", "fill pump=north from=can-1")
		require.InDelta(t, 1-heel*heel/charge/charge, b.pump("north").Charge.FreshFraction, 1e-5)
	})
	t.Run("oil that a flush has run is not fresh in the next charge", func(t *testing.T) {
		b := kitchen(t).ran(24).tell("drain pump=north to=jar-1", "fill pump=north from=can-1").ran(0.1).tell("drain pump=north to=jar-2", "fill pump=north from=can-1")
		require.InDelta(t, 1-heel/charge, b.pump("north").Charge.FreshFraction, 1e-4)
		require.Zero(t, b.s.Vessels["jar-2"].Content.Fresh)
	})
	t.Run("it is judged at the last fill before it first runs", func(t *testing.T) {
		b := kitchen(t).ran(24).after(1).tell("drain pump=north to=jar-1").
			after(1).tell("id=a fill pump=north from=can-1 ml=300").after(1).tell("id=b fill pump=north from=can-1")
		full := b.pump("north").Full
		require.Equal(t, "b", full.Entry)
		require.Equal(t, b.now, full.At)
		require.Equal(t, "a", b.pump("north").Charge.ID, "the change is the first fill")
		share := full.FreshFraction
		b.ran(10).tell("weigh vessel=jar-3 grams=100 stage=filtered", "fill pump=north from=jar-3 grams=100")
		p := b.pump("north")
		require.Equal(t, "b", p.Full.Entry, "a later top-up changes the share, not the verdict")
		require.Equal(t, share, p.Full.FreshFraction)
		require.Less(t, p.Charge.FreshFraction, share-0.1)
		require.Equal(t, 10.0, p.Full.RunHours)
		require.Equal(t, 1, p.Full.Cycles)
	})
	t.Run("a fill with reclaimed oil is none", func(t *testing.T) {
		b := kitchen(t).ran(24).tell("drain pump=north to=jar-1", "filter from=jar-1 to=jar-2", "fill pump=north from=jar-2").ran(5)
		require.Equal(t, "fill-1", b.pump("north").Full.Entry)
		require.Equal(t, 29.0, b.pump("north").Full.RunHours)
		require.Equal(t, 2, b.pump("north").Full.Cycles)
		require.Zero(t, b.pump("north").Charge.FreshFraction)
	})
	t.Run("a verdict stands when the limit moves", func(t *testing.T) {
		b := kitchen(t).ran(24).tell("drain pump=north to=jar-1", "id=f2 fill pump=north from=can-1").ran(1)
		require.Equal(t, "f2", b.pump("north").Full.Entry)
		b.rules.Limits.FullFraction = num(0.99)
		require.Equal(t, "f2", b.pump("north").Full.Entry)
		b.tell("drain pump=north to=jar-2", "fill pump=north from=can-1")
		require.Equal(t, "f2", b.pump("north").Full.Entry, "0.971 does not reach 0.99")
	})
	t.Run("oil drained before it ran is fresh still", func(t *testing.T) {
		b := kitchen(t).tell("drain pump=north to=jar-1", "fill pump=north from=jar-1")
		require.Equal(t, 1.0, b.pump("north").Charge.FreshFraction)
		require.Zero(t, b.pump("north").Charge.Uses)
	})
}

// Charges are counted from their first start, over whatever the oil goes through.
func TestUses(t *testing.T) {
	b := kitchen(t)
	require.Zero(t, b.pump("north").Charge.Uses)
	b.ran(5).ran(5)
	require.Equal(t, 1, b.pump("north").Charge.Uses)
	b.tell("drain pump=north to=jar-1", "filter from=jar-1 to=jar-2")
	require.Equal(t, 1, b.vessel("jar-2").Uses)
	b.tell("fill pump=north from=jar-2")
	require.Equal(t, 1, b.pump("north").Charge.Uses, "not before it runs")
	b.ran(5)
	require.Equal(t, 2, b.pump("north").Charge.Uses)
	b.tell("fill pump=north from=can-1 grams=30")
	require.Equal(t, 2, b.pump("north").Charge.Uses, "new oil has served one charge, this one")
	b.tell("drain pump=north to=jar-1", "pour from=can-1 to=jar-1 grams=100")
	require.Equal(t, 2, b.vessel("jar-1").Uses)
}
