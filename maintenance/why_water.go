package maintenance

import (
	"fmt"

	"sumpbook/maintenance/physics"
)

const sourceIce = "IAPWS R14-08(2011) Eq. 6"

// icePa is the vapour pressure over the trap's ice, 0 outside the formula, where the book
// counts none too.
func icePa(tC float64) float64 {
	p, err := physics.IcePressure(min(0, tC))
	if err != nil || tC < -150 {
		return 0
	}
	return p
}

// carryOver is the water of the newest cycle, with its interval.
func (w *working) carryOver(c *pumpCase) {
	trap, trapEnd, hours := (*float64)(nil), (*float64)(nil), Input{}
	switch {
	case c.Run != nil:
		trap, hours = c.Run.TrapC, w.usualCycle(c).called("hours")
	case c.Last == nil || c.Last.Blank:
		return
	default:
		trap, trapEnd = c.Last.TrapC, c.Last.TrapEndC
		hours = input("hours", c.Last.Length.Hours(), "h", "booked: from start to stop").by(c.Last.Entry, c.Last.At, w.q.now)
	}
	y := carryOver(c.Pump, hours.Value, trap, trapEnd, c.Run == nil && c.Last.Uncertain)
	if c.Run == nil && MassOf(y.mid) != c.Last.Carried {
		w.step("water carried past the trap", "carried_g", "the book, as it was reckoned at the stop: what it rests on was told anew since, or the cycle was broken off and went on", c.Last.Carried.Grams(), "g",
			input("carried_g", c.Last.Carried.Grams(), "g", "booked: reckoned at the stop").by(c.Last.Entry, c.Last.At, w.q.now))
		return
	}
	w.carried(c, y, hours, w.icePressure(c, y, trap, trapEnd))
}

// carried is the carry-over of a stretch of running, and how wide that is.
func (w *working) carried(c *pumpCase, y carry, hours Input, ice *Step) {
	in := []Input{
		w.own(c, "carry_over_factor", y.own), input("drawn", drawnShare, "1", "assumed: share of the maker's nominal speed at working pressure, "+sourceUsage),
		w.declaredOr(c, "speed_m3_h", c.SpeedM3H, assumedSpeedM3H, "m3/h"), ice.as("p_ice"), hours,
		input("gas_c", physics.DefaultGasC, "C", "assumed: at the pump's inlet"),
	}
	ends := "drawn_low / drawn and drawn_high / drawn; 1 − speed_width and 1 + speed_width"
	if y.own.isAssumed() {
		in = append(in, input("drawn_low", drawnLow, "1", "assumed: for the low end, "+sourceUsage), input("drawn_high", drawnHigh, "1", "assumed: for the high end, "+sourceUsage),
			input("speed_width", y.speedWidth(), "1", "rule: nothing of a told speed, a half of an assumed one either way, "+sourceUsage))
	} else {
		ends = "own_low / own and own_high / own"
		in = append(in, input("own_low", y.own.Low, "1", "rule: low end of the factor, "+sourceRule), input("own_high", y.own.High, "1", "rule: high end of the factor, "+sourceRule))
	}
	if y.trapCounts() {
		ends += "; p_ice_low / p_ice and p_ice_high / p_ice"
		in = append(in, input("p_ice_low", *ice.Low, "Pa", "computed above: "+ice.Name), input("p_ice_high", *ice.High, "Pa", "computed above: "+ice.Name))
	}
	in = append(in, input("edges_h", edgesH, "h", "rule: a run may be so much shorter or longer, "+sourceUsage), input("late_h", y.lateHours, "h", "rule: if its source fell silent, it may have run on so long"))
	ends += "; 1 − edges_h / hours and 1 + (edges_h + late_h) / hours"
	w.step("water carried past the trap", "own × drawn × speed_m3_h × p_ice × hours × 18.015268 / (8.314462618 × (gas_c + 273.15)); "+
		"low and high: that times exp(−√(sum of ln² of the low ends)) and exp(√(sum of ln² of the high ends)), which are: "+ends,
		"ideal gas, saturated at the ice; molar mass of water by IAPWS, gas constant by CODATA 2018; interval: JCGM 100:2008, 5.1.6", y.mid, "g", in...).between(y.low, y.high)
}

// icePressure is that over the trap's ice; of two told temperatures the mean of both.
func (w *working) icePressure(c *pumpCase, y carry, start, stop *float64) *Step {
	const law = "611.657 × exp((−21.2144006 × θ^0.00333333333 + 27.3203819 × θ^1.20666667 − 6.1059813 × θ^1.70333333) / θ), θ = (trap_c + 273.15) / 273.16"
	traps := w.traps(c, y, start, stop)
	mean := func(shift float64) (sum float64) {
		for _, t := range traps {
			sum += icePa(t.Value+shift) / float64(len(traps))
		}
		return sum
	}
	formula := law
	if len(traps) > 1 {
		formula = "the mean of the pressures at both temperatures, each: " + law
	}
	width := input("trap_width_k", y.trapWidthK, "K", "rule: width of a temperature so known, "+sourceUsage)
	return w.step("vapour pressure over the ice", formula+"; low and high: at trap_c − trap_width_k and trap_c + trap_width_k, never above 0 °C", sourceIce, mean(0), "Pa", append(traps, width)...).
		between(mean(-y.trapWidthK), mean(y.trapWidthK))
}

