package maintenance

import (
	"sumpbook/maintenance/physics"
)

// ofVessel shows what the kind of action rests on.
func (w *working) ofVessel(v *vesselCase) {
	switch w.a.Do {
	case DoDecant:
		w.decant(v)
	case DoFreeze:
		w.freeze(v)
	case DoSeparate:
		w.separate(v)
	case DoFilter:
		w.filter(v)
	case DoHandIn:
		w.handIn(v)
	}
}

// stage is since when a vessel has been what it is.
func (w *working) stage(v *vesselCase) Input {
	return w.since("since_h", v.Since, v.SinceEntry, string(v.Stage)+" oil since then")
}

func (w *working) decant(v *vesselCase) {
	since := w.stage(v)
	free := w.freeWater(v)
	w.wait(v)
	waited := w.named("wait in all")
	w.judged("settled_h", "since_h, or 0 if that is less; held against wait_h", since, waited.as("wait_h"))
	w.settled(v, free, since)
	w.judged("fill_free_water_g", "free_g, held against fill_free_water_g", free.as("free_g"), w.limit("fill_free_water_g", nil))
	w.opens(v.ready, "wait_h − since_h", "when it has settled: "+sourceRule, waited.as("wait_h"), since)
	w.due(v.ready, "opens_h", "as soon as it is ready: "+sourceRule, w.opensH())
	total := w.total(v.Name, v.Content, w.inVessel(v))
	w.recorded(w.a.Record.Act.(*DecantAct).Grams, "mass_g − the larger of mass_g / 10, down to whole milligrams, and 2 × settled_g", sourceRule, total.as("mass_g"), w.named(settledAtEnd).as("settled_g"))
}

// settled is the share that has settled now, held against that at the end of the wait.
func (w *working) settled(v *vesselCase, free *Step, since Input) {
	now := w.q.s.sunkWater(v.Vessel, w.q.now)
	end := w.step("share settled at the end of the wait", "settled_g / free_g, or 1 if there is none", "the cloud of droplets is an assumption: "+sourceRule, v.willSettle(), "1", w.named(settledAtEnd).as("settled_g"), free.as("free_g"))
	sunk := w.sunkNow(v, free, since)
	sunk.Result = now.Grams()
	w.judged("settled", "settled_g / free_g, or 1 if there is none; held against end_share", sunk.as("settled_g"), free.as("free_g"), end.as("end_share"))
}

// sunkNow is the water at the bottom now.
func (w *working) sunkNow(v *vesselCase, free *Step, since Input) *Step {
	sink, ok := w.stokes(v)
	if !ok {
		return w.step("water settled now", "lay_g: "+noSettling, sourceBook, min(v.Sunk, v.free).Grams(), "g", w.booked("lay_g", min(v.Sunk, v.free), w.inVessel(v)))
	}
	still, had := w.still(v).as("still_h"), w.had(v, sink)
	stood := w.stoodStill(v, "has stood still", since.called("after_h"), still, had)
	share := w.settledShare(v, "share of droplets settled now", sink, stood.as("stood_h"), w.q.s.sunkShare(v.Vessel, stood.Result, w.q.s.settlingFactor(v.Vessel).Value))
	return w.sunk(v, "water settled now", free, share)
}

const (
	settledAtEnd = "water settled at the end of the wait"
	noSettling   = "no law of settling holds for this oil at its store's temperature"
)

// wait is how long a vessel has to stand from the beginning of its stage, and what has
// settled at its end.
func (w *working) wait(v *vesselCase) {
	wait := v.ready.Sub(v.Since).Hours()
	sink, ok := w.stokes(v)
	if !ok {
		w.step("wait in all", "after_h", noSettling+": "+sourceRule, wait, "h", input("after_h", wait, "h", "rule: what lies at the bottom is enough"))
		w.step(settledAtEnd, "lay_g: "+noSettling, sourceBook, v.sunk.Grams(), "g", w.booked("lay_g", min(v.Sunk, v.free), w.inVessel(v)))
		return
	}
	still, had := w.still(v).as("still_h"), w.had(v, sink)
	free := w.freeWater(v)
	if v.tooWet {
		w.waitUntilClear(v, sink, free, still, had)
	} else {
		w.step("wait in all", "moved_h + still_h + own × sink_h − had_h, and never under settle_min_h", sourceRule, wait, "h",
			w.moved(v), still, w.ownSettling(v), sink.as("sink_h"), had, w.limit("settle_min_h", nil))
		w.endOfWait(v, sink, free, input("after_h", wait, "h", "computed above: wait in all"), still, had)
	}
}

