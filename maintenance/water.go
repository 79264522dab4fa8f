package maintenance

import (
	"math"

	"sumpbook/maintenance/physics"
)

// What is assumed of a pump until it is told.
const (
	assumedSpeedM3H = 7.0
	assumedTrapC    = -40.0
	// A maker's nominal speed overstates what a small pump draws at working pressure: 0.8 of
	// it, 0.7 to 0.9 (common practice, no source).
	drawnShare, drawnLow, drawnHigh = 0.8, 0.7, 0.9
	// Widths of a trap temperature, K: told for the cycle, declared with the pump, assumed
	// (common practice, no source).
	trapToldK, trapDeclaredK, trapAssumedK = 2.0, 4.0, 8.0
	// An assumed speed may be wrong by a half either way (common practice, no source).
	speedAssumedShare = 0.5
	// Each edge of a run may be told some minutes off: of a run, both together in quadrature.
	edgesH = 0.25
	// A gasketed door may leak ten times the default; then more water leaves with the air.
	leakHighPaM3S = 10 * physics.DefaultLeakPaM3S
	// Contact of gas and oil is a guess to begin with (physics.DefaultEta): a quarter of it to
	// two and a half times as much (common practice, no source).
	etaLow, etaHigh = 0.05, 0.5
)

// A carry is the water that slipped past the trap in a stretch of running, g, with the
// inputs it rests on.
type carry struct {
	low, mid, high float64
	plain          float64 // as reckoned without the pump's own factor
	own            inForce // the pump's own factor
	speedM3H       float64
	speedTold      bool
	trapC          float64
	trapWidthK     float64
	hours          float64
	lateHours      float64 // by which the run may have been longer
	trapOf         string  // where the temperature comes from
	spread         spread
}

// carryOver estimates the water carried past the trap (physics.CarryOver) and how wide that
// is: a product of factors, so the logarithms of what each input does add in quadrature. A
// factor learned of the pump has seen its speed and its trap, and stands for their widths.
func carryOver(p *Pump, hours float64, startTrap, stopTrap *float64, uncertain bool) carry {
	c := carry{hours: hours, speedM3H: or(p.SpeedM3H, assumedSpeedM3H), speedTold: p.SpeedM3H != nil, own: p.factor(factorCarry)}
	c.trapC, c.trapWidthK, c.trapOf = p.trap(startTrap, stopTrap)
	c.plain = c.pass(0, startTrap, stopTrap)
	c.mid = c.plain * c.own.Value
	if c.plain == 0 {
		return c
	}
	if c.own.isAssumed() {
		c.spread.add(drawnLow/drawnShare, drawnHigh/drawnShare)
		c.spread.add(1-c.speedWidth(), 1+c.speedWidth())
	} else {
		c.spread.add(c.own.Low/c.own.Value, c.own.High/c.own.Value)
	}
	if c.trapCounts() {
		c.spread.add(c.pass(-c.trapWidthK, startTrap, stopTrap)/c.plain, c.pass(c.trapWidthK, startTrap, stopTrap)/c.plain)
	}
	if uncertain {
		c.lateHours = sameCycle.Hours()
	}
	c.spread.add(max(0, 1-edgesH/hours), 1+(edgesH+c.lateHours)/hours)
	c.low, c.high = c.spread.about(c.mid)
	return c
}

// trapCounts says whether the width of the trap counts: a factor of the pump's own stands for
// that of a temperature that is the same each time, not for that of one told for the cycle.
func (c carry) trapCounts() bool { return c.own.isAssumed() || c.trapWidthK == trapToldK }

// speedWidth is the share by which the nominal speed may be wrong either way.
func (c carry) speedWidth() float64 {
	if c.speedTold {
		return 0
	}
	return speedAssumedShare
}

// trap is the temperature of the ice, its width, and where it comes from.
func (p *Pump) trap(start, stop *float64) (tC, widthK float64, from string) {
	switch {
	case start != nil && stop != nil:
		return (*start + *stop) / 2, trapToldK, "told at start and stop"
	case start != nil:
		return *start, trapToldK, "told at the start"
	case stop != nil:
		return *stop, trapToldK, "told at the stop"
	case p.TrapC != nil:
		return *p.TrapC, trapDeclaredK, "declared with the pump"
	}
	return assumedTrapC, trapAssumedK, "assumed"
}

// pass is the water at one shift of the trap. Between two told temperatures it is the mean
// of the two rates, not the rate at the mean: the curve is exponential.
func (c carry) pass(shiftK float64, start, stop *float64) float64 {
	temps := []float64{c.trapC}
	if start != nil && stop != nil {
		temps = []float64{*start, *stop}
	}
	sum := 0.0
	for _, t := range temps {
		g, err := physics.CarryOver(drawnShare*c.speedM3H, min(0, t+shiftK), c.hours, physics.DefaultGasC)
		if err != nil {
			return 0 // a run of no length, or one past the formula's range, carries nothing told
		}
		sum += g
	}
	return sum / float64(len(temps))
}

