package physics

import "cmp"

var (
	volumeRange   = limit{"volume", 1e-6, 1e6, "L"}
	riseRange     = limit{"rise", 0, 110_000, "Pa"}
	timeRange     = limit{"time", 0.01, 1e8, "s"}
	blankOffRange = limit{"blank-off", 0, 110_000, "Pa"}
)

// PressureRise returns the leak and outgassing in Pa m3/s that raises the pressure
// of an isolated volume of so many litres by risePa in so many seconds: V dp/dt. A
// straight rise is a leak; one that flattens is outgassing or water.
func PressureRise(volumeL, risePa, seconds float64) (paM3S float64, err error) {
	err = cmp.Or(volumeRange.check(volumeL), riseRange.check(risePa), timeRange.check(seconds))
	if err != nil {
		return 0, err
	}
	return volumeL / 1_000 * risePa / seconds, nil
}

// SystemPressure returns the lowest pressure in Pa of a chamber with the given leak
// behind a pump of speedM3h that reaches blankOffPa alone: p_blank + Q/S.
func SystemPressure(leakPaM3S, speedM3h, blankOffPa float64) (float64, error) {
	err := cmp.Or(leakRange.check(leakPaM3S), speedRange.check(speedM3h), blankOffRange.check(blankOffPa))
	if err != nil {
		return 0, err
	}
	return blankOffPa + leakPaM3S*secondsPerHour/speedM3h, nil
}
