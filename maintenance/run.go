package maintenance

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// sameEdge is how far a person and a signal may differ about one start or stop.
const sameEdge = 10 * time.Minute

// sameCycle is how soon after an uncertain stop a restart, with no drain between, is the
// same cycle.
const sameCycle = 6 * time.Hour

// offer gives back a rejection with the missing act before the refused entry, both ready to
// be told as one request.
func (f *folding) offer(r *Rejection, missing Act, at time.Time) error {
	e := f.e
	e.Seq, e.Recorded, e.Prev, e.Hash = 0, time.Time{}, "", ""
	r.Offer = []Entry{{At: at, Act: missing, By: e.By}, e}
	return r
}

// runningPump is the pump of a start or stop: a signal may name one that nobody declared,
// and it is kept, since a pump that runs unknown is a pump that runs without oil.
func (f *folding) runningPump(name string) (*Pump, error) {
	p, err := f.knownPump(name)
	if err != nil && f.e.IsMachine() {
		p = &Pump{Name: name, Open: true, Classes: map[string]int{}}
		f.Pumps[name] = p
		return p, nil
	}
	return p, err
}

func (f *folding) start(a *StartAct) error {
	p, err := f.runningPump(a.Pump)
	if err != nil {
		return err
	}
	if p.Run != nil {
		if f.e.IsMachine() {
			f.confirm(p, p.Run.Machine, p.Run.Since, "a signal says that the pump started, but it is running on the book: was a stop missed?")
			return nil
		}
		if f.lateRun(p) {
			f.sameStart(p, a)
			return nil
		}
		return f.offer(reject("pump", "record its stop first; both go as one request", "%s is running since %s", p.Name, f.stamp(p.Run.Since)),
			&StopAct{Pump: p.Name}, f.e.At)
	}
	run := &Run{
		Cycle: f.e.ID, Since: f.e.At, Began: f.e.At, Accrued: f.e.At, Blank: a.What == "blank",
		Ballast: a.Ballast == "open", TrapC: a.TrapC, Machine: f.e.IsMachine(), StartC: p.tempAt(f.e.At), Seq: f.e.Seq,
	}
	p.Temp = Temp{run.StartC, f.e.At}
	p.Run = run
	f.resume(p, a)
	f.chargeRuns(p)
	if p.Open {
		was := "drained and not filled"
		if p.LastDrain == nil {
			was = "never filled"
		}
		f.remark(p.Name + " was " + was + ": stop it, it runs without oil")
	}
	return nil
}

// confirm asks about an edge of a signal that the book has already, unless it only confirms
// what a person told a little earlier.
func (f *folding) confirm(p *Pump, bySignal bool, told time.Time, otherwise string) {
	if bySignal || f.e.At.Sub(told) > sameEdge {
		p.odd(f.e, otherwise)
	}
}

// sameStart is a person's start that a signal's later telling has put a little behind the
// signal's own: the cycle keeps the id that the person's entry gave it, and what it told.
func (f *folding) sameStart(p *Pump, a *StartAct) {
	f.confirm(p, false, p.Run.Since, "a start was told of a pump that ran by its signal")
	p.Run.Machine = false
	if p.Run.Before == 0 {
		p.Run.Cycle = f.e.ID
	}
	p.Run.Blank, p.Run.Ballast = a.What == "blank", a.Ballast == "open"
	p.Run.TrapC = cmp.Or(a.TrapC, p.Run.TrapC)
}

// resume makes a start that soon follows an uncertain stop the same cycle: it goes on with
// its loads, its weight out and what was told of its start.
func (f *folding) resume(p *Pump, a *StartAct) {
	last, run := p.Last, p.Run
	if last == nil || !last.Uncertain || last.Drained || last.Blank || run.Blank || f.e.At.Sub(last.At) > sameCycle {
		return
	}
	run.Cycle, run.Began, run.Before, run.Carried = last.Cycle, last.Began, last.Length, last.Carried
	run.Ballast = run.Ballast || last.Ballast && a.Ballast == ""
	run.TrapC = cmp.Or(run.TrapC, last.TrapC)
	if last.Counted {
		f.reopen(p)
	}
}

// reopen takes the newest cycle back out of those that have ended.
func (f *folding) reopen(p *Pump) {
	n := len(p.History) - 1
	c := p.History[n]
	p.History, p.Pending = p.History[:n:n], slices.Concat(c.Loads, p.Pending)
	p.Run.OutG = c.OutG
	p.Cycles--
	p.Classes[c.Class]--
	if p.Charge != nil && p.Charge.ID == c.Charge {
		p.Charge.Cycles--
		p.Charge.WaterRemoved -= c.removed()
	}
}

