package maintenance

import (
	"cmp"
	"fmt"
)

func (f *folding) weigh(a *WeighAct) error {
	if a.Lot != "" && a.Lot != UnknownLot && f.Lots[a.Lot] == nil {
		return reject("lot", "name a lot on the book, or leave it out", "no lot named %q is on the book", a.Lot)
	}
	if a.Pump != "" {
		p, err := f.declaredPump(a.Pump)
		if err != nil {
			return err
		}
		return f.weighPump(p, a)
	}
	v, err := f.knownVessel("vessel", a.Vessel)
	if err != nil {
		return err
	}
	return f.weighVessel(v, a)
}

func (f *folding) weighVessel(v *Vessel, a *WeighAct) error {
	m, err := f.weighed(a, v.Content, v.TareG)
	if err != nil {
		return err
	}
	opening := !v.Held
	after, err := f.measured(v.Content, m, a, opening)
	if err != nil {
		return err
	}
	if a.Stage == Filtered {
		after.Passes = max(1, after.Passes) // that is what filtered says
	}
	if err := f.checkCapacity("grams", v, after); err != nil {
		return err
	}
	if a.WaterG != nil {
		f.waterWeighed(v.Content, MassOf(*a.WaterG), v.Name)
	}
	f.bookDifference(v.Name, v.Content, after, opening)
	if v.Content.Empty() {
		f.into(v, after, cmp.Or(a.Stage, Drained), v.storeC())
		return nil
	}
	f.keep(v, after)
	if a.Stage != NoStage && !after.Empty() && !v.IsWaste {
		f.comesTo(v, a.Stage)
	}
	return nil
}

func (f *folding) weighPump(p *Pump, a *WeighAct) error {
	p = p.clone() // accruing changes it, and the weighing may yet be refused
	p.accrue(f.e.At)
	m, err := f.weighed(a, p.Sump, nil)
	if err != nil {
		return err
	}
	opening := !p.Held
	after, err := f.measured(p.Sump, m, a, opening)
	if err != nil {
		return err
	}
	if err := f.checkSump("weigh again", p, after); err != nil {
		return err
	}
	f.bookExhaust(p, p.Sump.Total()-after.Total(), opening)
	f.bookDifference(p.Name, p.Sump, after, opening)
	before := p.Sump
	p.Sump, p.Held = after, p.Held || !after.Empty()
	switch {
	case p.Open && f.isFilled(p, opening):
		f.openCharge(p)
	case p.Open && after.Empty():
		p.Charge = nil
	case p.Charge == nil && !after.Empty():
		p.Charge = &Charge{ID: f.e.ID, Since: f.e.At}
	}
	f.noteLow(p)
	f.Pumps[p.Name] = p
	if a.WaterG != nil {
		f.waterWeighed(before, MassOf(*a.WaterG), p.Name)
	}
	return nil
}

// isFilled says whether an open pump turns out to hold a charge: in use before the book,
// with more than its heel; or filled by an entry that nobody told, with more than half of
// the charge. Less may be a heel that was measured, and a pump is never taken for filled on
// the strength of that.
func (f *folding) isFilled(p *Pump, opening bool) bool {
	if opening {
		return p.Sump.Total() > f.massOfVolume(p.heelMl(), p.Sump, standardC)
	}
	return f.volumeMl(p.Sump, standardC) > p.ChargeMl/2
}

// openCharge begins the charge that a weighing found in a pump.
func (f *folding) openCharge(p *Pump) {
	at := f.e.At
	p.Open, p.LastChange, p.Look = false, &at, nil
	p.Changes++
	p.FirstOil = cmp.Or(p.FirstOil, f.e.ID)
	p.Charge = &Charge{ID: f.e.ID, Since: at, LastFill: f.e.ID, LastFillAt: at, FullShare: p.Sump.FreshFraction(), Weighed: true}
	if p.Temp.At.IsZero() {
		p.Temp = Temp{p.ambientC(), at}
	}
	if p.Run != nil {
		f.chargeRuns(p)
	}
}

