package maintenance

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// Given are the inputs of one step as they are printed: by name, and in their order.
type given struct {
	of    map[string]float64
	order []Input
}

func givenOf(s Step) given {
	g := given{map[string]float64{}, s.Inputs}
	for _, in := range s.Inputs {
		g.of[in.Name] = in.Value
	}
	return g
}

func (g given) has(name string) bool { _, ok := g.of[name]; return ok }

// sum adds up all inputs, median takes the upper middle one, least the smallest.
func (g given) sum() (sum float64) {
	for _, in := range g.order {
		sum += in.Value
	}
	return sum
}

func (g given) median() float64 {
	all := g.values()
	slices.Sort(all)
	return all[len(all)/2]
}

func (g given) least() float64 { return slices.Min(g.values()) }

func (g given) values() (all []float64) {
	for _, in := range g.order {
		all = append(all, in.Value)
	}
	return all
}

// pairs folds the inputs two by two, but for a last one that stands alone.
func (g given) pairs(f func(a, b float64) float64) (sum float64) {
	for i := 0; i+1 < len(g.order); i += 2 {
		sum += f(g.order[i].Value, g.order[i+1].Value)
	}
	return sum
}

// ahead puts hours off by whole steps until they lie ahead.
func ahead(h, step float64) float64 {
	if h > 1e-9 || step <= 0 {
		return h
	}
	return h + (math.Floor(-h/step+1e-9)+1)*step
}

func tangled(v float64) float64 { return math.Log10(math.Log10(v + 0.7)) }

// walther are A and B of ASTM D341 by hand.
func (g given) walther() (a, b float64) {
	b = (tangled(g.of["v40"]) - tangled(g.of["v100"])) / math.Log10(373.15/313.15)
	return tangled(g.of["v40"]) + b*math.Log10(313.15), b
}

func icePaByHand(tC float64) float64 {
	th := (min(0, tC) + 273.15) / 273.16
	return 611.657 * math.Exp((-21.2144006*math.Pow(th, 0.00333333333)+27.3203819*math.Pow(th, 1.20666667)-6.1059813*math.Pow(th, 1.70333333))/th)
}

func normalByHand(x float64) float64 { return 0.5 * (1 + math.Erf(x/math.Sqrt2)) }

func positive(v float64) float64 { return max(0, v) }

