package maintenance

import (
	"time"

	"sumpbook/maintenance/chart"
)

const (
	day          = 24 * time.Hour
	unknownCycle = 24 * time.Hour // until a pump has ended a cycle
	warmingUp    = time.Hour      // three time constants: warm within about 60 min (a maker's note)
	fillWithin   = 24 * time.Hour // where no next start can be expected
	upkeepWithin = 24 * time.Hour
)

// A pumpCase is a pump at now, with its limits and its cadence.
type pumpCase struct {
	*Pump        // hours counted to now
	told  *Pump  // as of the last entry
	own   Limits // the pump's
	l     Limits // in force
	cycle time.Duration
	known int // cycles the usual length rests on
	gap   time.Duration

	blank      chart.Finding // of the blank-off readings: the oil or the pump
	hot        hotOil
	replacing  replacing
	drainAsked bool        // or would be, were it not set aside
	waits      bool        // open, and no oil is ready for it
	to, from   *vesselCase // offered to it
}

func (q *asking) caseOf(p *Pump) *pumpCase {
	c := &pumpCase{Pump: p.Until(q.now), told: p, own: p.Limits, l: p.limits(q.r)}
	c.cycle, c.known = p.usualCycle()
	c.gap, _ = p.usualGap()
	c.blank = p.oilOrPump()
	if c.Entry != "" {
		c.hot = q.hotOil(c)
		c.replacing = q.judge(c)
	}
	return c
}

// nextStart is when the next cycle is to be expected: the usual gap after the last start,
// or after the run now going on.
func (c *pumpCase) nextStart() (time.Time, bool) {
	n := len(c.History)
	if c.gap <= 0 || n == 0 {
		return time.Time{}, false
	}
	last := c.History[n-1].Start
	if c.Run != nil && !c.Run.Blank {
		last = c.Run.Began
	}
	return last.Add(c.gap), true
}

// dueBefore is the next expected start if it comes after opens, else within some time of
// since, but never before opens.
func (c *pumpCase) dueBefore(opens, since time.Time, within time.Duration) time.Time {
	if next, ok := c.nextStart(); ok && next.After(opens) {
		return next
	}
	return later(since.Add(within), opens)
}

// nextStop is when the running pump is to be expected to stop: after its usual cycle, a
// warm-up after it is warm; once that has passed, the next full hour after it.
func (c *pumpCase) nextStop(now time.Time) time.Time {
	at := c.expectedStop()
	if c.Run.Blank {
		at = c.Run.Since.Add(warmingUp)
	}
	return rolled(at, time.Hour, now)
}

func (c *pumpCase) expectedStop() time.Time {
	length := c.cycle
	if c.known == 0 {
		length = unknownCycle
	}
	return c.Run.Since.Add(length - c.Run.Before)
}

// rolled is the first of at, at+step, at+2·step … that now has not reached: a forecast that
// did not come true is put off by whole steps, and does not move with every look.
func rolled(at time.Time, step time.Duration, now time.Time) time.Time {
	if at.After(now) || step <= 0 {
		return at
	}
	return at.Add((now.Sub(at)/step + 1) * step)
}
