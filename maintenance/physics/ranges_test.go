package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// functions holds every function of the package that takes numbers, each with one
// argument list that is right.
var functions = map[string]struct {
	good []float64
	call func(a []float64) (float64, error)
}{
	"IcePressure":     {[]float64{-40}, func(a []float64) (float64, error) { return IcePressure(a[0]) }},
	"WaterPressure":   {[]float64{40}, func(a []float64) (float64, error) { return WaterPressure(a[0]) }},
	"BoilingPoint":    {[]float64{1e5}, func(a []float64) (float64, error) { return BoilingPoint(a[0]) }},
	"FrostPoint":      {[]float64{10}, func(a []float64) (float64, error) { return FrostPoint(a[0]) }},
	"CarryOver":       {[]float64{7, -40, 24, 20}, func(a []float64) (float64, error) { return CarryOver(a[0], a[1], a[2], a[3]) }},
	"EffectiveSpeed":  {[]float64{12, 36}, func(a []float64) (float64, error) { return EffectiveSpeed(a[0], a[1]) }},
	"BallastCapacity": {[]float64{10, 70, 20, 0.5, 1.1}, func(a []float64) (float64, error) { return BallastCapacity(a[0], a[1], a[2], a[3], a[4]) }},
	"VapourTolerance": {[]float64{7, 10, 70, 20, 0.5, 1.1}, func(a []float64) (float64, error) { return VapourTolerance(a[0], a[1], a[2], a[3], a[4], a[5]) }},
	"PumpTemp":        {[]float64{22, 67, 20, 60}, func(a []float64) (float64, error) { return PumpTemp(a[0], a[1], a[2], a[3]) }},
	"TimeToReach":     {[]float64{22, 67, 60, 20}, func(a []float64) (float64, error) { return TimeToReach(a[0], a[1], a[2], a[3]) }},
	"SafeMinutes":     {[]float64{67, 20, 60}, func(a []float64) (float64, error) { return SafeMinutes(a[0], a[1], a[2]) }},
	"TauFromReading":  {[]float64{67, 22, 30, 49}, func(a []float64) (float64, error) { return TauFromReading(a[0], a[1], a[2], a[3]) }},
	"HotWindow": {[]float64{68, 8.6, 70, 67, 20, 60, 3}, func(a []float64) (float64, error) {
		minutes, _, err := HotWindow(Oil{V40: a[0], V100: a[1]}, a[2], a[3], a[4], a[5], a[6])
		return minutes, err
	}},
	"Viscosity":       {[]float64{68, 8.6, 20}, func(a []float64) (float64, error) { return Oil{V40: a[0], V100: a[1]}.Viscosity(a[2]) }},
	"TempAtViscosity": {[]float64{68, 8.6, 200}, func(a []float64) (float64, error) { return Oil{V40: a[0], V100: a[1]}.TempAtViscosity(a[2]) }},
	"ViscosityIndex":  {[]float64{68, 8.6}, func(a []float64) (float64, error) { return ViscosityIndex(a[0], a[1]) }},
	"VolumeFactor":    {[]float64{870, 70}, func(a []float64) (float64, error) { return VolumeFactor(a[0], a[1]) }},
	"OilDensity":      {[]float64{870, 70}, func(a []float64) (float64, error) { return OilDensity(a[0], a[1]) }},
	"WaterDensity":    {[]float64{20}, func(a []float64) (float64, error) { return WaterDensity(a[0]) }},
	"StokesVelocity":  {[]float64{30, 998, 867, 0.19}, func(a []float64) (float64, error) { return StokesVelocity(a[0], a[1], a[2], a[3]) }},
	"SettlingHours": {[]float64{30, 100, 68, 8.6, 870, 20}, func(a []float64) (float64, error) {
		return SettlingHours(a[0], a[1], Oil{a[2], a[3], a[4]}, a[5])
	}},
	"CutDiameter": {[]float64{30, 100, 68, 8.6, 870, 20}, func(a []float64) (float64, error) {
		return CutDiameter(a[0], a[1], Oil{a[2], a[3], a[4]}, a[5])
	}},
	"ClearedShare": {[]float64{30, 100, 68, 8.6, 870, 20, 30, 2}, func(a []float64) (float64, error) {
		return ClearedShare(a[0], a[1], Oil{a[2], a[3], a[4]}, a[5], a[6], a[7])
	}},
	"HinderedFactor":  {[]float64{0.05}, func(a []float64) (float64, error) { return HinderedFactor(a[0]) }},
	"WaterSolubility": {[]float64{20}, func(a []float64) (float64, error) { return WaterSolubility(a[0]) }},
	"FreeWaterG":      {[]float64{12, 870, 20}, func(a []float64) (float64, error) { return FreeWaterG(a[0], a[1], a[2]) }},
	"CloudPoint":      {[]float64{200}, func(a []float64) (float64, error) { return CloudPoint(a[0]) }},
	"CleanlinessCode": {[]float64{1500, 400, 60}, func(a []float64) (float64, error) {
		_, err := CleanlinessCode(a[0], a[1], a[2])
		return 0, err
	}},
	"FilterEfficiency": {[]float64{75}, func(a []float64) (float64, error) { return FilterEfficiency(a[0]) }},
	"Time":             {[]float64{0.5, 1, 3}, func(a []float64) (float64, error) { return CakeLaw{a[0], a[1]}.Time(a[2]) }},
	"Slowing":          {[]float64{0.5, 1, 3, 1}, func(a []float64) (float64, error) { return CakeLaw{a[0], a[1]}.Slowing(a[2], a[3]) }},
	"AmountToSlowing": {[]float64{0.5, 1, 1, 3}, func(a []float64) (float64, error) {
		amount, _, err := CakeLaw{a[0], a[1]}.AmountToSlowing(a[2], a[3])
		return amount, err
	}},
	"FitCake": {[]float64{1, 2, 2, 5}, func(a []float64) (float64, error) {
		law, err := FitCake(a[:2], a[2:])
		return law.B, err
	}},
	"BlockingLimit": {[]float64{1, 2, 2, 5}, func(a []float64) (float64, error) {
		amount, _, err := BlockingLimit(a[:2], a[2:])
		return amount, err
	}},
	"NormalTime":      {[]float64{60, 220, 180, 700, 600}, func(a []float64) (float64, error) { return NormalTime(a[0], a[1], a[2], a[3], a[4]) }},
	"FreezingHours":   {[]float64{90, -18, 20, 10}, func(a []float64) (float64, error) { return FreezingHours(a[0], a[1], a[2], a[3]) }},
	"LayerHours":      {[]float64{20, -18, 10}, func(a []float64) (float64, error) { return LayerHours(a[0], a[1], a[2]) }},
	"Flush":           {[]float64{30, 1000}, func(a []float64) (float64, error) { return Flush(a[0], a[1], 2) }},
	"FlushesNeeded":   {[]float64{30, 1000, 0.01}, func(a []float64) (float64, error) { n, err := FlushesNeeded(a[0], a[1], a[2]); return float64(n), err }},
	"Mix":             {[]float64{1, 60, 9, 0}, func(a []float64) (float64, error) { return Mix(a[0], a[1], a[2], a[3]) }},
	"SteadyAge":       {[]float64{20, 0.2}, func(a []float64) (float64, error) { return SteadyAge(a[0], a[1]) }},
	"BlendViscosity":  {[]float64{68, 0.5, 100}, func(a []float64) (float64, error) { return BlendViscosity(a[0], a[1], a[2]) }},
	"PressureRise":    {[]float64{60, 2, 60}, func(a []float64) (float64, error) { return PressureRise(a[0], a[1], a[2]) }},
	"SystemPressure":  {[]float64{1e-3, 7, 1}, func(a []float64) (float64, error) { return SystemPressure(a[0], a[1], a[2]) }},
	"ThermalHours":    {[]float64{10, 70, 60}, func(a []float64) (float64, error) { return ThermalHours(a[0], a[1], a[2]) }},
	"ThermalHoursRun": {[]float64{10, 22, 67, 20, 60}, func(a []float64) (float64, error) { return ThermalHoursRun(a[0], a[1], a[2], a[3], a[4]) }},
	"ArrheniusFactor": {[]float64{70, 60, 65.9}, func(a []float64) (float64, error) { return ArrheniusFactor(a[0], a[1], a[2]) }},
	"Retained":        {retainedGood, func(a []float64) (float64, error) { return Retained(retainedOf(a)) }},
	"PurgeCapacity":   {retainedGood, func(a []float64) (float64, error) { return PurgeCapacity(retainedOf(a)) }},
}

