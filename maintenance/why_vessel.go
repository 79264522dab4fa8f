package maintenance

import (
	"sumpbook/maintenance/physics"
)

// ofVessel shows what the kind of action rests on.
func (w *working) ofVessel(v *vesselCase) {
	switch w.a.Do {
	case DoDecant:
		w.freeWater(v)
		w.settling(v)
	case DoFreeze:
		w.freeWater(v)
		if v.timed {
			w.settling(v)
		}
	case DoSeparate:
		w.freeWater(v)
		w.freezing(v)
	case DoFilter:
		w.freeWater(v)
	case DoHandIn:
		if v.Stage == Residue {
			w.freeWater(v)
			return
		}
		w.step("share of the capacity", "volume / capacity", "volumes at 20 °C: ASTM D1250 Table 54D", w.q.s.volumeMl(v.Content, standardC) / *v.CapacityMl, "1",
			input("grams", v.Content.Total().Grams(), "g", "booked").by(v.SinceEntry, v.Since, w.q.now), input("capacity_ml", *v.CapacityMl, "ml", "declared"))
	}
}

func (w *working) toldOr(name string, told *float64, assumed float64, unit string) Input {
	if told == nil {
		return input(name, assumed, unit, "assumed until told")
	}
	return input(name, *told, unit, "declared with the vessel")
}

// freeWater is the water that can settle or freeze.
func (w *working) freeWater(v *vesselCase) {
	store := w.toldOr("store_c", v.StoreC, assumedStoreC, "C")
	solubility, err := physics.WaterSolubility(min(max(v.storeC(), 0), 100))
	if err != nil {
		solubility = 0
	}
	s := w.step("free water", "water − oil × solubility(store) × 1.7", "solubility in insulating oil; pump oil 1.7 times (1 to 5), a lubrication trade source", v.free.Grams(), "g",
		input("water_g", v.Content.Water.Grams(), "g", "booked").by(v.SinceEntry, v.Since, w.q.now), input("oil_g", v.Content.OilMass().Grams(), "g", "booked"),
		store, input("solubility", solubility, "mg/kg", "computed at the store's temperature"))
	s.Low, s.High = num(min(v.free, freeOf(v.Content, v.Content.WaterLow, v.storeC())).Grams()), num(freeOf(v.Content, v.Content.WaterHigh, v.storeC()).Grams())
}

// settling is the wait and what it brings down.
func (w *working) settling(v *vesselCase) {
	oil := w.q.s.oil(v.Content)
	depth := input("depth_mm", w.q.s.depthMm(v.Vessel), "mm", "computed from the vessel's height at its capacity")
	if v.HeightMm == nil {
		depth.From = "computed: 120 mm at capacity, 100 mm if that is unknown, assumed until told"
	}
	store := w.toldOr("store_c", v.StoreC, assumedStoreC, "C")
	grade := input("v40", oil.V40, "mm2/s", "the grade of its main lot, VG 68 until told")
	density := input("density_15", oil.Density15, "kg/m3", "its main lot, 870 until told")
	if h, err := w.q.s.settlingHours(v.Vessel, w.q.r.Limits); err == nil {
		w.step("time for the cut-off droplet to sink", "depth × 18 × viscosity / (g × d² × (water − oil density))", "Stokes' law, ASTM D341, ASTM D1250 Table 54D", h, "h",
			w.rule("settle_um", nil), depth, store, grade, input("v100", oil.V100, "mm2/s", "the same"), density)
	}
	w.step("time until it stands still", "jar tau × ln(|poured − store| / 2 K)", "Newton's law of cooling; 2 K and the jar's tau: common practice, no source", v.still().Sub(v.ClockAt).Hours(), "h",
		input("poured_c", v.PouredC, "C", "computed").by(v.SinceEntry, v.Since, w.q.now), store)
	w.step("wait in all", "still + sinking, and never under settle_min_h", "rule of this project", v.ready.Sub(v.Since).Hours(), "h", w.rule("settle_min_h", nil))
	w.step("share settled now", "log-normal droplets, median 30 µm, spread 2, sunk through the depth", "closed form of this project; the cloud is an assumption", w.q.s.settled(v.Vessel, w.q.now), "1", depth, store)
	w.step("clear oil to pour off", "all − the larger of a tenth and twice the settled water, rounded down to whole grams", "rule of this project", *wholeGrams(v.clear()), "g",
		input("grams", v.Content.Total().Grams(), "g", "booked"), input("settled_g", v.sunk.Grams(), "g", "computed at the end of the wait"))
}

// freezing is how long it has to stand in the cold.
func (w *working) freezing(v *vesselCase) {
	layer := w.q.s.depthMm(v.Vessel) * v.free.Grams() / max(1, v.Content.Total().Grams())
	w.step("time in the cold", "cooling + 2 × Plank(layer), at least 12 h", "Plank's law for a layer cooled from one side; the factor and the least: common practice, no source", v.ready.Sub(v.Since).Hours(), "h",
		input("layer_mm", layer, "mm", "computed: the free water's share of the depth"), input("freezer_c", freezerC, "C", "assumed"),
		input("film", physics.FreezerFilm, "W/(m2 K)", "assumed: still air"))
}
