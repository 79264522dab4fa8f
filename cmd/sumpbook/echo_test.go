package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
)

func TestEchoReadsBackWhatWasSaid(t *testing.T) {
	now := time.Date(2026, 11, 24, 20, 4, 0, 0, time.UTC)
	w := wording{now, time.UTC}
	metric := readerOf(config.Config{Units: "metric", Timezone: time.UTC}, now)
	us := readerOf(config.Config{Units: "us", Timezone: time.UTC}, now)
	for _, c := range []struct {
		kind     string
		words    []string
		want, us string
	}{
		{"stop", []string{"pump=north", "hot=154F"}, "stop north, hot 67.78 °C", "stop north, hot 154 °F"},
		{"load", []string{"pump=north", "grams=1lb5oz"}, "load north 595.3 g", "load north 1 lb 5 oz"},
		{"load", []string{"pump=north", "trays=600g,500g", "class=curd"}, "load north 1100 g, trays 600 g + 500 g, class curd", "load north 2 lb 6.8 oz, trays 1 lb 5.2 oz + 1 lb 1.6 oz, class curd"},
		{"vacuum", []string{"pump=north", "pa=40mTorr"}, "vacuum north 5.333 Pa", "vacuum north 40 mTorr"},
		{"yield", []string{"pump=north", "grams=900"}, "yield north 900 g", "yield north 1 lb 15.7 oz"},
		{"fill", []string{"pump=north", "from=can-1"}, "fill can-1 north", "fill can-1 north"},
		{"weigh", []string{"vessel=jar-1", "gross=1180.5g"}, "weigh jar-1, gross 1180 g", "weigh jar-1, gross 2 lb 9.6 oz"},
		{"vessel", []string{"vessel=waste-1", "waste=yes"}, "vessel waste-1, waste yes", "vessel waste-1, waste yes"},
		{"pump", []string{"pump=north", "charge=700ml", "speed=7m3/h", "limits.air_h=3"}, "pump north, charge 700 ml, speed 7 m³/h, limits air 3 h", "pump north, charge 23.7 fl oz, speed 4.12 cfm, limits air 3 h"},
		{"note", []string{"pump=north", "note=changed the belt"}, `note north, "changed the belt"`, `note north, "changed the belt"`},
		{"snooze", []string{"action=drain/north/s1", "until=+2h"}, "snooze drain/north/s1, until Tue 22:04, in 2 h", "snooze drain/north/s1, until Tue 22:04, in 2 h"},
	} {
		e, err := w.entry(c.kind, c.words)
		require.NoError(t, err, c.words)
		require.Equal(t, c.want, metric.echo(e))
		require.Equal(t, c.us, us.echo(e))
	}
}
