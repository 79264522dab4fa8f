package main

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
)

// percent shows a share; only all of it is 100 %.
func percent(share float64) string {
	shown := math.Round(share * 100)
	if shown == 100 && share < 1 {
		return "over 99 %"
	}
	return fmt.Sprintf("%.0f %%", shown)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func assumed(is bool) string {
	if is {
		return " (assumed)"
	}
	return ""
}

// byMass are the names, the heaviest first.
func byMass(all map[string]float64) []string {
	return slices.SortedFunc(maps.Keys(all), func(a, b string) int {
		return cmp.Or(cmp.Compare(all[b], all[a]), cmp.Compare(a, b))
	})
}
