package physics

import (
	"cmp"
	"fmt"
	"sort"
	"strconv"
	"strings"
)

// isoUpper holds the upper limits of the scale numbers 0 to 28 of ISO 4406, in
// particles per mL. The printed limits: they are not exact doublings.
var isoUpper = []float64{
	0.01, 0.02, 0.04, 0.08, 0.16, 0.32, 0.64, 1.3, 2.5, 5, 10, 20, 40, 80, 160, 320, 640, 1_300, 2_500,
	5_000, 10_000, 20_000, 40_000, 80_000, 160_000, 320_000, 640_000, 1_300_000, 2_500_000,
}

var (
	countRange = limit{"count", 0, 1e9, "per mL"}
	betaRange  = limit{"beta", 1, 1e6, ""}
)

// CleanlinessCode returns the ISO 4406 code, such as "18/16/13", of particle
// counts per mL at >= 4, >= 6 and >= 14 um(c). Counts that grow with size are
// refused: the larger are among the smaller.
func CleanlinessCode(c4, c6, c14 float64) (string, error) {
	err := cmp.Or(countRange.called("count at 4 um").check(c4), countRange.called("count at 6 um").check(c6), countRange.called("count at 14 um").check(c14))
	if err != nil {
		return "", err
	}
	if c6 > c4 || c14 > c6 {
		return "", fmt.Errorf("counts %v, %v, %v per mL rise with size: those at 6 um are among those at 4, those at 14 among those at 6", c4, c6, c14)
	}
	return scaleNumber(c4) + "/" + scaleNumber(c6) + "/" + scaleNumber(c14), nil
}

// scaleNumber: number n covers counts above the limit of n-1 up to that of n.
func scaleNumber(count float64) string {
	n := sort.SearchFloat64s(isoUpper, count)
	if n == len(isoUpper) {
		return ">28"
	}
	return strconv.Itoa(n)
}

// ParseCounts reads three counts per mL as people write them, "1500,400,60".
func ParseCounts(text string) (c4, c6, c14 float64, err error) {
	fields := strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == '/' || r == ';' || r == ' ' })
	if len(fields) != 3 {
		return 0, 0, 0, fmt.Errorf("counts %q are not three numbers per mL, at 4, 6 and 14 um, such as 1500,400,60", text)
	}
	var c [3]float64
	for i, field := range fields {
		if c[i], err = strconv.ParseFloat(field, 64); err != nil {
			return 0, 0, 0, fmt.Errorf("count %q is not a number per mL, such as 1500", field)
		}
		if err = countRange.check(c[i]); err != nil {
			return 0, 0, 0, err
		}
	}
	return c[0], c[1], c[2], nil
}

// FilterEfficiency returns the share in % of particles that a filter of the given
// beta ratio (ISO 16889: upstream over downstream count) keeps: 1 - 1/beta.
func FilterEfficiency(beta float64) (percent float64, err error) {
	if err := betaRange.check(beta); err != nil {
		return 0, err
	}
	return 100 * (1 - 1/beta), nil
}
