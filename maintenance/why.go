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

// A Step is one computation or comparison of a working.
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
	From  string   `json:"from"`           // told, declared, assumed, booked, computed or rule, with words
	Entry string   `json:"entry,omitzero"` // that told it
	AgeH  *float64 `json:"age_h,omitzero"` // of that entry at now
}

// Why shows the working behind one of the actions that Next gives for the same arguments;
// false if there is none of that id.
func Why(s *State, r Rules, now time.Time, id string) (Working, bool) {
	q := newAsking(s, r, now)
	q.askAll()
	for _, a := range q.all {
		if a.ID == id {
			return Working{a.Action, (&working{q, a, nil}).all()}, true
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

// A working puts the steps of one action together.
type working struct {
	q     *asking
	a     *asked
	steps []Step
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
		w.step("how much slower the medium has become", "newest timed pass / first, minutes for each gram at the viscosity of 20 °C", "time goes with viscosity (ASTM D445)", m.LastM/m.FirstM, "1",
			input("first", m.FirstM, "min/g", "told").by(m.Entry, m.Since, w.q.now), input("last", m.LastM, "min/g", "told"))
	}
	w.comparisons()
	return w.steps
}

// subject is the pump, vessel or medium of an action; of an upkeep task the pump.
func (w *working) subject() string {
	subject := strings.Split(w.a.ID, "/")[1]
	if _, pump, ok := strings.Cut(subject, "@"); ok {
		return pump
	}
	return subject
}

// comparisons are the reasons as steps: what is, held against its limit.
func (w *working) comparisons() {
	for _, reason := range w.a.Why {
		if w.shown("life: " + reason.Rule) {
			continue
		}
		limit := reason.Limit
		w.steps = append(w.steps, Step{
			Name: reason.Rule, Formula: "what is, held against the limit", Source: reason.Source,
			Inputs: []Input{}, Result: reason.Value, Unit: reason.Unit, Limit: &limit,
		})
	}
}

func (w *working) shown(name string) bool {
	return slices.ContainsFunc(w.steps, func(s Step) bool { return s.Name == name })
}

func (w *working) step(name, formula, source string, result float64, unit string, inputs ...Input) *Step {
	w.steps = append(w.steps, Step{Name: name, Formula: formula, Source: source, Inputs: inputs, Result: result, Unit: unit})
	return &w.steps[len(w.steps)-1]
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

// declaredOr is an input that a pump's declaration tells, or that is assumed until then.
func (w *working) declaredOr(c *pumpCase, name string, told *float64, assumed float64, unit string) Input {
	if told == nil {
		return input(name, assumed, unit, "assumed until told")
	}
	return input(name, *told, unit, "declared with the pump").by(c.Entry, c.Declared, w.q.now)
}

// rule is an input that is a limit in force.
func (w *working) rule(key string, own *Limits) Input {
	s := specOf(key)
	limit, source := s.inForce(own, w.q)
	return input(key, or(limit, 0), s.Unit, "rule: "+source)
}
