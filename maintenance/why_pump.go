package maintenance

import (
	"fmt"
	"math"

	"sumpbook/maintenance/physics"
)

// ofPump shows what the kind of action rests on.
func (w *working) ofPump(c *pumpCase) {
	switch w.a.Do {
	case DoDrain:
		w.carryOver(c)
		w.sumpWater(c)
		w.window(c)
	case DoFill:
		w.airing(c)
		w.nextStart(c)
		w.charge(c)
	case DoTopUp:
		w.charge(c)
	case DoReplace, DoBuyOil:
		w.life(c)
	case DoCare:
		w.upkeep(c)
	}
}

// carryOver is the water of the newest cycle, with its interval.
func (w *working) carryOver(c *pumpCase) {
	trap, trapEnd, length := (*float64)(nil), (*float64)(nil), c.cycle
	switch {
	case c.Run != nil:
		trap = c.Run.TrapC
	case c.Last == nil || c.Last.Blank:
		return
	default:
		trap, trapEnd, length = c.Last.TrapC, c.Last.TrapEndC, c.Last.Length
	}
	y := carryOver(c.Pump, length.Hours(), trap, trapEnd, c.Run == nil && c.Last.Uncertain)
	hoursFrom := input("hours", length.Hours(), "h", "booked, from start to stop")
	if c.Run != nil {
		hoursFrom.From = "computed: median of the newest cycles"
	} else {
		hoursFrom = hoursFrom.by(c.Last.Entry, c.Last.At, w.q.now)
	}
	s := w.step("water carried past the trap", "own × drawn × speed × p_ice(trap) × M × t / (R × T), of two told temperatures the mean of both results; low and high: times exp(∓√(sum of the squares of ln of what each input at its low and high end makes of the result))",
		"ideal gas saturated over ice, IAPWS R14-08(2011) Eq. 6; interval: JCGM 100:2008, 5.1.6", y.mid, "g", w.carryInputs(c, y, hoursFrom)...)
	s.Low, s.High = num(y.low), num(y.high)
}

// carryInputs are what the water carried over rests on, each with its ends where it has any.
func (w *working) carryInputs(c *pumpCase, y carry, hoursFrom Input) []Input {
	in := []Input{
		w.declaredOr(c, "speed_m3_h", c.SpeedM3H, assumedSpeedM3H, "m3/h"),
		input("drawn", drawnShare, "1", "assumed: of the maker's nominal speed at working pressure, common practice, no source"),
		input("trap_c", y.trapC, "C", y.trapOf),
		hoursFrom, input("gas_c", physics.DefaultGasC, "C", "assumed"),
		input("own", y.own.Value, "1", y.own.words()),
	}
	if y.own.isAssumed() {
		in = append(in,
			input("drawn_low", drawnLow, "1", "assumed, common practice, no source"), input("drawn_high", drawnHigh, "1", "assumed, common practice, no source"),
			input("speed_width", y.speedWidth(), "1", "rule: 0 of a told speed, a half of an assumed one either way, common practice, no source"))
	} else {
		in = append(in, input("own_low", y.own.Low, "1", "the low end of it: it stands for the widths of speed and trap"), input("own_high", y.own.High, "1", "the high end of it"))
	}
	if y.trapCounts() {
		in = append(in, input("trap_width", y.trapWidthK, "K", "rule: width of a temperature so known, common practice, no source"))
	}
	in = append(in, input("edges", edgesH, "h", "rule: a run may be so much shorter or longer, common practice, no source"))
	if y.lateHours > 0 {
		in = append(in, input("late", y.lateHours, "h", "rule: its source fell silent, and it may have run on so long"))
	}
	return in
}

// words say where a factor comes from.
func (f inForce) words() string {
	switch f.From {
	case fromPinned:
		return "pinned with the pump"
	case fromLearned:
		return fmt.Sprintf("learned from %d observations: sumpbook learn shows them", f.N)
	}
	return "assumed until enough is seen of the pump"
}

