// Package simulated draws pumps whose true factor is known, for tests of what is learned
// of a pump. It imports nothing of ours, least of all the estimator: its truths lie wider
// than a prior assumes and off its middle, the scatter differs from pump to pump, and some
// observations are plainly wrong. Coverage measured on the estimator's own assumptions
// would prove nothing.
//
// The same world and seed give the same pump: there is no other source of chance.
package simulated

import (
	"math"
	"math/rand/v2"
)

// How a world differs from what was assumed of it. Rules of this package, no source.
const (
	wider     = 2.0  // spread of the truths, over the assumed one
	offMiddle = 1.3  // median of the truths
	mistaken  = 0.05 // share of gross errors

	leastNoise, mostNoise = 0.7, 1.4  // a pump's scatter over the world's
	leastGross, mostGross = 3.0, 30.0 // a gross error's factor, up or down
)

// A World says how its pumps differ and how well they are observed.
type World struct {
	Spread     float64 // standard deviation of ln(truth)
	Shift      float64 // median of the truths
	Noise      float64 // standard deviation of ln(observed/truth), middling pump
	GrossShare float64 // share of observations that are wrong by 3 to 30 times, up or down
}

// Unlike is a world in which an assumed spread of ln(factor) about 1 is wrong: the truths
// spread twice as wide about 1.3, and one observation in twenty is grossly wrong.
func Unlike(spread, noise float64) World {
	return World{Spread: wider * spread, Shift: offMiddle, Noise: noise, GrossShare: mistaken}
}

// A Pump has a true factor and shows it, one look after the other.
type Pump struct {
	Truth  float64
	Noise  float64 // its own standard deviation of ln(observed/truth)
	gross  float64
	chance *rand.Rand
}

// Pump draws the pump of that seed.
func (w World) Pump(seed uint64) *Pump {
	p := &Pump{gross: w.GrossShare, chance: rand.New(rand.NewPCG(seed, 0))}
	p.Truth = w.Shift * math.Exp(w.Spread*p.chance.NormFloat64())
	p.Noise = w.Noise * p.Between(leastNoise, mostNoise)
	return p
}

// Ratio measures the factor once.
func (p *Pump) Ratio() float64 {
	ratio := p.Truth * math.Exp(p.Noise*p.chance.NormFloat64())
	if p.chance.Float64() >= p.gross {
		return ratio
	}
	wrong := p.Between(leastGross, mostGross)
	if p.chance.IntN(2) == 0 {
		return ratio / wrong
	}
	return ratio * wrong
}

// Ratios measures the factor n times.
func (p *Pump) Ratios(n int) []float64 {
	ratios := make([]float64, n)
	for i := range ratios {
		ratios[i] = p.Ratio()
	}
	return ratios
}

// Passed is the verdict on something that takes Truth times as long as reckoned, seen
// once `after` times the reckoned time: has it passed?
func (p *Pump) Passed(after float64) bool { return p.Ratio() <= after }

// Between draws a number from least to most, all of its doublings equally likely.
func (p *Pump) Between(least, most float64) float64 {
	return least * math.Pow(most/least, p.chance.Float64())
}
