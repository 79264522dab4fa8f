package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// requireSame compares two configurations but for where they came from.
func requireSame(t require.TestingT, want, got Config) {
	require.Empty(t, cmp.Diff(want, got,
		cmpopts.IgnoreFields(Config{}, "File", "Warnings", "origins"),
		cmpopts.EquateEmpty(),
		cmp.Comparer(func(a, b *time.Location) bool {
			return (a == nil) == (b == nil) && (a == nil || a.String() == b.String())
		}),
	))
}

// again writes a configuration and loads what was written.
func again(t require.TestingT, dir string, c Config) Config {
	text, err := c.YAML()
	require.NoError(t, err)
	path := filepath.Join(dir, "again.yaml")
	require.NoError(t, os.WriteFile(path, text, 0o600))
	back, err := Load(Options{File: path, Explicit: true})
	require.NoError(t, err, "%s", text)
	return back
}

func TestExampleRoundTrip(t *testing.T) {
	for _, path := range []string{examplePath, peoplePath} {
		c, err := Load(Options{File: path})
		require.NoError(t, err)
		requireSame(t, c, again(t, t.TempDir(), c))
	}
}

func TestDefaultIsAnEmptyFile(t *testing.T) {
	text, err := Default().YAML()
	require.NoError(t, err)
	require.Empty(t, text)
}

// What is written is read back the same, texts that look like numbers or dates included.
func TestLawRoundTrip(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		c := drawConfig(t)
		requireSame(t, c, again(t, dir, c))
	})
}

func drawConfig(t *rapid.T) Config {
	name := rapid.SampledFrom([]string{"north", "south", "7", "0x1f", "1e3", "2026-11-24", "on", "true", "null", "no"})
	c := Default()
	c.Units = rapid.SampledFrom([]string{"metric", "us"}).Draw(t, "units")
	c.Timezone = location(t, rapid.SampledFrom([]string{"Europe/Oslo", "UTC"}).Draw(t, "zone"))
	c.Quiet = Quiet{From: ClockTime(rapid.IntRange(0, 700).Draw(t, "from")), To: ClockTime(rapid.IntRange(701, 1439).Draw(t, "to"))}
	c.Signals.OnW = rapid.Float64Range(0.001, maxPowerW).Draw(t, "on")
	c.Signals.OffW = c.Signals.OnW / 3
	c.Signals.Alive = time.Duration(rapid.Int64Range(int64(time.Second), int64(maxSpan)).Draw(t, "alive"))
	water := rapid.Float64Range(0.1, 1e5).Draw(t, "water")
	c.Limits = maintenance.Limits{DrainWaterG: &water}
	password := Secret(rapid.StringMatching(`[ -~]{1,20}`).Draw(t, "password"))
	c.Channels = []Channel{{
		Name: name.Draw(t, "channel"), Type: "smtp", Host: "mail.example.org", Port: rapid.IntRange(1, 65535).Draw(t, "port"),
		From: "a@example.org", To: []string{"b@example.org", "C <c@example.org>"}, User: name.Draw(t, "user"), Password: password, TLS: notify.ImplicitTLS,
	}}
	c.Channels = append(c.Channels, drawChannels(t, name)...)
	own := c.Signals
	own.EndFor = time.Duration(rapid.Int64Range(0, int64(maxDwell)).Draw(t, "end"))
	pointer := rapid.SampledFrom([]string{"", "/power_w", "/0/a~1b"}).Draw(t, "pointer")
	c.Sources = []Source{
		{Pump: "north", Type: "http", Scale: 1, Decimal: "point", Signals: c.Signals},
		{
			Pump: name.Filter(func(s string) bool { return s != "north" }).Draw(t, "pump"), Type: "mqtt", Broker: "tcp://127.0.0.1:1883", Topic: name.Draw(t, "topic"),
			Power: &pointer, On: &pointer, OnValues: []string{name.Draw(t, "on"), "ON"}, OffValues: []string{"OFF"}, Unit: "mW", Scale: rapid.Float64Range(0.001, 1000).Draw(t, "scale"), Offset: -2, Decimal: "comma",
			Zone: c.Timezone, Availability: Availability{Topic: "a/b", On: name.Draw(t, "up")}, Signals: own,
		},
	}
	c.LookAhead = rapid.SampledFrom([]string{"20:00", "off", "9:05"}).Draw(t, "ahead")
	c.Heartbeat = Heartbeat{URL: rapid.SampledFrom([]string{"", "https://192.0.2.9/x"}).Draw(t, "heartbeat"), Every: time.Duration(rapid.IntRange(1, 24*60).Draw(t, "every")) * time.Minute}
	c.Weekly = rapid.SampledFrom([]string{"", "0 9 * * 1"}).Draw(t, "weekly")
	c.People = []Person{{
		Name: "ana", Channels: []string{c.Channels[0].Name}, Kinds: Kinds{StopPump: []string{c.Channels[0].Name}, Other: []string{c.Channels[0].Name}},
		Quiet: Nights{{From: ClockTime(rapid.IntRange(0, 700).Draw(t, "night")), To: 720, Days: []string{"mon", "sun"}, Except: []maintenance.Do{maintenance.DoDrain}}, {From: 1380, To: 0}},
	}}
	c.Channels = append(c.Channels, Channel{Name: "board", Type: "webhook", URL: "http://127.0.0.1"})
	c.Escalate = []Escalate{{maintenance.DoDrain, 45 * time.Minute, "board"}}
	c.Again = []Again{{maintenance.DoDrain, 45 * time.Minute}}
	c.Care = []Care{{Task: name.Draw(t, "task"), Cron: "@daily"}, {Task: "b", After: After{Cycles: 3, RunHours: 2.5, Class: name.Draw(t, "class")}}}
	return c
}

