package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/daemon"
	"sumpbook/notify"
)

func TestNoticesTellEachTryOnce(t *testing.T) {
	now := time.Date(2026, 11, 24, 20, 4, 0, 0, time.UTC)
	key := notify.Key{Action: "drain/north/s1", Stage: notify.Opened, Channel: "phone"}
	voice := notify.Voice{Zone: time.UTC}
	v := daemon.NoticesView{}
	for i, n := range []notify.Notice{
		{Outcome: notify.Held}, {Outcome: notify.Attempted, Attempt: 1}, {Outcome: notify.Retry, Attempt: 1},
		{Outcome: notify.Attempted, Attempt: 2}, {Outcome: notify.Delivered, Attempt: 2}, {Outcome: notify.Attempted, Attempt: 3},
	} {
		n.Key, n.At = key, now.Add(time.Duration(i-6)*time.Minute)
		v.Notices, v.Says = append(v.Notices, n), append(v.Says, voice.Tell(n, now))
	}
	s := newSheet()
	readerOf(config.Config{Timezone: time.UTC}, now).notices(s, v)
	var b strings.Builder
	require.NoError(t, s.print(&b))
	lines := strings.Split(strings.TrimSpace(b.String()), "\n")
	require.Len(t, lines, 4)
	require.Equal(t, "Tue 2026-11-24 19:58  drain north, opened to phone: held until later", lines[0])
	require.Regexp(t, `^Tue 2026-11-24 20:00  drain north, opened to phone: try 1 did not get through`, lines[1])
	require.Regexp(t, `^Tue 2026-11-24 20:02  drain north, opened to phone: delivered$`, lines[2])
	require.Regexp(t, `^Tue 2026-11-24 20:03  .*try 3 is under way`, lines[3])
}
