package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestThermalHoursOfARunAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hours := rapid.Float64Range(0, 100).Draw(t, "hours")
		cut := hours * rapid.Float64Range(0, 1).Draw(t, "cut")
		start := rapid.Float64Range(-10, 100).Draw(t, "start")
		final := rapid.Float64Range(-10, 100).Draw(t, "final")
		tau := rapid.Float64Range(5, 200).Draw(t, "tau")
		whole := must(ThermalHoursRun(hours, start, final, tau, AgeingRefC))
		middle := must(PumpTemp(start, final, tau, cut*60))
		parts := must(ThermalHoursRun(cut, start, final, tau, AgeingRefC)) +
			must(ThermalHoursRun(hours-cut, middle, final, tau, AgeingRefC))
		require.InDelta(t, whole, parts, 1e-9*max(1, whole))
	})
}

func TestThermalHoursOfARunAgreeWithSmallSteps(t *testing.T) {
	const steps = 100_000
	for _, c := range [][4]float64{{24, 22, 67, 20}, {3, 67, 20, 60}, {1, 20, 20, 60}, {48, -20, 95, 200}} {
		sum := 0.0
		for i := range steps {
			middle := (float64(i) + 0.5) / steps * c[0]
			sum += must(ThermalHours(c[0]/steps, must(PumpTemp(c[1], c[2], c[3], middle*60)), AgeingRefC))
		}
		require.InEpsilon(t, sum, must(ThermalHoursRun(c[0], c[1], c[2], c[3], AgeingRefC)), 1e-7)
	}
}

func TestTenDegreesDouble(t *testing.T) {
	require.InDelta(t, 20, must(ThermalHours(10, 70, 60)), 1e-12)
	require.InDelta(t, 2, must(ArrheniusFactor(70, 60, 65.8845322408)), 1e-9, "the energy that doubles between 60 and 70 C")
}

func TestCleanlinessCode(t *testing.T) {
	for text, want := range map[string]string{
		"1500,400,60":      "18/16/13",
		"3000/500/60":      "19/16/13",
		" 1500; 400 ; 60 ": "18/16/13",
		"0,0,0":            "0/0/0",
		"2600000,1,0.005":  ">28/7/0",
	} {
		t.Run(text, func(t *testing.T) {
			c4, c6, c14, err := ParseCounts(text)
			require.NoError(t, err)
			got, err := CleanlinessCode(c4, c6, c14)
			require.NoError(t, err)
			require.Equal(t, want, got)
		})
	}
	_, err := CleanlinessCode(60, 400, 1500)
	require.EqualError(t, err, "counts 60, 400, 1500 per mL rise with size: those at 6 um are among those at 4, those at 14 among those at 6", "more large particles than small")
}

func TestParseCountsRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"": "are not three numbers", "1500,400": "are not three numbers", "1,2,3,4": "are not three numbers",
		"1500,x,60": `count "x" is not a number`, "-1,0,0": "count -1 per mL is outside", "NaN,0,0": "count NaN",
	} {
		t.Run(text, func(t *testing.T) {
			_, _, _, err := ParseCounts(text)
			require.ErrorContains(t, err, says)
		})
	}
}

func FuzzParseCounts(f *testing.F) {
	for _, seed := range []string{"1500,400,60", "1e9/2/1", ",,,", "NaN;Inf;0", "0x10,1,1"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c4, c6, c14, err := ParseCounts(text)
		if err != nil {
			return
		}
		code, err := CleanlinessCode(c4, c6, c14)
		if c4 >= c6 && c6 >= c14 {
			require.NoError(t, err)
			require.Regexp(t, `^(>28|\d+)/(>28|\d+)/(>28|\d+)$`, code)
		} else {
			require.Error(t, err)
		}
	})
}

func TestFitCakeFindsTheLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law := CakeLaw{K: rapid.Float64Range(0.01, 10).Draw(t, "K"), B: rapid.Float64Range(0.1, 10).Draw(t, "B")}
		var amounts, times []float64
		for v := 1.0; v <= 6; v++ {
			amounts, times = append(amounts, v), append(times, must(law.Time(v)))
		}
		got, err := FitCake(amounts, times)
		require.NoError(t, err)
		require.InEpsilon(t, law.K, got.K, 1e-6)
		require.InEpsilon(t, law.B, got.B, 1e-6)

		ratio := rapid.Float64Range(1, 10).Draw(t, "ratio")
		amount, ends, err := got.AmountToSlowing(1, ratio)
		require.NoError(t, err)
		require.True(t, ends)
		require.InEpsilon(t, ratio, must(got.Slowing(amount, 1)), 1e-9)
		took := must(got.Time(amount+1)) - must(got.Time(amount))
		require.InEpsilon(t, ratio, took/must(got.Time(1)), 1e-6, "slowing is a ratio of times")
	})
}

func TestAMediumThatDoesNotLoad(t *testing.T) {
	law, err := FitCake([]float64{1, 2, 3}, []float64{2, 3.9, 5.7})
	require.NoError(t, err)
	require.Zero(t, law.K, "faster and faster is no loading")
	require.InDelta(t, 1.95, law.B, 0.01)
	_, ends, err := law.AmountToSlowing(1, 3)
	require.NoError(t, err)
	require.False(t, ends)
	_, ends, err = BlockingLimit([]float64{1, 2, 3}, []float64{2, 3.9, 5.7})
	require.NoError(t, err)
	require.False(t, ends)
}

func TestFitCakeRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		amounts, times []float64
		says           string
	}{
		"one reading":              {[]float64{1}, []float64{1}, "at least two"},
		"a time missing":           {[]float64{1, 2}, []float64{1}, "2 amounts and 1 times"},
		"twice the same":           {[]float64{1, 1}, []float64{1, 2}, "all 2 readings are the same"},
		"no time for clean medium": {[]float64{1, 2}, []float64{0, 4}, "clean medium"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := FitCake(c.amounts, c.times)
			require.ErrorContains(t, err, c.says)
		})
	}
}

func TestFreezing(t *testing.T) {
	// 20 mm of water in still air at -18 C: 10.8 h by Plank.
	require.InDelta(t, 10.8, must(LayerHours(20, -18, FreezerFilm)), 0.05)
	frozen := must(FreezingHours(90, -18, -1, FreezerFilm))
	require.Equal(t, must(FreezingHours(90, -18, 0, FreezerFilm)), frozen, "a cold jar needs no cooling")
	require.InDelta(t, 12.8, frozen, 0.1)
	require.InDelta(t, 14.7, must(FreezingHours(90, -18, 20, FreezerFilm)), 0.1)
	require.InDelta(t, 1.0907, IceExpansion, 1e-4)
}

func TestFreezingTakesLongerWarmerWiderAndStiller(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.Float64Range(5, 200).Draw(t, "diameter")
		air := rapid.Float64Range(-60, -2).Draw(t, "air")
		start := rapid.Float64Range(0, 80).Draw(t, "start")
		h := rapid.Float64Range(2, 100).Draw(t, "h")
		base := must(FreezingHours(d, air, start, h))
		require.Positive(t, base)
		require.Greater(t, must(FreezingHours(d+1, air, start, h)), base)
		require.Greater(t, must(FreezingHours(d, air+1, start, h)), base)
		require.Greater(t, must(FreezingHours(d, air, start+1, h)), base)
		require.Less(t, must(FreezingHours(d, air, start, h+1)), base)
	})
}

func TestMixingIdentities(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.SliceOfN(rapid.Float64Range(0.001, 5000), 3, 3).Draw(t, "amounts")
		x := rapid.SliceOfN(rapid.Float64Range(0, 1000), 3, 3).Draw(t, "ages")
		ab := must(Mix(m[0], x[0], m[1], x[1]))
		require.InDelta(t, ab, must(Mix(m[1], x[1], m[0], x[0])), 1e-9, "either way round")
		require.True(t, min(x[0], x[1])-1e-9 <= ab && ab <= max(x[0], x[1])+1e-9, "between its parts")
		bc := must(Mix(m[1], x[1], m[2], x[2]))
		require.InDelta(t, must(Mix(m[0]+m[1], ab, m[2], x[2])), must(Mix(m[0], x[0], m[1]+m[2], bc)), 1e-9, "in any order")
		require.Equal(t, x[0], must(Mix(m[0], x[0], 0, x[1])), "nothing added")
		part := m[0] * rapid.Float64Range(0, 1).Draw(t, "part")
		require.InDelta(t, x[0], must(Mix(part, x[0], m[0]-part, x[0])), 1e-9, "split and joined")
	})
	require.Zero(t, must(Mix(0, 5, 0, 7)), "nothing has no age")
}

