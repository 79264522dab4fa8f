package physics

import (
	"cmp"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// functions holds every function of the package that takes numbers: its arguments with
// their units (1 of a pure number), one list of them that is right, and how it is called.
var functions = map[string]struct {
	args string
	good []float64
	call func(a []float64) (float64, error)
}{
	"IcePressure":     {"temp C", []float64{-40}, func(a []float64) (float64, error) { return IcePressure(a[0]) }},
	"WaterPressure":   {"temp C", []float64{40}, func(a []float64) (float64, error) { return WaterPressure(a[0]) }},
	"BoilingPoint":    {"pressure Pa", []float64{1e5}, func(a []float64) (float64, error) { return BoilingPoint(a[0]) }},
	"FrostPoint":      {"pressure Pa", []float64{10}, func(a []float64) (float64, error) { return FrostPoint(a[0]) }},
	"CarryOver":       {"speed m3/h, trap C, hours h, gas-temp C", []float64{7, -40, 24, 20}, func(a []float64) (float64, error) { return CarryOver(a[0], a[1], a[2], a[3]) }},
	"EffectiveSpeed":  {"speed m3/h, conductance m3/h", []float64{12, 36}, func(a []float64) (float64, error) { return EffectiveSpeed(a[0], a[1]) }},
	"BallastCapacity": {"ballast L/min, pump-temp C, ambient C, humidity 1, exhaust 1", []float64{10, 70, 20, 0.5, 1.1}, func(a []float64) (float64, error) { return BallastCapacity(a[0], a[1], a[2], a[3], a[4]) }},
	"VapourTolerance": {"speed m3/h, ballast L/min, pump-temp C, ambient C, humidity 1, exhaust 1", []float64{7, 10, 70, 20, 0.5, 1.1}, func(a []float64) (float64, error) { return VapourTolerance(a[0], a[1], a[2], a[3], a[4], a[5]) }},
	"PumpTemp":        {"start C, final C, tau min, minutes min", []float64{22, 67, 20, 60}, func(a []float64) (float64, error) { return PumpTemp(a[0], a[1], a[2], a[3]) }},
	"TimeToReach":     {"start C, final C, target C, tau min", []float64{22, 67, 60, 20}, func(a []float64) (float64, error) { return TimeToReach(a[0], a[1], a[2], a[3]) }},
	"SafeMinutes":     {"hot C, ambient C, tau min", []float64{67, 20, 60}, func(a []float64) (float64, error) { return SafeMinutes(a[0], a[1], a[2]) }},
	"TauFromReading":  {"start C, final C, minutes min, reading C", []float64{67, 22, 30, 49}, func(a []float64) (float64, error) { return TauFromReading(a[0], a[1], a[2], a[3]) }},
	"HotWindow": {"v40 mm2/s, v100 mm2/s, hot C, normal C, ambient C, tau min, ratio 1", []float64{68, 8.6, 70, 67, 20, 60, 3}, func(a []float64) (float64, error) {
		minutes, _, err := HotWindow(Oil{V40: a[0], V100: a[1]}, a[2], a[3], a[4], a[5], a[6])
		return minutes, err
	}},
	"Oil.Viscosity":       {"v40 mm2/s, v100 mm2/s, temp C", []float64{68, 8.6, 20}, func(a []float64) (float64, error) { return Oil{V40: a[0], V100: a[1]}.Viscosity(a[2]) }},
	"Oil.TempAtViscosity": {"v40 mm2/s, v100 mm2/s, viscosity mm2/s", []float64{68, 8.6, 200}, func(a []float64) (float64, error) { return Oil{V40: a[0], V100: a[1]}.TempAtViscosity(a[2]) }},
	"ViscosityIndex":      {"v40 mm2/s, v100 mm2/s", []float64{68, 8.6}, func(a []float64) (float64, error) { return ViscosityIndex(a[0], a[1]) }},
	"VolumeFactor":        {"density-15 kg/m3, temp C", []float64{870, 70}, func(a []float64) (float64, error) { return VolumeFactor(a[0], a[1]) }},
	"OilDensity":          {"density-15 kg/m3, temp C", []float64{870, 70}, func(a []float64) (float64, error) { return OilDensity(a[0], a[1]) }},
	"WaterDensity":        {"temp C", []float64{20}, func(a []float64) (float64, error) { return WaterDensity(a[0]) }},
	"StokesVelocity":      {"droplet um, density of the sphere kg/m3, density of the fluid kg/m3, dynamic viscosity Pa·s", []float64{30, 998, 867, 0.19}, func(a []float64) (float64, error) { return StokesVelocity(a[0], a[1], a[2], a[3]) }},
	"SettlingHours": {"droplet um, height mm, v40 mm2/s, v100 mm2/s, density-15 kg/m3, temp C", []float64{30, 100, 68, 8.6, 870, 20}, func(a []float64) (float64, error) {
		return SettlingHours(a[0], a[1], Oil{a[2], a[3], a[4]}, a[5])
	}},
	"CutDiameter": {"hours h, height mm, v40 mm2/s, v100 mm2/s, density-15 kg/m3, temp C", []float64{30, 100, 68, 8.6, 870, 20}, func(a []float64) (float64, error) {
		return CutDiameter(a[0], a[1], Oil{a[2], a[3], a[4]}, a[5])
	}},
	"ClearedShare": {"hours h, height mm, v40 mm2/s, v100 mm2/s, density-15 kg/m3, temp C, d50 um, gsd 1", []float64{30, 100, 68, 8.6, 870, 20, 30, 2}, func(a []float64) (float64, error) {
		return ClearedShare(a[0], a[1], Oil{a[2], a[3], a[4]}, a[5], a[6], a[7])
	}},
	"HinderedFactor":  {"water share 1", []float64{0.05}, func(a []float64) (float64, error) { return HinderedFactor(a[0]) }},
	"WaterSolubility": {"temp C", []float64{20}, func(a []float64) (float64, error) { return WaterSolubility(a[0]) }},
	"FreeWaterG":      {"water g, oil g, temp C", []float64{12, 870, 20}, func(a []float64) (float64, error) { return FreeWaterG(a[0], a[1], a[2]) }},
	"CloudPoint":      {"water content mg/kg", []float64{200}, func(a []float64) (float64, error) { return CloudPoint(a[0]) }},
	"CleanlinessCode": {"count at 4 um per·mL, count at 6 um per·mL, count at 14 um per·mL", []float64{1500, 400, 60}, func(a []float64) (float64, error) {
		_, err := CleanlinessCode(a[0], a[1], a[2])
		return 0, err
	}},
	"FilterEfficiency": {"beta 1", []float64{75}, func(a []float64) (float64, error) { return FilterEfficiency(a[0]) }},
	"CakeLaw.Time":     {"cake 1, clean medium 1, amount filtered 1", []float64{0.5, 1, 3}, func(a []float64) (float64, error) { return CakeLaw{a[0], a[1]}.Time(a[2]) }},
	"CakeLaw.Slowing":  {"cake 1, clean medium 1, amount filtered 1, amount filtered 1", []float64{0.5, 1, 3, 1}, func(a []float64) (float64, error) { return CakeLaw{a[0], a[1]}.Slowing(a[2], a[3]) }},
	"CakeLaw.AmountToSlowing": {"cake 1, clean medium 1, amount filtered 1, ratio 1", []float64{0.5, 1, 1, 3}, func(a []float64) (float64, error) {
		amount, _, err := CakeLaw{a[0], a[1]}.AmountToSlowing(a[2], a[3])
		return amount, err
	}},
	"FitCake": {"amount filtered 1, amount filtered 1, time 1, time 1", []float64{1, 2, 2, 5}, func(a []float64) (float64, error) {
		law, err := FitCake(a[:2], a[2:])
		return law.B, err
	}},
	"BlockingLimit": {"amount filtered 1, amount filtered 1, time 1, time 1", []float64{1, 2, 2, 5}, func(a []float64) (float64, error) {
		amount, _, err := BlockingLimit(a[:2], a[2:])
		return amount, err
	}},
	"NormalTime":      {"time 1, viscosity mm2/s, reference viscosity mm2/s, amount filtered 1, reference amount 1", []float64{60, 220, 180, 700, 600}, func(a []float64) (float64, error) { return NormalTime(a[0], a[1], a[2], a[3], a[4]) }},
	"FreezingHours":   {"diameter mm, air C, start C, h W/m2K", []float64{90, -18, 20, 10}, func(a []float64) (float64, error) { return FreezingHours(a[0], a[1], a[2], a[3]) }},
	"LayerHours":      {"thickness mm, air C, h W/m2K", []float64{20, -18, 10}, func(a []float64) (float64, error) { return LayerHours(a[0], a[1], a[2]) }},
	"Flush":           {"heel 1, charge 1, times 1", []float64{30, 1000, 2}, func(a []float64) (float64, error) { return Flush(a[0], a[1], whole(a[2])) }},
	"FlushesNeeded":   {"heel 1, charge 1, target 1", []float64{30, 1000, 0.01}, func(a []float64) (float64, error) { n, err := FlushesNeeded(a[0], a[1], a[2]); return float64(n), err }},
	"Mix":             {"first amount 1, first property 1, second amount 1, second property 1", []float64{1, 60, 9, 0}, func(a []float64) (float64, error) { return Mix(a[0], a[1], a[2], a[3]) }},
	"SteadyAge":       {"hours h, share kept 1", []float64{20, 0.2}, func(a []float64) (float64, error) { return SteadyAge(a[0], a[1]) }},
	"BlendViscosity":  {"first viscosity mm2/s, share 1, second viscosity mm2/s", []float64{68, 0.5, 100}, func(a []float64) (float64, error) { return BlendViscosity(a[0], a[1], a[2]) }},
	"PressureRise":    {"volume L, rise Pa, time s", []float64{60, 2, 60}, func(a []float64) (float64, error) { return PressureRise(a[0], a[1], a[2]) }},
	"SystemPressure":  {"leak Pa·m3/s, speed m3/h, blank-off Pa", []float64{1e-3, 7, 1}, func(a []float64) (float64, error) { return SystemPressure(a[0], a[1], a[2]) }},
	"ThermalHours":    {"hours h, temp C, ref C", []float64{10, 70, 60}, func(a []float64) (float64, error) { return ThermalHours(a[0], a[1], a[2]) }},
	"ThermalHoursRun": {"hours h, start C, final C, tau min, ref C", []float64{10, 22, 67, 20, 60}, func(a []float64) (float64, error) { return ThermalHoursRun(a[0], a[1], a[2], a[3], a[4]) }},
	"ArrheniusFactor": {"temp C, ref C, activation energy kJ/mol", []float64{70, 60, 65.9}, func(a []float64) (float64, error) { return ArrheniusFactor(a[0], a[1], a[2]) }},
	"Retained":        {retainedArgs, retainedGood, func(a []float64) (float64, error) { return Retained(retainedOf(a)) }},
	"PurgeCapacity":   {retainedArgs, retainedGood, func(a []float64) (float64, error) { return PurgeCapacity(retainedOf(a)) }},
}

const retainedArgs = "water g, oil g, carry-over rate g/h, hours h, ballast m3/h, ballast hours h, leak Pa·m3/s, start C, running C, tau min, " +
	"ambient C, humidity 1, eta 1, gas-temp C"

var retainedGood = []float64{5, 870, 1, 24, 0.35, 1, 1e-3, 22, 67, 20, 22, 0.5, 0.2, 20}

func retainedOf(a []float64) RetainedInput {
	return RetainedInput{a[0], a[1], a[2], a[3], a[4], a[5], a[6], a[7], a[8], a[9], a[10], a[11], a[12], a[13]}
}

// whole is the number as a count; what is none becomes one that is out of range.
func whole(v float64) int {
	switch {
	case math.IsNaN(v) || v < 0:
		return -1
	case v > 1e9:
		return 1e9
	}
	return int(math.Ceil(v))
}

// speechless are the exported functions that take no numbers.
var speechless = []string{"Calcs", "Calculate", "GradeLimits", "OilOfGrade", "ParseCounts", "RangeError.Error", "UsageError.Error"}

// No exported function is missing from the table.
func TestEveryFunctionIsInTheTable(t *testing.T) {
	var found []string
	for _, file := range sources(t) {
		for _, d := range file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok || !f.Name.IsExported() {
				continue
			}
			name := f.Name.Name
			if f.Recv != nil {
				name = f.Recv.List[0].Type.(*ast.Ident).Name + "." + name
			}
			found = append(found, name)
		}
	}
	require.ElementsMatch(t, found, slices.Concat(speechless, slices.Collect(maps.Keys(functions))))
}

