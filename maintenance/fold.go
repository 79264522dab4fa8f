package maintenance

import (
	"cmp"
	"errors"
	"maps"
	"slices"
	"sort"
	"strings"
	"time"

	"sumpbook/maintenance/physics"
)

// Fold is the state after entries, told in any order: it sorts them by At and Seq, leaves
// out the voided ones and applies the rest. An entry that cannot follow those before it is
// a *Rejection.
func Fold(rules Rules, entries []Entry) (*State, error) {
	s := NewState()
	for _, e := range InOrder(entries) {
		if _, err := s.Apply(rules, e); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// InOrder gives entries in the order in which they happened, without the withdrawn ones.
func InOrder(entries []Entry) []Entry {
	voided := map[string]bool{}
	for _, e := range entries {
		if v, ok := e.Act.(*VoidAct); ok {
			voided[v.Entry] = true
		}
	}
	kept := make([]Entry, 0, len(entries))
	for _, e := range entries {
		if !voided[e.ID] {
			kept = append(kept, e)
		}
	}
	sort.SliceStable(kept, func(i, j int) bool { return Before(kept[i], kept[j]) })
	return kept
}

// Before orders entries by when they happened, then by when the book took them.
func Before(a, b Entry) bool {
	if a.At.Equal(b.At) {
		return a.Seq < b.Seq
	}
	return a.At.Before(b.At)
}

// Apply folds one entry that is not before any folded already. It returns what the entry
// means where that is worth a remark. A *Rejection leaves the state as it was.
func (s *State) Apply(rules Rules, e Entry) (remarks []string, err error) {
	f := &folding{State: s, rules: rules, e: e}
	err = f.apply()
	var r *Rejection
	switch {
	case err == nil:
	case errors.As(err, &r) && f.overtaken():
		f.unfit(r)
	default:
		if r != nil {
			r.Entry = cmp.Or(r.Entry, e.ID)
		}
		return nil, err
	}
	s.At, s.Seq = e.At, e.Seq
	if e.IsMachine() {
		s.Signal = Signalled{max(s.Signal.Seq, e.Seq), e.pump()}
	}
	if off := s.Imbalance(); off != 0 {
		panic("maintenance: the book is out of balance after entry " + e.ID)
	}
	return f.remarks, nil
}

// A folding is one entry being applied. Every act checks all it can refuse before it
// changes anything.
type folding struct {
	*State
	rules   Rules
	e       Entry
	remarks []string
}

// overtaken says whether a signal's entry of an earlier time reached the book after this
// one did. The person could not know of it, and the signal is never refused.
func (f *folding) overtaken() bool { return f.Signal.Seq > f.e.Seq }

// unfit leaves out an entry that was right when it was told and that a signal's late entry
// has made impossible: a check asks what really happened.
func (f *folding) unfit(r *Rejection) {
	says := "the " + f.e.Act.Kind() + " no longer fits what the signal said, and is left out: " + r.Says
	f.remarks = []string{says}
	if p := f.Pumps[f.Signal.Pump]; p != nil {
		p.odd(f.e, says)
	}
}

func (f *folding) remark(says string) { f.remarks = append(f.remarks, says) }

func (f *folding) apply() error {
	switch a := f.e.Act.(type) {
	case *PumpAct:
		return f.pump(a)
	case *VesselAct:
		return f.vessel(a)
	case *MediumAct:
		return f.medium(a)
	case *LotAct:
		return f.lot(a)
	case *WeighAct:
		return f.weigh(a)
	case *LoadAct:
		return f.load(a)
	case *StartAct:
		return f.start(a)
	case *StopAct:
		return f.stop(a)
	case *YieldAct:
		return f.yield(a)
	case *DrainAct:
		return f.drain(a)
	case *FillAct:
		return f.fill(a)
	case *PourAct:
		return f.pour(a)
	case *DecantAct:
		return f.decant(a)
	case *FilterAct:
		return f.filter(a)
	case *FreezeAct:
		return f.freeze(a)
	case *SeparateAct:
		return f.separate(a)
	case *DiscardAct:
		return f.discard(a)
	case *InspectAct:
		return f.inspect(a)
	case *VacuumAct:
		return f.vacuum(a)
	case *CareAct:
		return f.care(a)
	case *SnoozeAct:
		return f.aside(a.Action, Aside{Until: a.Until})
	case *SkipAct:
		return f.aside(a.Action, Aside{Skip: true})
	case *NoteAct:
		return f.note(a)
	case *VoidAct:
		return nil // what it withdraws was left out of the fold
	}
	return reject("kind", "", "an entry of no kind")
}

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
	f.revise(p, a)
	return nil
}

// newPump declares a pump, also one of a retired pump's name, and also one that until now
// was known only from a signal: that one keeps what the signals said.
func (f *folding) newPump(old *Pump, a *PumpAct) error {
	if a.ChargeMl == nil {
		return reject("charge_ml", "give the oil its sump takes to the mark, such as charge_ml=700", "a new pump needs its charge")
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
	if a.ChargeMl != nil {
		p.ChargeMl = *a.ChargeMl
	}
	for _, pair := range []struct {
		to  **float64
		new *float64
	}{{&p.HeelMl, a.HeelMl}, {&p.SpeedM3H, a.SpeedM3H}, {&p.BallastLMin, a.BallastLMin}, {&p.HotC, a.HotC},
		{&p.AmbientC, a.AmbientC}, {&p.TrapC, a.TrapC}, {&p.CoolTauMin, a.CoolTauMin}} {
		if pair.new != nil {
			*pair.to = pair.new
		}
	}
	if a.Limits != nil {
		p.Limits = a.Limits.Over(p.Limits)
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
	for _, pair := range []struct {
		to  **float64
		new *float64
	}{{&v.CapacityMl, a.CapacityMl}, {&v.HeightMm, a.HeightMm}, {&v.TareG, a.TareG}, {&v.StoreC, a.StoreC}} {
		if pair.new != nil {
			*pair.to = pair.new
		}
	}
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
		l.Grade = a.Grade
		if _, err := physics.OilOfGrade(a.Grade); err != nil {
			f.remark(err.Error() + ": reckoned as VG 68")
		}
	}
	if a.Density15 != nil {
		l.Density15 = *a.Density15
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

func (f *folding) inspect(a *InspectAct) error {
	look := &Look{f.e.At, f.e.ID, a.Look, a.Colour, a.AcidMgG, a.WaterPpm, a.Particles}
	if a.Pump != "" {
		p, err := f.knownPump(a.Pump)
		if err == nil {
			p.Look = look.over(p.Look)
		}
		return err
	}
	v, err := f.knownVessel("vessel", a.Vessel)
	if err != nil {
		return err
	}
	v.Look = look.over(v.Look)
	if v.Stage == New && len(v.Content.Oil) == 1 {
		f.newOilSeen(v.Content.Oil[0].Lot, look)
	}
	return nil
}

// over keeps of an earlier look at the same oil what this one does not tell.
func (l *Look) over(before *Look) *Look {
	if before == nil {
		return l
	}
	l.Look, l.Particles = cmp.Or(l.Look, before.Look), cmp.Or(l.Particles, before.Particles)
	l.Colour, l.AcidMgG, l.WaterPpm = cmp.Or(l.Colour, before.Colour), cmp.Or(l.AcidMgG, before.AcidMgG), cmp.Or(l.WaterPpm, before.WaterPpm)
	return l
}

// newOilSeen keeps colour and acid number of a lot while it is new: later readings are
// held against them.
func (f *folding) newOilSeen(lot string, look *Look) {
	l := f.Lots[lot]
	if l == nil {
		return
	}
	if look.Colour != nil {
		l.Colour = look.Colour
	}
	if look.AcidMgG != nil {
		l.AcidMgG = look.AcidMgG
	}
}

func (f *folding) vacuum(a *VacuumAct) error {
	p, err := f.knownPump(a.Pump)
	if err != nil || a.What == "cycle" {
		return err
	}
	r := Reading{Pa: *a.Pa, At: f.e.At, Entry: f.e.ID}
	if p.Charge != nil {
		r.Charge = p.Charge.ID
		if full := p.FullNow(f.rules); full != nil && full.Entry == p.Charge.LastFill && (p.BlankNew == nil || p.BlankNew.At.Before(p.Charge.Since)) {
			p.BlankNew = &r
			if p.BlankFirst == nil {
				p.BlankFirst = &r
			}
		}
	}
	p.BlankOffs = bounded(p.BlankOffs, r, maxReadings)
	return nil
}

func (f *folding) care(a *CareAct) error {
	key := a.Task
	done := CareDone{At: f.e.At, Entry: f.e.ID, Pumps: map[string]CareMark{}}
	if a.Pump != "" {
		if _, err := f.knownPump(a.Pump); err != nil {
			return err
		}
		key += "@" + a.Pump
	}
	for name, p := range f.Pumps {
		if a.Pump == "" || a.Pump == name {
			done.Pumps[name] = p.Until(f.e.At).careMark()
		}
	}
	f.Care[key] = done
	return nil
}

func (p *Pump) careMark() CareMark {
	return CareMark{p.Cycles, p.RunTime, maps.Clone(p.Classes)}
}

func (f *folding) aside(action string, a Aside) error {
	do, rest, _ := strings.Cut(action, "/")
	subject, entry, _ := strings.Cut(rest, "/")
	if !slices.Contains(dos, Do(do)) || subject == "" || entry == "" {
		return reject("action", "give the id that next shows, such as drain/north/ENTRY", "%q is no action", action)
	}
	if !a.Skip && !a.Until.After(f.e.At) {
		return reject("until", "give a later time", "it is not after the entry itself")
	}
	a.Action, a.Entry = action, f.e.ID
	f.Aside[do+"/"+subject] = a
	return nil
}

// A note about a pump answers the checks that were open on it.
func (f *folding) note(a *NoteAct) error {
	if a.Vessel != "" {
		if _, err := f.knownVessel("vessel", a.Vessel); err != nil {
			return err
		}
	}
	if a.Pump == "" {
		return nil
	}
	p, err := f.knownPump(a.Pump)
	if err == nil {
		p.Oddities, p.Noted = nil, f.e.At
	}
	return err
}

func (f *folding) knownPump(name string) (*Pump, error) {
	if p := f.Pumps[name]; p != nil && !p.Retired {
		return p, nil
	}
	return nil, reject("pump", f.knownHint("pump", keysOf(f.Pumps, func(p *Pump) bool { return !p.Retired }), "charge_ml=700"),
		"no pump named %q is on the book at %s", name, stamp(f.e.At))
}

// declaredPump is one whose charge is known: a pump that only a signal named has to be
// declared before its oil can be booked.
func (f *folding) declaredPump(name string) (*Pump, error) {
	p, err := f.knownPump(name)
	if err == nil && p.Entry == "" {
		return nil, reject("pump", "declare it first, from before it ran: sumpbook add pump pump="+name+" charge_ml=700 at=…", "%s is known from a signal alone", name)
	}
	return p, err
}

func (f *folding) knownVessel(field, name string) (*Vessel, error) {
	if v := f.Vessels[name]; v != nil && !v.Retired {
		return v, nil
	}
	return nil, reject(field, f.knownHint("vessel", keysOf(f.Vessels, func(v *Vessel) bool { return !v.Retired }), "capacity_ml=1000"),
		"no vessel named %q is on the book at %s", name, stamp(f.e.At))
}

func (f *folding) knownHint(kind string, known []string, example string) string {
	hint := "declare it first: sumpbook add " + kind + " " + kind + "=NAME " + example
	if len(known) > 0 {
		hint = "known are " + strings.Join(known, ", ") + "; or " + hint
	}
	return hint
}

func keysOf[T any](m map[string]T, keep func(T) bool) []string {
	var all []string
	for k, v := range m {
		if keep(v) {
			all = append(all, k)
		}
	}
	sort.Strings(all)
	return all
}

func stamp(t time.Time) string { return t.Format("2006-01-02 15:04 -07:00") }
