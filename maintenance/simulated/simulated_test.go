package simulated_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance/simulated"
)

const drawn = 20_000 // a share then scatters by 0.0035, a mean of logarithms by 0.007 of their spread

var world = simulated.Unlike(0.5, 0.25)

func TestTheTruthsAreUnlikeTheAssumed(t *testing.T) {
	var logs []float64
	for seed := range uint64(drawn) {
		logs = append(logs, math.Log(world.Pump(seed).Truth))
	}
	slices.Sort(logs)
	at := func(share float64) float64 { return logs[int(share*drawn)] }
	require.InDelta(t, math.Log(1.3), at(0.5), 0.03)
	require.InDelta(t, 2*0.5, (at(0.8413)-at(0.1587))/2, 0.03) // one standard deviation either side
}

func TestValuesScatterAndSomeAreWrong(t *testing.T) {
	within, gross, high := 0, 0, 0
	for seed := range uint64(drawn) {
		p := world.Pump(seed)
		require.InDelta(t, 0, math.Log(p.Noise/0.25), math.Log(1.43)) // 0.7 to 1.4 times
		off := math.Log(p.Ratio() / p.Truth)
		if math.Abs(off) < p.Noise {
			within++
		}
		if math.Abs(off) > 4*p.Noise {
			gross++
		}
		if off > 0 {
			high++
		}
	}
	require.InDelta(t, 0.95*0.683, float64(within)/drawn, 0.015)
	require.InDelta(t, 0.05, float64(gross)/drawn, 0.008)
	require.InDelta(t, 0.5, float64(high)/drawn, 0.015)
}

func TestAVerdictTurnsAtTheTruth(t *testing.T) {
	passed := map[float64]int{}
	for seed := range uint64(drawn) {
		for _, after := range []float64{0.3, 1, 3} {
			p := world.Pump(seed)
			if p.Passed(after * p.Truth) {
				passed[after]++
			}
		}
	}
	require.InDelta(t, 0.025, float64(passed[0.3])/drawn, 0.01) // gross errors alone
	require.InDelta(t, 0.5, float64(passed[1])/drawn, 0.015)
	require.InDelta(t, 0.975, float64(passed[3])/drawn, 0.01)
}

func TestASeedIsAPump(t *testing.T) {
	one, same, other := world.Pump(7), world.Pump(7), world.Pump(8)
	require.Equal(t, one.Truth, same.Truth)
	ratios := one.Ratios(5)
	require.Len(t, ratios, 5)
	require.Equal(t, ratios, same.Ratios(5))
	require.NotEqual(t, one.Truth, other.Truth)
	require.NotEqual(t, ratios, other.Ratios(5))
}

func TestBetween(t *testing.T) {
	p, lower := world.Pump(1), 0
	for range drawn {
		x := p.Between(0.5, 8)
		require.True(t, x >= 0.5 && x < 8)
		if x < 2 { // half of the doublings
			lower++
		}
	}
	require.InDelta(t, 0.5, float64(lower)/drawn, 0.015)
}
