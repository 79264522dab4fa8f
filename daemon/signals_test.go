package daemon

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
)

func TestPayloadsAsPlugsSendThem(t *testing.T) {
	at := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	p := func(s string) *string { return &s }
	oslo, err := time.LoadLocation("Europe/Oslo")
	require.NoError(t, err)
	for _, c := range []struct {
		name, payload string
		src           config.Source
		want          float64
		at            time.Time
	}{
		{"Flat", `{"power":76.3}`, config.Source{Power: p("/power")}, 76.3, at},
		{"Nested", `{"ENERGY":{"Power":19}}`, config.Source{Power: p("/ENERGY/Power")}, 19, at},
		{"Bare", `23.4`, config.Source{Power: p("")}, 23.4, at},
		{"MilliwattsScaled", `{"mw":450000}`, config.Source{Power: p("/mw"), Unit: "mW"}, 450, at},
		{"Kilowatts", `{"kw":"0.45"}`, config.Source{Power: p("/kw"), Unit: "kW"}, 450, at},
		{"Fahrenheit", `{"f":149}`, config.Source{Temp: p("/f"), Unit: "F"}, 65, at},
		{"Kelvin", `{"k":338.15}`, config.Source{Temp: p("/k"), Unit: "K"}, 65, at},
		{"DecimalComma", `{"w":"12,5"}`, config.Source{Power: p("/w"), Decimal: "comma"}, 12.5, at},
		{"RelayOffIsNoPower", `{"w":80,"on":false}`, config.Source{Power: p("/w"), On: p("/on")}, 0, at},
		{"RelayOn", `{"w":80,"on":true}`, config.Source{Power: p("/w"), On: p("/on")}, 80, at},
		{"SwitchAlone", `{"state":"RUN"}`, config.Source{On: p("/state"), OnValues: []string{"RUN"}, OffValues: []string{"REST"}}, 1, at},
		{"OwnTime", `{"w":1,"t":"2026-03-01T11:00:00+01:00"}`, config.Source{Power: p("/w"), Time: p("/t")}, 1, at.Add(-2 * time.Hour)},
		{"LocalTime", `{"w":1,"t":"2026-03-01T12:30:00"}`, config.Source{Power: p("/w"), Time: p("/t"), Zone: oslo}, 1, at.Add(-30 * time.Minute)},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := newListener(c.src, time.UTC, nil, func() time.Time { return at }, slog.New(slog.DiscardHandler))
			r, err := l.reading([]byte(c.payload), at)
			require.NoError(t, err)
			got := r.Power
			if got == nil {
				got = r.TempC
			}
			require.InDelta(t, c.want, *got, 1e-9)
			require.True(t, r.At.Equal(c.at), r.At)
		})
	}
	l := newListener(config.Source{Power: p("/w")}, time.UTC, nil, func() time.Time { return at }, slog.New(slog.DiscardHandler))
	for _, bad := range []string{``, `{}`, `{"w":null}`, `{"w":"12,5"}`, `{"w":1e999}`, `{"w":60000}`, `{"w":`, "{\"w\":\"\xff\"}"} {
		_, err := l.reading([]byte(bad), at)
		require.Error(t, err, bad)
		l.take(context.Background(), []byte(bad), false)
	}
	require.Equal(t, int64(8), l.refuse.Load())
}

// A retained message shows a value and is no edge, whatever it says.
func TestARetainedMessageIsNoEdge(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	_, err := k.book.Record(context.Background(), *now, opening(t))
	require.NoError(t, err)
	power := "/w"
	s, err := NewSensor(k.book, "north", "mqtt:north", thresholdsOf(config.Source{Power: &power, Signals: config.Default().Signals}), k.log, *now)
	require.NoError(t, err)
	l := newListener(config.Source{Pump: "north", Power: &power}, time.UTC, s, k.clock, k.log)
	for range 20 {
		*now = now.Add(time.Minute)
		l.take(context.Background(), []byte(`{"w":500}`), true)
	}
	require.Nil(t, k.book.now.Load().state.Pumps["north"].Run)
	require.InDelta(t, 500, s.State().Value, 0)
}

