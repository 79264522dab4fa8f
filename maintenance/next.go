package maintenance

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// Next derives what there is to do at now, most urgent first. It is pure: the same facts
// give the same actions, and their ids stay the same until they are done, set aside or no
// longer so. A now before the state's last entry, which may be ahead of the clock by a
// little, counts as that entry's time.
func Next(s *State, r Rules, now time.Time) []Action {
	q := newAsking(s, r, now)
	q.askAll()
	out := make([]Action, len(q.all))
	for i, a := range q.all {
		out[i] = a.Action
	}
	return out
}

// An asking is one derivation of the actions. Each kind is asked of each pump, vessel,
// medium or task; where it is not asked, not says why, so that the two cannot disagree.
type asking struct {
	s       *State
	r       Rules
	now     time.Time
	pumps   []*pumpCase
	vessels []*vesselCase // not retired, by name
	held    map[string]bool
	all     []*asked

	explain Do // the kind whose silences are wanted
	silence []string
}

// An asked action finds its vessels when the more urgent ones have theirs: a vessel is
// offered once.
type asked struct {
	Action
	rank  int // of its kind in urgency
	place func(*asked)
}

func newAsking(s *State, r Rules, now time.Time) *asking {
	q := &asking{s: s, r: r, now: later(now, s.At), held: map[string]bool{}}
	for _, name := range sortedKeys(s.Pumps) {
		if p := s.Pumps[name]; !p.Retired {
			q.pumps = append(q.pumps, q.caseOf(p))
		}
	}
	for _, name := range sortedKeys(s.Vessels) {
		if v := s.Vessels[name]; !v.Retired {
			q.vessels = append(q.vessels, q.vesselCase(v))
		}
	}
	return q
}

func (q *asking) askAll() {
	for _, c := range q.pumps {
		q.askPump(c)
	}
	for _, v := range q.vessels {
		q.decant(v)
		q.separate(v)
		q.freeze(v)
		q.filter(v)
		q.handIn(v)
	}
	for _, name := range sortedKeys(q.s.Media) {
		q.changeMedium(q.s.Media[name])
	}
	q.buyOil()
	slices.SortFunc(q.all, moreUrgent)
	for _, a := range q.all {
		if a.place != nil {
			a.place(a)
		}
	}
}

func (q *asking) askPump(c *pumpCase) {
	q.stopPump(c)
	q.drain(c)
	q.fill(c)
	q.topUp(c)
	q.replace(c)
	q.check(c)
	for _, t := range q.r.Care {
		q.care(t, c)
	}
}

// moreUrgent puts what is open before what is coming, then danger before windows before
// what holds up the next start before upkeep before shopping, then the sooner due.
func moreUrgent(a, b *asked) int {
	return cmp.Or(
		cmp.Compare(waiting(a.State), waiting(b.State)),
		cmp.Compare(a.rank, b.rank),
		a.Due.Compare(b.Due),
		cmp.Compare(a.ID, b.ID),
	)
}

func waiting(s ActionState) int {
	if s == Coming {
		return 1
	}
	return 0
}

// ask adds an action that rests on an entry, unless a person has skipped it; one that they
// snoozed is coming until then. It is nil if it was skipped, or is asked already: two
// oddities of one entry are one check.
func (q *asking) ask(do Do, subject, entry string, opens, due time.Time) *asked {
	a := &asked{rank: slices.Index(dos, do), Action: Action{
		ID: idOf(do, subject, entry), Do: do, Opens: opens, Due: later(due, opens),
		Why: make([]Reason, 0, 4), Cautions: make([]string, 0, 4),
	}}
	if slices.ContainsFunc(q.all, func(other *asked) bool { return other.ID == a.ID }) {
		return nil
	}
	aside := q.aside(a.ID, do, subject)
	if aside.Skip {
		q.not(do, subject, "it was set aside by %s", aside.Entry)
		return nil
	}
	if aside.Until.After(q.now) {
		a.Opens, a.Due = later(a.Opens, aside.Until), later(a.Due, aside.Until)
	}
	a.State = stateAt(q.now, a.Opens, a.Due)
	q.all = append(q.all, a)
	return a
}

func idOf(do Do, subject, entry string) string { return string(do) + "/" + subject + "/" + entry }

// aside is what a person last said of this very action; the zero value if nothing.
func (q *asking) aside(id string, do Do, subject string) Aside {
	if aside := q.s.Aside[string(do)+"/"+subject]; aside.Action == id {
		return aside
	}
	return Aside{}
}

func stateAt(now, opens, due time.Time) ActionState {
	switch {
	case now.Before(opens):
		return Coming
	case now.After(due):
		return Overdue
	}
	return Open
}

// not keeps why nothing is asked, if that is what is wanted.
func (q *asking) not(do Do, subject, format string, args ...any) {
	if q.explain == do {
		q.silence = append(q.silence, subject+": "+fmt.Sprintf(format, args...))
	}
}

func (a *asked) ofPump(p *Pump) { name := p.Name; a.Pump = &name }

func (a *asked) ofVessel(v *Vessel) { name := v.Name; a.Vessel = &name }

func (a *asked) because(rule string, value, limit float64, unit, source string) {
	a.Why = append(a.Why, Reason{rule, value, limit, unit, source})
}

// becauseOf is a reason whose limit is one of the rules', or the pump's own.
func (a *asked) becauseOf(key string, value float64, own *Limits, q *asking) {
	s := specOf(key)
	if limit, source := s.inForce(own, q); limit != nil {
		a.because(key, value, *limit, s.Unit, source)
	}
}

var specs = func() map[string]*LimitSpec {
	m := map[string]*LimitSpec{}
	for i := range limitSpecs {
		m[limitSpecs[i].Key] = &limitSpecs[i]
	}
	return m
}()

func specOf(key string) *LimitSpec { return specs[key] }

// inForce is the limit that wins, nil if it is unset, and where it comes from.
func (s *LimitSpec) inForce(own *Limits, q *asking) (limit *float64, source string) {
	if own != nil && *s.field(own) != nil {
		return *s.field(own), "set for this pump"
	}
	limit = *s.field(&q.r.Limits)
	if limit != nil && (s.Default == nil || *limit != *s.Default) {
		return limit, "set in the configuration"
	}
	return limit, s.Source
}

// sourceOf says where a limit that belongs to no pump comes from.
func (q *asking) sourceOf(key string) string {
	_, source := specOf(key).inForce(nil, q)
	return source
}

func (a *asked) caution(all ...string) { a.Cautions = append(a.Cautions, all...) }

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func sooner(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
