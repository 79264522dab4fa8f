package maintenance

import (
	"fmt"
	"time"
)

// decant is asked of oil that has stood long enough.
func (q *asking) decant(v *vesselCase) {
	if !q.holdsEnough(DoDecant, v) {
		return
	}
	switch {
	case v.stuck != "":
		q.not(DoDecant, v.Name, "%s: it is to be frozen", v.stuck)
		return
	case v.Stage != Drained && v.Stage != Recovered && !v.tooWet:
		q.not(DoDecant, v.Name, "it is %s oil: drained and recovered oil is decanted", v.Stage)
		return
	case !v.timed:
		q.not(DoDecant, v.Name, "how long it has to settle cannot be told of this oil at %.4g °C", v.storeC())
		return
	}
	a := q.ask(DoDecant, v.Name, v.SinceEntry, v.ready, v.ready)
	if a == nil {
		return
	}
	a.ofVessel(v.Vessel)
	if !v.tooWet {
		a.readyBetween(q, v)
	}
	m := v.clear()
	a.Record = Entry{Act: &DecantAct{From: v.Name, Amount: Amount{Grams: wholeGrams(m)}}}
	a.because("settled_h", max(0, q.now.Sub(v.Since).Hours()), v.ready.Sub(v.Since).Hours(), "h", "Stokes' law for a droplet of settle_um, never under settle_min_h: "+q.sourceOf("settle_um"))
	a.because("settled", q.s.settled(v.Vessel, q.now), v.willSettle(), "1", "a log-normal cloud of droplets; the limit is the share at the end of the wait")
	if v.free.Grams() > *q.r.Limits.FillFreeWaterG { // else it is no reason to
		a.becauseOf("fill_free_water_g", v.free.Grams(), nil, q)
	}
	a.caution("pour slowly and stop before the bottom stirs", cautionLabel)
	a.place = func(a *asked) { q.placeDecant(a, v, m) }
}

// readyBetween gives an action that waits for a vessel the interval of that wait's end.
func (a *asked) readyBetween(q *asking, v *vesselCase) {
	low, high := q.s.readyBetween(v.Vessel, q.r.Limits)
	a.dueBetween(a.Due, low.Add(a.Due.Sub(v.ready)), high.Add(a.Due.Sub(v.ready)))
}

func (q *asking) placeDecant(a *asked, v *vesselCase, m Mass) {
	if to, ok := q.into(v.Content.share(m), v.storeC(), v.Name, Decanted); ok {
		a.Record.Act.(*DecantAct).To = to.Name
		return
	}
	a.caution(noRoom(m))
}

func noRoom(m Mass) string {
	return fmt.Sprintf("no vessel on the book has room for %s: empty one, or declare another", grams(m))
}

// filter is asked of decanted oil, and of filtered oil that wants another pass.
func (q *asking) filter(v *vesselCase) {
	if !q.holdsEnough(DoFilter, v) {
		return
	}
	l := q.r.Limits
	switch {
	case v.Stage != Decanted && v.Stage != Filtered:
		q.not(DoFilter, v.Name, "it is %s oil: decanted oil is filtered", v.Stage)
		return
	case v.Stage == Filtered && v.lacks == 0:
		q.not(DoFilter, v.Name, "it has had %d of %v passes: it is ready", v.Content.Passes, *l.FilterPasses)
		return
	}
	a := q.ask(DoFilter, v.Name, v.SinceEntry, v.Since, q.filterDue(v))
	if a == nil {
		return
	}
	a.ofVessel(v.Vessel)
	a.Record = Entry{Act: &FilterAct{From: v.Name, Medium: q.s.Medium}}
	a.becauseOf("filter_passes", float64(v.Content.Passes), nil, q)
	a.caution(cautionLabel, "a used filter medium is oily waste: local rules say where it goes")
	if v.wet {
		a.caution(fmt.Sprintf("it holds %.1f g of free water, which a filter is not counted on to stop: let it stand and decant it again first, if there is time", v.free.Grams()))
	}
	a.place = func(a *asked) { q.placeFilter(a, v) }
}

// filterDue is a week, or sooner if a pump waits for the oil.
func (q *asking) filterDue(v *vesselCase) time.Time {
	due := v.Since.Add(vesselsWithin)
	for _, c := range q.pumps {
		if c.waits {
			_, fillDue := c.fillWindow()
			due = sooner(due, fillDue)
		}
	}
	return due
}

