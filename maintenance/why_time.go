package maintenance

import (
	"fmt"
	"strings"
	"time"
)

// The times of an action are told in hours from now, so that they can be reckoned from the
// ages of what they rest on.

func (w *working) fromNow(t time.Time) float64 { return t.Sub(w.q.now).Hours() }

// snooze is until when the person asked the action to wait, if that lies ahead.
func (w *working) snooze() (Input, bool) {
	aside := w.q.aside(w.a.ID, w.a.Do, strings.Split(w.a.ID, "/")[1])
	in := input("snoozed_h", w.fromNow(aside.Until), fromNow, "booked: asked to wait until then")
	in.Entry = aside.Entry
	return in, aside.Until.After(w.q.now)
}

// opens is when the action's window opens: at, or at the end of a snooze.
func (w *working) opens(at time.Time, formula, source string, inputs ...Input) {
	w.opened = at
	until, waits := w.snooze()
	if !waits {
		w.step("opens", formula, source, w.fromNow(at), fromNow, inputs...)
		return
	}
	first := w.step(notSnoozed, formula, source, w.fromNow(at), fromNow, inputs...)
	w.step("opens", "opens_h, but never before snoozed_h", "the book: as the person asked", w.fromNow(w.a.Opens), fromNow, first.as("opens_h"), until)
}

// due is when the action is to be done: at, or later if it opens only then.
func (w *working) due(at time.Time, formula, source string, inputs ...Input) {
	until, waits := w.snooze()
	switch {
	case waits && w.a.Due.After(at):
		formula, inputs = formula+"; but never before snoozed_h", append(inputs, until)
	case w.a.Due.After(at):
		formula, inputs = formula+"; but never before earliest_h", append(inputs, w.opensH().called("earliest_h"))
	}
	s := w.step("due", formula, source, w.fromNow(w.a.Due), fromNow, inputs...)
	if w.a.DueLow != nil {
		s.Source += "; low and high: " + dueWidths[w.a.Do]
		s.between(w.fromNow(*w.a.DueLow), w.fromNow(*w.a.DueHigh))
	}
}

// dueWidths are what the interval of an estimated due time rests on.
var dueWidths = map[Do]string{
	DoDrain:    "by the low and high end of cool_tau_min; of a running pump a prediction interval of the newest twelve cycles (ISO 16269-8)",
	DoFill:     "a prediction interval of the newest twelve gaps (ISO 16269-8)",
	DoDecant:   "by the width of the time to settle and of the store's temperature, in quadrature (JCGM 100:2008, 5.1.6)",
	DoSeparate: "Plank's law once and three times over, of little and of much water",
	DoReplace:  "by what each cycle and each gap differ from the usual, in quadrature (JCGM 100:2008, 5.1.2)",
	DoBuyOil:   "by what each cycle and each gap differ from the usual, in quadrature (JCGM 100:2008, 5.1.2)",
}

// opensH is when the action opens by itself, as an input of when it is due.
func (w *working) opensH() Input { return w.itself(w.named("opens")).as("opens_h") }

// itself is a step of when something opens without the snooze of the action.
func (w *working) itself(opens *Step) *Step {
	if first := w.named(notSnoozed); first != nil && opens.Name == "opens" {
		return first
	}
	return opens
}

const notSnoozed = "opens, were it not snoozed"

// dueWithin is due so long after it opens.
func (w *working) dueWithin(within time.Duration, source string) {
	opens := w.opensH()
	w.due(w.opened.Add(within), "opens_h + within_h", source, opens, input("within_h", within.Hours(), "h", "rule: of this kind of action"))
}

// usualCycle is how long a cycle of the pump lasts.
func (w *working) usualCycle(c *pumpCase) Input {
	if c.known == 0 {
		return input("usual_h", unknownCycle.Hours(), "h", "assumed until a cycle has ended")
	}
	var all []Input
	for _, y := range c.recent() {
		all = append(all, input(fmt.Sprintf("cycle_%d_h", len(all)+1), y.Length.Hours(), "h", "booked: from start to stop").by(y.ID, y.Start, w.q.now))
	}
	return w.step("usual length of a cycle", medianText, sourceRule, c.cycle.Hours(), "h", all...).as("usual_h")
}

const medianText = "the middle one by size, of an even number the upper of the middle two"

// usualGap is how long it is from one start to the next.
func (w *working) usualGap(c *pumpCase) Input {
	var all []Input
	recent := c.recent()
	for i := 1; i < len(recent); i++ {
		all = append(all, input(fmt.Sprintf("gap_%d_h", i), recent[i].Start.Sub(recent[i-1].Start).Hours(), "h", "booked: from the start before to this one").by(recent[i].ID, recent[i].Start, w.q.now))
	}
	return w.step("usual time from start to start", medianText, sourceRule, c.gap.Hours(), "h", all...).as("gap_h")
}

// lastStart is the start from which the next one is foreseen.
func (w *working) lastStart(c *pumpCase) Input {
	if c.Run != nil && !c.Run.Blank {
		return w.since("since_start_h", c.Run.Began, c.Run.Cycle, "the cycle now running began")
	}
	last := c.History[len(c.History)-1]
	return w.since("since_start_h", last.Start, last.ID, "the newest cycle began")
}

// nextStart is when the next cycle is to be expected; false if none can be.
func (w *working) nextStart(c *pumpCase) (*Step, bool) {
	next, ok := c.nextStart()
	if !ok {
		return nil, false
	}
	gap := w.usualGap(c)
	return w.step("next start to be expected", "gap_h − since_start_h", sourceRule, w.fromNow(next), fromNow, gap, w.lastStart(c)), true
}

// nextStop is when the running pump is to be expected to stop.
func (w *working) nextStop(c *pumpCase) *Step {
	const later = ", and whole hours more until it lies ahead"
	name, since := "stop to be expected", w.since("since_start_h", c.Run.Since, c.Run.Cycle, "the pump started")
	if c.Run.Blank {
		return w.step(name, "warming_h − since_start_h"+later, "a maker's note: warm within about 60 min, from memory", w.fromNow(c.nextStop(w.q.now)), fromNow,
			input("warming_h", warmingUp.Hours(), "h", "rule: a run to warm up"), since)
	}
	return w.step(name, "usual_h − ran_before_h − since_start_h"+later, sourceRule, w.fromNow(c.nextStop(w.q.now)), fromNow,
		w.usualCycle(c), input("ran_before_h", c.Run.Before.Hours(), "h", "booked: of this cycle, before it was broken off"), since)
}

// dueBefore is how a due time comes about that is the next start, else so long after since;
// without a since, after it opens.
func (w *working) dueBefore(c *pumpCase, opens time.Time, opensIn, sinceIn Input, within time.Duration) (formula string, inputs []Input) {
	if next, ok := c.nextStart(); ok && next.After(opens) {
		step, _ := w.nextStart(c)
		return "next_start_h", []Input{step.as("next_start_h")}
	}
	withinIn := input("within_h", within.Hours(), "h", "rule: where no next start can be expected, "+sourceRule)
	if sinceIn.Name == "" {
		return "opens_h + within_h", []Input{opensIn, withinIn}
	}
	return "within_h − since_h, but never before earliest_h", []Input{withinIn, sinceIn, opensIn.called("earliest_h")}
}
