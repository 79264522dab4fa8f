package signal_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance/signal"
)

// recorded opens one of the real traces, which stay in the shared folder because of their licence.
func recorded(t *testing.T, name string) []signal.Sample {
	t.Helper()
	shared := os.Getenv("SUMPBOOK_SHARED")
	if shared == "" {
		shared = filepath.Join("..", "..", "..", "shared") // beside the module root
	}
	file, err := os.Open(filepath.Join(shared, "data", "power", name))
	if err != nil {
		t.Skipf("no recorded trace: %v", err)
	}
	defer file.Close()
	samples, err := signal.ReadTrace(file, berlin(t))
	require.NoError(t, err)
	return samples
}

func berlin(t testing.TB) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	return zone
}

func settings(on, off float64, startFor, endFor time.Duration) signal.Config {
	cfg := signal.Defaults()
	cfg.On, cfg.Off, cfg.StartFor, cfg.EndFor, cfg.ShortestRun = on, off, startFor, endFor, time.Second
	return cfg
}

// What a person would mark in the traces: start and minutes, to two minutes.
func TestRecordedRunsAreFound(t *testing.T) {
	type marked struct {
		start   string
		minutes float64
	}
	for name, c := range map[string]struct {
		cfg  signal.Config
		runs []marked
	}{
		"tracebase_circulation_pump_2011-12-16_17_onchange.csv": {settings(40, 20, time.Minute, 5*time.Minute), []marked{
			{"2011-12-17 11:25:30", 8.1}, {"2011-12-17 11:41:34", 3.4}, {"2011-12-17 12:06:06", 6.2}, {"2011-12-17 14:30:58", 15.8}}},
		"tracebase_laundry_dryer_2011-12-13_raw.csv": {settings(50, 15, time.Minute, 10*time.Minute), []marked{
			{"2011-12-13 13:15:07", 67.0}, {"2011-12-13 15:11:02", 74.5}, {"2011-12-13 17:40:31", 62.1}, {"2011-12-13 19:35:26", 7.7}}},
	} {
		t.Run(name, func(t *testing.T) {
			runs := signal.Replay(recorded(t, name), c.cfg)
			require.Len(t, runs, len(c.runs))
			for i, run := range runs {
				start, err := time.ParseInLocation(time.DateTime, c.runs[i].start, berlin(t))
				require.NoError(t, err)
				require.WithinDuration(t, start, run.Start, 2*time.Minute)
				require.InDelta(t, c.runs[i].minutes, run.Stop.Sub(run.Start).Minutes(), 2)
				require.False(t, run.Open || run.Uncertain || run.Short)
				require.Empty(t, run.Gaps)
			}
		})
	}
}

func TestFreezerIsOneRunThroughItsHoles(t *testing.T) {
	samples := recorded(t, "tracebase_freezer_always_on_2012-01-12_to_17_every30s.csv")
	runs := signal.Replay(samples, settings(50, 20, time.Minute, 10*time.Minute))
	require.Len(t, runs, 1)
	require.True(t, runs[0].Open)
	require.Equal(t, samples[0].At.UTC(), runs[0].Start)
	require.Len(t, runs[0].Gaps, 6) // four hours on the 12th, one each midnight
	require.Equal(t, 4*time.Hour+8*time.Minute+59*time.Second, runs[0].Gaps[0].To.Sub(runs[0].Gaps[0].From))
}

// A second detector that sees the trace live, with a ticker and restarts, finds the same runs as the replay.
func TestLiveFindsTheRunsOfTheReplay(t *testing.T) {
	samples := recorded(t, "tracebase_laundry_dryer_2011-12-13_raw.csv")
	cfg := settings(50, 15, time.Minute, 10*time.Minute)
	var state signal.State
	var edges []signal.Edge
	tick := samples[0].At
	for _, s := range samples {
		for ; tick.Before(s.At); tick = tick.Add(10 * time.Second) {
			next, found := signal.Tick(throughJSON(t, state), tick, cfg)
			state, edges = next, append(edges, found...)
		}
		s.Arrived = s.At
		next, found := signal.Step(throughJSON(t, state), s, cfg)
		state, edges = next, append(edges, found...)
	}
	runs := signal.Replay(samples, cfg)
	require.Len(t, edges, 2*len(runs))
	for i, run := range runs {
		require.Equal(t, run.Start, edges[2*i].At)
		require.Equal(t, run.Stop, edges[2*i+1].At)
	}
}

