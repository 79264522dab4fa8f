package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func genOil(t *rapid.T) Oil {
	v40 := rapid.Float64Range(2, 3000).Draw(t, "v40")
	return Oil{
		V40:       v40,
		V100:      rapid.Float64Range(max(0.6, v40/40), v40*0.6).Draw(t, "v100"),
		Density15: rapid.Float64Range(800, 980).Draw(t, "density"),
	}
}

func TestViscosityPassesThroughItsPointsAndFalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		oil := genOil(t)
		require.InEpsilon(t, oil.V40, must(oil.Viscosity(40)), 1e-9)
		require.InEpsilon(t, oil.V100, must(oil.Viscosity(100)), 1e-9)
		cold := rapid.Float64Range(-20, 149).Draw(t, "cold")
		thick, err1 := oil.Viscosity(cold)
		thin, err2 := oil.Viscosity(cold + 1)
		if err1 != nil || err2 != nil {
			t.Skip("beyond the viscosities of the standard")
		}
		require.Greater(t, thick, thin)
	})
}

func TestTempAtViscosityIsTheInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		oil := genOil(t)
		tC := rapid.Float64Range(-20, 150).Draw(t, "temperature")
		nu, err := oil.Viscosity(tC)
		if err != nil {
			t.Skip("beyond the viscosities of the standard")
		}
		require.InDelta(t, tC, must(oil.TempAtViscosity(nu)), 1e-6)
	})
}

// An oil that thins without measure is thicker in the cold, and thinner in the heat, than
// the standard goes: the range of temperatures ends where it does.
func TestViscosityBeyondTheStandard(t *testing.T) {
	steep := Oil{V40: 10_000, V100: 0.5}
	for tC, says := range map[float64]string{-20: "temp -20 C is outside 31 to 126 C", 22: "temp 22 C is outside 31 to 126 C", 150: "temp 150 C is outside 31 to 126 C"} {
		_, err := steep.Viscosity(tC)
		require.EqualError(t, err, says)
	}
	require.InEpsilon(t, 2e7, must(steep.Viscosity(31.003)), 1e-2)
	_, err := steep.TempAtViscosity(1e9)
	require.EqualError(t, err, "viscosity 1e+09 mm2/s is outside 0.21 to 2e+07 mm2/s")
	steep.Density15 = DefaultDensity15
	_, err = SettlingHours(30, 100, steep, 5)
	require.EqualError(t, err, "temp 5 C is outside 31 to 126 C")
}

func TestTempAtViscosityOutOfReach(t *testing.T) {
	_, err := vg68.TempAtViscosity(1e6)
	require.ErrorContains(t, err, "viscosity 1e+06 mm2/s is outside")
	_, err = Oil{V40: 68, V100: 68}.Viscosity(20)
	require.EqualError(t, err, "v100 68 mm2/s is outside 0.5 to 67.3 mm2/s", "oil that does not thin")
}

// viQuadratics is the other form in which ASTM D2270 gives its Table 1, from
// memory: the range that each pair of quadratics begins, and their coefficients.
var viQuadratics = []struct {
	from float64
	l, h [3]float64
}{
	{2.0, [3]float64{1.14673, 1.7576, -0.109}, [3]float64{0.84155, 1.5521, -0.077}},
	{3.8, [3]float64{3.38095, -15.4952, 33.196}, [3]float64{0.78571, 1.7929, -0.183}},
	{4.4, [3]float64{2.5000, -7.2143, 13.812}, [3]float64{0.82143, 1.5679, 0.119}},
	{5.0, [3]float64{0.10100, 16.6350, -45.469}, [3]float64{0.04985, 9.1613, -18.557}},
	{6.4, [3]float64{3.35714, -23.5643, 78.466}, [3]float64{0.22619, 7.7369, -16.656}},
	{7.0, [3]float64{0.01191, 21.4750, -72.870}, [3]float64{0.79762, -0.7321, 14.610}},
	{7.7, [3]float64{0.41858, 16.1558, -56.040}, [3]float64{0.05794, 10.5156, -28.240}},
	{9.0, [3]float64{0.88779, 7.5527, -16.600}, [3]float64{0.26665, 6.7015, -10.810}},
	{12, [3]float64{0.76720, 10.7972, -38.180}, [3]float64{0.20073, 8.4658, -22.490}},
	{15, [3]float64{0.97305, 5.3135, -2.200}, [3]float64{0.28889, 5.9741, -4.930}},
	{18, [3]float64{0.97256, 5.2500, -0.980}, [3]float64{0.24504, 7.4160, -16.730}},
	{22, [3]float64{0.91413, 7.4759, -21.820}, [3]float64{0.20323, 9.1267, -34.230}},
	{28, [3]float64{0.87031, 9.7157, -50.770}, [3]float64{0.18411, 10.1015, -46.750}},
	{40, [3]float64{0.84703, 12.6752, -133.310}, [3]float64{0.17029, 11.4866, -80.620}},
	{55, [3]float64{0.85921, 11.1009, -83.190}, [3]float64{0.17130, 11.3680, -76.940}},
}

