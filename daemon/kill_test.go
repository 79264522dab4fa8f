package daemon

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// kill ends a child as a power cut would: nothing more is written, nobody is told.
func (c child) kill(t *testing.T) {
	t.Helper()
	require.NoError(t, c.Process.Kill())
	require.Error(t, c.Wait())
}

func pushTo(t *testing.T, address, path, body string) {
	t.Helper()
	answer, err := http.Post("http://"+address+path, "application/json", strings.NewReader(body))
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	require.Equal(t, http.StatusOK, answer.StatusCode, body)
}

// Killed in the start dwell, in the run and in the end dwell, the daemon finds the same
// cycles as one that nobody disturbed: every answered sample has left what it means on disk.
func TestKilledInMidDwellAndMidRunItFindsTheSameCycles(t *testing.T) {
	begin := time.Now().UTC().Truncate(time.Hour).Add(-6 * time.Hour)
	watts := func(minute int) int { // two runs of 40 and 60 minutes, and a spike that is none
		switch {
		case minute >= 10 && minute < 50, minute >= 90 && minute < 150, minute == 70:
			return 400
		}
		return 3
	}
	edges := func(t *testing.T, killAt map[int]bool) (all []string) {
		data := t.TempDir()
		d, address := start(t, "serve", data)
		pushTo(t, address, "/api/v1/entries", fmt.Sprintf(`{"kind":"pump","pump":"north","charge_ml":700,"at":%q}`, begin.Add(-time.Hour).Format(time.RFC3339)))
		for half := range 340 { // a sample every 30 s
			at := begin.Add(time.Duration(half) * 30 * time.Second)
			pushTo(t, address, "/api/v1/signals/north", fmt.Sprintf(`{"at":%q,"power_w":%d}`, at.Format(time.RFC3339), watts(half/2)))
			if killAt[half] {
				d.kill(t)
				d, address = start(t, "serve", data)
			}
		}
		d.kill(t)
		b := openBook(t, BookPath(data))
		require.NoError(t, b.journal.Lines(0, func(_ uint64, line []byte) error {
			e, err := maintenance.Decode(line)
			if err == nil && e.IsMachine() {
				all = append(all, e.ID)
			}
			return err
		}))
		require.NoError(t, b.Close())
		return all
	}
	whole := edges(t, nil)
	require.Len(t, whole, 4, "%v", whole)
	require.Equal(t, "north/start/"+begin.Add(10*time.Minute).Format(time.RFC3339), whole[0])
	require.Equal(t, "north/stop/"+begin.Add(150*time.Minute).Format(time.RFC3339), whole[3])
	// In samples: 20 begins the first run, 100 ends it, 180 and 300 the second; 140 is the spike.
	require.Equal(t, whole, edges(t, map[int]bool{5: true, 21: true, 60: true, 102: true, 140: true, 141: true, 181: true, 240: true, 301: true}))
}
