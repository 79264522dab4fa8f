package learn

import (
	"math"
	"math/rand/v2"
	"testing"

	"sumpbook/maintenance/witness"
)

// The estimate against another's integration of the documented formula, which is given the
// rules' numbers but none of the ways in which they are multiplied here.
func TestEstimatesAgreeWithAnotherIntegration(t *testing.T) {
	type seen struct {
		At   float64 `json:"at"` // ln of the ratio
		SD   float64 `json:"sd"`
		Side int     `json:"side"` // of the factor: 1 at least, -1 at most, 0 about
	}
	type question struct {
		SD    float64 `json:"sd"`
		Noise float64 `json:"noise"`
		Seen  []seen  `json:"seen"`
	}
	draw := rand.New(rand.NewPCG(4, 12))
	var priors []Prior
	var told [][]Observation
	var cases []question
	for i := range 120 {
		p := Prior{SDLog: 0.2 + 0.8*draw.Float64()}
		p.NoiseSDLog = p.SDLog * (0.1 + 0.9*draw.Float64())
		q := question{SD: p.SDLog, Noise: p.NoiseSDLog, Seen: []seen{}}
		truth := 1.5 * p.SDLog * draw.NormFloat64()
		var observations []Observation
		for range i % 13 {
			s := seen{At: truth + p.NoiseSDLog*draw.NormFloat64(), SD: p.NoiseSDLog * draw.Float64()}
			if draw.IntN(20) == 0 {
				s.At = 3 * p.SDLog * draw.NormFloat64() // a gross error
			}
			o := Observation{Ratio: math.Exp(s.At), SDLog: s.SD}
			switch draw.IntN(4) {
			case 0:
				o.Bound, s.Side = AtMost, -1
			case 1:
				o.Bound, s.Side = AtLeast, 1
			}
			observations, q.Seen = append(observations, o), append(q.Seen, s)
		}
		priors, told, cases = append(priors, p), append(told, observations), append(cases, q)
	}
	var theirs [][3]float64
	witness.Ask(t, "posterior.py", map[string]any{
		"rule": map[string]any{"scales": scale, "weights": weight, "mad": mad, "verdict": verdictSD, "reach": reach}, "cases": cases,
	}, &theirs)

	// In shares of the interval's width: ours cuts off what is less dense than e^-9 of the
	// peak, which in the long tails moves the ends by half a hundredth, and adds up 96 cells.
	var middle, ends witness.Gap
	for i, p := range priors {
		e := p.Estimate(told[i])
		width := theirs[i][2] - theirs[i][0]
		middle.Of(float64(i), math.Log(e.Value), theirs[i][1], width)
		ends.Of(float64(i), math.Log(e.Low), theirs[i][0], width)
		ends.Of(float64(i), math.Log(e.High), theirs[i][2], width)
	}
	middle.Within(t, 0.001, "median")
	ends.Within(t, 0.01, "ends of the interval")
}
