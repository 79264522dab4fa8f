package maintenance

import (
	"slices"
	"strings"
	"time"
)

// A Working is how an action came about, so that a person can check it by hand.
type Working struct {
	Action Action `json:"action"`
	Steps  []Step `json:"steps"`
}

// A Step is one computation or comparison of a working. Its formula speaks of its inputs by
// their names and gives the result from them alone. The steps named opens, due and closes
// are hours from now, before it negative.
type Step struct {
	Name    string   `json:"name"`
	Formula string   `json:"formula"`
	Source  string   `json:"source"`
	Inputs  []Input  `json:"inputs"`
	Result  float64  `json:"result"`
	Unit    string   `json:"unit"`
	Low     *float64 `json:"low,omitzero"`  // of an estimate's interval
	High    *float64 `json:"high,omitzero"` // of an estimate's interval
	Limit   *float64 `json:"limit,omitzero"`
}

// An Input is one number that a step starts from, and what is known of where it comes from.
type Input struct {
	Name  string   `json:"name"`
	Value float64  `json:"value"`
	Unit  string   `json:"unit"`
	From  string   `json:"from"`           // told, declared, assumed, booked, computed, learned, rule or constant, with words
	Entry string   `json:"entry,omitzero"` // that told it
	AgeH  *float64 `json:"age_h,omitzero"` // of that entry at now
}

// What a step rests on where no formula of physics does.
const (
	sourceBook  = "the book"
	sourceRule  = "rule of this project, no source"
	sourceUsage = "common practice, no source"
)

// Why shows the working behind one of the actions that Next gives for the same arguments;
// false if there is none of that id.
func Why(s *State, r Rules, now time.Time, id string) (Working, bool) {
	q := newAsking(s, r, now)
	q.askAll()
	for _, a := range q.all {
		if a.ID == id {
			return Working{a.Action, (&working{q: q, a: a}).all()}, true
		}
	}
	return Working{}, false
}

// WhyNot says, for each pump, vessel, medium or task of which an action of a kind could be
// asked for and is not, why: one sentence that begins with its name.
func WhyNot(s *State, r Rules, now time.Time, do Do) []string {
	q := newAsking(s, r, now)
	q.explain = do
	q.askAll()
	asked := func(a *asked) bool { return a.Do == do }
	if len(q.silence) > 0 || slices.ContainsFunc(q.all, asked) {
		return q.silence
	}
	switch {
	case do == DoChangeMedium:
		return []string{"no filter medium is on the book"}
	case do == DoCare && len(r.Care) == 0:
		return []string{"no upkeep task is configured"}
	case slices.Contains([]Do{DoDecant, DoSeparate, DoFreeze, DoFilter, DoHandIn}, do):
		return []string{"no vessel is on the book"}
	}
	return []string{"no pump is on the book"}
}

// A working puts the steps of one action together, what is needed before what needs it.
type working struct {
	q      *asking
	a      *asked
	steps  []*Step
	opened time.Time // when the action opens by itself
}

func (w *working) all() []Step {
	subject := w.subject()
	for _, c := range w.q.pumps {
		if c.Name == subject {
			w.ofPump(c)
		}
	}
	for _, v := range w.q.vessels {
		if v.Name == subject {
			w.ofVessel(v)
		}
	}
	if m := w.q.s.Media[subject]; m != nil && w.a.Do == DoChangeMedium {
		w.changeMedium(m)
	}
	out := make([]Step, len(w.steps))
	for i, s := range w.steps {
		out[i] = *s
	}
	return out
}

// subject is the pump, vessel or medium of an action; of an upkeep task the pump.
func (w *working) subject() string {
	subject := strings.Split(w.a.ID, "/")[1]
	if _, pump, ok := strings.Cut(subject, "@"); ok {
		return pump
	}
	return subject
}

// step adds a step; one that stands there already is not worked out twice.
func (w *working) step(name, formula, source string, result float64, unit string, inputs ...Input) *Step {
	for _, s := range w.steps {
		if s.Name == name {
			return s
		}
	}
	s := &Step{Name: name, Formula: formula, Source: source, Inputs: inputs, Result: result, Unit: unit}
	w.steps = append(w.steps, s)
	return s
}

