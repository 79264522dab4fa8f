package main

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
)

// percent shows a share, with a decimal where it is nearly all or nothing: only all of it
// is 100 %, and only nothing 0 %.
func percent(share float64) string {
	switch {
	case share <= 0 || share >= 1 || share >= 0.005 && share < 0.995:
		return fmt.Sprintf("%.0f %%", math.Round(share*100))
	case share < 0.001:
		return "under 0.1 %"
	case share > 0.999:
		return "over 99.9 %"
	}
	return fmt.Sprintf("%.1f %%", share*100)
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
