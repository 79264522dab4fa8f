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

// A sheet collects lines and aligned tables. What enters is cleaned.
type sheet struct {
	text strings.Builder
	rows [][]string // of the table being told
}

func newSheet() *sheet { return new(sheet) }

// row adds a line to the table.
func (s *sheet) row(cells ...string) {
	for i, c := range cells {
		cells[i] = inline(c)
	}
	s.rows = append(s.rows, cells)
}

// line ends the table and adds a line that takes no part in columns.
func (s *sheet) line(format string, args ...any) {
	s.flush()
	s.text.WriteString(inline(fmt.Sprintf(format, args...)) + "\n")
}

// flush aligns the table. A short row is filled up: a column is one from top to bottom.
func (s *sheet) flush() {
	width := 0
	for _, cells := range s.rows {
		width = max(width, len(cells))
	}
	out := tabwriter.NewWriter(&s.text, 0, 8, 2, ' ', 0)
	for _, cells := range s.rows {
		fmt.Fprintln(out, strings.Join(cells, "\t")+strings.Repeat("\t", width-len(cells)))
	}
	_ = out.Flush() // a builder takes all
	s.rows = nil
}

// print writes the sheet without the blanks that padding leaves at the ends of lines.
func (s *sheet) print(w io.Writer) error {
	s.flush()
	var b strings.Builder
	for line := range strings.Lines(s.text.String()) {
		b.WriteString(strings.TrimRight(line, " \n") + "\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}
