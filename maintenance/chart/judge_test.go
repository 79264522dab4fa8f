package chart_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance/chart"
)

// A charge is what was read on it, in Pa, and whether its oil was new or filtered.
type charge struct {
	oil string // "new", "filtered"
	pa  []float64
}

func told(charges ...charge) (all []chart.Reading) {
	for i, c := range charges {
		for _, pa := range c.pa {
			all = append(all, chart.Reading{LnPa: math.Log(pa), Charge: i + 1, Fresh: c.oil == "new"})
		}
	}
	return all
}

func pa(values ...float64) []float64 { return values }

// usual are two charges as they should be: 0.5 Pa, give or take.
var usual = []charge{{"new", pa(0.45, 0.52, 0.50, 0.55)}, {"filtered", pa(0.50, 0.48, 0.56, 0.53)}}

func after(more ...charge) []chart.Reading { return told(append(usual[:2:2], more...)...) }

func TestStories(t *testing.T) {
	for name, story := range map[string]struct {
		readings []chart.Reading
		verdict  chart.Verdict
		want     chart.Want
	}{
		"no reading":            {nil, chart.TooFew, chart.Readings},
		"two readings only":     {told(charge{"new", pa(0.5, 3)}), chart.TooFew, chart.Readings},
		"a start and no more":   {after(), chart.TooFew, chart.Readings},
		"as usual":              {after(charge{"filtered", pa(0.51, 0.54)}), chart.Steady, chart.Nothing},
		"one mad reading":       {after(charge{"filtered", pa(0.51, 30)}), chart.Steady, chart.Nothing},
		"wet oil":               {after(charge{"filtered", pa(0.7, 1.1, 1.6)}), chart.TooFew, chart.Change},
		"wet oil, read once":    {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"new", pa(0.5)}), chart.TooFew, chart.Readings},
		"wet oil cured by new":  {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"new", pa(0.5, 0.52)}), chart.Oil, chart.Nothing},
		"cured by filtered":     {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"filtered", pa(0.5, 0.52)}), chart.Oil, chart.Nothing},
		"cured long ago":        {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"new", pa(0.5, 0.52, 0.5, 0.52, 0.5, 0.52, 0.5, 0.52, 0.5, 0.52)}), chart.Steady, chart.Nothing},
		"dried by the ballast":  {after(charge{"filtered", pa(0.7, 1.1, 1.6, 0.55, 0.5)}), chart.Steady, chart.Nothing},
		"stays on filtered oil": {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"filtered", pa(1.5, 1.6)}), chart.TooFew, chart.NewOil},
		"filtered oil spoilt":   {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"filtered", pa(1.5, 1.6)}, charge{"new", pa(0.5, 0.5)}), chart.Oil, chart.Nothing},
		"worn vanes, read once": {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"new", pa(1.5)}), chart.TooFew, chart.Readings},
		"worn vanes":            {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"new", pa(1.5, 1.5)}), chart.Pump, chart.Nothing},
		"repair in between":     {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"new", pa(1.5, 1.5)}, charge{"new", pa(0.5, 0.5)}), chart.Steady, chart.Nothing},
		"read once a charge":    {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"filtered", pa(0.5)}, charge{"new", pa(0.52)}), chart.Oil, chart.Nothing},
		"mad on new oil":        {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"new", pa(9, 0.5)}), chart.TooFew, chart.NewOil},
		"new oil wet at once":   {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"new", pa(0.5, 1.5)}, charge{"new", pa(0.5, 1.5)}), chart.Oil, chart.Nothing},
		"worn, then filtered":   {after(charge{"filtered", pa(0.7, 1.1, 1.6)}, charge{"new", pa(1.5, 1.5)}, charge{"filtered", pa(1.6, 1.7)}), chart.Pump, chart.Nothing},
		"wear without an end":   {after(slow(12)...), chart.Pump, chart.Nothing},
		"better than it began":  {after(charge{"new", pa(0.2, 0.21, 0.2, 0.22, 0.2)}), chart.TooFew, chart.Readings},
		"better, and measured":  {after(charge{"new", pa(0.2, 0.21, 0.2, 0.22)}, charge{"new", pa(0.2, 0.21, 0.2, 0.22, 0.2, 0.21, 0.2, 0.22, 0.2, 0.2)}), chart.Steady, chart.Nothing},
		"and worse than that":   {after(charge{"new", pa(0.2, 0.21, 0.2, 0.22)}, charge{"new", pa(0.2, 0.21, 0.2, 0.22, 0.2, 0.21, 0.2, 0.22, 0.5, 0.5, 0.5)}, charge{"new", pa(0.5, 0.5)}), chart.Pump, chart.Nothing},
	} {
		t.Run(name, func(t *testing.T) {
			f := chart.Judge(story.readings)
			require.Equal(t, story.verdict, f.Verdict, "%+v", f)
			require.Equal(t, story.want, f.Want, "%+v", f)
		})
	}
}

// slow are charges of new oil, two readings each, every one 8 % above the one before.
func slow(charges int) (all []charge) {
	level := 0.5
	for range charges {
		level *= 1.08
		all = append(all, charge{"new", pa(level, level)})
	}
	return all
}

// What a finding tells can be reckoned by hand: the median of the first eight, and so on.
func TestFindingShowsItsWork(t *testing.T) {
	readings := after(charge{"filtered", pa(1.5, 1.6, 1.7)}, charge{"new", pa(1.4, 1.5)})
	before, f := chart.Judge(readings[:11]), chart.Judge(readings)
	require.Equal(t, chart.Finding{
		Verdict: chart.TooFew, Want: chart.Change, N: 8,
		Centre: f.Centre, Scale: 0.2, Doubt: f.Doubt,
		EWMA: before.EWMA, EWMALimit: before.EWMALimit, CUSUM: before.CUSUM, CUSUMLimit: 5,
		Signal: 10, Level: math.Log(1.6), Factor: before.Factor,
	}, before)
	const centre = 0.5099 // of 0.45 0.48 0.50 0.50 0.52 0.53 0.55 0.56: the root of 0.50 times 0.52
	require.InDelta(t, math.Log(centre), f.Centre, 1e-3)
	require.InDelta(t, 0.2*math.Sqrt(math.Pi/16), f.Doubt, 1e-12)
	require.InDelta(t, 3*(3-0.5-math.Sqrt(math.Pi/16)), before.CUSUM, 1e-9, "three readings, each cut to three scales")
	require.InDelta(t, f.Centre+0.2*3*(1-0.7*0.7*0.7), before.EWMA, 1e-9, "a share of 0.3 for each of them")
	require.InDelta(t, 1.6/centre, before.Factor, 1e-2)
	require.Equal(t, chart.Pump, f.Verdict)
	require.Equal(t, []any{10, 2, true}, []any{f.Signal, f.AfterN, f.New})
	require.InDelta(t, math.Log(1.6), f.Level, 1e-9)
	require.InDelta(t, math.Log(1.4*1.5)/2, f.After, 1e-9)
	require.InDelta(t, math.Sqrt(1.4*1.5)/centre, f.Factor, 1e-2)
}
