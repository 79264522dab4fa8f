package maintenance

import (
	"time"

	"sumpbook/maintenance/physics"
)

// A window is the time in which the stopped pump's oil is hot enough to drain well.
type window struct {
	opens, closes time.Time
	stopC, endC   float64 // oil at the stop, and at the close
	safe          time.Time
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
	w.closes = w.opens.Add(time.Duration(minutes * float64(time.Minute)))
	w.safe = w.opens
	if m, err := physics.TimeToReach(p.Temp.C, p.ambientC(), physics.SafeToTouchC, p.coolTauMin()); err == nil && m > 0 {
		w.safe = w.opens.Add(time.Duration(m * float64(time.Minute)))
	}
	return w, true
}
