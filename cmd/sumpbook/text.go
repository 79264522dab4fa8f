package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode"
	"unicode/utf8"
)

// inline shows text on one line and harmless: whatever could move a terminal's cursor, end
// the line or reverse the reading order stands as an escape.
func inline(s string) string {
	var b strings.Builder
	for i, r := range s {
		switch {
		case r == utf8.RuneError && isBad(s[i:]):
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case r < 0x80 && unicode.IsControl(r):
			fmt.Fprintf(&b, `\x%02x`, r)
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Zl, r), unicode.Is(unicode.Zp, r):
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

func isBad(s string) bool {
	_, size := utf8.DecodeRuneInString(s)
	return size == 1
}

// A sheet collects lines of cells and prints them aligned. A cell is cleaned as it enters.
type sheet struct {
	out  *tabwriter.Writer
	text *strings.Builder
}

func newSheet() *sheet {
	text := new(strings.Builder)
	return &sheet{tabwriter.NewWriter(text, 0, 8, 2, ' ', 0), text}
}

// row adds a line; empty cells at its end are left out.
func (s *sheet) row(cells ...string) {
	for len(cells) > 0 && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	clean := make([]string, len(cells))
	for i, c := range cells {
		clean[i] = inline(c)
	}
	fmt.Fprintln(s.out, strings.Join(clean, "\t"))
}

// line adds a line that takes no part in the columns, and begins new ones.
func (s *sheet) line(format string, args ...any) {
	s.out.Flush()
	fmt.Fprintln(s.text, inline(fmt.Sprintf(format, args...)))
}

// print writes the sheet without the blanks that padding leaves at the ends of lines.
func (s *sheet) print(w io.Writer) error {
	s.out.Flush()
	var b strings.Builder
	for line := range strings.Lines(s.text.String()) {
		b.WriteString(strings.TrimRight(line, " \n") + "\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}
