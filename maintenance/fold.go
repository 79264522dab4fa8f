package maintenance

import (
	"cmp"
	"errors"
	"sort"
	"strings"
	"time"
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

func (f *folding) knownPump(name string) (*Pump, error) {
	if p := f.Pumps[name]; p != nil && !p.Retired {
		return p, nil
	}
	return nil, reject("pump", f.knownHint("pump", keysOf(f.Pumps, func(p *Pump) bool { return !p.Retired }), "charge_ml=700"),
		"no pump named %q is on the book at %s", name, f.stamp(f.e.At))
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
		"no vessel named %q is on the book at %s", name, f.stamp(f.e.At))
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

// stamp writes a time for a person, in the offset of the entry that is told.
func (f *folding) stamp(t time.Time) string { return stampIn(t, f.e.At.Location()) }

func stampIn(t time.Time, zone *time.Location) string {
	return t.In(zone).Format("Mon 2006-01-02 15:04")
}