// byHand reckons steps from what they print, by name or by the beginning of it. It knows
// nothing of the program: each line is the formula as a person types it in.
var byHand = map[string]func(g given) float64{
	// oil and its volumes
	"density of ": func(g given) float64 {
		x := 0.6278 / g.of["density_15"] * (g.of["oil_c"] - 15)
		return g.of["density_15"] * math.Exp(-x*(1+0.8*x))
	},
	"volume in ": func(g given) float64 {
		return g.pairs(func(mass, density float64) float64 { return mass * 1000 / density })
	},
	"mass in ":                           given.sum,
	"oil in ":                            given.sum,
	"what the charge weighs":             massByHand,
	"what north takes":                   massByHand,
	"what south takes":                   massByHand,
	"mass of the heel":                   massByHand,
	"oil the sump takes":                 func(g given) float64 { return positive(g.of["charge_ml"] - g.of["sump_ml"]) },
	"heel":                               func(g given) float64 { return g.of["heel_share"] * g.of["charge_ml"] },
	"new oil in stock":                   given.sum,
	"new oil that the next change takes": func(g given) float64 { return positive(g.of["charge_ml"] - g.of["heel_ml"]) },
	"new_oil_ml":                         func(g given) float64 { return g.of["stock_ml"] - g.of["kept_ml"] },
	"amount to record":                   amountByHand,
	"ready_oil_g":                        func(g given) float64 { return g.of["ready_g"] },
	"sump_oil_g":                         given.sum,
	"sump_ml":                            func(g given) float64 { return g.of["volume_ml"] },

	// temperatures and the window
	"normal running temperature": given.sum,
	"viscosity at ": func(g given) float64 {
		a, b := g.walther()
		at := g.order[len(g.order)-1].Value
		return math.Pow(10, math.Pow(10, a-b*math.Log10(at+273.15))) - 0.7
	},
	"temperature at which the window closes": func(g given) float64 {
		a, b := g.walther()
		return math.Pow(10, (a-tangled(g.of["drain_slow"]*g.of["viscosity"]))/b) - 273.15
	},
	"length of the window": func(g given) float64 {
		if g.of["stop_c"] <= g.of["close_c"] {
			return 0
		}
		return g.of["cool_tau_min"] * math.Log((g.of["stop_c"]-g.of["ambient_c"])/(g.of["close_c"]-g.of["ambient_c"]))
	},
	"until it no longer burns": func(g given) float64 {
		return g.of["cool_tau_high_min"] * math.Log((g.of["stop_c"]-g.of["ambient_c"])/(g.of["safe_c"]-g.of["ambient_c"]))
	},
	"oil_c": func(g given) float64 {
		if g.has("start_c") {
			return g.of["hot_c"] + (g.of["start_c"]-g.of["hot_c"])*math.Exp(-g.of["minutes"]/g.of["warm_tau_min"])
		}
		return g.of["ambient_c"] + (g.of["stop_c"]-g.of["ambient_c"])*math.Exp(-g.of["minutes"]/g.of["cool_tau_min"])
	},
	"minutes_left": func(g given) float64 { return positive(g.of["window_min"] - 60*g.of["since_stop_h"]) },
	"closes":       windowEnd,

	// water
	"vapour pressure over the ice": func(g given) float64 {
		if g.has("trap_stop_c") {
			return (icePaByHand(g.of["trap_start_c"]) + icePaByHand(g.of["trap_stop_c"])) / 2
		}
		return icePaByHand(g.of["trap_c"])
	},
	"water carried past the trap": func(g given) float64 {
		if g.has("carried_g") {
			return g.of["carried_g"]
		}
		return g.of["own"] * g.of["drawn"] * g.of["speed_m3_h"] * g.of["p_ice"] * g.of["hours"] * 18.015268 / (8.314462618 * (g.of["gas_c"] + 273.15))
	},
	"time constant of cooling": func(g given) float64 { return g.of["own"] * g.of["base_min"] },
	"time through the fresh medium": func(g given) float64 {
		if g.has("own") {
			return min(g.of["first"], g.of["own"]*g.of["base"])
		}
		return g.of["first"]
	},
	"the pump's own pressure":    func(g given) float64 { return math.Exp(middleLog(g.values())) },
	"upper limit of the chart":   func(g given) float64 { return math.Exp(g.of["limit_ln"]) },
	"blank_off_pa":               func(g given) float64 { return g.of["times_up"] * g.of["centre_pa"] },
	"water in the sump":          func(g given) float64 { return g.of["otherwise_g"] + g.of["carried_over_g"] - g.of["expelled_g"] },
	"solubility at ":             func(g given) float64 { return 1.7 * math.Pow(10, 7.0895-1567/(positive(g.of["store_c"])+273.15)) },
	"free water in ":             func(g given) float64 { return positive(g.of["water_g"] - g.of["oil_g"]*g.of["solubility"]/1e6) },
	"free water of ready oil":    func(g given) float64 { return g.of["free_g"] },
	"filter passes of ready oil": func(g given) float64 { return g.of["passes"] },
	"too dry to freeze":          func(g given) float64 { return g.of["free_g"] },
	"fill_free_water_g":          func(g given) float64 { return g.of["free_g"] },
	"free_water_g":               func(g given) float64 { return g.of["free_g"] },

	// settling and freezing
	"depth of the oil": func(g given) float64 { return max(1, g.of["height_mm"]*min(1, g.of["volume_ml"]/g.of["capacity_ml"])) },
	"time for a droplet to sink": func(g given) float64 {
		d2 := g.of["settle_um"] * g.of["settle_um"] / 1e6
		return g.of["depth_mm"] / 1000 * 18 * g.of["viscosity"] * g.of["oil_density"] / (9.80665 * d2 * (g.of["water_density"] - g.of["oil_density"])) / 3600
	},
	"time until it stands still": func(g given) float64 {
		off := math.Abs(g.of["poured_c"] - g.of["store_c"])
		if off <= 2 {
			return 0
		}
		return g.of["jar_tau_h"] * math.Log(off/2)
	},
	"settling before its store changed": func(g given) float64 {
		return g.of["fallen_mm"] * g.of["sink_h"] * g.of["settle_um"] * g.of["settle_um"] / g.of["depth_mm"]
	},
	"wait in all": func(g given) float64 {
		if g.has("after_h") {
			return g.of["after_h"]
		}
		return max(g.of["settle_min_h"], g.of["moved_h"]+g.of["still_h"]+g.of["own"]*g.of["sink_h"]-g.of["had_h"])
	},
	"has stood still":           stoodByHand,
	"will have stood still":     stoodByHand,
	"share of droplets settled": clearedByHand,
	"water settled ":            func(g given) float64 { return g.of["lay_g"] + (g.of["free_g"]-g.of["lay_g"])*g.of["share"] },
	"share settled at the end":  settledByHand,
	"settled":                   settledByHand,
	"settled_h":                 func(g given) float64 { return positive(g.of["since_h"]) },
	"frozen_h":                  func(g given) float64 { return positive(g.of["since_h"]) },
	"layer of water":            func(g given) float64 { return max(0.1, g.of["depth_mm"]*g.of["free_g"]/g.of["mass_g"]) },
	"time for the layer to freeze": func(g given) float64 {
		m := g.of["layer_mm"] / 1000
		return 999.84 * 333430 / (0 - g.of["freezer_c"]) * (m/g.of["film"] + m*m/(2*2.2)) / 3600
	},
	"time in the cold": func(g given) float64 {
		return max(g.of["least_h"], g.of["cooling_h"]+g.of["safety"]*g.of["freeze_h"])
	},
	"headspace":     func(g given) float64 { return 1 - g.of["volume_ml"]/g.of["capacity_ml"] },
	"waste_full":    func(g given) float64 { return g.of["volume_ml"] / g.of["capacity_ml"] },
	"filter_passes": func(g given) float64 { return g.of["passes"] },
	"medium_slow":   func(g given) float64 { return g.of["last"] / g.of["fresh"] },

	// counts
	"drain_cycles":     func(g given) float64 { return g.of["ended_cycles"] + g.of["running"] },
	"drain_run_h":      func(g given) float64 { return g.of["run_h_then"] + g.of["running_h"] },
	"drain_water_g":    func(g given) float64 { return g.of["carried_over_g"] },
	"run_hours":        func(g given) float64 { return g.of["run_h_then"] + g.of["running_h"] },
	"cycles":           func(g given) float64 { return g.of["cycles_since"] },
	"days":             func(g given) float64 { return g.of["since_done_h"] / 24 },
	"air_h":            func(g given) float64 { return g.of["since_drain_h"] },
	"wait_h":           func(g given) float64 { return positive(g.of["wait_h"] - g.of["since_h"]) },
	"run_h":            func(g given) float64 { return g.of["since_start_h"] + g.of["ran_before_h"] },
	"declared":         func(g given) float64 { return g.of["declarations"] },
	"unexplained":      func(g given) float64 { return g.of["oddities"] },
	"exhaust_g_h":      func(g given) float64 { return g.of["rate_g_h"] },
	"blank_off_factor": func(g given) float64 { return g.of["pa"] / g.of["first_pa"] },
	"full_fraction":    func(g given) float64 { return g.of["filled_g"] / (g.of["filled_g"] + g.of["oil_g"]) },

	// life
	"life of the oil in ":    meanByHand,
	"life: replace_run_h":    meanByHand,
	"life: replace_water_g":  meanByHand,
	"life: thermal_h":        meanByHand,
	"life: replace_uses":     func(g given) float64 { return positive(g.of["uses"] - g.of["uses_then"]) },
	"life: blank_off_factor": func(g given) float64 { return g.of["pa"] / g.of["new_pa"] },
	"life: colour_rise":      func(g given) float64 { return g.of["seen"] - g.of["new"] },
	"life: acid_rise_mg_g":   func(g given) float64 { return g.of["seen"] - g.of["new"] },
	"new oil of these lots": func(g given) float64 {
		mass := g.pairs(func(mass, _ float64) float64 { return mass })
		return g.pairs(func(mass, seen float64) float64 { return mass * seen }) / mass
	},
	"reached: ":                 func(g given) float64 { return -cmp.Or(g.of["since_h"], g.of["since_stop_h"]) },
	"first limit reached":       given.least,
	"growth of replace_uses":    func(g given) float64 { return 1 / g.of["drain_cycles"] },
	"growth of replace_water_g": given.median,
	"growth of thermal_h":       func(g given) float64 { return g.of["usual_h"] * math.Pow(2, (g.of["hot_c"]-g.of["ref_c"])/10) },
	"forecast: ":                forecastByHand,
	"count reached, foreseen":   forecastByHand,

	"since the hours were reached": func(g given) float64 {
		return g.of["since_end_h"] + g.of["run_h"] - g.of["due_at"] - g.of["ran_after_h"]
	},

	// times
	"usual length of a cycle":   given.median,
	"usual time from start to":  given.median,
	"next start to be expected": func(g given) float64 { return g.of["gap_h"] - g.of["since_start_h"] },
	"stop to be expected": func(g given) float64 {
		return ahead(g.of["usual_h"]+g.of["warming_h"]-g.of["ran_before_h"]-g.of["since_start_h"], 1)
	},
	"odd from so long a run": func(g given) float64 { return max(g.of["times"]*g.of["usual_h"], g.of["usual_h"]+g.of["more_h"]) },
	"opens":                  timeByHand,
	"due":                    timeByHand,
	"fill opens":             timeByHand,
	"fill due":               timeByHand,
	"replacement opens":      timeByHand,
	"replacement due":        timeByHand,
}