// sources are the package's files, tests left out.
func sources(t *testing.T) map[string]*ast.File {
	t.Helper()
	paths, err := filepath.Glob("*.go")
	require.NoError(t, err)
	files := map[string]*ast.File{}
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		files[path], err = parser.ParseFile(sourcePositions, path, nil, parser.ParseComments)
		require.NoError(t, err)
	}
	return files
}

var sourcePositions = token.NewFileSet()

// refusal calls with one argument changed, and wants a refusal that names it in its unit.
func refusal(t *testing.T, name string, i int, value float64) RangeError {
	t.Helper()
	f := functions[name]
	a := slices.Clone(f.good)
	a[i] = value
	got, err := f.call(a)
	var refused RangeError
	require.ErrorAs(t, err, &refused, "argument %d as %g", i, value)
	require.Zero(t, got, "argument %d as %g", i, value)
	arg := strings.Split(f.args, ", ")[i]
	unit := arg[strings.LastIndex(arg, " ")+1:]
	require.Equal(t, strings.TrimSuffix(arg, " "+unit), refused.Arg, "argument %d as %g", i, value)
	require.Equal(t, unit, cmp.Or(strings.ReplaceAll(refused.Unit, " ", "·"), "1"), "argument %d as %g", i, value)
	require.False(t, math.IsNaN(refused.Low) || math.IsNaN(refused.High) || refused.Low > refused.High, err.Error())
	return refused
}

