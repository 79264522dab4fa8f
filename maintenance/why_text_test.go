package maintenance

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestInFormula(t *testing.T) {
	for _, c := range []struct {
		value float64
		unit  string
		want  string
	}{
		{57.66162, "C", "57.6616 °C"}, {-40, "C", "-40 °C"}, {1, "cycles", "1 cycle"}, {2, "passes", "2 passes"}, {0.8, "1", "0.8"},
		{615671.4, "g", "615671 g"}, {1234567, "g h", "1234570 g h"}, {7, "m3/h", "7 m³/h"}, {30, "um", "30 µm"}, {1e-7, "Pa m3/s", "1e-07 Pa m³/s"},
		{-1e-12 * 0, "h", "0 h"}, {-0.2, fromNow, "-0.2 h from now"}, {100, "ml", "100 ml"}, {10, "W/(m2 K)", "10 W/(m² K)"},
	} {
		require.Equal(t, c.want, InFormula(c.value, c.unit))
	}
}

func TestOrigin(t *testing.T) {
	in := input("stop_c", 66, "C", "told at the stop")
	require.Equal(t, "told at the stop", in.Origin())
	for h, want := range map[float64]string{0.001: "just now", 0.2: "12 min ago", 59.9 / 60: "1 h ago", 3: "3 h ago", 99.96: "100 h ago", 240: "10 d ago"} {
		in.AgeH = num(h)
		require.Equal(t, "told at the stop, "+want, in.Origin())
	}
}
