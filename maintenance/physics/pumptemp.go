package physics

import (
	"cmp"
	"math"
)

var (
	ratioRange = limit{"ratio", 1, 1_000, ""}
	safeRoom   = ambientRange.below(SafeToTouchC - 0.1) // in a warmer one the pump never gets there; 0.1 C by rule of this project, no source
)

// PumpTemp returns the pump's temperature in C so many minutes after it left
// startC for finalC with time constant tauMin: Newton's law, first order. finalC
// is ambient plus the running rise while it runs, ambient when it stands.
func PumpTemp(startC, finalC, tauMin, minutes float64) (float64, error) {
	err := cmp.Or(bodyRange.called("start").check(startC), bodyRange.called("final").check(finalC),
		tauRange.check(tauMin), minutesRange.check(minutes))
	if err != nil {
		return 0, err
	}
	return approach(startC, finalC, minutes/tauMin), nil
}

func approach(start, final, timeConstants float64) float64 {
	return final + (start-final)*math.Exp(-timeConstants)
}

// TimeToReach returns the minutes until a pump that left startC for finalC is at
// targetC, the inverse of PumpTemp. A target not between the two (finalC itself is
// never quite reached) is refused.
func TimeToReach(startC, finalC, targetC, tauMin float64) (minutes float64, err error) {
	err = cmp.Or(bodyRange.called("start").check(startC), bodyRange.called("final").check(finalC), tauRange.check(tauMin))
	if err != nil {
		return 0, err
	}
	if targetC == startC {
		return 0, nil
	}
	between := limit{"target", min(startC, finalC), max(startC, finalC), "C"}
	if err := between.check(targetC); err != nil || targetC == finalC {
		return 0, between.refuse(targetC)
	}
	return tauMin * math.Log((startC-finalC)/(targetC-finalC)), nil
}

// SafeMinutes returns the minutes after the stop until a pump at hotC has cooled to
// SafeToTouchC in a room at ambientC; 0 where it is no hotter than that. Until then
// its oil burns; below, gloves are still right.
func SafeMinutes(hotC, ambientC, tauMin float64) (float64, error) {
	err := cmp.Or(bodyRange.called("hot").check(hotC), safeRoom.check(ambientC), tauRange.check(tauMin))
	if err != nil || hotC <= SafeToTouchC {
		return 0, err
	}
	return TimeToReach(hotC, ambientC, SafeToTouchC, tauMin)
}

// TauFromReading returns the time constant in minutes that one thermometer
// reading teaches: readC, minutes after the pump left startC for finalC. A
// reading that is not strictly between them tells nothing and is refused.
func TauFromReading(startC, finalC, minutes, readC float64) (tauMin float64, err error) {
	err = cmp.Or(bodyRange.called("start").check(startC), bodyRange.called("final").check(finalC), minutesRange.check(minutes))
	if err != nil {
		return 0, err
	}
	between := limit{"reading", min(startC, finalC), max(startC, finalC), "C"}
	if err := between.check(readC); err != nil || readC == startC || readC == finalC {
		return 0, between.refuse(readC)
	}
	tauMin = minutes / math.Log((startC-finalC)/(readC-finalC))
	if err := tauRange.check(tauMin); err != nil {
		return 0, err
	}
	return tauMin, nil
}

// HotWindow returns how many minutes after the stop the oil of a pump at hotC has
// become ratio times as viscous as at the pump's normal running temperature
// normalC, and the temperature endC at which it has. Gravity drain through a
// narrow port is laminar, so drain time goes with viscosity (the law of ASTM D445
// capillaries); Newton's cooling to ambientC with tauMin. A pump at or below endC
// gives 0 minutes. In a room at or above endC the window never closes: that is a
// RangeError of "ambient", with endC; nor for a ratio that the oil does not reach at
// -20 C: one of "ratio".
func HotWindow(oil Oil, hotC, normalC, ambientC, tauMin, ratio float64) (closeMin, endC float64, err error) {
	err = cmp.Or(bodyRange.called("hot").check(hotC), oilTempRange.called("normal").check(normalC), ambientRange.check(ambientC), tauRange.check(tauMin), ratioRange.check(ratio))
	if err != nil {
		return 0, 0, err
	}
	normal, err := oil.Viscosity(normalC)
	if err != nil {
		return 0, 0, err
	}
	if err := ratioRange.below(oil.thickest() / normal).check(ratio); err != nil {
		return 0, 0, err
	}
	if endC, err = oil.TempAtViscosity(ratio * normal); err != nil || hotC <= endC {
		return 0, endC, err
	}
	if ambientC >= endC {
		return 0, endC, limit{"ambient", ambientRange.low, endC, "C"}.refuse(ambientC)
	}
	return tauMin * math.Log((hotC-ambientC)/(endC-ambientC)), endC, nil
}
