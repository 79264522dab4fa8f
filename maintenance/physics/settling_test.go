package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestSettlingReadsAsTheWorkedTable(t *testing.T) {
	// A droplet of 30 um in 100 mm of VG 68: 3.4 days at 20 C; at 5 C 11.5 days with
	// water as light as at 20 C, 11.3 with its own density.
	require.InDelta(t, 3.38, must(SettlingHours(D50Um, 100, vg68, 20))/24, 0.01)
	require.InDelta(t, 11.34, must(SettlingHours(D50Um, 100, vg68, 5))/24, 0.01)
	for days, share := range map[float64]float64{0: 0, 0.25: 0.16, 1: 0.43, 3: 0.69, 7: 0.85} {
		require.InDelta(t, share, must(ClearedShare(days*24, 100, vg68, 20, D50Um, GSD)), 0.005, "after %g days", days)
	}
}

func TestSettlingRefusesOilThatWaterFloatsOn(t *testing.T) {
	heavy := Oil{V40: 68, V100: 8.6, Density15: 1010}
	_, err := SettlingHours(30, 100, heavy, 20)
	require.ErrorContains(t, err, "oil density 1006.")
	require.ErrorContains(t, err, "is outside 0 to 998 kg/m3")
	_, err = ClearedShare(24, 100, heavy, 20, D50Um, GSD)
	require.Error(t, err)
	_, err = CutDiameter(24, 100, heavy, 20)
	require.Error(t, err)
}

func TestSettlingScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		droplet := rapid.Float64Range(1, 200).Draw(t, "droplet")
		height := rapid.Float64Range(5, 400).Draw(t, "height")
		tC := rapid.Float64Range(0, 80).Draw(t, "temperature")
		hours := must(SettlingHours(droplet, height, vg68, tC))
		require.InEpsilon(t, 2*hours, must(SettlingHours(droplet, 2*height, vg68, tC)), 1e-9)
		require.InEpsilon(t, hours/4, must(SettlingHours(2*droplet, height, vg68, tC)), 1e-9)
		require.Less(t, must(SettlingHours(droplet, height, vg68, tC+1)), hours, "warm oil settles sooner")
		if hours < hoursRange.high {
			require.InEpsilon(t, droplet, must(CutDiameter(hours, height, vg68, tC)), 1e-9)
		}
	})
}

// quadrature sums over droplet sizes what the closed form has integrated.
func quadrature(cutUm, d50Um, gsd float64) float64 {
	const n = 20_000
	s, sum := math.Log(gsd), 0.0
	for i := range n {
		z := -8 + 16*(float64(i)+0.5)/n
		d := d50Um * math.Exp(s*z)
		sum += math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) * 16 / n * min(1, d*d/(cutUm*cutUm))
	}
	return sum
}

func TestClearedShareAgreesWithQuadrature(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cut := rapid.Float64Range(2, 300).Draw(t, "cut")
		d50 := rapid.Float64Range(3, 100).Draw(t, "d50")
		gsd := rapid.Float64Range(1.2, 4).Draw(t, "gsd")
		require.InDelta(t, quadrature(cut, d50, gsd), logNormalCleared(cut, d50, gsd), 1e-5)
	})
}

func TestClearedShareRisesWithTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hours := rapid.Float64Range(0, 1000).Draw(t, "hours")
		later := hours + rapid.Float64Range(0, 1000).Draw(t, "more")
		early := must(ClearedShare(hours, 100, vg68, 20, D50Um, GSD))
		late := must(ClearedShare(later, 100, vg68, 20, D50Um, GSD))
		require.True(t, 0 <= early && early <= late && late <= 1, "%g then %g", early, late)
	})
}

func TestStokesRefusesWhatFallsTooFast(t *testing.T) {
	_, err := StokesVelocity(5000, 2600, 1000, 0.001)
	require.ErrorContains(t, err, "reynolds number")
	rises, err := StokesVelocity(30, 1.2, 867, 0.19)
	require.NoError(t, err)
	require.Negative(t, rises, "a bubble rises")
}

func TestFreeAndDissolvedAreAllTheWater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		water := rapid.Float64Range(0, 100).Draw(t, "water")
		oil := rapid.Float64Range(0, 3000).Draw(t, "oil")
		tC := rapid.Float64Range(-20, 99).Draw(t, "temperature")
		free := must(FreeWaterG(water, oil, tC))
		dissolved := min(water, oil*PumpOilFactor*must(WaterSolubility(tC))/1e6)
		require.InDelta(t, water, free+dissolved, 1e-9)
		require.LessOrEqual(t, must(FreeWaterG(water, oil, tC+1)), free)
	})
}

func TestCloudPointIsTheInverseOfSolubility(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tC := rapid.Float64Range(-20, 100).Draw(t, "temperature")
		require.InDelta(t, tC, must(CloudPoint(must(WaterSolubility(tC)))), 1e-6)
	})
}
