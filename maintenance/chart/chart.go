// Package chart keeps control charts of a pump's blank-off readings and says what a rise
// comes from: the oil or the pump.
//
// Pure: readings in, a finding out. Readings are natural logarithms of pressures, for a
// pressure is positive and its scatter is a ratio; levels are ln Pa, and what the charts add
// up is counted in scales.
//
// The first 8 readings, later the first 16, are the start: their median is the centre, their
// median absolute deviation gives the scale. An EWMA and a CUSUM of all readings after them
// signal a rise. Then the oil has to be changed, and what is read first on the charges after
// that is weighed, by the odds of two normal values: back at the centre, or still at the
// height of the rise. Back: it was the oil. Still up on new oil: it is the pump. Filtered oil
// can clear the pump but not blame it, for it may have carried the trouble along. No single
// reading makes a signal or a verdict.
//
// Only rises matter. When the readings fall instead and stay low, say after a repair, the
// start is taken anew; when they come back from a rise that was the pump's, it was repaired.
// The start are the first readings given: who drops those moves the measure, and a wear
// slower than what is kept goes unseen. New oil of another kind, or spoilt in its can, is
// taken for the pump.
//
// How often it is right: testdata/rates.md, measured on simulated pumps.
package chart

import "math"

// An EWMA is an exponentially weighted moving average: of each new value the share Lambda,
// of all before it the rest (NIST/SEMATECH e-Handbook 6.3.2.4). Value begins as the target.
type EWMA struct {
	Lambda float64 // above 0, at most 1
	Value  float64
}

// Next is the average after one more value.
func (e EWMA) Next(x float64) EWMA {
	e.Value += e.Lambda * (x - e.Value)
	return e
}

// Limit is how far the average may stand from its target after n values: wide times the
// standard deviation sigma of the values, narrowed by the averaging. It grows with n to
// the steady limit, which n = 100 reaches for every lambda in use
// (NIST/SEMATECH e-Handbook 6.3.2.4).
func (e EWMA) Limit(n int, wide, sigma float64) float64 {
	early := 1 - math.Pow(1-e.Lambda, 2*float64(n))
	return wide * sigma * math.Sqrt(e.Lambda/(2-e.Lambda)*early)
}

// A CUSUM is a pair of tabular cumulative sums: how far the values have strayed above and
// below Target, less Slack for each of them and never below 0 (NIST/SEMATECH e-Handbook
// 6.3.2.3; Montgomery, Introduction to SQC, ch. 9). It starts with both sums at 0.
type CUSUM struct {
	Target, Slack float64
	High, Low     float64
}

// Next are the sums after one more value.
func (c CUSUM) Next(x float64) CUSUM {
	c.High = max(0, c.High+x-c.Target-c.Slack)
	c.Low = max(0, c.Low+c.Target-c.Slack-x)
	return c
}
