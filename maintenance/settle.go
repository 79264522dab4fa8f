package maintenance

import (
	"fmt"
	"math"
	"time"

	"sumpbook/maintenance/physics"
)

const (
	assumedStoreC  = 20.0
	assumedDepthMm = 120.0 // of a jar at its capacity
	unknownDepthMm = 100.0 // of a jar whose capacity is unknown too
	freezerC       = -18.0
	freezeSafety   = 2.0 // Plank gives the least; the oil above insulates (common practice, no source)
	stillK         = 2.0 // a jar so near to its store's temperature no longer stirs itself
	hotDrainStillH = 6.0 // and a hot drain gets there in so long (common practice, no source)
	hotDrainAboveK = 45.0
	overnightH     = 12.0 // the least in the cold (common practice, no source)
	coolingH       = 0.8  // to 0 °C, of a jar of oil (1.9 kJ/(kg K), common practice, no source)
	mostLayerMm    = 1000 // as far as the formula goes
	mostStoodH     = 1e6  // as far as the formula goes: all has settled
	warmK          = 10.0 // over the room, a pump is warm (common practice, no source)
	lowShare       = 0.9  // of the charge; below it the sump asks for a top-up (common practice, no source)
)

// jarTauH is the cooling time constant of a jar that makes a hot drain stand still after
// hotDrainStillH.
var jarTauH = hotDrainStillH / math.Log(hotDrainAboveK/stillK)

func (v *Vessel) storeC() float64 { return or(v.StoreC, assumedStoreC) }

// depthMm is the depth of the oil in a vessel, from its height at capacity.
func (s *State) depthMm(v *Vessel) float64 {
	if v.CapacityMl == nil {
		return or(v.HeightMm, unknownDepthMm)
	}
	full := or(v.HeightMm, assumedDepthMm)
	return max(1, full*min(1, s.volumeMl(v.Content, standardC) / *v.CapacityMl))
}

// stir starts the clock of settling anew, with the oil at a temperature.
func (v *Vessel) stir(at time.Time, tC float64) {
	v.ClockAt, v.PouredC, v.FallenMm, v.Sunk = at, tC, 0, 0
}

// still is when a vessel has come near its store's temperature: until then it stirs itself.
func (v *Vessel) still() time.Time {
	off := math.Abs(v.PouredC - v.storeC())
	if off <= stillK {
		return v.ClockAt
	}
	return v.ClockAt.Add(hours(jarTauH * math.Log(off/stillK)))
}

// tempAt is the oil's temperature in a vessel on its way to that of the store.
func (v *Vessel) tempAt(t time.Time) float64 {
	return v.storeC() + (v.PouredC-v.storeC())*math.Exp(-max(0, t.Sub(v.ClockAt).Hours())/jarTauH)
}

// hours are told as a duration: as long as one can be at the most, which stands for never.
func hours(h float64) time.Duration {
	return time.Duration(min(max(h, -never), never) * float64(time.Hour))
}

const never = 250 * 365.25 * 24 // hours

// stoodH is how long a vessel has stood still, in hours at its store's temperature: what
// it stood in another place before counts by how far droplets sank there.
func (s *State) stoodH(v *Vessel, at time.Time) float64 {
	return max(0, at.Sub(v.still()).Hours()) + v.FallenMm*s.hoursPerMm(v)
}

// hoursPerMm is how long a droplet of 1 µm sinks through 1 mm; 0 where the formula does not
// hold and nothing sinks.
func (s *State) hoursPerMm(v *Vessel) float64 {
	h, err := physics.SettlingHours(1, 1, s.oil(v.Content), v.storeC())
	if err != nil {
		return 0
	}
	return h
}

// moved keeps how far the droplets of a vessel have sunk when its store's temperature is
// about to change.
func (s *State) moved(v *Vessel, at time.Time) {
	if per := s.hoursPerMm(v); per > 0 {
		v.FallenMm = s.stoodH(v, at) / per
	}
	v.PouredC, v.ClockAt = v.tempAt(at), at
}

// sunkShare is the share that the law of settling has brought down while the vessel stood
// still, for so many hours: a log-normal cloud of droplets (physics.ClearedShare). A pump
// whose oil needs so many times as long has settled as far as another in that much less.
func (s *State) sunkShare(v *Vessel, stoodH, timesAsLong float64) float64 {
	if stoodH <= 0 || v.Stage == Freezing {
		return 0
	}
	share, err := physics.ClearedShare(min(stoodH/timesAsLong, mostStoodH), s.depthMm(v), s.oil(v.Content), v.storeC(), physics.D50Um, physics.GSD)
	if err != nil {
		return 0 // oil as heavy as water, or too cold for the formula: it does not settle
	}
	return share
}

