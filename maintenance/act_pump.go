package maintenance

import (
	"fmt"
	"time"

	"sumpbook/maintenance/physics"
)

const (
	sourceBook    = "the book"
	sourceCooling = "Newton's law of cooling and viscosity by ASTM D341"
)

// stopPump is asked of a pump that runs without oil on the book.
func (q *asking) stopPump(c *pumpCase) {
	switch {
	case c.Run == nil:
		q.not(DoStopPump, c.Name, "it is not running")
		return
	case c.Entry != "" && !c.Open && c.Sump.OilMass() > 0:
		q.not(DoStopPump, c.Name, "it runs on %s of oil", grams(c.Sump.OilMass()))
		return
	}
	a := q.ask(DoStopPump, c.Name, c.Run.Cycle, c.Run.Since, c.Run.Since)
	if a == nil {
		return
	}
	a.ofPump(c.Pump)
	a.Record = Entry{Act: &StopAct{Pump: c.Name}}
	a.because("sump_oil_g", c.Sump.OilMass().Grams(), q.chargeMass(c).Grams(), "g", "the book: what the sump holds, against its charge")
	if c.Entry == "" {
		a.caution("nobody has declared this pump: if it does hold oil, declare it and weigh its sump, back-dated to before the start")
	}
	a.caution(cautionNoOil, cautionPower)
}

func (q *asking) chargeMass(c *pumpCase) Mass { return q.s.massOfVolume(c.ChargeMl, c.Sump, standardC) }

// drain is asked once the charge has reached one of its limits: at the stop while the oil
// is hot, and, once a cycle is known, also ahead of the stop to be expected.
func (q *asking) drain(c *pumpCase) {
	id, ok := q.drainRests(c)
	if !ok {
		return
	}
	opens, due, closes := q.drainWindow(c)
	a := q.ask(DoDrain, c.Name, id, opens, due)
	if a == nil {
		return
	}
	a.ofPump(c.Pump)
	a.Closes = closes
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
	case c.Sump.Total() <= q.s.massOfVolume(c.heelMl(), c.Sump, standardC):
		q.not(DoDrain, c.Name, "its sump holds %s, no more than its heel", grams(c.Sump.Total()))
	case c.Run != nil && !c.Run.Blank:
		if q.dueAfterRun(c) {
			return c.Run.Cycle, true
		}
	case c.Charge.Cycles == 0:
		q.not(DoDrain, c.Name, "the charge has run no cycle of %s or more yet", q.r.ShortestRun)
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
	left := c.nextStop(q.now).Sub(q.now)
	carried := c.Charge.CarryOver.Grams() + carryOver(c.Pump, c.cycle.Hours(), c.Run.TrapC, nil).mid
	if c.drainDue(float64(c.Charge.Cycles+1), c.Charge.RunTime+left, carried) {
		return true
	}
	q.not(DoDrain, c.Name, "its running cycle will not reach a limit: %s before it", c.drainState())
	return false
}

func (c *pumpCase) drainState() string {
	says := fmt.Sprintf("%d cycles, %.1f h, %.1f g of water carried over since the change", c.Charge.Cycles, c.Charge.RunTime.Hours(), c.Charge.CarryOver.Grams())
	for _, l := range []struct {
		limit *float64
		unit  string
	}{{c.l.DrainCycles, "cycles"}, {c.l.DrainRunH, "h"}, {c.l.DrainWaterG, "g"}} {
		if l.limit != nil {
			says += fmt.Sprintf("; limit %v %s", *l.limit, l.unit)
		}
	}
	return says
}

// drainWindow opens at the stop and is due when the oil has become too thick. Where the
// room is so warm that it never does, it is due within a day.
func (q *asking) drainWindow(c *pumpCase) (opens, due time.Time, closes *time.Time) {
	if c.Run != nil {
		opens = c.nextStop(q.now)
		minutes, _, err := physics.HotWindow(q.s.oil(c.Sump), c.runningC(), c.runningC(), c.ambientC(), c.coolTauMin(), *c.l.DrainSlow)
		if err != nil {
			return opens, opens.Add(day), nil
		}
		due = opens.Add(time.Duration(minutes * float64(time.Minute)))
		return opens, due, &due
	}
	w, ok := q.s.hotWindow(c.told, q.r)
	if !ok {
		return c.Last.At, c.Last.At.Add(day), nil
	}
	return w.opens, w.closes, &w.closes
}

func (q *asking) drainReasons(a *asked, c *pumpCase) {
	cycles := float64(c.Charge.Cycles)
	if c.Run != nil && !c.Run.Blank {
		cycles++
	}
	a.becauseOf("drain_cycles", cycles, c.own, q.r)
	a.becauseOf("drain_run_h", c.Charge.RunTime.Hours(), c.own, q.r)
	a.becauseOf("drain_water_g", c.Charge.CarryOver.Grams(), c.own, q.r)
	if _, endC, err := physics.HotWindow(q.s.oil(c.Sump), c.runningC(), c.runningC(), c.ambientC(), c.coolTauMin(), *c.l.DrainSlow); err == nil {
		a.because("oil_c", c.tempAt(q.now), endC, "C", sourceCooling)
	}
	if a.Closes != nil {
		a.because("minutes_left", max(0, a.Closes.Sub(later(q.now, a.Opens)).Minutes()), a.Closes.Sub(a.Opens).Minutes(), "min", sourceCooling)
	}
}

