package physics

import (
	"cmp"
	"math"
)

// k1 of ASTM D1250 Table 54D (ISO 91-1), lubricating oils, kg/(m3 K); K0 is 0.
const k1 = 0.6278

var (
	density15Range = limit{"density-15", 800, 1164, "kg/m3"} // Table 54D
	factorRange    = limit{"temp", -50, 150, "C"}
	liquidRange    = limit{"temp", 0, 100, "C"}
)

// VolumeFactor returns V15/V, by which a volume at tC (-50 to 150 C) of oil of
// density15 kg/m3 (800 to 1164) is multiplied to get that at 15 C: ISO 91-1, ASTM
// D1250 Table 54D, lubricating oils.
func VolumeFactor(density15, tC float64) (float64, error) {
	if err := cmp.Or(density15Range.check(density15), factorRange.check(tC)); err != nil {
		return 0, err
	}
	return volumeFactor(density15, tC), nil
}

func volumeFactor(density15, tC float64) float64 {
	x := k1 / density15 * (tC - 15)
	return math.Exp(-x * (1 + 0.8*x))
}

// OilDensity returns the density in kg/m3 at tC of oil of density15 kg/m3 at
// 15 C, over the ranges of VolumeFactor.
func OilDensity(density15, tC float64) (kgM3 float64, err error) {
	factor, err := VolumeFactor(density15, tC)
	if err != nil {
		return 0, err
	}
	return density15 * factor, nil
}

// WaterDensity returns the density of air-free water in kg/m3 at tC, 0 to 100 C,
// at one atmosphere: Kell, J. Chem. Eng. Data 20 (1975) 97, from memory and
// the same in public listings. Within 0.01 kg/m3 of Tanaka et al. 2001 at 0 to
// 40 C, within 0.02 of the IAPWS tables above.
func WaterDensity(tC float64) (kgM3 float64, err error) {
	if err := liquidRange.check(tC); err != nil {
		return 0, err
	}
	return waterDensity(tC), nil
}

// waterDensity is Kell's polynomial; see WaterDensity.
func waterDensity(t float64) float64 {
	poly := ((((-280.54253e-12*t+105.56302e-9)*t-46.170461e-6)*t-7.9870401e-3)*t+16.945176)*t + 999.83952
	return poly / (1 + 16.879850e-3*t)
}
