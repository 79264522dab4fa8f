package maintenance

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// readOn fills new oil, or the oil again that was drained, and reads the blank-off.
func (b *tale) readOn(oil string, pas ...float64) *tale {
	b.t.Helper()
	b.ran(20).tell("drain pump=north to=jar-1")
	if oil == "new" {
		b.tell("discard from=jar-1", "weigh vessel=can-1 grams=4000", "fill pump=north from=can-1")
	} else {
		b.after(80).tell("decant from=jar-1 to=jar-2", "filter from=jar-2 to=jar-3", "fill pump=north from=jar-3", "discard from=jar-1")
	}
	for _, pa := range pas {
		b.after(1).tell(fmt.Sprintf("vacuum pump=north pa=%v", pa))
	}
	return b
}

func (b *tale) blankOff() BlankOffView {
	b.t.Helper()
	v, ok := Learned(b.s, "north", b.now)
	require.True(b.t, ok)
	return v.BlankOff
}

func (b *tale) asked(id string) *Action {
	for _, a := range Next(b.s, b.rules, b.now) {
		if len(a.ID) >= len(id) && a.ID[:len(id)] == id {
			return &a
		}
	}
	return nil
}

// The oil or the pump: a rise that new oil cures is the oil's, one that it does not cure is
// the pump's.
func TestWhetherTheOilOrThePump(t *testing.T) {
	usual := func() *tale {
		return kitchen(t).readOn("new", 0.45, 0.52, 0.50, 0.55).readOn("filtered", 0.50, 0.48, 0.56, 0.53)
	}
	b := kitchen(t).readOn("new", 0.5, 0.6)
	require.Equal(t, BlankOffView{N: 2, Verdict: "cannot tell yet", Want: "read again"}, b.blankOff())

	risen := func() *tale { return usual().readOn("filtered", 0.7, 1.1, 1.6) }
	v := risen().blankOff()
	require.Equal(t, "cannot tell yet", v.Verdict)
	require.Equal(t, "change the oil and read again", v.Want)
	require.Nil(t, risen().asked("check/north"))

	b = risen().readOn("new", 0.5, 0.52)
	require.Equal(t, "oil", b.blankOff().Verdict)
	require.Nil(t, b.asked("check/north"))

	b = risen().readOn("new", 1.5, 1.55)
	v = b.blankOff()
	require.Equal(t, "pump", v.Verdict)
	require.InDelta(t, 0.51, v.CentrePa, 0.02)
	require.True(t, v.AfterNew)
	require.InDelta(t, 1.52, *v.AfterPa, 0.03)
	a := b.asked("check/north")
	require.NotNil(t, a)
	require.Equal(t, "blank_off_pa", a.Why[0].Rule)
	require.InDelta(t, 1.52, a.Why[0].Value, 0.03)
	require.Greater(t, a.Why[0].Value, a.Why[0].Limit)
	require.Contains(t, a.Cautions, cautionPump)
	require.Equal(t, a.ID, b.after(1).tell("vacuum pump=north pa=1.5").asked("check/north").ID, "it is one thing from reading to reading")
	require.Nil(t, b.asked("replace/north"), "the oil is not to blame")
	require.Nil(t, b.tell("note pump=north note=seals").asked("check/north"), "looked into")

	require.Equal(t, "steady", b.readOn("new", 0.5, 0.5).blankOff().Verdict, "repaired")
}

// The filtered oil of a worn pump is not replaced for the pressure that no oil restores.
func TestAWornPumpDoesNotWearOutItsOil(t *testing.T) {
	b := kitchen(t).readOn("new", 0.45, 0.52, 0.50, 0.55).readOn("filtered", 0.50, 0.48, 0.56, 0.53).readOn("filtered", 0.7, 1.1, 1.6)
	require.NotNil(t, b.asked("replace/north"), "more than twice the reading on new oil")
	b.readOn("new", 1.5, 1.55).readOn("filtered", 3.2)
	require.Equal(t, "pump", b.blankOff().Verdict)
	require.Nil(t, b.asked("replace/north"))
}
