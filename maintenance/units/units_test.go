package units_test

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance/units"
)

// rows reads a table of testdata: fields between " | ", lines that begin with # are comments.
func rows(t testing.TB, name string, fields, atLeast int) [][]string {
	t.Helper()
	file, err := os.Open("testdata/" + name)
	require.NoError(t, err)
	defer file.Close()
	var all [][]string
	for lines := bufio.NewScanner(file); lines.Scan(); {
		if strings.HasPrefix(lines.Text(), "#") {
			continue
		}
		row := strings.Split(lines.Text(), " | ")
		require.Len(t, row, fields, lines.Text())
		all = append(all, row)
	}
	require.GreaterOrEqual(t, len(all), atLeast)
	return all
}

func TestQuantitiesAsPeopleWriteThem(t *testing.T) {
	for _, row := range rows(t, "quantities.txt", 3, 300) {
		text, want, outcome := row[0], units.Unit(row[1]), row[2]
		got, err := units.Parse(text, want)
		if says, refused := strings.CutPrefix(outcome, "! "); refused {
			require.ErrorContains(t, err, says, "%q in %s", text, want)
			continue
		}
		require.NoError(t, err, "%q in %s", text, want)
		exact, err := strconv.ParseFloat(outcome, 64)
		require.NoError(t, err)
		require.Equal(t, exact, got, "%q in %s", text, want) // to the last bit
	}
}

// The figures that NIST SP 811 (as printed by GNU units 2.22) gives for one unit.
func TestFactorsArePublishedOnes(t *testing.T) {
	for _, c := range []struct {
		from, to units.Unit
		value    float64
		printed  float64
	}{
		{"torr", "Pa", 1, 133.322368421},
		{"mmHg", "Pa", 1, 133.322387415},
		{"mTorr", "Pa", 1, 0.133322368421},
		{"mbar", "Pa", 1, 100},
		{"atm", "Pa", 1, 101325},
		{"psi", "Pa", 1, 6894.75729317},
		{"inHg", "Pa", 1, 3386.38864034},
		{"cfm", "m3/s", 1, 0.0004719474432},
		{"qt", "m3", 1, 0.000946352946},
		{"imp qt", "m3", 1, 0.0011365225},
		{"fl oz", "m3", 1, 2.95735295625e-05},
		{"imp fl oz", "m3", 1, 2.84130625e-05},
		{"gal", "m3", 1, 0.003785411784},
		{"lb", "kg", 1, 0.45359237},
		{"oz", "kg", 1, 0.028349523125},
		{"F", "C", 158, 70},
		{"F", "C", -40, -40},
		{"m3/h", "cfm", 7, 4.12004445084},
		{"l/s", "m3/h", 1, 3.6},
		{"lb", "g", 1, 453.59237},
		{"sccm", "mbar l/s", 1, 0.0168875}, // converter quoting NIST: 0 °C, 101325 Pa
	} {
		got, err := units.Convert(c.value, c.from, c.to)
		require.NoError(t, err)
		require.InEpsilon(t, c.printed, got, 1e-10, "%v %s in %s", c.value, c.from, c.to)
	}
}

func TestConvertRefuses(t *testing.T) {
	for _, c := range []struct {
		value    float64
		from, to units.Unit
		says     string
	}{
		{math.NaN(), "g", "lb", "not a finite number"},
		{math.Inf(-1), "g", "lb", "not a finite number"},
		{1, "g", "ml", "g is a unit of mass, ml one of volume"},
		{1, "stone", "g", `unknown unit "stone"`},
		{1, "g", "", `unknown unit ""`},
		{-300, "C", "F", "below absolute zero"},
		{math.MaxFloat64, "kg", "mg", "out of range"},
	} {
		_, err := units.Convert(c.value, c.from, c.to)
		require.ErrorContains(t, err, c.says)
	}
}

func TestParseAnyFindsTheUnitWritten(t *testing.T) {
	for _, c := range []struct {
		text  string
		value float64
		unit  units.Unit
	}{
		{"640g", 640, "g"},
		{"700 ml", 700, "ml"},
		{"-40F", -40, "F"},
		{"1 lb 8 oz", 1.5, "lb"},
		{"1 qt 8 oz", 1.25, "qt"},
		{"31:12", 31.2, "h"},
		{"25 fl oz", 25, "fl oz"},
		{"2 imp quarts", 2, "imp qt"},
		{"7 m³/h", 7, "m3/h"},
		{"95%", 95, "%"},
	} {
		value, unit, err := units.ParseAny(c.text)
		require.NoError(t, err)
		require.Equal(t, c.unit, unit, c.text)
		require.Equal(t, c.value, value, c.text)
	}
}

