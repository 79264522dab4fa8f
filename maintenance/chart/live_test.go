package chart_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"sumpbook/maintenance/chart"
	"sumpbook/maintenance/witness"
)

// The charts against a digital filter, running minima and order statistics of another's
// making, over invented series of every length.
func TestChartsAgreeWithGeneralTools(t *testing.T) {
	type series struct {
		Values []float64 `json:"values"`
		Target float64   `json:"target"`
		Slack  float64   `json:"slack"`
		Share  float64   `json:"share"`
	}
	draw := rand.New(rand.NewPCG(6, 3))
	all := make([]series, 300)
	for i := range all {
		s := series{Target: 5 * draw.NormFloat64(), Slack: draw.Float64(), Share: 0.05 + 0.95*draw.Float64()}
		for range 1 + draw.IntN(120) {
			s.Values = append(s.Values, s.Target+2*draw.NormFloat64())
		}
		all[i] = s
	}
	var theirs []struct {
		Average, High, Low []float64
		Median, Deviation  float64
	}
	witness.Ask(t, "charts.py", all, &theirs)

	var average, sums, order witness.Gap
	for i, s := range all {
		e, c := chart.EWMA{Lambda: s.Share, Value: s.Target}, chart.CUSUM{Target: s.Target, Slack: s.Slack}
		for j, x := range s.Values {
			e, c = e.Next(x), c.Next(x)
			average.Of(float64(i), e.Value, theirs[i].Average[j], 1)
			sums.Of(float64(i), c.High, theirs[i].High[j], 1)
			sums.Of(float64(i), c.Low, theirs[i].Low[j], 1)
		}
		median, deviation := chart.MedianDeviation(slices.Clone(s.Values))
		order.Of(float64(i), median, theirs[i].Median, 1)
		order.Of(float64(i), deviation, theirs[i].Deviation, 1)
	}
	// Values are of the order of 10, sums of some 100: the same arithmetic in another order.
	average.Within(t, 1e-11, "moving average")
	sums.Within(t, 1e-11, "cumulative sums")
	order.Within(t, 1e-13, "median and its deviation")
}
