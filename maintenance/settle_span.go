package maintenance

import "time"

// Widths of a store's temperature, K: told, assumed (common practice, no source). A room
// that swings by day and night is meant too.
const storeToldK, storeAssumedK = 3.0, 5.0

// Plank's law alone is the least; with three times its time it is the most (common practice,
// no source).
const freezeLeast, freezeMost = 1.0, 3.0

// settlingFactor is how many times the time that Stokes' law says the oil of a vessel needs
// to settle: its pump's.
func (s *State) settlingFactor(v *Vessel) inForce {
	if p := s.Pumps[v.Pump]; p != nil && !p.Retired {
		return p.factor(factorSettle)
	}
	return anyPump.factor(factorSettle)
}

// anyPump has shown nothing.
var anyPump = &Pump{}

// settlingSpread is the width of the time to settle: the factor, and the store's temperature
// by the viscosity.
func (s *State) settlingSpread(v *Vessel) (w spread) {
	f := s.settlingFactor(v)
	w.add(f.Low/f.Value, f.High/f.Value)
	width := storeAssumedK
	if v.StoreC != nil {
		width = storeToldK
	}
	oil := s.oil(v.Content)
	w.add(viscosityRatio(oil, v.storeC()+width, v.storeC()), viscosityRatio(oil, v.storeC()-width, v.storeC()))
	return w
}

// readyBetween is the interval of readyAt: of what settles, by the width of the time that it
// takes; of what freezes, by that of its water and of the oil's cover.
func (s *State) readyBetween(v *Vessel, l Limits) (low, high time.Time) {
	if v.Stage == Freezing {
		return v.Since.Add(hours(s.freezingIf(v, freeOf(v.Content, v.Content.WaterLow, v.storeC()), freezeLeast))),
			v.Since.Add(hours(s.freezingIf(v, freeOf(v.Content, v.Content.WaterHigh, v.storeC()), freezeMost)))
	}
	need, _ := s.settlingHours(v, l) // readyAt has asked
	least, most := s.settlingSpread(v).about(need)
	return s.readyAfter(v, l, least), s.readyAfter(v, l, most)
}

// settledBetween is the interval of settled.
func (s *State) settledBetween(v *Vessel, at time.Time) (low, high float64) {
	least, most := s.settlingSpread(v).about(s.settlingFactor(v).Value)
	return v.shareOfFree(s.sunkIf(v, at, most)), v.shareOfFree(s.sunkIf(v, at, least))
}