func (q *asking) drainCautions(a *asked, c *pumpCase) {
	if c.Run == nil && a.Closes != nil && q.now.After(*a.Closes) {
		a.caution(cautionWarm)
	}
	if w, ok := q.s.hotWindow(c.told, q.r); ok && w.safe.After(w.opens) {
		a.caution(fmt.Sprintf("by the estimate the oil is above %d °C until %s", physics.SafeToTouchC, w.safe.In(q.zone()).Format("15:04")))
	}
	a.caution(cautionHotOil, cautionGlass, cautionUnplug, cautionUsedOil)
}

func (q *asking) zone() *time.Location {
	if q.r.Zone == nil {
		return time.UTC
	}
	return q.r.Zone
}

// drainMass is what a drain brings: as the last five did, if the sump holds so much, else
// all but the heel; all, if a heel so large is not believable.
func (q *asking) drainMass(c *pumpCase) Mass {
	total := c.Sump.Total()
	if usual := medianOf(c.Drains); usual > 0 && usual <= total && q.opensPump(c, total-usual) {
		return usual
	}
	if m := total - q.s.massOfVolume(c.heelMl(), c.Sump, standardC); q.opensPump(c, total-m) {
		return m
	}
	return total
}

// opensPump says whether a drain that leaves so much is more than a sample.
func (q *asking) opensPump(c *pumpCase, left Mass) bool {
	return q.s.volumeMl(c.Sump.share(left), standardC) < c.ChargeMl/2
}

func (q *asking) placeDrain(a *asked, c *pumpCase, m Mass) {
	part := c.Sump.share(m)
	v, ok := q.into(part, c.runningC(), "", Drained)
	if !ok {
		a.caution(fmt.Sprintf("no vessel on the book has room for %s: empty one, or declare another", grams(m)))
		return
	}
	a.Record.Act.(*DrainAct).To = v.Name
	a.ofVessel(v)
	if !v.Content.Empty() {
		a.caution(fmt.Sprintf("no empty vessel is left: %s holds %s of drained oil, which settles anew", v.Name, grams(v.Content.Total())))
	}
}

// fill is asked of an open pump: when it has aired, and before the next start.
func (q *asking) fill(c *pumpCase) {
	since, entry, ok := q.fillRests(c)
	if !ok {
		return
	}
	opens := since
	if c.LastDrain != nil {
		opens = since.Add(hours(*c.l.AirH))
	}
	a := q.ask(DoFill, c.Name, entry, opens, c.dueBefore(opens, since, fillWithin))
	if a == nil {
		return
	}
	a.ofPump(c.Pump)
	a.Record = Entry{Act: &FillAct{Pump: c.Name}}
	if c.LastDrain != nil {
		a.becauseOf("air_h", max(0, q.now.Sub(since).Hours()), c.own, q.r)
	}
	a.caution(cautionRightOil, cautionAir, cautionUnplug)
	a.place = func(a *asked) { q.placeFill(a, c, false) }
}

func (q *asking) fillRests(c *pumpCase) (since time.Time, entry string, ok bool) {
	switch {
	case c.Entry == "":
		q.not(DoFill, c.Name, "nobody has declared it")
	case !c.Open:
		q.not(DoFill, c.Name, "it holds %s", grams(c.Sump.Total()))
	case c.Run != nil:
		q.not(DoFill, c.Name, "it is running: stop it first")
	case c.LastDrain != nil:
		return *c.LastDrain, c.LastDrainEntry, true
	default:
		return c.Declared, c.Entry, true
	}
	return since, "", false
}

// placeFill names the oil, or says which comes next and when.
func (q *asking) placeFill(a *asked, c *pumpCase, onlyNew bool) {
	v, need, ok := q.readyOil(c, onlyNew)
	if need == 0 && ok {
		a.caution("by the book its sump holds the whole charge: weigh it before you fill")
		return
	}
	if !ok {
		a.because("ready_oil_g", 0, q.need(c, c.Sump).Grams(), "g", "the book: oil that may go into the pump, against what it takes")
		q.nearest(a, c)
		return
	}
	m := min(need, v.Content.Total())
	act := a.Record.Act.(*FillAct)
	act.From, act.Grams = v.Name, wholeGrams(m)
	a.ofVessel(v)
	a.because("ready_oil_g", v.Content.Total().Grams(), need.Grams(), "g", "the book: what "+v.Name+" holds, against what the pump takes")
	if m < need {
		a.caution(fmt.Sprintf("%s holds less than the charge takes: top up from another", v.Name))
	}
}

// nearest adds to a fill that finds no oil which vessel will be ready first.
func (q *asking) nearest(a *asked, c *pumpCase) {
	var best *Vessel
	var when time.Time
	for _, v := range q.vessels {
		at, ok := q.s.readyAt(v, q.r.Limits)
		if v.Stage == Decanted || v.Stage == Filtered && float64(v.Content.Passes) < *c.l.FilterPasses {
			at, ok = q.now, true
		}
		if ok && v.Stage != Freezing && (best == nil || at.Before(when)) {
			best, when = v, at
		}
	}
	if best == nil {
		a.caution("no oil on the book is ready, or will be without more oil: buy some")
		return
	}
	a.because("wait_h", max(0, when.Sub(q.now).Hours()), 0, "h", "the book: "+best.Name+" is the next, "+string(best.Stage)+" oil, to be decanted and filtered")
}
