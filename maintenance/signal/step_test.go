package signal_test

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance/signal"
)

var begin = time.Date(2026, 1, 10, 7, 0, 0, 0, time.UTC)

func at(minutes float64) time.Time {
	return begin.Add(time.Duration(minutes * float64(time.Minute)))
}

// story is a source told as minute, watts pairs, live: every sample arrives when it is taken.
type story []struct{ minute, watts float64 }

func (s story) samples() []signal.Sample {
	var samples []signal.Sample
	for _, x := range s {
		samples = append(samples, signal.Sample{At: at(x.minute), Arrived: at(x.minute), Value: x.watts})
	}
	return samples
}

func steps(state signal.State, samples []signal.Sample, cfg signal.Config) (signal.State, []signal.Edge) {
	var edges []signal.Edge
	for _, s := range samples {
		next, found := signal.Step(state, s, cfg)
		state, edges = next, append(edges, found...)
	}
	return state, edges
}

func throughJSON(t require.TestingT, state signal.State) signal.State {
	data, err := json.Marshal(state)
	require.NoError(t, err)
	var back signal.State
	require.NoError(t, json.Unmarshal(data, &back))
	return back
}

// TestStories tells what edges (kind, minute, sure or not) a live power source gives under the defaults:
// on 120 W for 2 min, off 60 W for 3 min, alive 15 min.
func TestStories(t *testing.T) {
	type edge struct {
		kind      signal.Kind
		minute    float64
		uncertain bool
		rule      string
	}
	started := edge{signal.Start, 1, false, "above-on"}
	for name, c := range map[string]struct {
		told  story
		edges []edge
		phase signal.Phase
	}{
		"nothing":            {story{}, nil, ""},
		"idle":               {story{{0, 2}, {1, 3}, {9, 2}}, nil, signal.Idle},
		"start":              {story{{0, 2}, {1, 350}, {2, 340}, {3, 345}}, []edge{started}, signal.Running},
		"start not yet":      {story{{0, 2}, {1, 350}, {2.9, 340}}, nil, signal.Starting},
		"one sample spike":   {story{{0, 2}, {1, 4300}, {1.5, 2}, {9, 2}}, nil, signal.Idle},
		"burst below dwell":  {story{{0, 2}, {1, 350}, {1.5, 350}, {2, 40}, {2.5, 350}, {3, 2}}, nil, signal.Idle},
		"dip in start dwell": {story{{0, 2}, {1, 350}, {2, 100}, {2.5, 350}, {4.5, 350}}, []edge{{signal.Start, 2.5, false, "above-on"}}, signal.Running},
		"stop": {story{{0, 2}, {1, 350}, {10, 350}, {11, 5}, {12, 5}, {14, 5}},
			[]edge{started, {signal.Stop, 11, false, "below-off"}}, signal.Idle},
		"dip in a run": {story{{0, 2}, {1, 350}, {10, 350}, {11, 5}, {13, 350}, {20, 350}}, []edge{started}, signal.Running},
		"between the thresholds a run goes on": {story{{0, 2}, {1, 350}, {10, 90}, {20, 70}, {30, 90}},
			[]edge{started}, signal.Running},
		"between the thresholds an end goes on": {story{{0, 2}, {1, 350}, {10, 350}, {11, 5}, {12, 100}, {14, 90}},
			[]edge{started, {signal.Stop, 11, false, "below-off"}}, signal.Idle},
		"already running when first heard": {story{{0, 350}, {1, 350}, {2, 350}}, []edge{{signal.Start, 0, true, "above-on"}}, signal.Running},
		"steady value, few samples": {story{{0, 2}, {1, 350}, {11, 350}, {21, 5}, {31, 5}},
			[]edge{started, {signal.Stop, 21, false, "below-off"}}, signal.Idle},
		"hole, runs on": {story{{0, 2}, {1, 350}, {10, 350}, {250, 350}, {251, 340}}, []edge{started}, signal.Running},
		"hole, has ended": {story{{0, 2}, {1, 350}, {9, 350}, {10, 340}, {250, 3}, {251, 3}},
			[]edge{started, {signal.Stop, 10, true, "low-after-hole"}}, signal.Idle},
		"hole while idle, runs": {story{{0, 2}, {240, 350}, {243, 350}}, []edge{{signal.Start, 240, true, "above-on"}}, signal.Running},
		"two runs": {story{{0, 2}, {1, 350}, {10, 5}, {13, 5}, {20, 350}, {22, 350}, {30, 0}, {33, 0}},
			[]edge{started, {signal.Stop, 10, false, "below-off"}, {signal.Start, 20, false, "above-on"}, {signal.Stop, 30, false, "below-off"}}, signal.Idle},
	} {
		t.Run(name, func(t *testing.T) {
			state, found := steps(signal.State{}, c.told.samples(), signal.Defaults())
			var got []edge
			for _, e := range found {
				got = append(got, edge{e.Kind, e.At.Sub(begin).Minutes(), e.Uncertain, e.Rule})
			}
			require.Equal(t, c.edges, got)
			require.Equal(t, c.phase, state.Phase)
		})
	}
}

