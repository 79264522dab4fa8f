package physics

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// cycle is all the physics that the end of one run asks for: what was carried past the trap
// and what of it the oil kept, each low, expected and high; the age it brought; the window
// for the drain; and how what is drained will settle and freeze. It gives the sum, so that
// nothing is left out as unused.
func cycle() (sum float64) {
	corners := [3]struct{ trapC, share, eta, leak float64 }{
		{-43, 0.7, 0.5, 1e-2}, {-35, 0.8, DefaultEta, DefaultLeakPaM3S}, {-27, 0.9, 0.05, 0},
	}
	for _, c := range corners {
		in := worked(0.35, 1, c.eta)
		in.CarryRateGH = must(CarryOver(7*c.share, c.trapC, 1, DefaultGasC))
		in.LeakPaM3S = c.leak
		water := must(Retained(in))
		sum += in.CarryRateGH + water + must(FreeWaterG(water, in.OilG, 20))
	}
	closes, _, err := HotWindow(vg68, 67, 67, 22, DefaultCoolTauMin, DefaultWindowRatio)
	return sum + must(closes, err) +
		must(ThermalHoursRun(24, 22, 67, DefaultWarmTauMin, AgeingRefC)) +
		must(SafeMinutes(67, 22, DefaultCoolTauMin)) +
		must(SettlingHours(D50Um, 100, vg68, 20)) +
		must(ClearedShare(24, 100, vg68, 20, D50Um, GSD)) +
		must(WaterSolubility(20)) +
		must(FreezingHours(90, -18, 20, FreezerFilm))
}

// The book works a cycle out anew at each fold: it may cost time, but no garbage.
func TestACycleAllocatesNothing(t *testing.T) {
	require.Positive(t, cycle())
	require.Zero(t, testing.AllocsPerRun(100, func() { cycle() }))
}

func BenchmarkCycle(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		cycle()
	}
}
