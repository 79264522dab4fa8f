package physics

import (
	"errors"
	"math"
	"strings"
)

// required and optional make a flag of a limit, so that the range that help shows
// is the one that the formula keeps.
func required(l limit, help string) Flag {
	return Flag{Name: l.arg, Unit: l.unit, Required: true, Low: l.low, High: l.high, Help: help}
}

func optional(l limit, byDefault float64, help string) Flag {
	return Flag{Name: l.arg, Unit: l.unit, Default: byDefault, Low: l.low, High: l.high, Help: help}
}

func word(name string, must bool, help string) Flag {
	return Flag{Name: name, Text: true, Required: must, Default: math.NaN(), Help: help}
}

// oilFlags stand for one oil in two ways, so none of them is required by itself.
func oilFlags(more ...Flag) []Flag {
	return append([]Flag{
		word("grade", false, "ISO viscosity grade, such as VG68; or give v40 and v100"),
		optional(v40Range, math.NaN(), "viscosity at 40 C"),
		optional(v100Range, math.NaN(), "viscosity at 100 C"),
	}, more...)
}

// valued makes a calculation of a function that answers with a number.
func valued(f func(n func(flag string) float64) (float64, error)) func(map[string]Arg) (Result, error) {
	return func(args map[string]Arg) (Result, error) {
		v, err := f(func(flag string) float64 { return args[flag].Number })
		return Result{Value: v}, err
	}
}

// oiled makes one of a function that also wants an oil.
func oiled(f func(oil Oil, n func(flag string) float64) (float64, error)) func(map[string]Arg) (Result, error) {
	return func(args map[string]Arg) (Result, error) {
		oil, err := oilOf(args)
		if err != nil {
			return Result{}, err
		}
		return valued(func(n func(string) float64) (float64, error) { return f(oil, n) })(args)
	}
}

type numbers = func(flag string) float64

