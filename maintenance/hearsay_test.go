package maintenance

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What a person told beats what the book reckons, and what taking it means is said.
func TestWhatTakingAnEntryMeansIsSaid(t *testing.T) {
	t.Run("AThermometerBeatsTheEstimate", func(t *testing.T) {
		b := kitchen(t).ran(24).after(4)
		b.tell("drain pump=north to=jar-1 ml=600 temp_c=62")
		require.NotContains(t, b.remarks, "slow")
		hot, _ := b.s.readyAt(b.s.Vessels["jar-1"], b.rules.Limits)
		cold := kitchen(t).ran(24).after(4).tell("drain pump=north to=jar-1 ml=600 temp_c=25")
		require.Contains(t, cold.remarks, "near 25 °C and slow")
		sooner, _ := cold.s.readyAt(cold.s.Vessels["jar-1"], cold.rules.Limits)
		require.True(t, sooner.Before(hot), "a hot jar stirs itself longer")
	})
	t.Run("GoodOilSetBack", func(t *testing.T) {
		b := kitchen(t).ran(24).tell("drain pump=north to=jar-1", "pour from=jar-1 to=can-1 grams=50")
		require.Contains(t, b.remarks, "of new oil: all of it is drained oil now and settles from the beginning")
		b.tell("vessel vessel=old waste=true", "weigh vessel=old grams=100", "pour from=old to=can-1 grams=5")
		require.Contains(t, b.remarks, "all of it is waste oil now")
		b.tell("freeze vessel=jar-1", "lot lot=lot-2 vessel=jar-1 grams=100")
		require.Contains(t, b.remarks, "all of it is freezing oil now")
		b.tell("lot lot=lot-3 vessel=can-3 grams=100", "lot lot=lot-4 vessel=can-3 grams=100")
		require.Empty(t, b.remarks, "new onto new is no loss")
	})
	t.Run("MoreCarriedOverThanTheFoodLost", func(t *testing.T) {
		b := newTale(t, "pump pump=north charge_ml=700", "lot lot=lot-1 vessel=can-1 grams=4000", "fill pump=north from=can-1", "load pump=north grams=50").ran(24)
		b.tell("yield pump=north grams=45")
		require.Contains(t, b.remarks, "the food lost 5 g, and 12.7")
	})
}

func TestASumpHoldsNoMoreWaterThanItHasRoomFor(t *testing.T) {
	b := newTale(t, "pump pump=north charge_ml=700", "lot lot=lot-1 vessel=can-1 grams=4000", "fill pump=north from=can-1")
	b.tell("start pump=north trap_c=0").after(48).tell("stop pump=north trap_c=0")
	p := b.s.Pumps["north"]
	require.LessOrEqual(t, b.s.volumeMl(p.Sump, standardC), sumpFull*700+1)
	require.Positive(t, p.Charge.Expelled, "the rest left with the exhaust")
	requireSane(t, p.Sump)
}

func TestAHeelIsLessThanTheCharge(t *testing.T) {
	b := newTale(t)
	require.Equal(t, "heel_ml", b.refused("pump pump=north charge_ml=700 heel_ml=700").Field)
	b.tell("pump pump=north charge_ml=700 heel_ml=650")
	require.Contains(t, b.refused("pump pump=north charge_ml=600").Says, "650 ml leaves nothing to drain")
	require.Equal(t, "heel_ml", b.refused("pump pump=north heel_ml=900").Field)
}

func TestWhatIsSetAsideIsOnTheBook(t *testing.T) {
	b := kitchen(t)
	for _, id := range []string{"drain/south/xyz", "decant/jar-9/x", "change-medium/felt/x", "care/gasket@south/x"} {
		require.Equal(t, "action", b.refused("skip note=no action="+id).Field, id)
	}
	b.tell("skip note=no action=drain/north/xyz")
	require.Contains(t, b.remarks, "nothing of that id is asked for now")
	b.ran(24)
	for _, a := range Next(b.s, b.rules, b.now) {
		if a.Do == DoDrain {
			b.tell("skip note=no action=" + a.ID)
			require.Empty(t, b.remarks)
		}
	}
}

func TestTheAuditTellsUnknownFromNothing(t *testing.T) {
	b := kitchen(t).tell("load pump=north grams=4000").ran(24).tell("yield pump=north grams=900")
	b.after(1).ran(20)
	a := NewAuditor(b.rules, "north")
	for _, e := range b.told {
		require.NoError(t, a.Add(e))
	}
	audit, _ := a.Audit(b.now)
	require.Equal(t, 2, audit.Charges[0].Cycles)
	require.Equal(t, 1, audit.Charges[0].NotWeighed)
	require.InDelta(t, 3100, audit.Charges[0].WaterRemovedG, 1e-9)
}

func TestATraceKeepsNoJarBusy(t *testing.T) {
	b := newTale(t, "pump pump=north charge_ml=700", "vessel vessel=jar-1 capacity_ml=1000", "lot lot=lot-1 vessel=can-1 grams=4000", "fill pump=north from=can-1",
		"weigh vessel=jar-1 grams=2 stage=filtered").ran(24)
	for _, a := range Next(b.s, b.rules, b.now) {
		if a.Do == DoDrain {
			require.Equal(t, "jar-1", a.Record.Act.(*DrainAct).To)
			return
		}
	}
	require.Fail(t, "no drain")
}
