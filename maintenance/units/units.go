// Package units reads and writes quantities and times as people write them: "1 lb 10 oz", "0,74 L",
// "40mTorr", "20m ago", "last night 23:30".
//
// Promises: every factor is exact (math/big rationals from the definitions), so a result is the float64
// nearest to the true value; a text that could mean two things is refused with what would be right; what
// Format prints, Parse reads. Nothing here reads a clock or a file: now and the zone are arguments.
package units

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"
)

// A Dimension is what a unit measures. Its text is used in sentences: "a mass is wanted".
type Dimension string

// The dimensions that a caller has to tell apart; the others are only ever compared.
const (
	Mass        Dimension = "mass"
	Volume      Dimension = "volume"
	Temperature Dimension = "temperature"
	Pressure    Dimension = "pressure"
	Duration    Dimension = "duration"
	Flow        Dimension = "flow"
	Length      Dimension = "length"
	Power       Dimension = "power"
	Ratio       Dimension = "ratio"

	viscosity  Dimension = "kinematic viscosity"
	density    Dimension = "density"
	throughput Dimension = "throughput"
	massFlow   Dimension = "mass flow"
)

// A Unit is known by its canonical name; UnitOf finds it from any accepted spelling. The constants are the
// units of the names the book stores; the rest ("g/h", "mm2/s", "kg/m3", "%", "ppm", …) come from UnitOf.
type Unit string

// Units of stored names.
const (
	Gram              Unit = "g"
	Millilitre        Unit = "ml"
	Celsius           Unit = "C"
	Pascal            Unit = "Pa"
	Hour              Unit = "h"
	Minute            Unit = "min"
	Second            Unit = "s"
	CubicMetrePerHour Unit = "m3/h"
	LitrePerMinute    Unit = "l/min"
	Millimetre        Unit = "mm"
	Micrometre        Unit = "um"
	Watt              Unit = "W"
)

// Dimension is what u measures, "" for a Unit that is not in the table.
func (u Unit) Dimension() Dimension {
	return byUnit[u].dimension
}

// UnitOf finds a unit by any spelling: "qt", "imp. fl oz", "°F", "m³/h", "µm", also the endings of stored
// names ("m3_h", "l_min"). A spelling that stands for several units ("oz", "micron", "m") is not found:
// only a wanted dimension can decide it, as Parse does.
func UnitOf(name string) (Unit, bool) {
	found := lookup(name)
	if len(found) != 1 {
		return "", false
	}
	return found[0], true
}

// OfKey is the unit that a stored name carries at its end: "trap_c" is in C, "speed_m3_h" in m3/h,
// "acid_mg_g" in mg/g, "grams" in g. A name without a unit gives false.
func OfKey(key string) (Unit, bool) {
	if u, ok := UnitOf(key); ok {
		return u, true
	}
	_, rest, found := strings.Cut(key, "_")
	if !found {
		return "", false
	}
	return OfKey(rest)
}

// Convert turns a value into another unit of the same dimension. The result is the nearest float64.
// Refused: units that are unknown or measure different things, values that are not finite, temperatures
// below absolute zero.
func Convert(value float64, from, to Unit) (float64, error) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return 0, fmt.Errorf("convert %v %s: not a finite number", value, from)
	}
	result, err := convert(new(big.Rat).SetFloat64(value), from, to)
	if err != nil {
		return 0, fmt.Errorf("convert %v %s to %s: %w", value, from, to, err)
	}
	return result, nil
}

// coldest is absolute zero in K, less the rounding of a float64 that stands for -459.67 °F.
var coldest = rat("-0.000000001")

func convert(value *big.Rat, from, to Unit) (float64, error) {
	a, b := byUnit[from], byUnit[to]
	switch {
	case a.factor == nil:
		return 0, fmt.Errorf("unknown unit %q", string(from))
	case b.factor == nil:
		return 0, fmt.Errorf("unknown unit %q", string(to))
	case a.dimension != b.dimension:
		return 0, fmt.Errorf("%s is a unit of %s, %s one of %s", from, a.dimension, to, b.dimension)
	}
	base := new(big.Rat).Mul(value, a.factor)
	base.Add(base, a.zero)
	if a.dimension == Temperature && base.Cmp(coldest) < 0 {
		return 0, errors.New("below absolute zero")
	}
	base.Sub(base, b.zero)
	return finite(base.Quo(base, b.factor))
}

// finite rounds once, at the very end.
func finite(exact *big.Rat) (float64, error) {
	value, _ := exact.Float64()
	if math.IsInf(value, 0) || value == 0 && exact.Sign() != 0 {
		return 0, errors.New("the number is out of range")
	}
	return value, nil
}

// lookup gives every unit a spelling may stand for. Case counts only where it tells units apart (mPa, MPa).
func lookup(name string) []Unit {
	name = plain(name)
	if found := exact[name]; found != nil {
		return found
	}
	return folded[strings.ToLower(name)]
}

func ofDimension(found []Unit, want Dimension) []Unit {
	return slices.DeleteFunc(slices.Clone(found), func(u Unit) bool { return u.Dimension() != want })
}

// plain strips from a spelling what carries no meaning: spaces, dots, signs for degree and multiplication;
// and puts ASCII for the micro sign, powers and primes.
var plainer = strings.NewReplacer(
	" ", "", "\u00a0", "", "\u202f", "", "\u2009", "", "\t", "", ".", "", "_", "/", "°", "", "º", "", "·", "", "⋅", "", "*", "",
	"µ", "u", "μ", "u", "³", "3", "²", "2", "ℓ", "l", "″", `"`, "℃", "C", "℉", "F")

func plain(name string) string {
	name = plainer.Replace(name)
	for _, long := range []string{"imperial", "Imperial", "Imp", "IMP"} {
		if rest, ok := strings.CutPrefix(name, long); ok {
			return "imp" + rest
		}
	}
	return name
}
