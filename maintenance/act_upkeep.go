package maintenance

// changeMedium is asked when a pass takes too many times as long as through the fresh medium.
func (q *asking) changeMedium(m *Medium) {
	limit := *q.r.Limits.MediumSlow
	if m.FirstM == 0 {
		q.not(DoChangeMedium, m.Name, "no pass of it was timed")
		return
	}
	slow := m.LastM / m.FirstM
	if slow < limit {
		q.not(DoChangeMedium, m.Name, "the newest timed pass took %.2g times as long as the first, limit %v", slow, limit)
		return
	}
	a := q.ask(DoChangeMedium, m.Name, m.Entry, m.LastAt, m.LastAt.Add(upkeepWithin))
	if a == nil {
		return
	}
	a.Record = Entry{Act: &MediumAct{Medium: m.Name}}
	a.becauseOf("medium_slow", slow, nil, q)
	a.caution("a used filter medium is oily waste: keep it from heat, local rules say where it goes")
}

// handIn is asked of a waste vessel that is nearly full.
func (q *asking) handIn(v *vesselCase) {
	switch {
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
