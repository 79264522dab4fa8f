package maintenance

import (
	"math"
	"slices"
	"strings"
	"time"
)

func (w *working) fill(c *pumpCase) {
	opens := w.fillOpens(c, "opens")
	w.fillDue(c, "due", opens)
	w.readyOil(c)
}

// fillOpens is when an open pump has aired, under a name.
func (w *working) fillOpens(c *pumpCase, name string) *Step {
	at, _ := c.fillWindow()
	if c.LastDrain == nil {
		return w.time(name, at, "0 − since_h", "a new pump has nothing to air: "+sourceRule, w.since("since_h", c.Declared, c.Entry, "it was declared"))
	}
	air := w.limit("air_h", c)
	drained := w.since("since_drain_h", *c.LastDrain, c.LastDrainEntry, "it was drained")
	w.judged("air_h", "since_drain_h, held against air_h", drained, air)
	return w.time(name, at, "air_h − since_drain_h", "stand open to air before the fill: "+sourceUsage, air, drained)
}

func (w *working) fillDue(c *pumpCase, name string, opens *Step) *Step {
	at, due := c.fillWindow()
	since, entry, what := c.Declared, c.Entry, "it was declared"
	if c.LastDrain != nil {
		since, entry, what = *c.LastDrain, c.LastDrainEntry, "it was drained"
	}
	formula, inputs := w.dueBefore(c, at, w.itself(opens).as("opens_h"), w.since("since_h", since, entry, what), fillWithin)
	return w.time(name, due, formula, "before the next start: "+sourceRule, inputs...)
}

// time is a step of a time: of the action itself, or one on the way to it.
func (w *working) time(name string, at time.Time, formula, source string, inputs ...Input) *Step {
	switch name {
	case "opens":
		w.opens(at, formula, source, inputs...)
	case "due":
		w.due(at, formula, source, inputs...)
	default:
		return w.step(name, formula, source, w.fromNow(at), fromNow, inputs...)
	}
	return w.steps[len(w.steps)-1]
}

// readyOil is the oil offered, against what the pump takes.
func (w *working) readyOil(c *pumpCase) {
	a, _ := w.a.Record.Act.(*FillAct)
	v := w.speaksOf("ready_oil_g")
	switch {
	case a == nil || !w.rests("ready_oil_g"):
		return
	case v == nil:
		w.noOil(c)
		return
	}
	since := w.inVessel(v)
	need := w.need(c, v.Name, v.Content, since)
	total := w.total(v.Name, v.Content, since)
	w.judged("ready_oil_g", "ready_g, held against takes_g", total.as("ready_g"), need.as("takes_g"))
	if a.Grams == nil {
		return
	}
	w.recorded(a.Grams, "the smaller of ready_g and takes_g", "the book: up to the charge, or all there is", total.as("ready_g"), need.as("takes_g"))
	w.chosen(c, v, since)
}

// chosen is why this vessel: ready, and of the ready ones with the least life.
func (w *working) chosen(c *pumpCase, v *vesselCase, since Input) {
	if v.Stage == Filtered {
		free := w.freeWater(v)
		w.held("free water of ready oil", free.as("free_g"), "fill_free_water_g", c)
		passes := input("passes", float64(v.Content.Passes), "passes", since.From)
		passes.Entry, passes.AgeH = since.Entry, since.AgeH
		w.held("filter passes of ready oil", passes, "filter_passes", c)
	}
	w.mean("life of the oil in "+v.Name, v.Content, v.Content.RunGH, "g h", "h", since)
}

// mean is what oil has gone through by mass: each blend adds mass × amount, and divides by
// the mass.
func (w *working) mean(name string, p Parcel, extensive float64, sumUnit, unit string, since Input) *Step {
	sum := input("sum", extensive, sumUnit, "booked: mass × amount, added up through every blend")
	sum.Entry, sum.AgeH = since.Entry, since.AgeH
	result := 0.0
	if p.OilMass() > 0 {
		result = extensive / p.OilMass().Grams()
	}
	return w.step(name, "sum / oil_g", "the book: mixing by mass", result, unit, sum, w.booked("oil_g", p.OilMass(), since))
}

// noOil is asked for oil that is not there.
func (w *working) noOil(c *pumpCase) {
	none := input("ready_g", 0, "g", "booked: no vessel holds oil that may go in")
	w.judged("ready_oil_g", "ready_g, held against takes_g", none, w.need(c, "the sump", c.Sump, w.inSump(c)).as("takes_g"))
	v := w.speaksOf("wait_h")
	if v == nil {
		return
	}
	if v.Stage == Decanted || v.Stage == Filtered && v.lacks > 0 {
		w.judged("wait_h", "0 − since_h, or 0 if that is less: it only wants filtering", w.since("since_h", v.Since, v.SinceEntry, string(v.Stage)+" oil in "+v.Name))
		return
	}
	w.wait(v)
	since := w.since("since_h", v.Since, v.SinceEntry, string(v.Stage)+" oil in "+v.Name)
	w.judged("wait_h", "wait_h − since_h, or 0 if that is less", w.named("wait in all").as("wait_h"), since)
}

