package daemon

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// Whatever the network sends is entries, or a mistake that is told as one.
func FuzzDecodeEntries(f *testing.F) {
	f.Add([]byte(`{"kind":"note","note":"x"}`))
	f.Add([]byte(`[{"kind":"drain","pump":"north","to":"jar-1","grams":640},{"kind":"note","note":"x"}]`))
	f.Add([]byte(`[[`))
	f.Fuzz(func(t *testing.T, b []byte) {
		entries, err := decodeEntries(b)
		if err != nil {
			require.Less(t, problemOf(err).Status, 500, "%v", err)
			return
		}
		require.NotEmpty(t, entries)
		for _, e := range entries {
			back, err := maintenance.Decode(maintenance.Encode(e))
			require.NoError(t, err)
			require.Equal(t, maintenance.Content(e), maintenance.Content(back))
		}
	})
}

func FuzzDecodeReadings(f *testing.F) {
	f.Add([]byte(`{"power_w":1}`))
	f.Add([]byte(`[{"at":"2026-03-01T07:00:00Z","power_w":1},{"temp_c":65}]`))
	f.Fuzz(func(t *testing.T, b []byte) {
		readings, err := decodeReadings(b, day0)
		if err != nil {
			p := (*Problem)(nil)
			require.True(t, errors.As(err, &p), "%v", err)
			require.Less(t, p.Status, 500)
			return
		}
		for _, r := range readings {
			require.False(t, r.Power == nil && r.TempC == nil && r.Pa == nil)
			require.NoError(t, r.check())
			require.False(t, r.At.Before(time.Unix(0, 0)))
		}
	})
}
