package physics

import (
	"cmp"
	"math"
)

var (
	refRange        = limit{"ref", -50, 200, "C"}
	activationRange = limit{"activation energy", 1, 500, "kJ/mol"}
)

// ThermalHours returns the hours at refC that age oil as much as so many hours at
// tC, by the ten-degree rule: twice as fast for every 10 K. A relative clock,
// never a life: the lubrication trade quotes it and warns against trusting it far.
func ThermalHours(hours, tC, refC float64) (float64, error) {
	err := cmp.Or(hoursRange.check(hours), bodyRange.check(tC), refRange.check(refC))
	if err != nil {
		return 0, err
	}
	return hours * tenDegree(tC, refC), nil
}

func tenDegree(tC, refC float64) float64 { return math.Exp2((tC - refC) / 10) }

// ThermalHoursRun is ThermalHours of a pump that warms (or cools) on the way: the
// integral over so many hours from startC towards finalC with tauMin, as PumpTemp
// has it. Exact: the integral of e^u/u is ln u and a series that converges always,
// so a run told in two parts ages the oil as much as told in one.
func ThermalHoursRun(hours, startC, finalC, tauMin, refC float64) (float64, error) {
	err := cmp.Or(hoursRange.check(hours), bodyRange.called("start").check(startC), bodyRange.called("final").check(finalC),
		tauRange.check(tauMin), refRange.check(refC))
	if err != nil {
		return 0, err
	}
	tau := tauMin / minutesPerHour
	u0 := (startC - finalC) * math.Ln2 / 10
	u1 := approach(u0, 0, hours/tau)
	return tenDegree(finalC, refC) * (hours + tau*(expSeries(u0)-expSeries(u1))), nil
}

// expSeries is the sum over n >= 1 of u^n/(n n!), the integral of (e^u - 1)/u.
func expSeries(u float64) float64 {
	sum, term := 0.0, 1.0
	for n := 1.0; n < 200 && math.Abs(term) > 1e-18*math.Abs(sum); n++ {
		term *= u / n
		sum += term / n
	}
	return sum
}

// ArrheniusFactor returns how many times faster a reaction of activation energy
// eaKJMol runs at tC than at refC: exp(Ea/R (1/T_ref - 1/T)). The ten-degree rule
// is 65.9 kJ/mol between 60 and 70 C.
func ArrheniusFactor(tC, refC, eaKJMol float64) (float64, error) {
	err := cmp.Or(bodyRange.check(tC), refRange.check(refC), activationRange.check(eaKJMol))
	if err != nil {
		return 0, err
	}
	return math.Exp(eaKJMol * 1_000 / gasConstant * (1/(refC+zeroC) - 1/(tC+zeroC))), nil
}