// weighed is the mass that a weighing tells of.
func (f *folding) weighed(a *WeighAct, held Parcel, tareG *float64) (Mass, error) {
	switch {
	case a.Grams != nil:
		return MassOf(*a.Grams), nil
	case a.Ml != nil && held.Empty():
		return f.massOfVolume(*a.Ml, oilOf(cmp.Or(a.Lot, UnknownLot), 1), or(a.TempC, standardC)), nil
	case a.Ml != nil:
		return f.massOfVolume(*a.Ml, held, or(a.TempC, standardC)), nil
	case tareG == nil:
		return 0, reject("gross_g", "give grams, or first the tare: sumpbook add vessel vessel="+a.Vessel+" tare_g=…", "the weight of the empty vessel is not known")
	case *a.GrossG < *tareG:
		return 0, reject("gross_g", fmt.Sprintf("the empty vessel weighs %.4g g", *tareG), "%v g is less than the empty vessel", *a.GrossG)
	}
	return MassOf(*a.GrossG - *tareG), nil
}

// measured is a parcel after a weighing found m in all, and water_g of it water.
func (f *folding) measured(held Parcel, m Mass, a *WeighAct, opening bool) (Parcel, error) {
	if a.WaterG != nil && MassOf(*a.WaterG) > m {
		return held, reject("water_g", "give the water in it, at most all of it", "%v g is more than the %s there", *a.WaterG, grams(m))
	}
	if opening {
		return openingParcel(m, a), nil
	}
	out := held
	if a.WaterG != nil {
		water := MassOf(*a.WaterG)
		dry := held.clone()
		dry.setWater(0)
		out = adjusted(dry, m-water, a.Lot)
		out.setWater(water)
	} else {
		out = adjusted(held, m, a.Lot)
	}
	if a.RunHours != nil {
		out.RunGH, out.AgeUnsure = *a.RunHours*out.OilMass().Grams(), 0
	}
	return out, nil
}

// adjusted is a parcel of mass m: less in proportion, or more of a lot, or in proportion.
// More of the one lot that is there already is more of the same.
func adjusted(held Parcel, m Mass, lot string) Parcel {
	have := held.Total()
	same := len(held.Oil) == 1 && held.Oil[0].Lot == lot
	switch {
	case m <= have:
		return held.share(m)
	case lot != "" && !same:
		more := oilOf(lot, m-have)
		more.AgeUnsure, more.Passes = m-have, held.Passes
		return held.mixed(more)
	}
	return held.mixed(held.share(m - have))
}

// openingParcel is what a place held before the book: of unknown age, never fresh.
func openingParcel(m Mass, a *WeighAct) Parcel {
	lot := a.Lot
	if lot == "" {
		lot = UnknownLot
	}
	water := MassOf(or(a.WaterG, 0))
	p := oilOf(lot, m-water)
	p.setWater(water)
	if a.RunHours == nil {
		p.AgeUnsure = m - water
	} else {
		p.RunGH = *a.RunHours * p.OilMass().Grams()
	}
	return p
}

// bookDifference books oil and water apart: what is more was found (or there from the
// beginning), what is less was lost.
func (f *folding) bookDifference(place string, before, after Parcel, opening bool) {
	for _, d := range []Mass{after.OilMass() - before.OilMass(), after.Water - before.Water} {
		switch {
		case opening:
			f.Ledger.Opening += d
		case d > 0:
			f.Ledger.Found += d
		default:
			f.Ledger.Lost -= d
		}
	}
	if d := after.Total() - before.Total(); d != 0 && !opening {
		word := "more than the book knew: booked as found"
		if d < 0 {
			d, word = -d, "less than the book knew: booked as lost"
		}
		f.remark(fmt.Sprintf("%s holds %s %s", place, grams(d), word))
	}
}

// bookExhaust keeps what a sump lost between two weighings, per run hour.
func (f *folding) bookExhaust(p *Pump, lost Mass, opening bool) {
	ran := (p.RunTime - p.Exhaust.RunTime).Hours()
	if opening || p.Exhaust.At.IsZero() {
		p.Exhaust = Exhaust{RunTime: p.RunTime, At: f.e.At, Entry: f.e.ID}
		return
	}
	lost += p.Exhaust.Lost
	if ran < 1 { // too short to tell a rate
		p.Exhaust.Lost = lost
		return
	}
	rate := lost.Grams() / ran
	p.Exhaust = Exhaust{RunTime: p.RunTime, Rate: &rate, Before: p.Exhaust.Rate, At: f.e.At, Entry: f.e.ID}
}
