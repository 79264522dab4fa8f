package chart

import (
	"math"
	"slices"
)

// A start is what readings are held against: robust centre and scale of the first ones.
type start struct {
	from, n       int // index of its first reading, and how many there are
	centre, scale float64
}

// madToSigma makes the median absolute deviation of normal values their standard
// deviation: 1/0.6745, the upper quartile of the normal distribution.
const madToSigma = 1.4826

// fewFactor undoes what a deviation from few readings is too small by: about 1.13 for 8 and
// 1.05 for 16. Form n/(n-0.8) after Croux and Rousseeuw 1992, from memory, with 0.9 so that
// it also serves for 8; a test measures it.
func fewFactor(n int) float64 { return float64(n) / (float64(n) - 0.9) }

func startOf(readings []Reading, from, n int) start {
	var values [longStart]float64
	for i, r := range readings[from : from+n] {
		values[i] = r.LnPa
	}
	centre, deviation := MedianDeviation(values[:n])
	return start{from, n, centre, max(leastScale, madToSigma*fewFactor(n)*deviation)}
}

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
