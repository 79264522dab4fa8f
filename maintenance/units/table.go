package units

import (
	"math/big"
	"slices"
	"strings"
)

// A definition is one line of the table: in base units, value·factor + zero. The base units are g, ml, K,
// Pa, s, m3/h, mm, W, 1, mm2/s, kg/m3, Pa m3/s and g/h.
type definition struct {
	unit      Unit
	dimension Dimension
	factor    *big.Rat
	zero      *big.Rat
	spellings string // besides the name itself, by spaces; written as plain leaves them
}

// Sources: NIST SP 811 Appendix B for every factor that is a definition (lb, in, US gallon, torr, mmHg and
// inHg "conventional", psi, atm); the imperial gallon of 4.54609 l by the UK Units of Measurement
// Regulations 1995. sccm is counted at 0 °C and 101325 Pa. "oz" is a mass and a volume, "micron" a
// pressure (of mercury) and a length, "m" a length and minutes: the wanted dimension decides.
var table = []definition{
	{"g", Mass, rat("1"), rat(), "gram grams gramme grammes gm"},
	{"mg", Mass, rat("0.001"), rat(), "milligram milligrams"},
	{"kg", Mass, rat("1000"), rat(), "kilo kilos kilogram kilograms"},
	{"lb", Mass, rat("453.59237"), rat(), "lbs pound pounds"},
	{"oz", Mass, rat("453.59237", "/16"), rat(), "ounce ounces ozwt"},

	{"ml", Volume, rat("1"), rat(), "mL cc cm3 millilitre millilitres milliliter milliliters"},
	{"ul", Volume, rat("0.001"), rat(), "uL mm3"},
	{"cl", Volume, rat("10"), rat(), "cL"},
	{"dl", Volume, rat("100"), rat(), "dL"},
	{"l", Volume, rat("1000"), rat(), "L dm3 litre litres liter liters"},
	{"m3", Volume, rat("1000000"), rat(), ""},
	{"fl oz", Volume, rat("3785.411784", "/128"), rat(), "oz ounce ounces usfloz USfloz fluidounce fluidounces"},
	{"pt", Volume, rat("3785.411784", "/8"), rat(), "pint pints uspt USpt"},
	{"qt", Volume, rat("3785.411784", "/4"), rat(), "qts quart quarts usqt USqt"},
	{"gal", Volume, rat("3785.411784"), rat(), "gals gallon gallons usgal USgal"},
	{"imp fl oz", Volume, rat("4546.09", "/160"), rat(), "impoz impfluidounce impfluidounces"},
	{"imp pt", Volume, rat("4546.09", "/8"), rat(), "imppint imppints"},
	{"imp qt", Volume, rat("4546.09", "/4"), rat(), "impqts impquart impquarts"},
	{"imp gal", Volume, rat("4546.09"), rat(), "impgals impgallon impgallons"},
	{"in3", Volume, rat("2.54", "2.54", "2.54"), rat(), "cuin"},
	{"ft3", Volume, rat("30.48", "30.48", "30.48"), rat(), "cuft"},

	{"C", Temperature, rat("1"), rat("273.15"), "degC degreesC celsius"},
	{"F", Temperature, rat("5", "/9"), rat("459.67", "5", "/9"), "degF degreesF fahrenheit"},
	{"K", Temperature, rat("1"), rat(), "kelvin"},

	{"Pa", Pressure, rat("1"), rat(), "pascal pascals"},
	{"mPa", Pressure, rat("0.001"), rat(), ""},
	{"hPa", Pressure, rat("100"), rat(), ""},
	{"kPa", Pressure, rat("1000"), rat(), ""},
	{"MPa", Pressure, rat("1000000"), rat(), ""},
	{"ubar", Pressure, rat("0.1"), rat(), "microbar"},
	{"mbar", Pressure, rat("100"), rat(), "millibar"},
	{"bar", Pressure, rat("100000"), rat(), ""},
	{"torr", Pressure, rat("101325", "/760"), rat(), ""},
	{"mTorr", Pressure, rat("101325", "/760000"), rat(), "millitorr micron microns umHg"},
	{"mmHg", Pressure, rat("13.5951", "9.80665"), rat(), ""},
	{"inHg", Pressure, rat("13.5951", "9.80665", "25.4"), rat(), ""},
	{"atm", Pressure, rat("101325"), rat(), ""},
	{"psi", Pressure, rat("0.45359237", "9.80665", "/0.0254", "/0.0254"), rat(), "psia"},

	{"s", Duration, rat("1"), rat(), "sec secs second seconds"},
	{"min", Duration, rat("60"), rat(), "m mins minute minutes"},
	{"h", Duration, rat("3600"), rat(), "hr hrs hour hours"},
	{"d", Duration, rat("86400"), rat(), "day days"},
	{"week", Duration, rat("604800"), rat(), "weeks wk wks"},

	{"m3/h", Flow, rat("1"), rat(), "m3/hr m3h"},
	{"m3/s", Flow, rat("3600"), rat(), ""},
	{"m3/min", Flow, rat("60"), rat(), ""},
	{"l/s", Flow, rat("3.6"), rat(), "L/s"},
	{"l/min", Flow, rat("0.06"), rat(), "L/min lpm"},
	{"l/h", Flow, rat("0.001"), rat(), "L/h"},
	{"cfm", Flow, rat("0.3048", "0.3048", "0.3048", "60"), rat(), "ft3/min cuft/min"},

	{"mm", Length, rat("1"), rat(), "millimetre millimetres millimeter millimeters"},
	{"um", Length, rat("0.001"), rat(), "micron microns micrometre micrometres micrometer micrometers"},
	{"cm", Length, rat("10"), rat(), "centimetre centimetres centimeter centimeters"},
	{"m", Length, rat("1000"), rat(), "metre metres meter meters"},
	{"in", Length, rat("25.4"), rat(), `inch inches "`},
	{"ft", Length, rat("304.8"), rat(), "foot feet"},

	{"W", Power, rat("1"), rat(), "watt watts"},
	{"mW", Power, rat("0.001"), rat(), ""},
	{"dW", Power, rat("0.1"), rat(), ""},
	{"kW", Power, rat("1000"), rat(), ""},
	{"MW", Power, rat("1000000"), rat(), ""},

	{"1", Ratio, rat("1"), rat(), ""},
	{"%", Ratio, rat("0.01"), rat(), "percent pct"},
	{"ppm", Ratio, rat("0.000001"), rat(), ""},
	{"mg/kg", Ratio, rat("0.000001"), rat(), ""},
	{"mg/g", Ratio, rat("0.001"), rat(), ""},

	{"mm2/s", viscosity, rat("1"), rat(), "cSt"},
	{"m2/s", viscosity, rat("1000000"), rat(), ""},
	{"kg/m3", density, rat("1"), rat(), ""},
	{"g/ml", density, rat("1000"), rat(), "g/mL g/cm3 g/cc kg/l kg/L"},
	{"lb/gal", density, rat("453.59237", "/3.785411784"), rat(), ""},
	{"lb/ft3", density, rat("0.45359237", "/0.3048", "/0.3048", "/0.3048"), rat(), ""},
	{"Pa m3/s", throughput, rat("1"), rat(), ""},
	{"Pa l/s", throughput, rat("0.001"), rat(), "PaL/s"},
	{"mbar l/s", throughput, rat("0.1"), rat(), "mbarL/s"},
	{"torr l/s", throughput, rat("101325", "/760000"), rat(), "torrL/s"},
	{"sccm", throughput, rat("0.101325", "/60"), rat(), ""},
	{"g/h", massFlow, rat("1"), rat(), "g/hr"},
	{"g/min", massFlow, rat("60"), rat(), ""},
	{"g/s", massFlow, rat("3600"), rat(), ""},
	{"g/d", massFlow, rat("1", "/24"), rat(), "g/day"},
	{"kg/h", massFlow, rat("1000"), rat(), "kg/hr"},
	{"lb/h", massFlow, rat("453.59237"), rat(), "lb/hr"},
	{"oz/h", massFlow, rat("453.59237", "/16"), rat(), "oz/hr"},
}

