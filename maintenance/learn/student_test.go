package learn

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// NIST/SEMATECH e-Handbook 1.3.6.7.2, upper critical values of Student's t, four degrees
// of freedom; printed to 0.001.
func TestStudentShare(t *testing.T) {
	for share, z := range map[float64]float64{0.90: 1.533, 0.95: 2.132, 0.975: 2.776, 0.99: 3.747, 0.995: 4.604, 0.999: 7.173} {
		require.InDelta(t, share, studentShare(z/2), 1e-4)
		require.InDelta(t, 1-share, studentShare(-z/2), 1e-4)
	}
	require.InDelta(t, 0.95, studentShare(normal95/yielding/2), 1e-4)
}

// The five scales' weights are probabilities.
func TestWeights(t *testing.T) {
	sum := 0.0
	for _, w := range weight {
		sum += w
	}
	require.InDelta(t, 1, sum, 1e-12)
}

const normal95 = 1.6449 // 95 % point of the normal distribution, NIST/SEMATECH 1.3.6.7.1

// An observation at the far end of the widest prior does not run out of a float64.
func TestProductsStayFinite(t *testing.T) {
	p := Prior{SDLog: 5}
	var far []Observation
	for i := range Most {
		far = append(far, Observation{Ratio: []float64{math.SmallestNonzeroFloat64, math.MaxFloat64}[i%2]})
	}
	b := p.belief(far, p.SDLog/finest)
	for _, x := range []float64{-reach * finest, 0, reach * finest} {
		require.False(t, math.IsInf(b.logDensity(x), 0), "at %v", x)
	}
}
