package units

import (
	"fmt"
	"math"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// elsewhere says how GNU units writes each unit; of a temperature, its function.
var elsewhere = map[Unit]string{
	"g": "g", "mg": "mg", "kg": "kg", "lb": "lb", "oz": "oz",

	"ml": "ml", "ul": "microliter", "cl": "cl", "dl": "dl", "l": "litre", "m3": "m^3", "fl oz": "usfluidounce", "pt": "uspint",
	"qt": "usquart", "gal": "usgallon", "imp fl oz": "brfluidounce", "imp pt": "brpint", "imp qt": "brquart",
	"imp gal": "brgallon", "in3": "inch^3", "ft3": "foot^3",

	"C": "tempC", "F": "tempF", "K": "tempK",

	"Pa": "Pa", "mPa": "mPa", "hPa": "hPa", "kPa": "kPa", "MPa": "MPa", "ubar": "microbar", "mbar": "mbar", "bar": "bar",
	"torr": "torr", "mTorr": "millitorr", "mmHg": "mmHg", "inHg": "inHg", "atm": "atm", "psi": "psi",

	"s": "s", "min": "min", "h": "hour", "d": "day", "week": "week",

	"m3/h": "m^3/hour", "m3/s": "m^3/s", "m3/min": "m^3/min", "l/s": "litre/s", "l/min": "litre/min", "l/h": "litre/hour",
	"cfm": "foot^3/min",

	"mm": "mm", "um": "micrometer", "cm": "cm", "m": "m", "in": "inch", "ft": "foot",

	"W": "W", "mW": "mW", "dW": "dW", "kW": "kW", "MW": "MW",

	"1": "1", "%": "percent", "ppm": "ppm", "mg/kg": "mg/kg", "mg/g": "mg/g",

	"mm2/s": "mm^2/s", "m2/s": "m^2/s",
	"kg/m3": "kg/m^3", "g/ml": "g/ml", "lb/gal": "lb/usgallon", "lb/ft3": "lb/foot^3",
	"Pa m3/s": "Pa m^3/s", "Pa l/s": "Pa litre/s", "mbar l/s": "mbar litre/s", "torr l/s": "torr litre/s", "sccm": "atm cc/min",
	"g/h": "g/hour", "g/min": "g/min", "g/s": "g/s", "g/d": "g/day", "kg/h": "kg/hour", "lb/h": "lb/hour", "oz/h": "oz/hour",
}

// gnu puts lines to GNU units, one process for all, and gives the lines of its answer.
func gnu(t *testing.T, lines []string) []string {
	t.Helper()
	program, err := exec.LookPath("units")
	if err != nil {
		t.Skipf("the other program is not here: %v", err)
	}
	run := exec.Command(program, "--quiet", "--terse", "--output-format", "%.17g")
	run.Env = []string{"LC_ALL=C", "UNITS_ENGLISH=US"} // nobody's own definitions
	run.Stdin = strings.NewReader(strings.Join(lines, "\n") + "\n")
	out, err := run.Output()
	require.NoError(t, err)
	return strings.Split(strings.TrimSpace(string(out)), "\n")
}

// Every unit into every other of its dimension. Both sides have the factors by definition;
// theirs are rounded at each multiplication: 5e-16 at worst, 1e-12 agreed.
func TestConversionsAgreeWithGNUUnits(t *testing.T) {
	type pair struct {
		from, to Unit
		value    float64
	}
	var pairs []pair
	var lines []string
	for _, a := range table {
		for _, b := range table {
			if a.dimension != b.dimension {
				continue
			}
			for _, value := range []float64{1, 37.5} {
				pairs = append(pairs, pair{a.unit, b.unit, value})
				have := fmt.Sprintf("%v %s", value, elsewhere[a.unit])
				if a.dimension == Temperature {
					have = fmt.Sprintf("%s(%v)", elsewhere[a.unit], value)
				}
				lines = append(lines, have, elsewhere[b.unit])
			}
		}
	}
	answers := gnu(t, lines)
	require.Len(t, answers, len(pairs))
	worst := 0.0
	for i, p := range pairs {
		theirs, err := strconv.ParseFloat(strings.TrimSpace(answers[i]), 64)
		require.NoError(t, err, "%v %s to %s", p.value, p.from, p.to)
		ours, err := Convert(p.value, p.from, p.to)
		require.NoError(t, err)
		scale := math.Abs(theirs)
		if p.from.Dimension() == Temperature {
			scale = 273.15 // what was added and taken away
		}
		worst = max(worst, math.Abs(ours-theirs)/scale)
		require.InDelta(t, theirs, ours, 1e-12*scale, "%v %s to %s", p.value, p.from, p.to)
	}
	t.Logf("%d conversions, worst %.2g", len(pairs), worst)
}

func TestEveryUnitIsAskedOfGNUUnits(t *testing.T) {
	for _, d := range table {
		require.Contains(t, elsewhere, d.unit)
	}
	require.Len(t, elsewhere, len(table))
}

// A spelling that GNU units knows for the same dimension means the same here.
func TestSpellingsAgreeWithGNUUnits(t *testing.T) {
	type spelling struct {
		text string
		unit Unit
	}
	var asked []spelling
	var lines []string
	for _, d := range table {
		if d.dimension == Temperature {
			continue // a C is an electric charge there
		}
		for _, text := range slices.Concat([]string{string(d.unit)}, strings.Fields(d.spellings)) {
			if strings.HasPrefix(text, "US") {
				continue // there the survey's foot, two millionths longer
			}
			asked = append(asked, spelling{text, d.unit})
			lines = append(lines, text, "", elsewhere[d.unit], "")
		}
	}
	answers := gnu(t, lines)
	require.Len(t, answers, 2*len(asked))
	known := 0
	for i, s := range asked {
		size, dimension := inBaseUnits(answers[2*i])
		want, wantDimension := inBaseUnits(answers[2*i+1])
		require.NotZero(t, want, s.unit)
		if size == 0 || dimension != wantDimension {
			continue // not a word of theirs, or one for another thing
		}
		known++
		require.InEpsilon(t, want, size, 1e-9, "%s as %s", s.text, s.unit)
	}
	t.Logf("%d of %d spellings are theirs too", known, len(asked))
	require.Greater(t, known, 130)
}

// inBaseUnits takes "pint = 1|2 quart = 0.000473176473 m^3" apart; of what is no unit, 0.
func inBaseUnits(answer string) (size float64, dimension string) {
	number, dimension, _ := strings.Cut(strings.TrimSpace(answer[strings.LastIndex(answer, "=")+1:]), " ")
	size, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return 0, ""
	}
	return size, dimension
}
