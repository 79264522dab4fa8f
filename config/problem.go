package config

import (
	"fmt"
	"slices"
	"strings"
)

// A Problem is a mistake in the configuration: where, what is wrong and what would be
// right.
type Problem struct {
	File string // the file, or "environment" or "command line"
	Line int    // 1-based; 0 if there is no line
	Key  string // such as channels[1].url, SUMPBOOK_LISTEN or --listen; empty for the whole
	Says string // what is wrong, lower case
	Hint string // what would be right
}

// Error gives all of it in one line: file:line: key: what is wrong; what would be right.
func (p *Problem) Error() string {
	parts := []string{p.where(), p.Key, p.Says}
	parts = slices.DeleteFunc(parts, func(s string) bool { return s == "" })
	text := strings.Join(parts, ": ")
	if p.Hint != "" {
		text += "; " + p.Hint
	}
	return text
}

func (p *Problem) where() string {
	if p.Line == 0 {
		return p.File
	}
	return fmt.Sprintf("%s:%d", p.File, p.Line)
}

// suggest names the known keys that key may stand for, else all of them.
func suggest(key string, known []string) string {
	var near []string
	for _, k := range known {
		if isNear(strings.ToLower(key), strings.ToLower(k)) {
			near = append(near, k)
		}
	}
	if len(near) > 0 {
		return "did you mean " + strings.Join(near, " or ") + "?"
	}
	return "known here: " + list(known)
}

func isNear(key, known string) bool {
	slips := 1
	if len(known) > 4 {
		slips = 2
	}
	return distance(key, known) <= slips || (len(key) > 2 && strings.HasPrefix(known, key))
}

// distance counts the letters to add, drop, change or swap with the next to get from a to b.
func distance(a, b string) int {
	rows := [3][]int{make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)}
	before, last, row := rows[0], rows[1], rows[2]
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}

func list(names []string) string { return strings.Join(names, ", ") }

// short shows a value in a message without letting it flood the line.
func short(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}
