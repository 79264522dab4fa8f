package physics

import (
	"maps"

	"sumpbook/maintenance/units"
)

// The conversions of units that the book reads and prints stand in the one table of
// published values.
func init() {
	for quantity, u := range map[string][2]units.Unit{
		"unit_torr": {"torr", "Pa"}, "unit_mmHg_conventional": {"mmHg", "Pa"}, "unit_mtorr": {"mTorr", "Pa"}, "unit_mbar": {"mbar", "Pa"},
		"unit_atm": {"atm", "Pa"}, "unit_psi": {"psi", "Pa"}, "unit_inHg": {"inHg", "Pa"}, "unit_cfm": {"cfm", "m3/s"},
		"unit_us_quart": {"qt", "m3"}, "unit_uk_quart": {"imp qt", "m3"}, "unit_us_floz": {"fl oz", "m3"}, "unit_uk_floz": {"imp fl oz", "m3"},
		"unit_us_gallon": {"gal", "m3"}, "unit_lb": {"lb", "kg"}, "unit_oz": {"oz", "kg"},
	} {
		quantities[quantity] = converted("value", u[0], u[1])
	}
	maps.Copy(quantities, map[string]func(in inputs) (float64, error){
		"sccm_to_mbar_L_s": converted("sccm", "sccm", "mbar l/s"),
		"degF_to_degC":     converted("degF", "F", "C"),
		"m3h_to_cfm":       converted("m3h", "m3/h", "cfm"),
		"Ls_to_m3h":        converted("L_s", "l/s", "m3/h"),
		"lb_to_g":          converted("lb", "lb", "g"),
	})
}

func converted(key string, from, to units.Unit) func(in inputs) (float64, error) {
	return func(in inputs) (float64, error) { return units.Convert(in.n(key), from, to) }
}
