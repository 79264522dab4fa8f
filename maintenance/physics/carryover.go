package physics

import "cmp"

var (
	conductanceRange = limit{"conductance", 0.01, 1e6, "m3/h"}
)

// CarryOver returns the water in g that slips past a cold trap into the pump:
// the pump takes speedM3h of gas, saturated at the ice's temperature trapC (-150
// to 0 C) and arriving at gasC, for so many hours. Ideal gas: S p_ice M t/(R T).
// Air does not change it: each volume drawn carries p_ice of water. An overloaded
// or short-circuited trap lets more pass; multiply by its factor. A trap warmer than
// the gas is refused: it would be no trap.
func CarryOver(speedM3h, trapC, hours, gasC float64) (grams float64, err error) {
	err = cmp.Or(speedRange.check(speedM3h), trapRange.check(trapC), hoursRange.check(hours), gasRange.check(gasC),
		trapRange.below(gasC).check(trapC))
	if err != nil {
		return 0, err
	}
	return vapourG(icePressure(trapC), speedM3h*hours, gasC), nil
}

// vapourG is the mass of water vapour at pPa in a volume at tC.
func vapourG(pPa, volumeM3, tC float64) float64 {
	return pPa * volumeM3 * waterMolarMass / (gasConstant * (tC + zeroC))
}

// EffectiveSpeed returns the speed in m3/h left of a pump behind a line of the
// given conductance: 1/S_eff = 1/S + 1/C.
func EffectiveSpeed(speedM3h, conductanceM3h float64) (float64, error) {
	err := cmp.Or(speedRange.check(speedM3h), conductanceRange.check(conductanceM3h))
	if err != nil {
		return 0, err
	}
	return speedM3h * conductanceM3h / (speedM3h + conductanceM3h), nil
}
