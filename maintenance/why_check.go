package maintenance

import (
	"fmt"
	"math"
)

// check shows what is odd.
func (w *working) check(c *pumpCase) {
	entry := w.a.ID[len("check/"+c.Name+"/"):]
	switch {
	case w.rests("declared"):
		w.judged("declared", "declarations of the pump on the book; 1 is wanted", input("declarations", 0, "1", "booked: only a signal names it"))
		w.opensAt(entry, c)
	case w.rests("run_h"):
		w.longRun(c)
	case w.rests("blank_off_factor"):
		last, _ := c.blankOff()
		w.judged("blank_off_factor", "pa / first_pa, held against blank_off_factor", w.reading("pa", last), w.reading("first_pa", *c.BlankFirst), w.limit("blank_off_factor", c))
		w.opens(last.At, "0 − since_h", "from the reading on: "+sourceRule, w.since("since_h", last.At, last.Entry, "the reading"))
	case w.rests("blank_off_pa"):
		w.chart(c)
	case w.rests("exhaust_g_h"):
		w.exhaust(c)
	default:
		w.judged("unexplained", "things that the signal told and the book cannot explain; none is wanted", w.odd(c, entry))
		w.opensAt(entry, c)
	}
	w.dueWithin(upkeepWithin, "a day: "+sourceRule)
}

// chart is a rise of the blank-off pressure that new oil did not bring back.
func (w *working) chart(c *pumpCase) {
	f, signal := c.blank, c.BlankOffs[c.blank.Signal]
	centre := w.chartStart(c)
	limit := w.step("upper limit of the chart", "exp(limit_ln)", sourceChart, math.Exp(f.EWMALimit), "Pa", input("limit_ln", f.EWMALimit, "1", "booked: ln of Pa, from the scatter of the start; sumpbook learn shows the chart"))
	w.judged("blank_off_pa", "times_up × centre_pa, held against limit_pa", input("times_up", f.Factor, "1", "booked: of the readings since the rise, over the start; sumpbook learn shows the chart").by(signal.Entry, signal.At, w.q.now),
		centre, limit.as("limit_pa"))
	w.opens(signal.At, "0 − since_h", "from the reading on at which the charts signalled: "+sourceRule, w.since("since_h", signal.At, signal.Entry, "the reading"))
}

// chartStart is the pump's own pressure: the median of the readings of the chart's start.
func (w *working) chartStart(c *pumpCase) Input {
	var all []Input
	for i, r := range c.BlankOffs[c.blank.From:min(len(c.BlankOffs), c.blank.From+c.blank.N)] {
		all = append(all, w.reading(fmt.Sprintf("start_%d_pa", i+1), r))
	}
	return w.step("the pump's own pressure", "exp of the middle of their logarithms, of an even number the mean of the middle two", sourceChart, math.Exp(c.blank.Centre), "Pa", all...).as("centre_pa")
}

// odd is the oddity that an entry told.
func (w *working) odd(c *pumpCase, entry string) Input {
	in := input("oddities", 1, "1", "told by a signal, or against it")
	for _, o := range c.Oddities {
		if o.Entry == entry {
			return in.by(entry, o.At, w.q.now)
		}
	}
	return in
}

// opensAt opens at an entry about a pump.
func (w *working) opensAt(entry string, c *pumpCase) {
	for _, o := range c.Oddities {
		if o.Entry == entry {
			w.opens(o.At, "0 − since_h", "from then on: "+sourceRule, w.since("since_h", o.At, entry, "what was odd"))
			return
		}
	}
	w.opens(c.Last.At, "0 − since_h", "from then on: "+sourceRule, w.since("since_h", c.Last.At, entry, "it stopped"))
}

func (w *working) reading(name string, r Reading) Input {
	return input(name, r.Pa, "Pa", "told").by(r.Entry, r.At, w.q.now)
}

func (w *working) longRun(c *pumpCase) {
	usual := w.usualCycle(c)
	limit := w.step("odd from so long a run", "the greater of times × usual_h and usual_h + more_h", sourceRule, max(longRunTimes*usual.Value, usual.Value+longRunMore.Hours()), "h",
		usual, input("times", longRunTimes, "1", sourceRule), input("more_h", longRunMore.Hours(), "h", sourceRule))
	since := w.since("since_start_h", c.Run.Since, c.Run.Cycle, "it started")
	before := input("ran_before_h", c.Run.Before.Hours(), "h", "booked: of this cycle, before it was broken off")
	w.judged("run_h", "since_start_h + ran_before_h, held against odd_h", since, before, limit.as("odd_h"))
	w.opens(c.Run.Since.Add(hours(limit.Result)-c.Run.Before), "odd_h − ran_before_h − since_start_h", "when the run becomes odd: "+sourceRule, limit.as("odd_h"), before, since)
}

func (w *working) exhaust(c *pumpCase) {
	e := c.Exhaust
	rate := input("rate_g_h", *e.Rate, "g/h", "booked: oil lost between the newest two weighings of the sump, by the hours run between them").by(e.Entry, e.At, w.q.now)
	before := input("before_g_h", *e.Before, "g/h", "booked: the same between the weighing before and the one before that")
	w.judged("exhaust_g_h", "rate_g_h, held against times × before_g_h", rate, before, input("times", exhaustTwice, "1", sourceRule))
	w.opens(e.At, "0 − since_h", "from the weighing on: "+sourceRule, w.since("since_h", e.At, e.Entry, "the weighing"))
}
