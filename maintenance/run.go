package maintenance

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// sameCycle is how soon after an uncertain stop a restart, with no drain between, is the
// same cycle.
const sameCycle = 6 * time.Hour

// offer gives back a rejection with the missing act before the refused entry, both ready to
// be told as one request.
func (f *folding) offer(r *Rejection, missing Act, at time.Time) error {
	r.Offer = []Entry{{At: at, Act: missing, By: f.e.By}, f.e}
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
			return nil // it runs, as somebody said
		}
		return f.offer(reject("pump", "record its stop first; both go as one request", "%s is running since %s", p.Name, stamp(p.Run.Since)),
			&StopAct{Pump: p.Name}, f.e.At)
	}
	run := &Run{
		Cycle: f.e.ID, Since: f.e.At, Began: f.e.At, Accrued: f.e.At, Blank: a.What == "blank",
		Ballast: a.Ballast == "open", TrapC: a.TrapC, Machine: f.e.IsMachine(), StartC: p.tempAt(f.e.At),
	}
	p.Temp = Temp{run.StartC, f.e.At}
	p.Run = run
	f.resume(p)
	f.chargeRuns(p)
	if p.Open {
		f.remark(p.Name + " was drained and not filled: stop it, it runs without oil")
	}
	return nil
}

// resume makes a start that soon follows an uncertain stop the same cycle.
func (f *folding) resume(p *Pump) {
	last := p.Last
	if last == nil || !last.Uncertain || last.Drained || p.Run.Blank || f.e.At.Sub(last.At) > sameCycle {
		return
	}
	p.Run.Cycle, p.Run.Began, p.Run.Before = last.Cycle, last.Began, last.Length
	if !last.Counted {
		return
	}
	n := len(p.History) - 1
	c := p.History[n]
	p.History, p.Pending = p.History[:n:n], c.Loads
	p.Cycles--
	p.Classes[c.Class]--
	if p.Charge != nil && p.Charge.ID == c.Charge {
		p.Charge.Cycles--
		p.Charge.WaterRemoved -= c.removed()
	}
}

func (f *folding) stop(a *StopAct) error {
	p, err := f.runningPump(a.Pump)
	if err != nil {
		return err
	}
	if p.Run == nil {
		return f.stopOfStopped(p)
	}
	p.accrue(f.e.At)
	run := p.Run
	stopC := or(a.HotC, p.tempAt(f.e.At))
	length := run.Before + f.e.At.Sub(run.Since)
	carried := f.bookWater(p, a)
	counted := !run.Blank && length >= f.rules.ShortestRun
	if counted {
		f.endCycle(p, length, carried)
	}
	p.Last = &Stop{
		At: f.e.At, Entry: f.e.ID, Cycle: run.Cycle, Began: run.Began, Length: length,
		Counted: counted, Uncertain: a.Uncertain != nil && *a.Uncertain,
	}
	p.Run = nil
	p.Temp = Temp{stopC, f.e.At}
	if p.Last.Uncertain {
		p.odd(f.e, "the source fell silent: the stop is booked at its last sample that ran")
	}
	f.noteLow(p)
	return nil
}

// stopOfStopped: a person is offered the start that is missing; a signal is believed when
// it confirms a stop told a little earlier, and asked about otherwise.
func (f *folding) stopOfStopped(p *Pump) error {
	if !f.e.IsMachine() {
		return f.offer(reject("pump", "record its start too; both go as one request", "%s is not running", p.Name),
			&StartAct{Pump: p.Name}, f.startGuess(p))
	}
	if p.Last == nil || f.e.At.Sub(p.Last.At) > 10*time.Minute {
		p.odd(f.e, "a signal says that the pump stopped, but no start is on the book")
	}
	return nil
}

// startGuess is when a cycle that ends now will have begun: as long ago as its cycles last,
// but after its last stop.
func (f *folding) startGuess(p *Pump) time.Time {
	length, _ := p.usualCycle()
	if length == 0 {
		length = 24 * time.Hour
	}
	at := f.e.At.Add(-length)
	if p.Last != nil && !at.After(p.Last.At) {
		at = p.Last.At.Add(time.Second)
	}
	return at
}

// usualCycle is the median length of the newest twelve cycles, and how many they are.
func (p *Pump) usualCycle() (median time.Duration, n int) {
	recent := p.History[max(0, len(p.History)-12):]
	lengths := make([]time.Duration, 0, len(recent))
	for _, c := range recent {
		lengths = append(lengths, c.Length)
	}
	return medianOf(lengths), len(lengths)
}

// usualGap is the median time from one start to the next over the newest twelve cycles.
func (p *Pump) usualGap() (time.Duration, bool) {
	recent := p.History[max(0, len(p.History)-12):]
	var gaps []time.Duration
	for i := 1; i < len(recent); i++ {
		gaps = append(gaps, recent[i].Start.Sub(recent[i-1].Start))
	}
	return medianOf(gaps), len(gaps) > 0
}

func medianOf[T cmp.Ordered](all []T) (median T) {
	if len(all) == 0 {
		return median
	}
	all = slices.Sorted(slices.Values(all))
	return all[len(all)/2]
}

func (f *folding) endCycle(p *Pump, length time.Duration, carried Mass) {
	c := Cycle{ID: p.Run.Cycle, Start: p.Run.Began, Stop: f.e.At, Length: length, Loads: p.Pending, CarryOut: carried, Class: classOf(p.Pending)}
	p.Cycles++
	p.Classes[c.Class]++
	if p.Charge != nil {
		p.Charge.Cycles++
		c.Charge = p.Charge.ID
	}
	p.Pending = nil
	p.History = bounded(append(p.History, c), maxHistory)
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
