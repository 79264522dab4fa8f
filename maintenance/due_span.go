package maintenance

import (
	"math"
	"time"
)

// dueBetween gives an action whose due time is an estimate the ends of its interval, unless
// a person has put it off.
func (a *asked) dueBetween(due, low, high time.Time) {
	if !a.Due.Equal(due) || low.Equal(high) {
		return
	}
	low, high = sooner(low, due), later(high, due)
	a.DueLow, a.DueHigh = &low, &high
}

// A pace is what is usual of a pump, with the ends between which the next is to be expected.
type pace struct{ low, mid, high time.Duration }

// paceOf is the prediction interval of 90 % for the next of a normal variable, after three or
// more (ISO 16269-8): the mean of their squares apart, times Student's t and √(1 + 1/n). Of
// fewer it has no width.
func paceOf(all []time.Duration) pace {
	mid, n := medianOf(all), len(all)
	p := pace{mid, mid, mid}
	if n < 3 {
		return p
	}
	mean, squares := 0.0, 0.0
	for _, d := range all {
		mean += d.Hours() / float64(n)
	}
	for _, d := range all {
		squares += square(d.Hours() - mean)
	}
	half := hours(student95[min(n-1, len(student95)-1)] * math.Sqrt(squares/float64(n-1)*(1+1/float64(n))))
	p.low, p.high = max(0, mid-half), mid+half
	return p
}

// student95 are the 95 % quantiles of Student's t by degrees of freedom (NIST/SEMATECH
// e-Handbook 1.3.6.7.2).
var student95 = [...]float64{0, 6.314, 2.920, 2.353, 2.132, 2.015, 1.943, 1.895, 1.860, 1.833, 1.812, 1.796}

// around is an interval about an expected time that lies one mid after a beginning.
func (p pace) around(expected time.Time) (low, high time.Time) {
	return expected.Add(p.low - p.mid), expected.Add(p.high - p.mid)
}

// scatter is how far durations lie apart, as a standard deviation: the median absolute
// deviation, times 1.4826 as for a normal distribution.
func scatter(all []time.Duration) time.Duration {
	mid := medianOf(all)
	off := make([]time.Duration, len(all))
	for i, d := range all {
		off[i] = (d - mid).Abs()
	}
	return time.Duration(madToSD * float64(medianOf(off)))
}

// madToSD makes a standard deviation of the median absolute deviation of normal values:
// 1 / 0.67449, the 75 % quantile of the standard normal distribution.
const madToSD = 1.4826

// forecastBetween is the interval of forecast: of so many cycles to come, each grows the
// wear a little differently and each gap is a little different, which adds in quadrature
// over the cycles; what is unsure of the wear's growth itself is the same in each.
func (w wear) forecastBetween(c *pumpCase, end time.Time) (low, high time.Time) {
	left := (w.limit - w.told) / w.perCycle
	if left <= 0 {
		return end, end
	}
	gaps := normal95 * float64(scatter(c.gaps())) * math.Sqrt(left)
	ahead := func(share float64) float64 {
		grown := left*min(share, manyTimes) - left // cycles more or less than expected
		each := normal95 * w.unsteady(c) * math.Sqrt(left)
		return math.Hypot(math.Hypot(grown, each)*float64(c.gap), gaps)
	}
	h := func(ns float64) time.Duration { return hours(ns / float64(time.Hour)) }
	return end.Add(-h(ahead(1 / max(w.growsHigh(), 1/manyTimes)))), end.Add(h(ahead(1 / max(w.growsLow(), 1/manyTimes))))
}

// manyTimes bounds how much longer than expected a forecast allows for.
const manyTimes = 100.0

// growsLow and growsHigh are the ends of the growth, of the expected.
func (w wear) growsLow() float64  { return or(w.slow, 1) }
func (w wear) growsHigh() float64 { return or(w.fast, 1) }

// unsteady is how far the growth of one cycle lies from the usual, as a share.
func (w wear) unsteady(c *pumpCase) float64 {
	if w.grew == nil {
		return 0
	}
	recent := c.recent()
	all := make([]time.Duration, len(recent)) // a growth as if it were a time, so that one median serves
	for i, y := range recent {
		all[i] = time.Duration(w.grew(y) / w.perCycle * float64(time.Hour))
	}
	return scatter(all).Hours()
}

// normal95 is the 95 % quantile of the standard normal distribution: 5 % lie beyond it on
// either side of an interval of 90 %.
const normal95 = 1.6448536
