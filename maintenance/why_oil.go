package maintenance

import (
	"fmt"

	"sumpbook/maintenance/physics"
)

const (
	sourceDensity = "ISO 91-1, ASTM D1250 Table 54D, lubricating oils"
	sourceD341    = "ASTM D341 through the two points that the grade gives (ISO 3448)"
	sourceWater   = "table of the density of water: Kell 1975, from memory"
)

// density15 is what a lot's oil weighs at 15 °C.
func (w *working) density15(lot string) Input {
	l := w.q.s.Lots[lot]
	if l == nil || l.Density15 <= 0 {
		return input("density_15", physics.DefaultDensity15, "kg/m3", "assumed until told of the lot")
	}
	return input("density_15", l.Density15, "kg/m3", "declared with the lot").by(l.Told["density_15"].Entry, l.Told["density_15"].At, w.q.now)
}

// density is what a lot's oil weighs at a temperature.
func (w *working) density(lot string, tC float64) *Step {
	name := lot
	if name == "" {
		name = "oil of no known lot"
	}
	return w.step(fmt.Sprintf("density of %s at %.4g °C", name, tC), "density_15 × exp(−x × (1 + 0.8 × x)), x = 0.6278 / density_15 × (oil_c − 15)", sourceDensity,
		w.q.s.oilDensity(lot, tC), "kg/m3", w.density15(lot), input("oil_c", tC, "C", "rule: temperature at which the volume is told"))
}

// contents are the masses of a parcel by lot, and its water.
func (w *working) contents(p Parcel, since Input) []Input {
	return append(w.oil(p, since), w.booked("water", p.Water, since))
}

func (w *working) oil(p Parcel, since Input) []Input {
	if len(p.Oil) == 0 {
		return []Input{w.booked("oil", 0, since)}
	}
	var all []Input
	for _, l := range p.Oil {
		all = append(all, w.booked("oil of "+l.Lot, l.Mass, since))
	}
	return all
}

// booked is a mass on the book, as of the entry of another input.
func (w *working) booked(name string, m Mass, since Input) Input {
	return Input{Name: name, Value: m.Grams(), Unit: "g", From: since.From, Entry: since.Entry, AgeH: since.AgeH}
}

// inSump is where the content of a sump comes from.
func (w *working) inSump(c *pumpCase) Input {
	in := input("", 0, "", "booked: nothing was filled in")
	switch {
	case c.Charge != nil && c.Open:
		in = input("", 0, "", "booked: the heel, since the drain").by(c.Charge.ID, c.Charge.Since, w.q.now)
	case c.Charge != nil:
		in = input("", 0, "", "booked: since the change").by(c.Charge.ID, c.Charge.Since, w.q.now)
	case c.LastDrain != nil:
		in = input("", 0, "", "booked: drained").by(c.LastDrainEntry, *c.LastDrain, w.q.now)
	}
	return in
}

// inVessel is where the content of a vessel comes from.
func (w *working) inVessel(v *vesselCase) Input {
	return input("", 0, "", "booked: "+string(v.Stage)+" oil").by(v.SinceEntry, v.Since, w.q.now)
}

// volume is that of a parcel in a place at a temperature.
func (w *working) volume(place string, p Parcel, tC float64, since Input) *Step {
	var all []Input
	for _, l := range p.Oil {
		all = append(all, w.booked("oil of "+l.Lot, l.Mass, since), w.density(l.Lot, tC).as("density of "+l.Lot))
	}
	all = append(all, w.booked("water", p.Water, since), input("density of water", waterDensity(tC), "kg/m3", "constant: "+sourceWater))
	return w.step(fmt.Sprintf("volume in %s at %.4g °C", place, tC), "the sum of mass × 1000 / density, of the oil of each lot and of the water", sourceDensity, w.q.s.volumeMl(p, tC), "ml", all...)
}

func (w *working) total(place string, p Parcel, since Input) *Step {
	return w.step("mass in "+place, "the sum", sourceBook, p.Total().Grams(), "g", w.contents(p, since)...)
}

// massOf is what a volume of a parcel weighs, at 20 °C.
func (w *working) massOf(name string, ml Input, place string, p Parcel, since Input) *Step {
	result := w.q.s.massOfVolume(ml.Value, p, standardC).Grams()
	if p.Empty() {
		return w.step(name, ml.Name+" × density / 1000", sourceDensity, result, "g", ml, w.density("", standardC).as("density"))
	}
	return w.step(name, ml.Name+" × mass_g / volume_ml", "the book: by the mixture in "+place, result, "g", ml, w.total(place, p, since).as("mass_g"), w.volume(place, p, standardC, since).as("volume_ml"))
}

// room is what a sump takes up to its charge, ml.
func (w *working) room(c *pumpCase) *Step {
	sump := w.volume("the sump", c.Sump, standardC, w.inSump(c))
	return w.step("oil the sump takes", "charge_ml − sump_ml, or 0 if that is less", "the book: volumes at 20 °C", max(0, c.ChargeMl-sump.Result), "ml",
		w.declared(c, "charge_ml", c.ChargeMl, "ml"), sump.as("sump_ml"))
}

