package config

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseCron(t *testing.T) {
	for _, spec := range []string{"0 7 * * *", " 0 7 * * * ", "@daily", "@every 1m", "0 9 29 2 *", "*/5 8-18 * * mon-fri"} {
		_, err := ParseCron(spec)
		require.NoError(t, err, spec)
	}
	for spec, says := range map[string]string{
		"":                        `"" is no cron spec: empty spec string`,
		"TZ=UTC":                  "a zone cannot stand in a cron spec",
		"CRON_TZ=":                "a zone cannot stand in a cron spec",
		" TZ=Europe/Oslo 0 7 * *": "a zone cannot stand in a cron spec",
		"@every 0s":               `"@every 0s" comes more often than every minute`,
		"@every -1h":              `"@every -1h" comes more often than every minute`,
		"@every  59s":             `"@every  59s" is no cron spec: failed to parse duration @every  59s: time: invalid duration " 59s"`,
		"@every 59s":              `"@every 59s" comes more often than every minute`,
		"0 9 31 2 *":              `"0 9 31 2 *" never comes`,
		"0 7 * *":                 `"0 7 * *" is no cron spec: expected exactly 5 fields, found 4: [0 7 * *]`,
		"0 7 * * 7":               `"0 7 * * 7" is no cron spec: end of range (7) above maximum (6): 7`,
	} {
		_, err := ParseCron(spec)
		require.EqualError(t, err, says, spec)
	}
}

func FuzzParseCron(f *testing.F) {
	for _, spec := range []string{"0 7 * * *", "TZ=", "@every 1m", "*/0 * * * *", "1-99999999999 * * * *"} {
		f.Add(spec)
	}
	from := time.Date(2026, 11, 24, 21, 4, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, spec string) {
		s, err := ParseCron(spec)
		if err != nil {
			return
		}
		next := NextLocal(s, from, time.UTC)
		require.True(t, next.After(from), "%q gives %s", spec, next)
	})
}

