package maintenance

import (
	"fmt"
	"time"

	"sumpbook/maintenance/physics"
)

const sourceCooling = "Newton's law of cooling and viscosity by ASTM D341"

// hotOil is the window of the pump's stop: the newest, or the one to be expected.
type hotOil struct {
	opens     time.Time
	closes    *time.Time // nil: the room is so warm that it never does
	endC      float64    // of the oil when it closes
	low, high time.Time  // of a close that is reckoned from a stop
	safe      time.Time  // when it has become safe to touch, at the latest; opens if it is
}

// hotOil of a running pump is that of a stop from its normal running temperature.
func (q *asking) hotOil(c *pumpCase) hotOil {
	if c.Run == nil {
		w, ok := q.s.hotWindow(c.told, q.r)
		if !ok {
			return hotOil{opens: q.lastStop(c), safe: q.lastStop(c)}
		}
		return hotOil{w.opens, &w.closes, w.endC, w.low, w.high, w.safe}
	}
	h := hotOil{opens: c.nextStop(q.now)}
	h.safe = h.opens
	minutes, endC, err := physics.HotWindow(q.s.oil(c.Sump), c.runningC(), c.runningC(), c.ambientC(), c.coolTauMin(), *c.l.DrainSlow)
	if err == nil {
		closes := h.opens.Add(time.Duration(minutes * float64(time.Minute)))
		h.closes, h.endC = &closes, endC
	}
	return h
}

func (q *asking) lastStop(c *pumpCase) time.Time {
	if c.Last == nil {
		return c.Declared
	}
	return c.Last.At
}

// drain is asked once the charge has reached one of its limits: at the stop while the oil
// is hot, and, once a cycle is known, also ahead of the stop to be expected.
func (q *asking) drain(c *pumpCase) {
	id, ok := q.drainRests(c)
	if !ok {
		return
	}
	c.drainAsked = true
	due := c.hot.opens.Add(day)
	if c.hot.closes != nil {
		due = *c.hot.closes
	}
	a := q.ask(DoDrain, c.Name, id, c.hot.opens, due)
	if a == nil {
		return
	}
	a.ofPump(c.Pump)
	a.Closes = c.hot.closes
	switch {
	case c.Run == nil && c.hot.closes != nil:
		a.dueBetween(due, c.hot.low, c.hot.high)
	case c.Run != nil && !c.Run.Blank && c.hot.opens.Equal(c.expectedStop()):
		low, high := paceOf(c.lengths()).around(due)
		a.dueBetween(due, low, high)
	}
	q.drainReasons(a, c)
	q.drainCautions(a, c)
	m := q.drainMass(c)
	a.Record = Entry{Act: &DrainAct{Pump: c.Name, Amount: Amount{Grams: wholeGrams(m)}}}
	a.place = func(a *asked) { q.placeDrain(a, c, m) }
}

// drainRests is the cycle that a drain rests on, if one is to be asked.
func (q *asking) drainRests(c *pumpCase) (cycle string, ok bool) {
	switch {
	case c.Entry == "" || c.Open || c.Charge == nil:
		q.not(DoDrain, c.Name, "it stands open: it was drained, or never filled")
	case q.isDry(c):
		q.not(DoDrain, c.Name, "its sump holds %s, no more than its heel", grams(c.Sump.Total()))
	case c.Run != nil && !c.Run.Blank:
		if q.dueAfterRun(c) {
			return c.Run.Cycle, true
		}
	case c.Charge.Cycles == 0:
		q.not(DoDrain, c.Name, "the charge has run no cycle of %.3g min or more yet", q.r.ShortestRun.Minutes())
	case !c.drainDue(float64(c.Charge.Cycles), c.Charge.RunTime, c.Charge.CarryOver.Grams()):
		q.not(DoDrain, c.Name, "no limit is reached: %s", c.drainState())
	default:
		return c.History[len(c.History)-1].ID, true
	}
	return "", false
}

func (c *pumpCase) drainDue(cycles float64, ran time.Duration, carriedG float64) bool {
	return reached(cycles, c.l.DrainCycles) || reached(ran.Hours(), c.l.DrainRunH) || reached(carriedG, c.l.DrainWaterG)
}

// dueAfterRun foresees a drain, from what the cycle now running will have added at its
// usual length.
func (q *asking) dueAfterRun(c *pumpCase) bool {
	if c.known == 0 {
		q.not(DoDrain, c.Name, "it is running, and no cycle is on the book yet from which to foresee its stop")
		return false
	}
	left := c.hot.opens.Sub(q.now)
	carried := c.Charge.CarryOver.Grams()
	if c.l.DrainWaterG != nil {
		carried += carryOver(c.Pump, c.cycle.Hours(), c.Run.TrapC, nil, false).mid
	}
	if c.drainDue(float64(c.Charge.Cycles+1), c.Charge.RunTime+left, carried) {
		return true
	}
	q.not(DoDrain, c.Name, "its running cycle will not reach a limit: %s before it", c.drainState())
	return false
}

