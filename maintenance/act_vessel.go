package maintenance

import (
	"fmt"
	"time"
)

const (
	// traceG is what clings to the glass: a vessel with less asks for nothing (common
	// practice, no source).
	traceG        = 5
	vesselsWithin = 7 * day // a jar that waits holds up nothing yet (common practice, no source)
	thawWithin    = day     // a frozen jar is no hurry, but it blocks the cold place
)

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
	if why, _, stuck := q.stuck(v, ready); stuck {
		q.not(DoDecant, v.Name, "%s: it is to be frozen", why)
		return
	}
	a := q.ask(DoDecant, v.Name, v.SinceEntry, ready, ready)
	if a == nil {
		return
	}
	a.ofVessel(v)
	clear := q.clearAt(v, ready)
	a.Record = Entry{Act: &DecantAct{From: v.Name, Amount: Amount{Grams: wholeGrams(clear)}}}
	a.because("settled_h", max(0, q.now.Sub(v.Since).Hours()), ready.Sub(v.Since).Hours(), "h", "Stokes' law for a droplet of settle_um, never under settle_min_h: "+specOf("settle_um").sourceOf(Limits{}, q.r))
	a.because("settled", q.s.settled(v, q.now), q.s.settled(v, ready), "1", "a log-normal cloud of droplets; the limit is the share at the end of the wait")
	a.because("free_water_g", v.freeWater().Grams(), *q.r.Limits.FillFreeWaterG, "g", "the book, less what the oil dissolves")
	a.caution("pour slowly and stop before the bottom stirs", cautionLabel)
	a.place = func(a *asked) { q.placeDecant(a, v, clear) }
}

// stuck says whether settling will not clear a vessel, and since when that is known: still
// hazy or milky after the wait is a stable emulsion; or it is mostly water.
func (q *asking) stuck(v *Vessel, ready time.Time) (why string, since time.Time, stuck bool) {
	if l := v.Look; l != nil && (l.Look == "milky" || l.Look == "hazy") && !l.At.Before(ready) {
		return "it was still " + l.Look + " when it should have settled", l.At, true
	}
	if q.clearAt(v, ready) <= 0 {
		return "it holds nothing clear to pour off", ready, true
	}
	return "", since, false
}

// clearAt is what a decant pours off at an instant.
func (q *asking) clearAt(v *Vessel, at time.Time) Mass {
	f := folding{State: q.s}
	return f.clearOf(v.Content, q.s.sunkWater(v, at))
}

func (q *asking) placeDecant(a *asked, v *Vessel, m Mass) {
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
	a.caution(cautionLabel, "a used filter medium is oily waste: local rules say where it goes")
	if free := v.freeWater().Grams(); free > *l.FillFreeWaterG {
		a.caution(fmt.Sprintf("it holds %.1f g of free water, which a filter is not counted on to stop: let it stand and decant it again, or freeze it first", free))
	}
	a.place = func(a *asked) { q.placeFilter(a, v) }
}

// filterDue is a week, or sooner if a pump waits for the oil.
func (q *asking) filterDue(v *Vessel) time.Time {
	due := v.Since.Add(vesselsWithin)
	for _, c := range q.pumps {
		if _, fillDue := c.fillWindow(); c.waits {
			due = sooner(due, fillDue)
		}
	}
	return due
}

func (q *asking) placeFilter(a *asked, v *Vessel) {
	if to, ok := q.into(v.Content, v.storeC(), v.Name, Filtered); ok {
		a.Record.Act.(*FilterAct).To = to.Name
		return
	}
	a.caution(noRoom(v.Content.Total()))
}