// speaksOf is the vessel that a reason names; nil if it names none.
func (w *working) speaksOf(rule string) *vesselCase {
	for _, r := range w.a.Why {
		for _, v := range w.q.vessels {
			if r.Rule == rule && slices.Contains(strings.Fields(r.Source), v.Name) {
				return v
			}
		}
	}
	return nil
}

func (w *working) named(name string) *Step {
	for _, s := range w.steps {
		if s.Name == name {
			return s
		}
	}
	return nil
}

func (w *working) topUp(c *pumpCase) {
	sump := w.volume("the sump", c.Sump, standardC, w.inSump(c))
	w.judged("sump_ml", "volume_ml, held against low_share × charge_ml", sump.as("volume_ml"), input("low_share", lowShare, "1", "rule: "+sourceUsage), w.declared(c, "charge_ml", c.ChargeMl, "ml"))
	low := w.since("low_h", c.LowSince, c.LowEntry, "it has held too little")
	opens := c.LowSince
	switch {
	case c.Run != nil:
		opens = c.nextStop(w.q.now)
		w.opens(opens, "stop_h", "while the pump stands: "+sourceUsage, w.nextStop(c).as("stop_h"))
	case c.Last != nil && c.Last.At.After(opens):
		opens = c.Last.At
		w.opens(opens, "0 − since_stop_h", "since it has stood: "+sourceRule, w.since("since_stop_h", c.Last.At, c.Last.Entry, "it stopped"))
	default:
		w.opens(opens, "0 − low_h", "since it is low: "+sourceRule, low)
	}
	formula, inputs := w.dueBefore(c, opens, w.opensH(), Input{}, fillWithin)
	w.due(c.dueBefore(opens, opens, fillWithin), formula, "before the next start: "+sourceRule, inputs...)
	w.readyOil(c)
}

// buyOil is the stock of new oil against the next change, and when that comes.
func (w *working) buyOil(c *pumpCase) {
	w.stock(c)
	if r := c.replacing; r.worn || r.coming {
		opens, due := w.replacing(c, "replacement opens", "replacement due")
		w.opens(r.opens.Add(-buyAhead), "replacement_h − ahead_h", "time to get oil in: "+sourceUsage, opens.as("replacement_h"), input("ahead_h", buyAhead.Hours(), "h", "rule: "+sourceUsage))
		w.due(r.due, "replacement_due_h", "when the oil is wanted: "+sourceRule, due.as("replacement_due_h"))
		w.life(c)
	} else {
		since, entry, what := c.Declared, c.Entry, "it was declared"
		if c.LastDrain != nil {
			since, entry, what = *c.LastDrain, c.LastDrainEntry, "it was drained, and no oil is ready for it"
		}
		aired := w.fillOpens(c, "fill opens")
		fillDue := w.fillDue(c, "fill due", aired)
		w.opens(since, "0 − since_h", "since it waits for oil: "+sourceRule, w.since("since_h", since, entry, what))
		_, due := c.fillWindow()
		w.due(due, "fill_due_h", "when the oil is wanted: "+sourceRule, fillDue.as("fill_due_h"))
	}
	ml := 100 * math.Ceil(c.ChargeMl/100)
	w.step("amount to record", "charge_ml, up to whole hundreds", "a whole charge, since what is in stock stays for the others: "+sourceRule, ml, "ml", w.declared(c, "charge_ml", c.ChargeMl, "ml"))
}

func (w *working) stock(c *pumpCase) {
	var all []Input
	for _, v := range w.q.vessels {
		if v.Stage == New && !v.IsWaste {
			all = append(all, w.volume(v.Name, v.Content, standardC, w.inVessel(v)).as("in "+v.Name))
		}
	}
	if len(all) == 0 {
		all = append(all, input("new_oil", 0, "ml", "booked: no vessel holds new oil"))
	}
	stock := w.step("new oil in stock", "the sum", sourceBook, w.q.newOilMl(), "ml", all...)
	want := w.step("new oil that the next change takes", "charge_ml − heel_ml, or 0 if that is less", "the heel stays: "+sourceRule, max(0, c.ChargeMl-c.heelMl()), "ml",
		w.declared(c, "charge_ml", c.ChargeMl, "ml"), w.heel(c))
	for _, r := range w.a.Why {
		if r.Rule == "new_oil_ml" {
			kept := input("kept_ml", stock.Result-r.Value, "ml", "booked: for pumps before it by name that take new oil too")
			w.judged("new_oil_ml", "stock_ml − kept_ml, held against takes_ml", stock.as("stock_ml"), kept, want.as("takes_ml"))
		}
	}
}