// drainState says what the charge has come to, and its limits.
type drainState struct{ *pumpCase }

func (c *pumpCase) drainState() drainState { return drainState{c} }

// cycles counts cycles in words.
func cycles(n float64) string {
	if n == 1 {
		return "1 cycle"
	}
	return fmt.Sprintf("%v cycles", n)
}

// String is put together only when somebody reads it.
func (c drainState) String() string {
	says := fmt.Sprintf("%s, %.1f h, %.1f g of water carried over since the change", cycles(float64(c.Charge.Cycles)), c.Charge.RunTime.Hours(), c.Charge.CarryOver.Grams())
	for _, l := range []struct {
		limit *float64
		unit  string
	}{{c.l.DrainCycles, "cycles"}, {c.l.DrainRunH, "h"}, {c.l.DrainWaterG, "g"}} {
		switch {
		case l.limit == nil:
		case l.unit == "cycles":
			says += "; limit " + cycles(*l.limit)
		default:
			says += fmt.Sprintf("; limit %v %s", *l.limit, l.unit)
		}
	}
	return says
}

func (q *asking) drainReasons(a *asked, c *pumpCase) {
	cycles := float64(c.Charge.Cycles)
	if c.Run != nil && !c.Run.Blank {
		cycles++
	}
	a.becauseOf("drain_cycles", cycles, &c.own, q)
	a.becauseOf("drain_run_h", c.Charge.RunTime.Hours(), &c.own, q)
	a.becauseOf("drain_water_g", c.Charge.CarryOver.Grams(), &c.own, q)
	if a.Closes == nil {
		return
	}
	a.because("oil_c", c.tempAt(q.now), c.hot.endC, "C", sourceCooling)
	left := a.Closes.Sub(later(q.now, c.hot.opens)).Minutes()
	a.because("minutes_left", max(0, left), a.Closes.Sub(c.hot.opens).Minutes(), "min", sourceCooling)
}

func (q *asking) drainCautions(a *asked, c *pumpCase) {
	if c.Run == nil && a.Closes != nil && !q.now.Before(*a.Closes) {
		a.caution(cautionWarm)
	}
	if c.hot.safe.After(later(c.hot.opens, q.now)) {
		a.caution(fmt.Sprintf("the oil may be above %d °C until %s", physics.SafeToTouchC, c.hot.safe.In(q.zone()).Format("15:04")))
	}
	a.caution(cautionHotOil, cautionGlass, cautionUnplug, cautionUsedOil)
}

// stamp writes a time for a person, in their zone.
func (q *asking) stamp(t time.Time) string { return stampIn(t, q.zone()) }

func (q *asking) zone() *time.Location {
	if q.r.Zone == nil {
		return time.UTC
	}
	return q.r.Zone
}

// drainMass is what a drain brings: as the last five did, if the sump holds so much, else
// all but the heel; all, where so large a heel would make it a mere sample.
func (q *asking) drainMass(c *pumpCase) Mass {
	total := c.Sump.Total()
	usual, most := medianOf(c.Drains), total-q.s.massOfVolume(c.heelMl(), c.Sump, standardC)
	switch {
	case usual > 0 && usual <= total && q.opensPump(c, total-usual):
		return usual
	case most <= 0:
		return 0
	case q.opensPump(c, total-most):
		return most
	}
	return total
}

// isDry says whether a pump that was not drained has no more in it than its heel.
func (q *asking) isDry(c *pumpCase) bool { return !c.Open && q.drainMass(c) == 0 }

// opensPump says whether a drain that leaves so much is more than a sample, the gram that
// rounding leaves included.
func (q *asking) opensPump(c *pumpCase, left Mass) bool {
	return q.s.volumeMl(c.Sump.share(left+MassOf(1)), standardC) <= c.ChargeMl/2
}

// placeDrain names the vessel: for worn oil the waste, else an empty one. Two actions of
// one pump name the same.
func (q *asking) placeDrain(a *asked, c *pumpCase, m Mass) {
	if c.to == nil {
		c.to = q.drainInto(c, c.Sump.share(m))
	}
	if c.to == nil {
		a.caution(noRoom(m))
		return
	}
	a.Record.Act.(*DrainAct).To = c.to.Name
	a.ofVessel(c.to.Vessel)
	if !c.to.IsWaste && c.to.Content.Total().Grams() >= traceG {
		a.caution(fmt.Sprintf("no empty vessel is left: %s holds %s of drained oil, which settles anew", c.to.Name, grams(c.to.Content.Total())))
	}
}

func (q *asking) drainInto(c *pumpCase, part Parcel) *vesselCase {
	if c.replacing.worn {
		for _, v := range q.vessels {
			if v.IsWaste && q.fits(v, part, c.runningC()) {
				return v
			}
		}
	}
	v, _ := q.into(part, c.runningC(), "", Drained)
	return v
}
