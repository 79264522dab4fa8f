package maintenance

import (
	"fmt"
	"time"
)

// fill is asked of an open pump: when it has aired, and before the next start.
func (q *asking) fill(c *pumpCase) {
	since, entry, ok := q.fillRests(c)
	if !ok {
		return
	}
	c.waits = !q.anyReady(c)
	opens, due := c.fillWindow()
	a := q.ask(DoFill, c.Name, entry, opens, due)
	if a == nil {
		return
	}
	a.ofPump(c.Pump)
	if next, ok := c.nextStart(); ok {
		low, high := paceOf(c.gaps()).around(next)
		a.dueBetween(next, later(low, opens), high)
	}
	a.Record = Entry{Act: &FillAct{Pump: c.Name}}
	if c.LastDrain != nil {
		a.becauseOf("air_h", max(0, q.now.Sub(since).Hours()), &c.own, q)
	}
	a.caution(cautionRightOil, cautionAir, cautionUnplug)
	a.place = func(a *asked) { q.placeFill(a, c, c.replacing.worn) }
}

// fillRests is since when and by which entry a pump waits to be filled.
func (q *asking) fillRests(c *pumpCase) (since time.Time, entry string, ok bool) {
	switch {
	case c.Entry == "":
		q.not(DoFill, c.Name, "nobody has declared it")
	case !c.Open:
		q.not(DoFill, c.Name, "it is filled: it holds %s", grams(c.Sump.Total()))
	case c.Run != nil:
		q.not(DoFill, c.Name, "it is running: stop it first")
	case c.LastDrain != nil:
		return *c.LastDrain, c.LastDrainEntry, true
	default:
		return c.Declared, c.Entry, true
	}
	return since, "", false
}

// fillWindow is that of an open pump: aired, and before the next start. A new pump has
// nothing to air.
func (c *pumpCase) fillWindow() (opens, due time.Time) {
	if c.LastDrain == nil {
		return c.Declared, c.dueBefore(c.Declared, c.Declared, fillWithin)
	}
	opens = c.LastDrain.Add(hours(*c.l.AirH))
	return opens, c.dueBefore(opens, *c.LastDrain, fillWithin)
}

// topUp is asked of a charge that is too small, unless it is about to be drained.
func (q *asking) topUp(c *pumpCase) {
	switch {
	case c.Open || c.LowSince.IsZero() || c.Entry == "":
		q.not(DoTopUp, c.Name, "it holds %.0f of %.0f ml", q.s.volumeMl(c.Sump, standardC), c.ChargeMl)
		return
	case c.drainAsked || c.replacing.worn && !q.isDry(c):
		q.not(DoTopUp, c.Name, "its charge is to be drained")
		return
	}
	opens := c.LowSince
	switch {
	case c.Run != nil:
		opens = c.nextStop(q.now)
	case c.Last != nil:
		opens = later(opens, c.Last.At)
	}
	a := q.ask(DoTopUp, c.Name, c.LowEntry, opens, c.dueBefore(opens, opens, fillWithin))
	if a == nil {
		return
	}
	a.ofPump(c.Pump)
	a.Record = Entry{Act: &FillAct{Pump: c.Name}}
	a.because("sump_ml", q.s.volumeMl(c.Sump, standardC), lowShare*c.ChargeMl, "ml", "nine tenths of the charge: "+practice)
	a.caution("top up while the pump stands, to the mark and no higher", cautionUnplug)
	a.place = func(a *asked) { q.placeTopUp(a, c) }
}

// placeTopUp names oil only if it brings the sump up to where none is asked for.
func (q *asking) placeTopUp(a *asked, c *pumpCase) {
	q.placeFill(a, c, c.replacing.worn)
	fill := a.Record.Act.(*FillAct)
	if v := q.s.Vessels[fill.From]; v != nil && q.s.volumeMl(c.Sump.mixed(v.Content.share(MassOf(*fill.Grams))), standardC) < lowShare*c.ChargeMl {
		fill.From, fill.Amount, a.Vessel = "", Amount{}, nil
	}
}

// placeFill names the oil, or says which comes next and when. Two actions of one pump name
// the same oil.
func (q *asking) placeFill(a *asked, c *pumpCase, onlyNew bool) {
	v := c.from
	if v == nil || onlyNew && v.Stage != New {
		v = q.readyOil(c, onlyNew)
	}
	if v == nil {
		a.because("ready_oil_g", 0, q.need(c, c.Sump).Grams(), "g", "the book: oil that may go into the pump, against what it takes")
		q.nearest(a, c)
		return
	}
	need := q.need(c, v.Content)
	a.because("ready_oil_g", v.Content.Total().Grams(), need.Grams(), "g", "the book: what "+v.Name+" holds, against what the pump takes")
	if need == 0 {
		a.caution("by the book its sump holds the whole charge: weigh it before you fill")
		return
	}
	c.from = v
	m := min(need, v.Content.Total())
	act := a.Record.Act.(*FillAct)
	act.From, act.Grams = v.Name, wholeGrams(m)
	a.ofVessel(v.Vessel)
	if m < need {
		a.caution(fmt.Sprintf("%s holds less than the charge takes: top up from another", v.Name))
	}
}

// nearest adds to a fill that finds no oil which vessel will be ready first.
func (q *asking) nearest(a *asked, c *pumpCase) {
	var best *vesselCase
	var when time.Time
	for _, v := range q.vessels {
		at, ok := v.ready, v.timed
		if v.Stage == Decanted || v.Stage == Filtered && v.lacks > 0 {
			at, ok = v.Since, true
		}
		if ok && v.Stage != Freezing && (best == nil || at.Before(when)) {
			best, when = v, at
		}
	}
	if best == nil {
		a.caution("no oil on the book is ready or on its way: buy some")
		return
	}
	a.because("wait_h", max(0, when.Sub(q.now).Hours()), 0, "h", "the book: "+best.Name+" is the next, "+string(best.Stage)+" oil still to be made ready")
	a.caution(fmt.Sprintf("no oil is ready; next is %s, %s oil, whose wait ends %s", best.Name, best.Stage, when.In(q.zone()).Format("Mon 2 Jan 15:04")))
}
