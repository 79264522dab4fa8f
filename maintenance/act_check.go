package maintenance

import (
	"math"
	"time"

	"sumpbook/maintenance/chart"
)

const (
	longRunTimes = 2.0            // a run so many times its usual length
	longRunMore  = 12 * time.Hour // and so much over it is asked about (rule of this project, no source)
	exhaustTwice = 2.0            // times the loss between the two weighings before (rule of this project, no source)
	seen         = "looked into it"
)

// check asks a person about what the book cannot explain. A note about the pump answers
// what was odd before it.
func (q *asking) check(c *pumpCase) {
	if c.Entry == "" {
		q.checkUndeclared(c)
		return
	}
	before := len(q.all) + len(q.silence)
	for _, o := range c.Oddities {
		if a := q.askCheck(c, o.Entry, o.At); a != nil {
			a.because("unexplained", 1, 0, "1", o.What)
		}
	}
	q.checkLongRun(c)
	q.checkBlankOff(c)
	q.checkExhaust(c)
	if len(q.all)+len(q.silence) == before {
		q.not(DoCheck, c.Name, "nothing about it is odd")
	}
}

func (q *asking) askCheck(c *pumpCase, entry string, at time.Time) *asked {
	a := q.ask(DoCheck, c.Name, entry, at, at.Add(upkeepWithin))
	if a == nil {
		return nil
	}
	a.ofPump(c.Pump)
	a.Record = Entry{Act: &NoteAct{Pump: c.Name}, Note: seen}
	a.caution(cautionPower)
	return a
}

// checkUndeclared asks for the declaration of a pump that only signals know. Its charge is
// for the person to say.
func (q *asking) checkUndeclared(c *pumpCase) {
	entry, at := "", time.Time{}
	switch {
	case c.Run != nil:
		q.not(DoCheck, c.Name, "nobody has declared it, and it runs: stop it first")
		return
	case c.Last != nil:
		entry, at = c.Last.Entry, c.Last.At
	case len(c.Oddities) > 0:
		entry, at = c.Oddities[0].Entry, c.Oddities[0].At
	default:
		q.not(DoCheck, c.Name, "nobody has declared it, and it has not run")
		return
	}
	if a := q.askCheck(c, entry, at); a != nil {
		a.Record = Entry{Act: &PumpAct{Pump: c.Name}}
		a.because("declared", 0, 1, "1", "the book: a signal names a pump that nobody has declared")
	}
}

// checkLongRun asks whether a pump that runs far longer than it used to has stopped unnoticed.
func (q *asking) checkLongRun(c *pumpCase) {
	if c.Run == nil || c.Run.Blank || c.known == 0 {
		return
	}
	limit := max(time.Duration(longRunTimes*float64(c.cycle)), c.cycle+longRunMore)
	since := c.Run.Since.Add(-c.Run.Before)
	if q.now.Sub(since) <= limit {
		return
	}
	if a := q.askCheck(c, c.Run.Cycle, since.Add(limit)); a != nil {
		a.Record = Entry{Act: &StopAct{Pump: c.Name}}
		a.because("run_h", q.now.Sub(since).Hours(), limit.Hours(), "h", "twice the usual cycle and 12 h more: rule of this project, no source")
	}
}

// checkBlankOff: new oil that does not bring the pressure back leaves the pump. The chart says
// so once it has a start; until then two readings on new oil are held against one another.
func (q *asking) checkBlankOff(c *pumpCase) {
	if c.blank.N > 0 {
		q.checkChart(c)
		return
	}
	last, ok := c.blankOff()
	if !ok || c.BlankFirst == nil || !q.isNewOil(c) || !last.At.After(c.Noted) {
		return
	}
	factor := last.Pa / c.BlankFirst.Pa
	if !reached(factor, c.l.BlankOffFactor) {
		return
	}
	if a := q.askCheck(c, last.Entry, last.At); a != nil {
		a.becauseOf("blank_off_factor", factor, &c.own, q)
		a.caution(cautionPump)
	}
}

const cautionPump = "new oil has not brought the pressure back: make sure that it is the right oil and came dry from its can, then look at vanes, seals and leaks as the maker's manual says"

func (q *asking) checkChart(c *pumpCase) {
	if c.blank.Verdict != chart.Pump {
		return
	}
	signal := c.BlankOffs[c.blank.Signal]
	if !signal.At.After(c.Noted) {
		return
	}
	if a := q.askCheck(c, signal.Entry, signal.At); a != nil {
		a.because("blank_off_pa", c.blank.Factor*math.Exp(c.blank.Centre), math.Exp(c.blank.EWMALimit), "Pa", sourceChart)
		a.caution(cautionPump)
	}
}

const sourceChart = "EWMA and CUSUM charts of the blank-off readings (NIST/SEMATECH e-Handbook 6.3.2.3, 6.3.2.4), and the readings after changes to new oil"

// checkExhaust: oil that leaves twice as fast as before leaves by the exhaust filter.
func (q *asking) checkExhaust(c *pumpCase) {
	e := c.Exhaust
	if e.Rate == nil || e.Before == nil || *e.Before <= 0 || *e.Rate < exhaustTwice**e.Before || !e.At.After(c.Noted) {
		return
	}
	if a := q.askCheck(c, e.Entry, e.At); a != nil {
		a.because("exhaust_g_h", *e.Rate, exhaustTwice**e.Before, "g/h", "twice the loss between the weighings before: rule of this project, no source")
		a.caution(cautionMist)
	}
}