func TestEdgesSayWhatTheyRestOn(t *testing.T) {
	told := story{{0, 2}, {1, 350}, {2, 350}, {3.5, 350}, {10, 350}, {11, 5}, {15, 5}}
	_, edges := steps(signal.State{}, told.samples(), signal.Defaults())
	require.Len(t, edges, 2)
	require.Equal(t, 2, edges[0].Samples) // the dwell was over before the third came
	require.Equal(t, time.Minute, edges[0].LongestGap)
	require.Equal(t, 5, edges[1].Samples)
	require.Equal(t, 390*time.Second, edges[1].LongestGap)
}

func TestTickEndsADwellByTimeAlone(t *testing.T) {
	cfg := signal.Defaults()
	state, edges := steps(signal.State{}, story{{0, 2}, {1, 350}}.samples(), cfg)
	require.Empty(t, edges)
	state, edges = signal.Tick(state, at(2.9), cfg)
	require.Empty(t, edges)
	state, edges = signal.Tick(state, at(3), cfg)
	require.Len(t, edges, 1)
	require.Equal(t, at(1), edges[0].At)

	state, edges = steps(state, story{{10, 5}}.samples(), cfg)
	require.Empty(t, edges)
	low, ok := signal.LowSince(state)
	require.True(t, ok)
	require.Equal(t, at(10), low)
	state, edges = signal.Tick(state, at(13), cfg)
	require.Len(t, edges, 1)
	require.Equal(t, signal.Stop, edges[0].Kind)
	require.Equal(t, at(10), edges[0].At)
	_, ok = signal.LowSince(state)
	require.False(t, ok)
	_, edges = signal.Tick(state, at(14), cfg)
	require.Empty(t, edges, "once")
}

func running(t require.TestingT) signal.State {
	state, edges := steps(signal.State{}, story{{0, 2}, {1, 350}, {5, 350}, {10, 340}}.samples(), signal.Defaults())
	require.Len(t, edges, 1)
	return state
}

func TestSilenceInMidRunIsAnUncertainStop(t *testing.T) {
	cfg := signal.Defaults()
	state, edges := signal.Tick(running(t), at(25), cfg)
	require.Empty(t, edges, "still alive")
	require.Equal(t, signal.Running, state.Phase)
	state, edges = signal.Tick(state, at(25.1), cfg)
	require.Equal(t, []signal.Edge{{Kind: signal.Stop, At: at(10), Uncertain: true, Rule: "silent", Samples: 3, LongestGap: 5 * time.Minute}}, edges)
	require.Equal(t, signal.Unknown, state.Phase)

	_, edges = steps(state, story{{200, 350}, {202, 350}}.samples(), cfg)
	require.Len(t, edges, 1, "it runs when it returns")
	require.Equal(t, at(200), edges[0].At)
	require.True(t, edges[0].Uncertain)

	_, edges = steps(state, story{{200, 3}, {210, 3}}.samples(), cfg)
	require.Empty(t, edges, "it stands when it returns: the stop is told already")
}

