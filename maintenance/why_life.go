package maintenance

import (
	"fmt"
	"math"
	"time"

	"sumpbook/maintenance/physics"
)

// replace shows each wear, when it reaches its limit, and the first step of the replacement.
func (w *working) replace(c *pumpCase) {
	w.life(c)
	w.replacing(c, "opens", "due")
	switch a := w.a.Record.Act.(type) {
	case *DrainAct:
		w.drainAmount(c, a.Grams)
	case *FillAct:
		w.readyOil(c)
		w.fullShare(c, a)
	}
}

// fullShare is the share of new oil after the fill.
func (w *working) fullShare(c *pumpCase, a *FillAct) {
	if a.Grams == nil {
		return
	}
	w.judged("full_fraction", "filled_g / (filled_g + oil_g), held against full_fraction", input("filled_g", *a.Grams, "g", "computed above: amount to record"),
		w.booked("oil_g", c.Sump.OilMass(), w.inSump(c)), w.limit("full_fraction", c))
}

// replacing is when the oil is to be replaced, under two names.
func (w *working) replacing(c *pumpCase, openName, dueName string) (opens, due *Step) {
	r := c.replacing
	if !r.worn {
		opens = w.firstForecast(c, openName)
		return opens, w.dayAfter(dueName, r.due, opens)
	}
	reached := w.firstReached(c)
	reachedH := reached.as("reached_h")
	switch {
	case c.Run != nil:
		opens = w.time(openName, r.opens, "stop_h", "worn oil is replaced after the run: "+sourceRule, w.nextStop(c).as("stop_h"))
		return opens, w.dayAfter(dueName, r.due, opens)
	case c.Open:
		aired := w.fillOpens(c, "fill opens")
		opens = w.time(openName, r.opens, "the later of reached_h and aired_h", "worn oil is replaced at the fill while the pump is open: "+sourceRule, reachedH, aired.as("aired_h"))
		fillDue := w.fillDue(c, "fill due", aired)
		return opens, w.time(dueName, r.due, "fill_due_h", "as the fill: "+sourceRule, fillDue.as("fill_due_h"))
	}
	opens = w.time(openName, r.opens, "reached_h", "from when a limit was reached: "+sourceRule, reachedH)
	formula, inputs := w.dueBefore(c, r.opens, w.itself(opens).as("opens_h"), Input{}, day)
	return opens, w.time(dueName, r.due, formula, "before the next start: "+sourceRule, inputs...)
}

func (w *working) dayAfter(name string, at time.Time, opens *Step) *Step {
	return w.time(name, at, "opens_h + within_h", "a day: "+sourceRule, w.itself(opens).as("opens_h"), input("within_h", day.Hours(), "h", sourceRule))
}

// firstReached is when the first of the limits was reached.
func (w *working) firstReached(c *pumpCase) *Step {
	var all []Input
	for _, y := range c.replacing.wears {
		if y.isReached() {
			all = append(all, w.reachedAt(c, y).as(y.key))
		}
	}
	return w.step("first limit reached", "the earliest of them, in hours from now", sourceRule, w.earliest(all), fromNow, all...)
}

func (w *working) earliest(all []Input) float64 {
	first := math.Inf(1)
	for _, in := range all {
		first = min(first, in.Value)
	}
	return first
}

// reachedAt is when a wear reached its limit.
func (w *working) reachedAt(c *pumpCase, y wear) *Step {
	at, name := y.reachedAt(c), "reached: "+y.key
	switch {
	case !y.seen.IsZero():
		reading := w.wearInputs(c, y)[0]
		return w.step(name, "0 − since_h", "when it was seen: "+sourceRule, w.fromNow(at), fromNow, w.since("since_h", at, reading.Entry, "the reading"))
	case y.grew != nil && !at.Equal(*c.LastChange):
		return w.reachedIn(c, y, name, at)
	}
	return w.step(name, "0 − since_h", "over the limit since the change, or for longer: "+sourceRule, w.fromNow(at), fromNow, w.change(c))
}

// change is the newest one. Of an open pump the book keeps the time alone.
func (w *working) change(c *pumpCase) Input {
	in := input("since_h", w.q.now.Sub(*c.LastChange).Hours(), "h", "booked: the change")
	if c.Charge != nil && c.Charge.Since.Equal(*c.LastChange) {
		return in.by(c.Charge.ID, *c.LastChange, w.q.now)
	}
	in.AgeH = num(in.Value)
	return in
}

