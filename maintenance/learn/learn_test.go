package learn_test

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance/learn"
	"sumpbook/maintenance/simulated"
)

// carryOver is the prior of the reference's section 12.
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

// The reference's closed form, log-normal and shrunk, on its four weighings: T12-071,
// recomputed there. Where nothing is wrong, both have to say about the same; a single
// value is believed a little less here, since its scatter is in doubt too.
func TestNearTheClosedForm(t *testing.T) {
	e := carryOver.Estimate(exactly(10.0/8, 19.0/16, 7.0/5, 15.5/12))
	require.Equal(t, 4, e.N)
	require.InEpsilon(t, 1.26153505248, e.Value, 0.01)
	for _, ratio := range []float64{0.6, 0.8, 1, 1.25, 1.6} { // within the prior's spread
		require.InEpsilon(t, closedForm(carryOver, exactly(ratio)), carryOver.Estimate(exactly(ratio)).Value, 0.06, "one ratio of %v", ratio)
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

func TestUselessObservationsAreLeftOut(t *testing.T) {
	want := carryOver.Estimate(exactly(1.3, 1.4))
	useless := exactly(0, -1, math.NaN(), math.Inf(1), math.Inf(-1))
	for _, scatter := range []float64{-0.1, 21, math.NaN(), math.Inf(1)} {
		useless = append(useless, learn.Observation{Ratio: 5, SDLog: scatter})
	}
	require.Equal(t, want, carryOver.Estimate(append(useless, exactly(1.3, 1.4)...)))
}

func TestOnlyTheNewestAreWeighed(t *testing.T) {
	p := simulated.Unlike(carryOver.SDLog, carryOver.NoiseSDLog).Pump(1)
	newest := exactly(p.Ratios(learn.Most)...)
	require.Equal(t, carryOver.Estimate(newest), carryOver.Estimate(append(exactly(7, 8, 9), newest...)))
}

func TestScatterWeakens(t *testing.T) {
	sure, doubtful := exactly(2), []learn.Observation{{Ratio: 2, SDLog: 0.5}}
	require.Greater(t, carryOver.Estimate(sure).Value, carryOver.Estimate(doubtful).Value)
	require.Less(t, carryOver.Estimate(sure).High/carryOver.Estimate(sure).Low, carryOver.Estimate(doubtful).High/carryOver.Estimate(doubtful).Low)
}

func TestEstimateDoesNotAllocate(t *testing.T) {
	p := simulated.Unlike(carryOver.SDLog, carryOver.NoiseSDLog).Pump(1)
	observations := both(p, learn.Most)
	require.Zero(t, testing.AllocsPerRun(10, func() { carryOver.Estimate(observations) }))
}

func BenchmarkEstimate(b *testing.B) {
	for name, look := range map[string]way{"weighed": weighed, "judged": judged} {
		for _, n := range []int{0, 3, 12, learn.Most} {
			observations := look(simulated.Unlike(carryOver.SDLog, carryOver.NoiseSDLog).Pump(1), n)
			b.Run(name+"/"+strconv.Itoa(n), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					carryOver.Estimate(observations)
				}
			})
		}
	}
}