func massByHand(g given) float64 {
	ml := g.order[0].Value
	if g.has("density") {
		return ml * g.of["density"] / 1000
	}
	return ml * g.of["mass_g"] / g.of["volume_ml"]
}

func amountByHand(g given) float64 {
	switch {
	case g.has("charge_ml"):
		return 100 * math.Ceil(g.of["charge_ml"]/100)
	case g.has("drain_1_g"):
		return whole(g.median())
	case g.has("ready_g"):
		return whole(min(g.of["ready_g"], g.of["takes_g"]))
	case g.has("settled_g"):
		return whole(g.of["mass_g"] - max(math.Floor(g.of["mass_g"]*100+1e-6)/1000, 2*g.of["settled_g"]))
	case g.has("free_g"):
		return whole(g.of["free_g"])
	}
	return whole(g.of["mass_g"] - g.of["heel_g"])
}

// whole grams, of masses that are whole milligrams.
func whole(g float64) float64 {
	g = math.Round(g*1000) / 1000
	if g >= 1 {
		return math.Floor(g)
	}
	return g
}

func windowEnd(g given) float64 {
	if g.has("stop_h") {
		return g.of["stop_h"] + g.of["window_min"]/60
	}
	return g.of["window_min"]/60 - g.of["since_stop_h"]
}