func TestParseAnyRefusesWhatItCannotDecide(t *testing.T) {
	_, _, err := units.ParseAny("8 oz")
	require.ErrorContains(t, err, "oz (mass) or fl oz (volume)")
	_, _, err = units.ParseAny("1 micron")
	require.ErrorContains(t, err, "mTorr (pressure) or um (length)")
	_, _, err = units.ParseAny("640")
	require.ErrorIs(t, err, units.ErrNoUnit)
	_, _, err = units.ParseAny("")
	require.ErrorContains(t, err, "nothing is given")
}

func TestConvertTextWantsAUnit(t *testing.T) {
	got, err := units.ConvertText("8 oz", "ml") // the wanted unit decides what oz is
	require.NoError(t, err)
	require.Equal(t, 236.5882365, got)
	_, err = units.ConvertText("8", "ml")
	require.ErrorIs(t, err, units.ErrNoUnit)
	_, err = units.ConvertText("8g", "nothing")
	require.ErrorContains(t, err, `unknown unit "nothing"`)
}

func TestUnitOf(t *testing.T) {
	for name, want := range map[string]units.Unit{
		"qt": "qt", "QT": "qt", "Imp. fl oz": "imp fl oz", "°F": "F", "m³/h": "m3/h", "µm": "um", "inHg": "inHg", "cfm": "cfm",
		"mbar": "mbar", "m3_h": "m3/h", "l_min": "l/min", "Pa·m³/s": "Pa m3/s", "MPa": "MPa", "mPa": "mPa",
	} {
		got, ok := units.UnitOf(name)
		require.True(t, ok, name)
		require.Equal(t, want, got)
	}
	for _, name := range []string{"", "oz", "micron", "m", "mpa", "stone", "1", "imp"} {
		got, ok := units.UnitOf(name)
		require.False(t, ok, "%q gave %s", name, got)
	}
}

func TestOfKey(t *testing.T) {
	for key, want := range map[string]units.Unit{
		"charge_ml": "ml", "grams": "g", "gross_g": "g", "trap_c": "C", "speed_m3_h": "m3/h", "ballast_l_min": "l/min", "pa": "Pa",
		"height_mm": "mm", "cool_tau_min": "min", "minutes": "min", "run_hours": "h", "acid_mg_g": "mg/g", "water_ppm": "ppm", "on_w": "W",
		"settle_um": "um", "settle_min_h": "h", "ml": "ml", "fill_free_water_g": "g",
	} {
		got, ok := units.OfKey(key)
		require.True(t, ok, key)
		require.Equal(t, want, got, key)
	}
	for _, key := range []string{"", "_", "note", "density_15", "uses", "at", "what", "replace_uses", "class", "trays"} {
		_, ok := units.OfKey(key)
		require.False(t, ok, key)
	}
}

func TestFormat(t *testing.T) {
	for _, c := range []struct {
		value      float64
		unit       units.Unit
		metric, us string
	}{
		{640, "g", "640 g", "1 lb 6.6 oz"},
		{42, "g", "42 g", "1.48 oz"},
		{0.0421, "g", "0.0421 g", "0.00149 oz"},
		{1643, "g", "1.64 kg", "3 lb 10 oz"},
		{453.59, "g", "454 g", "1 lb"},
		{0, "g", "0 g", "0 oz"},
		{-12, "g", "-12 g", "-0.423 oz"},
		{740, "ml", "740 ml", "25 fl oz"},
		{999.9, "ml", "1 L", "1.06 qt"},
		{2366, "ml", "2.37 L", "2.5 qt"},
		{67.8, "C", "67.8 °C", "154 °F"},
		{-40, "C", "-40 °C", "-40 °F"},
		{5.33, "Pa", "5.33 Pa", "40 mTorr"},
		{101325, "Pa", "1013 mbar", "760 torr"},
		{7, "m3/h", "7 m³/h", "4.12 cfm"},
		{10, "l/min", "10 L/min", "0.353 cfm"},
		{120, "mm", "120 mm", "4.72 in"},
		{30, "um", "30 µm", "30 µm"},
		{350, "W", "350 W", "350 W"},
		{1500, "W", "1.5 kW", "1.5 kW"},
		{31.2, "h", "31 h 12 min", "31 h 12 min"},
		{99, "h", "4 d 3 h", "4 d 3 h"},
		{48, "h", "2 d", "2 d"},
		{20, "d", "20 d", "20 d"},
		{1.5, "min", "1 min 30 s", "1 min 30 s"},
		{59.99, "min", "1 h", "1 h"},
		{45, "s", "45 s", "45 s"},
		{-90, "min", "-1 h 30 min", "-1 h 30 min"},
		{0.95, "1", "0.95", "0.95"},
		{95, "%", "95 %", "95 %"},
		{25, "ppm", "25 ppm", "25 ppm"},
		{68, "mm2/s", "68 mm2/s", "68 mm2/s"},
		{999, "Pa", "999 Pa", "7.49 torr"},
		{1000, "Pa", "10 mbar", "7.5 torr"},
		{1, "torr", "133 Pa", "1 torr"},
		{1, "m3/h", "1 m³/h", "0.589 cfm"},
		{999.6, "g", "1 kg", "2 lb 3.3 oz"},
		{2.54, "mm", "2.54 mm", "0.1 in"},
		{1, "mm", "1 mm", "1000 µm"},
		{3569, "s", "59 min", "59 min"},
		{3570, "s", "1 h", "1 h"},
		{14, "d", "14 d", "14 d"},
		{14.4, "d", "14 d", "14 d"},
		{-454, "g", "-454 g", "-1 lb"},
		{1e20, "W", "1e+17 kW", "1e+17 kW"},
		{0.00005, "1", "5e-05", "5e-05"},
		{math.Inf(-1), "g", "unknown", "unknown"},
		{5, "", "5", "5"},
		{math.NaN(), "g", "unknown", "unknown"},
		{math.Inf(1), "ml", "unknown", "unknown"},
	} {
		require.Equal(t, c.metric, units.Format(c.value, c.unit, units.Metric))
		require.Equal(t, c.us, units.Format(c.value, c.unit, units.US))
	}
}

