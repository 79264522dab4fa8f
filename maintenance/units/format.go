package units

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
	"time"
)

// A System is the set of units a person reads in. Any other text counts as Metric.
type System string

// The two values of the configuration's units.
const (
	Metric System = "metric"
	US     System = "us"
)

// A style is one unit that a quantity may be shown in, from the given size (in that unit) upwards.
type style struct {
	unit  Unit
	from  float64
	shown string
}

// styles go from the largest unit to the smallest; the last one takes what is left.
var styles = map[Dimension]map[System][]style{
	Mass: {
		Metric: {{"kg", 1, "kg"}, {"g", 0, "g"}},
		US:     {{"lb", 1, "lb"}, {"oz", 0, "oz"}},
	},
	Volume: {
		Metric: {{"l", 1, "L"}, {"ml", 0, "ml"}},
		US:     {{"qt", 1, "qt"}, {"fl oz", 0, "fl oz"}},
	},
	Temperature: {Metric: {{"C", 0, "°C"}}, US: {{"F", 0, "°F"}}},
	Pressure: {
		Metric: {{"mbar", 10, "mbar"}, {"Pa", 0, "Pa"}},
		US:     {{"torr", 1, "torr"}, {"mTorr", 0, "mTorr"}},
	},
	Flow: {
		Metric: {{"m3/h", 1, "m³/h"}, {"l/min", 0, "L/min"}},
		US:     {{"cfm", 0, "cfm"}},
	},
	Length: {
		Metric: {{"m", 1, "m"}, {"mm", 1, "mm"}, {"um", 0, "µm"}},
		US:     {{"in", 0.1, "in"}, {"um", 0, "µm"}},
	},
	Power: {Metric: {{"kW", 1, "kW"}, {"W", 0, "W"}}, US: {{"kW", 1, "kW"}, {"W", 0, "W"}}},
}

// Format writes a quantity for people: three figures in a unit of its size ("640 g", "1.25 L", "154 °F",
// "1 lb 6.6 oz", "31 h 12 min"), in the person's system. Dimensions that both systems write alike keep their
// own unit. Parse reads the text back. A value that is not finite is "unknown".
func Format(value float64, unit Unit, system System) string {
	dimension := unit.Dimension()
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return "unknown"
	}
	if dimension == Duration {
		return formatSeconds(as(value, unit, Second))
	}
	choices := styles[dimension][system]
	if choices == nil {
		choices = styles[dimension][Metric]
	}
	if choices == nil {
		return strings.TrimSuffix(strings.TrimSpace(figures(value)+" "+string(unit)), " 1")
	}
	s, shown := pick(value, unit, choices)
	if s.unit == "lb" && shown > 0 && shown < 100 {
		return poundsOunces(shown)
	}
	return figures(shown) + " " + s.shown
}

// pick takes the largest unit that the quantity reaches, judged by what the next smaller one would show:
// what rounds to 16 oz is 1 lb.
func pick(value float64, unit Unit, choices []style) (style, float64) {
	for i, s := range choices[:len(choices)-1] {
		smaller := rounded(as(value, unit, choices[i+1].unit))
		if rounded(math.Abs(as(smaller, choices[i+1].unit, s.unit))) < s.from {
			continue
		}
		shown := as(value, unit, s.unit)
		return s, math.Copysign(max(math.Abs(shown), s.from), shown)
	}
	last := choices[len(choices)-1]
	return last, as(value, unit, last.unit)
}

// as converts between units of one dimension for showing; what overflows is shown as it is.
func as(value float64, from, to Unit) float64 {
	if from == to {
		return value
	}
	result, err := convert(new(big.Rat).SetFloat64(value), from, to)
	if err != nil {
		return value
	}
	return result
}

// rounded keeps three figures, but never less than the whole number.
func rounded(value float64) float64 {
	if value == 0 || math.Abs(value) >= 100 {
		return math.Round(value)
	}
	short, _ := strconv.ParseFloat(strconv.FormatFloat(value, 'g', 3, 64), 64)
	return short
}

func figures(value float64) string {
	value = rounded(value)
	if value == 0 {
		return "0" // never -0
	}
	format := byte('f')
	if math.Abs(value) < 1e-4 || math.Abs(value) >= 1e15 {
		format = 'g'
	}
	return strconv.FormatFloat(value, format, -1, 64)
}

// poundsOunces splits at the ounce after rounding to a tenth of it, so that "0 lb 16 oz" cannot happen.
func poundsOunces(pounds float64) string {
	tenths := int(math.Round(pounds * 160))
	if tenths%160 == 0 {
		return fmt.Sprintf("%d lb", tenths/160)
	}
	return fmt.Sprintf("%d lb %s oz", tenths/160, strconv.FormatFloat(float64(tenths%160)/10, 'f', -1, 64))
}

// formatSeconds shows the two largest units that matter: "45 s", "20 min", "31 h 12 min", "4 d 3 h".
func formatSeconds(seconds float64) string {
	size := math.Abs(seconds)
	sign := ""
	if seconds < 0 {
		sign = "-"
	}
	switch {
	case rounded(size) < 10:
		return figures(seconds) + " s"
	case math.Round(size) < 60:
		return figures(math.Round(seconds)) + " s"
	case size < 3600-30:
		return sign + pair(size, 60, 1, "min", "s", 600)
	case size < 48*3600-30:
		return sign + pair(size, 3600, 60, "h", "min", 48*3600)
	case size < 1e12:
		return sign + pair(size, 86400, 3600, "d", "h", 14*86400)
	}
	return figures(seconds/86400) + " d"
}

// pair drops the smaller unit from fine seconds upwards, where it no longer matters.
func pair(seconds, large, small float64, largeName, smallName string, fine float64) string {
	if seconds >= fine {
		return fmt.Sprintf("%.0f %s", seconds/large, largeName)
	}
	count := int64(math.Round(seconds / small))
	per := int64(large / small)
	if count%per == 0 {
		return fmt.Sprintf("%d %s", count/per, largeName)
	}
	return fmt.Sprintf("%d %s %d %s", count/per, largeName, count%per, smallName)
}

// formatElapsed shows a span of the clock to the minute.
func formatElapsed(span time.Duration) string {
	return formatSeconds(span.Round(time.Minute).Seconds())
}
