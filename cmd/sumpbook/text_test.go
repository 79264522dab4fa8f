package main

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

func TestInlineIsHarmless(t *testing.T) {
	for text, want := range map[string]string{
		"":                   "",
		"plain – 40 °C, ½ l": "plain – 40 °C, ½ l",
		"\x1b[2J":            `\x1b[2J`,
		"a\nb\tc\rd\x7f":     `a\x0ab\x09c\x0dd\x7f`,
		"\u009b31m":          `\u009b31m`,
		"a\u202eb\u2066c":    `a\u202eb\u2066c`,
		"a\u2028b":           `a\u2028b`,
		"a\xffb\ufffdc":      "a\\xffb\ufffdc",
	} {
		require.Equal(t, want, inline(text))
	}
}

func FuzzInline(f *testing.F) {
	f.Add("\x1b]0;title\x07\u009c")
	f.Add("\xf0\x28\x8c\x28")
	f.Fuzz(func(t *testing.T, text string) {
		shown := inline(text)
		require.True(t, utf8.ValidString(shown))
		require.Equal(t, -1, strings.IndexFunc(shown, func(r rune) bool {
			return unicode.IsControl(r) || unicode.Is(unicode.Cf, r)
		}))
		require.Equal(t, shown, inline(shown), "what is shown is shown as it is")
	})
}

func TestSheetAlignsEachTable(t *testing.T) {
	s := newSheet()
	s.line("head %d", 1)
	s.row("A", "LONG NAME", "C")
	s.row("longer", "b")
	s.row("x", "", "c")
	s.line("between")
	s.row("1", "2")
	var b strings.Builder
	require.NoError(t, s.print(&b))
	require.Equal(t, "head 1\nA       LONG NAME  C\nlonger  b\nx                  c\nbetween\n1  2\n", b.String())
}

func TestNearest(t *testing.T) {
	known := []string{"drain", "grams", "water_g", "note", "next"}
	for word, want := range map[string][]string{
		"drian": {"drain"}, "watr": {"water_g"}, "water": {"water_g"}, "nxt": {"next"}, "gra": {"grams"}, "zebra": nil, "": nil,
	} {
		require.Equal(t, want, nearest(word, known), word)
	}
	require.Equal(t, "there are a, b", suggest("zzz", []string{"a", "b"}))
}

func TestPhrases(t *testing.T) {
	require.Equal(t, "100 %", percent(1))
	require.Equal(t, "over 99.9 %", percent(0.9999))
	require.Equal(t, "99.7 %", percent(0.997))
	require.Equal(t, "0.3 %", percent(0.003))
	require.Equal(t, "under 0.1 %", percent(0.0001))
	require.Equal(t, "0 %", percent(0))
	require.Equal(t, "97 %", percent(0.971))
	require.Equal(t, "1 cycle", count(1, "cycle"))
	require.Equal(t, "0 cycles", count(0, "cycle"))
	require.Equal(t, []string{"b", "a", "c"}, byMass(map[string]float64{"a": 1, "b": 2, "c": 1}))
}

func TestANumberIsNoFlag(t *testing.T) {
	require.Equal(t, []string{"calc", "convert", "\u221240F", "\u2212.5", "-q", "--temp=-40C", "--", "-x"},
		guardNumbers([]string{"calc", "convert", "-40F", "-.5", "-q", "--temp=-40C", "--", "-x"}))
	require.Equal(t, "-5", plainMinus("\u22125"))
}