func TestSilenceWhileIdleIsNoEvent(t *testing.T) {
	state, edges := steps(signal.State{}, story{{0, 2}, {1, 2}}.samples(), signal.Defaults())
	require.Empty(t, edges)
	state, edges = signal.Tick(state, at(60), signal.Defaults())
	require.Empty(t, edges)
	require.Equal(t, signal.Unknown, state.Phase)
	require.Equal(t, at(1), state.Since)
}

func TestAfterARestartTheSourceGetsTimeToSpeak(t *testing.T) {
	cfg := signal.Defaults()
	state := signal.Resume(throughJSON(t, running(t)), at(300))
	state, edges := signal.Tick(state, at(310), cfg)
	require.Empty(t, edges, "we were deaf, not the source silent")
	_, edges = steps(state, story{{311, 350}}.samples(), cfg)
	require.Empty(t, edges, "the same run")
	_, edges = signal.Tick(state, at(316), cfg)
	require.Len(t, edges, 1)
	require.Equal(t, at(10), edges[0].At)
}

// A source whose clock is off by hours, or whose samples are history, is judged by its samples alone.
func TestTickLeavesASourceThatIsNotLiveByBothClocks(t *testing.T) {
	cfg := signal.Defaults()
	samples := story{{0, 2}, {1, 350}, {10, 350}}.samples()
	for i := range samples {
		samples[i].Arrived = samples[i].At.Add(100 * time.Hour)
	}
	state, _ := steps(signal.State{}, samples, cfg)
	after, edges := signal.Tick(state, at(200*60), cfg)
	require.Empty(t, edges)
	require.Equal(t, state, after)
}

// A message that was held up for five minutes, with the time it was sent: its dwell is over when it comes.
func TestTickCountsFromTheTimeOfTheSample(t *testing.T) {
	samples := story{{0, 2}, {1, 350}, {20, 350}, {30, 5}}.samples()
	samples[3].Arrived = at(35)
	state, edges := steps(signal.State{}, samples, signal.Defaults())
	require.Len(t, edges, 1)
	_, edges = signal.Tick(state, at(35), signal.Defaults())
	require.Len(t, edges, 1)
	require.Equal(t, at(30), edges[0].At)
	require.False(t, edges[0].Uncertain)
}

func TestWhatStepDrops(t *testing.T) {
	state := running(t)
	for name, s := range map[string]signal.Sample{
		"older":          {At: at(9.9), Arrived: at(10), Value: 0},
		"much older":     {At: at(-900), Arrived: at(10), Value: 0},
		"not a number":   {At: at(11), Arrived: at(11), Value: math.NaN()},
		"infinite":       {At: at(11), Arrived: at(11), Value: math.Inf(-1)},
		"over 50 kW":     {At: at(11), Arrived: at(11), Value: 50_001},
		"no time":        {Arrived: at(11), Value: 3},
		"ahead of us":    {At: at(60 * 24 * 365), Arrived: at(11), Value: 3},
		"year 12000":     {At: time.Date(12000, 1, 1, 0, 0, 0, 0, time.UTC), Value: 3},
		"retained, late": {At: at(-5), Value: math.NaN(), Retained: true},
	} {
		t.Run(name, func(t *testing.T) {
			next, edges := signal.Step(state, s, signal.Defaults())
			require.Empty(t, edges)
			require.Equal(t, state.Dropped+1, next.Dropped)
			next.Dropped--
			require.Equal(t, state, next)
		})
	}
}

func TestRetainedShowsAValueButIsNoEvent(t *testing.T) {
	retained := signal.Sample{At: at(11), Arrived: at(11), Value: 0, Retained: true}
	state, edges := signal.Step(running(t), retained, signal.Defaults())
	require.Empty(t, edges)
	require.Zero(t, state.Value)
	require.Equal(t, signal.Running, state.Phase)
	require.Equal(t, at(10), state.Last)
	_, edges = signal.Tick(state, at(20), signal.Defaults())
	require.Empty(t, edges)

	first, edges := signal.Step(signal.State{}, signal.Sample{At: at(0), Value: 350, Retained: true}, signal.Defaults())
	require.Empty(t, edges)
	_, edges = signal.Tick(first, at(10), signal.Defaults())
	require.Empty(t, edges, "the lights do not go on at night")
}

