package maintenance

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// Mass is a mass in whole milligrams: the only unit in which the book balances.
type Mass int64

// Grams is the mass in g.
func (m Mass) Grams() float64 { return float64(m) / 1000 }

// MassOf rounds a mass in g to whole milligrams.
func MassOf(grams float64) Mass { return Mass(math.Round(grams * 1000)) }

// UnknownLot owns the oil of which nobody knows the purchase.
const UnknownLot = "unknown"

// LotMass is the oil of one lot in a parcel.
type LotMass struct {
	Lot  string `json:"lot"`
	Mass Mass   `json:"mg"`
}

// A Parcel is what a place holds: oil by lot, and water. What mixes adds; what is poured
// off takes its share of everything, to the milligram. The ages are extensive: gram-hours
// that add on mixing and, divided by the grams, are the mass-weighted age.
type Parcel struct {
	Oil       []LotMass `json:"oil,omitzero"` // by lot name; none of zero mass
	Water     Mass      `json:"water,omitzero"`
	WaterLow  Mass      `json:"water_low,omitzero"`
	WaterHigh Mass      `json:"water_high,omitzero"`
	Fresh     Mass      `json:"fresh,omitzero"`   // oil that has never run before this charge
	AgeUnsure Mass      `json:"unsure,omitzero"`  // oil whose life before the book is not known
	RunGH     float64   `json:"run_gh,omitzero"`  // g × run hours
	HeatGH    float64   `json:"heat_gh,omitzero"` // g × thermal hours
	TakenGG   float64   `json:"taken,omitzero"`   // g × g of carry-over taken up in its life
	Uses      int       `json:"uses,omitzero"`    // the most charges any part has served
	Passes    int       `json:"passes,omitzero"`  // the fewest filter passes any part has had since drained
	Reckoned  Carried   `json:"carried,omitzero"` // of the water: what was reckoned, and never measured
}

// OilMass is the oil without the water.
func (p Parcel) OilMass() (sum Mass) {
	for _, l := range p.Oil {
		sum += l.Mass
	}
	return sum
}

// Total is oil and water.
func (p Parcel) Total() Mass { return p.OilMass() + p.Water }

// Empty says that nothing is there.
func (p Parcel) Empty() bool { return p.Total() == 0 }

// OilHours is the mass-weighted run life of the oil, h.
func (p Parcel) OilHours() float64 { return p.perGram(p.RunGH) }

// ThermalHours is the mass-weighted thermal life of the oil, h at 60 °C.
func (p Parcel) ThermalHours() float64 { return p.perGram(p.HeatGH) }

// WaterTaken is the mass-weighted carry-over the oil has taken up in its life, g.
func (p Parcel) WaterTaken() float64 { return p.perGram(p.TakenGG) }

func (p Parcel) perGram(extensive float64) float64 {
	oil := p.OilMass()
	if oil == 0 {
		return 0
	}
	return extensive / oil.Grams()
}

// FreshFraction is the share of the oil that has never run before this charge.
func (p Parcel) FreshFraction() float64 {
	oil := p.OilMass()
	if oil == 0 {
		return 0
	}
	return float64(p.Fresh) / float64(oil)
}

func oilOf(lot string, m Mass) Parcel {
	if m == 0 {
		return Parcel{}
	}
	return Parcel{Oil: []LotMass{{lot, m}}}
}

func (p Parcel) clone() Parcel {
	p.Oil = slices.Clone(p.Oil)
	return p
}

// mixed is p and q together.
func (p Parcel) mixed(q Parcel) Parcel {
	if p.Empty() {
		return q.clone()
	}
	if q.Empty() {
		return p.clone()
	}
	out := Parcel{
		Water: p.Water + q.Water, WaterLow: p.WaterLow + q.WaterLow, WaterHigh: p.WaterHigh + q.WaterHigh,
		Fresh: p.Fresh + q.Fresh, AgeUnsure: p.AgeUnsure + q.AgeUnsure,
		RunGH: p.RunGH + q.RunGH, HeatGH: p.HeatGH + q.HeatGH, TakenGG: p.TakenGG + q.TakenGG,
		Uses: max(p.Uses, q.Uses), Passes: fewest(p, q),
	}
	out.Oil = slices.Clone(p.Oil)
	for _, l := range q.Oil {
		out.Oil = withLot(out.Oil, l)
	}
	out.Reckoned = p.Reckoned.with(q.Reckoned...)
	return out
}

// fewest counts passes over the parts that have been drained: oil that never ran needs
// none, and neither does a splash of water.
func fewest(p, q Parcel) int {
	switch {
	case p.Fresh == p.OilMass():
		return q.Passes
	case q.Fresh == q.OilMass():
		return p.Passes
	}
	return min(p.Passes, q.Passes)
}

