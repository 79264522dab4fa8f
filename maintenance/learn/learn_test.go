package learn_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance/learn"
)

// carryOver is the prior of physics.md section 12.
var carryOver = learn.Prior{SDLog: 0.5, NoiseSDLog: 0.25}

func exactly(ratios ...float64) []learn.Observation {
	observations := make([]learn.Observation, len(ratios))
	for i, r := range ratios {
		observations[i].Ratio = r
	}
	return observations
}

func TestWithoutObservationsThePriorStands(t *testing.T) {
	for _, p := range []learn.Prior{carryOver, {SDLog: 0.2, NoiseSDLog: 0.4}, {SDLog: 1, NoiseSDLog: 0.1}} {
		e := p.Estimate(nil)
		require.Zero(t, e.N)
		require.InDelta(t, 1, e.Value, 1e-9)
		require.InEpsilon(t, math.Exp(-1.6449*p.SDLog), e.Low, 0.01)
		require.InEpsilon(t, math.Exp(+1.6449*p.SDLog), e.High, 0.01)
	}
}

// The reference's recommended closed form, log-normal and shrunk, on its four weighings:
// T12-071, recomputed there. Where nothing is wrong both have to say about the same.
func TestNearTheClosedForm(t *testing.T) {
	e := carryOver.Estimate(exactly(10.0/8, 19.0/16, 7.0/5, 15.5/12))
	require.Equal(t, 4, e.N)
	require.InEpsilon(t, 1.261535, e.Value, 0.02)
	for _, ratio := range []float64{0.6, 0.8, 1, 1.25, 1.6} {
		require.InEpsilon(t, closedForm(carryOver, exactly(ratio)), carryOver.Estimate(exactly(ratio)).Value, 0.05, "one ratio of %v", ratio)
	}
}

// closedForm is exp((Σ ln r / s²)/(n/s² + 1/s0²)), reference section 12.
func closedForm(p learn.Prior, observations []learn.Observation) float64 {
	sum := 0.0
	for _, o := range observations {
		sum += math.Log(o.Ratio)
	}
	return math.Exp(sum / (float64(len(observations)) + p.NoiseSDLog*p.NoiseSDLog/(p.SDLog*p.SDLog)))
}
