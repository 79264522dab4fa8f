package notify

import (
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/robfig/cron/v3"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance"
)

func zone(t require.TestingT, name string) *time.Location {
	z, err := time.LoadLocation(name)
	require.NoError(t, err)
	return z
}

func at(t require.TestingT, text string) time.Time {
	tm, err := time.Parse("2006-01-02 15:04:05 -0700", text)
	if err != nil {
		tm, err = time.Parse("2006-01-02 15:04 -0700", text)
	}
	require.NoError(t, err)
	return tm
}

func clock(hour, minute int) int { return hour*60 + minute }

// The days on which the clocks change are those of the zone database: Oslo 2026-03-29 and
// 2026-10-25, New York 2026-03-08 and 2026-11-01, Lord Howe (half an hour) 2026-10-04 and
// 2026-04-05, Beirut (at midnight) 2026-03-29; Apia left out 2011-12-30.
func TestQuietHoldsUntilTheFirstAllowedInstant(t *testing.T) {
	night, early := [2]int{clock(22, 0), clock(6, 30)}, [2]int{clock(1, 30), clock(2, 30)}
	for name, c := range map[string]struct {
		zone  string
		hours [2]int
		now   string
		until string // empty: not held
	}{
		"before":                         {"Europe/Oslo", night, "2026-11-24 21:59:59 +0100", ""},
		"at the start":                   {"Europe/Oslo", night, "2026-11-24 22:00 +0100", "2026-11-25 06:30 +0100"},
		"after midnight":                 {"Europe/Oslo", night, "2026-11-25 03:40 +0100", "2026-11-25 06:30 +0100"},
		"last second":                    {"Europe/Oslo", night, "2026-11-25 06:29:59 +0100", "2026-11-25 06:30 +0100"},
		"at the end":                     {"Europe/Oslo", night, "2026-11-25 06:30 +0100", ""},
		"told in another zone":           {"Europe/Oslo", night, "2026-11-24 21:30 +0000", "2026-11-25 05:30 +0000"},
		"noon break":                     {"Europe/Oslo", [2]int{clock(12, 0), clock(14, 0)}, "2026-11-24 13:00 +0100", "2026-11-24 14:00 +0100"},
		"no hours":                       {"Europe/Oslo", [2]int{clock(7, 0), clock(7, 0)}, "2026-11-24 07:00 +0100", ""},
		"short spring night":             {"Europe/Oslo", night, "2026-03-28 23:00 +0100", "2026-03-29 06:30 +0200"},
		"long autumn night":              {"Europe/Oslo", night, "2026-10-24 23:00 +0200", "2026-10-25 06:30 +0100"},
		"end is skipped":                 {"Europe/Oslo", early, "2026-03-29 01:45 +0100", "2026-03-29 03:00 +0200"},
		"after the skipped end":          {"Europe/Oslo", early, "2026-03-29 03:00 +0200", ""},
		"end comes twice: the first":     {"Europe/Oslo", early, "2026-10-25 02:10 +0200", "2026-10-25 02:30 +0200"},
		"not again in the second hour":   {"Europe/Oslo", early, "2026-10-25 02:10 +0100", ""},
		"start comes twice: the first":   {"America/New_York", [2]int{clock(1, 30), clock(5, 0)}, "2026-11-01 01:10 -0500", "2026-11-01 05:00 -0500"},
		"start is skipped":               {"America/New_York", [2]int{clock(2, 30), clock(5, 0)}, "2026-03-08 03:00 -0400", "2026-03-08 05:00 -0400"},
		"before the skipped start":       {"America/New_York", [2]int{clock(2, 30), clock(5, 0)}, "2026-03-08 01:59 -0500", ""},
		"half an hour forward":           {"Australia/Lord_Howe", [2]int{clock(1, 0), clock(2, 15)}, "2026-10-04 01:30 +1030", "2026-10-04 02:30 +1100"},
		"half an hour back":              {"Australia/Lord_Howe", [2]int{clock(1, 0), clock(1, 45)}, "2026-04-05 01:40 +1030", ""},
		"midnight is skipped":            {"Asia/Beirut", [2]int{clock(0, 0), clock(6, 0)}, "2026-03-29 01:00 +0300", "2026-03-29 06:00 +0300"},
		"quarter-hour zone":              {"Asia/Kathmandu", night, "2026-11-24 22:00 +0545", "2026-11-25 06:30 +0545"},
		"thirteen hours ahead":           {"Pacific/Tongatapu", night, "2026-11-24 23:00 +1300", "2026-11-25 06:30 +1300"},
		"over a day left out: one night": {"Pacific/Apia", night, "2011-12-29 23:00 -1000", "2011-12-31 06:30 +1400"},
	} {
		t.Run(name, func(t *testing.T) {
			q := Quiet{From: c.hours[0], To: c.hours[1], Zone: zone(t, c.zone)}
			until, held := q.Holds(maintenance.DoDecant, at(t, c.now))
			require.Equal(t, c.until != "", held)
			if held {
				require.True(t, at(t, c.until).Equal(until), "got %s", until)
			}
		})
	}
}

