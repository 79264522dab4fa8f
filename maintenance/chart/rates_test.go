package chart_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance/chart"
)

var update = flag.Bool("update", false, "write the table of rates anew")

const (
	lifetime = 60 // readings of a pump
	troubled = 20 // from this one on, if it has a trouble
)

// A keeper reads and changes the oil in a habit of his own.
type keeper struct {
	name      string
	perCharge int  // readings on a charge
	newEvery  int  // every so manieth charge is new oil, the others filtered
	obeys     bool // changes the oil when asked to, and for new when asked to
}

var keepers = []keeper{
	{"filters, 2 a charge, does as asked", 2, 4, true},
	{"new oil, 3 a charge, by habit", 3, 1, false},
}

// A trouble is what makes a pressure rise by a factor's logarithm: since counts the readings
// and changes the changes of oil from its beginning, place the readings on the charge, all from 0.
type trouble struct {
	name  string
	right chart.Verdict
	rise  func(since, changes, place int, fresh bool) float64
}

func step(factor float64) func(int, int, int, bool) float64 {
	return func(int, int, int, bool) float64 { return math.Log(factor) }
}

var troubles = []trouble{
	{"pump x1.5", chart.Pump, step(1.5)},
	{"pump x2", chart.Pump, step(2)},
	{"pump x3", chart.Pump, step(3)},
	{"pump x2 within 20 readings, on and on", chart.Pump, func(since, _, _ int, _ bool) float64 { return math.Log(2) * float64(since) / 20 }},
	{"oil x1.5 with each reading on a charge", chart.Oil, func(_, _, place int, _ bool) float64 { return math.Log(1.5) * float64(place) }},
	{"one charge x3", chart.Oil, func(_, changes, _ int, _ bool) float64 { return math.Log(3) * truth(changes == 1) }},
	{"filtered oil x2", chart.Oil, func(_, _, _ int, fresh bool) float64 { return math.Log(2) * truth(!fresh) }},
}

func truth(is bool) float64 {
	if is {
		return 1
	}
	return 0
}

// life is what was found after each reading of a pump whose readings scatter, whose oil
// grows worse by a twentieth with each, and is worse by so much when filtered; one reading
// in 50 is mad: 3 to 10 times too high. All of it invented.
func (k keeper) life(rng *rand.Rand, scatter float64, rise func(since, changes, place int, fresh bool) float64) (readings []chart.Reading, found []chart.Finding) {
	const centre, wet, reused, mad = -0.7, 0.05, 0.05, 0.02
	charge, place, fresh, want := 1, 0, true, chart.Nothing
	for i := range lifetime {
		change := place >= k.perCharge || k.obeys && (want == chart.Change || want == chart.NewOil)
		if change {
			fresh = charge%k.newEvery == 0 || k.obeys && want == chart.NewOil
			charge, place = charge+1, 0
		}
		x := centre + scatter*rng.NormFloat64() + wet*float64(place) + reused*truth(!fresh)
		if rng.Float64() < mad {
			x += math.Log(3 + 7*rng.Float64())
		}
		if rise != nil && i >= troubled {
			x += rise(i-troubled, charge-readings[troubled-1].Charge, place, fresh)
		}
		readings = append(readings, chart.Reading{LnPa: x, Charge: charge, Fresh: fresh})
		f := chart.Judge(readings)
		found, want, place = append(found, f), f.Want, place+1
	}
	return readings, found
}

// A tally is what was said of many pumps.
type tally struct {
	pumps, signals int
	oil, pump      int   // of how many it was ever said
	waits, changes []int // readings and changes of oil from the trouble to the right word
}

func tallied(pumps int, k keeper, scatter float64, tr trouble) (all tally) {
	rng := rand.New(rand.NewPCG(uint64(pumps), 12))
	all.pumps = pumps
	for range pumps {
		readings, found := k.life(rng, scatter, tr.rise)
		all.add(readings, found, tr.right)
	}
	return all
}

func (a *tally) add(readings []chart.Reading, found []chart.Finding, right chart.Verdict) {
	said := map[chart.Verdict]int{}
	signal := -1
	for i, f := range found {
		if f.Signal > signal {
			signal, a.signals = f.Signal, a.signals+1
		}
		if _, before := said[f.Verdict]; !before && (right == chart.Steady || i >= troubled) {
			said[f.Verdict] = i
		}
	}
	if _, ok := said[chart.Oil]; ok {
		a.oil++
	}
	if _, ok := said[chart.Pump]; ok {
		a.pump++
	}
	if i, ok := said[right]; ok && right != chart.Steady {
		a.waits = append(a.waits, i-troubled+1)
		a.changes = append(a.changes, readings[i].Charge-readings[troubled-1].Charge)
	}
}

func (a *tally) percent(n int) string { return fmt.Sprintf("%.1f %%", 100*float64(n)/float64(a.pumps)) }

func (a *tally) signalsPer100() float64 { return 100 * float64(a.signals) / float64(a.pumps*lifetime) }

func median(all []int) string {
	if len(all) == 0 {
		return "–"
	}
	slices.Sort(all)
	return fmt.Sprint(all[len(all)/2])
}

// The table in testdata is what is measured: of each kind of pump, how often it is said to
// have troubles of oil or pump within 60 readings.
func TestRates(t *testing.T) {
	var b strings.Builder
	b.WriteString("Steady pumps, 60 readings each:\n\n| keeper | scatter, ln | signals in 100 readings | ever called oil | ever called pump |\n| --- | --- | --- | --- | --- |\n")
	for _, k := range append(keepers[:2:2], keeper{"new oil for each reading", 1, 1, false}) {
		for _, scatter := range []float64{0.15, 0.3} {
			a := tallied(1500, k, scatter, trouble{right: chart.Steady})
			fmt.Fprintf(&b, "| %s | %g | %.2f | %s | %s |\n", k.name, scatter, a.signalsPer100(), a.percent(a.oil), a.percent(a.pump))
			require.Less(t, float64(a.pump), 0.01*float64(a.pumps), "%s, %g: steady pumps are blamed", k.name, scatter)
		}
	}
	b.WriteString("\nPumps with a trouble from reading 21 on, 40 readings more; the right word is in bold:\n\n| trouble | keeper | scatter, ln | called oil | called pump | readings until it is said | changes of oil until then |\n| --- | --- | --- | --- | --- | --- | --- |\n")
	for _, tr := range troubles {
		for _, k := range keepers {
			if tr.name == "filtered oil x2" && k.newEvery == 1 {
				continue
			}
			for _, scatter := range []float64{0.15, 0.3} {
				a := tallied(300, k, scatter, tr)
				oil, pump := a.percent(a.oil), "**"+a.percent(a.pump)+"**"
				if tr.right == chart.Oil {
					oil, pump = "**"+oil+"**", a.percent(a.pump)
				}
				fmt.Fprintf(&b, "| %s | %s | %g | %s | %s | %s | %s |\n", tr.name, k.name, scatter, oil, pump, median(a.waits), median(a.changes))
			}
		}
	}
	const golden = "testdata/rates.md"
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(b.String()), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.Equal(t, string(want), b.String())
}
