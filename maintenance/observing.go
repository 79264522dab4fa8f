package maintenance

import (
	"math"
	"slices"
	"time"

	"sumpbook/maintenance/learn"
	"sumpbook/maintenance/physics"
)

// waterWeighed learns from water that was measured in a parcel: what of it the book had
// only reckoned is held against what was measured, less what had been measured before and
// what came over in another pump. Only of a pump that brought nine tenths of it does that
// tell anything: of two that share a jar nobody can say which was wrong.
func (f *folding) waterWeighed(held Parcel, measured Mass, of string) {
	_, booked := held.Reckoned.sums()
	for _, r := range held.Reckoned {
		p := f.Pumps[r.Pump]
		if p == nil || p.Retired || r.BookG < nearlyAll*booked || r.PlainG < scaleG {
			continue
		}
		x := f.seen(of, measured.Grams()-max(0, held.Water.Grams()-r.BookG), r.PlainG)
		x.SDLog = math.Hypot(x.SDLog, booked/r.BookG-1)
		p.saw(factorCarry, x)
	}
}

// nearlyAll of the water in a vessel, or nothing is learned from it (rule of this project, no
// source).
const nearlyAll = 0.9

// seen is a weighing against what was reckoned, as surely as a kitchen scale tells. Of less
// than that scale shows, it says that there is no more.
func (f *folding) seen(of string, measuredG, reckonedG float64) Seen {
	x := Seen{At: f.e.At, Entry: f.e.ID, Of: of, Measured: measuredG, Reckoned: reckonedG}
	if measuredG < scaleG {
		x.Measured, x.Bound = scaleG, learn.AtMost
		return x
	}
	x.SDLog = scaleG / measuredG
	return x
}

// isGuess says whether a number is what the book itself had filled in: recorded as it stood,
// it was not weighed, and the book must not learn from itself.
func isGuess(grams float64, guesses ...Mass) bool {
	return slices.ContainsFunc(guesses, func(g Mass) bool { return math.Abs(grams-*wholeGrams(g)) < 0.5 })
}

// drainWeighed learns from a drain that was weighed, of a charge that was: what the sump held
// beyond its oil was water, but for how much oil stayed as heel, and left with the exhaust.
// It says whether it did.
func (f *folding) drainWeighed(p *Pump, a *DrainAct, m Mass) bool {
	if a.Grams == nil || p.HeelMl == nil || p.Charge == nil || !p.Charge.Weighed || len(p.Sump.Reckoned) != 1 {
		return false
	}
	heel := f.massOfVolume(p.heelMl(), p.Sump, standardC)
	r, total := p.Sump.Reckoned[0], p.Sump.Total()
	if r.Pump != p.Name || r.PlainG < scaleG || isGuess(*a.Grams, medianOf(p.Drains), total-heel, total) {
		return false
	}
	oil := p.Sump.OilMass().Grams()
	x := f.seen(p.Name, m.Grams()+heel.Grams()-oil-max(0, p.Sump.Water.Grams()-r.BookG), r.PlainG)
	x.SDLog = math.Hypot(x.SDLog, math.Hypot(heelUnsureShare*heel.Grams(), exhaustUnsureShare*oil)/r.PlainG)
	if x.SDLog > drainUnsure || x.Bound != learn.Exact {
		return false // oil that may differ by as much as the water tells nothing of it
	}
	p.saw(factorCarry, x)
	return true
}

const (
	heelUnsureShare    = 0.2   // a told heel differs so much from drain to drain (common practice, no source)
	exhaustUnsureShare = 0.005 // of the oil may leave with the exhaust (common practice, no source)
	drainUnsure        = 0.5   // of the water reckoned, at most (rule of this project, no source)

	coolLeastMin = 5.0 // a reading so soon after the stop tells little
	readC        = 2.0 // of a kitchen thermometer in oil (common practice, no source)
	stopGuessC   = 5.0 // of a stop whose temperature nobody read (common practice, no source)
)