var retainedGood = []float64{5, 870, 1, 24, 0.35, 1, 1e-3, 22, 67, 20, 22, 0.5, 0.2, 20}

func retainedOf(a []float64) RetainedInput {
	return RetainedInput{a[0], a[1], a[2], a[3], a[4], a[5], a[6], a[7], a[8], a[9], a[10], a[11], a[12], a[13]}
}

func TestEveryArgumentOutOfRangeIsRefusedByName(t *testing.T) {
	for name, f := range functions {
		t.Run(name, func(t *testing.T) {
			_, err := f.call(f.good)
			require.NoError(t, err)
			for i := range f.good {
				for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1e13, 1e20} {
					a := append([]float64{}, f.good...)
					a[i] = bad
					_, err := f.call(a)
					var refused RangeError
					require.ErrorAs(t, err, &refused, "argument %d as %g", i, bad)
					require.NotEmpty(t, refused.Arg)
				}
			}
		})
	}
}

// Whatever comes in, what comes out is a number or a refusal.
func TestNoFunctionAnswersWithNoNumber(t *testing.T) {
	for name, f := range functions {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				a := append([]float64{}, f.good...)
				for i := range a {
					switch rapid.IntRange(0, 3).Draw(t, "how") {
					case 0:
						a[i] *= rapid.Float64Range(0, 3).Draw(t, "scaled")
					case 1:
						a[i] += rapid.Float64Range(-50, 50).Draw(t, "moved")
					}
				}
				got, err := f.call(a)
				if err == nil {
					require.False(t, math.IsNaN(got) || math.IsInf(got, 0), "%s%v is %g", name, a, got)
				}
			})
		})
	}
}

func TestRangeErrorReadsAsASentence(t *testing.T) {
	_, err := CarryOver(7, -400, 24, 20)
	require.EqualError(t, err, "trap -400 C is outside -150 to 0 C")
	_, err = Retained(RetainedInput{OilG: 870, WarmTauMin: 20, Eta: 2})
	require.EqualError(t, err, "eta 2 is outside 0 to 1")
	require.EqualError(t, RangeError{"ambient", 20, -40, 5.487311560107287, "C"}, "ambient 20 C is outside -40 to 5.49 C", "a computed end is rounded")
	require.EqualError(t, RangeError{"ambient", 5.488, -40, 5.487311560107287, "C"}, "ambient 5.488 C is outside -40 to 5.487 C", "but never over the value")
}