// A source that falls silent in mid-run: the beat books the stop at the last sample that
// ran, uncertain, and a check asks; a restart within six hours is the same cycle.
func TestASilentSource(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := startBeating(t, config.Default(), t.TempDir(), &hand{})
		defer func() { b.stop() }()
		ctx := context.Background()
		all := opening(t)
		for i := range all {
			all[i].At = time.Now()
		}
		_, err := b.k.book.Record(ctx, time.Now(), all)
		require.NoError(t, err)
		s, err := b.k.sensorFor("north")
		require.NoError(t, err)
		began := time.Now().Add(time.Minute)
		feed := func(minutes int, watts float64) (last time.Time) {
			for range minutes {
				time.Sleep(time.Minute)
				last = time.Now()
				require.NoError(t, s.Take(ctx, last, []Reading{{At: last, Arrived: last, Power: &watts}}))
			}
			return last
		}
		last := feed(120, 400)
		time.Sleep(time.Hour)
		synctest.Wait()
		p := b.k.book.now.Load().state.Pumps["north"]
		require.Nil(t, p.Run)
		require.True(t, p.Last.Uncertain)
		require.True(t, p.Last.At.Equal(last))
		var kinds []string
		for _, a := range maintenance.Next(b.k.book.now.Load().state, b.k.book.rules, time.Now()) {
			kinds = append(kinds, string(a.Do))
		}
		require.Contains(t, kinds, "check")

		feed(60, 400)
		feed(10, 2)
		p = b.k.book.now.Load().state.Pumps["north"]
		require.Nil(t, p.Run)
		require.Equal(t, 1, p.Cycles, "the same cycle")
		require.True(t, p.Last.Began.Equal(began))
		require.False(t, p.Last.Uncertain)
	})
}

func TestATestReminderTellsWhatTheOtherEndSaid(t *testing.T) {
	hook := &receiver{}
	server := httptest.NewServer(hook)
	defer server.Close()
	c := config.Default()
	c.Quiet.From, c.Quiet.To = 0, 24*60-1
	c.Channels = []config.Channel{{Name: "phone", Type: "webhook", URL: server.URL}, {Name: "gone", Type: "webhook", URL: "http://127.0.0.1:1/"}}
	k, _ := newTestKeeper(t, c)
	client := within(k)
	results, err := client.NotifyTest(context.Background(), "")
	require.NoError(t, err)
	require.True(t, results[0].OK)
	require.Contains(t, hook.bodies[0], "TEST")
	require.False(t, results[1].OK)
	require.Contains(t, results[1].Said, "refused")
	_, err = client.NotifyTest(context.Background(), "pager")
	require.ErrorContains(t, err, "pager")
	v, err := client.Notices(context.Background(), 100)
	require.NoError(t, err)
	require.Len(t, v.Notices, 4)
	require.Len(t, v.Says, 4)
}

// A slow reader of a long answer costs no memory in this process.
func TestTheInProcessAnswerIsAStream(t *testing.T) {
	h := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		for range 1000 {
			_, _ = io.WriteString(w, "line\n")
		}
	})
	r, err := http.NewRequest(http.MethodGet, "http://sumpbook/", nil)
	require.NoError(t, err)
	answer, err := inProcess{h}.RoundTrip(r)
	require.NoError(t, err)
	b, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.Len(t, b, 5000)
}

func TestAmountsAreInThePersonsUnits(t *testing.T) {
	metric, us := amountIn("metric"), amountIn("us")
	require.Equal(t, "640 g", metric(640, "g"))
	require.Equal(t, "66 °C", metric(66, "C"))
	require.Equal(t, "151 °F", us(66, "C"))
	require.Equal(t, "1", metric(1, "1"))
	require.Equal(t, "2.25 D1500", metric(2.25, "D1500"))
	require.Equal(t, "1234 cycles", us(1234, "cycles"))
}
