package physics

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance/witness"
)

// spread gives n values from low to high, ends included.
func spread(low, high float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = low + (high-low)*float64(i)/float64(n-1)
	}
	return out
}

func shifted(values []float64, by float64) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = v + by
	}
	return out
}

// logSpread gives n values from low to high, each the same times the one before.
func logSpread(low, high float64, n int) []float64 {
	out := spread(math.Log(low), math.Log(high), n)
	for i := range out {
		out[i] = min(max(math.Exp(out[i]), low), high)
	}
	return out
}

// The IAPWS package holds the same releases, written by others, and IAPWS-95, the
// equation of state to which the short ones were fitted.
func TestWaterAgreesWithTheIAPWSPackage(t *testing.T) {
	ice := spread(-223, 0.009, 1000)
	water := spread(0, 373, 1000)
	steam := spread(0.02, 100, 41)
	liquid := spread(0.5, 99.5, 34)
	boils := logSpread(612, 22e6, 1000)
	frosts := logSpread(1e-6, 611.6, 1000)
	var theirs struct {
		Ice, Water, Saturated, Boils, Frosts, Density []float64
		IceDensity                                    float64 `json:"ice_density"`
		MeltedDensity                                 float64 `json:"melted_density"`
		Fusion                                        float64
	}
	witness.Ask(t, "steam.py", map[string]any{
		"ice": shifted(ice, zeroC), "water": shifted(water, zeroC), "saturated": shifted(steam, zeroC),
		"density": shifted(liquid, zeroC), "boils": boils, "frosts": frosts,
	}, &theirs)

	// The same equations in the same floating point, summed in another order; the exponential
	// and the cancelling sums make some hundred units in the last place of it.
	var g witness.Gap
	for i, tC := range ice {
		g.Of(tC, must(IcePressure(tC)), theirs.Ice[i], theirs.Ice[i])
	}
	g.Within(t, 1e-12, "pressure over ice")

	g = witness.Gap{}
	for i, tC := range water {
		g.Of(tC, must(WaterPressure(tC)), theirs.Water[i], theirs.Water[i])
	}
	g.Within(t, 1e-12, "pressure over water")

	// Two formulations of one thing, each with an uncertainty of some hundredths of a
	// percent: they differ by 0.007 % at 36 C.
	g = witness.Gap{}
	for i, tC := range steam {
		g.Of(tC, must(WaterPressure(tC)), theirs.Saturated[i], theirs.Saturated[i])
	}
	g.Within(t, 1e-4, "pressure over water by IAPWS-95")

	g = witness.Gap{}
	for i, p := range boils {
		g.Of(p, must(BoilingPoint(p)), theirs.Boils[i]-zeroC, 1)
	}
	g.Within(t, 1e-9, "boiling point, K")

	// Their side is a root search in the pressure itself, ours Newton's method in its logarithm.
	g = witness.Gap{}
	for i, p := range frosts {
		g.Of(p, must(FrostPoint(p)), theirs.Frosts[i]-zeroC, 1)
	}
	g.Within(t, 1e-9, "frost point, K")

	// Kell's polynomial is of 1975, on the temperature scale of then: 0.02 of 1000 kg/m3.
	g = witness.Gap{}
	for i, tC := range liquid {
		g.Of(tC, must(WaterDensity(tC)), theirs.Density[i], 1)
	}
	g.Within(t, 0.02, "density of water, kg/m3")

	require.InEpsilon(t, theirs.IceDensity, iceDensity, 1e-11)
	require.InDelta(t, theirs.MeltedDensity, waterDensityAtZero, 0.005, "printed to 0.01 kg/m3")
	require.InDelta(t, theirs.Fusion, fusionJKg, 10, "printed to 10 J/kg")
}

// stretches draws invented stretches of running: sumps of every size, the ballast shut,
// open, or open in the last hours, runs from minutes to days.
func stretches(n int) []RetainedInput {
	draw := rand.New(rand.NewPCG(7, 68))
	from := func(low, high float64) float64 { return low + (high-low)*draw.Float64() }
	out := make([]RetainedInput, n)
	for i := range out {
		in := RetainedInput{
			StartWaterG: from(0, 40), OilG: from(200, 2000), CarryRateGH: from(0, 6), Hours: from(0.1, 48),
			BallastM3h: from(0, 1.5), LeakPaM3S: math.Exp(from(math.Log(1e-5), math.Log(0.1))),
			StartC: from(2, 70), RunningC: from(30, 90), WarmTauMin: from(5, 90), AmbientC: from(-5, 35),
			Humidity: from(0, 1), Eta: from(0, 1), GasC: from(10, 35),
		}
		if i%5 == 0 {
			in.StartWaterG = 0 // dry oil
		}
		switch i % 3 {
		case 0: // shut
		case 1:
			in.BallastLastHours = in.Hours
		case 2:
			in.BallastLastHours = from(0, 1) * in.Hours
		}
		out[i] = in
	}
	return out
}

