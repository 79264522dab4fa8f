package learn

import "math"

// Rules of this package, no source: chosen so that the interval covers what it says on
// simulated pumps unlike the prior (coverage_test.go).
const (
	scales    = 5
	mad       = 0.05   // share of verdicts that are wrong whatever the factor
	verdictSD = 1.2    // a verdict's scatter over the kind's own noise
	yielding  = 0.7716 // = 1.6449/2.1318, the 95 % points of the normal and of Student's t with four degrees of freedom
	reach     = 8      // the factor lies within so many SDLog of the prior's median
	finest    = 40     // least noise over SDLog, and
	vague     = 20     // the most that SDLog of an observation may be: keep the products within a float64
)

// What the scatter may be, over the kind's own noise, and how likely each is beforehand.
var (
	scale  = [scales]float64{0.40, 0.63, 1.0, 1.6, 2.5}
	weight = [scales]float64{0.03, 0.23, 0.48, 0.23, 0.03}
)

// A belief is what prior and observations say of x = ln(factor), in units of the noise.
type belief struct {
	prior            float64         // 1/(4 sd²)
	start            [scales]float64 // the part of each noise scale's product that does not depend on x
	ratios           [Most]ratio
	verdicts         [Most]verdict
	measured, judged int // how many of each
}

type ratio struct {
	x      float64
	spread [scales]float64 // 1/(4 σ²) at each noise scale
}

type verdict struct {
	x     float64
	steep float64 // 1/(2 σ), negative where the factor is at most about x
}

func (p Prior) belief(observations []Observation, noise float64) (b belief) {
	b.prior = spread(sq(yielding * p.SDLog / noise))
	for k := range b.start {
		b.start[k] = 1 / weight[k]
	}
	width := reach * p.SDLog
	for _, o := range observations[max(0, len(observations)-Most):] {
		if o.Ratio > 0 && o.Ratio <= math.MaxFloat64 && o.SDLog >= 0 && o.SDLog <= vague {
			b.add(min(max(math.Log(o.Ratio), -width), width)/noise, sq(o.SDLog/noise), o.Bound)
		}
	}
	for k, product := range b.start {
		b.start[k] = math.Pow(product, 2.0/5)
	}
	return b
}

func (b *belief) add(x, extra float64, bound Bound) {
	steep := 1 / (2 * math.Sqrt(sq(verdictSD)+extra))
	switch bound {
	case AtMost:
		b.verdicts[b.judged] = verdict{x, -steep}
		b.judged++
	case AtLeast:
		b.verdicts[b.judged] = verdict{x, steep}
		b.judged++
	default:
		r := &b.ratios[b.measured]
		b.measured++
		r.x = x
		for k, s := range scale {
			r.spread[k] = spread(sq(s) + extra)
			b.start[k] *= math.Sqrt(sq(s) + extra)
		}
	}
}

// logDensity is ln p(x) without its constant. Each scale's product of (1 + z²/4) is kept
// as it is and raised to the -5/2 once at the end, all of them over the least, which
// spares a logarithm an observation and cannot run out of a float64.
func (b *belief) logDensity(x float64) float64 {
	judged := 1.0
	// One by one: in an array they would go to memory and back for every observation.
	p0, p1, p2, p3, p4 := b.start[0], b.start[1], b.start[2], b.start[3], b.start[4]
	for i := range b.ratios[:b.measured] {
		r := &b.ratios[i]
		d := sq(x - r.x)
		p0 *= 1 + d*r.spread[0]
		p1 *= 1 + d*r.spread[1]
		p2 *= 1 + d*r.spread[2]
		p3 *= 1 + d*r.spread[3]
		p4 *= 1 + d*r.spread[4]
	}
	for _, v := range b.verdicts[:b.judged] {
		judged *= v.chance(x)
	}
	least := min(p0, p1, p2, p3, p4)
	sum := 0.0
	for _, product := range [scales]float64{p0, p1, p2, p3, p4} {
		r := least / product
		sum += r * r * math.Sqrt(r)
	}
	return math.Log(sum*judged) - 5.0/2*math.Log(least*(1+sq(x)*b.prior))
}

// chance is the probability of the verdict where the factor is x.
func (v verdict) chance(x float64) float64 { return mad + (1-2*mad)*studentShare((x-v.x)*v.steep) }

// studentShare is the distribution function of Student's t with four degrees of freedom
// at 2 half: with u = half/√(1 + half²) it is 1/2 + (3u - u³)/4.
func studentShare(half float64) float64 {
	u := half / math.Sqrt(1+half*half)
	return 0.5 + (3*u-u*u*u)/4
}

func spread(variance float64) float64 { return 1 / (4 * variance) }

func sq(x float64) float64 { return x * x }
