package main

import "strings"

// suggest names the known words that a word may stand for, else all of them.
func suggest(word string, known []string) string {
	if near := nearest(word, known); len(near) > 0 {
		return "did you mean " + strings.Join(near, " or ") + "?"
	}
	return "there are " + strings.Join(known, ", ")
}

// nearest are the known words that the word begins, else those with the fewest slips, one
// or two, told with their unit or without.
func nearest(word string, known []string) []string {
	var begun, near []string
	least := 3
	for _, k := range known {
		if len(word) > 2 && strings.HasPrefix(k, word) {
			begun = append(begun, k)
		}
		slips := min(distance(word, k), distance(word, stem(k)))
		if slips > min(2, 1+len(k)/5) || slips > least {
			continue
		}
		if slips < least {
			least, near = slips, nil
		}
		near = append(near, k)
	}
	if len(begun) > 0 {
		return begun
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
