package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// given makes arguments of names and values in turn.
func given(pairs ...any) map[string]Arg {
	args := map[string]Arg{}
	for i := 0; i < len(pairs); i += 2 {
		switch v := pairs[i+1].(type) {
		case string:
			args[pairs[i].(string)] = Arg{Text: v}
		case float64:
			args[pairs[i].(string)] = Arg{Number: v}
		case int:
			args[pairs[i].(string)] = Arg{Number: float64(v)}
		}
	}
	return args
}

// right holds, for each calculation, arguments that are right and the answer, from
// the checks or from the function that has its own.
var right = []struct {
	name  string
	args  map[string]Arg
	value float64
	text  string
	unit  string
}{
	{"vapour-pressure", given("over", "ice", "temp", -40), 12.84117, "", "Pa"},
	{"vapour-pressure", given("over", "Water", "temp", 70), 31200.6, "", "Pa"},
	{"carry-over", given("speed", 7, "trap", -40, "hours", 24), 15.94522, "", "g"},
	{"carry-over", given("speed", 7, "trap", -40, "hours", 24, "gas-temp", 20), 15.94522, "", "g"},
	{"ballast-capacity", given("ballast", 0.7/0.06, "pump-temp", 70), 196.164, "", "g/h"},
	{"viscosity", given("grade", "68", "temp", 40), 68, "", "mm²/s"},
	{"viscosity", given("v40", 32, "v100", 5.4, "temp", 80), 8.533215, "", "mm²/s"},
	{"viscosity-index", given("v40", 53.47, "v100", 7.80), 111.307, "", "1"},
	{"volume-factor", given("density-15", 870, "temp", 70), 0.9598784, "", "1"},
	{"hot-window", given("grade", "VG68", "hot", 70, "ambient", 20, "tau", 60), 47.66249, "", "min"},
	{"hot-window", given("grade", "VG100", "hot", 70, "ambient", 20, "tau", 60, "ratio", 3), 44.12818, "", "min"},
	{"settling-time", given("droplet", 30, "height", 100, "grade", "68", "temp", 20), 3.3783 * 24, "", "h"},
	{"solubility", given("temp", 20), 55.47709, "", "mg/kg"},
	{"cleanliness", given("counts", "1500,400,60"), 0, "18/16/13", "code"},
	{"filter-efficiency", given("beta", 200), 99.5, "", "%"},
	{"freezing-time", given("diameter", 90, "air", -18, "start", 20), 14.716, "", "h"},
	{"flush", given("heel", 100, "charge", 1000, "times", 3), 0.001, "", "1"},
	{"thermal-hours", given("hours", 10, "temp", 75), 28.28427, "", "h"},
	{"pressure-rise", given("volume", 60, "rise", 2, "time", 60), 0.002, "", "Pa·m³/s"},
}

func TestCalculate(t *testing.T) {
	asked := map[string]bool{}
	for _, c := range right {
		t.Run(c.name, func(t *testing.T) {
			got, err := Calculate(c.name, c.args)
			require.NoError(t, err)
			require.InDelta(t, c.value, got.Value, 1e-4*c.value)
			require.Equal(t, c.text, got.Text)
			require.Equal(t, c.unit, got.Unit)
			require.NotEmpty(t, got.Formula)
			require.NotEmpty(t, got.Source)
		})
		asked[c.name] = true
	}
	for _, c := range Calcs() {
		require.True(t, asked[c.Name], "%s is tested", c.Name)
	}
}

func TestCalculateWantsEveryRequiredFlag(t *testing.T) {
	for _, r := range right {
		for _, c := range Calcs() {
			if c.Name != r.name {
				continue
			}
			for _, f := range c.Flags {
				if !f.Required {
					continue
				}
				args := map[string]Arg{}
				for name, a := range r.args {
					if name != f.Name {
						args[name] = a
					}
				}
				_, err := Calculate(c.Name, args)
				require.Equal(t, UsageError{c.Name, "wants " + f.Name + ": " + f.Help}, err)
			}
		}
	}
}

// The ranges that help shows are those that the formulas keep: at either end of each
// flag there is an answer, or a refusal that names an argument, and beyond it a
// refusal that names the flag.
func TestFlagRangesHold(t *testing.T) {
	for _, r := range right {
		for _, c := range Calcs() {
			if c.Name != r.name {
				continue
			}
			for _, f := range c.Flags {
				if f.Text {
					continue
				}
				for _, v := range []float64{f.Low, f.High, math.NaN(), math.Inf(1), math.Inf(-1), math.Nextafter(f.Low, math.Inf(-1)), math.Nextafter(f.High, math.Inf(1))} {
					args := map[string]Arg{}
					for name, a := range r.args {
						args[name] = a
					}
					args[f.Name] = Arg{Number: v}
					got, err := Calculate(c.Name, args)
					var refused RangeError
					switch {
					case v == f.Low || v == f.High:
						require.False(t, math.IsNaN(got.Value) || math.IsInf(got.Value, 0), "%s %s=%g", c.Name, f.Name, v)
					default:
						require.ErrorAs(t, err, &refused)
						require.Equal(t, f.Name, refused.Arg)
					}
				}
			}
		}
	}
}

func TestCalculateRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		calc string
		args map[string]Arg
		says string
	}{
		"no such calculation":    {"density", nil, "calc density: is no calculation; there are vapour-pressure, carry-over, "},
		"no such flag":           {"solubility", given("temp", 20, "oil", "x"), "calc solubility: has no flag oil"},
		"nothing given":          {"solubility", nil, "calc solubility: wants temp: temperature of the oil"},
		"out of range":           {"carry-over", given("speed", 7, "trap", -400, "hours", 24), "calc carry-over: trap -400 C is outside -150 to 0 C"},
		"no oil":                 {"viscosity", given("temp", 20), "calc viscosity: wants the oil as grade, or as v40 and v100"},
		"half an oil":            {"viscosity", given("v40", 68, "temp", 20), "calc viscosity: wants the oil as grade, or as v40 and v100"},
		"two oils":               {"viscosity", given("grade", "68", "v40", 68, "v100", 8.6, "temp", 20), "calc viscosity: wants the oil as grade, or as v40 and v100"},
		"no such grade":          {"viscosity", given("grade", "80", "temp", 20), `calc viscosity: grade "80" is none of the ISO 3448 grades`},
		"neither phase":          {"vapour-pressure", given("over", "steam", "temp", 20), "calc vapour-pressure: over is ice or water"},
		"ice too warm":           {"vapour-pressure", given("over", "ice", "temp", 20), "calc vapour-pressure: temp 20 C is outside -223 to 0.01 C"},
		"trap warmer than gas":   {"carry-over", given("speed", 7, "trap", -5, "hours", 24, "gas-temp", -20), "calc carry-over: trap -5 C is outside -150 to -20 C"},
		"room hotter than close": {"hot-window", given("grade", "68", "hot", 70, "ambient", 50, "tau", 60), "calc hot-window: ambient 50 C is outside -40 to 42.6 C"},
		"half a flush":           {"flush", given("heel", 30, "charge", 1000, "times", 1.5), "calc flush: times is a whole number"},
		"two counts":             {"cleanliness", given("counts", "1,2"), `calc cleanliness: counts "1,2" are not three numbers`},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Calculate(c.calc, c.args)
			require.ErrorContains(t, err, c.says)
		})
	}
}

func TestCalcsIsACopy(t *testing.T) {
	Calcs()[0].Name = "spoiled"
	require.Equal(t, "vapour-pressure", Calcs()[0].Name)
}
