package physics

import (
	"cmp"
	"fmt"
)

var (
	passRange   = limit{"amount filtered", 0, 1e9, ""}
	passTime    = limit{"time", 0, 1e9, ""}
	slowRange   = limit{"ratio", 1, 1_000, ""}
	cakeRange   = limit{"cake", 0, 1e18, ""}
	cleanRange  = limit{"clean medium", 1e-12, 1e18, ""}
	normalRange = limit{"amount filtered", 1e-9, 1e9, ""}
)

// A CakeLaw says how long a filter under constant head takes as it loads:
// t = K V2/2 + B V (Ruth). B is the clean medium, K the cake that each amount
// adds. V is the amount filtered since the medium was fresh, t the time, in any
// units that stay the same.
type CakeLaw struct{ K, B float64 }

func (c CakeLaw) check() error { return cmp.Or(cakeRange.check(c.K), cleanRange.check(c.B)) }

// FitCake returns the law through readings of amount filtered and time taken,
// both counted from the fresh medium: least squares of t/V on V. It wants at least
// two different amounts. Readings that show no loading give K = 0; such that leave
// no time for the clean medium are refused.
func FitCake(amounts, times []float64) (CakeLaw, error) {
	slope, b, err := fitPerAmount(amounts, times, amounts)
	if err != nil {
		return CakeLaw{}, err
	}
	if slope < 0 {
		slope, b = 0, meanRatio(times, amounts)
	}
	law := CakeLaw{K: 2 * slope, B: b}
	if err := law.check(); err != nil {
		return CakeLaw{}, fmt.Errorf("fit the filter: %w", err)
	}
	return law, nil
}

// Time returns the time for the amount v through the fresh medium.
func (c CakeLaw) Time(v float64) (float64, error) {
	if err := cmp.Or(c.check(), passRange.check(v)); err != nil {
		return 0, err
	}
	return (c.K*v/2 + c.B) * v, nil
}

// Slowing returns how many times as long the next batch takes, after so much has
// been filtered, as the same batch took through the fresh medium. Linear in what
// was filtered, it is what tells when to change the medium.
func (c CakeLaw) Slowing(filtered, batch float64) (float64, error) {
	if err := cmp.Or(c.check(), passRange.check(filtered), normalRange.check(batch)); err != nil {
		return 0, err
	}
	return 1 + c.K*filtered/(c.K*batch/2+c.B), nil
}

// AmountToSlowing returns how much can be filtered before a batch takes ratio
// times as long as through the fresh medium: the inverse of Slowing. A medium that
// does not load has no such end.
func (c CakeLaw) AmountToSlowing(batch, ratio float64) (amount float64, ends bool, err error) {
	err = cmp.Or(c.check(), normalRange.check(batch), slowRange.check(ratio))
	if err != nil {
		return 0, false, err
	}
	amount, ends = reachable((ratio - 1) * (c.K*batch/2 + c.B) / c.K)
	return amount, ends, nil
}

// reachable keeps an end so far off that no one will see it, or none (a division by
// no loading), from being told as a number.
func reachable(amount float64) (float64, bool) {
	if amount >= 0 && amount <= passRange.high {
		return amount, true
	}
	return 0, false
}

// BlockingLimit returns the amount at which a medium whose pores close (standard
// blocking, Hermans & Bredee 1935, Hermia 1982; from memory) lets nothing more
// through, from readings of amount and time since it was fresh: t/V = (K/2) t +
// 1/Q0, limit 2/K. Readings that show no blocking have no such end.
func BlockingLimit(amounts, times []float64) (amount float64, ends bool, err error) {
	slope, _, err := fitPerAmount(times, times, amounts)
	if err != nil {
		return 0, false, err
	}
	amount, ends = reachable(1 / slope)
	return amount, ends, nil
}

// fitPerAmount is the least-squares line of times/amounts on x.
func fitPerAmount(x, times, amounts []float64) (slope, intercept float64, err error) {
	if len(amounts) != len(times) || len(amounts) < 2 {
		return 0, 0, fmt.Errorf("fit the filter: %d amounts and %d times, want as many of each and at least two", len(amounts), len(times))
	}
	var meanX, meanY, xx, xy float64
	for i := range x {
		if err := cmp.Or(normalRange.check(amounts[i]), passTime.check(times[i])); err != nil {
			return 0, 0, err
		}
		meanX += x[i] / float64(len(x))
		meanY += times[i] / amounts[i] / float64(len(x))
	}
	for i := range x {
		xx += (x[i] - meanX) * (x[i] - meanX)
		xy += (x[i] - meanX) * (times[i]/amounts[i] - meanY)
	}
	if xx == 0 {
		return 0, 0, fmt.Errorf("fit the filter: all %d readings are the same", len(x))
	}
	slope = xy / xx
	return slope, meanY - slope*meanX, nil
}

func meanRatio(times, amounts []float64) float64 {
	sum := 0.0
	for i := range times {
		sum += times[i] / amounts[i] / float64(len(times))
	}
	return sum
}

// NormalTime returns the time a pass would have taken at the reference viscosity
// and amount, so that passes can be compared: t (nu_ref/nu) (V_ref/V).
func NormalTime(time, nu, nuRef, amount, amountRef float64) (float64, error) {
	err := cmp.Or(passTime.check(time), viscosityRange.check(nu), viscosityRange.called("reference viscosity").check(nuRef),
		normalRange.check(amount), normalRange.called("reference amount").check(amountRef))
	if err != nil {
		return 0, err
	}
	return time * nuRef / nu * amountRef / amount, nil
}
