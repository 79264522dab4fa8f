package config

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

const examplePath = "../testdata/config/example.yaml"

// load writes text as ./sumpbook.yaml of a fresh folder, so that messages name it shortly.
func load(t *testing.T, text string) (Config, error) {
	t.Helper()
	t.Chdir(t.TempDir())
	write(t, "sumpbook.yaml", text)
	return Load(Options{File: "sumpbook.yaml", Explicit: true})
}

func write(t *testing.T, path, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
}

func TestExample(t *testing.T) {
	c, err := Load(Options{File: examplePath, Explicit: true})
	require.NoError(t, err)
	require.Equal(t, examplePath, c.File)
	require.Equal(t, "127.0.0.1:8417", c.Listen)
	require.Equal(t, "http://192.0.2.7:8417", c.BaseURL)
	require.Equal(t, "Europe/Oslo", c.Timezone.String())
	require.Equal(t, Quiet{22 * 60, 6*60 + 30, []maintenance.Do{"stop-pump", "drain"}}, c.Quiet)
	require.Equal(t, "0 7 * * *", c.Digest)
	require.Equal(t, []Channel{
		{Name: "phone", Type: "webhook", URL: "http://127.0.0.1:9000/hook", Secret: "whsec_bm90IGEgc2VjcmV0LCBvbmx5IGFuIGV4YW1wbGUh"},
		{Name: "mail", Type: "smtp", Host: "127.0.0.1", Port: 1025, From: "pump@example.org", To: []string{"me@example.org"}, TLS: notify.Opportunistic},
	}, c.Channels)
	require.Len(t, c.Sources, 1)
	s := c.Sources[0]
	require.Equal(t, "/power_w /temp_c /at Europe/Oslo W", fmt.Sprint(*s.Power, " ", *s.Temp, " ", *s.Time, " ", s.Zone, " ", s.Unit))
	require.Nil(t, s.On)
	require.Equal(t, Default().Signals, c.Signals)
	require.Equal(t, c.Signals, s.Signals)
	require.Equal(t, 0.95, *c.Limits.FullFraction)
	require.Equal(t, 1.0, *c.Limits.FilterPasses)
	require.Nil(t, c.Limits.AirH, "what the file does not set is left to the caller")
	require.Equal(t, []Care{
		{Task: "clean-chamber", After: After{Cycles: 1, Class: "fish"}},
		{Task: "exhaust-filter", After: After{RunHours: 500}},
		{Task: "gasket", Cron: "0 9 1 * *"},
	}, c.Care)
}

func TestNothingTold(t *testing.T) {
	for name, o := range map[string]Options{
		"no file":           {},
		"a missing file":    {File: filepath.Join(t.TempDir(), "none.yaml")},
		"an empty file":     {File: os.DevNull},
		"an empty variable": {Env: []string{"SUMPBOOK_LISTEN=", "HOME=/nowhere"}},
	} {
		t.Run(name, func(t *testing.T) {
			c, err := Load(o)
			require.NoError(t, err)
			require.Empty(t, c.Warnings)
			c.File, c.origins = "", nil
			require.Equal(t, Default(), c)
			require.Same(t, time.Local, c.Timezone)
			require.True(t, c.Loopback())
			require.False(t, c.Quiet.IsSet())
		})
	}
}

func TestPrecedence(t *testing.T) {
	t.Chdir(t.TempDir())
	write(t, "sumpbook.yaml", "listen: 127.0.0.1:1\nunits: us\nsignals: {on_w: 101}\nlimits: {air_h: 1}\n")
	write(t, "settings.yaml", "listen: 127.0.0.1:2\nsignals: {on_w: 102}\nlimits: {air_h: 2.5}\n")
	o := Options{File: "sumpbook.yaml", Settings: "settings.yaml", Env: []string{"SUMPBOOK_LISTEN=127.0.0.1:3", "SUMPBOOK_SIGNALS_ON_W=103"}, Flags: map[string]string{"listen": "127.0.0.1:4"}}
	c, err := Load(o)
	require.NoError(t, err)

	told := map[string]Setting{}
	for _, s := range c.Describe() {
		told[s.Key] = s
	}
	require.Equal(t, Setting{"listen", "127.0.0.1:4", "flag", "--listen"}, told["listen"])
	require.Equal(t, Setting{"signals.on_w", "103", "env", "SUMPBOOK_SIGNALS_ON_W"}, told["signals.on_w"])
	require.Equal(t, Setting{"limits.air_h", "2.5", "settings", "settings.yaml:3"}, told["limits.air_h"])
	require.Equal(t, Setting{"units", "us", "file", "sumpbook.yaml:2"}, told["units"])
	require.Equal(t, Setting{"signals.off_w", "60", "default", ""}, told["signals.off_w"])
	require.Equal(t, Setting{"limits.drain_slow", "3", "default", ""}, told["limits.drain_slow"])
	require.Equal(t, Setting{"channels", "", "default", ""}, told["channels"])
	require.Equal(t, "127.0.0.1:4", c.Listen)
	require.Equal(t, 103.0, c.Signals.OnW)
	require.Equal(t, 2.5, *c.Limits.AirH)
}

