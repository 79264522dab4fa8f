package physics

import (
	"cmp"
	"math"
)

// An Oil is what the formulas need to know of an oil: kinematic viscosity in
// mm2/s at 40 C and 100 C, and density in kg/m3 at 15 C.
type Oil struct{ V40, V100, Density15 float64 }

var (
	v40Range       = limit{"v40", 1, 10_000, "mm2/s"}
	v100Range      = limit{"v100", 0.5, 2_000, "mm2/s"}
	oilTempRange   = limit{"temp", -20, 150, "C"}
	viscosityRange = limit{"viscosity", 0.21, 2e7, "mm2/s"} // ASTM D341
)

func (o Oil) check() error {
	return cmp.Or(v40Range.check(o.V40), v100Range.check(o.V100), limit{"v100", v100Range.low, o.V40 * 0.99, "mm2/s"}.check(o.V100))
}

// Viscosity returns the kinematic viscosity in mm2/s at tC, -20 to 150 C, by
// ASTM D341 through the two known points; refused too where that is outside what the
// standard is good for, 0.21 to 2e7 mm2/s. Below about 10 K above its pour point a real
// oil is thicker than that.
func (o Oil) Viscosity(tC float64) (float64, error) {
	if err := cmp.Or(o.check(), oilTempRange.check(tC)); err != nil {
		return 0, err
	}
	nu := o.viscosity(tC)
	if viscosityRange.check(nu) != nil {
		return 0, limit{"temp", max(oilTempRange.low, o.tempAt(viscosityRange.high)), min(oilTempRange.high, o.tempAt(viscosityRange.low)), "C"}.refuse(tC)
	}
	return nu, nil
}

// thickest is the viscosity at the cold end of the range.
func (o Oil) thickest() float64 { return min(o.viscosity(oilTempRange.low), viscosityRange.high) }

func (o Oil) viscosity(tC float64) float64 {
	a, b := o.walther()
	return untangle(a - b*math.Log10(tC+zeroC))
}

// TempAtViscosity returns the temperature in C at which the oil has the kinematic
// viscosity nu in mm2/s: the inverse of Viscosity, refused where that is outside
// -20 to 150 C.
func (o Oil) TempAtViscosity(nu float64) (float64, error) {
	if err := cmp.Or(o.check(), viscosityRange.check(nu)); err != nil {
		return 0, err
	}
	tC := o.tempAt(nu)
	// Rounding must not push the ends of the range out of it.
	if tC < oilTempRange.low-1e-9 || tC > oilTempRange.high+1e-9 {
		return 0, limit{"viscosity", max(o.viscosity(oilTempRange.high), viscosityRange.low), o.thickest(), "mm2/s"}.refuse(nu)
	}
	return min(max(tC, oilTempRange.low), oilTempRange.high), nil
}

func (o Oil) tempAt(nu float64) (tC float64) {
	a, b := o.walther()
	return math.Pow(10, (a-tangle(nu))/b) - zeroC
}

func (o Oil) walther() (a, b float64) {
	return walther(40+zeroC, o.V40, 100+zeroC, o.V100)
}

// walther returns A and B of ASTM D341, log log Z = A - B log T, through two points.
func walther(t1K, nu1, t2K, nu2 float64) (a, b float64) {
	y1, y2 := tangle(nu1), tangle(nu2)
	b = (y1 - y2) / math.Log10(t2K/t1K)
	return y1 + b*math.Log10(t1K), b
}

// tangle returns log10 log10 Z of ASTM D341.
func tangle(nu float64) float64 {
	z, _ := waltherZ(nu)
	return math.Log10(math.Log10(z))
}

// waltherZ is Z of ASTM D341 and its derivative. The exponential matters below
// 2 mm2/s only; kept everywhere, the law has no step there.
func waltherZ(nu float64) (z, slope float64) {
	low := math.Exp(-1.47 - 1.84*nu - 0.51*nu*nu)
	return nu + 0.7 + low, 1 - low*(1.84+1.02*nu)
}

// untangle is the inverse of tangle. The standard gives an approximate inverse of
// Z; Newton's method gives the exact one, so that there and back is the identity.
func untangle(y float64) float64 {
	want := math.Pow(10, math.Pow(10, y))
	nu := want - 0.7
	if nu > 2*viscosityRange.high { // the exponential is gone, and Newton's method would lose itself
		return nu
	}
	for range 6 {
		z, slope := waltherZ(nu)
		nu -= (z - want) / slope
	}
	return nu
}
