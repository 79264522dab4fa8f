package units

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What does not fit is refused with what was given and what is wanted: every unit against
// one of every other dimension.
func TestUnitsThatDoNotFitAreNamed(t *testing.T) {
	first := map[Dimension]Unit{}
	for _, d := range table {
		if first[d.dimension] == "" {
			first[d.dimension] = d.unit
		}
	}
	for _, d := range table {
		for other, want := range first {
			if other == d.dimension {
				continue
			}
			_, err := Convert(1, d.unit, want)
			require.ErrorContains(t, err, string(d.unit)+" is a unit of "+string(d.dimension)+", "+string(want)+" one of "+string(other))

			name := string(d.unit)
			if d.unit == "1" || len(ofDimension(lookup(name), other)) > 0 {
				continue // a number alone, or a word for both
			}
			got, err := Parse("1 "+name, want)
			require.ErrorContains(t, err, `read "1 `+name+`": `+name+" is a unit of ")
			require.ErrorContains(t, err, "; a "+string(other)+" is written like ")
			require.Zero(t, got)
		}
	}
}