// bookWater books, at a stop, the water that came over and what the exhaust took of it.
// A blank run brings none, but an open ballast still dries the oil.
func (f *folding) bookWater(p *Pump, a *StopAct) Mass {
	hours := f.e.At.Sub(p.Run.Since).Hours()
	var c carry
	if !p.Run.Blank {
		c = carryOver(p, hours, p.Run.TrapC, a.TrapC, a.Uncertain != nil && *a.Uncertain)
	}
	carried := MassOf(c.mid)
	before := p.Sump.Water
	stay := f.staying(p, a, c, hours)
	expelled := before + carried - stay.mid
	kept := 0.0
	if before+carried > 0 {
		kept = min(1, float64(stay.mid)/float64(before+carried))
	}
	p.Sump.Reckoned = p.Sump.Reckoned.with(Reckoned{p.Name, c.plain, c.mid}).times(kept)
	p.Sump.Water, p.Sump.WaterLow, p.Sump.WaterHigh = stay.mid, stay.low, stay.high
	f.Ledger.CarryOver += carried
	f.Ledger.Expelled += expelled
	if p.Charge != nil {
		p.Charge.CarryOver += carried
		p.Charge.CarryLow += MassOf(c.low)
		p.Charge.CarryHigh += MassOf(c.high)
		p.Charge.Expelled += expelled
		p.Sump.TakenGG += p.Sump.OilMass().Grams() * carried.Grams()
	}
	return carried
}

// A stay is the water left in a sump after a run, with its interval.
type stay struct{ low, mid, high Mass }

// staying balances the water over a run. What it becomes with little or much carried over,
// with a leaking door and, where the ballast was open, with a poor or a good contact of gas
// and oil, differs from the expected by so much each; the differences add in quadrature.
// What was uncertain of the water before stays so.
func (f *folding) staying(p *Pump, a *StopAct, c carry, hours float64) stay {
	most := max(p.Sump.Water, f.roomForWater(p))
	kept := func(start Mass, carriedG, leak, eta float64) Mass {
		return min(start+MassOf(carriedG), f.retained(p, a, start, carriedG, hours, leak, eta))
	}
	const leak, eta = physics.DefaultLeakPaM3S, physics.DefaultEta
	mid := min(most, kept(p.Sump.Water, c.mid, leak, eta))
	var below, above quadrature
	below.add(mid - kept(p.Sump.WaterLow, c.low, leak, eta))
	below.add(mid - kept(p.Sump.Water, c.mid, leakHighPaM3S, eta))
	above.add(kept(p.Sump.WaterHigh, c.high, leak, eta) - mid)
	if p.ballastHours(a, hours) > 0 {
		below.add(mid - kept(p.Sump.Water, c.mid, leak, etaHigh))
		above.add(kept(p.Sump.Water, c.mid, leak, etaLow) - mid)
	}
	return stay{max(0, mid-below.sum()), mid, min(max(most, p.Sump.WaterHigh), mid+above.sum())}
}

// roomForWater is what the sump can hold beside its oil before it throws it out with the
// exhaust: half as much again as its charge in all, as for a fill (rule of this project).
func (f *folding) roomForWater(p *Pump) Mass {
	oil := p.Sump.clone()
	oil.setWater(0)
	return max(0, MassOf((sumpFull*p.ChargeMl-f.volumeMl(oil, standardC))*waterDensity(standardC)/1000))
}

// retained is the water left in the sump after a stretch of running (physics.Retained).
// An empty sump keeps none.
func (f *folding) retained(p *Pump, a *StopAct, start Mass, carriedG, hours, leak, eta float64) Mass {
	oil := p.Sump.OilMass().Grams()
	if oil < 1 {
		return 0
	}
	if hours <= 0 {
		return start
	}
	w, err := physics.Retained(physics.RetainedInput{
		StartWaterG: start.Grams(), OilG: oil, CarryRateGH: carriedG / hours, Hours: hours,
		BallastM3h: or(p.BallastLMin, 0.1*or(p.SpeedM3H, assumedSpeedM3H)*1000/60) * 60 / 1000, BallastLastHours: p.ballastHours(a, hours),
		LeakPaM3S: leak, StartC: min(100, max(-20, p.Run.StartC)), RunningC: min(100, p.runningC()), WarmTauMin: physics.DefaultWarmTauMin,
		AmbientC: p.ambientC(), Humidity: physics.DefaultHumidity, Eta: eta, GasC: physics.DefaultGasC,
	})
	if err != nil || math.IsNaN(w) {
		return start + MassOf(carriedG) // outside the formula: keep all of it
	}
	return MassOf(max(0, w))
}

// ballastHours is how long the ballast was open before the stop: all the time if the start
// said open, as told at the stop, or never.
func (p *Pump) ballastHours(a *StopAct, hours float64) float64 {
	switch {
	case a.BallastMin != nil:
		return min(hours, *a.BallastMin/60)
	case p.Run.Ballast:
		return hours
	}
	return 0
}
