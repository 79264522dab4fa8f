package maintenance

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func (b *tale) audit(more ...string) Audit {
	b.t.Helper()
	a := NewAuditor(b.rules, "north")
	all := b.told
	for i, line := range more {
		e := b.entry(line)
		e.Seq += uint64(i)
		all = append(all[:len(all):len(all)], e)
	}
	for _, e := range InOrder(all) {
		require.NoError(b.t, a.Add(e))
	}
	out, ok := a.Audit(b.now)
	require.True(b.t, ok)
	return out
}

func TestAudit(t *testing.T) {
	b := kitchen(t).tell("load pump=north grams=1000", "id=c1 start pump=north").after(20).tell("stop pump=north", "yield pump=north grams=400").
		after(1).tell("id=d1 drain pump=north to=jar-1").
		after(100).tell("filter from=jar-1 to=jar-2", "id=f2 fill pump=north from=jar-2 grams=500").after(1).tell("id=f3 fill pump=north from=can-1").
		tell("start pump=north what=blank").after(5)
	first, second := b.audit().Charges[1], b.audit().Charges[0]

	t.Run("tells each charge from its change to its drain, newest first", func(t *testing.T) {
		require.Len(t, b.audit().Charges, 2)
		require.Equal(t, "fill-1", first.ID)
		require.Equal(t, day0, first.Since)
		require.Equal(t, "d1", *first.Drain)
		require.Equal(t, day0.Add(hours(21)), *first.Until)
		require.Equal(t, []string{"fill-1"}, first.Fills)
		require.Equal(t, 20.0, first.RunHours)
		require.Equal(t, 1, first.Cycles)
		require.InDelta(t, 600, first.WaterRemovedG, 1e-9)
		require.Equal(t, 1.0, first.FreshFraction)
		require.True(t, first.FullReplacement)
		require.Greater(t, first.CarryOverG, 5.0)
		require.InDelta(t, first.CarryOverG-first.ExpelledG, first.WaterG, 1e-9)
		require.Equal(t, 1, first.Uses)
	})
	t.Run("and the one in the pump up to now", func(t *testing.T) {
		require.Nil(t, second.Until)
		require.Nil(t, second.Drain)
		require.Equal(t, []string{"f2", "f3"}, second.Fills, "the change and its top-up")
		require.Equal(t, 5.0, second.RunHours)
		require.False(t, second.FullReplacement)
		require.InDelta(t, b.pump("north").Charge.OilHours, second.OilHours, 1e-9)
		require.Equal(t, b.pump("north").Charge.Lots, second.Lots)
	})
	t.Run("says when the oil was last fully replaced", func(t *testing.T) {
		full := b.audit().Full
		require.Equal(t, "fill-1", full.Entry)
		require.Equal(t, 25.0, full.RunHours)
		require.Nil(t, b.audit().Best)
		require.Equal(t, 20.0, b.audit().HeelMl)
		require.False(t, b.audit().Assumed)
	})
	t.Run("a yield told late counts to the charge that ran the cycle", func(t *testing.T) {
		require.InDelta(t, 700, b.audit("yield pump=north grams=300 cycle=c1").Charges[1].WaterRemovedG, 1e-9)
		require.Zero(t, b.audit("yield pump=north grams=300 cycle=c1").Charges[0].WaterRemovedG)
		k := kitchen(t).tell("load pump=north grams=1000").ran(20).tell("drain pump=north to=jar-1", "yield pump=north grams=400")
		require.InDelta(t, 600, k.audit().Charges[0].WaterRemovedG, 1e-9, "also between the drain and the fill")
	})
	t.Run("of a pump in use before the book it names the best partial change", func(t *testing.T) {
		b := newTale(t, "pump pump=north charge_ml=700", "lot lot=lot-1 vessel=can-1 grams=900", "vessel vessel=jar-1", "weigh pump=north grams=600").
			ran(10).tell("drain pump=north to=jar-1 grams=400", "id=f1 fill pump=north from=can-1 grams=400").ran(1)
		a := b.audit()
		require.Nil(t, a.Full)
		require.Equal(t, "f1", a.Best.Entry)
		require.InDelta(t, 0.66, a.Best.FreshFraction, 0.01)
		require.True(t, a.Assumed)
		require.Equal(t, 21.0, a.HeelMl)
		require.Empty(t, a.Charges[1].Fills)
	})
	t.Run("ends with a pump that retires", func(t *testing.T) {
		b := kitchen(t).ran(1).tell("drain pump=north to=jar-1", "pump pump=north retired=true", "pump pump=north charge_ml=500", "fill pump=north from=can-1")
		require.Len(t, b.audit().Charges, 2)
	})
	t.Run("of an unknown pump there is none", func(t *testing.T) {
		a := NewAuditor(b.rules, "west")
		require.NoError(t, a.Add(b.told[0]))
		_, ok := a.Audit(b.now)
		require.False(t, ok)
	})
	t.Run("an entry that cannot follow stops it", func(t *testing.T) {
		a := NewAuditor(b.rules, "north")
		require.Error(t, a.Add(b.told[len(b.told)-1]))
	})
}
