package maintenance

import (
	"fmt"

	"sumpbook/maintenance/physics"
)

// ofPump shows what the kind of action rests on.
func (w *working) ofPump(c *pumpCase) {
	switch w.a.Do {
	case DoStopPump:
		w.stopPump(c)
	case DoDrain:
		w.drain(c)
	case DoFill:
		w.fill(c)
	case DoTopUp:
		w.topUp(c)
	case DoReplace:
		w.replace(c)
	case DoBuyOil:
		w.buyOil(c)
	case DoCheck:
		w.check(c)
	case DoCare:
		w.care(c)
	}
}

func (w *working) stopPump(c *pumpCase) {
	w.massOf("what the charge weighs", w.declared(c, "charge_ml", c.ChargeMl, "ml"), "the sump", c.Sump, w.inSump(c))
	w.judged("sump_oil_g", "the sum of the oil, held against what the charge weighs", w.oil(c.Sump, w.inSump(c))...)
	w.opens(c.Run.Since, "0 − since_start_h", "a pump without oil is to be stopped from its start on: "+sourceUsage, w.since("since_start_h", c.Run.Since, c.Run.Cycle, "it started"))
	w.due(c.Run.Since, "opens_h", "at once: "+sourceUsage, w.opensH())
}

func (w *working) drain(c *pumpCase) {
	w.drainCounts(c)
	w.carryOver(c)
	w.sumpWater(c)
	var start Input
	if c.Run != nil {
		start = w.nextStop(c).as("stop_h")
		w.opens(c.hot.opens, "stop_h", "a drain while the oil is hot: "+sourceUsage, start)
	} else {
		start = w.since("since_stop_h", c.Last.At, c.Last.Entry, "it stopped")
		w.opens(c.hot.opens, "0 − since_stop_h", "a drain while the oil is hot: "+sourceUsage, start)
	}
	if w.a.Closes == nil {
		w.dueWithin(day, "a day, where the window never closes: "+sourceRule)
	} else {
		length := w.window(c).as("window_min")
		w.oilTemp(c)
		w.windowLeft(c, length, start)
	}
	if a, ok := w.a.Record.Act.(*DrainAct); ok {
		w.drainAmount(c, a.Grams)
	}
}

// drainCounts are what the charge has come to.
func (w *working) drainCounts(c *pumpCase) {
	since := input("", 0, "", "booked since the change").by(c.Charge.ID, c.Charge.Since, w.q.now)
	booked := func(name string, v float64, unit string) Input {
		in := since
		in.Name, in.Value, in.Unit = name, v, unit
		return in
	}
	cycles := []Input{booked("ended_cycles", float64(c.Charge.Cycles), "cycles")}
	formula := "ended_cycles"
	if c.Run != nil && !c.Run.Blank {
		formula += " + running"
		cycles = append(cycles, w.started(input("running", 1, "cycles", "booked: the cycle that runs"), c))
	}
	w.judged("drain_cycles", formula+", held against drain_cycles", append(cycles, w.limit("drain_cycles", c))...)
	then := c.told.Charge.RunTime.Hours()
	run := []Input{booked("run_h_then", then, "h")}
	formula = "run_h_then"
	if c.Run != nil {
		formula += " + running_h"
		run = append(run, w.started(input("running_h", c.Charge.RunTime.Hours()-then, "h", "booked: run since the newest entry"), c))
	}
	w.judged("drain_run_h", formula+", held against drain_run_h", append(run, w.limit("drain_run_h", c))...)
	w.judged("drain_water_g", "carried_over_g, held against drain_water_g", w.booked("carried_over_g", c.Charge.CarryOver, since), w.limit("drain_water_g", c))
}

// started dates an input by the start of the run.
func (w *working) started(in Input, c *pumpCase) Input {
	return in.by(c.Run.Cycle, c.Run.Since, w.q.now)
}