func (q *asking) placeFilter(a *asked, v *vesselCase) {
	if to, ok := q.into(v.Content, v.storeC(), v.Name, Filtered); ok {
		a.Record.Act.(*FilterAct).To = to.Name
		return
	}
	a.caution(noRoom(v.Content.Total()))
}

// freeze is asked of oil whose water will not settle out, and of residue with more free
// water than ready oil may hold.
func (q *asking) freeze(v *vesselCase) {
	if !q.holdsEnough(DoFreeze, v) {
		return
	}
	since, ok := q.freezeRests(v)
	if !ok {
		return
	}
	a := q.ask(DoFreeze, v.Name, v.SinceEntry, since, since.Add(vesselsWithin))
	if a == nil {
		return
	}
	a.ofVessel(v.Vessel)
	a.Record = Entry{Act: &FreezeAct{Vessel: v.Name}}
	a.becauseOf("fill_free_water_g", v.free.Grams(), nil, q)
	if v.CapacityMl != nil {
		room := 1 - q.s.volumeMl(v.Content, v.storeC()) / *v.CapacityMl
		a.because("headspace", room, headspace, "1", "ice takes 9 % more than water (IAPWS R10-06 and IAPWS-95); "+practice)
	}
	if v.stuck != "" {
		a.caution(v.stuck)
	}
	a.caution(cautionIce, cautionFreezer)
}

func (q *asking) freezeRests(v *vesselCase) (since time.Time, ok bool) {
	switch {
	case v.stuck != "":
		return v.stuckAt, true
	case v.Stage == Residue && v.wet:
		return v.Since, true
	case v.timed && v.Stage != Freezing && !q.now.Before(v.ready):
		q.not(DoFreeze, v.Name, "it is %s oil that has settled since %s: it is to be decanted", v.Stage, q.stamp(v.ready))
	case v.timed && v.Stage != Freezing:
		q.not(DoFreeze, v.Name, "it is %s oil: it settles until %s", v.Stage, q.stamp(v.ready))
	default:
		q.not(DoFreeze, v.Name, "it is %s oil with %.1f g of free water, limit %v g", v.Stage, v.free.Grams(), *q.r.Limits.FillFreeWaterG)
	}
	return since, false
}

// separate is asked of a vessel whose water has frozen hard.
func (q *asking) separate(v *vesselCase) {
	if !q.holdsEnough(DoSeparate, v) {
		return
	}
	if v.Stage != Freezing || !v.timed {
		q.not(DoSeparate, v.Name, "it is %s oil: it does not stand in the cold", v.Stage)
		return
	}
	a := q.ask(DoSeparate, v.Name, v.SinceEntry, v.ready, v.ready.Add(thawWithin))
	if a == nil {
		return
	}
	a.ofVessel(v.Vessel)
	a.readyBetween(q, v)
	a.Record = Entry{Act: &SeparateAct{From: v.Name, WaterG: wholeGrams(v.free)}}
	a.because("frozen_h", max(0, q.now.Sub(v.Since).Hours()), v.ready.Sub(v.Since).Hours(), "h", "Plank's law for the layer of water, doubled for the oil over it; "+practice)
	a.because("free_water_g", v.free.Grams(), *q.r.Limits.FillFreeWaterG, "g", "the book, less what the oil dissolves: weigh the ice")
	a.caution(fmt.Sprintf("weigh the ice: %.0f g is the book's guess, of %.0f to %.0f g", v.free.Grams(), v.Content.WaterLow.Grams(), v.Content.WaterHigh.Grams()))
	a.caution("glass from the cold cracks when it meets warmth: let it come up slowly, and look for cracks first", cautionFreezer)
	a.place = func(a *asked) { q.placeSeparate(a, v) }
}

func (q *asking) placeSeparate(a *asked, v *vesselCase) {
	rest, _ := thawedOut(v.Content, MassOf(*a.Record.Act.(*SeparateAct).WaterG))
	if to, ok := q.into(rest, v.storeC(), v.Name, Recovered); ok {
		a.Record.Act.(*SeparateAct).To = to.Name
		return
	}
	a.caution(noRoom(rest.Total()))
}
