package maintenance

import (
	"fmt"
	"maps"
	"strings"

	"sumpbook/maintenance/physics"
)

func (f *folding) pump(a *PumpAct) error {
	p := f.Pumps[a.Pump]
	known := p != nil && !p.Retired && p.Entry != ""
	switch {
	case a.Retired != nil && *a.Retired:
		p, err := f.declaredPump(a.Pump)
		if err != nil {
			return err
		}
		return f.retirePump(p)
	case !known:
		return f.newPump(p, a)
	}
	if err := checkHeel(a, p.ChargeMl, p.HeelMl); err != nil {
		return err
	}
	f.revise(p, a)
	return nil
}

// checkHeel: what no drain reaches is less than what the sump takes, told now or before.
func checkHeel(a *PumpAct, chargeMl float64, heelMl *float64) error {
	if a.HeelMl != nil {
		heelMl = a.HeelMl
	}
	if chargeMl = or(a.ChargeMl, chargeMl); heelMl == nil || *heelMl < chargeMl {
		return nil
	}
	return reject("heel_ml", fmt.Sprintf("give what stays in the sump after a drain, less than its charge of %.4g ml; some 3 %% of it is usual", chargeMl),
		"a heel of %.4g ml leaves nothing to drain", *heelMl)
}

// newPump declares a pump, also one of a retired pump's name, and also one that until now
// was known only from a signal: that one keeps what the signals said.
func (f *folding) newPump(old *Pump, a *PumpAct) error {
	if a.ChargeMl == nil {
		return reject("charge_ml", "give the oil its sump takes to the mark, such as charge_ml=700", "a new pump needs its charge")
	}
	if err := checkHeel(a, *a.ChargeMl, nil); err != nil {
		return err
	}
	p := &Pump{Name: a.Pump, Open: true, Classes: map[string]int{}}
	switch {
	case old == nil:
	case old.Retired:
		f.forgetCare(a.Pump)
	default:
		p = old
	}
	p.Entry, p.Declared = f.e.ID, f.e.At
	f.revise(p, a)
	f.Pumps[a.Pump] = p
	return nil
}

// forgetCare drops what was done on an earlier pump of the same name, whose counters mean
// nothing to the new one.
func (f *folding) forgetCare(pump string) {
	for key, done := range f.Care {
		if strings.HasSuffix(key, "@"+pump) {
			delete(f.Care, key)
			continue
		}
		marks := maps.Clone(done.Pumps) // shared with clones of the state
		delete(marks, pump)
		done.Pumps = marks
		f.Care[key] = done
	}
}

func (f *folding) revise(p *Pump, a *PumpAct) {
	f.forgetCarry(p, a)
	if a.ChargeMl != nil {
		p.ChargeMl = *a.ChargeMl
	}
	told := declare([]numberField{
		{"heel_ml", &p.HeelMl, a.HeelMl}, {"speed_m3_h", &p.SpeedM3H, a.SpeedM3H}, {"ballast_l_min", &p.BallastLMin, a.BallastLMin},
		{"hot_c", &p.HotC, a.HotC}, {"ambient_c", &p.AmbientC, a.AmbientC}, {"trap_c", &p.TrapC, a.TrapC}, {"cool_tau_min", &p.CoolTauMin, a.CoolTauMin},
		{"carry_over_factor", &p.CarryFactor, a.CarryFactor}, {"settling_factor", &p.SettleFactor, a.SettleFactor}, {"medium_factor", &p.MediumFactor, a.MediumFactor},
	})
	if a.ChargeMl != nil {
		told = append(told, "charge_ml")
	}
	for i := range limitSpecs {
		if s := &limitSpecs[i]; a.Limits != nil && *s.field(a.Limits) != nil {
			told = append(told, s.Key)
		}
	}
	p.Told = p.Told.with(f.e, told...)
	if a.Limits != nil {
		p.Limits = a.Limits.Over(p.Limits)
	}
}

// forgetCarry drops what was learned of a pump's carry-over when the speed or the trap that it
// was reckoned with is told anew.
func (f *folding) forgetCarry(p *Pump, a *PumpAct) {
	same := func(told *float64, before float64) bool { return told == nil || *told == before }
	if same(a.SpeedM3H, or(p.SpeedM3H, assumedSpeedM3H)) && same(a.TrapC, or(p.TrapC, assumedTrapC)) {
		return
	}
	if !p.Learning.Carry.IsZero() {
		f.remark("what was learned of the carry-over of " + p.Name + " is let go: it rested on another speed or trap")
	}
	p.Learning.Carry = Factor{}
	p.Sump.Reckoned = p.Sump.Reckoned.without(p.Name)
	for _, v := range f.Vessels {
		v.Content.Reckoned = v.Content.Reckoned.without(p.Name)
	}
}

