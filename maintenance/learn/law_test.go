package learn_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance/learn"
)

// near is how close the grid comes: 2 % of the interval's width in ln(factor).
const near = 0.02

func width(e learn.Estimate) float64 { return math.Log(e.High / e.Low) }

func priors() *rapid.Generator[learn.Prior] {
	return rapid.Custom(func(t *rapid.T) learn.Prior {
		spread := rapid.Float64Range(0.4, 1).Draw(t, "spread")
		return learn.Prior{SDLog: spread, NoiseSDLog: spread * rapid.Float64Range(0.2, 1).Draw(t, "noise")}
	})
}

func observation(bounds ...learn.Bound) *rapid.Generator[learn.Observation] {
	return rapid.Custom(func(t *rapid.T) learn.Observation {
		return learn.Observation{
			Ratio: math.Exp(rapid.Float64Range(-2, 2).Draw(t, "ln ratio")),
			SDLog: max(0, rapid.Float64Range(-0.5, 0.5).Draw(t, "scatter")), // mostly none
			Bound: rapid.SampledFrom(bounds).Draw(t, "bound"),
		}
	})
}

// seen is up to 12 observations of any kind.
func seen() *rapid.Generator[[]learn.Observation] {
	return rapid.SliceOfN(observation(learn.Exact, learn.AtMost, learn.AtLeast), 0, 12)
}

// requireAbove wants no quantile of b below a's, but for part of the width.
func requireAbove(t require.TestingT, a, b learn.Estimate, part float64) {
	slack := math.Exp(-part * width(a))
	require.GreaterOrEqual(t, b.Value, a.Value*slack)
	require.GreaterOrEqual(t, b.Low, a.Low*slack)
	require.GreaterOrEqual(t, b.High, a.High*slack)
}

func requireSame(t require.TestingT, a, b learn.Estimate, part float64) {
	require.Equal(t, a.N, b.N)
	requireAbove(t, a, b, part)
	requireAbove(t, b, a, part)
}

// What the package comment says, reckoned point by point and without a short cut.
func TestTheFormulaIsReckoned(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, observations := priors().Draw(t, "prior"), seen().Draw(t, "observations")
		requireSame(t, integrated(p, observations), p.Estimate(observations), near)
	})
}

func integrated(p learn.Prior, observations []learn.Observation) learn.Estimate {
	const points = 4_000
	density, sum := [points]float64{}, 0.0
	at := func(i int) float64 { return 8 * p.SDLog * (2*float64(i)/(points-1) - 1) }
	for i := range density {
		density[i] = posterior(p, observations, at(i))
		sum += density[i]
	}
	quantile := func(share float64) float64 {
		left := share * sum
		return math.Exp(at(slices.IndexFunc(density[:], func(d float64) bool { left -= d; return left < 0 })))
	}
	return learn.Estimate{N: len(observations), Value: quantile(0.5), Low: quantile(0.05), High: quantile(0.95)}
}

func posterior(p learn.Prior, observations []learn.Observation, x float64) float64 {
	t4 := func(z float64) float64 { return math.Pow(1+z*z/4, -2.5) }
	weights, sum := map[float64]float64{0.4: 0.03, 0.63: 0.23, 1: 0.48, 1.6: 0.23, 2.5: 0.03}, 0.0
	for scale, product := range weights {
		for _, o := range observations {
			z := (x - math.Log(o.Ratio)) / math.Hypot(scale*p.NoiseSDLog, o.SDLog)
			switch u := (x - math.Log(o.Ratio)) / math.Hypot(1.2*p.NoiseSDLog, o.SDLog); o.Bound {
			case learn.Exact:
				product *= t4(z) / math.Hypot(scale*p.NoiseSDLog, o.SDLog) * p.NoiseSDLog
			case learn.AtMost:
				product *= 0.05 + 0.9*(1-below(u))
			case learn.AtLeast:
				product *= 0.05 + 0.9*below(u)
			}
		}
		sum += product
	}
	return sum * t4(x/(p.SDLog*1.6449/2.1318))
}

// below is the distribution function of Student's t with four degrees of freedom.
func below(z float64) float64 {
	sine := z / math.Sqrt(4+z*z)
	return (1 + sine*(1+(1-sine*sine)/2)) / 2
}

func TestOrderDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, observations := priors().Draw(t, "prior"), seen().Draw(t, "observations")
		shuffled := rapid.Permutation(observations).Draw(t, "shuffled")
		requireSame(t, p.Estimate(observations), p.Estimate(shuffled), 1e-6)
	})
}

func TestWithoutAPriorTheRatiosScaleTheResult(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := learn.Prior{SDLog: 10, NoiseSDLog: 0.25}
		observations := rapid.SliceOfN(observation(learn.Exact), 3, 12).Draw(t, "observations")
		shift, scaled := rapid.Float64Range(-1, 1).Draw(t, "ln k"), slices.Clone(observations)
		for i := range scaled {
			scaled[i].Ratio *= math.Exp(shift)
		}
		before, after := p.Estimate(observations), p.Estimate(scaled)
		require.InDelta(t, shift, math.Log(after.Value/before.Value), 0.05*width(before))
		require.InEpsilon(t, width(before), width(after), 0.1)
	})
}

// A value that says what is believed already makes it surer, and so does the same again,
// unless the values lie so far apart that two of them are believed in turn.
func TestMoreOfTheSameNarrows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, observations := priors().Draw(t, "prior"), seen().Draw(t, "observations")
		before := p.Estimate(observations)
		agreeing := p.Estimate(append(slices.Clone(observations), learn.Observation{Ratio: before.Value}))
		require.Less(t, width(agreeing), width(before))
		var once []float64
		for range rapid.IntRange(1, 12).Draw(t, "n") {
			once = append(once, math.Exp(p.NoiseSDLog*rapid.Float64Range(-2, 2).Draw(t, "noise")))
		}
		require.Less(t, width(p.Estimate(exactly(append(once, once...)...))), 0.95*width(p.Estimate(exactly(once...))))
	})
}

func TestAVerdictMovesOneWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, observations := priors().Draw(t, "prior"), seen().Draw(t, "observations")
		v := observation(learn.AtMost).Draw(t, "verdict")
		before := p.Estimate(observations)
		requireAbove(t, p.Estimate(append(slices.Clone(observations), v)), before, near)
		v.Bound = learn.AtLeast
		requireAbove(t, before, p.Estimate(append(slices.Clone(observations), v)), near)
	})
}

// One value that is out by 10 to 1,000 times among good ones within the prior's middle
// moves the estimate by no more than this. The closed form moves by 6.3 times and more
// among one, by 1.2 among ten.
func TestOneMadValueMovesLittle(t *testing.T) {
	most := map[int]float64{1: 1.75, 2: 1.45, 3: 1.3, 5: 1.15, 10: 1.05}
	for n, factor := range most {
		rapid.Check(t, func(t *rapid.T) {
			truth := rapid.Float64Range(-0.5, 0.5).Draw(t, "ln truth")
			out := rapid.Float64Range(math.Log(10), math.Log(1_000)).Draw(t, "ln out") * rapid.SampledFrom([]float64{-1, 1}).Draw(t, "up or down")
			var good []float64
			for range n {
				good = append(good, math.Exp(truth+rapid.Float64Range(-0.25, 0.25).Draw(t, "noise")))
			}
			before := carryOver.Estimate(exactly(good...)).Value
			after := carryOver.Estimate(exactly(append(good, math.Exp(truth+out))...)).Value
			require.InDelta(t, 0, math.Log(after/before), math.Log(factor), "among %d: %v became %v", n, before, after)
		})
	}
}

// Nothing that can be stored makes the estimate unusable.
func TestAlwaysAnEstimate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := learn.Prior{SDLog: rapid.Float64Range(0.01, 10).Draw(t, "spread"), NoiseSDLog: rapid.Float64Range(0, 10).Draw(t, "noise")}
		e := p.Estimate(rapid.SliceOf(rapid.Custom(func(t *rapid.T) learn.Observation {
			return learn.Observation{Ratio: rapid.Float64().Draw(t, "ratio"), SDLog: rapid.Float64().Draw(t, "scatter"),
				Bound: learn.Bound(rapid.Int8().Draw(t, "bound"))}
		})).Draw(t, "observations"))
		require.Greater(t, e.Low, 0.0)
		require.Less(t, e.Low, e.Value)
		require.Less(t, e.Value, e.High)
		require.False(t, math.IsInf(e.High, 0))
	})
}
