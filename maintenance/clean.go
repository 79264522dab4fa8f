package maintenance

import (
	"fmt"

	"sumpbook/maintenance/physics"
)

// keptMuch is the share of a pass from which what stays in the medium is asked about: a
// medium soaks up a little (common practice, no source).
const keptMuch = 0.2

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
		f.remark(fmt.Sprintf("%s was to stand until %s: water not yet settled went along", from.Name, f.stamp(ready)))
	}
	f.foundIn(from.Name, found)
	made, rest, tC := stageOnward(from, Decanted), stageOnward(from, Residue), from.tempAt(f.e.At)
	stood := 0.0
	if to.Content.Empty() && (from.Stage == Drained || from.Stage == Recovered) && from.freeWater() >= settleWater {
		stood = f.stoodShare(from, f.e.At)
	}
	f.keep(from, left)
	if !left.Empty() {
		f.comesTo(from, rest)
		from.stir(f.e.At, tC)
		from.Sunk = min(sunk, left.Water)
	}
	f.into(to, moved, made, tC)
	to.isOf(from.Pump, moved)
	to.StoodShare = stood
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
	return Parcel{Water: m, WaterLow: min(m, mulDiv(p.WaterLow, m, p.Water)), WaterHigh: max(m, mulDiv(p.WaterHigh, m, p.Water)), Reckoned: p.Reckoned.partOf(m, p.Water)}
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
	if kept > MassOf(keptMuch*m.Grams()) {
		f.remark(fmt.Sprintf("%s of %s stayed in the medium: let it drip out, or was kept_g what came through?", grams(kept), grams(m)))
	}
	f.loadMedium(medium, held, m, a.Minutes, from, tC)
	f.keep(from, left)
	f.into(to, passed, stage, tC)
	to.isOf(from.Pump, passed)
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

// loadMedium adds a pass to what a medium holds and how slow it has become.
func (f *folding) loadMedium(m *Medium, held Parcel, through Mass, minutes *float64, from *Vessel, tC float64) {
	if m == nil {
		f.Ledger.Discarded += held.Total()
		return
	}
	m.Held = m.Held.mixed(held)
	m.Passes++
	if minutes != nil && *minutes > 0 && through > 0 {
		per := *minutes / through.Grams() * viscosityRatio(f.oil(from.Content), standardC, tC)
		if m.FirstM == 0 {
			m.FirstM, m.FirstPass, m.First = per, m.Passes, Told{f.e.ID, f.e.At}
		}
		m.LastM, m.Pump, m.Last = per, from.Pump, Told{f.e.ID, f.e.At}
		f.passTimed(m, from.Pump, per, through)
	}
	m.Through += through
}

// viscosityRatio corrects a time at tC to what it would be at refC: time goes with viscosity.
func viscosityRatio(oil physics.Oil, refC, tC float64) float64 {
	ref, err1 := oil.Viscosity(refC)
	v, err2 := oil.Viscosity(tC)
	if err1 != nil || err2 != nil {
		return 1
	}
	return ref / v
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
	if !isGuess(*a.WaterG, from.freeWater()) {
		f.waterWeighed(from.Content, ice, from.Name)
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
	to.isOf(from.Pump, moved)
	return nil
}

// thawedOut is a parcel without the ice that was taken out of it, and what of the ice the
// book did not know. What water is left was not reckoned but found to be left.
func thawedOut(p Parcel, ice Mass) (rest Parcel, surplus Mass) {
	surplus = max(0, ice-p.Water)
	rest = p.clone()
	rest.Reckoned = nil
	rest.Water -= ice - surplus
	rest.WaterLow, rest.WaterHigh = min(rest.Water, max(0, p.WaterLow-ice)), max(rest.Water, p.WaterHigh-ice)
	return rest, surplus
}
