package maintenance

// changeMedium is asked when a pass takes too many times as long as through the fresh medium.
func (q *asking) changeMedium(m *Medium) {
	limit := *q.r.Limits.MediumSlow
	if m.FirstM == 0 {
		q.not(DoChangeMedium, m.Name, "no pass of it was timed")
		return
	}
	slow := m.LastM / q.freshM(m)
	if slow < limit {
		q.not(DoChangeMedium, m.Name, "the newest timed pass took %.2g times as long as a fresh medium does, limit %v", slow, limit)
		return
	}
	a := q.ask(DoChangeMedium, m.Name, m.Entry, m.Last.At, m.Last.At.Add(upkeepWithin))
	if a == nil {
		return
	}
	a.Record = Entry{Act: &MediumAct{Medium: m.Name}}
	a.becauseOf("medium_slow", slow, nil, q)
	a.caution("a used filter medium is oily waste: keep it from heat, local rules say where it goes")
}

// freshM is what a gram takes through the fresh medium, min: its first pass, if that was
// timed; else, if it is less than the first that was, what the oil of that pump has shown.
func (q *asking) freshM(m *Medium) float64 {
	p := q.s.Pumps[m.Pump]
	if m.FirstPass <= 1 || p == nil {
		return m.FirstM
	}
	if f := p.factor(factorMedium); !f.isAssumed() {
		return min(m.FirstM, freshMediumMinG*f.Value)
	}
	return m.FirstM
}

// residueStands is how long residue too dry to freeze may wait for more of its kind (rule of
// this project, no source).
const residueStands = 14 * day

// handIn is asked of a waste vessel that is nearly full, and of a residue that has become
// of no use.
func (q *asking) handIn(v *vesselCase) {
	switch {
	case v.Stage == Residue:
		q.handInResidue(v)
		return
	case v.Content.Empty():
		q.not(DoHandIn, v.Name, "it is empty")
		return
	case v.Stage != Waste:
		q.not(DoHandIn, v.Name, "it holds %s oil, no waste", v.Stage)
		return
	case v.CapacityMl == nil:
		q.not(DoHandIn, v.Name, "its capacity is not known")
		return
	}
	share := q.s.volumeMl(v.Content, standardC) / *v.CapacityMl
	if share < *q.r.Limits.WasteFull {
		q.not(DoHandIn, v.Name, "it is filled to %.2f of its capacity, limit %v", share, *q.r.Limits.WasteFull)
		return
	}
	a := q.ask(DoHandIn, v.Name, v.SinceEntry, v.Since, v.Since.Add(vesselsWithin))
	if a == nil {
		return
	}
	a.ofVessel(v.Vessel)
	a.Record = Entry{Act: &DiscardAct{From: v.Name, Where: "collection point"}}
	a.becauseOf("waste_full", share, nil, q)
	a.caution(cautionUsedOil)
}

// handInResidue sends old residue to the waste: with no more free water than ready oil may
// hold there is nothing to freeze out of it, and what sank into it are the fines.
func (q *asking) handInResidue(v *vesselCase) {
	opens := v.Since.Add(residueStands)
	switch {
	case !q.holdsEnough(DoHandIn, v):
		return
	case v.wet:
		q.not(DoHandIn, v.Name, "it is residue with %.1f g of free water: it is to be frozen", v.free.Grams())
		return
	case q.now.Before(opens):
		q.not(DoHandIn, v.Name, "it is residue that may wait for more until %s", q.stamp(opens))
		return
	}
	a := q.ask(DoHandIn, v.Name, v.SinceEntry, opens, opens.Add(vesselsWithin))
	if a == nil {
		return
	}
	a.ofVessel(v.Vessel)
	a.because("settled_h", q.now.Sub(v.Since).Hours(), residueStands.Hours(), "h", "rule of this project, no source: residue too dry to freeze, which holds the fines")
	a.Record = Entry{Act: &DiscardAct{From: v.Name, Where: "collection point"}}
	for _, w := range q.vessels {
		if w.IsWaste && q.fits(w, v.Content, v.storeC()) {
			a.caution("or keep it with the rest: sumpbook pour " + v.Name + " " + w.Name)
			break
		}
	}
	a.caution(cautionUsedOil)
}
