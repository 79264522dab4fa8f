package maintenance

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A book of one pump: filled with 700 ml of new oil, a cycle of 30 h, and two empty jars.
func afterOneCycle(t *testing.T) (*State, time.Time) {
	told := []Entry{
		{ID: "p", At: day0, Act: &PumpAct{Pump: "north", ChargeMl: num(700), HeelMl: num(20)}},
		{ID: "j1", At: day0, Act: &VesselAct{Vessel: "jar-1", CapacityMl: num(1000)}},
		{ID: "j2", At: day0, Act: &VesselAct{Vessel: "jar-2", CapacityMl: num(1000)}},
		{ID: "m", At: day0, Act: &MediumAct{Medium: "paper"}},
		{ID: "l", At: day0, Act: &LotAct{Lot: "lot-1", Vessel: "can-1", Amount: Amount{Grams: num(4000)}}},
		{ID: "f", At: day0, Act: &FillAct{Pump: "north", From: "can-1"}},
		{ID: "c1", At: day0, Act: &StartAct{Pump: "north"}},
		{ID: "s1", At: day0.Add(30 * time.Hour), Act: &StopAct{Pump: "north"}},
	}
	for i := range told {
		told[i].Seq = uint64(i + 1)
	}
	s, err := Fold(DefaultRules(), told)
	require.NoError(t, err)
	return s, day0.Add(30 * time.Hour)
}

func TestNextTakesTheOilRoundTheCircuit(t *testing.T) {
	s, now := afterOneCycle(t)
	r := DefaultRules()
	var done []Do
	for range 8 {
		all := Next(s, r, now)
		require.NotEmpty(t, all)
		a := all[0]
		now = later(now, a.Opens)
		e := a.Record
		e.ID, e.At, e.Seq = a.ID, now, s.Seq+1
		_, err := s.Apply(r, e)
		require.NoError(t, err, "%s %s", a.ID, Encode(a.Record))
		done = append(done, a.Do)
		if a.Do == DoFill {
			break
		}
	}
	require.Equal(t, []Do{DoDrain, DoFill}, done)
	all := Next(s, r, now)
	require.Len(t, all, 1)
	require.Equal(t, "decant/jar-1/drain/north/c1", all[0].ID)
	require.Equal(t, Coming, all[0].State)
}
