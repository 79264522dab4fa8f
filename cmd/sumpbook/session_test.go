package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/daemon"
	"sumpbook/maintenance"
)

func TestReaderShowsWhatThePersonReads(t *testing.T) {
	zone := time.FixedZone("CET", 3600)
	c := config.Config{Units: "metric", Timezone: zone}
	r := readerOf(c, time.Date(2026, 11, 24, 20, 4, 0, 0, time.UTC))
	require.Equal(t, "Tue 2026-11-24 21:04 CET", r.clock(r.now))
	require.Equal(t, "Tue 20:44, 20 min ago", r.when(r.now.Add(-20*time.Minute)))
	require.Equal(t, "Tue 20:44, now", r.asOf(r.now.Add(-20*time.Minute)).when(r.now.Add(-20*time.Minute)))
	require.Equal(t, "15.9 g", r.between(15.9, 15.9, 15.9))
	require.Equal(t, "16 g (2.7 g to 65 g)", r.between(15.94, 2.731, 64.6))
	require.Equal(t, "29.8 h", r.hours(29.81))
	require.Equal(t, "601 h", r.hours(600.7))
	require.Equal(t, "8 K", r.quantity(8, "K"), "a width is no temperature")
	require.Equal(t, "57.7 °C", r.quantity(57.7, "C"))
	require.Equal(t, "39 min", r.quantity(38.5791, "min"))
	require.Equal(t, "23870 h", r.quantity(23870.4, "h"))
	require.Equal(t, "1 cycle", r.quantity(1, "cycles"))
	require.Equal(t, "1 pass", r.quantity(1, "passes"))
	require.Equal(t, "1.375 charges", r.quantity(1.375, "charges"))
	require.Equal(t, "0.7767", r.namely("humidity", 0.776724, "1"))
	require.Equal(t, "78 %", r.namely("settled", 0.776724, "1"))

	require.Equal(t, "north is running since Mon 01:33; entry north/start/2026-11-23T00:33:00Z stands",
		r.local("north is running since 2026-11-23 00:33 +00:00; entry north/start/2026-11-23T00:33:00Z stands"))
	require.Equal(t, "Tue 2999-01-01 00:00 is in the future: at=2026-11-24T21:04:00+01:00", r.local("2999-01-01T00:00:00+01:00 is in the future: at=2026-11-24T21:04:00+01:00"))
	require.Equal(t, "2026-13-77 00:33 +00:00", r.local("2026-13-77 00:33 +00:00"), "no time")
	for _, exact := range []string{"2026-11-24T20:04:00Z", "2026-11-23T00:33:07.5Z"} {
		told, _ := time.Parse(time.RFC3339Nano, exact)
		require.Equal(t, map[bool]string{true: "'2026-11-24 21:04'", false: "2026-11-23T00:33:07.5Z"}[told.Nanosecond() == 0], r.atWord(told))
	}

	c.Units = "us"
	us := readerOf(c, r.now)
	require.Equal(t, "1 lb 6.6 oz", us.grams(640))
	require.Equal(t, "0.006 g", us.grams(0.006), "too little for ounces")
	require.Equal(t, "0.16 oz", us.about(4.449), "rounded once, in ounces")
	require.Equal(t, "0.006 g", us.quantity(0.000006, "kg"))
	require.Equal(t, "1.1 g (0.21 g to 2.8 g)", us.between(1.05, 0.21, 2.84))
	require.Equal(t, "0.56 oz (0.1 oz to 2.3 oz)", us.between(15.9, 2.84, 64.6))
	require.Equal(t, "136 °F", us.quantity(57.7, "C"))
	require.Equal(t, "trap", plainName("trap_c"))
	require.Equal(t, "drain cycles", plainName("drain_cycles"))
}

func TestVerdictOfTheCheck(t *testing.T) {
	open, overdue, coming := maintenance.Action{State: maintenance.Open}, maintenance.Action{State: maintenance.Overdue}, maintenance.Action{State: maintenance.Coming}
	for _, c := range []struct {
		actions []maintenance.Action
		stale   []string
		want    exitCode
	}{
		{nil, nil, done},
		{[]maintenance.Action{coming}, nil, done},
		{[]maintenance.Action{open, coming}, nil, codeOpen},
		{[]maintenance.Action{open, overdue}, nil, codeOverdue},
		{[]maintenance.Action{open}, []string{"north"}, codeStale},
		{[]maintenance.Action{overdue}, []string{"north"}, codeOverdue},
		{nil, []string{"north"}, codeStale},
	} {
		require.Equal(t, c.want, verdict(daemon.ActionsView{Actions: c.actions, Stale: c.stale}))
	}
}

func TestReasonsSayWhatTheyAreHeldAgainst(t *testing.T) {
	r := readerOf(config.Config{Units: "metric", Timezone: time.UTC}, time.Now())
	for want, reason := range map[string]maintenance.Reason{
		"has stood: 118 h, wanted 108 h (Stokes)":          {Rule: "settled_h", Value: 118.2, Limit: 108.3, Unit: "h", Source: "Stokes"},
		"share settled: 78 %, wanted 72 % (a cloud)":       {Rule: "settled", Value: 0.7767, Limit: 0.7165, Unit: "1", Source: "a cloud"},
		"minutes left: 37 min, of 51 min (Newton)":         {Rule: "minutes_left", Value: 36.71, Limit: 50.58, Unit: "min", Source: "Newton"},
		"ready oil: 2.48 kg, against 181 g (the book: it)": {Rule: "ready_oil_g", Value: 2480, Limit: 181, Unit: "g", Source: "the book: it"},
		"wait: 3 h (the book: jar-1 is the next)":          {Rule: "wait_h", Value: 3, Unit: "h", Source: "the book: jar-1 is the next"},
		"a stop was missed":                                {Rule: "unexplained", Value: 1, Unit: "1", Source: "the book: a stop was missed"},
	} {
		require.Equal(t, want, r.reason(reason))
	}
}