// as is the result of a step, as an input of another.
func (s *Step) as(name string) Input { return input(name, s.Result, s.Unit, "computed above: "+s.Name) }

// between gives a step its interval.
func (s *Step) between(low, high float64) *Step {
	s.Low, s.High = num(low), num(high)
	return s
}

// judged is the step of a reason, if the action gives it: its value by a formula, held
// against its limit.
func (w *working) judged(rule, formula string, inputs ...Input) {
	for _, r := range w.a.Why {
		if r.Rule == rule {
			w.step(rule, formula, sourceOfReason(r), r.Value, r.Unit, inputs...).Limit = num(r.Limit)
		}
	}
}

// held holds what is no reason by itself against a limit in force.
func (w *working) held(name string, is Input, key string, c *pumpCase) {
	limit := w.limit(key, c)
	_, source := specOf(key).inForce(nil, w.q)
	w.step(name, is.Name+", held against "+key, source, is.Value, is.Unit, is, limit).Limit = num(limit.Value)
}

// sourceOfReason is the source of a reason, which for a count of what is odd says only what
// it was.
func sourceOfReason(r Reason) string {
	switch r.Rule {
	case "unexplained":
		return "the book: " + r.Source
	case "settled":
		return "closed form of this project: " + r.Source
	}
	return r.Source
}

// rests says whether the action gives such a reason.
func (w *working) rests(rule string) bool {
	return slices.ContainsFunc(w.a.Why, func(r Reason) bool { return r.Rule == rule })
}

func input(name string, value float64, unit, from string) Input {
	return Input{Name: name, Value: value, Unit: unit, From: from}
}

// by says which entry an input comes from, and how old it is.
func (in Input) by(entry string, at, now time.Time) Input {
	if entry != "" {
		in.Entry, in.AgeH = entry, num(now.Sub(at).Hours())
	}
	return in
}

// called is the same input under another name.
func (in Input) called(name string) Input {
	in.Name = name
	return in
}

// since is the hours that have passed since something happened.
func (w *working) since(name string, at time.Time, entry, what string) Input {
	return input(name, w.q.now.Sub(at).Hours(), "h", "booked: "+what).by(entry, at, w.q.now)
}

// declaredOr is an input that a pump's declaration tells, or that is assumed until then.
func (w *working) declaredOr(c *pumpCase, name string, told *float64, assumed float64, unit string) Input {
	if told == nil {
		return input(name, assumed, unit, "assumed until told")
	}
	return w.declared(c, name, *told, unit)
}

// declared is what is known of a pump by its declaration or a revision of it.
func (w *working) declared(c *pumpCase, name string, value float64, unit string) Input {
	if c.Entry == "" {
		return input(name, value, unit, "assumed: nobody has declared the pump")
	}
	t := c.Told[name]
	return input(name, value, unit, "declared with the pump").by(t.Entry, t.At, w.q.now)
}

// toldOr is an input that a vessel's declaration tells, or that is assumed until then.
func (w *working) toldOr(v *vesselCase, name string, told *float64, assumed float64, unit string) Input {
	if told == nil {
		return input(name, assumed, unit, "assumed until told")
	}
	t := v.Told[name]
	return input(name, *told, unit, "declared with the vessel").by(t.Entry, t.At, w.q.now)
}

// limit is an input that is a limit in force, of a pump if one is given.
func (w *working) limit(key string, c *pumpCase) Input {
	s := specOf(key)
	if c != nil && *s.field(&c.own) != nil {
		return input(key, **s.field(&c.own), s.Unit, "declared: limit of this pump").by(c.Told[key].Entry, c.Told[key].At, w.q.now)
	}
	value, source := s.inForce(nil, w.q)
	if source == s.Source {
		source = "default, " + source
	}
	return input(key, or(value, 0), s.Unit, "rule: "+source)
}