func withLot(all []LotMass, l LotMass) []LotMass {
	i, found := slices.BinarySearchFunc(all, l, func(a, b LotMass) int { return cmp.Compare(a.Lot, b.Lot) })
	if found {
		all[i].Mass += l.Mass
		return all
	}
	return slices.Insert(all, i, l)
}

// share is m of a parcel mixed like p: every lot and the water by largest remainder, so
// that the parts sum to m exactly. m may exceed what p holds, for a surplus found.
func (p Parcel) share(m Mass) Parcel {
	total := p.Total()
	if m == 0 {
		return Parcel{}
	}
	if total == 0 {
		q := oilOf(UnknownLot, m)
		q.AgeUnsure = m
		return q
	}
	if m == total {
		return p.clone()
	}
	weights := make([]Mass, 0, len(p.Oil)+1)
	for _, l := range p.Oil {
		weights = append(weights, l.Mass)
	}
	parts := apportion(m, append(weights, p.Water), total)
	out := Parcel{Uses: p.Uses, Passes: p.Passes, Water: parts[len(p.Oil)]}
	for i, l := range p.Oil {
		if parts[i] > 0 {
			out.Oil = append(out.Oil, LotMass{l.Lot, parts[i]})
		}
	}
	out.takeExtensives(p, m, total)
	return out
}

func (q *Parcel) takeExtensives(p Parcel, m, total Mass) {
	oil, all := q.OilMass(), p.OilMass()
	if all > 0 {
		q.Fresh = min(oil, mulDiv(p.Fresh, oil, all))
		q.AgeUnsure = min(oil, mulDiv(p.AgeUnsure, oil, all))
		f := float64(oil) / float64(all)
		q.RunGH, q.HeatGH, q.TakenGG = p.RunGH*f, p.HeatGH*f, p.TakenGG*f
	}
	q.WaterLow = min(q.Water, mulDiv(p.WaterLow, m, total))
	q.WaterHigh = max(q.Water, mulDiv(p.WaterHigh, m, total))
	q.Reckoned = p.Reckoned.partOf(q.Water, p.Water)
}

// without is what is left of p after q, a share of it, has gone.
func (p Parcel) without(q Parcel) Parcel {
	out := p.clone()
	out.Oil = out.Oil[:0]
	for _, l := range p.Oil {
		left := l.Mass
		for _, g := range q.Oil {
			if g.Lot == l.Lot {
				left -= g.Mass
			}
		}
		if left < 0 {
			panic("maintenance: more taken from a parcel than it holds")
		}
		if left > 0 {
			out.Oil = append(out.Oil, LotMass{l.Lot, left})
		}
	}
	out.Water -= q.Water
	if out.Water < 0 {
		panic("maintenance: more water taken from a parcel than it holds")
	}
	if out.Empty() {
		return Parcel{}
	}
	out.WaterLow = min(out.Water, max(0, p.WaterLow-q.WaterLow))
	out.WaterHigh = max(out.Water, p.WaterHigh-q.WaterHigh)
	oil := out.OilMass()
	out.Fresh = min(oil, p.Fresh-q.Fresh)
	out.AgeUnsure = min(oil, p.AgeUnsure-q.AgeUnsure)
	out.Reckoned = p.Reckoned.partOf(out.Water, p.Water)
	out.RunGH, out.HeatGH, out.TakenGG = max(0, p.RunGH-q.RunGH), max(0, p.HeatGH-q.HeatGH), max(0, p.TakenGG-q.TakenGG)
	return out
}

// setWater replaces the water by a measured mass.
func (p *Parcel) setWater(m Mass) { p.Water, p.WaterLow, p.WaterHigh, p.Reckoned = m, m, m, nil }

// apportion divides m in proportion to weights, which sum to total, by largest remainder;
// ties go to the earlier part.
func apportion(m Mass, weights []Mass, total Mass) []Mass {
	parts := make([]Mass, len(weights))
	rests := make([]uint64, len(weights))
	left := m
	for i, w := range weights {
		hi, lo := bits.Mul64(uint64(w), uint64(m))
		q, r := bits.Div64(hi, lo, uint64(total))
		parts[i], rests[i] = Mass(q), r
		left -= Mass(q)
	}
	for ; left > 0; left-- {
		best := 0
		for i := range rests {
			if rests[i] > rests[best] {
				best = i
			}
		}
		parts[best]++
		rests[best] = 0
	}
	return parts
}

// mulDiv is a×b/c rounded to nearest, without overflow; c > 0 and the result fits.
func mulDiv(a, b, c Mass) Mass {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	lo, carry := bits.Add64(lo, uint64(c)/2, 0)
	q, _ := bits.Div64(hi+carry, lo, uint64(c))
	return Mass(q)
}
