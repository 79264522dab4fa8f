package physics

import (
	"cmp"
	"math"
)

var viRange = limit{"v100", 2, 500, "mm2/s"}

// ViscosityIndex returns the viscosity index of an oil of v40 mm2/s at 40 C and
// v100 (2 to 500) at 100 C, by ASTM D2270. The standard reports it rounded to a
// whole number, half to even; here it is not rounded.
func ViscosityIndex(v40, v100 float64) (float64, error) {
	if err := cmp.Or(viRange.check(v100), Oil{V40: v40, V100: v100}.check()); err != nil {
		return 0, err
	}
	l, h := viReference(v100)
	if v40 >= h {
		return 100 * (l - v40) / (l - h), nil
	}
	n := math.Log(h/v40) / math.Log(v100)
	return (math.Pow(10, n)-1)/0.00715 + 100, nil
}

// viReference returns the viscosities at 40 C of the reference oils of index 0
// (L) and 100 (H) that have v100 at 100 C, by ASTM D2270: Table 1, and the standard's own
// formula from 70 mm2/s.
func viReference(v100 float64) (l, h float64) {
	if v100 >= 70 {
		return (0.8353*v100+14.67)*v100 - 216, (0.1684*v100+11.85)*v100 - 97
	}
	i := len(viTable) - 1
	for viTable[i].from > v100 {
		i--
	}
	run := viTable[i]
	place := (v100 - run.from) / run.step
	k := min(int(place), len(run.l)-2)
	part := place - float64(k)
	return run.l[k] + part*(run.l[k+1]-run.l[k]), run.h[k] + part*(run.h[k+1]-run.h[k])
}

// v100ForIndex returns the viscosity at 100 C of an oil of v40 and an index of 100
// or less, by bisection, and whether there is one within the range of ASTM D2270.
func v100ForIndex(v40, index float64) (float64, bool) {
	at := func(v100 float64) float64 {
		l, h := viReference(v100)
		return l - index/100*(l-h)
	}
	low, high := viRange.low, viRange.high
	if v40 < at(low) || v40 > at(high) {
		return 0, false
	}
	for range 60 {
		if mid := (low + high) / 2; at(mid) < v40 {
			low = mid
		} else {
			high = mid
		}
	}
	return low, true
}
