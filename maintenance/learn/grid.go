package learn

import "math"

const (
	cells   = 64
	visible = 9 // what is less dense than e^-9 of the peak is cut off
)

// A grid holds a density at evenly spaced points.
type grid struct {
	low, step, sum float64 // sum: of all trapezoids, in halves of a step
	at             [cells + 1]float64
}

// grid lays the points over -width to width, and then ever closer around what is dense,
// until most of them stand where it is. A narrow peak between two points is seen from
// afar, by the tails of Student's t.
func (b *belief) grid(width float64) (g grid) {
	g.low, g.step = -width, 2*width/cells
	for peak := g.fill(b); ; peak = g.fill(b) {
		first, last := g.dense(peak - visible)
		if last-first > cells/2 {
			g.scale(peak)
			return g
		}
		g.low, g.step = g.low+g.step*float64(first), g.step*float64(last-first)/cells
	}
}

func (g *grid) fill(b *belief) (peak float64) {
	peak = math.Inf(-1)
	for i := range g.at {
		g.at[i] = b.logDensity(g.low + g.step*float64(i))
		peak = max(peak, g.at[i])
	}
	return peak
}

// dense is from where to where the density is at least floor, and one point further.
func (g *grid) dense(floor float64) (first, last int) {
	last = cells
	for g.at[first] < floor {
		first++
	}
	for g.at[last] < floor {
		last--
	}
	return max(first-1, 0), min(last+1, cells)
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
	return g.low + g.step*cells
}