func (f *folding) retirePump(p *Pump) error {
	f.cutLateRun(p)
	if p.Run != nil {
		return reject("retired", "stop it first", "%s is running", p.Name)
	}
	heel := f.massOfVolume(p.heelMl(), p.Sump, standardC)
	if p.Sump.Total() > heel+heel/10+MassOf(1) {
		return reject("retired", "drain it first", "%s still holds %s", p.Name, grams(p.Sump.Total()))
	}
	f.Ledger.Discarded += p.Sump.Total() // the heel leaves with the pump
	p.Sump, p.Charge, p.Open, p.Retired = Parcel{}, nil, true, true
	return nil
}

func (f *folding) vessel(a *VesselAct) error {
	if a.Retired != nil && *a.Retired {
		return f.retireVessel(a)
	}
	v := f.vesselFor(a.Vessel)
	if a.StoreC != nil && *a.StoreC != v.storeC() {
		f.moved(v, f.e.At)
	}
	v.Told = v.Told.with(f.e, declare([]numberField{
		{"capacity_ml", &v.CapacityMl, a.CapacityMl}, {"height_mm", &v.HeightMm, a.HeightMm}, {"tare_g", &v.TareG, a.TareG}, {"store_c", &v.StoreC, a.StoreC},
	})...)
	if a.Waste != nil {
		v.IsWaste = *a.Waste
		if v.IsWaste && !v.Content.Empty() && v.Stage != Waste {
			f.comesTo(v, Waste)
		}
	}
	f.Vessels[a.Vessel] = v
	return nil
}

func (f *folding) retireVessel(a *VesselAct) error {
	v, err := f.knownVessel("vessel", a.Vessel)
	if err != nil {
		return err
	}
	if !v.Content.Empty() {
		return reject("retired", "empty it first, with pour or discard", "%s still holds %s", v.Name, grams(v.Content.Total()))
	}
	v.Retired = true
	return nil
}

// vesselFor is the vessel of that name, or a new one, which is not on the book yet.
func (f *folding) vesselFor(name string) *Vessel {
	if v := f.Vessels[name]; v != nil && !v.Retired {
		return v
	}
	return &Vessel{Name: name, Entry: f.e.ID, Since: f.e.At, SinceEntry: f.e.ID, ClockAt: f.e.At, PouredC: assumedStoreC}
}

func (f *folding) medium(a *MediumAct) error {
	if m := f.Media[a.Medium]; m != nil {
		f.Ledger.Discarded += m.Held.Total()
	}
	f.Media[a.Medium] = &Medium{Name: a.Medium, Entry: f.e.ID, Since: f.e.At}
	f.Medium = a.Medium
	return nil
}

func (f *folding) lot(a *LotAct) error {
	if a.Lot == UnknownLot {
		return reject("lot", "name the purchase, such as lot-2026-1", "%q is kept for oil of no known purchase", UnknownLot)
	}
	v := f.vesselFor(a.Vessel)
	before := copied(f.Lots[a.Lot])
	f.declareLot(a)
	m := f.mass(a.Amount, oilOf(a.Lot, 1), standardC)
	if err := f.checkCapacity("vessel", v, v.Content.mixed(oilOf(a.Lot, m))); err != nil {
		f.forgetLot(a.Lot, before)
		return err
	}
	l := f.Lots[a.Lot]
	if l.Bought > 0 {
		f.remark(fmt.Sprintf("lot %s was on the book with %s; with this purchase of the same name it is %s", a.Lot, grams(l.Bought), grams(l.Bought+m)))
	}
	l.Bought += m
	f.Ledger.Received += m
	f.Vessels[a.Vessel] = v
	part := oilOf(a.Lot, m)
	part.Fresh = m
	f.into(v, part, New, v.storeC())
	return nil
}

func (f *folding) declareLot(a *LotAct) {
	l := copied(f.Lots[a.Lot])
	if l == nil {
		l = &Lot{Name: a.Lot, At: f.e.At}
		f.LotOrder = append(f.LotOrder, a.Lot)
	}
	if a.Grade != "" {
		l.Grade, l.Told = a.Grade, l.Told.with(f.e, "grade")
		if _, err := physics.OilOfGrade(a.Grade); err != nil {
			f.remark(err.Error() + ": reckoned as VG 68")
		}
	}
	if a.Density15 != nil {
		l.Density15, l.Told = *a.Density15, l.Told.with(f.e, "density_15")
	}
	if a.Price != nil {
		l.Price, l.Currency = *a.Price, a.Currency
	}
	f.Lots[a.Lot] = l
}

func (f *folding) forgetLot(name string, before *Lot) {
	if before != nil {
		f.Lots[name] = before
		return
	}
	delete(f.Lots, name)
	f.LotOrder = f.LotOrder[:len(f.LotOrder)-1]
}