func anyUnit(t *rapid.T) units.Unit {
	return rapid.SampledFrom([]units.Unit{"g", "mg", "kg", "lb", "oz", "ml", "l", "fl oz", "qt", "gal", "imp qt", "C", "F", "K", "Pa", "mbar", "torr",
		"mTorr", "psi", "s", "min", "h", "d", "m3/h", "l/min", "cfm", "mm", "um", "in", "W", "kW", "1", "%", "ppm", "mm2/s", "kg/m3", "g/h"}).Draw(t, "unit")
}

func TestFormatIsReadBackByParse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := anyUnit(t)
		value := math.Pow(10, rapid.Float64Range(-6, 7).Draw(t, "exponent"))
		if unit == "K" {
			value += 1 // at absolute zero rounding would leave the scale
		}
		system := rapid.SampledFrom([]units.System{units.Metric, units.US}).Draw(t, "system")
		text := units.Format(value, unit, system)
		back, err := units.Parse(text, unit)
		require.NoError(t, err, text)
		require.Equal(t, text, units.Format(back, unit, system), "the text is a fixed point")
		if unit.Dimension() != units.Temperature { // an offset makes relative error meaningless
			require.InEpsilon(t, value, back, 0.05, text) // "11 min" for 10.5 min is the coarsest
		}
	})
}

func TestConvertThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from, to := anyUnit(t), anyUnit(t)
		value := rapid.Float64Range(-200, 1e6).Draw(t, "value")
		there, err := units.Convert(value, from, to)
		if from.Dimension() != to.Dimension() {
			require.Error(t, err)
			return
		}
		if err != nil {
			require.Equal(t, units.Temperature, from.Dimension()) // below absolute zero
			return
		}
		back, err := units.Convert(there, to, from)
		require.NoError(t, err)
		require.InDelta(t, value, back, 1e-12*math.Max(500, math.Abs(value)))
	})
}

func TestShortestDecimalIsReadExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-1e15, 1e15).Draw(t, "value")
		got, err := units.Parse(strconv.FormatFloat(value, 'g', -1, 64)+" g", units.Gram)
		if value != 0 && math.Abs(value) < 1e-300 {
			return // more digits than a scale gives
		}
		require.NoError(t, err)
		require.Equal(t, value+0, got)
	})
}

func FuzzParse(f *testing.F) {
	for _, row := range rows(f, "quantities.txt", 3, 300) {
		f.Add(row[0], row[1])
	}
	f.Fuzz(func(t *testing.T, text, want string) {
		got, err := units.Parse(text, units.Unit(want))
		if err != nil {
			require.Zero(t, got)
			return
		}
		require.False(t, math.IsNaN(got) || math.IsInf(got, 0), "%q gave %v", text, got)
		shown := units.Format(got, units.Unit(want), units.Metric)
		_, err = units.Parse(shown, units.Unit(want))
		require.NoError(t, err, "%q was shown as %q", text, shown)
	})
}
