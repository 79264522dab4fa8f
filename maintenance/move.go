package maintenance

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// grams writes a mass for a person: as a kitchen scale would show it, small ones finer.
func grams(m Mass) string {
	decimals := 0
	for limit := MassOf(1000); m < limit && decimals < 3; limit /= 10 {
		decimals++
	}
	s := strconv.FormatFloat(m.Grams(), 'f', decimals, 64)
	if decimals > 0 {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s + " g"
}

// slack is the surplus that a move may show over the book and still be the better
// measurement: a tenth, or 30 g if that is more.
func slack(held Mass) Mass { return max(held/10, MassOf(30)) }

// take is m of what a place holds. What the book lacks is found in proportion if it is
// little, and refused as a slip if it is much.
func (f *folding) take(place string, held Parcel, m Mass) (moved, left Parcel, found Mass, err error) {
	have := held.Total()
	if m <= 0 {
		return moved, held, 0, reject("grams", "give 0.001 g or more", "nothing is moved")
	}
	if m <= have {
		moved = held.share(m)
		return moved, held.without(moved), 0, nil
	}
	found = m - have
	if found > slack(have) {
		return moved, held, 0, reject("grams", fmt.Sprintf("if so much was there, say so first: sumpbook add weigh %s grams=…", place),
			"%s holds %s by the book, not %s", place, grams(have), grams(m))
	}
	return held.mixed(held.share(found)), Parcel{}, found, nil
}

// book writes down what a take found.
func (f *folding) foundIn(place string, found Mass) {
	if found == 0 {
		return
	}
	f.Ledger.Found += found
	f.remark(fmt.Sprintf("%s held %s more than the book knew: booked as found", place, grams(found)))
}

func (f *folding) checkCapacity(field string, v *Vessel, after Parcel) error {
	if v.CapacityMl == nil {
		return nil
	}
	if ml := f.volumeMl(after, standardC); ml > *v.CapacityMl+roundingMl {
		return reject(field, "pour less, or into another vessel", "%s takes %.4g ml, and this would make it %.1f ml", v.Name, *v.CapacityMl, ml)
	}
	return nil
}

// checkSump: one and a half of its charge is more than any sump takes.
func (f *folding) checkSump(hint string, p *Pump, after Parcel) error {
	if ml := f.volumeMl(after, standardC); ml > 1.5*p.ChargeMl+roundingMl {
		return reject("grams", hint, "%s takes %.4g ml, and this would make it %.1f ml", p.Name, p.ChargeMl, ml)
	}
	return nil
}

// into pours a parcel into a vessel, well mixed: the clock of settling starts anew, and
// the blend is only as far along as its least finished part.
func (f *folding) into(v *Vessel, part Parcel, stage Stage, partC float64) {
	if part.Empty() {
		return
	}
	if v.IsWaste {
		stage = Waste
	}
	v.stir(f.e.At, blendC(v, part, f.e.At, partC))
	f.comesTo(v, leastOf(v.Stage, stage))
	v.Content = v.Content.mixed(part)
	v.Held, v.Look = true, nil
}

// comesTo begins a stage of a vessel.
func (f *folding) comesTo(v *Vessel, stage Stage) {
	v.Stage, v.Since, v.SinceEntry = stage, f.e.At, f.e.ID
}

// blendC is the temperature of a mixture, by mass: oils are near enough alike in heat
// capacity (common practice, no source).
func blendC(v *Vessel, part Parcel, at time.Time, partC float64) float64 {
	have, add := v.Content.Total().Grams(), part.Total().Grams()
	return (have*v.tempAt(at) + add*partC) / (have + add)
}

// keep leaves in a vessel what a move left; its share of what had sunk stays sunk.
func (f *folding) keep(v *Vessel, left Parcel) {
	if v.Content.Water > 0 {
		v.Sunk = min(left.Water, mulDiv(v.Sunk, left.Water, v.Content.Water))
	}
	v.Content = left
	if left.Empty() {
		f.comesTo(v, NoStage)
		v.Look = nil
	}
}

// bothVessels are the two ends of a pour.
func (f *folding) bothVessels(from, to string) (a, b *Vessel, err error) {
	if a, err = f.knownVessel("from", from); err != nil {
		return nil, nil, err
	}
	if b, err = f.knownVessel("to", to); err != nil {
		return nil, nil, err
	}
	if a == b {
		return nil, nil, reject("to", "name another vessel", "from and to are the same")
	}
	return a, b, nil
}

// amountFrom is what is taken from a vessel: as told, else by default what may be taken.
func (f *folding) amountFrom(v *Vessel, a Amount, otherwise Mass) (Mass, error) {
	if !a.IsZero() {
		return f.mass(a, v.Content, standardC), nil
	}
	return otherwise, f.notEmpty("from", v)
}

func (f *folding) notEmpty(field string, v *Vessel) error {
	if v.Content.Empty() {
		return reject(field, "say what is in it first: sumpbook add weigh vessel="+v.Name+" grams=…", "%s is empty by the book", v.Name)
	}
	return nil
}

// stageOf is the stage of a vessel's oil; of a little found in one that the book holds
// empty, that of oil of which nothing is known.
func stageOf(v *Vessel) Stage {
	switch {
	case v.IsWaste:
		return Waste
	case v.Stage == NoStage:
		return Drained
	}
	return v.Stage
}

// stageOnward is the stage of oil that leaves a vessel by an act that makes it `made`:
// waste stays waste, whatever is done to it.
func stageOnward(from *Vessel, made Stage) Stage {
	if from.IsWaste || from.Stage == Waste {
		return Waste
	}
	return made
}

func (f *folding) drain(a *DrainAct) error {
	p, err := f.declaredPump(a.Pump)
	if err != nil {
		return err
	}
	to, err := f.knownVessel("to", a.To)
	if err != nil {
		return err
	}
	f.cutLateRun(p)
	if p.Run != nil {
		return f.offer(reject("pump", "record the stop too; both go as one request", "%s is running since %s", p.Name, stamp(p.Run.Since)),
			&StopAct{Pump: p.Name}, f.e.At)
	}
	oilC := p.tempAt(f.e.At)
	m, err := f.drainMass(p, a, oilC)
	if err != nil {
		return err
	}
	moved, left, found, err := f.take("pump="+p.Name, p.Sump, m)
	if err != nil {
		return err
	}
	if p.Charge != nil && p.Charge.Started {
		moved.Fresh = 0
	}
	moved.Passes = 0
	if err := f.checkCapacity("to", to, to.Content.mixed(moved)); err != nil {
		return err
	}
	f.remarkOnDrain(p, to, oilC)
	f.foundIn(p.Name, found)
	p.Sump = left
	f.into(to, moved, Drained, oilC)
	f.drained(p, moved.Total())
	return nil
}

func (f *folding) drainMass(p *Pump, a *DrainAct, oilC float64) (Mass, error) {
	if !a.IsZero() {
		return f.mass(a.Amount, p.Sump, oilC), nil
	}
	heel := f.massOfVolume(p.heelMl(), p.Sump, standardC)
	if m := p.Sump.Total() - heel; m > 0 {
		return m, nil
	}
	return 0, reject("pump", "give grams if some came out after all", "%s holds no more than its heel by the book, %s", p.Name, grams(p.Sump.Total()))
}

func (f *folding) remarkOnDrain(p *Pump, to *Vessel, oilC float64) {
	if !to.Content.Empty() && !to.IsWaste {
		f.remark(fmt.Sprintf("%s held %s of %s oil: all of it is %s oil now and settles from the beginning",
			to.Name, grams(to.Content.Total()), to.Stage, leastOf(to.Stage, Drained)))
	}
	if w, ok := f.hotWindow(p); ok && f.e.At.After(w.closes) {
		f.remark(fmt.Sprintf("the oil was near %.0f °C and slow: more stays on the walls, with more of the water and fines", oilC))
	}
}

// drained opens the pump, unless so much is left that it was only a sample.
func (f *folding) drained(p *Pump, m Mass) {
	if f.volumeMl(p.Sump, standardC) > p.ChargeMl/2 {
		f.noteLow(p)
		f.remark("more than half of the charge is left: taken as a sample, the charge goes on")
		return
	}
	at := f.e.At
	p.LastDrain, p.LastDrainEntry, p.Open = &at, f.e.ID, true
	p.Drains = bounded(p.Drains, m, maxDrains)
	if p.Charge != nil && p.Charge.Started {
		p.Sump.Fresh = 0
	}
	if p.Last != nil {
		p.Last.Drained = true
	}
	p.LowSince, p.LowEntry = time.Time{}, ""
	p.Charge = &Charge{ID: f.e.ID, Since: at}
	if p.Sump.Empty() {
		p.Charge = nil
	}
}

func (f *folding) fill(a *FillAct) error {
	p, err := f.declaredPump(a.Pump)
	if err != nil {
		return err
	}
	from, err := f.knownVessel("from", a.From)
	if err != nil {
		return err
	}
	m, err := f.fillMass(p, from, a)
	if err != nil {
		return err
	}
	moved, left, found, err := f.take("vessel="+from.Name, from.Content, m)
	if err != nil {
		return err
	}
	if err := f.checkSump("fill less; drain first if old oil is still in it", p, p.Sump.mixed(moved)); err != nil {
		return err
	}
	f.remarkOnFill(p, from)
	f.foundIn(from.Name, found)
	p.accrue(f.e.At)
	f.keep(from, left)
	f.filled(p, moved)
	return nil
}

func (f *folding) fillMass(p *Pump, from *Vessel, a *FillAct) (Mass, error) {
	if !a.IsZero() {
		return f.mass(a.Amount, from.Content, standardC), nil
	}
	if err := f.notEmpty("from", from); err != nil {
		return 0, err
	}
	room := p.ChargeMl - f.volumeMl(p.Sump, standardC)
	if room <= roundingMl {
		return 0, reject("grams", "give grams to fill more than the charge", "%s holds its whole charge already", p.Name)
	}
	return min(f.massOfVolume(room, from.Content, standardC), from.Content.Total()), nil
}

func (f *folding) remarkOnFill(p *Pump, from *Vessel) {
	limits := p.limits(f.rules)
	if why := f.notReady(from, limits); why != "" {
		f.remark(from.Name + " was not ready: " + why)
	}
	if tC := p.tempAt(f.e.At); p.Run == nil && tC > p.ambientC()+warmK {
		f.remark(fmt.Sprintf("%s was still near %.0f °C: warm oil swells, and its level reads high", p.Name, tC))
	}
	if !p.Open || p.LastDrain == nil {
		return
	}
	if open := f.e.At.Sub(*p.LastDrain); open.Hours() < *limits.AirH {
		f.remark(fmt.Sprintf("%s stood open to air for %.1f h, less than %.4g h: water left in it goes into the fresh charge", p.Name, open.Hours(), *limits.AirH))
	}
}

// filled puts oil into the sump: a new charge after a drain, else a top-up.
func (f *folding) filled(p *Pump, part Parcel) {
	if p.Open || p.Charge == nil {
		at := f.e.At
		p.Charge = &Charge{ID: f.e.ID, Since: at}
		p.Open, p.LastChange, p.Look = false, &at, nil
	}
	if p.Charge.Started {
		part.Uses++ // it serves in a charge that has started
	}
	p.Sump = p.Sump.mixed(part)
	p.Held = true
	if p.FirstOil == "" {
		p.FirstOil = f.e.ID
	}
	if p.Temp.At.IsZero() {
		p.Temp = Temp{p.ambientC(), f.e.At}
	}
	if !p.Charge.Started {
		p.Charge.LastFill, p.Charge.LastFillAt = f.e.ID, f.e.At
		p.Charge.FullShare = p.Sump.FreshFraction()
		if p.Run != nil {
			f.chargeRuns(p)
		}
	}
	f.noteLow(p)
}

// chargeRuns marks the first start of a charge: from now on its oil has served in it, and
// whether it was a full replacement is judged for good.
func (f *folding) chargeRuns(p *Pump) {
	if p.Charge == nil || p.Charge.Started || p.Open {
		return
	}
	full := p.FullNow(f.rules)
	p.Charge.Started = true
	p.Charge.IsFull = full != nil && full.Entry == p.Charge.LastFill
	p.Full = full
	p.Sump.Uses++
}

// FullNow is the last full replacement: the charge that stands filled and has not run, if
// the never-run share of its last fill suffices, else the last that has run.
func (p *Pump) FullNow(r Rules) *Full {
	c := p.Charge
	if c == nil || c.Started || p.Open || c.LastFill == "" || c.FullShare < *p.limits(r).FullFraction {
		return p.Full
	}
	return &Full{c.LastFillAt, c.LastFill, c.FullShare, p.RunTime, p.Cycles, p.Sump.Uses}
}

func (f *folding) pour(a *PourAct) error {
	from, to, err := f.bothVessels(a.From, a.To)
	if err != nil {
		return err
	}
	m, err := f.amountFrom(from, a.Amount, from.Content.Total())
	if err != nil {
		return err
	}
	moved, left, found, err := f.take("vessel="+from.Name, from.Content, m)
	if err != nil {
		return err
	}
	if err := f.checkCapacity("to", to, to.Content.mixed(moved)); err != nil {
		return err
	}
	stage, tC := stageOf(from), from.tempAt(f.e.At)
	f.foundIn(from.Name, found)
	f.stirred(from, left)
	f.into(to, moved, stage, tC)
	return nil
}

// stirred leaves in a vessel what a well-mixed pour left: what had sunk is up again.
func (f *folding) stirred(v *Vessel, left Parcel) {
	f.keep(v, left)
	if left.Empty() {
		return
	}
	v.stir(f.e.At, v.tempAt(f.e.At))
	if v.Stage != New && v.Stage != Filtered {
		f.comesTo(v, v.Stage) // waits for nothing, or waits anew
	}
}

func (f *folding) decant(a *DecantAct) error {
	from, to, err := f.bothVessels(a.From, a.To)
	if err != nil {
		return err
	}
	sunk := f.sunkWater(from, f.e.At)
	m, err := f.amountFrom(from, a.Amount, f.clearOf(from.Content, sunk))
	if err != nil {
		return err
	}
	if m <= 0 {
		return reject("from", "freeze it, or pour it to the waste", "%s holds nothing clear to pour off: %s, of which %s is settled water", from.Name, grams(from.Content.Total()), grams(sunk))
	}
	moved, left, found, err := f.takeTop(from, sunk, m)
	if err != nil {
		return err
	}
	if err := f.checkCapacity("to", to, to.Content.mixed(moved)); err != nil {
		return err
	}
	if ready, ok := f.readyAt(from, f.rules.Limits); ok && f.e.At.Before(ready) {
		f.remark(fmt.Sprintf("%s was to stand until %s: water not yet settled went along", from.Name, stamp(ready)))
	}
	f.foundIn(from.Name, found)
	made, rest, tC := stageOnward(from, Decanted), stageOnward(from, Residue), from.tempAt(f.e.At)
	f.keep(from, left)
	if !left.Empty() {
		f.comesTo(from, rest)
		from.stir(f.e.At, tC)
		from.Sunk = min(sunk, left.Water)
	}
	f.into(to, moved, made, tC)
	return nil
}

// clearOf is what a decant pours off when no amount is told: all but a tenth, or twice the
// settled water, whichever is more.
func (f *folding) clearOf(p Parcel, sunk Mass) Mass { return p.Total() - max(p.Total()/10, 2*sunk) }

// takeTop is m off the top: the oil with the water that has not sunk, and what has sunk
// only when the rest is gone.
func (f *folding) takeTop(v *Vessel, sunk, m Mass) (moved, left Parcel, found Mass, err error) {
	bottom := waterOf(v.Content, sunk)
	top := v.Content.without(bottom)
	switch {
	case m <= top.Total():
		moved = top.share(m)
		return moved, top.without(moved).mixed(bottom), 0, nil
	case m <= v.Content.Total():
		left = bottom.share(v.Content.Total() - m)
		return v.Content.without(left), left, 0, nil
	}
	return f.take("vessel="+v.Name, v.Content, m)
}

// waterOf is m of the water of a parcel alone, with its share of the width.
func waterOf(p Parcel, m Mass) Parcel {
	if m == 0 {
		return Parcel{}
	}
	return Parcel{Water: m, WaterLow: min(m, mulDiv(p.WaterLow, m, p.Water)), WaterHigh: max(m, mulDiv(p.WaterHigh, m, p.Water))}
}

func (f *folding) filter(a *FilterAct) error {
	from, to, err := f.bothVessels(a.From, a.To)
	if err != nil {
		return err
	}
	medium, err := f.mediumFor(a)
	if err != nil {
		return err
	}
	m, err := f.amountFrom(from, a.Amount, from.Content.Total())
	if err != nil {
		return err
	}
	kept := MassOf(or(a.KeptG, 0))
	if kept > m {
		return reject("kept_g", "give what stayed in the medium, at most what was poured on", "%s is more than the %s filtered", grams(kept), grams(m))
	}
	moved, left, found, err := f.take("vessel="+from.Name, from.Content, m)
	if err != nil {
		return err
	}
	held := moved.share(kept)
	passed := moved.without(held)
	passed.Passes++
	if err := f.checkCapacity("to", to, to.Content.mixed(passed)); err != nil {
		return err
	}
	stage, tC := stageOnward(from, Filtered), from.tempAt(f.e.At)
	f.foundIn(from.Name, found)
	f.loadMedium(medium, held, m, a.Minutes, f.oil(from.Content), tC)
	f.keep(from, left)
	f.into(to, passed, stage, tC)
	return nil
}

func (f *folding) mediumFor(a *FilterAct) (*Medium, error) {
	name := a.Medium
	if name == "" {
		name = f.Medium
	}
	if m := f.Media[name]; m != nil {
		return m, nil
	}
	if a.Medium == "" && or(a.KeptG, 0) == 0 {
		f.remark("no filter medium is on the book: how it loads cannot be told")
		return nil, nil
	}
	if name == "" {
		return nil, reject("medium", "declare one first: sumpbook add medium medium=NAME", "no filter medium is on the book that could have kept oil")
	}
	return nil, reject("medium", "declare it first: sumpbook add medium medium="+name, "no filter medium named %q is on the book", name)
}

func (f *folding) freeze(a *FreezeAct) error {
	v, err := f.knownVessel("vessel", a.Vessel)
	if err != nil {
		return err
	}
	if err := f.notEmpty("vessel", v); err != nil {
		return err
	}
	sunk, tC := f.sunkWater(v, f.e.At), v.tempAt(f.e.At)
	v.stir(f.e.At, tC)
	v.Sunk = sunk
	f.comesTo(v, stageOnward(v, Freezing))
	return nil
}

// separate takes the ice out, weighed, and pours the oil on. The water is the one thing the
// book only estimates: more of it than the book held is found, up to what the vessel held
// in all.
func (f *folding) separate(a *SeparateAct) error {
	from, to, err := f.bothVessels(a.From, a.To)
	if err != nil {
		return err
	}
	if err := f.notEmpty("from", from); err != nil {
		return err
	}
	have, ice := from.Content.Total(), MassOf(*a.WaterG)
	if ice > have+slack(have) {
		return reject("water_g", "weigh the ice again", "%s holds %s in all by the book, less than %s of ice", from.Name, grams(have), grams(ice))
	}
	rest, surplus := thawedOut(from.Content, ice)
	m := rest.Total()
	if !a.IsZero() {
		m = f.mass(a.Amount, rest, standardC)
	}
	moved, left, found := Parcel{}, rest, Mass(0)
	if m > 0 {
		if moved, left, found, err = f.take("vessel="+from.Name, rest, m); err != nil {
			return err
		}
	}
	if err := f.checkCapacity("to", to, to.Content.mixed(moved)); err != nil {
		return err
	}
	f.foundIn(from.Name, surplus+found)
	f.Ledger.WaterTaken += ice
	made, rested := stageOnward(from, Recovered), stageOnward(from, Residue)
	f.keep(from, left)
	if !left.Empty() {
		f.comesTo(from, rested)
		from.stir(f.e.At, freezerC)
	}
	f.into(to, moved, made, freezerC)
	return nil
}

// thawedOut is a parcel without the ice that was taken out of it, and what of the ice the
// book did not know.
func thawedOut(p Parcel, ice Mass) (rest Parcel, surplus Mass) {
	surplus = max(0, ice-p.Water)
	rest = p.clone()
	rest.Water -= ice - surplus
	rest.WaterLow, rest.WaterHigh = min(rest.Water, max(0, p.WaterLow-ice)), max(rest.Water, p.WaterHigh-ice)
	return rest, surplus
}

func (f *folding) discard(a *DiscardAct) error {
	v, err := f.knownVessel("from", a.From)
	if err != nil {
		return err
	}
	m, err := f.amountFrom(v, a.Amount, v.Content.Total())
	if err != nil {
		return err
	}
	moved, left, found, err := f.take("vessel="+v.Name, v.Content, m)
	if err != nil {
		return err
	}
	f.foundIn(v.Name, found)
	f.Ledger.Discarded += moved.Total()
	f.keep(v, left)
	return nil
}
