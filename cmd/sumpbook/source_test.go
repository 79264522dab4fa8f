package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The counts are those of the traces' own description: four runs of a dryer in a day, a
// pump that starts at intervals, a freezer that never ends over the holes of its record.
func TestReplayOfRecordedPlugs(t *testing.T) {
	shared := os.Getenv("SUMPBOOK_SHARED")
	if shared == "" {
		shared = filepath.Join("..", "..", "..", "shared")
	}
	power := filepath.Join(shared, "data", "power")
	if _, err := os.Stat(power); err != nil {
		t.Skipf("no recorded traces here: %v", err)
	}
	for _, c := range []struct{ file, flags, first string }{
		{"tracebase_laundry_dryer_2011-12-13_raw.csv", "--on-w 100 --off-w 40 --end-for 10m --shortest-run 5m", "20478 samples, 4 runs"},
		{"tracebase_freezer_always_on_2012-01-12_to_17_every30s.csv", "--on-w 50 --off-w 20", ""},
	} {
		var out, errs bytes.Buffer
		args := append([]string{"source", "replay", filepath.Join(power, c.file), "--pump", "north", "--zone", "Europe/Berlin", "--data", t.TempDir()}, strings.Fields(c.flags)...)
		require.Equal(t, done, run(context.Background(), args, nil, &out, &errs), errs.String())
		if c.first != "" {
			require.Equal(t, c.first, strings.Split(out.String(), "\n")[0])
		} else {
			require.NotContains(t, strings.Join(strings.Split(out.String(), "\n")[3:], ""), "2012", "one run at most")
			require.Contains(t, out.String(), "runs on")
		}
	}
}
