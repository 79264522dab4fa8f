package maintenance

import (
	"math"
	"strconv"
	"strings"
)

// fromNow is the unit of a time: hours from now, before it negative.
const fromNow = "h from now"

// unitSigns are units as a person reads them, where they are kept in plain letters.
var unitSigns = strings.NewReplacer("m3", "m³", "m2", "m²", "um", "µm")

// InFormula writes a number of a working in the unit of its formula and to six figures, so
// that it can be typed into a calculator as it stands: "57.662 °C", "1 cycle", "0.8".
func InFormula(value float64, unit string) string {
	figures := strconv.FormatFloat(value, 'g', 6, 64)
	if size := math.Abs(value); size >= 1e-4 && size < 1e9 {
		rounded, _ := strconv.ParseFloat(figures, 64) // reads what it wrote
		figures = strconv.FormatFloat(rounded, 'f', -1, 64)
	}
	switch {
	case value == 0:
		figures = "0" // never -0
	case value == 1 && strings.HasSuffix(unit, "es"):
		unit = map[string]string{"cycles": "cycle", "charges": "charge", "passes": "pass"}[unit]
	}
	switch unit {
	case "1":
		return figures
	case "C":
		return figures + " °C"
	}
	return figures + " " + unitSigns.Replace(unit)
}

// Origin says where an input comes from and how long ago that was: "told at the stop, 12 min
// ago".
func (in Input) Origin() string {
	if in.AgeH == nil {
		return in.From
	}
	return in.From + ", " + ago(*in.AgeH)
}

func ago(h float64) string {
	whole := func(v float64, unit string) string {
		return strconv.FormatFloat(math.Round(v), 'f', 0, 64) + unit + " ago"
	}
	switch {
	case h < 0.5/60:
		return "just now"
	case h < 1-0.5/60:
		return whole(60*h, " min")
	case h < 100:
		return strconv.FormatFloat(math.Round(10*h)/10, 'f', -1, 64) + " h ago"
	}
	return whole(h/24, " d")
}
