package physics

import (
	"cmp"
	"math"
)

const (
	fusionJKg   = 333_430 // J/kg, latent heat of ice at 0 C, IAPWS R10-06 with IAPWS-95
	iceConducts = 2.2     // W/(m K), CRC Handbook, from memory
	waterHeat   = 4_190   // J/(kg K), 0 to 20 C, from memory
)

var (
	diameterRange  = limit{"diameter", 1, 2_000, "mm"}
	thicknessRange = limit{"thickness", 0.1, 1_000, "mm"}
	frostAirRange  = limit{"air", -100, -0.5, "C"} // nearer to 0 C it takes for ever
	warmRange      = limit{"start", -100, 100, "C"}
	filmRange      = limit{"h", 0.5, 5_000, "W/m2K"}
)

// FreezingHours returns how long a jar of diameterMm, filled with water at startC,
// must stand in air at airC (-100 to -0.5 C) until it is frozen through: cooling to
// 0 C as one lump, then Plank's law for a cylinder, with h in W/(m2 K) at its
// wall (FreezerFilm in still air). Where only part of the jar is water it is an
// upper bound in water, but oil around it insulates: common practice is to allow
// 1.5 to 2 times as long. A jar already below 0 C needs no cooling first.
func FreezingHours(diameterMm, airC, startC, h float64) (float64, error) {
	err := cmp.Or(diameterRange.check(diameterMm), frostAirRange.check(airC), warmRange.check(startC), filmRange.check(h))
	if err != nil {
		return 0, err
	}
	d := diameterMm / 1_000
	massPerWall := waterDensityAtZero * d / 4 // kg/m2: volume over the area of the side
	seconds := plank(waterDensityAtZero*fusionJKg, -airC, 1.0/4, 1.0/16, d, h, iceConducts)
	if startC > 0 {
		seconds += precool(massPerWall*waterHeat, h, startC, 0, airC)
	}
	return seconds / secondsPerHour, nil
}

// LayerHours returns how long a layer of water at 0 C, thicknessMm deep and cooled
// from one side, takes to freeze: Plank's law for half of a slab. The least: common
// practice is to allow 1.5 to 2 times as long under oil.
func LayerHours(thicknessMm, airC, h float64) (float64, error) {
	err := cmp.Or(thicknessRange.check(thicknessMm), frostAirRange.check(airC), filmRange.check(h))
	if err != nil {
		return 0, err
	}
	twice := 2 * thicknessMm / 1_000 // one side cooled is half of a slab cooled from both
	return plank(waterDensityAtZero*fusionJKg, -airC, 1.0/2, 1.0/8, twice, h, iceConducts) / secondsPerHour, nil
}

// plank returns the seconds to freeze a body of size a through: heat of fusion in
// J/m3, kelvins between freezing point and air, Plank's shape factors P and R.
func plank(fusionJM3, kelvins, p, r, a, h, k float64) float64 {
	return fusionJM3 / kelvins * (p*a/h + r*a*a/k)
}

// precool returns the seconds in which a lump of so many J/K per m2 of its surface
// cools from startC to endC in air at airC.
func precool(heatPerArea, h, startC, endC, airC float64) float64 {
	return heatPerArea / h * math.Log((startC-airC)/(endC-airC))
}
