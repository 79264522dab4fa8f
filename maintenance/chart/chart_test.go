package chart_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance/chart"
)

// The worked examples stand in testdata/checks/12-control-charts.csv, which
// maintenance/physics walks with all other published values.

func TestLimitGrowsToTheSteadyOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := chart.EWMA{Lambda: rapid.Float64Range(0.05, 1).Draw(t, "lambda")}
		n := rapid.IntRange(1, 98).Draw(t, "n")
		steady := math.Sqrt(e.Lambda / (2 - e.Lambda))
		require.InDelta(t, e.Lambda, e.Limit(1, 1, 1), 1e-12, "one value has its share of the deviation")
		require.LessOrEqual(t, e.Limit(n, 1, 1), e.Limit(n+1, 1, 1))
		require.InEpsilon(t, steady, e.Limit(100, 1, 1), 1e-4)
		require.InEpsilon(t, 3*2*e.Limit(n, 1, 1), e.Limit(n, 3, 2), 1e-12)
	})
}

func TestSumsMirrorEachOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		target := rapid.Float64Range(-5, 5).Draw(t, "target")
		up, down := chart.CUSUM{Target: target, Slack: 0.5}, chart.CUSUM{Target: -target, Slack: 0.5}
		for _, x := range rapid.SliceOfN(rapid.Float64Range(-10, 10), 1, 20).Draw(t, "values") {
			up, down = up.Next(x), down.Next(-x)
			require.InDelta(t, up.High, down.Low, 1e-9)
			require.InDelta(t, up.Low, down.High, 1e-9)
		}
	})
}

func TestMedianDeviation(t *testing.T) {
	for _, c := range []struct {
		values            []float64
		median, deviation float64
	}{
		{[]float64{3}, 3, 0},
		{[]float64{1, 2}, 1.5, 0.5},
		{[]float64{9, 1, 2}, 2, 1},
		{[]float64{1, 2, 3, 1e300}, 2.5, 1},
	} {
		median, deviation := chart.MedianDeviation(c.values)
		require.Equal(t, c.median, median)
		require.Equal(t, c.deviation, deviation)
	}
}

// Over many starts of normal readings the scale is right on average, and the centre strays
// as the doubt says.
func TestScaleOfFewReadings(t *testing.T) {
	const starts, sigma = 20_000, 2.0                           // far above the least scale
	for n, within := range map[int]float64{8: 0.03, 16: 0.07} { // of 16, those that looked like a rise are left out
		rng := rand.New(rand.NewPCG(7, 12))
		kept, scale, square, doubt := 0.0, 0.0, 0.0, 0.0
		readings := make([]chart.Reading, n)
		for range starts {
			for i := range readings {
				readings[i].LnPa = sigma * rng.NormFloat64()
			}
			f := chart.Judge(readings)
			if f.N != n {
				continue
			}
			kept, scale, square, doubt = kept+1, scale+f.Scale, square+f.Centre*f.Centre, doubt+f.Doubt
		}
		require.InEpsilon(t, sigma, scale/kept, within, "scale of %d", n)
		require.InEpsilon(t, math.Sqrt(square/kept), doubt/kept, 0.1, "doubt of %d", n)
	}
}
