package web

import (
	"math"
	"slices"
	"strconv"

	"sumpbook/maintenance"
)

// pumps are the pumps with what their oil has been through.
func (v View) pumps() []pump {
	var out []pump
	for _, p := range v.State.Pumps {
		card := pump{Name: p.Pump, Mark: mark{"", "■", "standing"}}
		switch {
		case p.Running:
			card.Mark = mark{"good", "●", "running"}
		case p.Open:
			card.Mark = mark{"due", "◯", "open"}
		}
		card.Facts = append(v.chargeFacts(p), v.fullFact(p.Full))
		out = append(out, card)
	}
	return out
}

func (v View) chargeFacts(p maintenance.PumpView) []fact {
	c := p.Charge
	if c == nil {
		return []fact{{Name: "Oil in it", Value: "none on the book"}}
	}
	water := v.waterFact("Water in it, estimated", c.ParcelView)
	if p.Running {
		water.Limit = "this cycle's comes at its stop"
	}
	facts := []fact{{Name: "Oil in it", Value: v.quantity(c.Grams, "g"), Limit: "since " + v.clock(c.Since)}, water}
	if c.CarryOverG > 0 {
		facts = append(facts, v.estimateFact("Water that came over", c.CarryOverG, c.CarryLowG, c.CarryHighG))
	}
	return append(facts, v.ageFact(c.ParcelView))
}

func (v View) waterFact(name string, p maintenance.ParcelView) fact {
	return v.estimateFact(name, p.WaterG, p.WaterLowG, p.WaterHighG)
}

// estimateFact is a mass with the ends of its interval; a weighed one has none.
func (v View) estimateFact(name string, grams, low, high float64) fact {
	f := fact{Name: name, Value: v.estimate(grams)}
	if low < high {
		f.Limit = v.estimate(low) + " to " + v.estimate(high)
	}
	return f
}

// settleFacts are how far a vessel that waits has come, and when it will have, each with the
// ends of its interval.
func (v View) settleFacts(w maintenance.VesselView) []fact {
	percent := func(share float64) string { return v.quantity(math.Round(100*share), "%") }
	facts := []fact{{Name: "Settled, estimated", Value: percent(w.Settled), Limit: percent(w.SettledLow) + " to " + percent(w.SettledHigh)}}
	if *w.Stage == maintenance.Freezing {
		facts = nil
	}
	if w.ReadyLow == nil || w.ReadyHigh == nil || !v.Now.Before(*w.ReadyAt) {
		return facts
	}
	return append(facts, fact{Name: "Ready, at the earliest", Value: v.clock(*w.ReadyLow), Limit: "at the latest " + v.clock(*w.ReadyHigh)})
}

func (v View) ageFact(p maintenance.ParcelView) fact {
	return fact{Name: "Age of the oil", Value: v.quantity(p.OilHours, "h"), Limit: counted(p.Uses, "use")}
}

// estimate writes a mass that nobody weighed, to two figures.
func (v View) estimate(grams float64) string {
	short, _ := strconv.ParseFloat(strconv.FormatFloat(grams, 'g', 2, 64), 64)
	return v.quantity(short, "g")
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

func (v View) fullFact(f *maintenance.FullView) fact {
	out := fact{Name: "All oil replaced", Value: "not on record"}
	if f != nil {
		out.Value = f.At.In(v.Zone).Format("2 Jan 2006")
		out.Limit = counted(f.Cycles, "cycle") + ", " + v.quantity(f.RunHours, "h") + " since"
	}
	return out
}

// jars are all vessels, those that hold oil first.
func (v View) jars() []jar {
	var out, empty []jar
	for _, w := range v.State.Vessels {
		if w.Stage == nil {
			empty = append(empty, jar{Name: w.Vessel, Look: "empty", Mark: mark{"wait", "◌", "empty"}})
			continue
		}
		out = append(out, v.jar(w))
	}
	return append(out, empty...)
}

// fullJars are the vessels that hold oil.
func (v View) fullJars() []jar {
	return slices.DeleteFunc(v.jars(), func(j jar) bool { return j.Look == "empty" })
}

func (v View) jar(w maintenance.VesselView) jar {
	j := jar{Name: w.Vessel, Look: string(*w.Stage), Mark: v.stageMark(w), Line: v.quantity(w.Grams, "g")}
	if w.ReadyAt != nil && v.Now.Before(*w.ReadyAt) {
		j.Ready = "ready " + v.clock(*w.ReadyAt) + ", " + v.away(*w.ReadyAt)
	}
	j.Facts = []fact{v.waterFact("Water, estimated", w.ParcelView), v.ageFact(w.ParcelView), {Name: string(*w.Stage) + " since", Value: v.clock(w.Since)}}
	if w.ReadyAt != nil {
		j.Facts = append(j.Facts, v.settleFacts(w)...)
	}
	if w.FilterPasses > 0 {
		j.Facts = append(j.Facts, fact{Name: "Filter passes", Value: strconv.Itoa(w.FilterPasses)})
	}
	for _, a := range v.Actions {
		if a.Vessel != nil && *a.Vessel == w.Vessel && a.Pump == nil {
			l := v.line(a)
			j.Do = &l
			break
		}
	}
	return j
}

// stageMark says in a glyph and a word where a vessel's oil stands.
func (v View) stageMark(w maintenance.VesselView) mark {
	waits := w.ReadyAt != nil && v.Now.Before(*w.ReadyAt)
	switch *w.Stage {
	case maintenance.New:
		return mark{"good", "✓", "new"}
	case maintenance.Filtered:
		return mark{"good", "✓", "filtered"}
	case maintenance.Freezing:
		if waits {
			return mark{"water", "◐", "freezing"}
		}
		return mark{"water", "✓", "frozen"}
	case maintenance.Drained, maintenance.Recovered:
		if waits {
			return mark{"", "◐", "settling"}
		}
		return mark{"good", "✓", "settled"}
	}
	return mark{"", "◯", string(*w.Stage)}
}
