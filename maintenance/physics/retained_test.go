package physics

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// worked is the example of a 7 m3/h pump behind a trap at -35 C, run for a day.
func worked(ballastM3h, lastHours, eta float64) RetainedInput {
	carry, err := CarryOver(7, -35, 1, DefaultGasC)
	if err != nil {
		panic(err)
	}
	return RetainedInput{
		OilG: 870, CarryRateGH: carry, Hours: 24, BallastM3h: ballastM3h, BallastLastHours: lastHours,
		LeakPaM3S: DefaultLeakPaM3S, StartC: 22, RunningC: 67, WarmTauMin: DefaultWarmTauMin,
		AmbientC: 22, Humidity: DefaultHumidity, Eta: eta, GasC: DefaultGasC,
	}
}

func TestRetainedReadsAsTheWorkedExample(t *testing.T) {
	for name, c := range map[string]struct {
		in   RetainedInput
		want float64
		tol  float64
	}{
		"shut":                            {worked(0, 0, 1), 27.54, 0.005},
		"open all the time":               {worked(0.35, 24, 1), 0.019, 0.0005},
		"open in the last hour":           {worked(0.35, 1, 1), 0.019, 0.0005},
		"last hour, a fifth of the purge": {worked(0.35, 1, 0.2), 10.58, 0.005},
		"last hour, a twentieth":          {worked(0.35, 1, 0.05), 22.44, 0.005},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := Retained(c.in)
			require.NoError(t, err)
			require.InDelta(t, c.want, got, c.tol)
		})
	}
}

// euler integrates the same balance with tiny explicit steps: slow, and nothing in
// common with the implicit method but the right-hand side.
func euler(in RetainedInput, stepH float64) float64 {
	w := in.StartWaterG
	for t := 0.0; t < in.Hours-stepH/2; t += stepH {
		ballast := 0.0
		if t+stepH/2 > in.Hours-in.BallastLastHours {
			ballast = in.BallastM3h
		}
		o := in.outlet(ballast)
		half := max(0, w+stepH/2*o.at(t).rate(w))
		w = max(0, w+stepH*o.at(t+stepH/2).rate(half))
	}
	return w
}

func genRetained(t *rapid.T) RetainedInput {
	hours := rapid.Float64Range(0, 40).Draw(t, "hours")
	return RetainedInput{
		StartWaterG:      rapid.Float64Range(0, 60).Draw(t, "start water"),
		OilG:             rapid.Float64Range(100, 3000).Draw(t, "oil"),
		CarryRateGH:      rapid.Float64Range(0, 20).Draw(t, "carry"),
		Hours:            hours,
		BallastM3h:       rapid.Float64Range(0, 2).Draw(t, "ballast"),
		BallastLastHours: hours * rapid.Float64Range(0, 1).Draw(t, "part"),
		LeakPaM3S:        rapid.Float64Range(0, 0.1).Draw(t, "leak"),
		StartC:           rapid.Float64Range(-5, 90).Draw(t, "start"),
		RunningC:         rapid.Float64Range(0, 95).Draw(t, "running"),
		WarmTauMin:       rapid.Float64Range(1, 200).Draw(t, "tau"),
		AmbientC:         rapid.Float64Range(-20, 40).Draw(t, "ambient"),
		Humidity:         rapid.Float64Range(0, 1).Draw(t, "humidity"),
		Eta:              rapid.Float64Range(0, 1).Draw(t, "eta"),
		GasC:             DefaultGasC,
	}
}

func TestRetainedAgreesWithExplicitSteps(t *testing.T) {
	for _, in := range []RetainedInput{worked(0.35, 1, 0.2), worked(0.1, 12, 0.6), worked(0, 0, 0.5)} {
		got, err := Retained(in)
		require.NoError(t, err)
		require.InDelta(t, euler(in, 1.0/7200), got, 2e-4)
	}
}

func TestRetainedInTwoPartsIsAsInOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := genRetained(t)
		in.BallastLastHours = in.Hours
		whole, err := Retained(in)
		require.NoError(t, err)

		first, second := in, in
		first.Hours *= rapid.Float64Range(0, 1).Draw(t, "cut")
		first.BallastLastHours = first.Hours
		second.Hours -= first.Hours
		second.BallastLastHours = second.Hours
		second.StartWaterG, err = Retained(first)
		require.NoError(t, err)
		second.StartC, err = PumpTemp(in.StartC, in.RunningC, in.WarmTauMin, first.Hours*60)
		require.NoError(t, err)
		got, err := Retained(second)
		require.NoError(t, err)
		require.InDelta(t, whole, got, 1e-3+1e-4*whole)
	})
}

func TestRetainedNeverMakesWater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := genRetained(t)
		in.BallastM3h = 0
		got, err := Retained(in)
		require.NoError(t, err)
		require.GreaterOrEqual(t, got, 0.0)
		require.LessOrEqual(t, got, in.StartWaterG+in.CarryRateGH*in.Hours+1e-6)
	})
}

func TestMoreWaterInNeverLeavesLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := genRetained(t)
		less, err := Retained(in)
		require.NoError(t, err)
		in.StartWaterG += rapid.Float64Range(0, 50).Draw(t, "more at the start")
		in.CarryRateGH += rapid.Float64Range(0, 5).Draw(t, "more on the way")
		more, err := Retained(in)
		require.NoError(t, err)
		require.GreaterOrEqual(t, more, less-1e-3-1e-4*less)
	})
}

func TestPurgeCapacity(t *testing.T) {
	got, err := PurgeCapacity(worked(0.35, 24, 1))
	require.NoError(t, err)
	require.InDelta(t, 80.2369, got, 1e-3)

	cold := worked(0.35, 24, 1)
	cold.RunningC, cold.AmbientC, cold.Humidity = 10, 35, 1
	got, err = PurgeCapacity(cold)
	require.NoError(t, err)
	require.Zero(t, got, "ballast damper than the pump can carry")
}

func TestRetainedRefuses(t *testing.T) {
	in := worked(0.35, 25, 1)
	_, err := Retained(in)
	require.EqualError(t, err, "ballast hours 25 h is outside 0 to 24 h")
	_, err = PurgeCapacity(in)
	require.ErrorAs(t, err, &RangeError{})
}

func BenchmarkRetainedShut(b *testing.B)     { benchRetained(b, worked(0, 0, 0.2)) }
func BenchmarkRetainedOpen(b *testing.B)     { benchRetained(b, worked(0.35, 24, 0.2)) }
func BenchmarkRetainedLastHour(b *testing.B) { benchRetained(b, worked(0.35, 1, 0.2)) }

func benchRetained(b *testing.B, in RetainedInput) {
	b.ReportAllocs()
	for b.Loop() {
		_, _ = Retained(in)
	}
}

// Rough steps are for the ends of intervals: tens of milligrams, not grams, from the fine ones.
func TestRoughStepsStayNear(t *testing.T) {
	for _, ballastH := range []float64{0, 1, 24} {
		in := RetainedInput{
			OilG: 870, CarryRateGH: 1.156, Hours: 24, BallastM3h: 0.35, BallastLastHours: ballastH, LeakPaM3S: DefaultLeakPaM3S,
			StartC: 22, RunningC: 67, WarmTauMin: 20, AmbientC: 22, Humidity: DefaultHumidity, Eta: DefaultEta, GasC: DefaultGasC,
		}
		fine := must(Retained(in))
		in.Rough = true
		require.InDelta(t, fine, must(Retained(in)), 0.03, "ballast open for the last %v h", ballastH)
	}
}
