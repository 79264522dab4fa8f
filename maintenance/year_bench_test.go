package maintenance

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// year is a year of two pumps, invented: every other day a cycle of each, with its loads and
// yields, a drain with a thermometer, settling with looks, decanting, filtering, a reading of
// the blank-off, and every fourth time the water frozen out.
func year(tb testing.TB) []Entry {
	var all []Entry
	at := day0
	tell := func(after time.Duration, act Act) {
		at = at.Add(after)
		all = append(all, Entry{ID: fmt.Sprintf("e%d", len(all)+1), Seq: uint64(len(all) + 1), At: at, Act: act})
	}
	pumps := []string{"north", "south"}
	for _, p := range pumps {
		tell(0, &PumpAct{Pump: p, ChargeMl: num(700), HeelMl: num(20)})
		for _, v := range []string{"drain", "clear", "ready", "cold", "waste"} {
			tell(0, &VesselAct{Vessel: p + "-" + v})
		}
		tell(0, &MediumAct{Medium: p + "-paper"})
		tell(0, &LotAct{Lot: "oil-" + p, Vessel: p + "-can", Amount: Amount{Grams: num(400_000)}})
		tell(0, &FillAct{Pump: p, From: p + "-can"})
	}
	turn := func(i int, p string) {
		v := func(name string) string { return p + "-" + name }
		tell(time.Minute, &LoadAct{Pump: p, Grams: num(3000)})
		tell(time.Minute, &StartAct{Pump: p, TrapC: num(-38)})
		tell(20*time.Hour, &StopAct{Pump: p, HotC: num(66), BallastMin: num(20)})
		tell(10*time.Minute, &YieldAct{Pump: p, Grams: num(600)})
		tell(20*time.Minute, &DrainAct{Pump: p, To: v("drain"), Amount: Amount{TempC: num(52)}})
		tell(3*time.Hour, &FillAct{Pump: p, From: v("can")})
		tell(time.Minute, &VacuumAct{Pump: p, Pa: num(0.5)})
		tell(10*time.Hour, &InspectAct{Vessel: v("drain"), Look: "hazy"})
		tell(10*time.Hour, &DecantAct{From: v("drain"), To: v("clear")})
		tell(time.Minute, &FilterAct{From: v("clear"), To: v("ready"), Minutes: num(90)})
		tell(time.Minute, &PourAct{From: v("drain"), To: v("cold")})
		if i%4 == 3 {
			tell(time.Minute, &FreezeAct{Vessel: v("cold")})
			tell(time.Hour, &SeparateAct{From: v("cold"), To: v("waste"), WaterG: num(20)})
			tell(time.Minute, &DiscardAct{From: v("waste")})
			tell(time.Minute, &MediumAct{Medium: v("paper")})
			tell(time.Minute, &CareAct{Task: "exhaust-filter", Pump: p})
		}
	}
	from := at
	for i := range 182 {
		for n, p := range pumps {
			at = from.Add(time.Duration(48*i+24*n) * time.Hour)
			turn(i, p)
		}
	}
	return InOrder(all)
}

// BenchmarkYear is the full fold of a year of two pumps; it is to stay under 50 ms.
func BenchmarkYear(b *testing.B) {
	all := year(b)
	for b.Loop() {
		s, err := Fold(DefaultRules(), all)
		require.NoError(b, err)
		require.Equal(b, 182, s.Pumps["north"].Cycles)
	}
	b.ReportMetric(float64(len(all)), "entries")
}

// The state of a book does not grow with its cycles once its memories are full: of a second
// year it takes the room of the first.
func TestTheStateDoesNotGrowWithTheCycles(t *testing.T) {
	all := year(t)
	s := NewState()
	var sizes []int
	for turn := range 3 {
		for i, e := range all {
			if turn > 0 && i < len(all)-364*11 { // the declarations stand
				continue
			}
			e.ID, e.Seq, e.At = fmt.Sprint(turn, e.ID), s.Seq+1, e.At.Add(time.Duration(turn)*366*day)
			if _, err := s.Apply(DefaultRules(), e); err != nil {
				require.NoError(t, err)
			}
		}
		b, err := EncodeState(s)
		require.NoError(t, err)
		sizes = append(sizes, len(b))
	}
	require.InEpsilon(t, sizes[1], sizes[2], 0.01, "bytes of state after the second and the third year: %v", sizes)
}