func (f *folding) stop(a *StopAct) error {
	if p := f.Pumps[a.Pump]; p != nil && p.Retired && f.e.IsMachine() {
		return nil // the last that its signal says
	}
	p, err := f.runningPump(a.Pump)
	if err != nil {
		return err
	}
	if p.Run == nil {
		return f.stopOfStopped(p, a)
	}
	f.endRun(p, a)
	if p.Last.Uncertain {
		p.odd(f.e, "the source fell silent: the stop is booked at its last sample that ran")
	}
	return nil
}

// endRun brings the pump to rest: its hours, its water and, if it was one, its cycle.
func (f *folding) endRun(p *Pump, a *StopAct) {
	p.accrue(f.e.At)
	run := p.Run
	stopC := or(a.HotC, p.tempAt(f.e.At))
	length := run.Before + f.e.At.Sub(run.Since)
	carried := run.Carried + f.bookWater(p, a)
	counted := !run.Blank && length >= f.rules.ShortestRun
	if counted {
		f.endCycle(p, length, carried)
	}
	p.Last = &Stop{
		At: f.e.At, Entry: f.e.ID, Cycle: run.Cycle, Began: run.Began, Length: length,
		Counted: counted, Uncertain: a.Uncertain != nil && *a.Uncertain,
		Seq: f.e.Seq, Machine: f.e.IsMachine(), Blank: run.Blank, Ballast: run.Ballast, TrapC: run.TrapC, Carried: carried,
		TrapEndC: a.TrapC, HotC: a.HotC,
	}
	p.Run = nil
	p.Temp = Temp{stopC, f.e.At}
	f.noteLow(p)
}

// lateRun says whether the pump runs by a signal of which the book heard only after the
// entry that is being folded.
func (f *folding) lateRun(p *Pump) bool {
	return p.Run != nil && p.Run.Machine && p.Run.Seq > f.e.Seq
}

// cutLateRun ends a late run at an entry that cannot be while the pump runs: whatever
// becomes of the entry, the pump stood.
func (f *folding) cutLateRun(p *Pump) {
	if !f.lateRun(p) {
		return
	}
	f.endRun(p, &StopAct{Pump: p.Name, Uncertain: new(true)})
	p.odd(f.e, "a signal says that the pump was running at the "+f.e.Act.Kind())
}

// stopOfStopped: a person is offered the start that is missing; a signal is believed when
// it confirms a stop told a little earlier, and asked about otherwise.
func (f *folding) stopOfStopped(p *Pump, a *StopAct) error {
	const missing = "a signal says that the pump stopped, but no start is on the book"
	last := p.Last
	switch {
	case f.e.IsMachine() && last == nil:
		p.odd(f.e, missing)
	case f.e.IsMachine():
		f.confirm(p, false, last.At, missing)
	case last != nil && last.Machine && last.Seq > f.e.Seq: // a signal's stop came late, and before it
		f.confirm(p, false, last.At, "a stop was told of a pump that had stopped by its signal")
		p.Temp.C = or(a.HotC, p.Temp.C)
	default:
		return f.offer(reject("pump", "record its start too; both go as one request", "%s is not running", p.Name),
			&StartAct{Pump: p.Name}, f.startGuess(p))
	}
	return nil
}

// startGuess is when a cycle that ends now will have begun: as long ago as its cycles last,
// but after all that is on the book and could not be while it ran.
func (f *folding) startGuess(p *Pump) time.Time {
	length, _ := p.usualCycle()
	if length == 0 {
		length = 24 * time.Hour
	}
	at, after := f.e.At.Add(-length), p.Declared
	if p.Last != nil {
		after = later(after, p.Last.At)
	}
	for _, t := range []*time.Time{p.LastDrain, p.LastChange} {
		if t != nil {
			after = later(after, *t)
		}
	}
	if at.After(after) {
		return at
	}
	return sooner(after.Add(time.Second), f.e.At)
}

// usualCycle is the median length of the newest twelve cycles, and how many they are.
func (p *Pump) usualCycle() (median time.Duration, n int) {
	all := p.lengths()
	return medianOf(all), len(all)
}

