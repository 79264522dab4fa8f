package maintenance

import (
	"cmp"
	"math"
	"slices"
	"time"

	"sumpbook/maintenance/chart"
	"sumpbook/maintenance/physics"
)

// soon is the share of a limit from which what is coming is shown (common practice, no source).
const soon = 0.8

// A wear is one measure of the pump's oil against one limit of its life.
type wear struct {
	key        string
	value      float64
	told       float64 // value at the last entry: what a forecast starts from, so that it stands still
	limit      float64
	source     string
	perCycle   float64  // growth; 0: it does not grow so, or none is known
	slow, fast *float64 // ends of the growth, of the expected, where it is an estimate
	grew       func(Cycle) float64
	seen       time.Time // of a reading
}

// wears are a pump's, nearest to its limit first.
type wears []wear

func (w wear) isReached() bool { return w.value >= w.limit }

// wears are all measures for which there is a limit and a value, nearest to its limit first.
func (q *asking) wears(c *pumpCase) []wear {
	if c.Entry == "" || c.LastChange == nil {
		return nil
	}
	var all []wear
	for _, w := range append(q.ages(c), q.readings(c)...) {
		if limit, source := specOf(w.key).inForce(&c.own, q); limit != nil {
			w.limit, w.source = *limit, source
			all = append(all, w)
		}
	}
	slices.SortStableFunc(all, func(a, b wear) int { return -cmp.Compare(a.value/a.limit, b.value/b.limit) })
	return all
}

// ages are what grows with every cycle.
func (q *asking) ages(c *pumpCase) []wear {
	if c.Sump.OilMass() == 0 {
		return nil
	}
	ran := func(y Cycle) float64 { return y.Length.Hours() }
	carried := func(y Cycle) float64 { return y.CarryOut.Grams() }
	heat, _ := physics.ThermalHours(1, c.runningC(), physics.AgeingRefC) // 0, no forecast, outside the formula
	heated := func(y Cycle) float64 { return heat * y.Length.Hours() }
	perCharge := 0.0
	if c.l.DrainCycles != nil {
		perCharge = 1 / *c.l.DrainCycles
	}
	uses, old := float64(q.usesSinceFull(c)), c.told.Sump
	return []wear{
		{key: "replace_run_h", value: c.Sump.OilHours(), told: old.OilHours(), perCycle: c.cycle.Hours(), grew: ran},
		{key: "replace_uses", value: uses, told: uses, perCycle: perCharge},
		{key: "replace_water_g", value: c.Sump.WaterTaken(), told: old.WaterTaken(), perCycle: c.usualCarry(), grew: carried, slow: c.carryShare(Charge.low), fast: c.carryShare(Charge.high)},
		{key: "thermal_h", value: c.Sump.ThermalHours(), told: old.ThermalHours(), perCycle: heat * c.cycle.Hours(), grew: heated},
	}
}

// usesSinceFull counts charges that any part of the oil has served since it was last fully
// replaced: the heel that stayed then has served more, but is a small share.
func (q *asking) usesSinceFull(c *pumpCase) int {
	if full := c.FullNow(q.r); full != nil {
		return max(0, c.Sump.Uses-full.Uses)
	}
	return c.Sump.Uses
}

// reachedAt is when a wear reached its limit: when it was seen; or the stop of the cycle
// that brought the sum over it; or the change, if it was over it then.
func (w wear) reachedAt(c *pumpCase) time.Time {
	if !w.seen.IsZero() {
		return w.seen
	}
	excess := w.value - w.limit
	for i := len(c.History) - 1; w.grew != nil && i >= 0 && !c.History[i].Start.Before(*c.LastChange); i-- {
		if excess -= w.grew(c.History[i]); excess < 0 {
			return c.History[i].Stop
		}
	}
	return *c.LastChange
}

// carryShare is an end of the carry-over of this charge, of the expected; nil of none.
func (c *pumpCase) carryShare(end func(Charge) Mass) *float64 {
	if c.Charge == nil || c.Charge.CarryOver == 0 {
		return nil
	}
	return num(float64(end(*c.Charge)) / float64(c.Charge.CarryOver))
}

func (c Charge) low() Mass  { return c.CarryLow }
func (c Charge) high() Mass { return c.CarryHigh }

// usualCarry is the median carry-over of the newest twelve cycles, g.
func (c *pumpCase) usualCarry() float64 {
	recent := c.recent()
	all := make([]Mass, 0, len(recent))
	for _, y := range recent {
		all = append(all, y.CarryOut)
	}
	return medianOf(all).Grams()
}

// readings are what was seen since the change, against new oil.
func (q *asking) readings(c *pumpCase) (all []wear) {
	if look := c.Look; look != nil {
		if fresh, ok := q.newOil(c.Sump, func(l *Lot) *float64 { return l.Colour }); ok && look.Colour != nil {
			all = append(all, wear{key: "colour_rise", value: *look.Colour - fresh, seen: look.At})
		}
		if fresh, ok := q.newOil(c.Sump, func(l *Lot) *float64 { return l.AcidMgG }); ok && look.AcidMgG != nil {
			all = append(all, wear{key: "acid_rise_mg_g", value: *look.AcidMgG - fresh, seen: look.At})
		}
	}
	if last, ok := c.blankOff(); ok && c.BlankNew != nil && !q.isNewOil(c) && c.blank.Verdict != chart.Pump {
		all = append(all, wear{key: "blank_off_factor", value: last.Pa / c.BlankNew.Pa, seen: last.At})
	}
	return all
}

// newOil is a property of the oil's lots when new, by mass over those of which it is known.
func (q *asking) newOil(p Parcel, property func(*Lot) *float64) (mean float64, ok bool) {
	mass := Mass(0)
	for _, l := range p.Oil {
		if lot := q.s.Lots[l.Lot]; lot != nil && property(lot) != nil {
			mean += *property(lot) * l.Mass.Grams()
			mass += l.Mass
		}
	}
	if mass == 0 {
		return 0, false
	}
	return mean / mass.Grams(), true
}

// blankOff is the newest blank-off reading since the change.
func (c *pumpCase) blankOff() (Reading, bool) {
	if n := len(c.BlankOffs); n > 0 && c.LastChange != nil && !c.BlankOffs[n-1].At.Before(*c.LastChange) {
		return c.BlankOffs[n-1], true
	}
	return Reading{}, false
}

// isNewOil says whether the newest change was a full replacement: then a bad blank-off
// reading speaks of the pump, not of the oil.
func (q *asking) isNewOil(c *pumpCase) bool {
	full := c.FullNow(q.r)
	return full != nil && !full.At.Before(*c.LastChange)
}

// forecast is when the wear reaches its limit if the pump goes on as it does: at the end of
// the cycle that passes it.
func (w wear) forecast(c *pumpCase, now time.Time) (time.Time, bool) {
	first, ok := c.nextStart()
	if !ok || w.perCycle <= 0 {
		return time.Time{}, false
	}
	if c.Run != nil && !c.Run.Blank {
		first = c.Run.Began
	}
	cycles := max(1, math.Ceil((w.limit-w.told)/w.perCycle))
	if cycles > 1000 {
		return time.Time{}, false
	}
	end := first.Add(time.Duration(cycles-1) * c.gap).Add(c.cycle)
	return rolled(end, c.gap, now), true
}
