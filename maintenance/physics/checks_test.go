package physics

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A check is one row of testdata/checks: what a source says, and how near we must
// come to it: |got - expected| <= max(rel |expected|, abs).
type check struct {
	id, quantity, source, status string
	in                           inputs
	expected, rel, abs           float64
	line                         []string
}

type inputs map[string]string

// n is the input as a number; "1/24" is one too.
func (in inputs) n(key string) float64 {
	text, ok := in[key]
	if !ok {
		panic("the row has no input " + key)
	}
	over, under, isFraction := strings.Cut(text, "/")
	v, err := strconv.ParseFloat(over, 64)
	if err == nil && isFraction {
		var w float64
		w, err = strconv.ParseFloat(under, 64)
		v /= w
	}
	if err != nil {
		panic(err)
	}
	return v
}

// tC is the row's temperature, which some give in kelvin.
func (in inputs) tC() float64 {
	if _, ok := in["T_K"]; ok {
		return math.Round((in.n("T_K")-zeroC)*1e9) / 1e9 // 273.16 K is 0.01 C, not a hair above
	}
	return in.n("t_C")
}

func readRows(t *testing.T, path string) []check {
	t.Helper()
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	lines, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	require.Equal(t, "id topic quantity inputs expected unit rel_tol abs_tol source status", strings.Join(lines[0], " "))

	var checks []check
	for _, l := range lines[1:] {
		c := check{id: l[0], quantity: l[2], in: inputs{}, source: l[8], status: l[9], line: l}
		for pair := range strings.SplitSeq(l[3], ";") {
			key, value, _ := strings.Cut(pair, "=")
			c.in[strings.TrimSpace(key)] = strings.TrimSpace(value)
		}
		for column, number := range map[int]*float64{4: &c.expected, 6: &c.rel, 7: &c.abs} {
			*number, err = strconv.ParseFloat(l[column], 64)
			if err != nil {
				*number = math.NaN() // a row of words, such as those about food
			}
		}
		checks = append(checks, c)
	}
	return checks
}

func ourChecks(t *testing.T) []check {
	t.Helper()
	paths, err := filepath.Glob("../../testdata/checks/*.csv")
	require.NoError(t, err)
	var all []check
	for _, path := range paths {
		all = append(all, readRows(t, path)...)
	}
	require.GreaterOrEqual(t, len(all), 385, "rows of testdata/checks")
	return all
}

func TestPublishedValues(t *testing.T) {
	for _, c := range ourChecks(t) {
		t.Run(c.id+" "+c.quantity, func(t *testing.T) {
			compute, ok := quantities[c.quantity]
			require.True(t, ok, "nothing here computes %s", c.quantity)
			require.NotEmpty(t, c.source)
			got, err := compute(c.in)
			require.NoError(t, err)
			require.InDelta(t, c.expected, got, max(c.rel*math.Abs(c.expected), c.abs),
				"%s with %v, by %s (%s)", c.quantity, c.in, c.source, c.status)
		})
	}
}

// The rows are copies: they must stay those of the reference, tolerance included.
func TestChecksAreThoseOfTheReference(t *testing.T) {
	shared := os.Getenv("SUMPBOOK_SHARED")
	if shared == "" {
		shared = "../../../shared"
	}
	path := filepath.Join(shared, "reference", "check_values.csv")
	if _, err := os.Stat(path); err != nil {
		t.Skipf("the reference is not here: %v", err)
	}
	reference := map[string][]string{}
	for _, c := range readRows(t, path) {
		reference[c.id] = c.line
	}
	for _, c := range ourChecks(t) {
		require.Equal(t, reference[c.id], c.line, c.id)
	}
}

// must is for arguments that a test knows to be right.
func must(v float64, err error) float64 {
	if err != nil {
		panic(fmt.Sprint("on the way to a check: ", err))
	}
	return v
}
