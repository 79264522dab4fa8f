package physics

import "cmp"

var (
	ballastRange = limit{"ballast", 0, 1_000, "L/min"}
	exhaustRange = limit{"exhaust", 1.01, 2, ""}
	pumpRange    = limit{"pump-temp", -40, 100, "C"} // above 100 C the exhaust no longer bounds the vapour
)

// BallastCapacity returns the water in g/h that leaves the pump as vapour, at
// most, when ballastLmin of room air is let into the compression: q = p_W S
// M/(R T), Pfeiffer Vacuum know-how book formulas 4-6 and 4-7 (the latter refers
// to DIN 28426), in which the speed S cancels. T is that of the room, where the
// ballast is measured. exhaustFactor is the pressure at which the outlet valve
// opens over that of the atmosphere. A pump so cold, or a room so damp, that the
// ballast's own moisture condenses has no capacity: 0.
func BallastCapacity(ballastLmin, pumpC, ambientC, humidity, exhaustFactor float64) (gramsPerHour float64, err error) {
	err = cmp.Or(ballastRange.check(ballastLmin), pumpRange.check(pumpC), ambientRange.check(ambientC),
		shareRange.check(humidity), exhaustRange.check(exhaustFactor))
	if err != nil {
		return 0, err
	}
	perVolume := tolerance(1, exhaustFactor*atmospherePa, atmospherePa, saturation(pumpC), humidity*saturation(ambientC))
	return max(0, vapourG(perVolume, ballastLmin*cubicPerLmin, ambientC)), nil
}

// VapourTolerance returns the highest inlet pressure of pure water vapour in Pa
// that a pump of speedM3h passes without condensing it, by the same formula 4-6;
// 0 where the ballast itself condenses.
func VapourTolerance(speedM3h, ballastLmin, pumpC, ambientC, humidity, exhaustFactor float64) (pPa float64, err error) {
	if err := speedRange.check(speedM3h); err != nil {
		return 0, err
	}
	capacity, err := BallastCapacity(ballastLmin, pumpC, ambientC, humidity, exhaustFactor)
	if err != nil {
		return 0, err
	}
	return capacity / vapourG(1, speedM3h, ambientC), nil
}

// tolerance is formula 4-6: ratio of ballast to speed, exhaust and atmospheric
// pressure, vapour pressure at the pump and in the room, in any one unit.
func tolerance(ratio, exhaust, atmosphere, pump, room float64) float64 {
	return ratio * atmosphere * (pump - room) / (exhaust - pump)
}
