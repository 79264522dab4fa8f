package physics

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// quantities says, for each quantity of the checks, how the package computes it
// from a row's inputs; what stands here beside the call only converts units.
var quantities = map[string]func(in inputs) (float64, error){
	// vapour pressure
	"psub_iapws_r14":        func(in inputs) (float64, error) { return IcePressure(in.tC()) },
	"psub_murphy_koop":      func(in inputs) (float64, error) { return murphyKoop(in.n("T_K")), nil },
	"psub_table_mmHg_as_Pa": func(in inputs) (float64, error) { return IcePressure(in.tC()) },
	"psub_ashrae_table3":    func(in inputs) (float64, error) { return IcePressure(in.tC()) },
	"psat_if97_region4":     func(in inputs) (float64, error) { return WaterPressure(in.tC()) },
	"psat_wagner_pruss_aux": func(in inputs) (float64, error) { // the other equation is held to its own figures
		ours, other := must(WaterPressure(in.tC())), wagnerPruss(in.tC()+zeroC)
		if math.Abs(ours/other-1) > wagnerPrussApart {
			return 0, fmt.Errorf("%g Pa and %g Pa are far apart", ours, other)
		}
		return other, nil
	},
	"psat_murphy_koop":   func(in inputs) (float64, error) { return WaterPressure(in.tC()) },
	"psat_ashrae_table3": func(in inputs) (float64, error) { return WaterPressure(in.tC()) },
	"psat_table_crc":     func(in inputs) (float64, error) { return WaterPressure(in.tC()) },
	"psat_70C_used_by_handbooks": func(in inputs) (float64, error) {
		return must(WaterPressure(in.tC())) / 100, nil
	},
	"tsat_if97_region4": func(in inputs) (float64, error) { return must(BoilingPoint(in.n("p_Pa"))) + zeroC, nil },
	"frost_point":       func(in inputs) (float64, error) { return FrostPoint(in.n("p_Pa")) },

	// carry-over
	"carryover_24h": func(in inputs) (float64, error) {
		return CarryOver(in.n("S_m3h"), in.n("t_trap_C"), in.n("hours"), in.n("t_gas_C"))
	},
	"carryover_rate": func(in inputs) (float64, error) {
		return CarryOver(in.n("S_m3h"), in.n("t_trap_C"), 1, in.n("t_gas_C"))
	},
	"water_into_pump_24h": func(in inputs) (float64, error) {
		return CarryOver(in.n("S_m3h"), in.n("t_trap_C"), in.n("hours"), in.n("t_gas_C"))
	},
	"carryover_doubling_step": func(in inputs) (float64, error) {
		from := in.n("from_t_C")
		return must(FrostPoint(2*must(IcePressure(from)))) - from, nil
	},
	"effective_speed_series": func(in inputs) (float64, error) {
		return EffectiveSpeed(in.n("S_pump_m3h"), in.n("C_m3h"))
	},

	// ballast
	"water_vapour_tolerance_handbook": func(in inputs) (float64, error) {
		if _, ok := in["p_sat_mbar"]; ok {
			return tolerance(in.n("B_over_S"), in.n("alpha")*in.n("p0_mbar"), in.n("p0_mbar"), in.n("p_sat_mbar"), in.n("p_a_mbar")), nil
		}
		return VapourTolerance(10, in.n("B_over_S")*10/cubicPerLmin, in.n("t_pump_C"), in.n("t_amb_C"), in.n("rh"), in.n("alpha"))
	},
	"water_vapour_capacity": func(in inputs) (float64, error) {
		ballast := in.n("B_over_S") * in.n("S_m3h") / cubicPerLmin
		return BallastCapacity(ballast, in.n("t_pump_C"), in.n("t_amb_C"), in.n("rh"), in.n("alpha"))
	},
	// With no leak, and the gas as warm as the room, the purge is the exact balance.
	"water_vapour_tolerance_exact": func(in inputs) (float64, error) {
		purge, err := PurgeCapacity(RetainedInput{
			OilG: 1, BallastM3h: in.n("B_over_S"), RunningC: in.n("t_pump_C"), WarmTauMin: 1,
			AmbientC: in.n("t_amb_C"), Humidity: in.n("rh"), GasC: in.n("t_amb_C"),
		})
		return purge / vapourG(1, 1, in.n("t_amb_C")), err
	},
	"purge_capacity": func(in inputs) (float64, error) {
		return PurgeCapacity(RetainedInput{
			OilG: 1, BallastM3h: in.n("ballast_m3h"), LeakPaM3S: in.n("q_dry_Pam3s"), RunningC: in.n("t_pump_C"),
			WarmTauMin: 1, AmbientC: in.n("t_amb_C"), Humidity: in.n("rh"), GasC: in.n("t_gas_C"),
		})
	},
	"compression_ratio_at_condensation": func(in inputs) (float64, error) {
		return must(WaterPressure(in.n("t_pump_C"))) / in.n("p_in_Pa"), nil
	},
	"retained_water_24h": func(in inputs) (float64, error) {
		last := 0.0
		if from, ok := in["ballast_from_h"]; ok {
			last = 24 - must(strconv.ParseFloat(from, 64))
		}
		return Retained(RetainedInput{
			OilG: in.n("m_oil_kg") * 1000, CarryRateGH: must(CarryOver(in.n("S_m3h"), in.n("t_trap_C"), 1, in.n("t_gas_C"))),
			Hours: 24, BallastM3h: in.n("ballast_m3h"), BallastLastHours: last, LeakPaM3S: in.n("q_dry_Pam3s"),
			StartC: in.n("T0_C"), RunningC: in.n("Tinf_C"), WarmTauMin: in.n("tau_min"),
			AmbientC: in.n("t_amb_C"), Humidity: in.n("rh"), Eta: in.n("eta"), GasC: in.n("t_gas_C"),
		})
	},

	// pump temperature and hot window
	"pump_temperature_warmup": func(in inputs) (float64, error) {
		return PumpTemp(in.n("T0_C"), in.n("Tinf_C"), in.n("tau_min"), in.n("t_min"))
	},
	"pump_temperature_cooldown": func(in inputs) (float64, error) {
		return PumpTemp(in.n("T0_C"), in.n("Tinf_C"), in.n("tau_min"), in.n("t_min"))
	},
	"time_to_reach": func(in inputs) (float64, error) {
		return TimeToReach(in.n("T0_C"), in.n("Tinf_C"), in.n("T_C"), in.n("tau_min"))
	},
	"safe_handling_time": func(in inputs) (float64, error) {
		return SafeMinutes(in.n("T0_C"), in.n("t_amb_C"), in.n("tau_min"))
	},
	"window_end_temperature": func(in inputs) (float64, error) {
		_, end, err := HotWindow(in.oil(), in.n("t_ref_C"), in.n("t_ref_C"), 20, 60, in.n("ratio"))
		return end, err
	},
	"window_end_time": func(in inputs) (float64, error) {
		minutes, _, err := HotWindow(in.oil(), in.n("t_ref_C"), in.n("t_ref_C"), in.n("t_amb_C"), in.n("tau_min"), in.n("ratio"))
		return minutes, err
	},
	"drain_time_ratio": func(in inputs) (float64, error) {
		return must(in.oil().Viscosity(in.tC())) / must(in.oil().Viscosity(in.n("t_ref_C"))), nil
	},

	// viscosity and density
	"d341_A": func(in inputs) (float64, error) { a, _ := in.walther(); return a, nil },
	"d341_B": func(in inputs) (float64, error) { _, b := in.walther(); return b, nil },
	"d341_nu": func(in inputs) (float64, error) {
		if in.n("kelvin_offset") == zeroC {
			return in.oil().Viscosity(in.tC())
		}
		a, b := in.walther()
		return untangle(a - b*math.Log10(in.tC()+in.n("kelvin_offset"))), nil
	},
	"vi_L":            func(in inputs) (float64, error) { l, _ := viReference(in.n("nu100")); return l, nil },
	"vi_H":            func(in inputs) (float64, error) { _, h := viReference(in.n("nu100")); return h, nil },
	"viscosity_index": func(in inputs) (float64, error) { return ViscosityIndex(in.n("nu40"), in.n("nu100")) },
	"viscosity_index_segment_form": func(in inputs) (float64, error) { // below 100, with L and H by the quadratics
		l, h := viQuadratic(in.n("nu100"))
		return 100 * (l - in.n("nu40")) / (l - h), nil
	},
	"viscosity_index_rounded": func(in inputs) (float64, error) {
		return math.RoundToEven(must(ViscosityIndex(in.n("nu40"), in.n("nu100")))), nil
	},
	"nu100_for_vi": func(in inputs) (float64, error) {
		v, _ := v100ForIndex(in.n("nu40"), in.n("vi"))
		return v, nil
	},
	"iso_vg_min":     func(in inputs) (float64, error) { low, _, err := GradeLimits(in["grade"]); return low, err },
	"iso_vg_max":     func(in inputs) (float64, error) { _, high, err := GradeLimits(in["grade"]); return high, err },
	"k1_consistency": func(inputs) (float64, error) { return k1, nil },
	"vcf_54d":        func(in inputs) (float64, error) { return VolumeFactor(in.n("rho15"), in.tC()) },
	"oil_density":    func(in inputs) (float64, error) { return OilDensity(in.n("rho15"), in.tC()) },
	"dynamic_viscosity": func(in inputs) (float64, error) {
		return dynamic(in.n("nu_mm2s"), in.n("rho")), nil
	},

	// settling
	"stokes_velocity": func(in inputs) (float64, error) {
		return StokesVelocity(in.n("d_m")*1e6, in.n("rho_p"), in.n("rho_f"), in.n("mu_Pas"))
	},
	"stokes_reynolds": func(in inputs) (float64, error) {
		return reynolds(in.n("d_m")*1e6, in.n("v_ms"), in.n("rho_f"), in.n("mu_Pas")), nil
	},
	"api421_constant": func(in inputs) (float64, error) {
		return stokes(in.n("d_um"), in.n("dSG")*1000, in.n("mu_poise")/10) * feetPerMinute, nil
	},
	"api421_150um_ft_min": func(in inputs) (float64, error) {
		return stokes(in.n("d_um"), in.n("dSG")*1000, in.n("mu_poise")/10) * feetPerMinute, nil
	},
	"api421_example_60um": func(in inputs) (float64, error) {
		const gallonsPerCubicFoot = 1728.0 / 231
		v, err := StokesVelocity(in.n("d_um"), in.n("sg_water")*1000, in.n("sg_oil")*1000, in.n("mu_poise")/10)
		return v * feetPerMinute * gallonsPerCubicFoot, err
	},
	"oil_dynamic_viscosity": func(in inputs) (float64, error) {
		return dynamic(must(in.oil().Viscosity(in.tC())), must(OilDensity(in.n("rho15"), in.tC()))), nil
	},
	"stokes_mm_per_day": func(in inputs) (float64, error) {
		return 24 / in.still().hours(in.n("d_um"), 1), nil
	},
	"cut_diameter_um": func(in inputs) (float64, error) {
		return in.still().cutUm(in.n("days")*24, in.n("h_m")*1000), nil
	},
	"settle_days": func(in inputs) (float64, error) {
		return in.still().hours(in.n("d_um"), in.n("h_m")*1000) / 24, nil
	},
	"lognormal_cleared_fraction": func(in inputs) (float64, error) {
		return logNormalCleared(in.still().cutUm(in.n("days")*24, in.n("h_m")*1000), in.n("d50_um"), in.n("gsd")), nil
	},
	"richardson_zaki_factor": func(in inputs) (float64, error) { return HinderedFactor(in.n("phi")) },

	// solubility
	"water_solubility_mineral_oil": func(in inputs) (float64, error) { return WaterSolubility(in.tC()) },
	"lubricant_solubility_multiplier": func(in inputs) (float64, error) {
		return in.n("S_lube_mgkg") / must(WaterSolubility(in.tC())), nil
	},
	"relative_saturation": func(in inputs) (float64, error) {
		return in.n("w_mgkg") / must(WaterSolubility(in.tC())), nil
	},
	"cloud_temperature": func(in inputs) (float64, error) { return CloudPoint(in.n("w_mgkg")) },
	"dissolved_water": func(in inputs) (float64, error) {
		return dissolvable(in.n("m_oil_kg")*1000, must(WaterSolubility(in.tC()))), nil
	},
	"free_water": func(in inputs) (float64, error) { // of insulating oil: undo the factor for pump oil
		return FreeWaterG(in.n("W_total_g"), in.n("m_oil_kg")*1000/PumpOilFactor, in.tC())
	},
	"released_on_cooling": func(in inputs) (float64, error) {
		hot, cold := must(WaterSolubility(in.n("t_hot_C"))), must(WaterSolubility(in.n("t_cold_C")))
		return dissolvable(in.n("m_oil_kg")*1000, hot-cold), nil
	},

	// ageing and condition
	"arrhenius_factor_eV": func(in inputs) (float64, error) {
		return ArrheniusFactor(in.n("T_acc_C"), in.n("T_use_C"), in.n("Ea_eV")/in.n("kB_eV_K")*gasConstant/1000)
	},
	"ieee_c57_91_faa": func(in inputs) (float64, error) { // that standard's zero is 273 K
		const shift = 273 - zeroC
		return ArrheniusFactor(in.n("hot_spot_C")+shift, 110+shift, 15*gasConstant)
	},
	"ea_for_doubling": func(in inputs) (float64, error) {
		return solve(1, 500, 2, func(ea float64) float64 { return must(ArrheniusFactor(in.n("T2_C"), in.n("T1_C"), ea)) }), nil
	},
	"ten_degree_factor": func(in inputs) (float64, error) { return ThermalHours(1, in.n("T_C"), in.n("T_ref_C")) },
	"equivalent_hours": func(in inputs) (float64, error) {
		return in.profile(func(h, tC float64) float64 { return must(ThermalHours(h, tC, in.n("T_ref_C"))) }), nil
	},
	"equivalent_hours_arrhenius": func(in inputs) (float64, error) {
		return in.profile(func(h, tC float64) float64 {
			return h * must(ArrheniusFactor(tC, in.n("T_ref_C"), in.n("Ea_kJ_mol")))
		}), nil
	},
	"iso4406_scale_number": func(in inputs) (float64, error) {
		code, err := CleanlinessCode(in.n("count_per_ml"), 0, 0)
		if err != nil {
			return 0, err
		}
		number, _, _ := strings.Cut(code, "/")
		return strconv.ParseFloat(number, 64)
	},
	"beta_to_efficiency": func(in inputs) (float64, error) { return FilterEfficiency(in.n("beta")) },
	"efficiency_to_beta": func(in inputs) (float64, error) {
		return solve(1, 1e4, in.n("efficiency_pct"), func(beta float64) float64 { return must(FilterEfficiency(beta)) }), nil
	},

	// filtration
	"ruth_Kp":               func(in inputs) (float64, error) { c, err := FitCake(worked1421()); return c.K, err },
	"ruth_B":                func(in inputs) (float64, error) { c, err := FitCake(worked1421()); return c.B, err },
	"ruth_Kp_least_squares": func(in inputs) (float64, error) { c, err := FitCake(worked1421()); return c.K, err },
	"ruth_B_least_squares":  func(in inputs) (float64, error) { c, err := FitCake(worked1421()); return c.B, err },
	// The resistances of cake and medium, by the example's own formulas from the fit.
	"ruth_alpha": func(in inputs) (float64, error) {
		c, err := FitCake(worked1421())
		return c.K * in.n("A_m2") * in.n("A_m2") * in.n("dp_Pa") / (in.n("mu") * in.n("cs")), err
	},
	"ruth_Rm": func(in inputs) (float64, error) {
		c, err := FitCake(worked1421())
		return c.B * in.n("A_m2") * in.n("dp_Pa") / in.n("mu"), err
	},
	"ruth_time": func(in inputs) (float64, error) {
		return CakeLaw{K: in.n("Kp"), B: in.n("B")}.Time(in.n("V_m3"))
	},
	"batch_time_ratio": func(in inputs) (float64, error) {
		return CakeLaw{K: in.n("K_V_over_B"), B: 1}.Slowing(in.n("n")-1, 1)
	},
	"standard_blocking_V_max": func(in inputs) (float64, error) {
		var amounts, times []float64
		for t := 60.0; t < 3600; t += 60 {
			times, amounts = append(times, t), append(amounts, t/(in.n("K")/2*t+0.5))
		}
		limit, _, err := BlockingLimit(amounts, times)
		return limit, err
	},
	"viscosity_normalised_time": func(in inputs) (float64, error) {
		return NormalTime(in.n("t_s"), in.n("nu_mm2s"), in.n("nu_ref_mm2s"), 1, 1)
	},

	// freezing
	"plank_slab_h": func(in inputs) (float64, error) {
		return plank(in.n("rho")*in.n("L_J_kg"), in.n("Tf_K")-in.n("Ta_K"), in.n("P"), in.n("R"), in.n("a_m"), in.n("h"), in.n("k")) / 3600, nil
	},
	"plank_sphere_s": func(in inputs) (float64, error) {
		return plank(in.n("rho")*in.n("L_J_kg"), in.n("Tf_C")-in.n("Ta_C"), in.n("P"), in.n("R"), in.n("d_m"), in.n("h"), in.n("k")), nil
	},
	"plank_water_layer_min": func(in inputs) (float64, error) { // the row's water is 999.8 kg/m3
		hours, err := LayerHours(in.n("x_m")*1000, in.n("Ta_C"), in.n("h"))
		return hours * 60 * in.n("rho") / waterDensityAtZero, err
	},
	"precool_min": func(in inputs) (float64, error) {
		return precool(in.n("m_c_J_K")/in.n("A_m2"), in.n("h"), in.n("T0_C"), in.n("Tf_C"), in.n("Ta_C")) / 60, nil
	},
	"ice_density_0C":      func(inputs) (float64, error) { return iceDensity, nil },
	"latent_heat_fusion":  func(inputs) (float64, error) { return fusionJKg / 1000.0, nil },
	"ice_expansion_ratio": func(inputs) (float64, error) { return IceExpansion, nil },

	// mixing
	"heel_after_flushes": func(in inputs) (float64, error) {
		return Flush(in.n("heel_fraction"), 1, int(in.n("n")))
	},
	"heel_after_flushes_unequal": func(in inputs) (float64, error) {
		return Flush(in.n("heel_L"), in.n("heel_L")+in.n("fill_L"), int(in.n("n")))
	},
	"flushes_needed": func(in inputs) (float64, error) {
		n, err := FlushesNeeded(in.n("heel_fraction"), 1, in.n("target"))
		return float64(n), err
	},
	"mixed_age_h": func(in inputs) (float64, error) {
		return Mix(in.n("V1_L"), in.n("age1_h"), in.n("V2_L"), in.n("age2_h"))
	},
	"fresh_fraction": func(in inputs) (float64, error) {
		return Mix(in.n("V_fresh_added_L"), 1, in.n("V_total_L")-in.n("V_fresh_added_L"), 0)
	},
	"steady_age_before_change": func(in inputs) (float64, error) { return SteadyAge(in.n("run_h"), in.n("keep_fraction")) },
	"steady_age_after_change": func(in inputs) (float64, error) {
		return must(SteadyAge(in.n("run_h"), in.n("keep_fraction"))) * in.n("keep_fraction"), nil
	},
	"blend_viscosity_refutas": func(in inputs) (float64, error) { return BlendViscosity(in.n("nu1"), in.n("x1"), in.n("nu2")) },

	// leak
	"vacuum_decay_molar_leak": func(in inputs) (float64, error) {
		rise := must(PressureRise(in.n("V_m3")*1000, in.n("p2_Pa")-in.n("p1_Pa"), in.n("dt_s")))
		return rise / (in.n("R") * in.n("T_K")), nil
	},
	"rate_of_rise": func(in inputs) (float64, error) { // 1 mbar L/s is 0.1 Pa m3/s
		return must(PressureRise(in.n("V_L"), in.n("dp_mbar")*100, in.n("dt_s"))) * 10, nil
	},
	"ultimate_pressure": func(in inputs) (float64, error) {
		return must(SystemPressure(in.n("Q_mbarLs")/10, in.n("S_m3h"), 0)) / 100, nil
	},
}

