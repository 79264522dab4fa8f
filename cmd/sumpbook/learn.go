package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"sumpbook/daemon"
	"sumpbook/maintenance"
)

func (p *program) learnCommand() *cobra.Command {
	c := &cobra.Command{Use: "learn PUMP", Short: "what a pump has shown of itself: its own factors, and whether oil or pump", Args: one("PUMP"),
		Example: "  sumpbook learn north", ValidArgsFunction: p.completeNames(shape{names: []string{"pump"}})}
	return question(p, c, func(b *session, c *cobra.Command, args []string, m daemon.Moment) (maintenance.LearnView, error) {
		return b.Learn(c.Context(), args[0], m)
	}, showLearned)
}

func showLearned(b *session, s *sheet, v maintenance.LearnView) {
	s.line("%s, %s", v.Pump, b.clock(v.At))
	for _, f := range v.Factors {
		s.line("")
		b.factor(s, f)
	}
	s.line("")
	b.blankOff(s, v.BlankOff)
}

// factor tells what is applied, then what it rests on.
func (r reader) factor(s *sheet, f maintenance.FactorView) {
	s.line("%s: %s, %s", f.Factor, r.span(f.Applied, f.Unit), f.From)
	s.row("  is", f.Means)
	s.row("  to begin with", r.span(f.Prior, f.Unit)+"; "+f.Basis)
	if f.Learned == nil {
		s.row("  seen", "nothing yet")
		return
	}
	s.row("  seen", fmt.Sprintf("%s, %s", count(f.N, "time"), r.span(*f.Learned, f.Unit)))
	switch {
	case f.Record != nil:
		s.row("  to apply it", r.command(*f.Record))
	case f.From == "assumed" && f.Asks:
		s.row("  applied", fmt.Sprintf("proposed from %d times on, cloudy and clear looks among them, and applied after your yes", f.Least))
	case f.From == "assumed":
		s.row("  applied", fmt.Sprintf("from %d times on", f.Least))
	}
	s.line("")
	s.row("  AT", "OF", "MEASURED", "RECKONED", "RATIO", "ENTRY")
	for _, x := range f.Seen {
		s.row("  "+r.day(x.At), x.Of, r.quantity(x.Measured, x.Unit), r.quantity(x.Reckoned, x.Unit), bounded(x), x.Entry)
	}
}

func bounded(x maintenance.SeenView) string {
	if x.Bound != "" {
		return x.Bound + " " + figures(twoFigures(x.Ratio))
	}
	return figures(twoFigures(x.Ratio))
}

// span is an expected value with its interval.
func (r reader) span(v maintenance.RangeView, unit string) string {
	three := func(x float64) string { return r.quantity(threeFigures(x), unit) }
	return fmt.Sprintf("%s (%s to %s)", three(v.Value), three(v.Low), three(v.High))
}

// blankOff tells what the charts of the blank-off pressure say.
func (r reader) blankOff(s *sheet, v maintenance.BlankOffView) {
	s.line("oil or pump: %s", verdictWords[v.Verdict])
	s.row("  blank-off", count(v.N, "reading"))
	if v.StartN == 0 {
		s.row("  wants", v.Want)
		return
	}
	pa := func(x float64) string { return r.quantity(threeFigures(x), "Pa") }
	s.row("  usual", fmt.Sprintf("%s, scatter %s in ln, of the first %d", pa(v.CentrePa), figures(twoFigures(v.Scale)), v.StartN))
	s.row("  EWMA now", fmt.Sprintf("%s, limit %s", pa(v.EWMAPa), pa(v.EWMALimit)))
	s.row("  CUSUM now", fmt.Sprintf("%s, limit %s", figures(twoFigures(v.CUSUM)), figures(v.CUSUMLimit)))
	if v.Signal != nil {
		s.row("  risen", fmt.Sprintf("to %s, seen %s", pa(*v.LevelPa), r.when(*v.Signal)))
	}
	if v.AfterPa != nil {
		oil := "after the oil was changed"
		if v.AfterNew {
			oil = "on new oil"
		}
		s.row("  since then", pa(*v.AfterPa)+" "+oil)
	}
	if v.Want != "nothing" {
		s.row("  wants", v.Want)
	}
	s.row("  source", "EWMA and CUSUM charts, NIST/SEMATECH e-Handbook 6.3.2.3 and 6.3.2.4")
}

var verdictWords = map[string]string{
	"cannot tell yet": "cannot tell yet",
	"steady":          "neither: the pressure is steady",
	"oil":             "the oil: a change of it brought the pressure back",
	"pump":            "the pump: new oil does not bring the pressure back; look at vanes, seals and leaks as the maker's manual says",
}
