package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

func TestTheSeasonHolds(t *testing.T) {
	now := time.Date(2026, 11, 24, 21, 4, 0, 0, time.UTC)
	entries := demoEntries(now)
	require.Contains(t, entries[0].Note, "invented")
	kinds := map[string]int{}
	for i, e := range entries {
		require.False(t, e.At.After(now), e.ID)
		kinds[e.Act.Kind()]++
		again, err := maintenance.Decode(maintenance.Encode(e))
		require.NoError(t, err, e.ID)
		require.Equal(t, maintenance.Content(e), maintenance.Content(again), e.ID)
		entries[i].Seq = uint64(i + 1)
	}
	for _, kind := range strings.Fields("drain fill decant filter freeze separate weigh load yield vacuum snooze care lot medium discard inspect pour") {
		require.Positive(t, kinds[kind], kind)
	}
	s, err := maintenance.Fold(maintenance.DefaultRules(), entries)
	require.NoError(t, err)
	v := s.View(maintenance.DefaultRules(), now, 1, "")
	require.NotNil(t, v.Pumps[0].Full, "the oil of north was replaced")
	require.WithinDuration(t, now.AddDate(0, 0, -24), v.Pumps[0].Full.At, 5*24*time.Hour)

	actions := maintenance.Next(s, maintenance.DefaultRules(), now)
	require.Equal(t, maintenance.DoDrain, actions[0].Do)
	require.Equal(t, maintenance.Open, actions[0].State)
}