func TestEveryArgumentOutOfRangeIsRefusedByName(t *testing.T) {
	for name, f := range functions {
		t.Run(name, func(t *testing.T) {
			_, err := f.call(f.good)
			require.NoError(t, err)
			require.Len(t, strings.Split(f.args, ", "), len(f.good))
			for i := range f.good {
				for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1e13, 1e20} {
					refusal(t, name, i, bad)
				}
				ends := refusal(t, name, i, math.NaN())
				refusal(t, name, i, math.Nextafter(ends.Low, math.Inf(-1)))
				refusal(t, name, i, math.Nextafter(ends.High, math.Inf(1)))
			}
		})
	}
}

// Whatever comes in, what comes out is a number, or a refusal and 0: anywhere in the ranges
// that the refusals tell, at their ends, and around what is usual.
func TestNoFunctionAnswersWithNoNumber(t *testing.T) {
	for name, f := range functions {
		t.Run(name, func(t *testing.T) {
			ends := make([]RangeError, len(f.good))
			for i := range ends {
				ends[i] = refusal(t, name, i, math.NaN())
			}
			rapid.Check(t, func(t *rapid.T) {
				a := slices.Clone(f.good)
				for i := range a {
					low, high := ends[i].Low, ends[i].High
					switch rapid.IntRange(0, 4).Draw(t, "how") {
					case 0:
						a[i] *= rapid.Float64Range(0, 3).Draw(t, "scaled")
					case 1:
						a[i] += rapid.Float64Range(-50, 50).Draw(t, "moved")
					case 2:
						a[i] = rapid.SampledFrom([]float64{low, high}).Draw(t, "end")
					case 3:
						a[i] = rapid.Float64Range(low, high).Draw(t, "anywhere")
					}
				}
				got, err := f.call(a)
				require.False(t, math.IsNaN(got) || math.IsInf(got, 0), "%s%v is %g, %v", name, a, got, err)
			})
		})
	}
}

func TestRangeErrorReadsAsASentence(t *testing.T) {
	_, err := CarryOver(7, -400, 24, 20)
	require.EqualError(t, err, "trap -400 C is outside -150 to 0 C")
	_, err = CarryOver(7, -10, 24, -20)
	require.EqualError(t, err, "trap -10 C is outside -150 to -20 C", "a trap warmer than the gas")
	_, err = CarryOver(-7, -40, 24, 20)
	require.EqualError(t, err, "speed -7 m3/h is outside 0.01 to 10000 m3/h")
	_, err = Retained(RetainedInput{OilG: 870, WarmTauMin: 20, Eta: 2})
	require.EqualError(t, err, "eta 2 is outside 0 to 1")
	require.EqualError(t, RangeError{"ambient", 20, -40, 5.487311560107287, "C"}, "ambient 20 C is outside -40 to 5.49 C", "a computed end is rounded")
	require.EqualError(t, RangeError{"ambient", 5.488, -40, 5.487311560107287, "C"}, "ambient 5.488 C is outside -40 to 5.487 C", "but never over the value")
}