func TestReadTrace(t *testing.T) {
	samples, err := signal.ReadTrace(strings.NewReader("\ufefflocal_time,watts\r\n2026-01-10T07:00:00,2\r\n2026-01-10 07:00:30,\"412.5\"\r\n\r\n"), berlin(t))
	require.NoError(t, err)
	require.Len(t, samples, 2)
	require.Equal(t, "2026-01-10T06:00:30Z", samples[1].At.UTC().Format(time.RFC3339))
	require.Equal(t, 412.5, samples[1].Value)
	require.Zero(t, samples[1].Arrived)

	samples, err = signal.ReadTrace(strings.NewReader("temp_c,who,at\n61.5,shed,2026-01-10T07:00:00.5+01:00\n"), nil)
	require.NoError(t, err)
	require.Equal(t, time.Date(2026, 1, 10, 6, 0, 0, 5e8, time.UTC), samples[0].At.UTC())
	require.Equal(t, 61.5, samples[0].Value)
}

// The record of an autumn night: the hour from two to three comes twice, and nothing is lost.
func TestReadTraceThroughTheChangeOfClocks(t *testing.T) {
	samples, err := signal.ReadTrace(strings.NewReader("local_time,watts\n2026-10-25T01:30:00,1\n2026-10-25T02:30:00,2\n2026-10-25T02:10:00,3\n2026-10-25T02:50:00,4\n2026-10-25T03:10:00,5\n"), berlin(t))
	require.NoError(t, err)
	var times []string
	for _, s := range samples {
		times = append(times, s.At.UTC().Format("15:04"))
	}
	require.Equal(t, []string{"23:30", "00:30", "01:10", "01:50", "02:10"}, times)

	samples, err = signal.ReadTrace(strings.NewReader("local_time,watts\n2026-03-29T02:30:00,1\n"), berlin(t))
	require.NoError(t, err)
	require.Equal(t, "01:00", samples[0].At.UTC().Format("15:04"), "a time that was skipped is the moment the clocks moved")
}

func TestReadTraceNamesTheLine(t *testing.T) {
	const header = "local_time,watts\n2026-01-10T07:00:00,2\n"
	for text, says := range map[string]string{
		"":                                        "line 1: no header",
		"time,volts\n":                            `line 1: header "time,volts": want a time column`,
		"watts\n":                                 "line 1: header",
		header + "2026-01-10T07:00:30\n":          "line 3: 1 fields where the header has 2",
		header + "2026-01-10T07:00:30,1,2\n":      "line 3: 3 fields",
		header + "2026-01-10T07:00:30,\n":         `line 3: "" is no number`,
		header + "2026-01-10T07:00:30,NaN\n":      `line 3: "NaN" is no number`,
		header + "2026-01-10T07:00:30,1e999\n":    `line 3: "1e999" is no number`,
		header + "2026-01-10T07:00:30,0x10\n":     `line 3: "0x10" is no number`,
		header + "2026-01-10T07:00:30,50001\n":    "line 3: sample 50001",
		header + "yesterday,1\n":                  `line 3: "yesterday" is no time`,
		header + "2026-02-30T07:00:30,1\n":        "line 3:",
		header + "1969-12-31T07:00:30,1\n":        "line 3: sample at 1969",
		header + strings.Repeat("9", 5000) + "\n": "line 3: bufio.Scanner: token too long",
	} {
		_, err := signal.ReadTrace(strings.NewReader(text), time.UTC)
		require.ErrorContains(t, err, says, "%.60q", text)
		require.Less(t, len(err.Error()), 300)
	}
	_, err := signal.ReadTrace(strings.NewReader(header), nil)
	require.ErrorContains(t, err, "line 2: \"2026-01-10T07:00:00\" has no offset and no zone is given")
}

func FuzzReadTrace(f *testing.F) {
	f.Add("local_time,watts\n2026-01-10T07:00:00,2\n2026-01-10T07:00:30,412.5\n")
	f.Add("at,temp_c\n2026-01-10T07:00:00Z,61.5\n")
	f.Add("watts,x,time\n1,,\"2026-10-25 02:30:00\"\n2,,2026-10-25 02:10:00\n")
	zone := berlin(f)
	f.Fuzz(func(t *testing.T, text string) {
		samples, err := signal.ReadTrace(strings.NewReader(text), zone)
		if err != nil {
			require.Contains(t, err.Error(), "read trace: line ")
			return
		}
		for _, run := range signal.Replay(samples, signal.Defaults()) {
			require.True(t, run.Open != run.Stop.After(run.Start) || run.Stop.Equal(run.Start))
		}
	})
}
