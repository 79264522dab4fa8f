package web

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"sumpbook/maintenance"
	"sumpbook/maintenance/units"
)

// A step is one computation behind an action, as a person checks it by hand.
type step struct {
	Name, Formula, Source, Result, Interval, Limit string
	Inputs                                         []given
}

// A given is one number that a step starts from, and where it comes from.
type given struct{ Name, Value, From, Entry, Link string }

// steps are the working behind an action, where the desk shows it.
func (v View) steps(action string) []step {
	if v.Working == nil {
		return nil
	}
	w, ok := v.Working(action)
	if !ok {
		return nil
	}
	out := make([]step, len(w.Steps))
	for i, s := range w.Steps {
		out[i] = v.step(s)
	}
	return out
}

func (v View) step(s maintenance.Step) step {
	out := step{Name: capital(nameWords(s.Name)), Formula: s.Formula, Source: s.Source, Result: v.outcome(s.Result, s.Unit)}
	if names, ok := ruleWords[s.Name]; ok {
		out.Name = names[0]
	}
	if s.Low != nil && *s.Low != *s.High {
		out.Interval = inFormula(*s.Low, s.Unit) + " and " + inFormula(*s.High, s.Unit)
	}
	if s.Limit != nil {
		out.Limit = v.outcome(*s.Limit, s.Unit)
	}
	for _, in := range s.Inputs {
		out.Inputs = append(out.Inputs, v.given(in))
	}
	return out
}

func (v View) given(in maintenance.Input) given {
	g := given{Name: in.Name, Value: inFormula(in.Value, in.Unit), From: in.Origin(), Entry: in.Entry}
	if _, ok := v.entry(in.Entry); ok {
		g.Link = "/history#" + anchor(in.Entry)
	}
	return g
}

// inFormula is a number in the unit of its formula, on one line.
func inFormula(value float64, unit string) string { return whole(maintenance.InFormula(value, unit)) }

// outcome is a result, also in the person's units where they are others.
func (v View) outcome(value float64, unit string) string {
	text, theirs := inFormula(value, unit), v.quantity(value, unit)
	u, known := units.UnitOf(unit)
	if units.System(v.Units) != units.US || !known || theirs == v.metric(value, u) {
		return text
	}
	return text + whole(" ("+theirs+")")
}

func (v View) metric(value float64, u units.Unit) string {
	v.Units = string(units.Metric)
	return v.quantity(value, string(u))
}

// anchor is where the history shows an entry.
func anchor(entry string) string { return "e-" + entry }

// unitEndings are those of stored names, the longer ones first.
var unitEndings = []string{"_m3_h", "_l_min", "_mg_g", "_g_h", "_ml", "_mm", "_min", "_um", "_ppm", "_pa", "_g", "_c", "_h"}

// nameWords makes words of a stored name; its unit stands beside the number.
func nameWords(name string) string {
	for _, unit := range unitEndings {
		if short, ok := strings.CutSuffix(name, unit); ok && short != "" {
			name = short
			break
		}
	}
	return strings.NewReplacer("_", " ", "-", " ").Replace(name)
}

// capital begins a text of the book as a page begins it.
func capital(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	if size == 0 {
		return ""
	}
	return string(unicode.ToUpper(first)) + text[size:]
}
