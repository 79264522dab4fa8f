package maintenance

import (
	"math"
	"strings"
	"time"

	"sumpbook/maintenance/chart"
	"sumpbook/maintenance/learn"
)

// A LearnView is what a pump has shown of itself, as `learn PUMP` prints it.
type LearnView struct {
	At       time.Time    `json:"at"`
	Pump     string       `json:"pump"`
	Factors  []FactorView `json:"factors"`
	BlankOff BlankOffView `json:"blank_off"`
}

// A BlankOffView is what the charts of the blank-off readings say: whether a rise is the
// oil's or the pump's. Pressures are in Pa, the scale is of their natural logarithm, and the
// CUSUM counts in scales.
type BlankOffView struct {
	N          int        `json:"n"`       // readings looked at
	Verdict    string     `json:"verdict"` // oil, pump, steady or cannot tell yet
	Want       string     `json:"want"`    // what the next verdict waits for
	StartN     int        `json:"start_n"` // readings of the start; 0: none yet, and all below is nothing
	CentrePa   float64    `json:"centre_pa"`
	Scale      float64    `json:"scale"`
	EWMAPa     float64    `json:"ewma_pa"`
	EWMALimit  float64    `json:"ewma_limit_pa"`
	CUSUM      float64    `json:"cusum"`
	CUSUMLimit float64    `json:"cusum_limit"`
	Factor     float64    `json:"factor"`    // the pressure now, of the start's
	Signal     *time.Time `json:"signal"`    // of the reading that signalled the newest rise
	LevelPa    *float64   `json:"level_pa"`  // of that rise
	AfterPa    *float64   `json:"after_pa"`  // on the charges since, as they were filled
	AfterNew   bool       `json:"after_new"` // on new oil
}

// A FactorView is one factor: the prior, the data, the result, and what is applied.
type FactorView struct {
	Factor  string     `json:"factor"`
	Means   string     `json:"means"`
	Unit    string     `json:"unit"`
	Prior   RangeView  `json:"prior"`
	Basis   string     `json:"basis"` // of the prior
	N       int        `json:"n"`
	Least   int        `json:"least"` // observations from which on it is applied, or proposed
	Asks    bool       `json:"asks"`  // it is applied only after a yes: record, then, is that
	Learned *RangeView `json:"learned"`
	Applied RangeView  `json:"applied"`
	From    string     `json:"from"`            // of what is applied: assumed, learned or pinned
	Record  *Entry     `json:"record,omitzero"` // a yes: pins what was learned
	Seen    []SeenView `json:"seen"`            // oldest first
}

// A RangeView is an expected value with an interval of 90 %.
type RangeView struct {
	Low   float64 `json:"low"`
	Value float64 `json:"value"`
	High  float64 `json:"high"`
}

// A SeenView is one observation. Bound is "at least" or "at most" of a verdict.
type SeenView struct {
	At       time.Time `json:"at"`
	Entry    string    `json:"entry"`
	Of       string    `json:"of"`
	Measured float64   `json:"measured"`
	Reckoned float64   `json:"reckoned"`
	Unit     string    `json:"unit"` // of both
	Ratio    float64   `json:"ratio"`
	Bound    string    `json:"bound,omitzero"`
}

// Learned shows what a pump has shown; false if the book knows no such pump.
func Learned(s *State, name string, at time.Time) (LearnView, bool) {
	p := s.Pumps[name]
	if p == nil || p.Entry == "" || p.Retired {
		return LearnView{}, false
	}
	v := LearnView{At: at, Pump: name, Factors: make([]FactorView, len(factorSpecs))}
	for i := range factorSpecs {
		v.Factors[i] = p.factorView(&factorSpecs[i])
	}
	v.BlankOff = p.blankOffView()
	return v, true
}

func (p *Pump) factorView(s *factorSpec) FactorView {
	seen, applied := p.Learning.of(s.name), p.factor(s.name)
	prior := s.assumed
	v := FactorView{
		Factor: s.name, Means: s.means, Unit: s.unit, Basis: s.basis, N: len(seen.Seen), Least: s.least, Asks: s.asks,
		Prior: s.rangeOf(prior.Low, prior.Value, prior.High), Applied: s.rangeOf(applied.Low, applied.Value, applied.High), From: applied.From,
		Seen: make([]SeenView, len(seen.Seen)),
	}
	e := seen.estimate(s.prior)
	if v.N > 0 {
		learned := s.rangeOf(e.Low, e.Value, e.High)
		v.Learned = &learned
	}
	if s.asks && v.N >= s.least && seen.bothSides() && applied.From != fromPinned {
		v.Record = &Entry{Act: &PumpAct{Pump: p.Name, SettleFactor: num(rounded(e.Value))}}
	}
	for i, x := range seen.Seen {
		of, _, _ := strings.Cut(x.Of, "@") // the oil that was in it then
		v.Seen[i] = SeenView{x.At, x.Entry, of, x.Measured, x.Reckoned, s.seenUnit, x.Measured / x.Reckoned, boundWords[x.Bound]}
	}
	return v
}

func (p *Pump) blankOffView() BlankOffView {
	f := p.oilOrPump()
	v := BlankOffView{N: len(p.BlankOffs), Verdict: f.Verdict.String(), Want: f.Want.String(), StartN: f.N}
	if f.N == 0 {
		return v
	}
	v.CentrePa, v.Scale, v.EWMAPa, v.EWMALimit = math.Exp(f.Centre), f.Scale, math.Exp(f.EWMA), math.Exp(f.EWMALimit)
	v.CUSUM, v.CUSUMLimit, v.Factor = f.CUSUM, f.CUSUMLimit, f.Factor
	if f.Signal >= 0 {
		v.Signal, v.LevelPa = &p.BlankOffs[f.Signal].At, num(math.Exp(f.Level))
	}
	if f.AfterN > 0 {
		v.AfterPa, v.AfterNew = num(math.Exp(f.After)), f.New
	}
	return v
}

// oilOrPump puts the blank-off readings on the charts.
func (p *Pump) oilOrPump() chart.Finding {
	readings := make([]chart.Reading, len(p.BlankOffs))
	for i, r := range p.BlankOffs {
		readings[i] = chart.Reading{LnPa: math.Log(r.Pa), Charge: r.Change, Fresh: r.Fresh}
	}
	return chart.Judge(readings)
}

var boundWords = map[learn.Bound]string{learn.AtMost: "at most", learn.AtLeast: "at least"}

func (s *factorSpec) rangeOf(low, value, high float64) RangeView {
	return RangeView{s.base * low, s.base * value, s.base * high}
}

// rounded is a factor as a person would pin it, to three figures.
func rounded(x float64) float64 {
	step := math.Pow(10, math.Floor(math.Log10(x))-2)
	return math.Round(x/step) * step
}
