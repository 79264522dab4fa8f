package maintenance

import (
	"sync"

	"sumpbook/maintenance/physics"
)

const (
	standardC    = 20      // of a volume whose temperature is not told
	assumedGrade = "VG 68" // of oil whose lot is unknown or names no grade
	roundingMl   = 0.01    // a volume told and kept in whole milligrams comes back so near
)

// volumeMl is the volume of a parcel at a temperature: each lot by its density and the
// standard correction for lubricating oil (physics.OilDensity), the water by its own.
func (s *State) volumeMl(p Parcel, tC float64) float64 {
	ml := 0.0
	for _, l := range p.Oil {
		ml += l.Mass.Grams() / s.oilDensity(l.Lot, tC) * 1000
	}
	return ml + p.Water.Grams()/waterDensity(tC)*1000
}

// massOfVolume is the mass of ml of a parcel's mixture at a temperature; of the default
// oil if the parcel is empty.
func (s *State) massOfVolume(ml float64, p Parcel, tC float64) Mass {
	if p.Empty() {
		return MassOf(ml * s.oilDensity("", tC) / 1000)
	}
	return MassOf(ml * p.Total().Grams() / s.volumeMl(p, tC))
}

func (s *State) oilDensity(lot string, tC float64) float64 {
	density15 := float64(physics.DefaultDensity15)
	if l := s.Lots[lot]; l != nil && l.Density15 > 0 {
		density15 = l.Density15
	}
	d, err := physics.OilDensity(density15, tC)
	if err != nil {
		return density15 // the ranges of the kinds lie inside the formula's
	}
	return d
}

func waterDensity(tC float64) float64 {
	d, err := physics.WaterDensity(min(max(tC, 0), 100)) // below 0 °C: as at 0, the difference is ice
	if err != nil {
		return 998
	}
	return d
}

// oil is the viscosity and density of a parcel's main lot, or of the assumed one.
func (s *State) oil(p Parcel) physics.Oil {
	var main LotMass
	for _, l := range p.Oil {
		if l.Mass > main.Mass {
			main = l
		}
	}
	lot := s.Lots[main.Lot]
	if lot == nil {
		lot = &Lot{}
	}
	oil := oilOfGrade(lot.Grade)
	if lot.Density15 > 0 {
		oil.Density15 = lot.Density15
	}
	return oil
}

// grades remembers what each grade text means: reading one costs more than all else that
// is asked of a jar.
var grades sync.Map

// oilOfGrade is the oil of a grade as people write it, or of the assumed one.
func oilOfGrade(grade string) physics.Oil {
	if known, ok := grades.Load(grade); ok {
		return known.(physics.Oil)
	}
	oil, err := physics.OilOfGrade(grade)
	if err != nil {
		oil, _ = physics.OilOfGrade(assumedGrade)
	}
	grades.Store(grade, oil)
	return oil
}

// mass is the mass an amount stands for, in a parcel's mixture.
func (s *State) mass(a Amount, p Parcel, assumedC float64) Mass {
	if a.Grams != nil {
		return MassOf(*a.Grams)
	}
	return s.massOfVolume(*a.Ml, p, or(a.TempC, assumedC))
}