// A pump's casing: 20 °C shed, 62 °C plateau. It cools slowly, so the stop is seen by the fall of 8 °C.
func TestTemperatureSource(t *testing.T) {
	cfg := signal.Config{On: 40, Off: 30, Drop: 8, StartFor: 5 * time.Minute, EndFor: 15 * time.Minute, Alive: 30 * time.Minute}
	require.NoError(t, cfg.Check())
	warm := func(from float64, end, tau, start, minutes float64) (told story) {
		for m := 0.; m < minutes; m++ {
			told = append(told, struct{ minute, watts float64 }{start + m, end + (from-end)*math.Exp(-m/tau)})
		}
		return told
	}
	told := slices.Concat(
		story{{0, 20}},
		warm(20, 62, 30, 1, 300),    // runs from minute 1: 40 °C after 20 min
		warm(62, 52, 240, 301, 600), // a cold night takes 10 °C in ten hours, but the pump runs
		warm(52.8, 10, 90, 901, 45), // stopped at 901: 8 °C are lost after some 20 min
		warm(36, 60, 30, 946, 120),  // restarted while still warm
	)
	state, edges := steps(signal.State{}, told.samples(), cfg)
	require.Len(t, edges, 3)
	require.WithinDuration(t, at(21), edges[0].At, 3*time.Minute)
	require.Equal(t, signal.Stop, edges[1].Kind)
	require.WithinDuration(t, at(901), edges[1].At, 25*time.Minute)
	require.False(t, edges[1].Uncertain)
	require.Equal(t, signal.Start, edges[2].Kind)
	require.WithinDuration(t, at(946), edges[2].At, 20*time.Minute)
	require.Equal(t, signal.Running, state.Phase)
}

func TestPlainOnOffSource(t *testing.T) {
	cfg := signal.Config{On: 1, Off: 0, StartFor: 3 * time.Second, EndFor: 3 * time.Second, Alive: time.Hour}
	told := story{{0, 0}, {1, 1}, {1.01, 0}, {2, 1}, {30, 1}, {31, 0}, {31.5, 0}}
	_, edges := steps(signal.State{}, told.samples(), cfg)
	require.Len(t, edges, 2, "the bounce is no start")
	require.Equal(t, at(2), edges[0].At)
	require.Equal(t, at(31), edges[1].At)
}

func TestConfigCheck(t *testing.T) {
	require.Equal(t, signal.Config{On: 120, Off: 60, StartFor: 2 * time.Minute, EndFor: 3 * time.Minute, ShortestRun: 20 * time.Minute, Alive: 15 * time.Minute}, signal.Defaults())
	require.NoError(t, signal.Defaults().Check())
	for says, spoil := range map[string]func(*signal.Config){
		"above off":           func(c *signal.Config) { c.Off = c.On },
		"want numbers":        func(c *signal.Config) { c.On = math.NaN() },
		"want numbers up":     func(c *signal.Config) { c.Off = math.Inf(-1) },
		"drop -1":             func(c *signal.Config) { c.Drop = -1 },
		"below zero":          func(c *signal.Config) { c.EndFor = -time.Second },
		"more than nothing":   func(c *signal.Config) { c.Alive = 0 },
		"a duration below":    func(c *signal.Config) { c.ShortestRun = -1 },
		"drop NaN: want 0 to": func(c *signal.Config) { c.Drop = math.NaN() },
	} {
		cfg := signal.Defaults()
		spoil(&cfg)
		require.ErrorContains(t, cfg.Check(), says)
	}
}

