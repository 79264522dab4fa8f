package maintenance

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance/simulated"
)

// carriedByHand is the water that 7 m3/h nominal, drawn to 0.8, carry past a trap at −30 °C in
// 24 h, g; vapour pressure over ice by Murphy & Koop 2005 Eq. 7, another formula than ours.
func carriedByHand() float64 {
	const trapK, gasK = 243.15, 293.15
	p := math.Exp(9.550426 - 5723.265/trapK + 3.53068*math.Log(trapK) - 0.00728332*trapK)
	return 0.8 * 7 * 24 * p * 18.015268 / (8.314462618 * gasK)
}

// weighedBook is the book of a simulated pump: so many cycles, each with its drain, its ice
// weighed and new oil. The ice is what the world says of the water reckoned by hand; what the
// book refuses as a slip is weighed again.
func weighedBook(t *testing.T, p *simulated.Pump, cycles int) *State {
	s := NewState()
	at := day0
	tell := func(after time.Duration, act Act) error {
		at = at.Add(after)
		_, err := s.Apply(DefaultRules(), Entry{ID: fmt.Sprint(s.Seq + 1), Seq: s.Seq + 1, At: at, Act: act})
		return err
	}
	told := func(after time.Duration, act Act) { require.NoError(t, tell(after, act)) }
	told(0, &PumpAct{Pump: "north", ChargeMl: num(700), SpeedM3H: num(7), TrapC: num(-30)})
	told(0, &LotAct{Lot: "lot-1", Vessel: "can-1", Amount: Amount{Grams: num(50_000)}})
	told(0, &VesselAct{Vessel: "jar-1"})
	told(0, &VesselAct{Vessel: "waste", Waste: new(true)})
	for range cycles {
		told(0, &FillAct{Pump: "north", From: "can-1"})
		told(time.Hour, &StartAct{Pump: "north"})
		told(24*time.Hour, &StopAct{Pump: "north"})
		told(time.Minute, &DrainAct{Pump: "north", To: "jar-1"})
		told(time.Hour, &FreezeAct{Vessel: "jar-1"})
		for tell(24*time.Hour, &SeparateAct{From: "jar-1", To: "waste", WaterG: num(p.Ratio() * carriedByHand())}) != nil {
		}
	}
	return s
}

// The interval of the carry-over factor covers the truth as often as it says, through the
// whole book: entries in, factor out.
func TestTheLearnedCarryOverCoversTheTruth(t *testing.T) {
	const pumps = 2000
	world := simulated.Unlike(0.5, 0.25)
	covered, off := 0, 0.0
	for seed := range uint64(pumps) {
		p := world.Pump(seed)
		f := weighedBook(t, p, 3+int(seed%10)).Pumps["north"].factor(factorCarry)
		if f.Low <= p.Truth && p.Truth <= f.High {
			covered++
		}
		off += square(math.Log(f.Value / p.Truth))
	}
	share := float64(covered) / pumps
	t.Logf("covered %.1f %% of %d pumps; the expected is off by %.3f in ln", 100*share, pumps, math.Sqrt(off/pumps))
	require.InDelta(t, 0.90, share, 0.03)
	require.Less(t, math.Sqrt(off/pumps), 0.3)
}