// reachedIn is the stop of the cycle that brought the sum over the limit: more was added
// since it began than the sum is over the limit now, but not after it.
func (w *working) reachedIn(c *pumpCase, y wear, name string, at time.Time) *Step {
	unit, after := specOf(y.key).Unit, 0.0
	for i := len(c.History) - 1; i >= 0; i-- {
		h := c.History[i]
		if h.Stop.Equal(at) {
			return w.step(name, "0 − since_stop_h, of the cycle that brought it over the limit: value − grew_after is not under it, value − grew_after − grew_in is", sourceRule, w.fromNow(at), fromNow,
				w.life1(c, y).as("value"), w.limit(y.key, c).called("limit"), input("grew_after", after, unit, "booked: added by the cycles after it"),
				input("grew_in", y.grew(h), unit, y.grewBy()).by(h.ID, h.Stop, w.q.now), w.since("since_stop_h", h.Stop, h.ID, "it stopped"))
		}
		after += y.grew(h)
	}
	return w.step(name, "0 − since_h", "over the limit since the change, or for longer: "+sourceRule, w.fromNow(at), fromNow, w.change(c))
}

// grewBy says what a cycle adds to a wear.
func (y wear) grewBy() string {
	switch y.key {
	case "replace_run_h":
		return "booked: its length"
	case "replace_water_g":
		return "booked: its carry-over"
	}
	return "rule: its length × 2^((hot_c − 60) / 10), as if it had been warm from the start"
}

// firstForecast is when the first of the limits will be reached.
func (w *working) firstForecast(c *pumpCase, name string) *Step {
	var all []Input
	for _, y := range c.replacing.wears {
		if y.value < soon*y.limit {
			break
		}
		if at, ok := y.forecast(c, w.q.now); ok {
			all = append(all, w.forecastOf(c, y, at).as(y.key))
		}
	}
	return w.time(name, c.replacing.opens, "the earliest of them, in hours from now", sourceRule, all...)
}

func (w *working) forecastOf(c *pumpCase, y wear, at time.Time) *Step {
	unit := specOf(y.key).Unit
	told := w.life1(c, y).as("told")
	if y.told != y.value {
		told = input("told", y.told, unit, "booked: as of the newest entry, so that a forecast stands still while the pump runs")
	}
	return w.forecast("forecast: "+y.key, at, c, told, w.limit(y.key, c).called("limit"), w.growth(c, y).called("growth"))
}

// forecast is the end of the cycle that passes a limit.
func (w *working) forecast(name string, at time.Time, c *pumpCase, told, limit, growth Input) *Step {
	first := Input{}
	if c.Run != nil && !c.Run.Blank {
		first = input("first_h", w.fromNow(c.Run.Began), fromNow, "booked: the cycle now running began").by(c.Run.Cycle, c.Run.Began, w.q.now)
	} else {
		step, _ := w.nextStart(c)
		first = step.as("first_h")
	}
	return w.step(name, "first_h + (n − 1) × gap_h + usual_h, n = (limit − told) / growth rounded up and at least 1; whole gap_h more until it lies ahead", "the end of the cycle that passes the limit, if the pump goes on as it does: "+sourceRule,
		w.fromNow(at), fromNow, first, w.usualGap(c), w.usualCycle(c), told.called("told"), limit.called("limit"), growth)
}

// growth is what a cycle adds to a wear.
func (w *working) growth(c *pumpCase, y wear) Input {
	switch y.key {
	case "replace_run_h":
		return w.usualCycle(c)
	case "replace_uses":
		return w.step("growth of replace_uses", "1 / drain_cycles", "a charge lasts so many cycles: "+sourceRule, y.perCycle, "charges", w.limit("drain_cycles", c)).as("growth")
	case "replace_water_g":
		var all []Input
		for i, h := range c.recent() {
			all = append(all, input(fmt.Sprintf("carry_%d_g", i+1), h.CarryOut.Grams(), "g", "booked at its stop").by(h.ID, h.Stop, w.q.now))
		}
		return w.step("growth of replace_water_g", medianText, sourceRule, y.perCycle, "g", all...).as("growth")
	}
	return w.step("growth of thermal_h", "usual_h × 2^((hot_c − ref_c) / 10)", sourceTenDegree, y.perCycle, "h",
		w.usualCycle(c), w.running(c), input("ref_c", physics.AgeingRefC, "C", "rule: reference of the trade")).as("growth")
}

