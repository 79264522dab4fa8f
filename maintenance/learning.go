package maintenance

import (
	"math"
	"slices"
	"time"

	"sumpbook/maintenance/learn"
	"sumpbook/maintenance/physics"
)

// The factors that a pump shows of itself: each multiplies what is assumed of any pump.
const (
	factorCarry  = "carry-over"
	factorCool   = "cooling"
	factorSettle = "settling"
	factorMedium = "medium"
)

// A factorSpec is what is assumed of a factor before its pump has shown it.
type factorSpec struct {
	name, pin string  // pin is the field of a pump entry that pins it
	base      float64 // what the factor multiplies, in unit
	unit      string
	seenUnit  string // of what was measured and reckoned
	prior     learn.Prior
	least     int  // observations from which on it is applied
	asks      bool // applied only after a person's yes, which is a pin
	means     string
	basis     string // of the prior

	assumed learn.Estimate // of nothing seen
}

func init() {
	for i := range factorSpecs {
		factorSpecs[i].assumed = factorSpecs[i].prior.Estimate(nil)
		factorSpecs[i].assumed.Value = 1 // the prior's median, exactly
	}
}

var factorSpecs = []factorSpec{
	{
		name: factorCarry, pin: "carry_over_factor", base: 1, unit: "1", seenUnit: "g",
		prior: learn.Prior{SDLog: 0.5, NoiseSDLog: 0.25}, least: 3,
		means: "water that came over, of what speed, trap and hours say",
		basis: "log-normal about 1, spread 0.5 in ln, one weighing 0.25: rule of this project, no source",
	},
	{
		name: factorCool, pin: "cool_tau_min", base: physics.DefaultCoolTauMin, unit: "min", seenUnit: "min",
		prior: learn.Prior{SDLog: 0.5, NoiseSDLog: 0.1}, least: 1,
		means: "time constant of the stopped pump's cooling",
		basis: "60 min (common practice, no source), spread 0.5 in ln, one reading 0.1 beside the thermometer's own: rule of this project, no source",
	},
	{
		name: factorSettle, pin: "settling_factor", base: 1, unit: "1", seenUnit: "1",
		prior: learn.Prior{SDLog: 0.5, NoiseSDLog: 0.3}, least: 5, asks: true,
		means: "time to settle, of what Stokes' law says for settle_um",
		basis: "log-normal about 1, spread 0.5 in ln, one jar 0.3: rule of this project, no source",
	},
	{
		name: factorMedium, pin: "medium_factor", base: freshMediumMinG * 100, unit: "min/100 g", seenUnit: "min/100 g",
		prior: learn.Prior{SDLog: 1, NoiseSDLog: 0.3}, least: 3,
		means: "minutes for 100 g of this pump's oil through a fresh medium, at the viscosity of 20 °C",
		basis: "30 min, spread 1 in ln, one timed pass 0.3: common practice, no source",
	},
}

const (
	// freshMediumMinG and mediumLoadsG: a fresh medium passes a gram of oil at 20 °C in so many
	// minutes, and is three times as slow after so many grams (common practice, no source).
	freshMediumMinG = 0.3
	mediumLoadsG    = 3000.0

	maxSeen     = 24  // the newest: enough for an interval, and a pump changes (rule of this project, no source)
	scaleG      = 1.0 // of a kitchen scale; of less it tells nothing (common practice, no source)
	pinnedShare = 0.2 // a pinned factor may be wrong by so much (rule of this project, no source)
)

// Learning is what a pump has shown of its factors.
type Learning struct {
	Carry  Factor `json:"carry,omitzero"`
	Cool   Factor `json:"cool,omitzero"`
	Settle Factor `json:"settle,omitzero"`
	Medium Factor `json:"medium,omitzero"`
}

// A Factor is the newest observations of one, and the estimate that they give, kept of those
// that are applied without being asked.
type Factor struct {
	Seen     []Seen         `json:"seen"`
	Estimate learn.Estimate `json:"estimate,omitzero"`
}

// IsZero says that nothing was seen of it yet.
func (f Factor) IsZero() bool { return len(f.Seen) == 0 }

// Seen is one observation of a factor: what was measured of what was reckoned, both in one
// unit; or a verdict, that the factor is at least or at most their ratio.
type Seen struct {
	At       time.Time   `json:"at"`
	Entry    string      `json:"entry"`
	Of       string      `json:"of"` // the vessel or medium
	Measured float64     `json:"measured"`
	Reckoned float64     `json:"reckoned"`
	SDLog    float64     `json:"sd"` // beyond the scatter of the kind
	Bound    learn.Bound `json:"bound"`
}

func (l *Learning) clone() Learning {
	c := *l
	for _, f := range []*Factor{&c.Carry, &c.Cool, &c.Settle, &c.Medium} {
		f.Seen = slices.Clip(f.Seen)
	}
	return c
}