// retainedElsewhere is what the script makes of the same stretches, in SI units.
func retainedElsewhere(t *testing.T, ins []RetainedInput) (grams []float64) {
	t.Helper()
	question := make([]map[string]float64, len(ins))
	for i, in := range ins {
		question[i] = map[string]float64{
			"water": in.StartWaterG / 1e3, "oil": in.OilG / 1e3, "carry": in.CarryRateGH / 3.6e6, "end": in.Hours * 3600,
			"air": in.BallastM3h / 3600, "open": in.BallastLastHours * 3600, "leak": in.LeakPaM3S, "start": in.StartC,
			"running": in.RunningC, "tau": in.WarmTauMin * 60, "room": in.AmbientC, "humidity": in.Humidity,
			"eta": in.Eta, "gas": in.GasC,
		}
	}
	witness.Ask(t, "retained.py", question, &grams)
	require.Len(t, grams, len(ins))
	return grams
}

// The balance solved by another's integrator, from an equation written anew. Ours steps to
// a millionth: of a thousand stretches the worst is then 1.6 mg off, half of them below a
// microgram. The book counts in milligrams; what is not known of a pump is grams.
func TestRetainedAgreesWithAnotherIntegrator(t *testing.T) {
	ins := stretches(300)
	var g witness.Gap
	for i, theirs := range retainedElsewhere(t, ins) {
		g.Of(float64(i), must(Retained(ins[i])), theirs, 1)
	}
	g.Within(t, 2e-3, "water kept, g")
}

// What stands here in closed form, another program integrates or searches.
func TestClosedFormsAgreeWithQuadrature(t *testing.T) {
	draw := rand.New(rand.NewPCG(100, 4))
	rows := func(n int, ranges ...[2]float64) [][]float64 {
		out := make([][]float64, n)
		for i := range out {
			for _, r := range ranges {
				out[i] = append(out[i], r[0]+(r[1]-r[0])*draw.Float64())
			}
		}
		return out
	}
	ageing := rows(200, [2]float64{0.01, 72}, [2]float64{-20, 100}, [2]float64{-20, 100}, [2]float64{2, 200}, [2]float64{40, 80})
	cleared := rows(200, [2]float64{0.5, 300}, [2]float64{3, 100}, [2]float64{1.1, 4})
	thickness := rows(200, [2]float64{2, 1500}, [2]float64{0, 1}, [2]float64{-20, 150})
	closes := rows(100, [2]float64{22, 320}, [2]float64{0, 1}, [2]float64{60, 90}, [2]float64{60, 70}, [2]float64{5, 25}, [2]float64{20, 120}, [2]float64{1.5, 4})
	for _, row := range append(thickness, closes...) {
		row[1] = row[0] * (0.05 + 0.15*row[1]) // the second is how far it thins until 100 C
		row[1] = max(row[1], v100Range.low)
	}
	var theirs struct{ Ageing, Cleared, Viscosity, Closes []float64 }
	witness.Ask(t, "numerics.py", map[string][][]float64{"ageing": ageing, "cleared": cleared, "viscosity": thickness, "closes": closes}, &theirs)

	// Their quadratures are asked for 1e-12; ours are sums and functions good to 1e-14, and
	// series whose terms cancel.
	var g witness.Gap
	for i, a := range ageing {
		g.Of(float64(i), must(ThermalHoursRun(a[0], a[1], a[2], a[3], a[4])), theirs.Ageing[i], theirs.Ageing[i])
	}
	g.Within(t, 1e-11, "thermal hours of a run")

	g = witness.Gap{}
	for i, a := range cleared {
		g.Of(float64(i), logNormalCleared(a[0], a[1], a[2]), theirs.Cleared[i], 1)
	}
	g.Within(t, 1e-11, "share cleared")

	g = witness.Gap{}
	for i, a := range thickness {
		g.Of(float64(i), must(Oil{V40: a[0], V100: a[1]}.Viscosity(a[2])), theirs.Viscosity[i], theirs.Viscosity[i])
	}
	g.Within(t, 1e-11, "viscosity")

	g = witness.Gap{}
	for i, a := range closes {
		minutes, _, err := HotWindow(Oil{V40: a[0], V100: a[1]}, a[2], a[3], a[4], a[5], a[6])
		require.NoError(t, err)
		g.Of(float64(i), minutes, theirs.Closes[i], 1)
	}
	g.Within(t, 1e-6, "close of the hot window, min")
}
