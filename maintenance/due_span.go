package maintenance

import (
	"math"
	"slices"
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

// A pace is what is usual of a pump, with its shortest and longest: of the newest twelve, as
// good as an interval of 90 %.
type pace struct{ low, mid, high time.Duration }

func paceOf(all []time.Duration) pace {
	if len(all) == 0 {
		return pace{}
	}
	return pace{slices.Min(all), medianOf(all), slices.Max(all)}
}

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
		grown := left*share - left // cycles more or less than expected
		each := normal95 * w.unsteady(c) * math.Sqrt(left)
		return math.Hypot(math.Hypot(grown, each)*float64(c.gap), gaps)
	}
	return end.Add(-time.Duration(ahead(1 / w.growsHigh()))), end.Add(time.Duration(ahead(1 / w.growsLow())))
}

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