func (w *working) traps(c *pumpCase, y carry, start, stop *float64) []Input {
	var all []Input
	if start != nil {
		told := input("trap_c", *start, "C", "told at the start")
		if c.Run != nil {
			told = told.by(c.Run.Cycle, c.Run.Began, w.q.now)
		} else {
			told = told.by(c.Last.Cycle, c.Last.Began, w.q.now)
		}
		all = append(all, told)
	}
	if stop != nil {
		all = append(all, input("trap_c", *stop, "C", "told at the stop").by(c.Last.Entry, c.Last.At, w.q.now))
	}
	switch {
	case len(all) == 2:
		all[0].Name, all[1].Name = "trap_start_c", "trap_stop_c"
	case len(all) == 0:
		all = append(all, w.declaredOr(c, "trap_c", c.TrapC, y.trapC, "C"))
	}
	return all
}

// sumpWater is what of it stayed in the oil. What was expelled comes of an integration over
// each run, which nobody does by hand.
func (w *working) sumpWater(c *pumpCase) {
	since := w.inSump(c)
	s := w.step("water in the sump", "otherwise_g + carried_over_g − expelled_g", "the book; expelled: one well-mixed stage, whose exhaust leaves at most saturated at the oil's temperature, integrated over each run, not to be done by hand (own derivation); "+
		"low and high: what little or much carry-over, ten times the leak and, with open ballast, a good or poor contact make of it, in quadrature (JCGM 100:2008, 5.1.2)", c.Sump.Water.Grams(), "g",
		w.booked("otherwise_g", c.Sump.Water-c.Charge.CarryOver+c.Charge.Expelled, since), w.booked("carried_over_g", c.Charge.CarryOver, since), w.booked("expelled_g", c.Charge.Expelled, since))
	s.Inputs[0].From = "booked: with the heel and the fills, or found by a weighing"
	s.Inputs[1].From, s.Inputs[2].From = "booked at each stop since the change", "booked at each stop since the change"
	s.between(c.Sump.WaterLow.Grams(), c.Sump.WaterHigh.Grams())
}

// store is the temperature of a vessel's store.
func (w *working) store(v *vesselCase) Input {
	return w.toldOr(v, "store_c", v.StoreC, assumedStoreC, "C")
}

// freeWater is the water that can settle or freeze.
func (w *working) freeWater(v *vesselCase) *Step {
	tC := min(max(v.storeC(), 0), 100)
	store := w.store(v)
	solubility, _ := physics.WaterSolubility(tC) // inside its range
	dissolved := w.step(fmt.Sprintf("solubility at %.4g °C", tC), "1.7 × 10^(7.0895 − 1567 / (store_c + 273.15)), at 0 °C if the store is colder",
		"insulating oil: IEEE C57.106 practice, from memory; pump oil 1.7 times (1 to 5), a lubrication trade source", physics.PumpOilFactor*solubility, "mg/kg", store)
	since := w.inVessel(v)
	oil := w.step("oil in "+v.Name, "the sum", sourceBook, v.Content.OilMass().Grams(), "g", w.oil(v.Content, since)...)
	s := w.step("free water in "+v.Name, "water_g − oil_g × solubility / 1000000, or 0 if that is less; low and high: of water_low_g and water_high_g", "the book, less what the oil dissolves at its store's temperature", v.Vessel.freeWater().Grams(), "g",
		w.booked("water_g", v.Content.Water, since), oil.as("oil_g"), dissolved.as("solubility"),
		w.booked("water_low_g", v.Content.WaterLow, since), w.booked("water_high_g", v.Content.WaterHigh, since))
	return s.between(min(v.Vessel.freeWater(), freeOf(v.Content, v.Content.WaterLow, v.storeC())).Grams(), freeOf(v.Content, v.Content.WaterHigh, v.storeC()).Grams())
}

// stokes is how long the smallest droplet that counts sinks through a vessel; false where
// the formula does not hold.
func (w *working) stokes(v *vesselCase) (*Step, bool) {
	h, err := w.q.s.plainSettlingHours(v.Vessel, w.q.r.Limits)
	if err != nil {
		return nil, false
	}
	viscosity := w.viscosity(v.Content, w.store(v))
	return w.step("time for a droplet to sink", "depth_mm / 1000 × 18 × viscosity × oil_density / (9.80665 × settle_um² / 1000000 × (water_density − oil_density)) / 3600", "Stokes' law; viscosity mm2/s × 10⁻⁶ × density is that in Pa s", h, "h",
		w.depth(v), viscosity.as("viscosity"), w.mainDensity(v).as("oil_density"), w.limit("settle_um", nil),
		input("water_density", waterDensity(v.storeC()), "kg/m3", "constant: "+sourceWater)), true
}

