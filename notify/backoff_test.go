package notify

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestBackoffGrowsToItsCeilings(t *testing.T) {
	key := Key{Action: "drain/north/s1", Stage: Opened, Channel: "phone"}
	for attempt, least := range map[int]time.Duration{
		1: 10 * time.Second, 2: 20 * time.Second, 5: 160 * time.Second, 9: 30 * time.Minute,
		48: 30 * time.Minute, 49: time.Hour, 199: time.Hour, 1 << 40: time.Hour,
	} {
		wait := Backoff(key, attempt)
		require.GreaterOrEqual(t, wait, least, attempt)
		require.LessOrEqual(t, wait, least*5/4, attempt)
		require.Equal(t, wait, Backoff(key, attempt))
	}
	require.NotEqual(t, Backoff(key, 3), Backoff(Key{Action: "drain/south/s1", Stage: Opened, Channel: "phone"}, 3))
}

func TestBackoffStaysUnderTwoHundredTriesInSevenDays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		key := Key{Action: rapid.String().Draw(t, "action"), Stage: Opened}
		tries, waited := 1, time.Duration(0)
		for waited < 7*24*time.Hour {
			waited += Backoff(key, tries)
			tries++
		}
		require.Less(t, tries, MaxAttempts, "it gives up within seven days")
	})
}

func TestKeyIDTellsKeysApart(t *testing.T) {
	a := Key{Action: "drain/north/s1", Stage: Opened, Count: 1, Channel: "phone"}
	require.Equal(t, "r-", a.ID()[:2])
	require.Regexp(t, `^r-[a-z2-7]{26}$`, a.ID())
	require.Equal(t, a.ID(), a.ID())
	seen := map[string]Key{}
	for _, k := range []Key{
		a, {a.Action, Closing, 1, "phone"}, {a.Action, Opened, 1, "mail"},
		{a.Action, Opened, 11, "phone"}, {a.Action, Opened, 1, "1phone"}, {"", Opened, 1, "phone"}, {a.Action, Opened, 0, "phone"},
	} {
		require.NotContains(t, seen, k.ID())
		seen[k.ID()] = k
	}
}
