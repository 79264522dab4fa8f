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
	// A gasketed door may leak ten times the default; then more water leaves with the air.
	leakHighPaM3S = 10 * physics.DefaultLeakPaM3S
)

// A carry is the water that slipped past the trap in a stretch of running, g, with the
// inputs it rests on.
type carry struct {
	low, mid, high float64
	speedM3H       float64
	speedTold      bool
	trapC          float64
	trapWidthK     float64
	hours          float64
	trapOf         string // where the temperature comes from
}

// carryOver estimates the water carried past the trap (physics.CarryOver), at the corners
// of what is known of speed and trap.
func carryOver(p *Pump, hours float64, startTrap, stopTrap *float64) carry {
	c := carry{hours: hours, speedM3H: or(p.SpeedM3H, assumedSpeedM3H), speedTold: p.SpeedM3H != nil}
	c.trapC, c.trapWidthK, c.trapOf = p.trap(startTrap, stopTrap)
	lowSpeed, highSpeed := c.speedM3H*drawnLow*(1-c.speedWidth()), c.speedM3H*drawnHigh*(1+c.speedWidth())
	c.mid = c.pass(c.speedM3H*drawnShare, 0, startTrap, stopTrap)
	c.low = c.pass(lowSpeed, -c.trapWidthK, startTrap, stopTrap)
	c.high = c.pass(highSpeed, c.trapWidthK, startTrap, stopTrap)
	return c
}

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

// pass is the water at one speed and one shift of the trap. Between two told temperatures
// it is the mean of the two rates, not the rate at the mean: the curve is exponential.
func (c carry) pass(speedM3H, shiftK float64, start, stop *float64) float64 {
	temps := []float64{c.trapC}
	if start != nil && stop != nil {
		temps = []float64{*start, *stop}
	}
	sum := 0.0
	for _, t := range temps {
		g, err := physics.CarryOver(speedM3H, min(0, t+shiftK), c.hours, physics.DefaultGasC)
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
		c = carryOver(p, hours, p.Run.TrapC, a.TrapC)
	}
	carried := MassOf(c.mid)
	before := p.Sump.Water
	most := max(before, f.roomForWater(p))
	water := min(before+carried, most, f.retained(p, a, before, c.mid, hours, physics.DefaultLeakPaM3S))
	low := min(water, f.retained(p, a, p.Sump.WaterLow, c.low, hours, leakHighPaM3S))
	high := max(water, min(max(most, p.Sump.WaterHigh), f.retained(p, a, p.Sump.WaterHigh, c.high, hours, physics.DefaultLeakPaM3S)))
	expelled := before + carried - water

	p.Sump.Water, p.Sump.WaterLow, p.Sump.WaterHigh = water, low, high
	f.Ledger.CarryOver += carried
	f.Ledger.Expelled += expelled
	if p.Charge != nil {
		p.Charge.CarryOver += carried
		p.Charge.Expelled += expelled
		p.Sump.TakenGG += p.Sump.OilMass().Grams() * carried.Grams()
	}
	return carried
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
func (f *folding) retained(p *Pump, a *StopAct, start Mass, carriedG, hours, leak float64) Mass {
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
		AmbientC: p.ambientC(), Humidity: physics.DefaultHumidity, Eta: physics.DefaultEta, GasC: physics.DefaultGasC,
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
