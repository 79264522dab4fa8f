package maintenance

import (
	"fmt"
	"time"
)

// traceG is what clings to the glass: a vessel with less asks for nothing (common practice,
// no source).
const traceG = 5

// waits says whether a vessel holds enough to ask for anything.
func (q *asking) waits(do Do, v *Vessel) bool {
	if v.Content.Empty() {
		q.not(do, v.Name, "it is empty")
		return false
	}
	if v.Content.Total().Grams() < traceG {
		q.not(do, v.Name, "it holds %s, less than %d g", grams(v.Content.Total()), traceG)
		return false
	}
	return true
}

// decant is asked of oil that has stood long enough.
func (q *asking) decant(v *Vessel) {
	if !q.waits(DoDecant, v) {
		return
	}
	if v.Stage != Drained && v.Stage != Recovered {
		q.not(DoDecant, v.Name, "it is %s oil: drained and recovered oil is decanted", v.Stage)
		return
	}
	ready, ok := q.s.readyAt(v, q.r.Limits)
	if !ok {
		q.not(DoDecant, v.Name, "how long it has to settle cannot be told of this oil at %.4g °C", v.storeC())
		return
	}
	clear := q.clearAt(v, ready)
	if clear <= 0 {
		q.not(DoDecant, v.Name, "it holds nothing clear to pour off: freeze it")
		return
	}
	a := q.ask(DoDecant, v.Name, v.SinceEntry, ready, ready)
	if a == nil {
		return
	}
	a.ofVessel(v)
	a.Record = Entry{Act: &DecantAct{From: v.Name, Amount: Amount{Grams: wholeGrams(clear)}}}
	a.because("settled_h", max(0, q.now.Sub(v.Since).Hours()), ready.Sub(v.Since).Hours(), "h", "Stokes' law for the cut-off droplet, and settle_min_h: "+specOf("settle_um").sourceOf(Limits{}, q.r))
	a.because("settled", q.s.settled(v, q.now), q.s.settled(v, ready), "1", "log-normal cloud of droplets; the limit is the share at the end of the wait")
	a.because("free_water_g", v.freeWater().Grams(), *q.r.Limits.FillFreeWaterG, "g", "the book, less what the oil dissolves")
	a.caution(cautionGlass, cautionLabel)
	a.place = func(a *asked) { q.placeDecant(a, v, clear) }
}

// clearAt is what a decant pours off when the wait is over.
func (q *asking) clearAt(v *Vessel, at time.Time) Mass {
	f := folding{State: q.s}
	return f.clearOf(v.Content, q.s.sunkWater(v, at))
}

func (q *asking) placeDecant(a *asked, v *Vessel, m Mass) {
	to, ok := q.into(v.Content.share(m), v.storeC(), v.Name, Decanted)
	if !ok {
		a.caution(noRoom(m))
		return
	}
	a.Record.Act.(*DecantAct).To = to.Name
}

func noRoom(m Mass) string {
	return fmt.Sprintf("no vessel on the book has room for %s: empty one, or declare another", grams(m))
}

// filter is asked of decanted oil, and of filtered oil that wants another pass.
func (q *asking) filter(v *Vessel) {
	if !q.waits(DoFilter, v) {
		return
	}
	l := q.r.Limits
	switch {
	case v.Stage != Decanted && v.Stage != Filtered:
		q.not(DoFilter, v.Name, "it is %s oil: decanted oil is filtered", v.Stage)
		return
	case v.Stage == Filtered && float64(v.Content.Passes) >= *l.FilterPasses:
		q.not(DoFilter, v.Name, "it has had %d of %v passes", v.Content.Passes, *l.FilterPasses)
		return
	}
	a := q.ask(DoFilter, v.Name, v.SinceEntry, v.Since, q.filterDue(v))
	if a == nil {
		return
	}
	a.ofVessel(v)
	a.Record = Entry{Act: &FilterAct{From: v.Name, Medium: q.s.Medium}}
	a.becauseOf("filter_passes", float64(v.Content.Passes), Limits{}, q.r)
	a.caution(cautionLabel, cautionUsedOil)
	if free := v.freeWater().Grams(); free > *l.FillFreeWaterG {
		a.caution(fmt.Sprintf("it holds %.1f g of free water, which no filter here is counted on to stop: let it stand and decant it again, or freeze it first", free))
	}
	a.place = func(a *asked) { q.placeFilter(a, v) }
}

// filterDue is a week, or sooner if a pump waits for the oil.
func (q *asking) filterDue(v *Vessel) time.Time {
	due := v.Since.Add(vesselsWithin)
	for _, a := range q.all {
		if a.Do == DoFill && !q.anyReady(a) {
			due = sooner(due, a.Due)
		}
	}
	return due
}

// anyReady says whether some vessel may go into the pump of a fill.
func (q *asking) anyReady(fill *asked) bool {
	for _, v := range q.vessels {
		if q.s.isReady(v, q.r.Limits, q.now) {
			return true
		}
	}
	return false
}

func (q *asking) placeFilter(a *asked, v *Vessel) {
	to, ok := q.into(v.Content, v.storeC(), v.Name, Filtered)
	if !ok {
		a.caution(noRoom(v.Content.Total()))
		return
	}
	a.Record.Act.(*FilterAct).To = to.Name
}
