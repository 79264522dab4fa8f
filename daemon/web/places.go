package web

import (
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
			card.Mark = mark{"due", "◯", "open, drained"}
		}
		card.Facts = append(v.chargeFacts(p.Charge), v.fullFact(p.Full))
		out = append(out, card)
	}
	return out
}

func (v View) chargeFacts(c *maintenance.ChargeView) []fact {
	if c == nil {
		return []fact{{Name: "Oil in it", Value: "none on the book"}}
	}
	return []fact{
		{Name: "Oil in it", Value: v.quantity(c.Grams, "g"), Limit: "since " + v.clock(c.Since)},
		{Name: "Water in it, estimated", Value: v.quantity(c.WaterG, "g"), Limit: v.between(c.ParcelView)},
		{Name: "Age of the oil", Value: v.quantity(c.OilHours, "h"), Limit: counted(c.Uses, "use")},
	}
}

func (v View) between(p maintenance.ParcelView) string {
	return v.quantity(p.WaterLowG, "g") + " to " + v.quantity(p.WaterHighG, "g")
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
			empty = append(empty, jar{Name: w.Vessel, Look: "empty", Line: "empty", Mark: mark{"wait", "◌", "empty"}})
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
	j := jar{Name: w.Vessel, Look: string(*w.Stage), Mark: v.stageMark(w)}
	j.Line = v.quantity(w.Grams, "g") + " " + string(*w.Stage)
	j.Facts = []fact{
		{Name: "Water, estimated", Value: v.quantity(w.WaterG, "g"), Limit: v.between(w.ParcelView)},
		{Name: "Age of the oil", Value: v.quantity(w.OilHours, "h"), Limit: counted(w.Uses, "use")},
		{Name: "Filter passes", Value: strconv.Itoa(w.FilterPasses)},
		{Name: "So since", Value: v.clock(w.Since)},
	}
	if w.ReadyAt != nil {
		j.Line += ", " + v.quantity(100*w.Settled, "%") + " settled"
		if v.Now.Before(*w.ReadyAt) {
			j.Line += ", ready " + v.clock(*w.ReadyAt)
		}
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
			return mark{"water", "◐", v.away(*w.ReadyAt)}
		}
		return mark{"water", "✓", "frozen"}
	case maintenance.Drained, maintenance.Recovered:
		if waits {
			return mark{"", "◐", v.away(*w.ReadyAt)}
		}
		return mark{"good", "✓", "settled"}
	}
	return mark{"", "◯", string(*w.Stage)}
}