// The days on which the clocks change are those of the IANA time zone data.
func TestNextLocal(t *testing.T) {
	for _, c := range []struct {
		name, zone, spec, after, want string
	}{
		{"plain day", "Europe/Oslo", "0 7 * * *", "2026-11-24T21:04:00+01:00", "2026-11-25T07:00:00+01:00"},
		{"strictly after", "Europe/Oslo", "0 7 * * *", "2026-11-25T07:00:00+01:00", "2026-11-26T07:00:00+01:00"},
		{"across the change", "Europe/Oslo", "0 7 * * *", "2026-10-24T21:00:00+02:00", "2026-10-25T07:00:00+01:00"},
		{"from another offset", "Europe/Oslo", "0 7 * * *", "2026-11-25T05:59:59Z", "2026-11-25T07:00:00+01:00"},

		{"Oslo skips", "Europe/Oslo", "30 2 * * *", "2026-03-28T12:00:00+01:00", "2026-03-29T03:00:00+02:00"},
		{"Oslo skips, the day after", "Europe/Oslo", "30 2 * * *", "2026-03-29T03:00:00+02:00", "2026-03-30T02:30:00+02:00"},
		{"Oslo doubles", "Europe/Oslo", "30 2 * * *", "2026-10-24T12:00:00+02:00", "2026-10-25T02:30:00+02:00"},
		{"Oslo doubles, not twice", "Europe/Oslo", "30 2 * * *", "2026-10-25T02:30:00+02:00", "2026-10-26T02:30:00+01:00"},
		{"Oslo in the second hour", "Europe/Oslo", "30 2 * * *", "2026-10-25T02:10:00+01:00", "2026-10-26T02:30:00+01:00"},
		{"Oslo in the first hour", "Europe/Oslo", "30 2 * * *", "2026-10-25T02:10:00+02:00", "2026-10-25T02:30:00+02:00"},

		{"New York skips", "America/New_York", "30 2 * * *", "2026-03-07T12:00:00-05:00", "2026-03-08T03:00:00-04:00"},
		{"New York skips, told at the edge", "America/New_York", "30 2 * * *", "2026-03-08T01:59:59-05:00", "2026-03-08T03:00:00-04:00"},
		{"New York doubles", "America/New_York", "30 1 * * *", "2026-10-31T12:00:00-04:00", "2026-11-01T01:30:00-04:00"},
		{"New York doubles, not twice", "America/New_York", "30 1 * * *", "2026-11-01T01:30:00-04:00", "2026-11-02T01:30:00-05:00"},

		{"Lord Howe skips half an hour", "Australia/Lord_Howe", "15 2 * * *", "2026-10-03T12:00:00+10:30", "2026-10-04T02:30:00+11:00"},
		{"Lord Howe doubles half an hour", "Australia/Lord_Howe", "45 1 * * *", "2026-04-04T12:00:00+11:00", "2026-04-05T01:45:00+11:00"},
		{"Lord Howe doubles, not twice", "Australia/Lord_Howe", "45 1 * * *", "2026-04-05T01:45:00+11:00", "2026-04-06T01:45:00+10:30"},

		{"Kolkata never changes, spring", "Asia/Kolkata", "30 2 * * *", "2026-03-28T12:00:00+05:30", "2026-03-29T02:30:00+05:30"},
		{"Kolkata never changes, autumn", "Asia/Kolkata", "30 2 * * *", "2026-10-25T02:30:00+05:30", "2026-10-26T02:30:00+05:30"},

		{"Santiago skips midnight", "America/Santiago", "0 0 * * *", "2026-09-05T12:00:00-04:00", "2026-09-06T01:00:00-03:00"},
		{"Santiago skips midnight, the day after", "America/Santiago", "0 0 * * *", "2026-09-06T01:00:00-03:00", "2026-09-07T00:00:00-03:00"},
		{"Santiago doubles", "America/Santiago", "30 23 * * *", "2026-04-04T12:00:00-03:00", "2026-04-04T23:30:00-03:00"},
		{"Santiago doubles, not twice", "America/Santiago", "30 23 * * *", "2026-04-04T23:30:00-03:00", "2026-04-05T23:30:00-04:00"},

		{"Auckland skips", "Pacific/Auckland", "30 2 * * *", "2026-09-26T12:00:00+12:00", "2026-09-27T03:00:00+13:00"},
		{"Auckland doubles", "Pacific/Auckland", "30 2 * * *", "2026-04-04T12:00:00+13:00", "2026-04-05T02:30:00+13:00"},
		{"Auckland doubles, not twice", "Pacific/Auckland", "30 2 * * *", "2026-04-05T02:30:00+13:00", "2026-04-06T02:30:00+12:00"},

		{"a whole day skipped", "Pacific/Apia", "0 9 * * *", "2011-12-29T12:00:00-10:00", "2011-12-31T00:00:00+14:00"},
		{"all of a gap at once", "Europe/Oslo", "*/15 * * * *", "2026-03-29T01:45:00+01:00", "2026-03-29T03:00:00+02:00"},
		{"and on from there", "Europe/Oslo", "*/15 * * * *", "2026-03-29T03:00:00+02:00", "2026-03-29T03:15:00+02:00"},
		{"leap day", "Europe/Oslo", "0 9 29 2 *", "2026-11-24T21:04:00+01:00", "2028-02-29T09:00:00+01:00"},
		{"after the leap day", "Europe/Oslo", "0 9 29 2 *", "2028-02-29T09:00:00+01:00", "2032-02-29T09:00:00+01:00"},
		{"elapsed time", "Europe/Oslo", "@every 24h", "2026-03-28T12:00:00+01:00", "2026-03-29T13:00:00+02:00"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := ParseCron(c.spec)
			require.NoError(t, err)
			got := NextLocal(s, instant(t, c.after), location(t, c.zone))
			require.Equal(t, c.want, got.Format(time.RFC3339))
		})
	}
}

func instant(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	require.NoError(t, err)
	return at
}

func location(t require.TestingT, name string) *time.Location {
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

// A daily time comes exactly once on each date that the zone has, whatever its clocks do.
func TestLawOnceADay(t *testing.T) {
	zones := []string{"Europe/Oslo", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "America/Santiago", "Pacific/Auckland", "UTC"}
	rapid.Check(t, func(t *rapid.T) {
		loc := location(t, rapid.SampledFrom(zones).Draw(t, "zone"))
		minute := ClockTime(rapid.IntRange(0, 1439).Draw(t, "minute"))
		s, err := ParseCron(time.Date(2000, 1, 1, int(minute)/60, int(minute)%60, 0, 0, time.UTC).Format("4 15 * * *"))
		require.NoError(t, err)
		at := time.Unix(rapid.Int64Range(1.6e9, 2.2e9).Draw(t, "after"), 0)
		at = NextLocal(s, at, loc)
		for range 400 {
			next := NextLocal(s, at, loc)
			require.Equal(t, dateAfter(at), next.Format(time.DateOnly), "after %s", at)
			at = next
		}
	})
}

func dateAfter(t time.Time) string {
	return time.Date(t.Year(), t.Month(), t.Day()+1, 12, 0, 0, 0, time.UTC).Format(time.DateOnly)
}
