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

// sumpFull is how many times its charge a sump can hold at the most.
const sumpFull = 1.5

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
	if ml := f.volumeMl(after, standardC); ml > sumpFull*p.ChargeMl+roundingMl {
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
	f.remarkOnBlend(v, stage)
	if v.StoodShare = 0; v.Content.Empty() {
		v.Pump = ""
	}
	v.stir(f.e.At, blendC(v, part, f.e.At, partC))
	f.comesTo(v, leastOf(v.Stage, stage))
	v.Content = v.Content.mixed(part)
	v.Held, v.Look = true, nil
}

// remarkOnBlend says what pouring onto other oil means, where it costs something: a can of
// good oil set back, or days of settling lost.
func (f *folding) remarkOnBlend(v *Vessel, stage Stage) {
	if v.Content.Empty() || v.IsWaste {
		return
	}
	blend := leastOf(v.Stage, stage)
	anew := blend == Drained || blend == Recovered
	if blend == v.Stage && blend == stage && !anew {
		return
	}
	says := fmt.Sprintf("%s held %s of %s oil: all of it is %s oil now", v.Name, grams(v.Content.Total()), v.Stage, blend)
	if anew {
		says += " and settles from the beginning"
	}
	f.remark(says)
}

// isOf says of which pump's oil a part is that came in: if it is most of what is there, what
// is learned of that is of this pump.
func (v *Vessel) isOf(pump string, part Parcel) {
	if pump != "" && 2*part.Total() >= v.Content.Total() {
		v.Pump = pump
	}
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
	to.isOf(from.Pump, moved)
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