func TestFlushes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		charge := rapid.Float64Range(1, 5000).Draw(t, "charge")
		heel := charge * rapid.Float64Range(0, 0.9).Draw(t, "heel")
		m, n := rapid.IntRange(0, 20).Draw(t, "m"), rapid.IntRange(0, 20).Draw(t, "n")
		require.InDelta(t, must(Flush(heel, charge, m+n)), must(Flush(heel, charge, m))*must(Flush(heel, charge, n)), 1e-12)

		target := rapid.Float64Range(1e-6, 1).Draw(t, "target")
		need, err := FlushesNeeded(heel, charge, target)
		require.NoError(t, err)
		require.LessOrEqual(t, must(Flush(heel, charge, need)), target*(1+1e-6))
		if need > 0 {
			require.Greater(t, must(Flush(heel, charge, need-1)), target*(1-1e-6))
		}
	})
	_, err := Flush(30, 1000, -1)
	require.EqualError(t, err, "times -1 is outside 0 to 1e+06")
	_, err = FlushesNeeded(1000, 1000, 0.1)
	require.ErrorContains(t, err, "heel 1000 is outside")
	need, err := FlushesNeeded(30, 1000, 1)
	require.NoError(t, err)
	require.Zero(t, need, "nothing to do")
}

func TestSteadyAgeIsWhatChangesTendTo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		run := rapid.Float64Range(1, 100).Draw(t, "run")
		kept := rapid.Float64Range(0, 0.8).Draw(t, "kept")
		age := 0.0
		for range 200 {
			age = must(Mix(kept, age, 1-kept, 0)) + run
		}
		require.InEpsilon(t, age, must(SteadyAge(run, kept)), 1e-9)
	})
}

func TestBlendLiesBetween(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(1, 1000).Draw(t, "a"), rapid.Float64Range(1, 1000).Draw(t, "b")
		got := must(BlendViscosity(a, rapid.Float64Range(0, 1).Draw(t, "share"), b))
		require.True(t, min(a, b)*(1-1e-9) <= got && got <= max(a, b)*(1+1e-9))
	})
}

func TestBallastCapacity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ballast := rapid.Float64Range(0, 50).Draw(t, "ballast")
		pump := rapid.Float64Range(40, 94).Draw(t, "pump")
		humidity := rapid.Float64Range(0, 0.9).Draw(t, "humidity")
		base := must(BallastCapacity(ballast, pump, 20, humidity, DefaultExhaustFactor))
		require.InDelta(t, 2*base, must(BallastCapacity(2*ballast, pump, 20, humidity, DefaultExhaustFactor)), 1e-9*base)
		require.GreaterOrEqual(t, must(BallastCapacity(ballast, pump+5, 20, humidity, DefaultExhaustFactor)), base)
		require.LessOrEqual(t, must(BallastCapacity(ballast, pump, 20, humidity+0.1, DefaultExhaustFactor)), base)
	})
	require.Zero(t, must(BallastCapacity(10, 15, 25, 1, 1.1)), "ballast damper than a cold pump can pass")
	require.Zero(t, must(VapourTolerance(7, 0, 70, 20, 0.5, 1.1)), "valve shut")
}

func TestPressureRiseAndWhatItDoesToThePump(t *testing.T) {
	leak := must(PressureRise(60, 100, 600))
	require.InDelta(t, 0.01, leak, 1e-12)
	require.InDelta(t, 5+0.01*3600/7, must(SystemPressure(leak, 7, 5)), 1e-9)
	require.False(t, math.Signbit(must(PressureRise(60, 0, 600))))
}
