package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"sumpbook/maintenance"
)

const wordsHelp = `Values take units: ml=0.7qt, grams=1.4lb, hot_c=154F, pa=40mTorr. A bare number is in the
unit that its key ends in, whatever the configuration's units. The unit may be left off the
key if the value carries it: water=42g. Times: now, 20m ago, 1h30m ago, 21:40, 9:40pm,
yesterday 21:40, last night 23:30, tue 18:00, 2026-11-24 20:24.`

// kindShort is the line of a kind in lists.
func kindShort(kind string) string {
	i := slices.IndexFunc(shapes, func(s shape) bool { return s.kind == kind })
	if i < 0 {
		return "withdraws an entry; see also: sumpbook undo" // of void alone
	}
	return shapes[i].short
}

// kindHelp documents a kind from its fields: examples first.
func kindHelp(kind string, examples []string) string {
	var b strings.Builder
	for _, example := range examples {
		fmt.Fprintf(&b, "  sumpbook %s\n", example)
	}
	if len(examples) == 0 {
		fmt.Fprintf(&b, "  sumpbook add %s %s\n", kind, strings.Join(neededKeys(kind), " "))
	}
	fmt.Fprintf(&b, "\n%s: %s.\n\n%s\n\n%s", kind, kindShort(kind), fieldTable(kind), wordsHelp)
	return b.String()
}

func neededKeys(kind string) []string {
	words := []string{}
	for _, f := range maintenance.FieldsOf(kind) {
		if f.Must || f.First {
			words = append(words, f.Name+"=…")
		}
	}
	return append(words, "[key=value …]")
}

// fieldTable lists the keys of a kind.
func fieldTable(kind string) string {
	s := newSheet()
	for _, f := range maintenance.FieldsOf(kind) {
		must := ""
		switch {
		case f.Must:
			must = "needed"
		case f.First:
			must = "needed at first"
		}
		s.row("  "+f.Name, must, f.Doc, allowed(f))
	}
	s.row("  at", "", "when it happened; now if not told", "")
	s.row("  note", "", "words", "at most 2000 characters")
	s.row("  id", "", "the same id twice is one entry", "")
	s.row("  by", "", "who tells it", "")
	var b strings.Builder
	_ = s.print(&b) // a builder takes all
	return strings.TrimRight(b.String(), "\n")
}

// allowed is what a field takes, where its name does not say it.
func allowed(f maintenance.Field) string {
	if len(f.OneOf) > 0 {
		return strings.Join(f.OneOf, ", ")
	}
	return strings.TrimSpace(f.Range + " " + f.Unit)
}

// kindsTopic documents all kinds at once.
func kindsTopic() *cobra.Command {
	var b strings.Builder
	b.WriteString(wordsHelp + "\n")
	for _, kind := range maintenance.Kinds() {
		fmt.Fprintf(&b, "\n%s: %s\n%s\n", kind, kindShort(kind), fieldTable(kind))
	}
	b.WriteString("\nlimits, in the configuration or as limits.KEY of a pump:\n")
	s := newSheet()
	for _, l := range maintenance.LimitSpecs() {
		byDefault := "unset"
		if l.Default != nil {
			byDefault = trimmed(*l.Default)
		}
		s.row("  "+l.Key, byDefault, l.Unit, l.Meaning, l.Source)
	}
	_ = s.print(&b) // a builder takes all
	return &cobra.Command{Use: "kinds", Short: "the kinds of entry, their fields, and the limits", Long: b.String()}
}

// trimmed is a number as short as it reads.
func trimmed(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// suffix is a unit behind its number.
func suffix(unit string) string {
	if unit == "" || unit == "1" {
		return ""
	}
	return " " + unit
}
