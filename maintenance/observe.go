package maintenance

import (
	"cmp"
	"maps"
	"slices"
	"strings"
)

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
	f.lookedAt(v, a.Look)
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
	r := Reading{Pa: *a.Pa, At: f.e.At, Entry: f.e.ID, Change: p.Changes}
	if p.Charge != nil {
		r.Charge = p.Charge.ID
		full := p.FullNow(f.rules)
		r.Fresh = full != nil && full.Entry == p.Charge.LastFill
		if r.Fresh && (p.BlankNew == nil || p.BlankNew.At.Before(p.Charge.Since)) {
			p.BlankNew = &r
			if p.BlankFirst == nil {
				p.BlankFirst = &r
			}
		}
	}
	if len(p.BlankOffs) == maxReadings { // the chart starts from the first: else slow wear would move its own measure
		p.BlankOffs = slices.Concat(p.BlankOffs[:firstReadings], p.BlankOffs[firstReadings+1:])
	}
	p.BlankOffs = append(p.BlankOffs, r)
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
	if !f.hasSubject(Do(do), subject) {
		return reject("action", "give the id that next shows", "%q is not on the book, so nothing is asked of it", subject)
	}
	if !a.Skip && !a.Until.After(f.e.At) {
		return reject("until", "give a later time", "it is not after the entry itself")
	}
	if !slices.ContainsFunc(Next(f.State, f.rules, f.e.At), func(now Action) bool { return now.ID == action }) {
		f.remark("nothing of that id is asked for now: was it copied whole?")
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

// hasSubject says whether what an action is about is on the book.
func (s *State) hasSubject(do Do, subject string) bool {
	switch do {
	case DoDecant, DoSeparate, DoFreeze, DoFilter, DoHandIn:
		return s.Vessels[subject] != nil
	case DoChangeMedium:
		return s.Media[subject] != nil
	case DoCare:
		_, pump, _ := strings.Cut(subject, "@")
		return s.Pumps[pump] != nil
	}
	return s.Pumps[subject] != nil
}
