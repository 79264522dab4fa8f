package learn

import "math"

// Rules of this package, no source: chosen so that the interval covers what it says on
// simulated pumps unlike the prior (coverage_test.go).
const (
	scales    = 5
	mad       = 0.05   // share of verdicts that are wrong whatever the factor
	verdictSD = 0.85   // a verdict's scatter over the kind's own noise
	yielding  = 0.7716 // = 1.6449/2.1318, 95 % points of the normal and of Student's t with four degrees of freedom
	reach     = 8      // the factor lies within so many SDLog of the prior's median
	finest    = 40     // least noise over SDLog: keeps the products below within a float64
)

var (
	scale  = [scales]float64{0.34, 0.54, 0.85, 1.36, 2.1} // s_k: Student's over the log-normal's
	weight = [scales]float64{0.10, 0.25, 0.30, 0.25, 0.10}
)

// A belief is what prior and observations say of x = ln(factor), in units of the noise.
type belief struct {
	n      int
	looks  [Most]look
	spread float64         // of the prior: 1/(4 sd²)
	start  [scales]float64 // the part of each noise scale's product that does not depend on x
}

// A look is an observation ready to be multiplied: 1/(4 σ²) at each noise scale, of a
// verdict at the one it is given.
type look struct {
	x      float64
	bound  Bound
	spread [scales]float64
}

func (p Prior) belief(observations []Observation, noise float64) (b belief) {
	b.spread = studentSpread(sq(yielding * p.SDLog / noise))
	for k := range b.start {
		b.start[k] = 1 / weight[k]
	}
	for _, o := range observations[max(0, len(observations)-Most):] {
		if positive(o.Ratio) && (o.SDLog == 0 || positive(o.SDLog)) {
			b.add(o, noise, reach*p.SDLog/noise)
		}
	}
	for k, product := range b.start {
		b.start[k] = math.Pow(product, 2.0/5)
	}
	return b
}

func (b *belief) add(o Observation, noise, width float64) {
	l := &b.looks[b.n]
	b.n++
	l.x, l.bound = min(max(math.Log(o.Ratio)/noise, -width), width), o.Bound
	extra := sq(o.SDLog / noise)
	if o.Bound != Exact {
		l.spread[0] = studentSpread(sq(verdictSD) + extra)
		return
	}
	for k, s := range scale {
		l.spread[k] = studentSpread(sq(s) + extra)
		b.start[k] *= math.Sqrt(sq(s) + extra)
	}
}

// logDensity is ln p(x) without its constant. Each scale's product of (1 + z²/4) is kept
// as it is and raised to the -5/2 once at the end, all of them over the least, which
// spares a logarithm an observation and cannot run out of a float64.
func (b *belief) logDensity(x float64) float64 {
	products, verdicts := b.start, 1.0
	for i := range b.looks[:b.n] {
		switch l := &b.looks[i]; l.bound {
		case AtMost:
			verdicts *= verdict(l.x-x, l.spread[0])
		case AtLeast:
			verdicts *= verdict(x-l.x, l.spread[0])
		default:
			d := sq(x - l.x)
			for k := range products {
				products[k] *= 1 + d*l.spread[k]
			}
		}
	}
	least, sum := products[0], 0.0
	for _, product := range products[1:] {
		least = min(least, product)
	}
	for _, product := range products {
		r := least / product
		sum += r * r * math.Sqrt(r)
	}
	return math.Log(sum*verdicts) - 5.0/2*math.Log(least*(1+sq(x)*b.spread))
}

// verdict is the probability of a verdict that is right by d; spread is 1/(4 σ²).
func verdict(d, spread float64) float64 { return mad + (1-2*mad)*studentShare(d*math.Sqrt(spread)) }

// studentShare is the distribution function of Student's t with four degrees of freedom
// at 2 half: with u = half/√(1 + half²) it is 1/2 + (3u - u³)/4.
func studentShare(half float64) float64 {
	u := half / math.Sqrt(1+half*half)
	return 0.5 + (3*u-u*u*u)/4
}

func studentSpread(variance float64) float64 { return 1 / (4 * variance) }

func sq(x float64) float64 { return x * x }

func positive(x float64) bool { return x > 0 && x <= math.MaxFloat64 }
