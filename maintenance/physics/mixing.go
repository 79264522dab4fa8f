package physics

import (
	"cmp"
	"math"
)

var (
	amountRange = limit{"amount", 0, 1e9, ""}
	mixedRange  = limit{"property", -1e12, 1e12, ""}
	chargeRange = limit{"charge", 1e-6, 1e9, ""}
	timesRange  = limit{"times", 0, 1e6, ""}
	targetRange = limit{"target", 1e-12, 1, ""}
	keptRange   = limit{"share kept", 0, 0.999, ""}
	shareOfMix  = limit{"share", 0, 1, ""}
)

// Flush returns the share of old oil left after the sump has been drained to its
// heel and filled to its charge so many times: (heel/charge)^times. The charge
// includes the heel; both are in the same unit, whichever.
func Flush(heel, charge float64, times int) (share float64, err error) {
	err = cmp.Or(chargeRange.check(charge), limit{"heel", 0, charge, ""}.check(heel), timesRange.check(float64(times)))
	if err != nil {
		return 0, err
	}
	return math.Pow(heel/charge, float64(times)), nil
}

// FlushesNeeded returns the fewest flushes that leave at most the target share of
// old oil. A heel as large as the charge never gets there and is refused.
func FlushesNeeded(heel, charge, target float64) (int, error) {
	below := math.Nextafter(charge, 0)
	err := cmp.Or(chargeRange.check(charge), limit{"heel", 0, below, ""}.check(heel), targetRange.check(target))
	if err != nil || target == 1 {
		return 0, err
	}
	// A hair of slack: ln 0.001/ln 0.1 is a little above 3 in floating point.
	return max(1, int(math.Ceil(math.Log(target)/math.Log(heel/charge)-1e-9))), nil
}

// Mix returns the property (age, water share, acid number: what adds by amount) of
// a blend of two parcels. Two parcels of nothing have none: 0.
func Mix(amount1, x1, amount2, x2 float64) (float64, error) {
	err := cmp.Or(amountRange.called("first amount").check(amount1), amountRange.called("second amount").check(amount2),
		mixedRange.called("first property").check(x1), mixedRange.called("second property").check(x2))
	total := amount1 + amount2
	if err != nil || total == 0 {
		return 0, err
	}
	return x1*(amount1/total) + x2*(amount2/total), nil
}

// SteadyAge returns the age in hours that oil tends to just before each change, if
// every change keeps the given share (below 0.999) of the old and each interval
// runs so many hours: r/(1-k). Just after a change it is that times the share kept.
func SteadyAge(runHours, kept float64) (float64, error) {
	if err := cmp.Or(hoursRange.check(runHours), keptRange.check(kept)); err != nil {
		return 0, err
	}
	return runHours / (1 - kept), nil
}

// BlendViscosity returns the viscosity in mm2/s of a blend in which share1 by mass
// has nu1 and the rest nu2, at one temperature: Refutas' blending index, from
// memory. Viscosity does not mix by share.
func BlendViscosity(nu1, share1, nu2 float64) (float64, error) {
	err := cmp.Or(viscosityRange.called("first viscosity").check(nu1), shareOfMix.check(share1), viscosityRange.called("second viscosity").check(nu2))
	if err != nil {
		return 0, err
	}
	// The index is 14.534 ln ln(nu+0.8) + 10.975; its constants cancel.
	index := share1*math.Log(math.Log(nu1+0.8)) + (1-share1)*math.Log(math.Log(nu2+0.8))
	return math.Exp(math.Exp(index)) - 0.8, nil
}