// carriedEnds are the interval of the carry-over: what each input at its low and high end
// makes of it, the logarithms in quadrature.
func carriedEnds(g given, mid float64) (low, high float64) {
	lows, highs := []float64{1 - g.of["edges_h"]/g.of["hours"]}, []float64{1 + (g.of["edges_h"]+g.of["late_h"])/g.of["hours"]}
	add := func(low, high float64) { lows, highs = append(lows, low), append(highs, high) }
	if g.has("own_low") {
		add(g.of["own_low"]/g.of["own"], g.of["own_high"]/g.of["own"])
	} else {
		add(g.of["drawn_low"]/g.of["drawn"], g.of["drawn_high"]/g.of["drawn"])
		add(1-g.of["speed_width"], 1+g.of["speed_width"])
	}
	if g.has("p_ice_low") {
		add(g.of["p_ice_low"]/g.of["p_ice"], g.of["p_ice_high"]/g.of["p_ice"])
	}
	squares := func(all []float64) (sum float64) {
		for _, r := range all {
			sum += math.Pow(math.Log(positive(r)), 2)
		}
		return math.Sqrt(sum)
	}
	return mid * math.Exp(-squares(lows)), mid * math.Exp(squares(highs))
}

// middleLog is the median of logarithms.
func middleLog(all []float64) float64 {
	slices.Sort(all)
	n := len(all)
	return (math.Log(all[(n-1)/2]) + math.Log(all[n/2])) / 2
}

