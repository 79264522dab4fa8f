package physics

import (
	"cmp"
	"math"
)

var (
	dropletRange  = limit{"droplet", 0.01, 10_000, "um"}
	heightRange   = limit{"height", 1, 5_000, "mm"}
	spreadRange   = limit{"gsd", 1.01, 20, ""}
	reynoldsRange = limit{"reynolds number", 0, 0.3, ""} // Stokes' law
	sphereRange   = limit{"density of the sphere", 0.1, 25_000, "kg/m3"}
	fluidRange    = limit{"density of the fluid", 0.1, 25_000, "kg/m3"}
	dynamicRange  = limit{"dynamic viscosity", 1e-6, 1e5, "Pa s"}
	crowdRange    = limit{"water share", 0, 0.3, ""}
)

// StokesVelocity returns the speed in m/s at which a sphere of diameterUm sinks
// (negative: rises) in a still fluid: g d2 (rho_p - rho_f)/(18 mu). Refused where
// its Reynolds number is above 0.3, beyond Stokes' law.
func StokesVelocity(diameterUm, sphereKgM3, fluidKgM3, viscosityPaS float64) (mPerS float64, err error) {
	err = cmp.Or(dropletRange.check(diameterUm), sphereRange.check(sphereKgM3), fluidRange.check(fluidKgM3), dynamicRange.check(viscosityPaS))
	if err != nil {
		return 0, err
	}
	v := stokes(diameterUm, sphereKgM3-fluidKgM3, viscosityPaS)
	if err := reynoldsRange.check(reynolds(diameterUm, math.Abs(v), fluidKgM3, viscosityPaS)); err != nil {
		return 0, err
	}
	return v, nil
}

func stokes(diameterUm, gapKgM3, viscosityPaS float64) float64 {
	d := diameterUm * 1e-6
	return gravity * d * d * gapKgM3 / (18 * viscosityPaS)
}

func reynolds(diameterUm, mPerS, fluidKgM3, viscosityPaS float64) float64 {
	return fluidKgM3 * mPerS * diameterUm * 1e-6 / viscosityPaS
}

// A medium is the oil as a sinking droplet meets it.
type medium struct{ gapKgM3, viscosityPaS float64 }

// still returns the medium at tC, 0 to 100 C (below, the water is ice or about to
// be). Oil as dense as water or denser is refused: its water would float.
func (o Oil) still(tC float64) (medium, error) {
	if err := cmp.Or(o.check(), density15Range.check(o.Density15), liquidRange.check(tC)); err != nil {
		return medium{}, err
	}
	water, oil := waterDensity(tC), o.Density15*volumeFactor(o.Density15, tC)
	if oil >= water {
		return medium{}, limit{"oil density", 0, water, "kg/m3"}.refuse(oil)
	}
	nu, err := o.Viscosity(tC)
	return medium{gapKgM3: water - oil, viscosityPaS: dynamic(nu, oil)}, err
}

// dynamic returns the dynamic viscosity in Pa s of a kinematic one in mm2/s.
func dynamic(nu, densityKgM3 float64) float64 { return nu * 1e-6 * densityKgM3 }

// hours is how long a droplet takes to sink heightMm.
func (m medium) hours(dropletUm, heightMm float64) float64 {
	return heightMm / 1_000 / stokes(dropletUm, m.gapKgM3, m.viscosityPaS) / secondsPerHour
}

// cutUm is the smallest droplet that sinks heightMm in so many hours.
func (m medium) cutUm(hours, heightMm float64) float64 {
	return math.Sqrt(m.hours(1, heightMm) / hours)
}

// SettlingHours returns the hours in which a water droplet of dropletUm sinks
// through heightMm of oil at tC (0 to 100 C), by Stokes' law with the oil's
// ASTM D341 viscosity and Table 54D density. The droplet counts as rigid (a
// contaminated surface is); a jar still warm stirs itself and is slower.
func SettlingHours(dropletUm, heightMm float64, oil Oil, tC float64) (float64, error) {
	if err := cmp.Or(dropletRange.check(dropletUm), heightRange.check(heightMm)); err != nil {
		return 0, err
	}
	m, err := oil.still(tC)
	if err != nil {
		return 0, err
	}
	return m.hours(dropletUm, heightMm), nil
}

// CutDiameter returns the diameter in um of the smallest droplet that has sunk
// through heightMm of oil in so many hours: the inverse of SettlingHours.
func CutDiameter(hours, heightMm float64, oil Oil, tC float64) (dropletUm float64, err error) {
	if err := cmp.Or(limit{"hours", 1e-6, hoursRange.high, "h"}.check(hours), heightRange.check(heightMm)); err != nil {
		return 0, err
	}
	m, err := oil.still(tC)
	if err != nil {
		return 0, err
	}
	return m.cutUm(hours, heightMm), nil
}

// ClearedShare returns the share, 0 to 1, of the free water's volume that has sunk
// through heightMm of oil at tC in so many hours, if its droplets are log-normal
// by volume with median d50Um and geometric standard deviation gsd, and start
// evenly spread. Closed form of our own; a quadrature of the same agrees.
func ClearedShare(hours, heightMm float64, oil Oil, tC, d50Um, gsd float64) (float64, error) {
	err := cmp.Or(hoursRange.check(hours), heightRange.check(heightMm),
		dropletRange.called("d50").check(d50Um), spreadRange.check(gsd))
	if err != nil {
		return 0, err
	}
	m, err := oil.still(tC)
	if err != nil {
		return 0, err
	}
	return logNormalCleared(m.cutUm(hours, heightMm), d50Um, gsd), nil
}

// logNormalCleared: droplets above the cut are all down; of a smaller one the
// share (d/cut)2, for it has sunk that part of the depth.
func logNormalCleared(cutUm, d50Um, gsd float64) float64 {
	s := math.Log(gsd)
	x := math.Log(cutUm/d50Um) / s
	smaller := math.Exp(2*s*s) * (d50Um / cutUm) * (d50Um / cutUm) * normal(x-2*s)
	return min(max(normal(-x)+smaller, 0), 1)
}

// normal is the cumulative distribution of the standard normal.
func normal(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

// HinderedFactor returns by how much droplets slow each other when water takes
// the given share of the volume (0 to 0.3): (1-share)^4.65, Richardson & Zaki
// 1954, from memory. Below 1 % it may be left out.
func HinderedFactor(waterShare float64) (float64, error) {
	if err := crowdRange.check(waterShare); err != nil {
		return 0, err
	}
	return math.Pow(1-waterShare, 4.65), nil
}
