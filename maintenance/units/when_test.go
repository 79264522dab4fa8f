package units_test

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance/units"
)

type reader func(string, time.Time, *time.Location) (time.Time, error)

func checkTimes(t *testing.T, table string, atLeast int, read reader) {
	for _, row := range rows(t, table, 4, atLeast) {
		text, outcome := row[0], row[3]
		now, err := time.Parse(time.RFC3339, row[1])
		require.NoError(t, err)
		zone, err := time.LoadLocation(row[2])
		require.NoError(t, err)
		got, err := read(text, now, zone)
		if says, refused := strings.CutPrefix(outcome, "! "); refused {
			require.ErrorContains(t, err, says, "%q at %s", text, row[1])
			continue
		}
		require.NoError(t, err, "%q at %s", text, row[1])
		require.Equal(t, outcome, got.Format(time.RFC3339Nano), "%q at %s in %s", text, row[1], row[2])
	}
}

func TestTimesAsPeopleWriteThem(t *testing.T) {
	checkTimes(t, "times.txt", 130, units.ParseTime)
}

func TestTimesThatLieAhead(t *testing.T) {
	checkTimes(t, "futures.txt", 30, units.ParseFuture)
}

func TestTimeTextIsBounded(t *testing.T) {
	_, err := units.ParseTime(strings.Repeat("9", 1<<20)+"m ago", time.Unix(0, 0), time.UTC)
	require.ErrorContains(t, err, "longer than")
	require.Less(t, len(err.Error()), 200)
}

func TestDescribe(t *testing.T) {
	oslo, err := time.LoadLocation("Europe/Oslo")
	require.NoError(t, err)
	now := time.Date(2026, 11, 24, 23, 4, 0, 0, oslo)
	for text, want := range map[string]string{
		"now":              "Tue 23:04, now",
		"10s ago":          "Tue 23:03, now",
		"20m ago":          "Tue 22:44, 20 min ago",
		"21:40":            "Tue 21:40, 1 h 24 min ago",
		"yesterday 21:40":  "Mon 21:40, 25 h 24 min ago",
		"thu 18:00":        "Thu 18:00, 5 d 5 h ago",
		"wed 18:00":        "Wed 2026-11-18 18:00, 6 d 5 h ago",
		"wed 23:04":        "Wed 2026-11-18 23:04, 6 d ago",
		"2026-07-01 12:00": "Wed 2026-07-01 12:00, 147 d ago",
		"2026-11-25 07:00": "Wed 07:00, in 7 h 56 min",
		"2026-12-24 18:00": "Thu 2026-12-24 18:00, in 30 d",
	} {
		at, err := units.ParseTime(text, now, oslo)
		require.NoError(t, err)
		require.Equal(t, want, units.Describe(at, now), text)
	}
}

func anyZone(t *rapid.T) *time.Location {
	name := rapid.SampledFrom([]string{"UTC", "Europe/Oslo", "America/New_York", "America/St_Johns", "Asia/Kolkata", "Asia/Kathmandu",
		"Australia/Lord_Howe", "Pacific/Auckland", "Pacific/Chatham", "Pacific/Kiritimati", "America/Sao_Paulo", "Africa/Casablanca"}).Draw(t, "zone")
	zone, err := time.LoadLocation(name)
	require.NoError(t, err)
	return zone
}

func anyMoment(t *rapid.T, label string) time.Time {
	return time.Unix(rapid.Int64Range(0, 4e9).Draw(t, label), 0).UTC()
}

func TestLocalTimeNamesTheFirstInstantThatShowsIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone, at := anyZone(t), anyMoment(t, "at")
		text := at.In(zone).Format("2006-01-02 15:04:05")
		got, err := units.ParseTime(text, at, zone)
		require.NoError(t, err)
		require.Equal(t, text, got.Format("2006-01-02 15:04:05"))
		require.False(t, got.After(at), "the first of two")
		require.LessOrEqual(t, at.Sub(got), time.Hour)
	})
}

func TestEveryWallTimeIsAnInstant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone, wall := anyZone(t), anyMoment(t, "wall").Truncate(time.Minute)
		text := wall.Format("2006-01-02 15:04")
		got, err := units.ParseTime(text, wall, zone)
		require.NoError(t, err)
		shown := got.Format("2006-01-02 15:04")
		require.GreaterOrEqual(t, shown, text, "a time that does not exist moves forward")
		if shown != text {
			before := got.Add(-time.Minute).Format("2006-01-02 15:04")
			require.Less(t, before, text, "and no further than to the next minute that exists")
		}
	})
}

func TestPastIsNotAheadAndFutureIs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone, now := anyZone(t), anyMoment(t, "now")
		clock := anyMoment(t, "clock").Format("15:04")
		day := rapid.SampledFrom([]string{"", "sun ", "mon ", "tue ", "wednesday ", "thu ", "fri ", "saturday "}).Draw(t, "day")
		past, err := units.ParseTime(day+clock, now, zone)
		require.NoError(t, err)
		require.False(t, past.After(now))
		require.Less(t, now.Sub(past), 7*24*time.Hour+2*time.Hour)
		ahead, err := units.ParseFuture(day+clock, now, zone)
		require.NoError(t, err)
		require.True(t, ahead.After(now))
		require.LessOrEqual(t, ahead.Sub(now), 7*24*time.Hour+2*time.Hour)
	})
}

func FuzzParseTime(f *testing.F) {
	for _, row := range append(rows(f, "times.txt", 4, 100), rows(f, "futures.txt", 4, 30)...) {
		f.Add(row[0])
	}
	oslo, err := time.LoadLocation("Europe/Oslo")
	require.NoError(f, err)
	now := time.Date(2026, 3, 29, 12, 0, 0, 0, oslo)
	f.Fuzz(func(t *testing.T, text string) {
		if got, err := units.ParseTime(text, now, oslo); err == nil {
			require.Contains(t, units.Describe(got, now), got.Format("15:04"))
		}
		if got, err := units.ParseFuture(text, now, oslo); err == nil {
			require.True(t, got.After(now))
		}
	})
}
