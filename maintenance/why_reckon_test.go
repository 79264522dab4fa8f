package maintenance

import (
	"math"
	"regexp"
	"slices"
	"strings"

	"github.com/stretchr/testify/require"
)

// isSource names a standard, a law, a paper, the book itself, or says that there is none.
var isSource = regexp.MustCompile(`no source|own derivation|closed form of this project|from memory|the book|configuration|NIST|JCGM|set for this pump|law|ASTM|ISO|IAPWS|ten-degree rule`)

// requireByHand checks one working as a person does it: every step from its inputs alone, and
// every input either from outside or from a step before.
func requireByHand(t require.TestingT, w Working) {
	done := map[string]Step{}
	for _, s := range w.Steps {
		say := w.Action.ID + ": " + s.Name + " (" + s.Formula + ")"
		require.NotEmpty(t, s.Inputs, say)
		require.NotEmpty(t, s.Formula, say)
		require.Regexp(t, isSource, s.Source, say)
		require.NotEmpty(t, s.Unit, say)
		requireOrigins(t, say, s, done)
		requireResult(t, say, s)
		requireLimit(t, say, s)
		done[s.Name] = s
	}
	requireAll(t, w, done)
}

func requireResult(t require.TestingT, say string, s Step) {
	hand := handOf(s.Name)
	require.NotNil(t, hand, "%s: nobody has reckoned it by hand", say)
	g := givenOf(s)
	require.Len(t, g.of, len(s.Inputs), "%s: two inputs of one name", say)
	near := 1e-6 * max(1, math.Abs(s.Result))
	if s.Unit == "g" || s.Name == "settled" {
		near = 0.0015 // masses are whole milligrams, and so are those of the steps before
	}
	require.InDelta(t, hand(g), s.Result, near, "%s: %v", say, g.of)
	if s.Name == "water carried past the trap" && s.Low != nil {
		low, high := carriedEnds(g, s.Result)
		require.InDelta(t, low, *s.Low, near, say)
		require.InDelta(t, high, *s.High, near, say)
	}
}

// handOf is the reckoning of a step's name, or of the longest beginning of it.
func handOf(name string) func(given) float64 {
	best := ""
	for known := range byHand {
		if known == name || strings.HasPrefix(name, known) && len(known) > len(best) && best != name {
			best = known
		}
	}
	return byHand[best]
}

func requireOrigins(t require.TestingT, say string, s Step, done map[string]Step) {
	for _, in := range s.Inputs {
		what := say + ": " + in.Name + ": " + in.From
		word, of, _ := strings.Cut(in.From, " above: ")
		switch strings.TrimRight(strings.Fields(word)[0], ":") {
		case "computed":
			before, ok := done[of]
			require.True(t, ok, "%s: no step before it", what)
			require.Contains(t, results(before), in.Value, what)
		case "told":
			require.NotEmpty(t, in.Entry, what)
			require.NotNil(t, in.AgeH, what)
		case "declared":
			require.True(t, in.Entry != "" || in.AgeH != nil, what)
			if strings.Contains(in.From, "pump") {
				require.True(t, in.Entry != "" && in.AgeH != nil, what)
			}
		case "booked", "assumed", "rule", "constant", "learned":
			require.Contains(t, in.From, " ", what)
		default:
			require.Fail(t, "unknown origin", what)
		}
	}
}

// results are what a step gives: a value, its interval, and of a time how long ago it is.
func results(s Step) []float64 {
	all := []float64{s.Result}
	if s.Low != nil {
		all = append(all, *s.Low, *s.High)
	}
	if s.Unit == "h" {
		all = append(all, -s.Result)
	}
	return all
}

// requireLimit wants the limit of a step among its inputs, or reckoned from them.
func requireLimit(t require.TestingT, say string, s Step) {
	if s.Limit == nil {
		return
	}
	g := givenOf(s)
	limits := append(g.values(), g.of["interval_h"]/24, g.of["times"]*g.of["before_g_h"], g.of["low_share"]*g.of["charge_ml"])
	switch s.Name {
	case "oil_c", "sump_oil_g", "declared", "unexplained", "wait_h": // of the step before, or in the formula
		return
	}
	require.True(t, slices.ContainsFunc(limits, func(v float64) bool { return math.Abs(v-*s.Limit) <= 1e-3 }), "%s: the limit %v is none of %v", say, *s.Limit, limits)
}

// requireAll wants a step for every number of the action.
func requireAll(t require.TestingT, w Working, done map[string]Step) {
	for _, r := range w.Action.Why {
		s, ok := done[r.Rule]
		if !ok {
			s, ok = done["life: "+r.Rule]
		}
		require.True(t, ok, "%s: no step for %s", w.Action.ID, r.Rule)
		require.InDelta(t, r.Value, s.Result, 1e-9, w.Action.ID)
		require.InDelta(t, r.Limit, or(s.Limit, math.NaN()), 1e-9, w.Action.ID)
		require.Equal(t, r.Unit, s.Unit, w.Action.ID)
	}
	for _, name := range []string{"opens", "due"} {
		require.Contains(t, done, name, w.Action.ID)
	}
	if low := w.Action.DueLow; low != nil {
		require.NotNil(t, done["due"].Low, w.Action.ID)
		require.InDelta(t, w.Action.DueHigh.Sub(*low).Hours(), *done["due"].High-*done["due"].Low, 1e-6, w.Action.ID)
		require.NotEmpty(t, dueWidths[w.Action.Do], w.Action.ID)
	}
	_, closes := done["closes"]
	require.Equal(t, w.Action.Closes != nil, closes, w.Action.ID)
	if grams := recordedAmount(w.Action.Record.Act); grams != nil {
		require.Contains(t, done, "amount to record", w.Action.ID)
		require.InDelta(t, *grams, done["amount to record"].Result, 0, w.Action.ID)
	}
}

func recordedAmount(act Act) *float64 {
	switch a := act.(type) {
	case *DrainAct:
		return a.Grams
	case *FillAct:
		return a.Grams
	case *DecantAct:
		return a.Grams
	case *SeparateAct:
		return a.WaterG
	case *LotAct:
		return a.Ml
	}
	return nil
}
