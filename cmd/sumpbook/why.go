package main

import (
	"fmt"

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

// showWorking tells each step so that it can be checked by hand.
func showWorking(b *session, s *sheet, w maintenance.Working) {
	b.action(s, w.Action)
	for _, step := range w.Steps {
		b.step(s, step)
	}
}

func (r reader) step(s *sheet, step maintenance.Step) {
	s.line("")
	s.line("%s: %s", reasonName(step.Name), r.outcome(step))
	s.row("  formula", step.Formula)
	s.row("  source", step.Source)
	for _, in := range step.Inputs {
		s.row("  "+plainName(in.Name), r.namely(in.Name, in.Value, in.Unit)+", "+r.origin(in))
	}
}

// outcome is the result with its interval and its limit, where it has such.
func (r reader) outcome(step maintenance.Step) string {
	text := r.namely(step.Name, step.Result, step.Unit)
	if step.Low != nil && step.High != nil {
		text += fmt.Sprintf(" (%s to %s)", r.namely(step.Name, *step.Low, step.Unit), r.namely(step.Name, *step.High, step.Unit))
	}
	if step.Limit != nil {
		text += ", limit " + r.namely(step.Name, *step.Limit, step.Unit)
	}
	return text
}

// origin is where an input comes from, and how old it is.
func (r reader) origin(in maintenance.Input) string {
	text := in.From
	if in.Entry != "" {
		text += ", entry " + in.Entry
	}
	switch {
	case in.AgeH == nil:
	case *in.AgeH < 1./60:
		text += ", just told"
	default:
		text += ", " + units.Format(*in.AgeH, units.Hour, r.system) + " old"
	}
	return text
}
