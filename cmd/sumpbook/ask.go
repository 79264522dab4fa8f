package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"sumpbook/daemon"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// asking are the flags of every command that reads state.
func (p *program) asking(c *cobra.Command) *cobra.Command {
	c.Flags().StringVar(&p.at, "at", "", "as things stood at this `time`")
	c.Flags().StringVar(&p.knownBy, "known-by", "", "by what the book had heard by this `time`")
	return c
}

// one wants exactly one word.
func one(what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch len(args) {
		case 1:
			return nil
		case 0:
			return usage(c.Name()+": "+what+" is missing", "write: "+c.CommandPath()+" "+what)
		}
		return usage(fmt.Sprintf("%s: %q is one word too many", c.Name(), args[1]), "write: "+c.CommandPath()+" "+what)
	}
}

// question is a command that asks the book about a moment: ask gets the answer, show prints
// it for people.
func question[T any](p *program, c *cobra.Command, ask func(b *session, c *cobra.Command, args []string, m daemon.Moment) (T, error), show func(b *session, s *sheet, v T)) *cobra.Command {
	c.RunE = func(c *cobra.Command, args []string) error {
		return p.atBook(c.Context(), func(b *session) error {
			m, err := p.moment(b.zone)
			if err != nil {
				return err
			}
			v, err := ask(b, c, args, m)
			switch {
			case err != nil:
				return err
			case p.json:
				return p.printJSON(v)
			}
			if !m.At.IsZero() {
				b.reader = b.asOf(m.At)
			}
			s := newSheet()
			show(b, s, v)
			return s.print(p.out)
		})
	}
	return p.asking(c)
}

func (p *program) stateCommand() *cobra.Command {
	c := &cobra.Command{Use: "state", Short: "what is in the pumps and in every jar", Args: noWords,
		Example: "  sumpbook state\n  sumpbook state --at=\"yesterday 21:40\" --json"}
	return question(p, c, func(b *session, c *cobra.Command, _ []string, m daemon.Moment) (maintenance.StateView, error) {
		return b.State(c.Context(), m)
	}, showState)
}

func showState(b *session, s *sheet, v maintenance.StateView) {
	s.line("%s, entry %d", b.clock(v.At), v.Seq)
	for _, p := range v.Pumps {
		b.pump(s, p)
	}
	if len(v.Vessels) > 0 {
		s.line("")
		s.row("VESSEL", "STAGE", "HOLDS", "WATER", "READY")
		for _, w := range v.Vessels {
			b.vessel(s, w)
		}
	}
	s.line("")
	l := v.Ledger
	s.line("in pumps %s, in vessels %s, in media %s", b.grams(l.InPumpsG), b.grams(l.InVesselsG), b.grams(l.InMediaG))
	s.line("handed in or spilled %s, lost %s, found %s", b.grams(l.DiscardedG), b.grams(l.LostG), b.grams(l.FoundG))
}

func (r reader) pump(s *sheet, p maintenance.PumpView) {
	s.line("")
	s.line("%s %s", p.Pump, standing(p))
	if c := p.Charge; c != nil {
		s.row("  holds", r.grams(c.Grams)+lots(c.Lots)+", since "+r.when(c.Since))
		s.row("  water", r.sumpWater(p.Running, c.ParcelView))
		s.row("  new oil", percent(c.FreshFraction))
		s.row("  since the change", fmt.Sprintf("%s, %s", r.hours(c.RunHours), count(c.Cycles, "cycle"))+r.water(c))
		s.row("  life of the oil", r.life(c.ParcelView))
	}
	switch full := p.Full; {
	case full != nil:
		s.row("  last fully replaced", fmt.Sprintf("%s; %s and %s since", r.when(full.At), r.hours(full.RunHours), count(full.Cycles, "cycle")))
	default:
		s.row("  last fully replaced", "not on record")
	}
	s.row("  in all", fmt.Sprintf("%s, %s", r.hours(p.RunHours), count(p.Cycles, "cycle")))
}