// freeWater is the water beyond what the oil can dissolve at the store's temperature.
func (v *Vessel) freeWater() Mass { return freeOf(v.Content, v.Content.Water, v.storeC()) }

func freeOf(p Parcel, water Mass, tC float64) Mass {
	free, err := physics.FreeWaterG(water.Grams(), p.OilMass().Grams(), min(max(tC, 0), 100))
	if err != nil {
		return water
	}
	return min(water, MassOf(free))
}

// sunkWater is the free water at the bottom of a vessel.
func (s *State) sunkWater(v *Vessel, at time.Time) Mass {
	return s.sunkIf(v, at, s.settlingFactor(v).Value)
}

func (s *State) sunkIf(v *Vessel, at time.Time, timesAsLong float64) Mass {
	free := v.freeWater()
	base := min(v.Sunk, free)
	return base + MassOf((free-base).Grams()*s.sunkShare(v, s.stoodH(v, at), timesAsLong))
}

// settled is the share of a vessel's free water that has sunk; 1 if there is none to sink.
func (s *State) settled(v *Vessel, at time.Time) float64 {
	return v.shareOfFree(s.sunkWater(v, at))
}

func (v *Vessel) shareOfFree(sunk Mass) float64 {
	free := v.freeWater()
	if free == 0 {
		return 1
	}
	return float64(sunk) / float64(free)
}

// readyAt is when a vessel's waiting is over: drained and recovered oil has settled, frozen
// water is hard.
func (s *State) readyAt(v *Vessel, l Limits) (time.Time, bool) {
	if v.Content.Empty() {
		return time.Time{}, false
	}
	switch v.Stage {
	case Drained, Recovered:
		h, err := s.settlingHours(v, l)
		if err != nil {
			return time.Time{}, false
		}
		return s.readyAfter(v, l, h), true
	case Freezing:
		return v.Since.Add(hours(s.freezingHours(v))), true
	}
	return time.Time{}, false
}

// readyAfter is when a vessel has stood still for so many hours, but never too soon.
func (s *State) readyAfter(v *Vessel, l Limits, needH float64) time.Time {
	ready := v.still().Add(hours(needH - v.FallenMm*s.hoursPerMm(v)))
	return later(ready, v.Since.Add(hours(*l.SettleMinH)))
}

// settlingHours is how long a vessel must stand still: for the cut-off droplet to sink
// through its depth, times the factor of its pump.
func (s *State) settlingHours(v *Vessel, l Limits) (float64, error) {
	h, err := s.plainSettlingHours(v, l)
	return h * s.settlingFactor(v).Value, err
}

func (s *State) plainSettlingHours(v *Vessel, l Limits) (float64, error) {
	return physics.SettlingHours(*l.SettleUm, s.depthMm(v), s.oil(v.Content), v.storeC())
}

// freezingHours is how long a vessel must stand in the cold.
func (s *State) freezingHours(v *Vessel) float64 { return s.freezingIf(v, v.freeWater(), freezeSafety) }

// freezingIf is Plank's law for the layer of free water, some times over for the oil above
// it, and cooling to 0 °C first.
func (s *State) freezingIf(v *Vessel, free Mass, safety float64) float64 {
	layer := s.depthMm(v) * free.Grams() / max(1, v.Content.Total().Grams())
	h, err := physics.LayerHours(min(max(0.1, layer), mostLayerMm), freezerC, physics.FreezerFilm)
	if err != nil {
		return overnightH
	}
	return max(overnightH, coolingH+safety*h)
}

// isReady says whether a vessel's oil may go into a pump.
func (s *State) isReady(v *Vessel, l Limits) bool { return s.notReady(v, l) == "" }

// notReady says why a vessel's oil may not go into a pump yet; empty if it may.
func (s *State) notReady(v *Vessel, l Limits) string {
	free := v.freeWater().Grams() // a fill takes what has sunk along
	switch {
	case v.Content.Empty():
		return "it is empty"
	case v.IsWaste || v.Stage == Waste:
		return "it is waste"
	case v.Stage == New:
		return ""
	case v.Stage != Filtered:
		return fmt.Sprintf("it is %s, not filtered", v.Stage)
	case float64(v.Content.Passes) < *l.FilterPasses:
		return fmt.Sprintf("it has had %d of %v filter passes", v.Content.Passes, *l.FilterPasses)
	case free > *l.FillFreeWaterG:
		return fmt.Sprintf("it holds %.1f g of free water, more than %v g", free, *l.FillFreeWaterG)
	}
	return ""
}
