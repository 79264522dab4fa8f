package maintenance

import (
	"time"

	"sumpbook/maintenance/physics"
)

// A window is the time in which the stopped pump's oil is hot enough to drain well.
type window struct {
	opens, closes time.Time
	stopC, endC   float64   // oil at the stop, and at the close
	low, high     time.Time // of the close, by how surely the pump's cooling is known
	safe          time.Time // at the latest
}

// hotWindow is that of the pump's newest stop: it closes when the oil is drain_slow times
// as viscous as at the pump's normal running temperature (physics.HotWindow).
func (f *folding) hotWindow(p *Pump) (window, bool) { return f.State.hotWindow(p, f.rules) }

func (s *State) hotWindow(p *Pump, r Rules) (window, bool) {
	if p.Run != nil || p.Last == nil || p.Temp.At.IsZero() {
		return window{}, false
	}
	w := window{opens: p.Last.At, stopC: p.Temp.C}
	minutes, endC, err := physics.HotWindow(s.oil(p.Sump), p.Temp.C, p.runningC(), p.ambientC(), p.coolTauMin(), *p.limits(r).DrainSlow)
	if err != nil {
		return window{}, false
	}
	w.endC = endC
	after := func(minutes float64) time.Time { return w.opens.Add(hours(minutes / 60)) }
	cool := p.factor(factorCool)
	w.closes, w.low, w.high = after(minutes), after(minutes*cool.Low/cool.Value), after(minutes*cool.High/cool.Value)
	w.safe = w.opens
	if m, err := physics.TimeToReach(p.Temp.C, p.ambientC(), physics.SafeToTouchC, p.coolTauMin()); err == nil && m > 0 {
		w.safe = after(m * cool.High / cool.Value)
	}
	return w, true
}