// life is how long oil has run and how often it was filled in. What it lived through before
// the book is not known where nobody told it.
func (r reader) life(v maintenance.ParcelView) string {
	text := fmt.Sprintf("%s, %s", r.hours(v.OilHours), count(v.Uses, "charge"))
	switch {
	case v.AgeUnknownG == 0:
		return text
	case v.AgeUnknownG > 0.99*v.OilG:
		return text + " on the book; not known before"
	}
	return fmt.Sprintf("%s on the book; not known before of %s of it", text, r.about(v.AgeUnknownG))
}

// sumpWater is the estimate for a sump. What a run brings in is known when it has ended.
func (r reader) sumpWater(runs bool, v maintenance.ParcelView) string {
	switch {
	case !runs:
		return r.between(v.WaterG, v.WaterLowG, v.WaterHighG)
	case v.WaterHighG == 0:
		return "booked at the stop"
	}
	return r.between(v.WaterG, v.WaterLowG, v.WaterHighG) + " from before, that of this run is booked at the stop"
}

// water is what the cycles of a charge did with it, where there is something to tell.
func (r reader) water(c *maintenance.ChargeView) string {
	text := ""
	if c.WaterRemovedG > 0 {
		text += "; the food lost " + r.grams(c.WaterRemovedG)
	}
	if c.CarryOverG > 0 {
		text += fmt.Sprintf("; about %s came into the pump, %s left it", r.between(c.CarryOverG, c.CarryLowG, c.CarryHighG), r.about(c.ExpelledG))
	}
	return text
}

func standing(p maintenance.PumpView) string {
	switch {
	case p.Running && p.Open:
		return "RUNS AND IS OPEN"
	case p.Running:
		return "runs"
	case p.Open:
		return "stands open"
	}
	return "stands closed"
}

func (r reader) vessel(s *sheet, w maintenance.VesselView) {
	if w.Stage == nil {
		s.row(w.Vessel, "empty")
		return
	}
	s.row(w.Vessel, string(*w.Stage), r.grams(w.Grams), r.between(w.WaterG, w.WaterLowG, w.WaterHighG), r.ready(w))
}

// fromTo are the ends of an estimated time, where there are such: days, of an interval of days.
func (r reader) fromTo(low, high *time.Time) string {
	if low == nil || high == nil || low.Equal(*high) {
		return ""
	}
	layout := "Mon 15:04"
	if high.Sub(*low) >= 24*time.Hour {
		layout = "Mon 2 Jan"
	}
	return fmt.Sprintf(" (%s to %s)", low.In(r.zone).Format(layout), high.In(r.zone).Format(layout))
}

// readyFor is what the oil of a stage is made ready for.
var readyFor = map[maintenance.Stage]string{
	maintenance.New: "for the pump", maintenance.Filtered: "for the pump", maintenance.Decanted: "to filter",
	maintenance.Drained: "to decant", maintenance.Recovered: "to decant", maintenance.Freezing: "to take the ice out",
}

// ready is what a vessel's oil is ready for, and from when.
func (r reader) ready(w maintenance.VesselView) string {
	what, known := readyFor[*w.Stage]
	waits := *w.Stage == maintenance.Drained || *w.Stage == maintenance.Recovered || *w.Stage == maintenance.Freezing
	switch {
	case !known || waits && w.ReadyAt == nil:
		return ""
	case w.NotReady != "":
		return "not yet: " + w.NotReady
	case w.ReadyAt != nil && w.ReadyAt.After(r.now):
		return what + ": " + r.when(*w.ReadyAt) + r.fromTo(w.ReadyLow, w.ReadyHigh)
	}
	return what + ": now"
}

// lots names the lots of a mixture with their shares, the largest first.
func lots(all map[string]float64) string {
	total := 0.0
	for _, g := range all {
		total += g
	}
	if len(all) == 0 || total == 0 {
		return ""
	}
	var parts []string
	for _, name := range byMass(all) {
		parts = append(parts, name+" "+percent(all[name]/total))
	}
	return " (" + strings.Join(parts, ", ") + ")"
}