// freeze is asked of oil whose water will not settle out, and of residue and filtered oil
// with more free water than ready oil may hold.
func (q *asking) freeze(v *Vessel) {
	if !q.waits(DoFreeze, v) {
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
	a.ofVessel(v)
	a.Record = Entry{Act: &FreezeAct{Vessel: v.Name}}
	a.becauseOf("fill_free_water_g", v.freeWater().Grams(), Limits{}, q.r)
	if v.CapacityMl != nil {
		free := 1 - q.s.volumeMl(v.Content, v.storeC()) / *v.CapacityMl
		a.because("headspace", free, headspace, "1", "ice takes 9 % more than water (IAPWS R10-06 and IAPWS-95); "+practice)
	}
	a.caution(cautionIce, cautionFreezer)
}

const headspace = 0.1 // of the vessel's capacity (common practice, no source)

func (q *asking) freezeRests(v *Vessel) (since time.Time, ok bool) {
	l := q.r.Limits
	free := v.freeWater().Grams()
	switch v.Stage {
	case Drained, Recovered:
		if ready, known := q.s.readyAt(v, l); known {
			if _, since, stuck := q.stuck(v, ready); stuck {
				return since, true
			}
		}
		q.not(DoFreeze, v.Name, "it is %s oil: it settles first", v.Stage)
	case Residue, Filtered:
		if free > *l.FillFreeWaterG && (v.Stage == Residue || float64(v.Content.Passes) >= *l.FilterPasses) {
			return v.Since, true
		}
		q.not(DoFreeze, v.Name, "it holds %.1f g of free water, limit %v g", free, *l.FillFreeWaterG)
	default:
		q.not(DoFreeze, v.Name, "it is %s oil", v.Stage)
	}
	return since, false
}

// separate is asked of a vessel whose water has frozen hard.
func (q *asking) separate(v *Vessel) {
	if !q.waits(DoSeparate, v) {
		return
	}
	ready, ok := q.s.readyAt(v, q.r.Limits)
	if v.Stage != Freezing || !ok {
		q.not(DoSeparate, v.Name, "it is %s oil: it does not stand in the cold", v.Stage)
		return
	}
	a := q.ask(DoSeparate, v.Name, v.SinceEntry, ready, ready.Add(thawWithin))
	if a == nil {
		return
	}
	a.ofVessel(v)
	water := v.freeWater()
	a.Record = Entry{Act: &SeparateAct{From: v.Name, WaterG: num(water.Grams())}}
	a.because("frozen_h", max(0, q.now.Sub(v.Since).Hours()), ready.Sub(v.Since).Hours(), "h", "Plank's law for the layer of water, doubled for the oil over it; "+practice)
	a.because("free_water_g", water.Grams(), *q.r.Limits.FillFreeWaterG, "g", "the book, less what the oil dissolves: weigh the ice")
	a.caution("glass from the cold cracks when it meets warmth: let it come up slowly, and look for cracks first", cautionFreezer)
	a.place = func(a *asked) { q.placeSeparate(a, v, water) }
}

func (q *asking) placeSeparate(a *asked, v *Vessel, water Mass) {
	rest := v.Content.without(waterOf(v.Content, water))
	if to, ok := q.into(rest, v.storeC(), v.Name, Recovered); ok {
		a.Record.Act.(*SeparateAct).To = to.Name
		return
	}
	a.caution(noRoom(rest.Total()))
}

// changeMedium is asked when a pass takes too many times as long as through the fresh medium.
func (q *asking) changeMedium(m *Medium) {
	limit := *q.r.Limits.MediumSlow
	if m.FirstM == 0 {
		q.not(DoChangeMedium, m.Name, "no pass of it was timed")
		return
	}
	slow := m.LastM / m.FirstM
	if slow < limit {
		q.not(DoChangeMedium, m.Name, "the newest timed pass took %.2g times as long as the first, limit %v", slow, limit)
		return
	}
	a := q.ask(DoChangeMedium, m.Name, m.Entry, m.LastAt, m.LastAt.Add(upkeepWithin))
	if a == nil {
		return
	}
	a.Record = Entry{Act: &MediumAct{Medium: m.Name}}
	a.becauseOf("medium_slow", slow, Limits{}, q.r)
	a.caution("a used filter medium is oily waste: keep it from heat, local rules say where it goes")
}

// handIn is asked of a waste vessel that is nearly full.
func (q *asking) handIn(v *Vessel) {
	switch {
	case v.Content.Empty():
		q.not(DoHandIn, v.Name, "it is empty")
		return
	case v.Stage != Waste:
		q.not(DoHandIn, v.Name, "it holds %s oil, no waste", v.Stage)
		return
	case v.CapacityMl == nil:
		q.not(DoHandIn, v.Name, "its capacity is not known")
		return
	}
	share := q.s.volumeMl(v.Content, standardC) / *v.CapacityMl
	if share < *q.r.Limits.WasteFull {
		q.not(DoHandIn, v.Name, "it is filled to %.2f of its capacity, limit %v", share, *q.r.Limits.WasteFull)
		return
	}
	a := q.ask(DoHandIn, v.Name, v.SinceEntry, v.Since, v.Since.Add(vesselsWithin))
	if a == nil {
		return
	}
	a.ofVessel(v)
	a.Record = Entry{Act: &DiscardAct{From: v.Name, Where: "collection point"}}
	a.becauseOf("waste_full", share, Limits{}, q.r)
	a.caution(cautionUsedOil)
}
