package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
	"sumpbook/maintenance/units"
)

const goldenWhy = "../../testdata/golden/why"

// Each tale leads to one action; what why prints of it is kept beside it. Regenerate with
// go test ./cmd/sumpbook -run TestWhyGolden -args -update.
func TestWhyGolden(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(goldenWhy, "tales", "*.tale"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".tale")
		t.Run(name, func(t *testing.T) {
			w, now := taleOf(t, file)
			requireGolden(t, name+".txt", whyText(t, w, now, units.Metric))
			if name == "drain-hot" || name == "decant-settled" {
				requireGolden(t, name+"-us.txt", whyText(t, w, now, units.US))
			}
		})
	}
}

func requireGolden(t *testing.T, name, text string) {
	t.Helper()
	file := filepath.Join(goldenWhy, name)
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), text)
}

// whyText is what why prints. Its working keeps within a terminal.
func whyText(t *testing.T, w maintenance.Working, now time.Time, system units.System) string {
	b := &session{reader: reader{system, time.UTC, now}}
	s, out := newSheet(), new(bytes.Buffer)
	showWorking(b, s, w)
	require.NoError(t, s.print(out))
	_, steps, _ := strings.Cut(out.String(), "\n\n")
	for line := range strings.Lines(steps) {
		require.LessOrEqual(t, width(strings.TrimRight(line, "\n")), columns, line)
	}
	return out.String()
}

var taleBegins = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// taleOf tells a tale's lines, whose times are hours after its beginning, and asks for the
// working that its last line names.
func taleOf(t *testing.T, file string) (maintenance.Working, time.Time) {
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	rules, told := taleRules(), []maintenance.Entry(nil)
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		words := taleTimes(t, strings.Fields(line))
		switch words[0] {
		case "rule":
			key, value, _ := strings.Cut(words[1], "=")
			var l maintenance.Limits
			require.NoError(t, json.Unmarshal([]byte(`{"`+key+`":`+value+`}`), &l))
			rules.Limits = l.Over(rules.Limits)
		case "why":
			s, err := maintenance.Fold(rules, told)
			require.NoError(t, err)
			now, err := time.Parse(time.RFC3339, strings.TrimPrefix(words[1], "at="))
			require.NoError(t, err)
			return workingOf(t, s, rules, now, words[2]), now
		default: // id and at, then the kind
			e, err := wording{now: taleBegins.AddDate(1, 0, 0), zone: time.UTC}.entry(words[2], append(words[:2:2], words[3:]...))
			require.NoError(t, err, line)
			e.Seq = uint64(len(told) + 1)
			told = append(told, e)
		}
	}
	require.Fail(t, "the tale asks for nothing")
	return maintenance.Working{}, time.Time{}
}

func workingOf(t *testing.T, s *maintenance.State, rules maintenance.Rules, now time.Time, prefix string) maintenance.Working {
	for _, a := range maintenance.Next(s, rules, now) {
		if strings.HasPrefix(a.ID, prefix+"/") {
			w, ok := maintenance.Why(s, rules, now, a.ID)
			require.True(t, ok)
			return w
		}
	}
	require.Fail(t, "not asked: "+prefix)
	return maintenance.Working{}
}

// taleTimes writes the hours of at and until out as times.
func taleTimes(t *testing.T, words []string) []string {
	for i, word := range words {
		key, value, _ := strings.Cut(word, "=")
		if key != "at" && key != "until" {
			continue
		}
		h, err := strconv.ParseFloat(value, 64)
		require.NoError(t, err, word)
		words[i] = key + "=" + taleBegins.Add(time.Duration(h*float64(time.Hour))).Round(time.Second).Format(time.RFC3339)
	}
	return words
}

// taleRules are the defaults with the upkeep tasks that the tales speak of.
func taleRules() maintenance.Rules {
	r := maintenance.DefaultRules()
	r.Care = []maintenance.CareTask{
		{Task: "clean-chamber", Cycles: 1, Class: "curd"},
		{Task: "exhaust-filter", RunHours: 40},
		{Task: "gasket", Next: func(after time.Time) time.Time { return after.AddDate(0, 0, 28) }},
	}
	return r
}