var calcs = []Calc{
	{
		Name: "vapour-pressure", Help: "pressure of water vapour over ice or liquid water", Unit: "Pa",
		Flags: []Flag{
			word("over", true, "ice or water"),
			required(limit{"temp", iceRange.low, waterRange.high, "C"}, "temperature of the ice or water"),
		},
		Formula: "ice: ln(p/611.657 Pa) = (1/theta) sum a theta^b, theta = T/273.16 K; water: saturation equation in T and p^(1/4)",
		Source:  "ice: IAPWS R14-08(2011) Eq. 6; water: IAPWS R7-97(2012) region 4, Eq. 30",
		run:     vapourPressure,
	},
	{
		Name: "carry-over", Help: "water that slips past a cold trap into the pump", Unit: "g",
		Flags: []Flag{
			required(speedRange, "what the pump draws at its inlet"),
			required(trapRange, "temperature of the ice in the trap"),
			required(hoursRange, "running time"),
			optional(gasRange, DefaultGasC, "gas at the pump's inlet"),
		},
		Formula: "m = S p_ice(T_trap) M t / (R T_gas)",
		Source:  "ideal gas, saturated at the ice (a good trap; an overloaded one passes more); p_ice by IAPWS R14-08(2011)",
		run: valued(func(n numbers) (float64, error) {
			return CarryOver(n("speed"), n("trap"), n("hours"), n("gas-temp"))
		}),
	},
	{
		Name: "ballast-capacity", Help: "water that leaves a pump as vapour with gas ballast, at most", Unit: "g/h",
		Flags: []Flag{
			required(ballastRange, "room air let in"),
			required(pumpRange, "temperature of the pump"),
			optional(ambientRange, DefaultAmbientC, "temperature of the room"),
			optional(shareRange, DefaultHumidity, "of the room's air, 0 to 1"),
			optional(exhaustRange, DefaultExhaustFactor, "outlet valve pressure over that of the atmosphere"),
		},
		Formula: "q = B p_0 (p_sat - p_a)/(alpha p_0 - p_sat) M/(R T_amb)",
		Source:  "Pfeiffer Vacuum know-how book, formulas 4-6 and 4-7 (DIN 28426); p_sat by IAPWS-IF97",
		run: valued(func(n numbers) (float64, error) {
			return BallastCapacity(n("ballast"), n("pump-temp"), n("ambient"), n("humidity"), n("exhaust"))
		}),
	},
	{
		Name: "viscosity", Help: "kinematic viscosity of an oil at a temperature", Unit: "mm²/s",
		Flags:   oilFlags(required(oilTempRange, "temperature of the oil")),
		Formula: "log log Z = A - B log T through 40 C and 100 C, Z = v + 0.7 + exp(-1.47 - 1.84 v - 0.51 v^2)",
		Source:  "ASTM D341; grades by ISO 3448, at 100 C 8.6 (VG 68) and 11.1 (VG 100), others by an index of 95",
		run:     oiled(func(oil Oil, n numbers) (float64, error) { return oil.Viscosity(n("temp")) }),
	},
	{
		Name: "viscosity-index", Help: "how little an oil thins as it warms (not rounded)", Unit: "1",
		Flags: []Flag{required(v40Range, "viscosity at 40 C"), required(viRange, "viscosity at 100 C")},
		Formula: "100 (L-U)/(L-H) up to 100; above, (10^N - 1)/0.00715 + 100, N = (log H - log U)/log Y; " +
			"U at 40 C, Y at 100 C, L and H from the table",
		Source: "ASTM D2270 (ISO 2909), Table 1",
		run:    valued(func(n numbers) (float64, error) { return ViscosityIndex(n("v40"), n("v100")) }),
	},
	{
		Name: "volume-factor", Help: "what a volume of oil is multiplied by to get that at 15 C", Unit: "1",
		Flags: []Flag{
			required(density15Range, "density at 15 C"),
			required(factorRange, "temperature of the oil"),
		},
		Formula: "exp(-x (1 + 0.8 x)), x = 0.6278/density (T - 15)",
		Source:  "ISO 91-1, ASTM D1250 Table 54D, lubricating oils",
		run:     valued(func(n numbers) (float64, error) { return VolumeFactor(n("density-15"), n("temp")) }),
	},
	{
		Name: "hot-window", Help: "time from the stop until the oil has become too thick to drain well", Unit: "min",
		Flags: oilFlags(
			required(bodyRange.called("hot"), "temperature at the stop, taken as the normal running one"),
			required(ambientRange, "temperature of the room"),
			required(tauRange, "time constant of cooling"),
			optional(ratioRange, DefaultWindowRatio, "closes at this many times the viscosity when hot"),
		),
		Formula: "t = tau ln((T_hot - T_amb)/(T_end - T_amb)), v(T_end) = ratio v(T_hot)",
		Source:  "Newton's cooling; ASTM D341; laminar drain goes with viscosity (ASTM D445); the ratio is our own rule",
		run: oiled(func(oil Oil, n numbers) (float64, error) {
			minutes, _, err := HotWindow(oil, n("hot"), n("hot"), n("ambient"), n("tau"), n("ratio"))
			return minutes, err
		}),
	},
	{
		Name: "settling-time", Help: "time in which a water droplet sinks through still oil", Unit: "h",
		Flags: oilFlags(
			required(dropletRange, "diameter of the droplet"),
			required(heightRange, "depth of the oil"),
			required(liquidRange, "temperature of the store"),
			optional(density15Range, DefaultDensity15, "density of the oil at 15 C"),
		),
		Formula: "t = height / v, v = g d^2 (rho_water - rho_oil)/(18 mu)",
		Source:  "Stokes' law; ASTM D341 viscosity, Table 54D density, water by Kell 1975",
		run: oiled(func(oil Oil, n numbers) (float64, error) {
			oil.Density15 = n("density-15")
			return SettlingHours(n("droplet"), n("height"), oil, n("temp"))
		}),
	},
	{
		Name: "solubility", Help: "water that mineral oil holds dissolved", Unit: "mg/kg",
		Flags:   []Flag{required(solubilityRange, "temperature of the oil")},
		Formula: "log10 S = 7.0895 - 1567/T",
		Source:  "Griffin et al. 1988 and Oommen, mineral insulating oil, from memory; pump oil holds about 1.7 times as much (a lubrication trade source)",
		run:     valued(func(n numbers) (float64, error) { return WaterSolubility(n("temp")) }),
	},
	{
		Name: "cleanliness", Help: "three-number code of particle counts", Unit: "code",
		Flags:   []Flag{word("counts", true, "particles per mL at 4, 6 and 14 um, such as 1500,400,60")},
		Formula: "scale number n covers counts above the limit of n-1 up to that of n",
		Source:  "ISO 4406, printed limits",
		run: func(args map[string]Arg) (Result, error) {
			c4, c6, c14, err := ParseCounts(args["counts"].Text)
			if err != nil {
				return Result{}, err
			}
			code, err := CleanlinessCode(c4, c6, c14)
			return Result{Text: code}, err
		},
	},
	{
		Name: "filter-efficiency", Help: "share of particles that a filter keeps", Unit: "%",
		Flags:   []Flag{required(betaRange, "particles before over particles behind the filter")},
		Formula: "100 (1 - 1/beta)",
		Source:  "ISO 16889",
		run:     valued(func(n numbers) (float64, error) { return FilterEfficiency(n("beta")) }),
	},
	{
		Name: "freezing-time", Help: "time until a jar of water is frozen through", Unit: "h",
		Flags: []Flag{
			required(diameterRange, "of the jar"),
			required(frostAirRange, "air in the freezer"),
			required(warmRange, "the jar at the start"),
			optional(filmRange, FreezerFilm, "heat transfer at its wall"),
		},
		Formula: "cooling m c/(h A) ln((T_start - T_air)/(0 - T_air)), then rho L/(0 - T_air) (d/(4 h) + d^2/(16 k))",
		Source:  "Plank, cylinder; ice by IAPWS R10-06; h in still air is common practice, no source; under oil allow 1.5 to 2 times as long",
		run: valued(func(n numbers) (float64, error) {
			return FreezingHours(n("diameter"), n("air"), n("start"), n("h"))
		}),
	},
	{
		Name: "flush", Help: "share of old oil left after draining and filling several times", Unit: "1",
		Flags: []Flag{
			required(limit{"heel", 0, chargeRange.high, "mL"}, "what no drain reaches"),
			required(limit{"charge", chargeRange.low, chargeRange.high, "mL"}, "what the sump holds when filled, heel included"),
			required(timesRange, "drains and fills"),
		},
		Formula: "(heel/charge)^times",
		Source:  "dilution, exact",
		run:     valued(flushTimes),
	},
	{
		Name: "thermal-hours", Help: "hours at a reference temperature that age oil as much", Unit: "h",
		Flags: []Flag{
			required(hoursRange, "running time"),
			required(bodyRange, "temperature of the oil"),
			optional(refRange, AgeingRefC, "reference temperature"),
		},
		Formula: "hours 2^((T - T_ref)/10)",
		Source:  "ten-degree rule, quoted by the lubrication trade; a relative clock, not a life",
		run:     valued(func(n numbers) (float64, error) { return ThermalHours(n("hours"), n("temp"), n("ref")) }),
	},
	{
		Name: "pressure-rise", Help: "leak and outgassing of an isolated volume", Unit: "Pa·m³/s",
		Flags: []Flag{
			required(volumeRange, "what is isolated"),
			required(riseRange, "rise of the pressure"),
			required(timeRange, "in this time"),
		},
		Formula: "Q = V dp/dt",
		Source:  "rate of rise, definition",
		run:     valued(func(n numbers) (float64, error) { return PressureRise(n("volume"), n("rise"), n("time")) }),
	},
}

func vapourPressure(args map[string]Arg) (Result, error) {
	tC := args["temp"].Number
	switch strings.ToLower(args["over"].Text) {
	case "ice":
		p, err := IcePressure(tC)
		return Result{Value: p}, err
	case "water":
		p, err := WaterPressure(tC)
		return Result{Value: p}, err
	}
	return Result{}, errors.New("over is ice or water")
}

func flushTimes(n numbers) (float64, error) {
	if n("times") != math.Trunc(n("times")) {
		return 0, errors.New("times is a whole number")
	}
	return Flush(n("heel"), n("charge"), int(n("times")))
}