// examples show, for each dimension, how a quantity of it is written.
var examples = map[Dimension]string{
	Mass: "640g or 1 lb 6 oz", Volume: "740ml or 25 fl oz", Temperature: "68C or 154F", Pressure: "5 Pa or 40mTorr",
	Duration: "31h, 31:12 or 4d", Flow: "7 m3/h or 4 cfm", Length: "120mm or 4.7 in", Power: "350W", Ratio: "0.95 or 95%",
	viscosity: "68 mm2/s", density: "870 kg/m3", throughput: "0.1 Pa m3/s", massFlow: "12 g/h",
}

var byUnit, exact, folded = index()

func index() (map[Unit]definition, map[string][]Unit, map[string][]Unit) {
	units, exactly, fold := map[Unit]definition{}, map[string][]Unit{}, map[string][]Unit{}
	for _, d := range table {
		units[d.unit] = d
		if d.unit == "1" { // a digit is no spelling: "5 1" is a slip
			continue
		}
		for _, spelling := range append(strings.Fields(d.spellings), plain(string(d.unit))) {
			exactly[spelling] = append(exactly[spelling], d.unit)
			if lower := strings.ToLower(spelling); !slices.Contains(fold[lower], d.unit) {
				fold[lower] = append(fold[lower], d.unit)
			}
		}
	}
	return units, exactly, fold
}

// rat multiplies decimal texts, dividing by those that begin with a slash; of nothing it is 0.
func rat(terms ...string) *big.Rat {
	if len(terms) == 0 {
		return new(big.Rat)
	}
	product := big.NewRat(1, 1)
	for _, term := range terms {
		digits, divide := strings.CutPrefix(term, "/")
		value, ok := new(big.Rat).SetString(digits)
		if !ok {
			panic("units: bad factor " + term)
		}
		if divide {
			value.Inv(value)
		}
		product.Mul(product, value)
	}
	return product
}
