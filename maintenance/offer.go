package maintenance

import (
	"cmp"
	"math"
	"slices"
)

// wholeGrams rounds a prefilled mass down to what a kitchen scale shows, unless it is less
// than that.
func wholeGrams(m Mass) *float64 {
	g := m.Grams()
	if g >= 1 {
		g = math.Floor(g)
	}
	return &g
}

// empties are the vessels that part may be poured into, smallest first: empty, in use, no
// waste vessel, offered to nobody, and large enough. One of unknown size comes last, and
// after all of them those with a trace of oil that sets what is poured on it back by
// nothing.
func (q *asking) empties(part Parcel, tC float64, made Stage) []*vesselCase {
	return append(q.fitting(part, tC, func(v *vesselCase) bool { return v.Content.Empty() }),
		q.fitting(part, tC, func(v *vesselCase) bool {
			return !v.Content.Empty() && v.Content.Total().Grams() < traceG && v.Stage != Waste && leastOf(v.Stage, made) == made
		})...)
}

// holding are those that hold oil of a stage already and have room for part.
func (q *asking) holding(stage Stage, part Parcel, tC float64) []*vesselCase {
	return q.fitting(part, tC, func(v *vesselCase) bool { return v.Stage == stage })
}

func (q *asking) fitting(part Parcel, tC float64, takes func(*vesselCase) bool) []*vesselCase {
	var fit []*vesselCase
	for _, v := range q.vessels {
		if !v.IsWaste && !q.held[v.Name] && takes(v) && q.fits(v, part, tC) {
			fit = append(fit, v)
		}
	}
	slices.SortStableFunc(fit, func(a, b *vesselCase) int {
		return cmp.Compare(or(a.CapacityMl, math.Inf(1)), or(b.CapacityMl, math.Inf(1)))
	})
	return fit
}

// fits asks for room at the temperature of the pouring, since hot oil takes more.
func (q *asking) fits(v *vesselCase, part Parcel, tC float64) bool {
	return v.CapacityMl == nil || q.s.volumeMl(v.Content, v.storeC())+q.s.volumeMl(part, max(tC, standardC)) <= *v.CapacityMl
}

// into offers a vessel to pour part into, which is then of the stage made: an empty one,
// else one that holds oil of that stage; false if none has room.
func (q *asking) into(part Parcel, tC float64, from string, made Stage) (*vesselCase, bool) {
	choice := append(q.empties(part, tC, made), q.holding(made, part, tC)...)
	for _, v := range choice {
		if v.Name != from {
			q.held[v.Name] = true
			return v, true
		}
	}
	return nil, false
}

// readyOil is the vessel to fill a pump from. Oil that has run goes back before new oil,
// which is what replaces it; of it the least life (run hours) goes first, and a vessel
// with enough for the charge before one without. onlyNew is for oil that is to be replaced.
func (q *asking) readyOil(c *pumpCase, onlyNew bool) *vesselCase {
	var all []*vesselCase
	for _, v := range q.vessels {
		if !q.held[v.Name] && q.mayFill(c, v, onlyNew) {
			all = append(all, v)
		}
	}
	if len(all) == 0 {
		return nil
	}
	best := slices.MinFunc(all, func(a, b *vesselCase) int { return q.compareReady(c, a, b) })
	q.held[best.Name] = true
	return best
}

func (q *asking) compareReady(c *pumpCase, a, b *vesselCase) int {
	lackA, lackB := max(0, q.need(c, a.Content)-a.Content.Total()), max(0, q.need(c, b.Content)-b.Content.Total())
	return cmp.Or(
		cmp.Compare(lackA, lackB),
		cmp.Compare(a.Stage.rank(), b.Stage.rank()),
		cmp.Compare(a.Content.OilHours(), b.Content.OilHours()),
		a.Since.Compare(b.Since),
		cmp.Compare(a.Name, b.Name),
	)
}

// anyReady says whether there is oil that may go into the pump.
func (q *asking) anyReady(c *pumpCase) bool {
	return slices.ContainsFunc(q.vessels, func(v *vesselCase) bool { return q.mayFill(c, v, c.replacing.worn) })
}

func (q *asking) mayFill(c *pumpCase, v *vesselCase, onlyNew bool) bool {
	return q.s.isReady(v.Vessel, c.l) && (!onlyNew || v.Stage == New) && !c.wornOut(v.Content)
}

// need is what of a parcel fills the sump up to the charge.
func (q *asking) need(c *pumpCase, of Parcel) Mass {
	room := c.ChargeMl - q.s.volumeMl(c.Sump, standardC)
	if room <= 0 {
		return 0
	}
	return q.s.massOfVolume(room, of, standardC)
}

// wornOut says whether oil has lived its life and is not to be put back.
func (c *pumpCase) wornOut(p Parcel) bool {
	return reached(p.OilHours(), c.l.ReplaceRunH) || reached(p.WaterTaken(), c.l.ReplaceWaterG) || reached(p.ThermalHours(), c.l.ThermalH)
}

func reached(value float64, limit *float64) bool { return limit != nil && value >= *limit }