// window shows when the oil has become too thick to drain well.
func (w *working) window(c *pumpCase) *Step {
	hot := w.viscosity(c.Sump, w.running(c))
	closing := w.step("temperature at which the window closes", "10^((A − W(drain_slow × viscosity)) / B) − 273.15, "+waltherText, "ASTM D341; drain time goes with viscosity (laminar flow, ASTM D445)", c.hot.endC, "C",
		append(w.grade(c.Sump), w.limit("drain_slow", c), hot.as("viscosity"))...)
	stop, ambient, tau := w.stopTemperature(c), w.ambient(c), w.coolTau(c)
	length := w.step("length of the window", "cool_tau_min × ln((stop_c − ambient_c) / (close_c − ambient_c)), 0 for a pump stopped colder than close_c", "Newton's law of cooling", c.hot.closes.Sub(c.hot.opens).Minutes(), "min",
		stop, closing.as("close_c"), ambient, tau)
	if c.hot.safe.After(later(c.hot.opens, w.q.now)) {
		w.step("until it no longer burns", "cool_tau_high_min × ln((stop_c − ambient_c) / (safe_c − ambient_c)), from the stop, at the latest", "Newton's law of cooling", c.hot.safe.Sub(c.hot.opens).Minutes(), "min",
			stop, ambient, w.coolTauHigh(c, tau), input("safe_c", physics.SafeToTouchC, "C", "rule: burns above (ASTM C1055 gives contact times), "+sourceUsage))
	}
	return length
}

func (w *working) stopTemperature(c *pumpCase) Input {
	switch {
	case c.Run != nil:
		return w.running(c).called("stop_c")
	case c.Last.HotC != nil && *c.Last.HotC == c.Temp.C:
		return input("stop_c", c.Temp.C, "C", "told at the stop").by(c.Last.Entry, c.Last.At, w.q.now)
	}
	return input("stop_c", c.Temp.C, "C", "booked at the stop: it had warmed so far towards its running temperature").by(c.Last.Entry, c.Last.At, w.q.now)
}

// oilTemp is the oil's temperature now.
func (w *working) oilTemp(c *pumpCase) {
	limit := "; too thick below the temperature at which the window closes"
	minutes := input("minutes", w.q.now.Sub(c.Temp.At).Minutes(), "min", "booked: since then")
	if c.Run == nil {
		stop := w.stopTemperature(c)
		minutes.Entry, minutes.AgeH = stop.Entry, stop.AgeH
		w.judged("oil_c", "ambient_c + (stop_c − ambient_c) × exp(−minutes / cool_tau_min)"+limit, w.ambient(c), stop, minutes, w.coolTau(c))
		return
	}
	w.judged("oil_c", "hot_c + (start_c − hot_c) × exp(−minutes / warm_tau_min)"+limit, w.running(c),
		w.started(input("start_c", c.Temp.C, "C", "booked at the start: it had cooled so far"), c), w.started(minutes, c),
		input("warm_tau_min", physics.DefaultWarmTauMin, "min", "assumed: a maker's note, warm within about 60 min"))
}

// windowLeft is what the window still has, and its end.
func (w *working) windowLeft(c *pumpCase, length, start Input) {
	if c.Run != nil {
		w.judged("minutes_left", "window_min: it has not opened yet", length)
	} else {
		w.judged("minutes_left", "window_min − 60 × since_stop_h, or 0 if that is less", length, start)
	}
	formula := "window_min / 60 − since_stop_h"
	if c.Run != nil {
		formula = "stop_h + window_min / 60"
	}
	w.step("closes", formula, "Newton's law of cooling; ASTM D341", w.fromNow(*w.a.Closes), fromNow, length, start)
	w.due(*c.hot.closes, formula, "the end of the window: "+sourceRule, length, start)
}

// drainAmount is how a drain's prefilled mass comes about.
func (w *working) drainAmount(c *pumpCase, told *float64) {
	since, m := w.inSump(c), w.q.drainMass(c)
	total := w.total("the sump", c.Sump, since)
	usual := medianOf(c.Drains)
	switch {
	case usual > 0 && m == usual && usual <= c.Sump.Total():
		var all []Input
		for i, d := range c.Drains {
			all = append(all, input(fmt.Sprintf("drain_%d_g", i+1), d.Grams(), "g", "booked: one of the newest drains"))
		}
		w.recorded(told, medianText, "as the newest drains brought: "+sourceRule, all...)
	case m == c.Sump.Total() || m == 0:
		w.recorded(told, "mass_g, all of it", "a heel so large would make it a sample: "+sourceRule, total.as("mass_g"))
	default:
		heel := w.massOf("mass of the heel", w.heel(c), "the sump", c.Sump, since)
		w.recorded(told, "mass_g − heel_g", "the book: all but the heel", total.as("mass_g"), heel.as("heel_g"))
	}
}
