package chart

import (
	"math"
	"slices"
)

// A start is what readings are held against: robust centre and scale of the first ones.
type start struct {
	from, n       int // index of its first reading, and how many there are; n 0: not complete
	centre, scale float64
}

// madToSigma makes the median absolute deviation of normal values their standard
// deviation: 1/0.6745, the upper quartile of the normal distribution.
const madToSigma = 1.4826

func startOf(readings []Reading, from, n int) start {
	var values [longStart]float64
	for i, r := range readings[from : from+n] {
		values[i] = r.LnPa
	}
	centre, deviation := MedianDeviation(values[:n])
	return start{from, n, centre, max(leastScale, madToSigma*fewFactor(n)*deviation)}
}

// fewFactor is what a deviation is too small by, on average, for resting on few normal
// readings: 1.13 for 8, 1.06 for 16. The form n/(n-0.8) is Croux and Rousseeuw's of 1992
// for more than 9, from memory; 0.9 fits 8 too, as a test shows.
func fewFactor(n int) float64 { return float64(n) / (float64(n) - 0.9) }

// doubt is the standard error of the centre in scales: that of the median of n normal
// values, sqrt(pi/2n).
func (s start) doubt() float64 { return math.Sqrt(math.Pi / 2 / float64(s.n)) }

// scales is how far a level stands from the centre.
func (s start) scales(lnPa float64) float64 { return (lnPa - s.centre) / s.scale }

// MedianDeviation are the median of the values and the median of their absolute distances
// from it. It reorders and overwrites values, of which there is at least one.
func MedianDeviation(values []float64) (median, deviation float64) {
	median = middle(values)
	for i, v := range values {
		values[i] = math.Abs(v - median)
	}
	return median, middle(values)
}

func middle(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	return (values[(n-1)/2] + values[n/2]) / 2
}
