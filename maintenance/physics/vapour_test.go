package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// murphyKoop is a second published law for ice, Murphy & Koop 2005 Eq. 7: a witness
// that shares nothing with ours, itself checked by its printed values.
func murphyKoop(tK float64) float64 {
	return math.Exp(9.550426 - 5723.265/tK + 3.53068*math.Log(tK) - 0.00728332*tK)
}

func TestIcePressureAgreesWithAnotherLaw(t *testing.T) {
	for tC := -120.0; tC <= 0; tC += 0.5 {
		got, err := IcePressure(tC)
		require.NoError(t, err)
		require.InEpsilon(t, murphyKoop(tC+zeroC), got, 2e-3, "at %g C", tC)
	}
}

// wagnerPruss is a second law for water, the auxiliary equation of Wagner & Pruss 1993
// (IAPWS SR1-86), itself checked by its own figures; it and IF97 are as far apart as the
// two stand from the measured.
func wagnerPruss(tK float64) float64 {
	x := 1 - tK/647.096
	return 22.064e6 * math.Exp(647.096/tK*(-7.85951783*x+1.84408259*math.Pow(x, 1.5)-11.7866497*math.Pow(x, 3)+
		22.6807411*math.Pow(x, 3.5)-15.9618719*math.Pow(x, 4)+1.80122502*math.Pow(x, 7.5)))
}

const wagnerPrussApart = 2e-4

func TestWaterPressureAgreesWithAnotherLaw(t *testing.T) {
	for tC := 0.5; tC <= 373; tC += 0.5 {
		require.InEpsilon(t, wagnerPruss(tC+zeroC), must(WaterPressure(tC)), wagnerPrussApart, "at %g C", tC)
	}
}

func TestPressureRisesWithTemperature(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cold := rapid.Float64Range(-150, 0).Draw(t, "cold")
		warm := rapid.Float64Range(cold, 0.01).Draw(t, "warm")
		require.LessOrEqual(t, must(IcePressure(cold)), must(IcePressure(warm)))
		require.LessOrEqual(t, must(WaterPressure(cold+150)), must(WaterPressure(warm+150)))
	})
}

func TestFrostPointIsTheInverseOfIcePressure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tC := rapid.Float64Range(-129, 0.01).Draw(t, "temperature")
		require.InDelta(t, tC, must(FrostPoint(must(IcePressure(tC)))), 1e-9)
	})
}

func TestBoilingPointIsTheInverseOfWaterPressure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tC := rapid.Float64Range(0.001, 373.9).Draw(t, "temperature")
		require.InDelta(t, tC, must(BoilingPoint(must(WaterPressure(tC)))), 1e-5)
	})
}

func TestHumidityOfAColdRoomIsAgainstIce(t *testing.T) {
	require.Equal(t, must(IcePressure(-5)), saturation(-5))
	require.Equal(t, must(WaterPressure(5)), saturation(5))
}

func TestCarryOverAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		speed := rapid.Float64Range(0.1, 100).Draw(t, "speed")
		trap := rapid.Float64Range(-100, 0).Draw(t, "trap")
		first := rapid.Float64Range(0, 100).Draw(t, "first")
		second := rapid.Float64Range(0, 100).Draw(t, "second")
		whole := must(CarryOver(speed, trap, first+second, 20))
		parts := must(CarryOver(speed, trap, first, 20)) + must(CarryOver(speed, trap, second, 20))
		require.InDelta(t, whole, parts, 1e-9+1e-9*whole)
		require.LessOrEqual(t, must(CarryOver(speed, trap-1, first, 20)), must(CarryOver(speed, trap, first, 20)))
	})
}

func TestEffectiveSpeedIsBelowBoth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		speed := rapid.Float64Range(0.1, 1000).Draw(t, "speed")
		line := rapid.Float64Range(0.1, 1000).Draw(t, "line")
		got := must(EffectiveSpeed(speed, line))
		require.Less(t, got, min(speed, line))
		require.Equal(t, got, must(EffectiveSpeed(line, speed)))
	})
}