func stoodByHand(g given) float64 {
	return positive(g.of["after_h"]-g.of["moved_h"]-g.of["still_h"]) + g.of["had_h"]
}

func clearedByHand(g given) float64 {
	if g.of["stood_h"] <= 0 {
		return 0
	}
	cut := g.of["settle_um"] * math.Sqrt(g.of["sink_h"]*g.of["own"]/g.of["stood_h"])
	s := math.Log(g.of["spread"])
	x := math.Log(cut/g.of["d50_um"]) / s
	return min(1, normalByHand(-x)+math.Exp(2*s*s)*math.Pow(g.of["d50_um"]/cut, 2)*normalByHand(x-2*s))
}

func settledByHand(g given) float64 {
	if g.of["free_g"] == 0 {
		return 1
	}
	return g.of["settled_g"] / g.of["free_g"]
}

func meanByHand(g given) float64 {
	if g.of["oil_g"] == 0 {
		return 0
	}
	return g.of["sum"] / g.of["oil_g"]
}

func forecastByHand(g given) float64 {
	n := max(1, math.Ceil((g.of["limit"]-g.of["told"])/g.of["growth"]-1e-9))
	return ahead(g.of["first_h"]+(n-1)*g.of["gap_h"]+g.of["usual_h"], g.of["gap_h"])
}

// timeByHand reckons a time in hours from now: what is to come is added, what has passed is
// taken off, and what it must not be earlier than is the least.
func timeByHand(g given) float64 {
	at, least := 0.0, math.Inf(-1)
	earliest := math.Inf(1)
	for _, in := range g.order {
		switch name, _, _ := strings.Cut(in.Name, " of "); name {
		case "snoozed_h", "earliest_h", "aired_h":
			least = max(least, in.Value)
		case "fill_due_h":
			if g.has("within_h") {
				earliest = min(earliest, in.Value)
			} else {
				at += in.Value
			}
		case "window_min":
			at += in.Value / 60
		case "opens_h", "replacement_h", "replacement_due_h", "reached_h", "next_start_h", "forecast_h", "stop_h", "wait_h", "air_h", "odd_h", "interval_h", "within_h", "stands_h":
			at += in.Value
		case "ahead_h", "ran_before_h":
			at -= in.Value
		default:
			if strings.HasPrefix(name, "since_") || name == "low_h" || name == "seen_h" {
				at -= in.Value
				continue
			}
			earliest = min(earliest, in.Value) // one of several dates
			at = math.Inf(1)
		}
	}
	return max(least, min(at, earliest))
}