// sumpWater is what of it stayed in the oil.
func (w *working) sumpWater(c *pumpCase) {
	s := w.step("water in the sump", "water at the change + carried over − expelled with the exhaust; low and high: ∓ √(sum of the squares of what the low or high carry-over, leak_high and, with open ballast, eta_high or eta_low make of it, one at a time, at each stop)", "own derivation: one well-mixed stage, the exhaust leaves at most saturated at the oil's temperature; interval: JCGM 100:2008, 5.1.2", c.Sump.Water.Grams(), "g",
		input("carried_over_g", c.Charge.CarryOver.Grams(), "g", "computed since the change").by(c.Charge.ID, c.Charge.Since, w.q.now),
		input("expelled_g", c.Charge.Expelled.Grams(), "g", "computed since the change"),
		input("oil_g", c.Sump.OilMass().Grams(), "g", "booked"),
		input("leak", physics.DefaultLeakPaM3S, "Pa m3/s", "assumed: leaks and outgassing, whose air takes water along"),
		input("leak_high", leakHighPaM3S, "Pa m3/s", "rule: ten times as much, for the low end; common practice, no source"),
		input("eta", physics.DefaultEta, "1", "assumed: share of equilibrium that the exhaust reaches"),
		input("eta_low", etaLow, "1", "rule: for the high end, common practice, no source"), input("eta_high", etaHigh, "1", "rule: for the low end, common practice, no source"))
	s.Low, s.High = num(c.Sump.WaterLow.Grams()), num(c.Sump.WaterHigh.Grams())
}

// window shows when the oil has become too thick to drain well.
func (w *working) window(c *pumpCase) {
	oil := w.q.s.oil(c.Sump)
	ambient := w.declaredOr(c, "ambient_c", c.AmbientC, c.ambientC(), "C")
	running := w.declaredOr(c, "hot_c", c.HotC, c.runningC(), "C")
	tau := w.declaredOr(c, "cool_tau_min", c.CoolTauMin, c.coolTauMin(), "min")
	stop := w.stopTemperature(c)
	if c.hot.closes == nil {
		return
	}
	w.step("temperature at which the window closes", "viscosity(T) = drain_slow × viscosity(running)", "ASTM D341; drain time goes with viscosity (laminar flow, ASTM D445)", c.hot.endC, "C",
		input("v40", oil.V40, "mm2/s", "the grade of the sump's main lot, VG 68 until told"), input("v100", oil.V100, "mm2/s", "the same"),
		running, w.rule("drain_slow", &c.own))
	minutes := c.hot.closes.Sub(c.hot.opens).Minutes()
	w.step("length of the window", "tau × ln((stop − ambient) / (close − ambient)), 0 for a pump stopped colder", "Newton's law of cooling", minutes, "min",
		stop, input("close_c", c.hot.endC, "C", "computed above"), ambient, tau)
}

func (w *working) stopTemperature(c *pumpCase) Input {
	switch {
	case c.Run != nil:
		return input("stop_c", c.runningC(), "C", "computed: it will stop at its running temperature")
	case c.Last.HotC != nil:
		return input("stop_c", *c.Last.HotC, "C", "told at the stop").by(c.Last.Entry, c.Last.At, w.q.now)
	}
	return input("stop_c", c.Temp.C, "C", "computed: warming towards its running temperature").by(c.Last.Entry, c.Last.At, w.q.now)
}

func (w *working) airing(c *pumpCase) {
	if c.LastDrain == nil {
		return
	}
	s := w.step("open to air", "now − drain", "common practice, no source", max(0, w.q.now.Sub(*c.LastDrain).Hours()), "h",
		input("drain", 0, "h", "told").by(c.LastDrainEntry, *c.LastDrain, w.q.now))
	s.Limit = c.l.AirH
}

// nextStart is the cadence that a due time rests on.
func (w *working) nextStart(c *pumpCase) {
	next, ok := c.nextStart()
	if !ok {
		return
	}
	last := c.History[len(c.History)-1]
	w.step("hours to the next start to be expected", "last start + usual gap − now", "median of the newest twelve gaps between starts", next.Sub(w.q.now).Hours(), "h",
		input("gap_h", c.gap.Hours(), "h", "computed"), input("last_start", 0, "h", "told").by(last.ID, last.Start, w.q.now))
}

