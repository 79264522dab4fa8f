package chart_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance/chart"
)

// drawn are readings of a pump whose level wanders, so that every verdict comes up.
func drawn(t *rapid.T) (all []chart.Reading) {
	charge, fresh, level := 1, true, 0.0
	for range rapid.IntRange(0, 64).Draw(t, "n") {
		if rapid.IntRange(0, 2).Draw(t, "change") == 0 {
			charge, fresh = charge+1, rapid.Bool().Draw(t, "fresh")
		}
		if rapid.IntRange(0, 5).Draw(t, "shift") == 0 {
			level = rapid.Float64Range(-1, 2).Draw(t, "level")
		}
		all = append(all, chart.Reading{LnPa: level + rapid.Float64Range(-0.3, 0.3).Draw(t, "scatter"), Charge: charge, Fresh: fresh})
	}
	return all
}

// What is up is not less so with a higher last reading: the pump stays blamed, a signal
// stays, and what did not clear the pump does not clear it now.
func TestHigherIsNotLessSuspicious(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := drawn(t)
		if len(readings) == 0 {
			return
		}
		before := chart.Judge(readings)
		if before.N == 0 || before.From+before.N == len(readings) {
			return // the last reading is part of what it is held against
		}
		higher := slices.Clone(readings)
		higher[len(higher)-1].LnPa += rapid.Float64Range(0, 5).Draw(t, "more")
		after := chart.Judge(higher)
		if after.From+after.N == len(readings) || after.From != before.From {
			return
		}
		require.GreaterOrEqual(t, after.EWMA, before.EWMA)
		require.GreaterOrEqual(t, after.CUSUM, before.CUSUM)
		require.GreaterOrEqual(t, after.Signal, before.Signal)
		if before.Verdict == chart.Pump {
			require.Equal(t, chart.Pump, after.Verdict)
		}
		if before.Verdict == chart.TooFew {
			require.Contains(t, []chart.Verdict{chart.TooFew, chart.Pump}, after.Verdict)
		}
		if after.Verdict == chart.Oil {
			require.Equal(t, chart.Oil, before.Verdict)
		}
	})
}

// Another unit of pressure, and another numbering of the charges, change nothing but levels.
func TestUnitsDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := drawn(t)
		shift, more := rapid.Float64Range(-8, 8).Draw(t, "ln k"), rapid.IntRange(-5, 1000).Draw(t, "charges before")
		before := chart.Judge(readings)
		for i := range readings {
			readings[i].LnPa += shift
			readings[i].Charge += more
		}
		after := chart.Judge(readings)
		require.Equal(t, []any{before.Verdict, before.Want, before.From, before.N, before.Signal, before.AfterN, before.New},
			[]any{after.Verdict, after.Want, after.From, after.N, after.Signal, after.AfterN, after.New})
		require.InDelta(t, before.Factor, after.Factor, 1e-6*before.Factor)
		require.InDelta(t, before.CUSUM, after.CUSUM, 1e-6)
		if before.N > 0 {
			require.InDelta(t, before.Centre+shift, after.Centre, 1e-9)
		}
	})
}

// A mad reading among quiet ones raises no signal, wherever it stands and however mad it is.
func TestOneMadReadingIsNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var readings []chart.Reading
		for i := range rapid.IntRange(9, 64).Draw(t, "n") {
			readings = append(readings, chart.Reading{LnPa: rapid.Float64Range(-0.14, 0.14).Draw(t, "x"), Charge: 1 + i/2, Fresh: i%4 < 2})
		}
		readings[rapid.IntRange(0, len(readings)-1).Draw(t, "which")].LnPa = rapid.Float64Range(-20, 20).Draw(t, "mad")
		f := chart.Judge(readings)
		require.Equal(t, -1, f.Signal)
		require.Zero(t, f.From, "nor another start")
		require.Equal(t, chart.Steady, f.Verdict)
	})
}

// No pump is blamed without new oil since the signal, two readings on it, and a rise.
func TestBlameHasItsReasons(t *testing.T) {
	blamed := 0
	rapid.Check(t, func(t *rapid.T) {
		readings := drawn(t)
		f := chart.Judge(readings)
		if f.Verdict != chart.Pump {
			return
		}
		blamed++
		onNew := 0
		for _, r := range readings[f.Signal:] {
			if r.Fresh && r.Charge > readings[f.Signal].Charge {
				onNew++
			}
		}
		require.GreaterOrEqual(t, onNew, 2)
		require.True(t, f.New)
	})
	require.NotZero(t, blamed)
}

func FuzzJudge(f *testing.F) {
	f.Add([]byte("\x00\x11\x22\x33\x44\x55\x66\x77\x88\x99\xaa\xbb"))
	f.Add([]byte{0, 0, 0, 0, 0, 0, 0, 0, 255, 254, 253, 252, 251, 250})
	odd := []float64{math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, -math.MaxFloat64, 0, 5e-324}
	f.Fuzz(func(t *testing.T, raw []byte) {
		var readings []chart.Reading
		charge := 0
		for _, b := range raw {
			charge += int(b >> 7)
			x := float64(b&31) / 4
			if b&32 != 0 {
				x = odd[int(b&31)%len(odd)]
			}
			readings = append(readings, chart.Reading{LnPa: x, Charge: charge, Fresh: b&64 != 0})
		}
		before := slices.Clone(readings)
		found := chart.Judge(readings)
		require.NotEmpty(t, found.Verdict.String()+found.Want.String())
		require.Less(t, found.Signal, len(readings))
		if len(readings) < 9 {
			require.Equal(t, chart.TooFew, found.Verdict)
		}
		for i := range readings {
			require.Equal(t, math.Float64bits(before[i].LnPa), math.Float64bits(readings[i].LnPa), "the readings are the caller's")
		}
	})
}

func TestJudgeAllocatesNothing(t *testing.T) {
	readings := long()
	require.Zero(t, testing.AllocsPerRun(10, func() { chart.Judge(readings) }))
}

func BenchmarkJudge(b *testing.B) {
	readings := long()
	b.ReportAllocs()
	for b.Loop() {
		chart.Judge(readings)
	}
}

// long are 64 readings with a rise that stays open on one charge for most of them.
func long() (all []chart.Reading) {
	for i := range 64 {
		x := 0.1 * float64(i%3)
		if i >= 20 {
			x++
		}
		all = append(all, chart.Reading{LnPa: x, Charge: min(i, 20), Fresh: i < 20})
	}
	return all
}
