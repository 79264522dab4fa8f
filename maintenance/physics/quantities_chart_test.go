package physics

import (
	"maps"
	"strconv"
	"strings"

	"sumpbook/maintenance/chart"
)

// The charts' quantities: they stand in the one table of published values.
func init() {
	maps.Copy(quantities, map[string]func(in inputs) (float64, error){
		"ewma_nist_6324": func(in inputs) (float64, error) {
			e := chart.EWMA{Lambda: in.n("lambda"), Value: in.n("z0")}
			for _, x := range valuesOf(nist6324)[:int(in.n("i"))] {
				e = e.Next(x)
			}
			return e.Value, nil
		},
		"ewma_ucl": func(in inputs) (float64, error) {
			return in.n("mu0") + chart.EWMA{Lambda: in.n("lambda")}.Limit(100, in.n("L"), in.n("s")), nil
		},
		"ewma_lcl": func(in inputs) (float64, error) {
			return in.n("mu0") - chart.EWMA{Lambda: in.n("lambda")}.Limit(100, in.n("L"), in.n("s")), nil
		},
		"cusum_high_nist_6323": func(in inputs) (float64, error) {
			return sums(nist6323, in.n("target"), in.n("k"))[int(in.n("i"))-1].High, nil
		},
		"cusum_low_nist_6323": func(in inputs) (float64, error) {
			return sums(nist6323, in.n("target"), in.n("k"))[int(in.n("i"))-1].Low, nil
		},
		"cusum_first_signal": func(in inputs) (float64, error) {
			return firstOver(sums(nist6323, in.n("target"), in.n("k")), in.n("h")), nil
		},
		"cusum_montgomery": func(in inputs) (float64, error) {
			return sums(montgomery91, in.n("mu0"), in.n("K"))[int(in.n("i"))-1].High, nil
		},
		"cusum_montgomery_first_signal": func(in inputs) (float64, error) {
			return firstOver(sums(montgomery91, in.n("mu0"), in.n("K")), in.n("H")), nil
		},
		"median_absolute_deviation": func(in inputs) (float64, error) {
			_, deviation := chart.MedianDeviation(valuesOf(strings.ReplaceAll(in["data"], ",", " ")))
			return in.n("scale") * deviation, nil
		},
	})
}

const (
	// NIST/SEMATECH e-Handbook 6.3.2.4, worked example.
	nist6324 = "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
	// NIST/SEMATECH e-Handbook 6.3.2.3, worked example.
	nist6323 = "324.925 324.675 324.725 324.350 325.350 325.225 324.125 324.525 325.225 324.600 324.625 325.150 328.325 327.250 327.825 328.500 326.675 327.775 326.875 328.350"
	// Montgomery, Introduction to SQC, Table 9.1, from memory: it gives the published sums.
	montgomery91 = "9.45 7.99 9.29 11.66 12.16 10.18 8.04 11.46 9.20 10.34 9.03 11.47 10.51 9.40 10.08 9.37 10.62 10.31 8.52 10.84 10.90 9.33 12.29 11.50 10.60 11.08 10.38 11.62 11.31 10.52"
)

func valuesOf(text string) (all []float64) {
	for word := range strings.FieldsSeq(text) {
		all = append(all, must(strconv.ParseFloat(word, 64)))
	}
	return all
}

func sums(text string, target, slack float64) (all []chart.CUSUM) {
	c := chart.CUSUM{Target: target, Slack: slack}
	for _, x := range valuesOf(text) {
		c = c.Next(x)
		all = append(all, c)
	}
	return all
}

// firstOver is the number of the first value, from 1, at which either sum is over the limit.
func firstOver(all []chart.CUSUM, limit float64) float64 {
	for i, c := range all {
		if max(c.High, c.Low) > limit {
			return float64(i + 1)
		}
	}
	return 0
}