// charge is what the sump takes.
func (w *working) charge(c *pumpCase) {
	have := w.q.s.volumeMl(c.Sump, standardC)
	w.step("oil the sump takes", "charge − what it holds", "volumes at 20 °C: ASTM D1250 Table 54D", max(0, c.ChargeMl-have), "ml",
		input("charge_ml", c.ChargeMl, "ml", "declared with the pump").by(c.Entry, c.Declared, w.q.now), input("sump_ml", have, "ml", "booked"))
	if c.from == nil {
		return
	}
	v := c.from
	w.step("oil hours of "+v.Name, "mass × run hours, through every blend, by mass", "mixing by mass", v.Content.OilHours(), "h",
		input("grams", v.Content.Total().Grams(), "g", "booked").by(v.SinceEntry, v.Since, w.q.now),
		input("filter_passes", float64(v.Content.Passes), "passes", "booked"), w.rule("filter_passes", &c.own),
		input("free_water_g", v.free.Grams(), "g", "computed: water less what the oil dissolves"), w.rule("fill_free_water_g", &c.own))
}

// life shows each wear with how it grows, and the forecast from it.
func (w *working) life(c *pumpCase) {
	for _, y := range c.replacing.wears {
		s := w.step("life: "+y.key, y.formula(), y.source, y.value, specOf(y.key).Unit, w.wearInputs(c, y)...)
		s.Limit = num(y.limit)
		at, ok := y.forecast(c, w.q.now)
		if !ok || y.isReached() {
			continue
		}
		w.step("forecast: "+y.key, "now to the end of the cycle that passes the limit: ⌈(limit − value) / growth⌉ cycles, one each gap", "cadence of the newest twelve cycles", at.Sub(w.q.now).Hours()/24, "d",
			input("growth", y.perCycle, specOf(y.key).Unit, "computed, for each cycle"), input("cycles", math.Ceil((y.limit-y.told)/y.perCycle), "cycles", "computed"),
			input("gap_h", c.gap.Hours(), "h", "computed"))
	}
}

func (y wear) formula() string {
	switch y.key {
	case "replace_uses":
		return "charges that any part has served − those it had at the last full replacement"
	case "colour_rise", "acid_rise_mg_g":
		return "newest reading − the lots' readings when new, by mass"
	case "blank_off_factor":
		return "newest blank-off reading of this charge / the reading on new oil"
	}
	return "mass-weighted, through every blend"
}

func (w *working) wearInputs(c *pumpCase, y wear) []Input {
	now := w.q.now
	switch y.key {
	case "colour_rise":
		return []Input{input("colour", *c.Look.Colour, "D1500", "told").by(c.Look.Entry, c.Look.At, now), input("new", *c.Look.Colour-y.value, "D1500", "told of the lots when new")}
	case "acid_rise_mg_g":
		return []Input{input("acid_mg_g", *c.Look.AcidMgG, "mg/g", "told").by(c.Look.Entry, c.Look.At, now), input("new", *c.Look.AcidMgG-y.value, "mg/g", "told of the lots when new")}
	case "blank_off_factor":
		last, _ := c.blankOff()
		return []Input{input("pa", last.Pa, "Pa", "told").by(last.Entry, last.At, now), input("new_pa", c.BlankNew.Pa, "Pa", "told").by(c.BlankNew.Entry, c.BlankNew.At, now)}
	}
	in := []Input{input("oil_g", c.Sump.OilMass().Grams(), "g", "booked")}
	if unsure := c.Sump.AgeUnsure.Grams(); unsure > 0 {
		in = append(in, input("age_unknown_g", unsure, "g", "assumed young: nobody told its life before the book"))
	}
	if full := c.FullNow(w.q.r); full != nil {
		if y.key == "replace_uses" {
			in = append(in, input("uses", float64(c.Sump.Uses), "charges", "booked: of the part that has served most"),
				input("uses_then", float64(full.Uses), "charges", "booked: of the heel that stayed at the last full replacement"))
		}
		in = append(in, input("full_share", full.Share, "1", "booked: the last full replacement").by(full.Entry, full.At, now))
	}
	return in
}

// upkeep is what a task counts from.
func (w *working) upkeep(c *pumpCase) {
	for _, t := range w.q.r.Care {
		base := w.q.lastCare(t.Task, c)
		if w.a.Record.Act.(*CareAct).Task != t.Task {
			continue
		}
		w.step("since "+t.Task+" was last done", "now − last done, or the pump's declaration", "set in the configuration", w.q.now.Sub(base.at).Hours()/24, "d",
			input("cycles", float64(c.cyclesSince(t, base)), "cycles", "booked since then").by(base.entry, base.at, w.q.now),
			input("run_hours", (c.RunTime-base.mark.RunTime).Hours(), "h", "booked since then"))
		return
	}
}
