package calendar

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden calendars anew")

var usual = Options{Installation: "INVENTED2345", Name: "Pump oil", Base: "http://192.0.2.7:8417", Zone: cet}

// golden compares bytes, line ends included.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "golden", "calendar", name+".ics")
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got))
}

func shown(l Ledger) []Record {
	records, _ := l.Shown()
	return records
}

func TestGoldenCalendars(t *testing.T) {
	todo, alarms, bare := usual, usual, usual
	todo.Todo = true
	alarms.Alarms = true
	bare.Base, bare.Zone = "", nil
	drain, decant, replace, care := storyOf(t, "drain"), storyOf(t, "decant"), storyOf(t, "replace"), storyOf(t, "care")
	for name, c := range map[string]struct {
		ledger Ledger
		Options
	}{
		"quiet-day":         {Ledger{}, usual},
		"drain-expected":    {drain.told(t, "2026-01-07T18:00:00+01:00"), usual},
		"drain-open":        {drain.told(t, "2026-01-07T18:00:00+01:00", "2026-01-08T08:12:00+01:00"), usual},
		"drain-overdue":     {drain.told(t, "2026-01-08T08:12:00+01:00", "2026-01-08T13:00:00+01:00"), usual},
		"settling-jars":     {decant.told(t, "2026-01-05T16:00:00+01:00"), usual},
		"settled-jars":      {decant.told(t, "2026-01-05T16:00:00+01:00", "2026-01-06T12:00:00+01:00"), usual},
		"replace-expected":  {replace.told(t, "2026-01-10T16:00:00+01:00"), usual},
		"replace-alarms":    {replace.told(t, "2026-01-12T15:00:00+01:00"), alarms},
		"care":              {care.told(t, "2026-01-06T12:00:00+01:00", "2026-01-28T05:00:00+01:00"), usual},
		"done":              {drain.told(t, "2026-01-06T08:05:00+01:00", "2026-01-06T08:20:00+01:00"), alarms},
		"done-14-days-ago":  {drain.told(t, "2026-01-06T08:05:00+01:00", "2026-01-06T08:20:00+01:00", "2026-01-20T08:20:00+01:00"), usual},
		"todo-drain-open":   {drain.told(t, "2026-01-07T18:00:00+01:00", "2026-01-08T08:12:00+01:00"), todo},
		"todo-replace":      {replace.told(t, "2026-01-10T16:00:00+01:00"), todo},
		"no-address-in-utc": {drain.told(t, "2026-01-06T08:05:00+01:00"), bare},
	} {
		t.Run(name, func(t *testing.T) {
			got := Render(shown(c.ledger), c.Options)
			golden(t, name, got)
			require.Equal(t, got, Render(shown(c.ledger), c.Options), "the same ledger, the same bytes")
			requireRead(t, c.ledger, c.Options)
		})
	}
}
