package physics

import (
	"fmt"
	"regexp"
)

// isoGrades holds the midpoints at 40 C in mm2/s of ISO 3448 (ASTM D2422), by the
// number that names the grade. Limits are the midpoint -+ 10 %; between the grades
// are real gaps.
var isoGrades = map[string]float64{
	"2": 2.2, "3": 3.2, "5": 4.6, "7": 6.8, "10": 10, "15": 15, "22": 22, "32": 32, "46": 46, "68": 68,
	"100": 100, "150": 150, "220": 220, "320": 320, "460": 460, "680": 680, "1000": 1000, "1500": 1500,
	"2200": 2200, "3200": 3200,
}

// defaultIndex is the viscosity index taken for an oil known by its grade alone:
// solvent-refined mineral oil; common practice, no source.
const defaultIndex = 95

var gradeText = regexp.MustCompile(`(?i)^\s*(?:iso)?[\s-]*(?:vg)?[\s-]*([0-9]{1,4})\s*$`)

// midpoint finds the grade in what a person writes: 68, VG68, vg 68, ISO VG 68.
func midpoint(grade string) (float64, error) {
	found := gradeText.FindStringSubmatch(grade)
	if found == nil {
		return 0, fmt.Errorf("grade %q is not an ISO viscosity grade such as VG 68", grade)
	}
	v, ok := isoGrades[found[1]]
	if !ok {
		return 0, fmt.Errorf("grade %q is none of the ISO 3448 grades; those near pump oil are VG 32, 46, 68, 100 and 150", grade)
	}
	return v, nil
}

// OilOfGrade returns a mineral oil of an ISO viscosity grade ("VG 68", "vg68",
// "ISO VG 68", "68"): its midpoint at 40 C, and DefaultDensity15. At 100 C VG 68
// has 8.6 and VG 100 has 11.1 mm2/s (index 97 and 96 by ASTM D2270); the others
// what an index of 95 gives. Grades below VG 7 are too thin for an index and are
// refused, as is what is no ISO 3448 grade.
func OilOfGrade(grade string) (Oil, error) {
	v40, err := midpoint(grade)
	if err != nil {
		return Oil{}, err
	}
	oil := Oil{V40: v40, Density15: DefaultDensity15}
	switch v40 {
	case 68:
		oil.V100 = 8.6
	case 100:
		oil.V100 = 11.1
	default:
		var ok bool
		if oil.V100, ok = v100ForIndex(v40, defaultIndex); !ok {
			return Oil{}, fmt.Errorf("grade %q is too thin to tell its viscosity at 100 C: give both viscosities", grade)
		}
	}
	return oil, nil
}

// GradeLimits returns the least and greatest viscosity in mm2/s at 40 C that an
// ISO 3448 grade allows.
func GradeLimits(grade string) (low, high float64, err error) {
	v40, err := midpoint(grade)
	return 0.9 * v40, 1.1 * v40, err
}