func (l *Learning) of(name string) *Factor {
	switch name {
	case factorCarry:
		return &l.Carry
	case factorCool:
		return &l.Cool
	case factorSettle:
		return &l.Settle
	}
	return &l.Medium
}

func factorSpecOf(name string) *factorSpec {
	return &factorSpecs[slices.IndexFunc(factorSpecs, func(s factorSpec) bool { return s.name == name })]
}

// saw adds an observation. What cannot be is left out.
func (p *Pump) saw(name string, x Seen) {
	if r := x.Measured / x.Reckoned; !(r > 0) || math.IsInf(r, 0) || !(x.SDLog >= 0) || x.SDLog > 1 {
		return
	}
	f := p.Learning.of(name)
	f.Seen = bounded(f.Seen, x, maxSeen)
	if spec := factorSpecOf(name); !spec.asks { // of one that waits for a yes, who asks to see it reckons it
		f.Estimate = f.estimate(spec.prior)
	}
}

// judged adds a verdict on oil that stood. Of one jar there is one observation: the latest
// look at which it was cloudy, or the first at which it was clear; both together say that
// the factor lies between, as evenly in its logarithm as can be.
func (p *Pump) judged(x Seen) {
	f := &p.Learning.Settle
	i := slices.IndexFunc(f.Seen, func(old Seen) bool { return old.Of == x.Of })
	if i < 0 {
		p.saw(factorSettle, x)
		return
	}
	old := f.Seen[i]
	switch {
	case old.Bound == learn.AtLeast && x.Bound == learn.AtLeast:
	case old.Bound == learn.AtLeast && x.Bound == learn.AtMost && x.Measured > old.Measured:
		between := math.Log(x.Measured / old.Measured)
		x.Measured, x.SDLog, x.Bound = math.Sqrt(x.Measured*old.Measured), between/math.Sqrt(12), learn.Exact
	default:
		return // it was clear before: what it shows now is of another cause
	}
	f.Seen = slices.Concat(f.Seen[:i], f.Seen[i+1:], []Seen{x})
}

// bothSides says whether verdicts bound the factor from both sides: of oil that was always
// clear when somebody looked, nobody knows how much sooner it was.
func (f Factor) bothSides() bool {
	has := func(b learn.Bound) bool {
		return slices.ContainsFunc(f.Seen, func(x Seen) bool { return x.Bound == b || x.Bound == learn.Exact })
	}
	return has(learn.AtLeast) && has(learn.AtMost)
}

func (f Factor) estimate(prior learn.Prior) learn.Estimate {
	var all [maxSeen]learn.Observation
	for i, s := range f.Seen {
		all[i] = learn.Observation{Ratio: s.Measured / s.Reckoned, SDLog: s.SDLog, Bound: s.Bound}
	}
	return prior.Estimate(all[:len(f.Seen)])
}

// Where the factor in force comes from.
const (
	fromAssumed = "assumed"
	fromLearned = "learned"
	fromPinned  = "pinned"
)

// inForce is a factor as it is applied, with its interval of 90 %.
type inForce struct {
	Value, Low, High float64
	From             string
	N                int
	Newest           Told // that was seen
}

func (f inForce) isAssumed() bool { return f.From == fromAssumed }

// factor is what a pump's factor is taken for: as pinned, else as learned, if enough was
// seen and no yes is needed, else as assumed of any pump.
func (p *Pump) factor(name string) inForce {
	spec, seen := factorSpecOf(name), p.Learning.of(name)
	n := len(seen.Seen)
	if pin := p.pinned(spec); pin != nil {
		return inForce{*pin, *pin * (1 - pinnedShare), *pin * (1 + pinnedShare), fromPinned, n, Told{}}
	}
	if e := seen.Estimate; n >= spec.least && !spec.asks {
		newest := seen.Seen[n-1]
		return inForce{e.Value, e.Low, e.High, fromLearned, n, Told{newest.Entry, newest.At}}
	}
	return inForce{spec.assumed.Value, spec.assumed.Low, spec.assumed.High, fromAssumed, n, Told{}}
}

func (p *Pump) pinned(s *factorSpec) *float64 {
	switch {
	case s.name == factorCool && p.CoolTauMin != nil:
		return new(*p.CoolTauMin / s.base)
	case s.name == factorCarry:
		return p.CarryFactor
	case s.name == factorSettle:
		return p.SettleFactor
	case s.name == factorMedium:
		return p.MediumFactor
	}
	return nil
}

// coolTauMin is the stopped pump's time constant.
func (p *Pump) coolTauMin() float64 { return physics.DefaultCoolTauMin * p.factor(factorCool).Value }
