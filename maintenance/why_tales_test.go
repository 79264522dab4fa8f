package maintenance

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"
)

const whyTales = "../testdata/golden/why/tales"

// Each tale leads to one action, whose working holds when it is reckoned by hand; every kind
// of action has one.
func TestTalesReckonedByHand(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(whyTales, "*.tale"))
	require.NoError(t, err)
	kinds := map[Do]bool{}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			w := taleWorking(t, file)
			kinds[w.Action.Do] = true
			require.True(t, strings.HasPrefix(filepath.Base(file), string(w.Action.Do)+"-"))
			requireByHand(t, w)
			requireFromPrint(t, w)
		})
	}
	for _, do := range Dos() {
		require.True(t, kinds[do], "no tale leads to %s", do)
	}
}

// requireFromPrint reckons each step from its inputs as they are printed, to six figures.
func requireFromPrint(t *testing.T, w Working) {
	for _, s := range w.Steps {
		g := givenOf(s)
		for i, in := range s.Inputs {
			figures, _, _ := strings.Cut(InFormula(in.Value, in.Unit), " ")
			v, err := strconv.ParseFloat(figures, 64)
			require.NoError(t, err, figures)
			g.of[in.Name] = v
			g.order = slices.Clone(g.order)
			g.order[i].Value = v
		}
		require.InDelta(t, s.Result, handOf(s.Name)(g), max(0.01, 1e-4*math.Abs(s.Result)), "%s: %v", s.Name, g.of)
	}
}

// taleWorking tells a tale's entries and asks for the working that its last line names.
func taleWorking(t *testing.T, file string) Working {
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Contains(t, string(text), "# Invented.")
	b := newTale(t)
	b.rules.Care = taleCare()
	for line := range strings.Lines(string(text)) {
		words := strings.Fields(line)
		switch {
		case words[0] == "#":
		case words[0] == "rule":
			key, value, _ := strings.Cut(words[1], "=")
			var l Limits
			require.NoError(t, json.Unmarshal([]byte(`{"`+key+`":`+value+`}`), &l), line)
			b.rules.Limits = l.Over(b.rules.Limits)
		case words[0] == "why":
			now := taleTime(t, words[1])
			for _, a := range Next(b.s, b.rules, now) {
				if strings.HasPrefix(a.ID, words[2]+"/") {
					w, _ := Why(b.s, b.rules, now, a.ID)
					return w
				}
			}
			require.Fail(t, "not asked", "%s: %v", line, WhyNot(b.s, b.rules, now, Do(strings.Split(words[2], "/")[0])))
		default:
			b.tell(taleUntil(t, line))
		}
	}
	require.Fail(t, "the tale asks for nothing")
	return Working{}
}

// taleTime reads "at=24.5": hours after the beginning.
func taleTime(t *testing.T, word string) time.Time {
	_, h, _ := strings.Cut(word, "=")
	v, err := strconv.ParseFloat(h, 64)
	require.NoError(t, err, word)
	return hour(v)
}

// taleUntil writes the hours of an until out as a time.
func taleUntil(t *testing.T, line string) string {
	words := strings.Fields(line)
	for i, word := range words {
		if strings.HasPrefix(word, "until=") {
			words[i] = "until=" + taleTime(t, word).Format(time.RFC3339)
		}
	}
	return strings.Join(words, " ")
}

// taleCare are the upkeep tasks of the tales.
func taleCare() []CareTask {
	return []CareTask{
		{Task: "clean-chamber", Cycles: 1, Class: "curd"},
		{Task: "exhaust-filter", RunHours: 40},
		{Task: "gasket", Next: func(after time.Time) time.Time { return after.Add(28 * day) }},
	}
}

// Filtered oil that stands too cold for the law of settling is decanted by what lies at its
// bottom already.
func TestWhyWhereNoLawOfSettlingHolds(t *testing.T) {
	b := kitchen(t)
	b.tell("start pump=north trap_c=-25").after(30).tell("stop pump=north", "drain pump=north to=jar-1").after(400)
	b.tell("weigh vessel=jar-1 grams=650 stage=residue").tell("freeze vessel=jar-1", "weigh vessel=jar-1 grams=650 stage=filtered")
	require.Positive(t, b.s.Vessels["jar-1"].Sunk)
	b.rules.Limits.FillFreeWaterG = num(b.s.Vessels["jar-1"].freeWater().Grams() / 2)
	b.tell("vessel vessel=jar-1 store_c=-5").after(1)
	a := asks(t, b.s, b.rules, b.now.Sub(day0).Hours(), "decant/jar-1")
	w := mustWhy(t, b.s, b.rules, b.now.Sub(day0).Hours(), a.ID)
	requireByHand(t, w)
	require.Contains(t, stepOf(t, w, "wait in all").Source, noSettling)
}