func TestNewSampleRefuses(t *testing.T) {
	for _, value := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 50_000.1, -50_000.1} {
		_, err := signal.NewSample(begin, begin, value)
		require.ErrorContains(t, err, "want a number up to 50000")
	}
	_, err := signal.NewSample(time.Time{}, begin, 1)
	require.ErrorContains(t, err, "want a time from 1970")
	_, err = signal.NewSample(time.Unix(0, 0), begin, 1)
	require.NoError(t, err)
	s, err := signal.NewSample(begin, begin, 50_000)
	require.NoError(t, err)
	require.Equal(t, signal.Sample{At: begin, Arrived: begin, Value: 50_000}, s)
}

func TestReplayMarksShortRunsAndSorts(t *testing.T) {
	samples := story{{0, 2}, {1, 350}, {8, 350}, {9, 2}, {13, 2}, {20, 350}, {40, 350}, {41, 350}, {60, 350}, {61, 2}, {65, 2}, {70, 350}, {80, 350}, {90, 2}, {93, 2}, {100, 350}, {102, 350}}.samples()
	slices.Reverse(samples)
	runs := signal.Replay(samples, signal.Defaults())
	require.Equal(t, []signal.Run{
		{Start: at(1), Stop: at(9), Short: true},
		{Start: at(20), Stop: at(61), Gaps: []signal.Gap{{From: at(20), To: at(40)}, {From: at(41), To: at(60)}}},
		{Start: at(70), Stop: at(90)}, // twenty minutes are not short of twenty
		{Start: at(100), Open: true},
	}, runs)
}

// anyStream draws a source with runs, spikes, holes, ties, disorder and values around the thresholds.
func anyStream(t *rapid.T) []signal.Sample {
	now := begin
	var samples []signal.Sample
	for range rapid.IntRange(0, 60).Draw(t, "samples") {
		now = now.Add(time.Duration(rapid.SampledFrom([]int{0, 1, 29, 30, 60, 61, 119, 120, 180, 600, 900, 901, 4000, -20}).Draw(t, "after")) * time.Second)
		samples = append(samples, signal.Sample{At: now, Arrived: now, Value: rapid.SampledFrom([]float64{0, 2, 60, 61, 90, 119, 120, 350, 355}).Draw(t, "watts"),
			Retained: rapid.IntRange(0, 9).Draw(t, "retained") == 0})
	}
	return samples
}

func TestSplittingTheStreamChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		samples, cfg := anyStream(t), signal.Defaults()
		whole, edges := steps(signal.State{}, samples, cfg)
		var state signal.State
		var found []signal.Edge
		for _, s := range samples { // a kill after every sample
			next, more := signal.Step(throughJSON(t, state), s, cfg)
			state, found = next, append(found, more...)
		}
		require.Equal(t, edges, found)
		require.Equal(t, whole, state)
	})
}

func TestShiftingTimeShiftsTheEdges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		samples, cfg := anyStream(t), signal.Defaults()
		by := time.Duration(rapid.Int64Range(0, int64(100_000*time.Hour)).Draw(t, "by"))
		_, edges := steps(signal.State{}, samples, cfg)
		for i := range samples {
			samples[i].At, samples[i].Arrived = samples[i].At.Add(by), samples[i].Arrived.Add(by)
		}
		_, shifted := steps(signal.State{}, samples, cfg)
		for i := range edges {
			edges[i].At = edges[i].At.Add(by)
		}
		require.Equal(t, edges, shifted)
	})
}

func TestDuplicatesChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		samples, cfg := anyStream(t), signal.Defaults()
		_, edges := steps(signal.State{}, samples, cfg)
		var doubled []signal.Sample
		for _, s := range samples {
			for range rapid.IntRange(1, 3).Draw(t, "times") {
				doubled = append(doubled, s)
			}
		}
		_, found := steps(signal.State{}, doubled, cfg)
		require.Equal(t, edges, found)
	})
}

