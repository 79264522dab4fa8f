package maintenance

import (
	"fmt"
	"time"
)

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
		return f.offer(reject("pump", "record the stop too; both go as one request", "%s is running since %s", p.Name, f.stamp(p.Run.Since)),
			&StopAct{Pump: p.Name}, f.e.At)
	}
	oilC := or(a.TempC, p.tempAt(f.e.At)) // a thermometer knows better
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
	f.remarkOnDrain(p, oilC)
	if f.drainWeighed(p, a, m) { // it is measured now, and teaches once
		moved.Reckoned, left.Reckoned = nil, nil
	}
	f.drainRead(p, a)
	f.foundIn(p.Name, found)
	p.Sump = left
	f.into(to, moved, Drained, oilC)
	to.isOf(p.Name, moved)
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

func (f *folding) remarkOnDrain(p *Pump, oilC float64) {
	if w, ok := f.hotWindow(p); ok && oilC < w.endC {
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
	room := f.massOfVolume(max(0, p.ChargeMl-f.volumeMl(p.Sump, standardC)), from.Content, standardC)
	f.filled(p, moved, a.Grams != nil && !isGuess(*a.Grams, room))
	return nil
}

// overMark is how far over its charge a fill that nobody measured may bring a sump: no sight
// glass shows a hundredth (common practice, no source).
const overMark = 1.01

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
	all := from.Content.Total()
	m := min(f.massOfVolume(room, from.Content, standardC), all)
	if all-m < MassOf(traceG) && f.volumeMl(p.Sump.mixed(from.Content), standardC) <= overMark*p.ChargeMl {
		return all, nil // the last drops go in too: a trace would keep the vessel busy
	}
	return m, nil
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
func (f *folding) filled(p *Pump, part Parcel, weighed bool) {
	if p.Open || p.Charge == nil {
		at := f.e.At
		p.Charge = &Charge{ID: f.e.ID, Since: at, Weighed: true}
		p.Open, p.LastChange, p.Look = false, &at, nil
		p.Changes++
	}
	p.Charge.Weighed = p.Charge.Weighed && weighed
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

// noteLow keeps since when a filled sump has held less than it should.
func (f *folding) noteLow(p *Pump) {
	low := !p.Open && p.Charge != nil && f.volumeMl(p.Sump, standardC) < lowShare*p.ChargeMl
	switch {
	case !low:
		p.LowSince, p.LowEntry = time.Time{}, ""
	case p.LowSince.IsZero():
		p.LowSince, p.LowEntry = f.e.At, f.e.ID
	}
}
