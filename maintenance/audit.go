package maintenance

import "time"

// An Audit is the history of one pump's oil: its charges, newest first, and when the oil
// was last fully replaced.
type Audit struct {
	Pump    string      `json:"pump"`
	At      time.Time   `json:"at"`
	Full    *FullView   `json:"last_full_replacement"`
	Best    *BestChange `json:"best_partial"` // where no full replacement is on record
	HeelMl  float64     `json:"heel_ml"`
	Assumed bool        `json:"heel_assumed"` // the heel was never measured
	Charges []ChargeLog `json:"charges"`
}

// A BestChange is the change that came nearest to a full replacement.
type BestChange struct {
	At            time.Time `json:"at"`
	Entry         string    `json:"entry"`
	FreshFraction float64   `json:"fresh_fraction"`
}

// A ChargeLog is one charge from its change to its drain.
type ChargeLog struct {
	ID              string             `json:"id"`
	Since           time.Time          `json:"since"`
	Until           *time.Time         `json:"until"` // null while it is in the pump
	Drain           *string            `json:"drain"` // the entry that ended it
	Fills           []string           `json:"fills"` // the change and its top-ups
	Grams           float64            `json:"grams"`
	Lots            map[string]float64 `json:"lots"`
	FreshFraction   float64            `json:"fresh_fraction"`
	FullReplacement bool               `json:"full_replacement"`
	RunHours        float64            `json:"run_hours"`
	Cycles          int                `json:"cycles"`
	WaterRemovedG   float64            `json:"water_removed_g"`
	NotWeighed      int                `json:"cycles_not_weighed,omitzero"` // of which the water removed is not known
	CarryOverG      float64            `json:"carry_over_g"`
	ExpelledG       float64            `json:"expelled_g"`
	WaterG          float64            `json:"water_g"`
	OilHours        float64            `json:"oil_hours"`
	Uses            int                `json:"uses"`
}

// An Auditor walks a book's entries in the order of happening and keeps one pump's charges.
type Auditor struct {
	rules Rules
	pump  string
	state *State
	logs  []ChargeLog
	cycle map[string]int  // cycle id → index in logs
	known map[string]bool // cycles of which weight in and weight out were told
}

// NewAuditor begins an audit of a pump.
func NewAuditor(r Rules, pump string) *Auditor {
	return &Auditor{rules: r, pump: pump, state: NewState(), cycle: map[string]int{}, known: map[string]bool{}}
}

// Add folds the next entry.
func (a *Auditor) Add(e Entry) error {
	before := a.removedOf(e)
	if _, err := a.state.Apply(a.rules, e); err != nil {
		return err
	}
	p := a.state.Pumps[a.pump]
	if p == nil {
		return nil
	}
	a.follow(p, e)
	if c := a.yielded(e); c != nil && len(c.Loads) > 0 {
		a.known[c.ID] = true
	}
	if i, ok := a.cycleOf(e); ok && a.logs[i].Until != nil {
		a.logs[i].WaterRemovedG += (a.removedOf(e) - before).Grams()
	}
	return nil
}

// follow notes what an entry did to the pump's charge.
func (a *Auditor) follow(p *Pump, e Entry) {
	n := len(a.logs)
	current := n > 0 && a.logs[n-1].Until == nil
	if p.Open || p.Charge == nil {
		if current {
			at, id := e.At, e.ID
			a.logs[n-1].Until, a.logs[n-1].Drain = &at, &id
		}
		return
	}
	if !current || a.logs[n-1].ID != p.Charge.ID {
		a.logs = append(a.logs, ChargeLog{ID: p.Charge.ID, Since: p.Charge.Since})
		n++
	}
	if fill, ok := e.Act.(*FillAct); ok && fill.Pump == a.pump {
		a.logs[n-1].Fills = append(a.logs[n-1].Fills, e.ID)
	}
	if c := len(p.History) - 1; c >= 0 && p.History[c].Charge == p.Charge.ID {
		a.cycle[p.History[c].ID] = n - 1
	}
	a.logs[n-1].update(p, a.rules)
}

func (l *ChargeLog) update(p *Pump, r Rules) {
	c := p.Charge
	v := p.Sump.view()
	l.Grams, l.Lots, l.WaterG, l.OilHours, l.Uses = v.Grams, v.Lots, v.WaterG, v.OilHours, v.Uses
	l.FreshFraction = p.Sump.FreshFraction()
	full := p.FullNow(r)
	l.FullReplacement = full != nil && full.Entry == c.LastFill && c.LastFill != ""
	l.RunHours, l.Cycles = c.RunTime.Hours(), c.Cycles
	l.WaterRemovedG, l.CarryOverG, l.ExpelledG = c.WaterRemoved.Grams(), c.CarryOver.Grams(), c.Expelled.Grams()
}

// cycleOf is the charge that ran the cycle a yield speaks of.
func (a *Auditor) cycleOf(e Entry) (int, bool) {
	c := a.yielded(e)
	if c == nil {
		return 0, false
	}
	i, ok := a.cycle[c.ID]
	return i, ok
}

func (a *Auditor) removedOf(e Entry) Mass {
	if c := a.yielded(e); c != nil {
		return c.removed()
	}
	return 0
}

func (a *Auditor) yielded(e Entry) *Cycle {
	y, ok := e.Act.(*YieldAct)
	p := a.state.Pumps[a.pump]
	if !ok || y.Pump != a.pump || p == nil {
		return nil
	}
	for i := len(p.History) - 1; i >= 0; i-- {
		if y.Cycle == "" || p.History[i].ID == y.Cycle {
			return &p.History[i]
		}
	}
	return nil
}

// Audit is the history up to an instant not before the last entry added; false if the pump
// is not on the book.
func (a *Auditor) Audit(at time.Time) (Audit, bool) {
	p := a.state.Pumps[a.pump]
	if p == nil {
		return Audit{}, false
	}
	p = p.Until(at)
	if n := len(a.logs); n > 0 && a.logs[n-1].Until == nil {
		a.logs[n-1].update(p, a.rules)
	}
	out := Audit{Pump: a.pump, At: at, Full: p.fullView(a.rules), HeelMl: p.heelMl(), Assumed: p.HeelMl == nil, Charges: []ChargeLog{}}
	for i := len(a.logs) - 1; i >= 0; i-- {
		l := a.logs[i]
		l.NotWeighed = l.Cycles - a.knownIn(i)
		out.Charges = append(out.Charges, l)
	}
	if out.Full == nil {
		out.Best = bestOf(a.logs)
	}
	return out, true
}

// knownIn counts a charge's cycles whose water removed is known.
func (a *Auditor) knownIn(log int) (n int) {
	for id, i := range a.cycle {
		if i == log && a.known[id] {
			n++
		}
	}
	return n
}

func bestOf(logs []ChargeLog) (best *BestChange) {
	for _, l := range logs {
		if len(l.Fills) > 0 && (best == nil || l.FreshFraction > best.FreshFraction) {
			best = &BestChange{l.Since, l.ID, l.FreshFraction}
		}
	}
	return best
}