func (p *program) nextCommand() *cobra.Command {
	var check bool
	c := &cobra.Command{Use: "next", Short: "what to do now, until when, and how to record it", Args: noWords,
		Example: "  sumpbook next\n  sumpbook next --check   # for scripts",
		Long: `  sumpbook next
  sumpbook next --check   # for scripts: 0 nothing due, 10 open, 11 overdue, 12 data stale

With several of these the first that holds of overdue, stale, open is told: what is overdue
is known; what is stale may hide more.`}
	question(p, c, func(b *session, c *cobra.Command, _ []string, m daemon.Moment) (daemon.ActionsView, error) {
		return b.Actions(c.Context(), m)
	}, showActions)
	c.Flags().BoolVar(&check, "check", false, "tell by the exit code: 0, 10, 11 or 12")
	answer := c.RunE
	c.RunE = func(c *cobra.Command, args []string) error {
		if !check {
			return answer(c, args)
		}
		return p.check(c)
	}
	return c
}

// The exit codes of next --check.
const (
	codeOpen    exitCode = 10
	codeOverdue exitCode = 11
	codeStale   exitCode = 12
)

func (p *program) check(c *cobra.Command) error {
	code := exitCode(done)
	err := p.atBook(c.Context(), func(b *session) error {
		m, err := p.moment(b.zone)
		if err != nil {
			return err
		}
		view, err := b.Actions(c.Context(), m)
		if err != nil {
			return err
		}
		code = verdict(view)
		if p.json {
			return p.printJSON(view)
		}
		return nil
	})
	if err != nil || code == done {
		return err
	}
	return code
}

func verdict(v daemon.ActionsView) exitCode {
	code := exitCode(done)
	for _, a := range v.Actions {
		switch {
		case a.State == maintenance.Overdue:
			return codeOverdue
		case a.State == maintenance.Open:
			code = codeOpen
		}
	}
	if len(v.Stale) > 0 {
		return codeStale
	}
	return code
}

func showActions(b *session, s *sheet, v daemon.ActionsView) {
	for i, a := range v.Actions {
		if i > 0 && (a.State != maintenance.Coming || v.Actions[i-1].State != maintenance.Coming) {
			s.line("")
		}
		b.action(s, a)
	}
	if len(v.Actions) == 0 {
		s.line("nothing to do")
	}
	for _, pump := range v.Stale {
		s.line("the source of %s is silent: what its pump does is not known", pump)
	}
}

func (r reader) action(s *sheet, a maintenance.Action) {
	s.line("%-8s %s", a.State, r.headline(a))
	if a.State != maintenance.Coming {
		s.line("         record  %s", notify.Command(a.Record))
		for _, reason := range a.Why {
			s.line("         because %s", r.reason(reason))
		}
		for _, caution := range a.Cautions {
			s.line("         careful %s", caution)
		}
	}
	s.line("         id      %s", a.ID)
}

// headline is what to do and the time that matters now.
func (r reader) headline(a maintenance.Action) string {
	switch {
	case a.State == maintenance.Coming:
		return notify.Task(a) + ": opens " + r.when(a.Opens) + r.opensFromTo(a)
	case a.State == maintenance.Open && a.Closes != nil:
		return notify.Task(a) + ": closes " + r.when(*a.Closes) + r.fromTo(a.DueLow, a.DueHigh)
	}
	return notify.Task(a) + ": due " + r.when(a.Due)
}

// opensFromTo is the interval of an opening, which lies as wide as that of the due time.
func (r reader) opensFromTo(a maintenance.Action) string {
	if a.DueLow == nil || a.DueHigh == nil {
		return ""
	}
	lead := a.Opens.Sub(a.Due)
	low, high := a.DueLow.Add(lead), a.DueHigh.Add(lead)
	return r.fromTo(&low, &high)
}

// reason is one number with what it is held against. What the book holds against itself is
// no limit.
func (r reader) reason(w maintenance.Reason) string {
	fact, ofBook := strings.CutPrefix(w.Source, "the book: ")
	if w.Rule == "unexplained" || w.Rule == "declared" { // a count of one: the words are the source's
		return fact
	}
	text := reasonName(w.Rule) + ": " + r.namely(w.Rule, w.Value, w.Unit)
	word := ", limit "
	switch {
	case w.Rule == "settled" || w.Rule == "settled_h" || w.Rule == "frozen_h":
		word = ", wanted "
	case w.Rule == "minutes_left":
		word = ", of "
	case ofBook:
		word = ", against "
	}
	if w.Limit != 0 || !ofBook {
		text += word + r.namely(w.Rule, w.Limit, w.Unit)
	}
	return fmt.Sprintf("%s (%s)", text, w.Source)
}