// Of two values for one instant the last counts, whatever the first was (unless an edge was told on it).
func TestLastOfOneInstantCounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := signal.Defaults()
		now := begin
		var plain, doubled []signal.Sample
		for range rapid.IntRange(0, 40).Draw(t, "samples") {
			now = now.Add(time.Duration(rapid.IntRange(1, 900).Draw(t, "after")) * time.Second) // no hole
			s := signal.Sample{At: now, Arrived: now, Value: rapid.SampledFrom([]float64{2, 60, 90, 120, 350}).Draw(t, "watts")}
			wrong := s
			wrong.Value = rapid.SampledFrom([]float64{0, 90, 120, 4000}).Draw(t, "wrong")
			plain, doubled = append(plain, s), append(doubled, wrong, s)
		}
		want, edges := steps(signal.State{}, plain, cfg)
		got, found := steps(signal.State{}, doubled, cfg)
		require.Equal(t, edges, found)
		require.Equal(t, want, got)
	})
}

func TestTicksInBetweenChangeNoEdge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := signal.Defaults()
		samples := slices.DeleteFunc(anyStream(t), func(s signal.Sample) bool { return s.Retained })
		_, edges := steps(signal.State{}, samples, cfg)
		var state signal.State
		var found []signal.Edge
		for _, s := range samples {
			for now := state.Arrived.Add(7 * time.Second); !state.Arrived.IsZero() && now.Before(s.At) && now.Sub(state.Arrived) <= cfg.Alive; now = now.Add(50 * time.Second) {
				next, more := signal.Tick(state, now, cfg)
				state, found = next, append(found, more...)
			}
			next, more := signal.Step(state, s, cfg)
			state, found = next, append(found, more...)
		}
		require.Equal(t, edges, found)
	})
}

func TestSpikesShorterThanTheDwellNeverStart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := signal.Defaults()
		var samples []signal.Sample
		now, heldUp := begin, begin
		up := false
		for range rapid.IntRange(1, 80).Draw(t, "samples") {
			step := time.Duration(rapid.IntRange(1, 300).Draw(t, "after")) * time.Second
			if up { // the spike ends before its dwell does
				step = min(step, heldUp.Add(cfg.StartFor).Sub(now)-time.Millisecond)
			}
			now = now.Add(max(step, time.Microsecond))
			wasUp := up
			up = rapid.Bool().Draw(t, "up") && !(wasUp && now.Sub(heldUp) > cfg.StartFor-time.Second)
			value := rapid.Float64Range(0, 119.9).Draw(t, "low")
			if up {
				value = rapid.Float64Range(120, 5000).Draw(t, "high")
			}
			if up && !wasUp {
				heldUp = now
			}
			samples = append(samples, signal.Sample{At: now, Value: value})
		}
		_, edges := steps(signal.State{}, samples, cfg)
		require.Empty(t, edges)
	})
}

func TestDipsShorterThanTheDwellNeverStop(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := signal.Defaults()
		state, now := running(t), at(10)
		var samples []signal.Sample
		for range rapid.IntRange(1, 40).Draw(t, "dips") {
			now = now.Add(time.Duration(rapid.IntRange(1, 100_000).Draw(t, "runs for")) * time.Second) // holes too
			samples = append(samples, signal.Sample{At: now, Value: rapid.Float64Range(120, 5000).Draw(t, "high")})
			now = now.Add(time.Second)
			samples = append(samples, signal.Sample{At: now, Value: rapid.Float64Range(0, 119).Draw(t, "dip")})
			now = now.Add(time.Duration(rapid.IntRange(1, 179).Draw(t, "dips for")) * time.Second)
			samples = append(samples, signal.Sample{At: now, Value: 300})
		}
		_, edges := steps(state, samples, cfg)
		require.Empty(t, edges)
	})
}

// Starts and stops alternate, and no edge lies before the one before it.
func TestEdgesAlternateInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, edges := steps(signal.State{}, anyStream(t), signal.Defaults())
		for i, e := range edges {
			require.Equal(t, []signal.Kind{signal.Start, signal.Stop}[i%2], e.Kind)
			if i > 0 {
				require.False(t, e.At.Before(edges[i-1].At))
			}
		}
	})
}