func viQuadratic(v100 float64) (l, h float64) {
	k := len(viQuadratics) - 1
	for viQuadratics[k].from > v100+1e-9 {
		k--
	}
	of := func(c [3]float64) float64 { return (c[0]*v100+c[1])*v100 + c[2] }
	return of(viQuadratics[k].l), of(viQuadratics[k].h)
}

func TestEveryCellOfTable1AgreesWithTheQuadratics(t *testing.T) {
	cells := 0
	for _, run := range viTable {
		require.Len(t, run.h, len(run.l))
		for i := range run.l {
			v100 := run.from + float64(i)*run.step
			l, h := viQuadratic(v100)
			require.InEpsilon(t, l, run.l[i], 1e-3, "L at %g", v100)
			require.InEpsilon(t, h, run.h[i], 1e-3, "H at %g", v100)
			cells++
		}
	}
	require.Equal(t, 181+51+81, cells, "20 and 30 stand in two runs")
}

func TestIndexOfTheViscosityForAnIndex(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v40 := rapid.Float64Range(7, 4000).Draw(t, "v40")
		index := rapid.Float64Range(0, 100).Draw(t, "index")
		v100, ok := v100ForIndex(v40, index)
		if !ok {
			t.Skip("too thin for an index")
		}
		require.InDelta(t, index, must(ViscosityIndex(v40, v100)), 1e-6)
	})
}

func TestOilOfGrade(t *testing.T) {
	for text, want := range map[string]Oil{
		"VG 68": {68, 8.6, 870}, "vg68": {68, 8.6, 870}, "ISO VG 68": {68, 8.6, 870}, "68": {68, 8.6, 870}, " iso-vg-68 ": {68, 8.6, 870},
		"VG100": {100, 11.1, 870}, "46": {46, 6.645, 870},
	} {
		t.Run(text, func(t *testing.T) {
			oil, err := OilOfGrade(text)
			require.NoError(t, err)
			require.Equal(t, want.V40, oil.V40)
			require.InDelta(t, want.V100, oil.V100, 1e-3)
			require.Equal(t, want.Density15, oil.Density15)
		})
	}
}

func TestOilOfGradeRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"": "is not an ISO viscosity grade", "SAE 30": "is not an ISO viscosity grade", "80": "is none of the ISO 3448 grades",
		"VG 5": "too thin", "68.5": "is not an ISO viscosity grade", "VG -68 000": "is not an ISO viscosity grade",
	} {
		t.Run(text, func(t *testing.T) {
			_, err := OilOfGrade(text)
			require.ErrorContains(t, err, says)
		})
	}
	_, _, err := GradeLimits("81")
	require.Error(t, err)
}

func TestEveryGradeIsAnOilOrSaysWhyNot(t *testing.T) {
	for text, v40 := range isoGrades {
		oil, err := OilOfGrade(text)
		if v40 < 6 {
			require.ErrorContains(t, err, "too thin", text)
			continue
		}
		require.NoError(t, err, text)
		index := must(ViscosityIndex(oil.V40, oil.V100))
		require.InDelta(t, 95, index, 2, text)
	}
}

func FuzzOilOfGrade(f *testing.F) {
	for _, seed := range []string{"VG 68", "iso vg 100", "46", "", "VG", "9999", "ＶＧ６８", "68\n"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		oil, err := OilOfGrade(text)
		if err != nil {
			require.Zero(t, oil)
			return
		}
		require.NoError(t, oil.check())
		low, high, err := GradeLimits(text)
		require.NoError(t, err)
		require.True(t, low < oil.V40 && oil.V40 < high)
	})
}

func TestVolumeThereAndBackIsTheIdentity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		density := rapid.Float64Range(800, 1164).Draw(t, "density")
		tC := rapid.Float64Range(-50, 149).Draw(t, "temperature")
		litres := rapid.Float64Range(0.01, 10).Draw(t, "litres")
		at15 := litres * must(VolumeFactor(density, tC))
		require.InEpsilon(t, litres, at15*density/must(OilDensity(density, tC)), 1e-12, "mass is kept")
		require.Greater(t, must(OilDensity(density, tC)), must(OilDensity(density, tC+1)))
	})
	require.Equal(t, 1.0, must(VolumeFactor(870, 15)))
}

// Tanaka et al., Metrologia 38 (2001) 301, from memory, 0 to 40 C; the other
// values are from memory of the IAPWS tables.
func TestWaterDensityAgreesWithAnotherLaw(t *testing.T) {
	for tC := 0.0; tC <= 40; tC++ {
		tanaka := 999.974950 * (1 - math.Pow(tC-3.983035, 2)*(tC+301.797)/(522528.9*(tC+69.34881)))
		require.InDelta(t, tanaka, must(WaterDensity(tC)), 0.01, "at %g C", tC)
	}
	for tC, want := range map[float64]float64{60: 983.20, 80: 971.79, 100: 958.35} {
		require.InDelta(t, want, must(WaterDensity(tC)), 0.02, "at %g C", tC)
	}
}
