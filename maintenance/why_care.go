package maintenance

import "time"

// care is what an upkeep task counts from, and when it falls due.
func (w *working) care(c *pumpCase) {
	for _, t := range w.q.r.Care {
		if w.a.Record.Act.(*CareAct).Task == t.Task && (t.Pump == "" || t.Pump == c.Name) {
			w.careTask(t, c, w.q.lastCare(t.Task, c))
			w.dueWithin(upkeepWithin, "a day: "+sourceRule)
			return
		}
	}
}

func (w *working) careTask(t CareTask, c *pumpCase, base careBase) {
	since := w.since("since_done_h", base.at, base.entry, "it was last done, or the pump declared")
	switch {
	case w.rests("days"):
		every := input("interval_h", t.Next(base.at).Sub(base.at).Hours(), "h", "rule: set in the configuration, by the calendar")
		w.judged("days", "since_done_h / 24, held against interval_h / 24", since, every)
		w.opens(t.Next(base.at), "interval_h − since_done_h", "the calendar of the configuration", every, since)
	case w.rests("cycles"):
		w.careCycles(t, c, base, since)
	case w.rests("run_hours"):
		w.careHours(t, c, base, since)
	}
}

func (w *working) careCycles(t CareTask, c *pumpCase, base careBase, since Input) {
	what := "booked since it was last done"
	if t.Class != "" {
		what += ", of the class " + t.Class
	}
	n := input("cycles_since", float64(c.cyclesSince(t, base)), "cycles", what).by(base.entry, base.at, w.q.now)
	limit := input("due_at", t.Cycles, "cycles", "rule: set in the configuration")
	w.judged("cycles", "cycles_since, held against due_at", n, limit)
	if n.Value < limit.Value {
		w.careForecast(c, w.q.careByCycles(t, c, base), n, limit, input("growth", 1, "cycles", "rule: a cycle is one"))
		return
	}
	at := w.q.careByCycles(t, c, base).opens
	for _, y := range c.History {
		if y.Stop.Equal(at) {
			w.opens(at, "0 − since_stop_h", "the stop of the cycle that reached the number: "+sourceRule, w.since("since_stop_h", y.Stop, y.ID, "that cycle stopped"))
			return
		}
	}
	w.opens(base.at, "0 − since_done_h", "from when it was last done: "+sourceRule, since)
}

func (w *working) careForecast(c *pumpCase, d *careDue, told, limit, growth Input) {
	w.opens(d.opens, "forecast_h", sourceRule, w.forecast("count reached, foreseen", d.opens, c, told, limit, growth).as("forecast_h"))
}

func (w *working) careHours(t CareTask, c *pumpCase, base careBase, since Input) {
	told := input("run_h_then", (c.told.RunTime-base.mark.RunTime).Hours(), "h", "booked since it was last done, up to the newest entry").by(base.entry, base.at, w.q.now)
	running := input("running_h", (c.RunTime - c.told.RunTime).Hours(), "h", "booked: run since the newest entry")
	limit := input("due_at", t.RunHours, "h", "rule: set in the configuration")
	w.judged("run_hours", "run_h_then + running_h, held against due_at", told, running, limit)
	d := w.q.careByHours(t, c, base)
	switch ran := c.RunTime - base.mark.RunTime; {
	case ran < hours(t.RunHours):
		w.careForecast(c, d, told, limit, w.usualCycle(c).called("growth"))
	case d.opens.Equal(base.at):
		w.opens(base.at, "0 − since_done_h", "from when it was last done: "+sourceRule, since)
	default:
		w.opens(d.opens, "0 − since_reached_h", "in the run that reached the hours: "+sourceRule, w.hoursReached(c, w.named("run_hours").as("run_h"), limit, d.opens))
	}
}

// hoursReached is how long ago a pump had run so many hours: by the run in which it did.
func (w *working) hoursReached(c *pumpCase, run, limit Input, at time.Time) Input {
	const name, formula = "since the hours were reached", "since_end_h + run_h − due_at − ran_after_h"
	after := input("ran_after_h", 0, "h", "booked: run after the end of that run")
	result := w.q.now.Sub(at).Hours()
	if c.Run != nil && !at.Before(c.Run.Since) {
		return w.step(name, formula, sourceBook, result, "h", w.started(input("since_end_h", 0, "h", "booked: that run goes on"), c), run, limit, after).as("since_reached_h")
	}
	if c.Run != nil {
		after.Value = w.q.now.Sub(c.Run.Since).Hours()
	}
	for i := len(c.History) - 1; i >= 0; i-- {
		y := c.History[i]
		if run.Value-limit.Value-after.Value <= y.Length.Hours() {
			return w.step(name, formula, sourceBook, result, "h", w.since("since_end_h", y.Stop, y.ID, "the run in which they were stopped"), run, limit, after).as("since_reached_h")
		}
		after.Value += y.Length.Hours()
	}
	return input("since_reached_h", result, "h", "booked: the start of the oldest cycle kept, since runs that were no cycle are not")
}
