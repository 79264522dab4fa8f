package learn

import "math"

const (
	coarse  = 24 // cells to find out where the density is
	fine    = 96 // cells to add it up
	visible = 9  // what is less dense than e^-9 of the peak is cut off
)

// A grid holds a density at evenly spaced points.
type grid struct {
	low, step, sum float64 // sum: of all trapezoids, in halves of a step
	at             [fine + 1]float64
}

// grid lays coarse points over -width to width, and then ever closer around what is
// dense until most of them stand there: then the fine ones. A narrow peak between two
// points is seen from afar, by the tails of Student's t.
func (b *belief) grid(width float64) (g grid) {
	for low, high := -width, width; ; {
		peak := g.fill(b, low, high, coarse)
		first, last := g.dense(peak - visible)
		low, high = low+g.step*float64(first), low+g.step*float64(last)
		if last-first > coarse/2 {
			g.scale(g.fill(b, low, high, fine))
			return g
		}
	}
}

// fill takes the logarithms of the density, and returns the greatest.
func (g *grid) fill(b *belief, low, high float64, cells int) (peak float64) {
	g.low, g.step, peak = low, (high-low)/float64(cells), math.Inf(-1)
	for i := range cells + 1 {
		g.at[i] = b.logDensity(low + g.step*float64(i))
		peak = max(peak, g.at[i])
	}
	return peak
}

// dense is from where to where coarse points are at least floor, and one point further.
func (g *grid) dense(floor float64) (first, last int) {
	last = coarse
	for g.at[first] < floor {
		first++
	}
	for g.at[last] < floor {
		last--
	}
	return max(first-1, 0), min(last+1, coarse)
}

// scale turns logarithms into densities over the peak.
func (g *grid) scale(peak float64) {
	for i, log := range g.at {
		g.at[i] = math.Exp(log - peak)
	}
	for i, density := range g.at[1:] {
		g.sum += g.at[i] + density
	}
}

// quantile is where the share of all that lies below has been passed; within a cell the
// density is a straight line.
func (g *grid) quantile(share float64) float64 {
	left := share * g.sum
	for i, right := range g.at[1:] {
		before := g.at[i]
		if before+right >= left {
			return g.low + g.step*(float64(i)+left/(before+math.Sqrt(max(0, before*before+(right-before)*left))))
		}
		left -= before + right
	}
	return g.low + g.step*fine
}