// need is what of a parcel fills the sump up to the charge, g.
func (w *working) need(c *pumpCase, place string, of Parcel, since Input) *Step {
	room := w.room(c)
	if room.Result <= 0 {
		return room
	}
	return w.massOf("what "+c.Name+" takes, by mass", room.as("room_ml"), place, of, since)
}

// heel is what stays in the sump, ml.
func (w *working) heel(c *pumpCase) Input {
	if c.HeelMl != nil {
		return w.declared(c, "heel_ml", *c.HeelMl, "ml")
	}
	return w.step("heel", "heel_share × charge_ml", sourceUsage, c.heelMl(), "ml",
		input("heel_share", 0.03, "1", "assumed until told"), w.declared(c, "charge_ml", c.ChargeMl, "ml")).as("heel_ml")
}

// mainLot is the lot of which a parcel holds most.
func mainLot(p Parcel) string {
	var main LotMass
	for _, l := range p.Oil {
		if l.Mass > main.Mass {
			main = l
		}
	}
	return main.Lot
}

// running is the oil's temperature in normal running.
func (w *working) running(c *pumpCase) Input {
	if c.HotC != nil {
		return w.declared(c, "hot_c", *c.HotC, "C")
	}
	return w.step("normal running temperature", "ambient_c + rise_k", sourceUsage, c.runningC(), "C",
		w.ambient(c), input("rise_k", physics.DefaultRunningRiseK, "K", "assumed until hot_c is told")).as("hot_c")
}

func (w *working) ambient(c *pumpCase) Input {
	return w.declaredOr(c, "ambient_c", c.AmbientC, c.ambientC(), "C")
}

func (w *working) coolTau(c *pumpCase) Input {
	own := c.factor(factorCool)
	if own.From == fromPinned {
		return w.declared(c, "cool_tau_min", c.coolTauMin(), "min")
	}
	return w.step("time constant of cooling", "own × base_min", sourceUsage, c.coolTauMin(), "min",
		w.own(c, "cool_tau_min", own), input("base_min", physics.DefaultCoolTauMin, "min", "assumed: of any pump")).between(physics.DefaultCoolTauMin*own.Low, physics.DefaultCoolTauMin*own.High).as("cool_tau_min")
}

// coolTauHigh is the high end of the time constant.
func (w *working) coolTauHigh(c *pumpCase, tau Input) Input {
	f := c.factor(factorCool)
	tau.Name, tau.Value = "cool_tau_high_min", physics.DefaultCoolTauMin*f.High
	if f.From == fromPinned {
		tau.From += ", and a fifth more"
	}
	return tau
}

// own is a factor of the pump's own: pinned, learned or assumed.
func (w *working) own(c *pumpCase, pin string, f inForce) Input {
	switch f.From {
	case fromPinned:
		in := w.declared(c, pin, f.Value, "1")
		in.Name = "own"
		return in
	case fromLearned:
		return input("own", f.Value, "1", fmt.Sprintf("learned of the pump (%d seen): sumpbook learn %s", f.N, c.Name)).by(f.Newest.Entry, f.Newest.At, w.q.now)
	}
	return input("own", f.Value, "1", "assumed until enough is seen of the pump")
}

// grade are the two viscosities of a parcel's main lot.
func (w *working) grade(p Parcel) []Input {
	oil := w.q.s.oil(p)
	in := []Input{input("v40", oil.V40, "mm2/s", "assumed: VG 68 until the lot's grade is told"), input("v100", oil.V100, "mm2/s", "assumed: of VG 68")}
	lot := w.q.s.Lots[mainLot(p)]
	if lot == nil {
		return in
	}
	if _, err := physics.OilOfGrade(lot.Grade); err == nil {
		for i := range in {
			in[i].From = "declared with the lot " + lot.Name + ": " + lot.Grade
			in[i] = in[i].by(lot.Told["grade"].Entry, lot.Told["grade"].At, w.q.now)
		}
	}
	return in
}

const waltherText = "with W(v) = log10(log10(v + 0.7)), B = (W(v40) − W(v100)) / log10(373.15 / 313.15), A = W(v40) + B × log10(313.15)"

// viscosity is that of a parcel's oil at a temperature, where the formula holds.
func (w *working) viscosity(p Parcel, at Input) *Step {
	v, _ := w.q.s.oil(p).Viscosity(at.Value)
	return w.step(fmt.Sprintf("viscosity at %.4g °C", at.Value), "v from W(v) = A − B × log10("+at.Name+" + 273.15), "+waltherText, sourceD341, v, "mm2/s", append(w.grade(p), at)...)
}

// recorded is the amount that the action proposes to record, g.
func (w *working) recorded(told *float64, formula, source string, inputs ...Input) {
	if told == nil {
		return
	}
	if *told >= 1 {
		formula += ", down to whole grams"
	}
	w.step("amount to record", formula, source, *told, "g", inputs...)
}