// Every kind of scalar can come from the environment.
func TestEnvironment(t *testing.T) {
	c, err := Load(Options{Env: []string{
		"SUMPBOOK_DATA=/x", "SUMPBOOK_CONFIG=/y", "SUMPBOOK_SHARED=/z", "OTHER=1",
		"SUMPBOOK_TIMEZONE=Asia/Kolkata", "SUMPBOOK_QUIET_FROM=22:00", "SUMPBOOK_QUIET_TO=6:30",
		"SUMPBOOK_LIMITS_AIR_H=3", "SUMPBOOK_SIGNALS_ALIVE=1h", "SUMPBOOK_UNITS=us", "SUMPBOOK_BASE_URL=http://192.0.2.7/book/",
	}})
	require.NoError(t, err)
	require.Equal(t, "Asia/Kolkata", c.Timezone.String())
	require.Equal(t, "22:00 06:30", c.Quiet.From.String()+" "+c.Quiet.To.String())
	require.Equal(t, 3.0, *c.Limits.AirH)
	require.Equal(t, time.Hour, c.Signals.Alive)
	require.Equal(t, "us", c.Units)
	require.Equal(t, "http://192.0.2.7/book", c.BaseURL)
}

func TestEnvironmentProblems(t *testing.T) {
	for pair, says := range map[string]string{
		"SUMPBOOK_LISTN=x":             "environment: SUMPBOOK_LISTN: there is no such variable; did you mean SUMPBOOK_LISTEN?",
		"SUMPBOOK_SIGNALS_ALIVE=25":    "environment: SUMPBOOK_SIGNALS_ALIVE: 25 has no unit; give a duration such as 90s, 2m or 1h30m",
		"SUMPBOOK_SIGNALS_ALIVE=0":     "environment: SUMPBOOK_SIGNALS_ALIVE: 0 has no unit; give a duration such as 90s, 2m or 1h30m",
		"SUMPBOOK_SIGNALS_ON_W=NaN":    `environment: SUMPBOOK_SIGNALS_ON_W: "NaN" is not a plain number; give a number`,
		"SUMPBOOK_SIGNALS_ON_W=50":     "environment: SUMPBOOK_SIGNALS_ON_W: off_w 60 does not go with on_w 50; off_w must be 0 or more and below on_w",
		"SUMPBOOK_LIMITS_AIR_H=-1":     "environment: SUMPBOOK_LIMITS_AIR_H: -1 is out of range; give 0 to 1000 h",
		"SUMPBOOK_QUIET_FROM=22:00":    "environment: SUMPBOOK_QUIET_FROM: quiet hours begin and never end; give quiet.to as well",
		"SUMPBOOK_TIMEZONE=Local":      `environment: SUMPBOOK_TIMEZONE: "Local" names no time zone; give a zone such as Europe/Oslo`,
		"SUMPBOOK_TIMEZONE=../secrets": `environment: SUMPBOOK_TIMEZONE: "../secrets" is no time zone known here; give a zone such as Europe/Oslo`,
	} {
		t.Run(pair, func(t *testing.T) {
			_, err := Load(Options{Env: []string{pair}})
			require.EqualError(t, err, says)
		})
	}
	_, err := Load(Options{Flags: map[string]string{"base_url": "ftp://x"}})
	require.EqualError(t, err, `command line: --base-url: the address is not http or https; give what a phone is to open, such as http://192.0.2.7:8417`)
	_, err = Load(Options{Flags: map[string]string{"bas_url": "x"}})
	require.EqualError(t, err, "command line: --bas-url: there is no such key; did you mean base_url?")
}