// drainRead learns the pump's cooling from the temperature of the oil that is drained
// (physics.TauFromReading); that of a measured volume is the volume's, and may be of later. How surely, is by the widths of the two temperatures:
// d ln tau = dT / (T ln(T0/T)), both over the room.
func (f *folding) drainRead(p *Pump, a *DrainAct) {
	if a.TempC == nil || a.Ml != nil || p.Last == nil || !p.Temp.At.Equal(p.Last.At) {
		return
	}
	minutes := f.e.At.Sub(p.Temp.At).Minutes()
	over0, over := p.Temp.C-p.ambientC(), *a.TempC-p.ambientC()
	tau, err := physics.TauFromReading(p.Temp.C, p.ambientC(), minutes, *a.TempC)
	if err != nil || minutes < coolLeastMin || over < readC {
		return
	}
	stopC := stopGuessC
	if p.Last.HotC != nil {
		stopC = readC
	}
	p.saw(factorCool, Seen{
		At: f.e.At, Entry: f.e.ID, Of: p.Name, Measured: tau, Reckoned: physics.DefaultCoolTauMin,
		SDLog: math.Hypot(readC/over, stopC/over0) / math.Log(over0/over),
	})
}

// lookedAt learns what settling needs from a verdict on oil that stood, or that was decanted:
// clear, it had stood long enough; cloudy, not yet. Milky long after is an emulsion, of
// which time tells nothing.
func (f *folding) lookedAt(v *Vessel, look string) {
	p, stood := f.Pumps[v.Pump], v.StoodShare
	if p == nil || p.Retired {
		return
	}
	of := v.Name + "@" + v.SinceEntry
	if v.Stage == Drained || v.Stage == Recovered {
		stood = f.stoodShare(v, f.e.At)
	}
	bound := learn.AtMost
	switch look {
	case "hazy", "milky":
		bound = learn.AtLeast
	case "clear":
	default:
		return
	}
	if v.Stage == Drained || v.Stage == Recovered {
		if v.freeWater() < settleWater {
			return // clear because there is nothing to sink
		}
	}
	if stood < settleLeast || bound == learn.AtLeast && stood > emulsionAfter {
		return
	}
	p.judged(Seen{At: f.e.At, Entry: f.e.ID, Of: of, Measured: stood, Reckoned: 1, Bound: bound})
}

// settleWater is the least free water whose settling a look can tell (rule of this project,
// no source).
const settleWater = Mass(2000)

const (
	settleLeast   = 0.05 // of the need: of oil just drained a look tells nothing
	emulsionAfter = 3.0  // times the need; cloudy then means an emulsion (rule of this project, no source)
)

// stoodShareOf is how long a vessel has stood still, of what Stokes' law says for settle_um,
// the pump's own factor left out.
func (s *State) stoodShareOf(v *Vessel, at time.Time, l Limits) float64 {
	need, err := s.plainSettlingHours(v, l)
	if err != nil || need <= 0 {
		return 0
	}
	return s.stoodH(v, at) / need
}

func (f *folding) stoodShare(v *Vessel, at time.Time) float64 {
	return f.stoodShareOf(v, at, f.rules.Limits)
}

// passTimed learns the resistance of a medium to a pump's oil from a timed pass: minutes for
// a gram at the viscosity of 20 °C, less what the medium had been loaded with (cake law: the
// time of a gram grows in proportion to the mass gone through).
func (f *folding) passTimed(m *Medium, pump string, perG float64, through Mass) {
	p := f.Pumps[pump]
	if p == nil || p.Retired {
		return
	}
	loaded := 2 * (m.Through.Grams() + through.Grams()/2) / mediumLoadsG
	p.saw(factorMedium, Seen{
		At: f.e.At, Entry: f.e.ID, Of: m.Name, Measured: 100 * perG / (1 + loaded), Reckoned: 100 * freshMediumMinG,
		SDLog: math.Log((1 + 2*loaded) / (1 + loaded)), // it may load twice as fast
	})
}
