package physics

import (
	"math"
)

// The triple point of water, to which IAPWS R14 is reduced.
const (
	tripleK  = 273.16
	triplePa = 611.657
)

// IAPWS R14-08(2011), Eq. 6: coefficients and exponents of the sublimation curve.
var (
	iceA = [3]float64{-21.2144006, 27.3203819, -6.10598130}
	iceB = [3]float64{0.00333333333, 1.20666667, 1.70333333}
)

// IAPWS R7-97(2012), region 4, Eq. 30: n1 to n10 of the saturation curve.
const (
	n1, n2, n3, n4, n5 = 1167.0521452767, -724213.16703206, -17.073846940092, 12020.824702470, -3232555.0322333
	n6, n7, n8, n9     = 14.915108613530, -4823.2657361591, 405113.40542057, -0.23855557567849
	n10                = 650.17534844798
)

var (
	iceRange     = limit{"temp", -223.15, 0.01, "C"}
	waterRange   = limit{"temp", 0, 373.946, "C"}
	frostRange   = limit{"pressure", 1e-6, triplePa, "Pa"}
	boilingRange = limit{"pressure", 611.213, 22_063_915, "Pa"}
)

// IcePressure returns the vapour pressure over ice in Pa at tC, -223.15 to
// 0.01 C, by IAPWS R14-08(2011) Eq. 6.
func IcePressure(tC float64) (float64, error) {
	if err := iceRange.check(tC); err != nil {
		return 0, err
	}
	return icePressure(tC), nil
}

func icePressure(tC float64) float64 {
	ln, _ := iceLog((tC + zeroC) / tripleK)
	return triplePa * math.Exp(ln)
}

// iceLog returns ln(p/p_triple) at the reduced temperature theta, and its derivative.
func iceLog(theta float64) (ln, slope float64) {
	for i, a := range iceA {
		term := a * math.Pow(theta, iceB[i]-1)
		ln += term
		slope += term * (iceB[i] - 1) / theta
	}
	return ln, slope
}

// WaterPressure returns the vapour pressure over liquid water in Pa at tC, 0 to
// 373.946 C, by IAPWS-IF97 region 4, Eq. 30.
func WaterPressure(tC float64) (float64, error) {
	if err := waterRange.check(tC); err != nil {
		return 0, err
	}
	return waterPressure(tC), nil
}

func waterPressure(tC float64) float64 {
	t := tC + zeroC
	theta := t + n9/(t-n10)
	a := (theta+n1)*theta + n2
	b := (n3*theta+n4)*theta + n5
	c := (n6*theta+n7)*theta + n8
	root := 2 * c / (-b + math.Sqrt(b*b-4*a*c))
	return 1e6 * root * root * root * root
}

// saturation is the pressure over the phase that is stable at tC: a cold room's
// humidity is against ice.
func saturation(tC float64) float64 {
	if tC < 0 {
		return icePressure(tC)
	}
	return waterPressure(tC)
}

// BoilingPoint returns the temperature in C at which water's vapour pressure is
// pPa (611.213 to 22 063 915 Pa), by IAPWS-IF97 region 4, Eq. 31.
func BoilingPoint(pPa float64) (float64, error) {
	if err := boilingRange.check(pPa); err != nil {
		return 0, err
	}
	b := math.Sqrt(math.Sqrt(pPa / 1e6))
	e := (b+n3)*b + n6
	f := (n1*b+n4)*b + n7
	g := (n2*b+n5)*b + n8
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	return (n10+d-math.Sqrt((n10+d)*(n10+d)-4*(n9+n10*d)))/2 - zeroC, nil
}

// FrostPoint returns the temperature in C of ice whose vapour pressure is pPa,
// 1e-6 to 611.657 Pa: the inverse of IcePressure, by Newton's method.
func FrostPoint(pPa float64) (float64, error) {
	if err := frostRange.check(pPa); err != nil {
		return 0, err
	}
	// ln p is nearly linear in 1/theta, with slope -L/(R T3) = -22.5 (that of IAPWS R14 at
	// the triple point): a good start, and the variable in which Newton converges in a few
	// steps.
	want := math.Log(pPa / triplePa)
	x := 1 - want/22.5
	for range 8 {
		ln, slope := iceLog(1 / x)
		x += (ln - want) * x * x / slope
	}
	return tripleK/x - zeroC, nil
}
