package maintenance

import "time"

// A careBase is what an upkeep task counts from: when it was last done, or the pump declared.
type careBase struct {
	at    time.Time
	entry string
	mark  CareMark
}

// lastCare is the newest time the task was done on the pump alone or on all.
func (q *asking) lastCare(task string, c *pumpCase) careBase {
	base := careBase{at: c.Declared, entry: c.Entry}
	for _, key := range []string{task, task + "@" + c.Name} {
		done, ok := q.s.Care[key]
		mark, on := done.Pumps[c.Name]
		if ok && on && !done.At.Before(base.at) {
			base = careBase{done.At, done.Entry, mark}
		}
	}
	return base
}

// A careDue is one way in which a task falls due.
type careDue struct {
	opens        time.Time
	rule, unit   string
	value, limit float64
}

// care is asked of each pump a task is for, by whichever of its counts falls due first.
func (q *asking) care(t CareTask, c *pumpCase) {
	subject := t.Task + "@" + c.Name
	switch {
	case c.Entry == "":
		q.not(DoCare, subject, "nobody has declared the pump")
		return
	case t.Pump != "" && t.Pump != c.Name:
		q.not(DoCare, subject, "the task is for %s alone", t.Pump)
		return
	}
	base := q.lastCare(t.Task, c)
	first, ok := soonest(q.careByCycles(t, c, base), q.careByHours(t, c, base), q.careByCalendar(t, base))
	if !ok {
		q.not(DoCare, subject, "%s and %.4g run hours since %s", cycles(float64(c.cyclesSince(t, base))), (c.RunTime - base.mark.RunTime).Hours(), q.stamp(base.at))
		return
	}
	a := q.ask(DoCare, subject, base.entry, first.opens, first.opens.Add(upkeepWithin))
	if a == nil {
		return
	}
	a.ofPump(c.Pump)
	a.Record = Entry{Act: &CareAct{Task: t.Task, Pump: c.Name}}
	a.because(first.rule, first.value, first.limit, first.unit, "set in the configuration")
	a.caution(cautionUnplug)
}

func soonest(all ...*careDue) (first careDue, ok bool) {
	for _, d := range all {
		if d != nil && (!ok || d.opens.Before(first.opens)) {
			first, ok = *d, true
		}
	}
	return first, ok
}

func (c *pumpCase) cyclesSince(t CareTask, base careBase) int {
	if t.Class != "" {
		return c.Classes[t.Class] - base.mark.Classes[t.Class]
	}
	return c.Cycles - base.mark.Cycles
}

// careByCycles falls due at the stop of the cycle that reaches the number.
func (q *asking) careByCycles(t CareTask, c *pumpCase, base careBase) *careDue {
	if t.Cycles <= 0 {
		return nil
	}
	n := float64(c.cyclesSince(t, base))
	d := &careDue{rule: "cycles", unit: "cycles", value: n, limit: t.Cycles}
	if n >= t.Cycles {
		d.opens = c.stopBefore(t.Class, base.at, int(n-t.Cycles))
		return d
	}
	w := wear{told: n, limit: t.Cycles, perCycle: 1}
	if t.Class != "" || n < soon*t.Cycles {
		return nil // when food of a class comes again nobody knows
	}
	return c.careForecast(d, w, q.now)
}

// stopBefore is the stop of the cycle (of a class, if one is named) with n more after it.
func (c *pumpCase) stopBefore(class string, since time.Time, n int) time.Time {
	at := since
	for i := len(c.History) - 1; i >= 0 && n >= 0; i-- {
		if y := c.History[i]; class == "" || y.Class == class {
			at = y.Stop
			n--
		}
	}
	return later(at, since)
}

// careByHours falls due in the run that reaches the hours.
func (q *asking) careByHours(t CareTask, c *pumpCase, base careBase) *careDue {
	if t.RunHours <= 0 {
		return nil
	}
	ran := c.RunTime - base.mark.RunTime
	d := &careDue{rule: "run_hours", unit: "h", value: ran.Hours(), limit: t.RunHours}
	if over := ran - hours(t.RunHours); over >= 0 {
		d.opens = later(c.ranAgo(over, q.now), base.at)
		return d
	}
	if ran.Hours() < soon*t.RunHours {
		return nil
	}
	return c.careForecast(d, wear{told: (c.told.RunTime - base.mark.RunTime).Hours(), limit: t.RunHours, perCycle: c.cycle.Hours()}, q.now)
}

// ranAgo is when the pump had run so much less than now: exact in the running and the newest
// run, by the ended cycles before.
func (c *pumpCase) ranAgo(left time.Duration, now time.Time) time.Time {
	if c.Run != nil {
		ran := now.Sub(c.Run.Since)
		if left <= ran {
			return now.Add(-left)
		}
		left -= ran
	}
	at := c.Declared
	for i := len(c.History) - 1; i >= 0; i-- {
		y := c.History[i]
		if left <= y.Length {
			return y.Stop.Add(-left)
		}
		at, left = y.Start, left-y.Length
	}
	return at
}

func (c *pumpCase) careForecast(d *careDue, w wear, now time.Time) *careDue {
	at, ok := w.forecast(c, now)
	if !ok {
		return nil
	}
	d.opens = at
	return d
}

// careByCalendar is shown a week ahead.
func (q *asking) careByCalendar(t CareTask, base careBase) *careDue {
	if t.Next == nil {
		return nil
	}
	at := t.Next(base.at)
	if at.IsZero() || at.Sub(q.now) > 7*day {
		return nil
	}
	return &careDue{opens: at, rule: "days", unit: "d", value: q.now.Sub(base.at).Hours() / 24, limit: at.Sub(base.at).Hours() / 24}
}
