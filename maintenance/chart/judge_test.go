package chart_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance/chart"
)

// on are readings in Pa on one charge after those before: a letter n makes the oil new,
// an f filtered.
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
	} {
		t.Run(name, func(t *testing.T) {
			f := chart.Judge(story.readings)
			require.Equal(t, story.verdict, f.Verdict, "%+v", f)
			require.Equal(t, story.want, f.Want, "%+v", f)
		})
	}
}
