// Package physics holds the formulas of the trade: vapour pressure, water
// carried past a cold trap, gas ballast, pump temperature, viscosity, settling,
// solubility, filtration, freezing, ageing, mixing and leaks.
//
// Pure numbers in, numbers out: no clock, no I/O, no state, nothing of ours
// imported. Temperatures are in degrees Celsius, pressures in Pa, times in hours
// (or minutes, where the name says Min), speeds in m3/h, masses in g, unless a
// name says otherwise; units stand last in names.
//
// Every function refuses an argument outside the range its formula is good for
// (NaN and infinities included) with a RangeError that names the argument.
// Results are estimates for upkeep; the maker's manual wins.
package physics

import (
	"math"
	"strconv"
)

// Constants of nature, and the reference atmosphere.
const (
	gasConstant    = 8.314462618  // J/(mol K), CODATA 2018, exact
	waterMolarMass = 18.015268    // g/mol, IAPWS
	gravity        = 9.80665      // m/s2, NIST SP 811
	zeroC          = 273.15       // K, definition of the Celsius scale
	atmospherePa   = 101_325      // Pa, definition of the standard atmosphere
	secondsPerHour = 3600         // definition
	minutesPerHour = 60           // definition
	cubicPerLmin   = 60.0 / 1_000 // m3/h in one L/min, definition
)

// Defaults for what a person has not told, each with its basis. All are
// arguments: nothing here is applied silently.
const (
	DefaultGasC          = 20                              // gas at the pump inlet, C; common practice, no source: the result goes with 0.34 %/K
	DefaultAmbientC      = 20                              // room, C; common practice, no source
	DefaultHumidity      = 0.5                             // of saturation, in the room; common practice, no source
	DefaultExhaustFactor = 1.1                             // outlet valve pressure over atmosphere; text to Pfeiffer Vacuum know-how book formula 4-6
	DefaultWarmTauMin    = 20                              // warm-up time constant; a maker's note: warm within about 60 min (95 %)
	DefaultCoolTauMin    = 60                              // cool-down time constant; common practice, no source: learn it from one reading
	DefaultRunningRiseK  = 45                              // running oil over ambient; handbooks use 70 C as example; common practice, no source
	DefaultEta           = 0.2                             // share of equilibrium reached by water leaving the oil; guess, no source: learn it
	DefaultLeakPaM3S     = 1e-3                            // leak and outgassing, Pa m3/s; common practice, no source
	DefaultDensity15     = 870                             // oil at 15 C, kg/m3; typical mineral pump oil; common practice, no source
	DefaultWindowRatio   = 3                               // hot window closes at this many times the running viscosity; rule of this project, no source
	SafeToTouchC         = 60                              // warn of burns above; ASTM C1055 gives contact times, the limit is common practice, no source
	D50Um                = 30                              // volume-median droplet, um; rule of this project, no source: reproduces "several days"
	GSD                  = 2                               // geometric standard deviation of droplets; rule of this project, no source
	AgeingRefC           = 60                              // reference of thermal hours, C; trade sources quoting the ten-degree rule
	FreezerFilm          = 10                              // W/(m2 K), still air in a freezer; common practice, no source
	PumpOilFactor        = 1.7                             // solubility of pump oil over insulating oil, 1 to 5; Machinery Lubrication: some 100 ppm at 70 F
	iceDensity           = 916.721463419                   // kg/m3 at 0 C, IAPWS R10-06(2009) Table 6
	waterDensityAtZero   = 999.84                          // kg/m3 at 0 C, IAPWS-95
	IceExpansion         = waterDensityAtZero / iceDensity // 1.0907: leave headspace for 9 %
)

// A RangeError is an argument outside the range its formula is good for.
type RangeError struct {
	Arg              string  // name of the argument, as a person would say it
	Value, Low, High float64 // what was given, and the range, ends included
	Unit             string  // of all three; empty for a pure number
}

// Error says what was given and what would be right.
func (e RangeError) Error() string {
	return e.Arg + " " + withUnit(e.Value, e.Unit) + " is outside " +
		number(e.rounded(e.Low)) + " to " + withUnit(e.rounded(e.High), e.Unit)
}

// rounded is an end of the range as a person reads it: computed ones to three figures, or
// as many as it takes that the value still lies on the same side of it.
func (e RangeError) rounded(end float64) float64 {
	for figures := 3; figures < 17 && end != math.Trunc(end); figures++ {
		near, _ := strconv.ParseFloat(strconv.FormatFloat(end, 'g', figures, 64), 64)
		if (e.Value < near) == (e.Value < end) && (e.Value > near) == (e.Value > end) {
			return near
		}
	}
	return end
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func withUnit(v float64, unit string) string {
	if unit == "" {
		return number(v)
	}
	return number(v) + " " + unit
}

// A limit is the range of one argument. Where no formula sets an end (a comment beside it
// names the formula), it is a rule of this project, no source: wide enough for any such
// pump, narrow enough to catch a slipped unit.
type limit struct {
	arg       string
	low, high float64
	unit      string
}

// check is written so that NaN, which compares false with everything, is refused.
func (l limit) check(v float64) error {
	if v >= l.low && v <= l.high {
		return nil
	}
	return l.refuse(v)
}

func (l limit) refuse(v float64) error {
	return RangeError{Arg: l.arg, Value: v, Low: l.low, High: l.high, Unit: l.unit}
}

// called gives the same range under another argument's name.
func (l limit) called(arg string) limit {
	l.arg = arg
	return l
}

// below gives the same range, ending at high if that is less.
func (l limit) below(high float64) limit {
	l.high = min(l.high, high)
	return l
}

// Ranges shared by several files.
var (
	hoursRange   = limit{"hours", 0, 1_000_000, "h"}
	minutesRange = limit{"minutes", 0, 100_000_000, "min"}
	tauRange     = limit{"tau", 0.1, 10_000, "min"}
	speedRange   = limit{"speed", 0.01, 10_000, "m3/h"}
	trapRange    = limit{"trap", -150, 0, "C"}
	gasRange     = limit{"gas-temp", -50, 200, "C"}
	ambientRange = limit{"ambient", -40, 60, "C"}
	bodyRange    = limit{"temp", -50, 200, "C"} // a pump or its oil, for laws without a range of their own
	shareRange   = limit{"humidity", 0, 1, ""}
)