// Whatever the bytes: no panic, the same answer twice, every refusal a problem with its
// place, and what is taken can be written and read back.
func FuzzLoad(f *testing.F) {
	example, err := os.ReadFile(examplePath)
	require.NoError(f, err)
	f.Add(example)
	f.Add([]byte("channels: []\nquiet: {}\ncare: []"))
	for _, p := range problems {
		f.Add([]byte(p.yaml))
	}
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(dir, "sumpbook.yaml")
		require.NoError(t, os.WriteFile(path, text, 0o600))
		first, err := Load(Options{File: path, Explicit: true})
		second, err2 := Load(Options{File: path, Explicit: true})
		require.Equal(t, err, err2)
		require.Equal(t, first, second)
		if err != nil {
			var p *Problem
			require.ErrorAs(t, err, &p)
			require.Equal(t, path, p.File)
			require.NotEmpty(t, p.Hint)
			return
		}
		if strings.Contains(string(text), "_file") {
			return // a relative path leads elsewhere from the copy
		}
		requireSame(t, first, again(t, dir, first))
	})
}

func TestFileProblems(t *testing.T) {
	t.Chdir(t.TempDir())
	_, err := Load(Options{File: "none.yaml", Explicit: true})
	require.EqualError(t, err, "none.yaml: there is no such file; name another, or leave --config and SUMPBOOK_CONFIG out: every key has a default")

	_, err = Load(Options{File: "."})
	require.EqualError(t, err, "read configuration: read .: is a directory")

	write(t, "long.yaml", strings.Repeat("#\n", maxFile))
	_, err = Load(Options{File: "long.yaml"})
	require.EqualError(t, err, "long.yaml: the file is too long; a configuration has at most 262144 bytes")

	write(t, "settings.yaml", "units: us\nlisten: here\n")
	_, err = Load(Options{Settings: "settings.yaml"})
	require.EqualError(t, err, `settings.yaml:2: listen: "here" is not host:port; give host:port, such as 127.0.0.1:8417`)

	p := &Problem{}
	require.ErrorAs(t, err, &p)
	require.Equal(t, Problem{"settings.yaml", 2, "listen", `"here" is not host:port`, "give host:port, such as 127.0.0.1:8417"}, *p)
}

// Two keys that differ only in case would be a coin thrown by viper; here it never gets so far.
func TestSameEveryTime(t *testing.T) {
	for range 50 {
		_, err := load(t, "limits: {air_h: 1, Air_h: 2}\n")
		require.EqualError(t, err, "sumpbook.yaml:1: limits.Air_h: given twice, first in line 1; name each key once, in lower case")
	}
}
