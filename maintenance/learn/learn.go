// Package learn estimates a factor of one pump from observations that arrive now and
// then: how much more water it takes up than reckoned, how much slower it cools. It is
// pure: a prior and observations in, an estimate with its interval out.
//
// The method, an own derivation. Before the pump has shown its own, ln(factor) is believed
// to follow Student's t with four degrees of freedom and the 5 % and 95 % points of the
// documented prior: its tails yield where observations disagree with it. Each observation
// multiplies this by its likelihood, Student's t again, so that a mad value loses its weight
// instead of pulling; all of it is averaged over five noise scales, since nobody knows how
// well this person weighs. The estimate is the median of the product, its interval reaches
// from the 5 % to the 95 % point. With x = ln(factor), measured ratios i and verdicts j:
//
//	p(x) ∝ t(x / 0.77 SDLog) Σ_k w_k Π_i t((x - ln r_i)/σ_ik)/σ_ik Π_j (0.05 + 0.90 T(±(x - ln r_j)/σ_j))
//	σ_ik² = (s_k NoiseSDLog)² + SDLog_i²,  σ_j² = (1.2 NoiseSDLog)² + SDLog_j²
//	t(z) ∝ (1 + z²/4)^(-5/2),  T(z) = 1/2 + (3u - u³)/4 where u = z/√(4 + z²)
//
// t and T are density and distribution function (Abramowitz & Stegun 26.7.4). A verdict's
// scatter is the assumed one at every k: so "clear by then" can never raise the factor.
//
// What the interval holds is measured on pumps the prior did not expect (coverage_test.go):
// 90 % ± 3 % from two ratios on where the noise is up to half of the spread, from three
// where it is two thirds, from seven where it is as wide; one ratio's interval holds 85 %.
// Verdicts all on one side say little more than the prior, and the prior is wrong there:
// five are enough once both kinds are among them, nine if need be of one kind. Where the
// noise is twice the assumed, the interval holds 74 to 85 %: assume it rather too wide.
package learn

import "math"

// Most is how many observations an estimate looks at: the last ones given.
const Most = 48

// A Prior is what is assumed of a factor before the pump has shown its own: log-normal,
// median 1. Both are positive standard deviations of a natural logarithm.
type Prior struct {
	SDLog      float64 // of the factor, from pump to pump
	NoiseSDLog float64 // of one good observation; less than a 40th of SDLog is taken as that
}

// A Bound says what an observation tells of the factor.
type Bound int8

// A verdict such as "clear by then" bounds the factor on one side.
const (
	Exact   Bound = iota // the factor is about Ratio
	AtMost               // at most about Ratio: clear after Ratio times the reckoned need
	AtLeast              // at least about Ratio: still cloudy then
)

// An Observation is one look at the factor. One whose Ratio is not positive and finite, or
// whose SDLog is not from 0 to 20, tells nothing and is left out.
type Observation struct {
	Ratio float64 // measured over reckoned
	SDLog float64 // its scatter beyond the kind's own noise, of ln(Ratio); 0: none
	Bound Bound
}

// An Estimate is what is believed of the factor after N observations: with a
// probability of 90 % it lies from Low to High.
type Estimate struct {
	N                int     // observations that told something
	Value, Low, High float64 // median, 5 % and 95 % point
}

// Estimate weighs the last Most observations against the prior; their order does not
// matter. Without observations it is the prior: 1, and exp(±1.645 SDLog).
func (p Prior) Estimate(observations []Observation) Estimate {
	noise := max(p.NoiseSDLog, p.SDLog/finest)
	b := p.belief(observations, noise)
	g := b.grid(reach * p.SDLog / noise)
	return Estimate{N: b.measured + b.judged, Value: math.Exp(noise * g.quantile(0.50)),
		Low: math.Exp(noise * g.quantile(0.05)), High: math.Exp(noise * g.quantile(0.95))}
}
