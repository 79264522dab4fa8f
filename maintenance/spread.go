package maintenance

import "math"

// What an estimate rests on is known within widths, all meant as the ends of an interval of
// about 90 % and independent of one another. Each input is taken to its low and its high end
// alone, the others as expected, and what that does to the result adds in quadrature, apart
// for the low and the high side (law of propagation with finite differences, JCGM 100:2008,
// 5.1.2; of a product, with the logarithms, 5.1.6).

// A spread is the width of a product: sums of the squares of logarithms of ratios.
type spread struct{ low, high float64 }

// add takes in one input: the result at its low and at its high end over the expected.
func (s *spread) add(low, high float64) {
	if low > high {
		low, high = high, low
	}
	s.low += square(math.Log(min(1, low)))
	s.high += square(math.Log(max(1, high)))
}

// about is the interval about an expected value.
func (s spread) about(mid float64) (low, high float64) {
	return mid * math.Exp(-math.Sqrt(s.low)), mid * math.Exp(math.Sqrt(s.high))
}

// A quadrature adds differences to one side of an expected mass; those to the other side do
// not count.
type quadrature float64

func (q *quadrature) add(d Mass) { *q += quadrature(square(float64(max(0, d)))) }

func (q quadrature) sum() Mass { return Mass(math.Round(math.Sqrt(float64(q)))) }

func square(x float64) float64 { return x * x }