// waitUntilClear is the wait of filtered oil that is too wet.
func (w *working) waitUntilClear(v *vesselCase, sink, free *Step, still, had Input) {
	after := input("after_h", v.ready.Sub(v.Since).Hours(), "h", "rule: the first whole hour after which free_g − settled_g is fill_free_water_g or less, by trial")
	w.endOfWait(v, sink, free, after, still, had)
	w.step("wait in all", "after_h: free_g − settled_g is fill_free_water_g or less", sourceRule, after.Value, "h", after, free.as("free_g"), w.named(settledAtEnd).as("settled_g"), w.limit("fill_free_water_g", nil))
}

func (w *working) endOfWait(v *vesselCase, sink, free *Step, after, still, had Input) {
	stood := w.stoodStill(v, "will have stood still at the end of the wait", after, still, had)
	share := w.settledShare(v, "share of droplets settled at the end of the wait", sink, stood.as("stood_h"), w.q.s.sunkShare(v.Vessel, stood.Result, w.q.s.settlingFactor(v.Vessel).Value))
	w.sunk(v, settledAtEnd, free, share).Result = v.sunk.Grams()
}

func (w *working) freeze(v *vesselCase) {
	free := w.freeWater(v)
	w.judged("fill_free_water_g", "free_g, held against fill_free_water_g", free.as("free_g"), w.limit("fill_free_water_g", nil))
	if w.rests("headspace") {
		volume := w.volume(v.Name, v.Content, v.storeC(), w.inVessel(v))
		w.judged("headspace", "1 − volume_ml / capacity_ml, held against wanted", volume.as("volume_ml"), w.toldOr(v, "capacity_ml", v.CapacityMl, 0, "ml"), input("wanted", headspace, "1", "rule: ice takes 9 % more than water, "+sourceUsage))
	}
	since := w.stage(v)
	switch {
	case v.stuck == "":
		w.opens(v.Since, "0 − since_h", "residue with free water is frozen from the start: "+sourceRule, since)
	case v.Look != nil && v.stuckAt.Equal(v.Look.At):
		w.opens(v.stuckAt, "0 − seen_h", "since it was seen: "+v.stuck+"; "+sourceRule, w.since("seen_h", v.Look.At, v.Look.Entry, "looked at"))
	case v.stuckAt.Equal(v.Since):
		w.opens(v.stuckAt, "0 − since_h", v.stuck+": "+sourceRule, since)
	default:
		w.wait(v)
		w.opens(v.stuckAt, "wait_h − since_h", v.stuck+": "+sourceRule, w.named("wait in all").as("wait_h"), since)
	}
	w.weekFrom()
}

// weekFrom is due a week after it opens.
func (w *working) weekFrom() {
	w.dueWithin(vesselsWithin, "a week, since a jar that waits holds up nothing yet: "+sourceUsage)
}

func (w *working) separate(v *vesselCase) {
	since := w.stage(v)
	free := w.freeWater(v)
	wait := w.freezing(v, free)
	w.judged("frozen_h", "since_h, or 0 if that is less; held against wait_h", since, wait.as("wait_h"))
	w.judged("free_water_g", "free_g, held against fill_free_water_g", free.as("free_g"), w.limit("fill_free_water_g", nil))
	w.opens(v.ready, "wait_h − since_h", "when it has frozen through: "+sourceRule, wait.as("wait_h"), since)
	w.dueWithin(thawWithin, "a day, since it blocks the cold place: "+sourceUsage)
	w.recorded(w.a.Record.Act.(*SeparateAct).WaterG, "free_g: a guess, weigh the ice", sourceBook, free.as("free_g"))
}

// freezing is how long it has to stand in the cold.
func (w *working) freezing(v *vesselCase, free *Step) *Step {
	total := w.total(v.Name, v.Content, w.inVessel(v))
	layer := w.step("layer of water", "depth_mm × free_g / mass_g, at least 0.1", "the free water's share of the depth, as if its walls were straight: "+sourceUsage, max(0.1, w.q.s.depthMm(v.Vessel)*v.free.Grams()/max(1, v.Content.Total().Grams())), "mm",
		w.depth(v), free.as("free_g"), total.as("mass_g"))
	plank, err := physics.LayerHours(layer.Result, freezerC, physics.FreezerFilm)
	least := input("least_h", overnightH, "h", "rule: "+sourceUsage)
	if err != nil {
		return w.step("time in the cold", "least_h: no law holds for such a layer", sourceUsage, overnightH, "h", least)
	}
	freeze := w.step("time for the layer to freeze", "999.84 × 333430 / (0 − freezer_c) × (layer / film + layer² / (2 × 2.2)) / 3600, layer = layer_mm / 1000", "Plank's law for half of a slab: density and heat of fusion by IAPWS, 2.2 W/(m K) of ice from memory", plank, "h",
		layer.as("layer_mm"), input("freezer_c", freezerC, "C", "assumed: a household freezer"), input("film", physics.FreezerFilm, "W/(m2 K)", "assumed: still air, "+sourceUsage))
	return w.step("time in the cold", "cooling_h + safety × freeze_h, and never under least_h", "Plank gives the least, and the oil above insulates: "+sourceUsage, v.ready.Sub(v.Since).Hours(), "h",
		input("cooling_h", coolingH, "h", "rule: to 0 °C, "+sourceUsage), input("safety", freezeSafety, "1", "rule: "+sourceUsage), freeze.as("freeze_h"), least)
}