// solve finds by bisection where a rising function has the value that is wanted.
func solve(low, high, want float64, of func(x float64) float64) float64 {
	for range 200 {
		if mid := (low + high) / 2; of(mid) < want {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

const feetPerMinute = 60 / 0.3048 // in one m/s

// oil is the row's oil, by name or by its viscosities.
func (in inputs) oil() Oil {
	o := Oil{Density15: DefaultDensity15}
	if name, ok := in["oil"]; ok {
		var err error
		if o, err = OilOfGrade(name); err != nil {
			panic(err)
		}
	} else {
		o.V40, o.V100 = in.n("nu40"), in.n("nu100")
	}
	if _, ok := in["rho15"]; ok {
		o.Density15 = in.n("rho15")
	}
	return o
}

// still is the row's medium, with the row's own density of water.
func (in inputs) still() medium {
	m, err := in.oil().still(in.tC())
	if err != nil {
		panic(err)
	}
	m.gapKgM3 = in.n("rho_w") - must(OilDensity(in.n("rho15"), in.tC()))
	return m
}

func (in inputs) walther() (a, b float64) {
	zero := in.n("kelvin_offset")
	return walther(40+zero, in.n("nu40"), 100+zero, in.n("nu100"))
}

// profile sums over stretches such as "10h@60,5h@70".
func (in inputs) profile(each func(hours, tC float64) float64) float64 {
	sum := 0.0
	for part := range strings.SplitSeq(in["profile"], ",") {
		hours, tC, _ := strings.Cut(part, "h@")
		sum += each(must(strconv.ParseFloat(hours, 64)), must(strconv.ParseFloat(tC, 64)))
	}
	return sum
}

// worked1421 is the data of Geankoplis, example 14.2-1: filtrate in m3, time in s.
func worked1421() (amounts, times []float64) {
	return []float64{0.498e-3, 1.000e-3, 1.501e-3, 2.000e-3, 2.498e-3, 3.002e-3, 3.506e-3, 4.004e-3, 4.502e-3, 5.009e-3},
		[]float64{4.4, 9.5, 16.3, 24.6, 34.7, 46.1, 59.0, 73.6, 89.4, 107.3}
}