// mainDensity is the density of a vessel's main lot at its store's temperature.
func (w *working) mainDensity(v *vesselCase) *Step {
	return w.density(mainLot(v.Content), v.storeC())
}

// depth is how deep the oil stands in a vessel.
func (w *working) depth(v *vesselCase) Input {
	const name = "depth of the oil"
	if v.CapacityMl == nil {
		in := w.toldOr(v, "height_mm", v.HeightMm, unknownDepthMm, "mm")
		in.Name = "depth_mm"
		return in
	}
	volume := w.volume(v.Name, v.Content, standardC, w.inVessel(v))
	return w.step(name, "height_mm × volume_ml / capacity_ml, at most height_mm and at least 1", "a vessel of straight walls: "+sourceUsage, w.q.s.depthMm(v.Vessel), "mm",
		w.toldOr(v, "height_mm", v.HeightMm, assumedDepthMm, "mm"), volume.as("volume_ml"), w.toldOr(v, "capacity_ml", v.CapacityMl, 0, "ml")).as("depth_mm")
}

// settledAt is the share of free water that has sunk at a time, of which stood is the
// hours that the vessel has then stood still.
func (w *working) settledShare(v *vesselCase, name string, sink *Step, stood Input, share float64) *Step {
	return w.step(name, "N(−x) + exp(2 × s²) × (d50_um / cut)² × N(x − 2 × s), with cut = settle_um × √(sink_h × own / stood_h), s = ln(spread), x = ln(cut / d50_um) / s, and N the normal distribution; 0 if stood_h is 0",
		"closed form of this project, for droplets log-normal by volume and evenly spread; Stokes' law", share, "1",
		w.limit("settle_um", nil), sink.as("sink_h"), w.ownSettling(v), stood, input("d50_um", physics.D50Um, "um", "assumed: median droplet"), input("spread", physics.GSD, "1", "assumed: geometric standard deviation"))
}

// sunk is the water at the bottom when a share has settled: what lay there already, and of
// the rest the share.
func (w *working) sunk(v *vesselCase, name string, free, share *Step) *Step {
	base := min(v.Sunk, v.free)
	result := base + MassOf((v.free-base).Grams()*share.Result)
	return w.step(name, "lay_g + (free_g − lay_g) × share", sourceBook, result.Grams(), "g", w.booked("lay_g", base, w.inVessel(v)), free.as("free_g"), share.as("share"))
}

// ownSettling is how many times as long the oil of a vessel's pump takes to settle.
func (w *working) ownSettling(v *vesselCase) Input {
	f := w.q.s.settlingFactor(v.Vessel)
	for _, c := range w.q.pumps {
		if c.Name == v.Pump {
			return w.own(c, "settling_factor", f)
		}
	}
	return input("own", f.Value, "1", "assumed: of any pump")
}

// still is how long a vessel stirs itself.
func (w *working) still(v *vesselCase) *Step {
	return w.step("time until it stands still", "jar_tau_h × ln(|poured_c − store_c| / 2), 0 if they are within 2 K", "Newton's law of cooling; 2 K and the jar's tau: "+sourceUsage, max(0, v.still().Sub(v.ClockAt).Hours()), "h",
		input("jar_tau_h", jarTauH, "h", "rule: 6 h from 45 K over its store to 2 K"), input("poured_c", v.PouredC, "C", "booked: the oil when the clock began").by(v.SinceEntry, v.Since, w.q.now), w.store(v))
}

// had is what settling before its store's temperature changed counts for now, h; nothing
// in most vessels.
func (w *working) had(v *vesselCase, sink *Step) Input {
	if v.FallenMm == 0 {
		return input("had_h", 0, "h", "booked: its store did not change")
	}
	depth := w.depth(v)
	return w.step("settling before its store changed", "fallen_mm × sink_h × settle_um² / depth_mm", "Stokes' law: what a droplet of 1 µm had sunk, at the pace of now", v.FallenMm*w.q.s.hoursPerMm(v.Vessel), "h",
		input("fallen_mm", v.FallenMm, "mm", "booked: of a droplet of 1 µm").by(v.SinceEntry, v.Since, w.q.now), sink.as("sink_h"), w.limit("settle_um", nil), depth).as("had_h")
}

// stoodAt is how long a vessel will have stood still at a time, so many hours after its stage
// began.
func (w *working) stoodStill(v *vesselCase, name string, after, still, had Input) *Step {
	return w.step(name, "after_h − moved_h − still_h, or 0 if that is less; and had_h", sourceBook, max(0, after.Value-w.movedH(v)-still.Value)+had.Value, "h",
		after.called("after_h"), w.moved(v), still, had)
}

// moved is from the beginning of a vessel's stage to that of its clock, which a change of its
// store begins anew.
func (w *working) moved(v *vesselCase) Input {
	return input("moved_h", w.movedH(v), "h", "booked: from the beginning of its stage to that of its clock, which begins anew when its store changes")
}

func (w *working) movedH(v *vesselCase) float64 { return v.ClockAt.Sub(v.Since).Hours() }