func (w *working) filter(v *vesselCase) {
	since := w.inVessel(v)
	passes := since.called("passes")
	passes.Value, passes.Unit = float64(v.Content.Passes), "passes"
	w.judged("filter_passes", "passes, held against filter_passes", passes, w.limit("filter_passes", nil))
	w.freeWater(v)
	w.opens(v.Since, "0 − since_h", "oil that has been poured off may be filtered at once: "+sourceRule, w.stage(v))
	w.filterDue(v)
}

// filterDue is a week, or sooner if a pump waits for the oil.
func (w *working) filterDue(v *vesselCase) {
	formula := "within_h − since_h"
	inputs := []Input{input("within_h", vesselsWithin.Hours(), "h", "rule: "+sourceUsage), w.stage(v)}
	for _, c := range w.q.pumps {
		if c.waits {
			opens := w.fillOpens(c, "fill opens, "+c.Name)
			formula = "the earliest of within_h − since_h and when a pump that waits for oil is to be filled"
			inputs = append(inputs, w.fillDue(c, "fill due, "+c.Name, opens).as("fill_due_h of "+c.Name))
		}
	}
	w.due(w.q.filterDue(v), formula, "a jar that waits holds up nothing yet: "+sourceUsage, inputs...)
}

func (w *working) handIn(v *vesselCase) {
	since := w.stage(v)
	if v.Stage == Residue {
		stands := input("stands_h", residueStands.Hours(), "h", "rule: residue may wait so long for more of its kind, "+sourceRule)
		w.judged("settled_h", "since_h, held against stands_h", since, stands)
		free := w.freeWater(v)
		w.held("too dry to freeze", free.as("free_g"), "fill_free_water_g", nil)
		w.opens(v.Since.Add(residueStands), "stands_h − since_h", "when it has waited long enough: "+sourceRule, stands, since)
	} else {
		volume := w.volume(v.Name, v.Content, standardC, w.inVessel(v))
		w.judged("waste_full", "volume_ml / capacity_ml, held against waste_full", volume.as("volume_ml"), w.toldOr(v, "capacity_ml", v.CapacityMl, 0, "ml"), w.limit("waste_full", nil))
		w.opens(v.Since, "0 − since_h", "since the newest oil went in: "+sourceRule, since)
	}
	w.weekFrom()
}

// changeMedium is how slow a medium has become. The book does not keep which pass told what.
func (w *working) changeMedium(m *Medium) {
	first := input("first", m.FirstM, "min/g", "booked: the first timed pass through it, minutes for each gram × viscosity at 20 °C / viscosity at the pass")
	last := input("last", m.LastM, "min/g", "booked: the newest timed pass, in the same way")
	first, last = first.by(m.First.Entry, m.First.At, w.q.now), last.by(m.Last.Entry, m.Last.At, w.q.now)
	fresh := w.step("time through the fresh medium", "first", sourceRule, w.q.freshM(m), "min/g", first)
	if p := w.q.s.Pumps[m.Pump]; p != nil && m.FirstPass > 1 && !p.factor(factorMedium).isAssumed() {
		f := p.factor(factorMedium)
		fresh.Formula, fresh.Inputs = "the smaller of first and own × base", append(fresh.Inputs,
			input("own", f.Value, "1", "learned: what the oil of "+p.Name+" has shown, since the first timed pass was not the first"), input("base", freshMediumMinG, "min/g", "assumed: of any oil, "+sourceUsage))
	}
	w.judged("medium_slow", "last / fresh, held against medium_slow", fresh.as("fresh"), last, w.limit("medium_slow", nil))
	since := input("since_h", w.q.now.Sub(m.Last.At).Hours(), "h", "booked: the newest timed pass")
	w.opens(m.Last.At, "0 − since_h", "from the pass on: "+sourceRule, since)
	w.dueWithin(upkeepWithin, "a day: "+sourceRule)
}