// recent are the newest twelve cycles.
func (p *Pump) recent() []Cycle { return p.History[max(0, len(p.History)-12):] }

// lengths and gaps are those of the recent cycles: from start to stop, and to the next start.
func (p *Pump) lengths() []time.Duration {
	recent := p.recent()
	all := make([]time.Duration, 0, len(recent))
	for _, c := range recent {
		all = append(all, c.Length)
	}
	return all
}

func (p *Pump) gaps() []time.Duration {
	recent := p.recent()
	all := make([]time.Duration, 0, len(recent))
	for i := 1; i < len(recent); i++ {
		all = append(all, recent[i].Start.Sub(recent[i-1].Start))
	}
	return all
}

// usualGap is the median time from one start to the next over the newest twelve cycles.
func (p *Pump) usualGap() (time.Duration, bool) {
	all := p.gaps()
	return medianOf(all), len(all) > 0
}

func medianOf[T cmp.Ordered](all []T) (median T) {
	if len(all) == 0 {
		return median
	}
	all = slices.Sorted(slices.Values(all))
	return all[len(all)/2]
}

func (f *folding) endCycle(p *Pump, length time.Duration, carried Mass) {
	c := Cycle{ID: p.Run.Cycle, Start: p.Run.Began, Stop: f.e.At, Length: length, Loads: p.Pending, OutG: p.Run.OutG, CarryOut: carried, Class: classOf(p.Pending)}
	p.Cycles++
	p.Classes[c.Class]++
	if p.Charge != nil {
		p.Charge.Cycles++
		p.Charge.WaterRemoved += c.removed()
		c.Charge = p.Charge.ID
	}
	p.Pending = nil
	p.History = bounded(p.History, c, maxHistory)
}

func classOf(loads []Load) string {
	for _, l := range loads {
		if l.Class != "" {
			return l.Class
		}
	}
	return ""
}

func (f *folding) load(a *LoadAct) error {
	p, err := f.knownPump(a.Pump)
	if err != nil {
		return err
	}
	if len(p.Pending) >= maxHistory {
		return reject("grams", "start the cycle", "%d loads wait for one cycle", len(p.Pending))
	}
	p.Pending = append(p.Pending[:len(p.Pending):len(p.Pending)], Load{*a.Grams, a.Weighed == "fresh", a.Class})
	return nil
}

func (f *folding) yield(a *YieldAct) error {
	p, err := f.knownPump(a.Pump)
	if err != nil {
		return err
	}
	i := len(p.History) - 1
	if a.Cycle != "" {
		for i >= 0 && p.History[i].ID != a.Cycle {
			i--
		}
	}
	if i < 0 {
		return reject("cycle", fmt.Sprintf("name the id of a start that ended a cycle, among the newest %d", maxHistory), "no such ended cycle of %s is on the book", p.Name)
	}
	history := append([]Cycle(nil), p.History...)
	before := history[i].removed()
	history[i].OutG = a.Grams
	after := history[i].removed()
	p.History = history
	if len(history[i].Loads) == 0 {
		f.remark("no weight in is on the book for this cycle: the water removed cannot be told")
	} else if in := loadG(history[i].Loads); *a.Grams > in {
		f.remark(fmt.Sprintf("more came out than the %.4g g that went in", in))
	} else if carried := history[i].CarryOut; carried > after {
		f.remark(fmt.Sprintf("the food lost %s, and %s was reckoned to slip past the trap: that is too much; a trap_c or speed_m3_h told would say better", grams(after), grams(carried)))
	}
	if p.Charge != nil && p.Charge.ID == history[i].Charge {
		p.Charge.WaterRemoved += after - before
	}
	return nil
}

func loadG(loads []Load) (sum float64) {
	for _, l := range loads {
		sum += l.Grams
	}
	return sum
}

// freezerShare of what fresh food loses from weighing to weighing went to the freezer
// before the cycle: 4 to 6 %, common practice, no source.
const freezerShare = 0.05

// removed is what the food lost in the cycle: weight in minus weight out, less what fresh
// food gave the freezer. Unknown counts as nothing.
func (c Cycle) removed() Mass {
	in := loadG(c.Loads)
	if c.OutG == nil || in <= *c.OutG {
		return 0
	}
	lost := in - *c.OutG
	fresh := 0.0
	for _, l := range c.Loads {
		if l.Fresh {
			fresh += l.Grams
		}
	}
	return MassOf(lost - freezerShare*lost*fresh/in)
}
