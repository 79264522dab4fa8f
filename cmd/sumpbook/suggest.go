package main

import "strings"

// suggest names the known words that a word may stand for, else all of them.
func suggest(word string, known []string) string {
	if near := nearest(word, known); len(near) > 0 {
		return "did you mean " + strings.Join(near, " or ") + "?"
	}
	return "there are " + strings.Join(known, ", ")
}

// nearest are the known words a slip or two away, told with their unit or without, or that
// the word begins.
func nearest(word string, known []string) []string {
	var near []string
	for _, k := range known {
		slips := min(2, 1+len(k)/5)
		if min(distance(word, k), distance(word, stem(k))) <= slips || len(word) > 2 && strings.HasPrefix(k, word) {
			near = append(near, k)
		}
	}
	return near
}

// distance counts the letters to add, drop or change to get from a to b.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, diagonal+1)
		}
	}
	return row[len(b)]
}
