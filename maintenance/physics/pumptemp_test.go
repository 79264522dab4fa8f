package physics

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var vg68 = Oil{V40: 68, V100: 8.6, Density15: DefaultDensity15}

func TestTimeToReachIsTheInverseOfPumpTemp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := rapid.Float64Range(-20, 100).Draw(t, "start")
		final := rapid.Float64Range(-20, 100).Draw(t, "final")
		tau := rapid.Float64Range(1, 200).Draw(t, "tau")
		minutes := rapid.Float64Range(0, 5*tau).Draw(t, "minutes")
		if start == final {
			t.Skip("a pump at its final temperature stays there")
		}
		at := must(PumpTemp(start, final, tau, minutes))
		require.GreaterOrEqual(t, at, min(start, final)-1e-9)
		require.LessOrEqual(t, at, max(start, final)+1e-9)
		back, err := TimeToReach(start, final, at, tau)
		if err != nil {
			t.Skip("rounded onto its final temperature")
		}
		again := must(PumpTemp(start, final, tau, back))
		require.InDelta(t, at, again, 1e-6)
	})
}

func TestTimeToReachWhatIsNeverReached(t *testing.T) {
	for name, target := range map[string]float64{"the final temperature": 20, "beyond it": 19, "before the start": 71} {
		t.Run(name, func(t *testing.T) {
			_, err := TimeToReach(70, 20, target, 60)
			require.ErrorAs(t, err, &RangeError{})
			require.ErrorContains(t, err, "is outside 20 to 70 C")
		})
	}
	require.Zero(t, must(TimeToReach(70, 20, 70, 60)), "there already")
	require.Zero(t, must(TimeToReach(20, 20, 20, 60)), "there for ever")
}

func TestOneReadingTeachesTheTimeConstant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tau := rapid.Float64Range(5, 300).Draw(t, "tau")
		minutes := rapid.Float64Range(1, 3*tau).Draw(t, "minutes")
		read := must(PumpTemp(67, 21, tau, minutes))
		require.InEpsilon(t, tau, must(TauFromReading(67, 21, minutes, read)), 1e-6)
	})
	for name, c := range map[string]struct {
		final, minutes, read float64
		says                 string
	}{
		"at the start":        {21, 30, 67, "reading 67 C is outside 21 to 67 C"},
		"at the end":          {21, 30, 21, "reading 21 C is outside 21 to 67 C"},
		"colder than the end": {21, 30, 20, "reading 20 C is outside 21 to 67 C"},
		"nowhere to go":       {67, 30, 67, "reading 67 C is outside 67 to 67 C"},
		"at once":             {21, 0, 40, "tau 0 min is outside 0.1 to 10000 min"},
		"after a week":        {21, 10_080, 66, "tau 458621.5"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := TauFromReading(67, c.final, c.minutes, c.read)
			require.ErrorAs(t, err, &RangeError{})
			require.ErrorContains(t, err, c.says)
		})
	}
}

func TestSafeMinutes(t *testing.T) {
	require.InDelta(t, 13.4, must(SafeMinutes(70, 20, 60)), 0.05)
	require.Zero(t, must(SafeMinutes(55, 20, 60)), "safe from the stop")
	_, err := SafeMinutes(70, 60, 60)
	require.EqualError(t, err, "ambient 60 C is outside -40 to 59.9 C", "never, in a room as hot")
}

func TestHotWindow(t *testing.T) {
	for name, c := range map[string]struct{ hot, ambient, closes float64 }{
		"stopped warm":                  {70, 20, 47.66},
		"stopped before it was warm":    {50, 20, 17.01},
		"stopped cold":                  {30, 20, 0},
		"stopped cold in a room hotter": {30, 50, 0},
		"stopped as cold as the room":   {20, 20, 0},
	} {
		t.Run(name, func(t *testing.T) {
			minutes, end, err := HotWindow(vg68, c.hot, 70, c.ambient, 60, 3)
			require.NoError(t, err)
			require.InDelta(t, 42.593, end, 0.001)
			require.InDelta(t, c.closes, minutes, 0.01)
		})
	}
}

func TestHotWindowThatNeverCloses(t *testing.T) {
	_, end, err := HotWindow(vg68, 70, 70, 45, 60, 3)
	require.ErrorContains(t, err, "ambient 45 C is outside -40 to 42.6 C")
	require.InDelta(t, 42.593, end, 0.001)

	_, _, err = HotWindow(vg68, 70, 70, end, 60, 3)
	require.ErrorContains(t, err, "ambient", "a room at the close itself")

	_, _, err = HotWindow(vg68, 70, 0, 20, 60, 1000)
	require.EqualError(t, err, "ratio 1000 is outside 1 to 9.3", "the oil never gets that thick")
}

func TestHotWindowOfNoThickening(t *testing.T) {
	minutes, end, err := HotWindow(vg68, 70, 70, 20, 60, 1)
	require.NoError(t, err)
	require.InDelta(t, 70, end, 1e-9)
	require.InDelta(t, 0, minutes, 1e-9, "closed from the stop")
	minutes, _, err = HotWindow(vg68, 90, 70, 20, 60, 1)
	require.NoError(t, err)
	require.InDelta(t, must(TimeToReach(90, 20, 70, 60)), minutes, 1e-9, "a pump stopped hotter than usual has some")
}

func TestHotWindowIsLongerForAHotterStopAndALargerRatio(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hot := rapid.Float64Range(45, 95).Draw(t, "hot")
		ambient := rapid.Float64Range(-10, 20).Draw(t, "ambient")
		ratio := rapid.Float64Range(1, 4).Draw(t, "ratio")
		window := func(hot, ambient, ratio float64) float64 {
			minutes, end, err := HotWindow(vg68, hot, 70, ambient, 60, ratio)
			require.NoError(t, err)
			if minutes > 0 { // at its close the oil is as thick as it may be
				closing := must(PumpTemp(hot, ambient, 60, minutes))
				require.InDelta(t, end, closing, 1e-9)
				require.InEpsilon(t, ratio, must(vg68.Viscosity(closing))/must(vg68.Viscosity(70)), 1e-9)
			}
			return minutes
		}
		base := window(hot, ambient, ratio)
		require.LessOrEqual(t, base, window(hot+1, ambient, ratio)+1e-9)
		require.LessOrEqual(t, base, window(hot, ambient+1, ratio)+1e-9)
		require.LessOrEqual(t, base, window(hot, ambient, ratio+0.1)+1e-9)
	})
}