const sourceTenDegree = "ten-degree rule, quoted by the lubrication trade: a relative clock, never a life"

// life shows each wear against its limit.
func (w *working) life(c *pumpCase) {
	for _, y := range c.replacing.wears {
		w.life1(c, y)
	}
}

// life1 is one wear. The kind buy-oil gives it as the ground of a date, not as a reason.
func (w *working) life1(c *pumpCase, y wear) *Step {
	name, unit, since := "life: "+y.key, specOf(y.key).Unit, w.inSump(c)
	limit := w.limit(y.key, c)
	var s *Step
	switch y.key {
	case "replace_run_h":
		s = w.mean(name, c.Sump, c.Sump.RunGH, "g h", unit, since)
	case "replace_water_g":
		s = w.mean(name, c.Sump, c.Sump.TakenGG, "g g", unit, since)
	case "thermal_h":
		s = w.mean(name, c.Sump, c.Sump.HeatGH, "g h", unit, since)
	case "replace_uses":
		s = w.step(name, "uses − uses_then, or 0 if that is less", "the heel that stayed then has served longer, but is a small share: "+sourceRule, y.value, unit, w.wearInputs(c, y)...)
	case "blank_off_factor":
		s = w.step(name, "pa / new_pa", "the newest reading of this charge against the pump's own on new oil: "+sourceUsage, y.value, unit, w.wearInputs(c, y)...)
	default:
		s = w.step(name, "seen − new", "the newest reading of this charge against the lots when new: "+sourceUsage, y.value, unit, w.wearInputs(c, y)...)
	}
	if s.Limit != nil {
		return s
	}
	if unsure := c.Sump.AgeUnsure; unsure > 0 && y.seen.IsZero() {
		in := w.booked("age_unknown_g", unsure, since)
		in.From = "booked: nobody told its life before the book; counted as none"
		s.Inputs = append(s.Inputs, in)
	}
	s.Formula += ", held against " + y.key
	s.Inputs, s.Limit = append(s.Inputs, limit), num(y.limit)
	return s
}

func (w *working) wearInputs(c *pumpCase, y wear) []Input {
	now := w.q.now
	switch y.key {
	case "colour_rise":
		return append([]Input{input("seen", *c.Look.Colour, "D1500", "told").by(c.Look.Entry, c.Look.At, now)}, w.newOil(c, "D1500", func(l *Lot) *float64 { return l.Colour }))
	case "acid_rise_mg_g":
		return append([]Input{input("seen", *c.Look.AcidMgG, "mg/g", "told").by(c.Look.Entry, c.Look.At, now)}, w.newOil(c, "mg/g", func(l *Lot) *float64 { return l.AcidMgG }))
	case "blank_off_factor":
		last, _ := c.blankOff()
		return []Input{w.reading("pa", last), w.reading("new_pa", *c.BlankNew)}
	}
	since := w.inSump(c)
	in := []Input{{Name: "uses", Value: float64(c.Sump.Uses), Unit: "charges", From: "booked: of the part that has served most", Entry: since.Entry, AgeH: since.AgeH}}
	if full := c.FullNow(w.q.r); full != nil {
		return append(in, input("uses_then", float64(full.Uses), "charges", "booked: of the heel that stayed at the last full replacement").by(full.Entry, full.At, now))
	}
	return append(in, input("uses_then", 0, "charges", "booked: no full replacement is on record"))
}

// newOil is a property of the sump's lots when new, by mass.
func (w *working) newOil(c *pumpCase, unit string, property func(*Lot) *float64) Input {
	var all []Input
	for _, l := range c.Sump.Oil {
		lot := w.q.s.Lots[l.Lot]
		if lot == nil || property(lot) == nil {
			continue
		}
		all = append(all, w.booked("oil of "+l.Lot, l.Mass, w.inSump(c)), input("new "+l.Lot, *property(lot), unit, "booked: seen on the lot while new"))
	}
	mean, _ := w.q.newOil(c.Sump, property)
	return w.step("new oil of these lots, "+unit, "the sum of mass × reading of each lot, by the sum of the masses", "the book: mixing by mass", mean, unit, all...).as("new")
}