func TestQuietLetsPassWhatCannotWait(t *testing.T) {
	q := Quiet{From: clock(22, 0), To: clock(6, 30), Except: []maintenance.Do{maintenance.DoDrain}}
	for do, want := range map[maintenance.Do]bool{
		maintenance.DoStopPump: false, maintenance.DoDrain: false, maintenance.DoFill: true, maintenance.DoBuyOil: true,
	} {
		_, held := q.Holds(do, at(t, "2026-11-24 23:00 +0000"))
		require.Equal(t, want, held, do)
	}
}

var manyZones = []string{"Europe/Oslo", "America/New_York", "Australia/Lord_Howe", "Asia/Beirut",
	"Asia/Kathmandu", "Pacific/Tongatapu", "America/St_Johns", "Africa/Casablanca", "Pacific/Apia", "UTC"}

func TestQuietEndIsLaterAndAllowed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := Quiet{
			From: rapid.IntRange(0, dayMin-1).Draw(t, "from"), To: rapid.IntRange(0, dayMin-1).Draw(t, "to"),
			Zone: zone(t, rapid.SampledFrom(manyZones).Draw(t, "zone")),
		}
		now := time.Unix(rapid.Int64Range(1.2e9, 2e9).Draw(t, "now"), 0)
		until, held := q.Holds(maintenance.DoFill, now)
		if !held {
			return
		}
		require.True(t, until.After(now))
		require.LessOrEqual(t, until.Sub(now), 26*time.Hour+24*time.Hour)
		_, still := q.Holds(maintenance.DoFill, until)
		require.False(t, still, "the end of quiet hours is quiet")
		_, before := q.Holds(maintenance.DoFill, until.Add(-time.Second))
		require.True(t, before, "it was allowed before")
	})
}

func TestNextLocalComesOnceADayThroughTheChanges(t *testing.T) {
	daily, err := cron.ParseStandard("30 2 * * *")
	require.NoError(t, err)
	for _, name := range manyZones[:8] {
		z := zone(t, name)
		for from := time.Date(2026, 1, 1, 12, 0, 0, 0, z); from.Year() < 2029; from = from.AddDate(0, 0, 1) {
			next := NextLocal(daily, from, z)
			require.Equal(t, from.AddDate(0, 0, 1).Format(time.DateOnly), next.Format(time.DateOnly), "%s after %s", name, from)
			require.True(t, NextLocal(daily, next, z).Sub(next) > 20*time.Hour, "%s comes twice after %s", name, from)
			if wall := next.Format("15:04"); wall != "02:30" {
				require.Equal(t, "03:00", wall, name) // the skipped half past two
			}
		}
	}
}

func TestNextLocalInTheHourToldTwice(t *testing.T) {
	daily, err := cron.ParseStandard("30 2 * * *")
	require.NoError(t, err)
	second := at(t, "2026-10-25 02:10 +0100") // 02:30 was an hour before, by the first telling
	want := at(t, "2026-10-26 02:30 +0100")
	require.True(t, want.Equal(NextLocal(daily, second, zone(t, "Europe/Oslo"))))
}

func TestNextLocalOfAnEmptyScheduleIsNever(t *testing.T) {
	never, err := cron.ParseStandard("0 0 30 2 *")
	require.NoError(t, err)
	require.True(t, NextLocal(never, time.Unix(1.7e9, 0), time.UTC).IsZero())
}