// reasonName tells apart what plainName would call the same.
func reasonName(rule string) string {
	switch rule {
	case "settled_h":
		return "has stood"
	case "settled":
		return "share settled"
	}
	return plainName(rule)
}

func (p *program) whyNotCommand() *cobra.Command {
	c := &cobra.Command{Use: "why-not KIND", Short: "why nothing of a kind is asked for, or its reminder did not arrive", Args: one("KIND"),
		Example: "  sumpbook why-not drain"}
	for _, do := range maintenance.Dos() {
		c.ValidArgs = append(c.ValidArgs, string(do))
	}
	return question(p, c, func(b *session, c *cobra.Command, args []string, m daemon.Moment) (daemon.WhyNotView, error) {
		return b.WhyNot(c.Context(), args[0], m)
	}, func(b *session, s *sheet, v daemon.WhyNotView) {
		for _, says := range append(v.Says, v.Reminders...) {
			s.line("%s", b.local(says))
		}
	})
}

func (p *program) auditCommand() *cobra.Command {
	c := &cobra.Command{Use: "audit PUMP", Short: "the oil's history: charges, and when it was last fully replaced", Args: one("PUMP"),
		Example: "  sumpbook audit north", ValidArgsFunction: p.completeNames(shape{names: []string{"pump"}})}
	return question(p, c, func(b *session, c *cobra.Command, args []string, m daemon.Moment) (maintenance.Audit, error) {
		return b.Audit(c.Context(), args[0], m)
	}, showAudit)
}

func showAudit(b *session, s *sheet, v maintenance.Audit) {
	s.line("%s, %s", v.Pump, b.clock(v.At))
	switch {
	case v.Full != nil:
		s.row("last fully replaced", fmt.Sprintf("%s, %s new oil, entry %s", b.when(v.Full.At), percent(v.Full.FreshFraction), v.Full.Entry))
		s.row("since then", fmt.Sprintf("%s, %s", b.hours(v.Full.RunHours), count(v.Full.Cycles, "cycle")))
	case v.Best != nil:
		s.row("last fully replaced", "not on record")
		s.row("nearest to it", fmt.Sprintf("%s, %s new oil, entry %s", b.when(v.Best.At), percent(v.Best.FreshFraction), v.Best.Entry))
	default:
		s.row("last fully replaced", "not on record")
	}
	s.row("heel", b.quantity(v.HeelMl, "ml")+assumed(v.Assumed))
	s.line("")
	if len(v.Charges) == 0 {
		s.line("no charge yet: nothing was filled in")
		return
	}
	s.row("SINCE", "UNTIL", "OIL", "NEW OIL", "RAN", "CYCLES", "WATER OUT OF FOOD", "CARRIED OVER", "USES", "LOTS")
	for _, c := range v.Charges {
		b.charge(s, c)
	}
}

func (r reader) charge(s *sheet, c maintenance.ChargeLog) {
	until := "in the pump"
	if c.Until != nil {
		until = r.day(*c.Until)
	}
	fresh := percent(c.FreshFraction)
	if c.FullReplacement {
		fresh += " (full)"
	}
	s.row(r.day(c.Since), until, r.grams(c.Grams), fresh, r.hours(c.RunHours), fmt.Sprint(c.Cycles),
		r.waterOut(c), r.about(c.CarryOverG), fmt.Sprint(c.Uses), strings.Trim(lots(c.Lots), " ()"))
}

// waterOut is what the food lost, as far as it was weighed.
func (r reader) waterOut(c maintenance.ChargeLog) string {
	switch {
	case c.NotWeighed == 0:
		return r.grams(c.WaterRemovedG)
	case c.NotWeighed == c.Cycles:
		return "not told"
	}
	return fmt.Sprintf("%s, %d not told", r.grams(c.WaterRemovedG), c.NotWeighed)
}
