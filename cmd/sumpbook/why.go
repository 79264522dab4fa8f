package main

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"sumpbook/daemon"
	"sumpbook/maintenance"
	"sumpbook/maintenance/units"
)

func (p *program) whyCommand() *cobra.Command {
	c := &cobra.Command{Use: "why ACTION", Short: "the working behind one action: inputs, formulas, sources, limits", Args: one("ACTION"),
		Example: "  sumpbook why drain/north/ID   # ids stand in: sumpbook next", ValidArgsFunction: p.completeNames(shape{names: []string{"action"}})}
	return question(p, c, func(b *session, c *cobra.Command, args []string, m daemon.Moment) (maintenance.Working, error) {
		return b.Why(c.Context(), args[0], m)
	}, showWorking)
}

// showWorking tells each step so that it can be checked by hand: in the units of its formula,
// whatever the person reads elsewhere.
func showWorking(b *session, s *sheet, w maintenance.Working) {
	b.action(s, w.Action)
	s.line("")
	s.line("How each number comes about. The formulas take the inputs below them as they")
	s.line("stand; hours from now are negative in the past.")
	for _, step := range w.Steps {
		b.step(s, w.Action, step)
	}
}

// columns is how wide a terminal can be counted on to be.
const columns = 80

func (r reader) step(s *sheet, a maintenance.Action, step maintenance.Step) {
	s.line("")
	s.hanging("", "  ", step.Name+": "+r.outcome(a, step))
	s.hanging("  = ", "    ", step.Formula)
	name, value := 0, 0
	for _, in := range step.Inputs {
		name, value = max(name, width(in.Name)), max(value, width(maintenance.InFormula(in.Value, in.Unit)))
	}
	for _, in := range step.Inputs {
		head := "    " + padded(in.Name, name) + "  " + padded(maintenance.InFormula(in.Value, in.Unit), value) + "  "
		s.hanging(head, strings.Repeat(" ", width(head)), origin(in))
	}
	s.hanging("  source: ", "    ", step.Source)
}

// outcome is the result with its interval and its limit, where it has such; of a time also the
// clock's.
func (r reader) outcome(a maintenance.Action, step maintenance.Step) string {
	text := r.both(step, step.Result)
	if step.Low != nil && *step.Low != *step.High {
		text += fmt.Sprintf(" (%s to %s)", maintenance.InFormula(*step.Low, step.Unit), maintenance.InFormula(*step.High, step.Unit))
	}
	if step.Limit != nil {
		text += ", against " + r.both(step, *step.Limit)
	}
	switch step.Name {
	case "opens":
		text += ", " + r.when(a.Opens)
	case "due":
		text += ", " + r.when(a.Due)
	case "closes":
		text += ", " + r.when(*a.Closes)
	}
	return text
}

// both is a result in the unit of its formula, and in the person's where that is another.
func (r reader) both(step maintenance.Step, v float64) string {
	text := maintenance.InFormula(v, step.Unit)
	if u, ok := units.UnitOf(step.Unit); ok && r.system == units.US && shown[u.Dimension()] && u != "K" {
		text += " = " + r.namely(step.Name, v, step.Unit)
	}
	return text
}

// origin is where an input comes from, and which entry told it.
func origin(in maintenance.Input) string {
	if in.Entry == "" {
		return in.Origin()
	}
	return in.Origin() + ", entry " + in.Entry
}

func width(s string) int { return utf8.RuneCountInString(s) }

func padded(s string, to int) string { return s + strings.Repeat(" ", to-width(s)) }

// hanging adds a text that breaks before the terminal does, each further line behind a margin.
func (s *sheet) hanging(first, margin, text string) {
	line, empty := first, true
	for word := range strings.FieldsSeq(inline(text)) {
		if !empty && width(line)+1+width(word) > columns {
			s.line("%s", line)
			line, empty = margin, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	s.line("%s", line)
}