func TestSettingsReplaceLists(t *testing.T) {
	t.Chdir(t.TempDir())
	write(t, "sumpbook.yaml", "care:\n- {task: a, cron: \"0 9 * * *\"}\n- {task: b, cron: \"0 9 * * *\"}\n")
	write(t, "settings.yaml", "care:\n- {task: c, after: {cycles: 3}}\n")
	c, err := Load(Options{File: "sumpbook.yaml", Settings: "settings.yaml"})
	require.NoError(t, err)
	require.Equal(t, []Care{{Task: "c", After: After{Cycles: 3}}}, c.Care)
	require.NotContains(t, fmt.Sprint(c.Describe()), "sumpbook.yaml")
}

func TestSourceKeepsGeneralSignals(t *testing.T) {
	c, err := load(t, `
signals: {on_w: 200, off_w: 100, alive: 1h}
sources:
- {pump: north, type: mqtt, broker: "tls://broker:8883", topic: a, power: "", scale: 0.1, unit: kW, signals: {on_w: 150}, time: arrival, availability: {topic: b}}
- {pump: south, type: http}
`)
	require.NoError(t, err)
	general := c.Signals
	north, south := c.Sources[0], c.Sources[1]
	require.Equal(t, general, south.Signals)
	general.OnW = 150
	require.Equal(t, general, north.Signals)
	require.Empty(t, *north.Power)
	require.Nil(t, north.Time)
	require.Nil(t, north.Zone)
	require.Equal(t, "online", north.Availability.On)
	require.Equal(t, "kW 0.1", fmt.Sprint(north.Unit, " ", north.Scale))
}

func TestLoopback(t *testing.T) {
	for listen, want := range map[string]bool{
		"127.0.0.1:0": true, "127.9.9.9:80": true, "[::1]:80": true, "localhost:80": true, "[::ffff:127.0.0.1]:80": true,
		":80": false, "0.0.0.0:80": false, "192.0.2.7:80": false, "book.example.org:80": false,
	} {
		c, err := Load(Options{Flags: map[string]string{"listen": listen}})
		require.NoError(t, err, listen)
		require.Equal(t, want, c.Loopback(), listen)
		require.Equal(t, want, len(c.Warnings) == 0, "%s: %v", listen, c.Warnings)
	}
	require.False(t, Config{Listen: "nonsense"}.Loopback())
}

func TestPaths(t *testing.T) {
	home := t.TempDir()
	for _, c := range []struct {
		flag, want string
		env        map[string]string
	}{
		{"/f", "/f", map[string]string{"SUMPBOOK_DATA": "/e"}},
		{"", "/e", map[string]string{"SUMPBOOK_DATA": "/e", "STATE_DIRECTORY": "/s"}},
		{"", "/s", map[string]string{"STATE_DIRECTORY": "/s:/t", "XDG_DATA_HOME": "/x"}},
		{"", "/x/sumpbook", map[string]string{"XDG_DATA_HOME": "/x", "HOME": home}},
		{"", home + "/.local/share/sumpbook", map[string]string{"XDG_DATA_HOME": "relative", "HOME": home}},
		{"", "/var/lib/sumpbook", nil},
	} {
		require.Equal(t, c.want, DataDir(c.flag, getenv(c.env)))
	}
	for _, c := range []struct {
		flag, want string
		explicit   bool
		env        map[string]string
	}{
		{"f.yaml", "f.yaml", true, map[string]string{"SUMPBOOK_CONFIG": "/e.yaml"}},
		{"", "/e.yaml", true, map[string]string{"SUMPBOOK_CONFIG": "/e.yaml", "CONFIGURATION_DIRECTORY": "/c"}},
		{"", "/c/sumpbook.yaml", false, map[string]string{"CONFIGURATION_DIRECTORY": "/c", "XDG_CONFIG_HOME": "/x"}},
	} {
		path, explicit := File(c.flag, getenv(c.env))
		require.Equal(t, c.want, path)
		require.Equal(t, c.explicit, explicit)
	}
	if !exists("/etc/sumpbook/sumpbook.yaml") {
		path, _ := File("", getenv(map[string]string{"XDG_CONFIG_HOME": home}))
		require.Equal(t, filepath.Join(home, "sumpbook", "sumpbook.yaml"), path, "where one would be made")
	}
	dir := filepath.Join(home, ".config", "sumpbook")
	require.NoError(t, os.MkdirAll(dir, 0o700))
	write(t, filepath.Join(dir, "sumpbook.yaml"), "")
	path, explicit := File("", getenv(map[string]string{"HOME": home}))
	require.Equal(t, filepath.Join(dir, "sumpbook.yaml"), path)
	require.False(t, explicit)
}

func getenv(m map[string]string) func(string) string {
	return func(name string) string { return m[name] }
}
