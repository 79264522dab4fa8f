package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
)

func TestStateSaysWhatIsReady(t *testing.T) {
	now := time.Date(2026, 11, 24, 20, 4, 0, 0, time.UTC)
	r := readerOf(config.Config{Units: "metric", Timezone: time.UTC}, now)
	later, before := now.Add(2*time.Hour), now.Add(-time.Hour)
	for want, v := range map[string]struct {
		stage maintenance.Stage
		at    *time.Time
	}{
		"for the pump: now":                      {maintenance.Filtered, nil},
		"to filter: now":                         {maintenance.Decanted, nil},
		"to decant: Tue 22:04, in 2 h":           {maintenance.Recovered, &later},
		"to take the ice out: now":               {maintenance.Freezing, &before},
		"to take the ice out: Tue 22:04, in 2 h": {maintenance.Freezing, &later},
		"":                                       {maintenance.Waste, nil},
	} {
		require.Equal(t, want, r.ready(maintenance.VesselView{Stage: &v.stage, ReadyAt: v.at}))
	}
	drained := maintenance.Drained
	require.Empty(t, r.ready(maintenance.VesselView{Stage: &drained}), "it never settles")

	require.Equal(t, "31 h, 2 charges", r.life(maintenance.ParcelView{OilG: 600, OilHours: 31, Uses: 2}))
	require.Equal(t, "0 h, 1 charge on the book; not known before", r.life(maintenance.ParcelView{OilG: 600, AgeUnknownG: 600, Uses: 1}))
	require.Equal(t, "31 h, 2 charges on the book; not known before of 36 g of it", r.life(maintenance.ParcelView{OilG: 600, AgeUnknownG: 35.6, OilHours: 31, Uses: 2}))

	wet := maintenance.ParcelView{WaterG: 4, WaterLowG: 1, WaterHighG: 9}
	require.Equal(t, "booked at the stop", r.sumpWater(true, maintenance.ParcelView{}))
	require.Equal(t, "4 g (1 g to 9 g) from before, that of this run is booked at the stop", r.sumpWater(true, wet))
	require.Equal(t, "4 g (1 g to 9 g)", r.sumpWater(false, wet))
}

func TestEachPartOfTheAnswersStandsApart(t *testing.T) {
	b := &session{reader: readerOf(config.Config{Units: "metric", Timezone: time.UTC}, time.Now())}
	s := newSheet()
	showState(b, s, maintenance.StateView{Pumps: []maintenance.PumpView{{Pump: "north"}}})
	require.Contains(t, s.text.String(), "\n\nin pumps 0 g")
}
