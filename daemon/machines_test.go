package daemon

import (
	"context"
	"net/url"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/maintenance/signal"
)

// A machine is one of the recordings, with the thresholds and the marked runs of their
// README (tracebase, ODbL; read from the shared folder, not copied here).
type machine struct {
	pump, file   string
	onW, offW    float64
	startS, endS int
	first        time.Time // of the recording, as if its local time were UTC
	runs         []marked
	openAtTheEnd bool
}

type marked struct {
	start   string
	minutes float64
}

var machines = []machine{
	{"freezer", "tracebase_freezer_always_on_2012-01-12_to_17_every30s.csv", 50, 20, 60, 600,
		time.Date(2012, 1, 12, 1, 0, 57, 0, time.UTC), nil, true},
	{"dryer", "tracebase_laundry_dryer_2011-12-13_raw.csv", 50, 15, 60, 600,
		time.Date(2011, 12, 13, 0, 0, 18, 0, time.UTC), []marked{{"2011-12-13T13:15:07Z", 67.0}, {"2011-12-13T15:11:02Z", 74.5}, {"2011-12-13T17:40:31Z", 62.1}, {"2011-12-13T19:35:26Z", 7.7}}, false},
	{"circulation", "tracebase_circulation_pump_2011-12-16_17_onchange.csv", 40, 20, 60, 300,
		time.Date(2011, 12, 16, 0, 0, 0, 0, time.UTC), []marked{{"2011-12-17T11:25:30Z", 8.1}, {"2011-12-17T11:41:34Z", 3.4}, {"2011-12-17T12:06:06Z", 6.2}, {"2011-12-17T14:30:58Z", 15.8}}, false},
}

func (m machine) topic() string { return "shed/" + m.pump }

func (m machine) source(broker string) config.Source {
	power, at := "/power_w", "/at"
	return config.Source{
		Pump: m.pump, Type: "mqtt", Broker: "mqtt://" + broker, Topic: m.topic(), Power: &power, Time: &at, Zone: time.UTC, Scale: 1,
		Signals: config.Signals{OnW: m.onW, OffW: m.offW, StartFor: time.Duration(m.startS) * time.Second, EndFor: time.Duration(m.endS) * time.Second,
			ShortestRun: time.Second, Alive: 15 * time.Minute},
	}
}

// check waits until the daemon has the machine's runs and holds them against the marked
// ones; it gives the last stop.
func (m machine) check(t *testing.T, client *Client, shift time.Duration) (last time.Time) {
	t.Helper()
	var edges []maintenance.Entry
	want := 2 * len(m.runs)
	if m.openAtTheEnd {
		want = 1
	}
	require.Eventually(t, func() bool {
		edges = m.edges(t, client)
		return len(edges) >= want
	}, time.Minute, 50*time.Millisecond, "%s: %d edges of %d", m.pump, len(edges), want)
	require.Len(t, edges, want, "%s", m.pump)
	for i, r := range m.runs {
		start, err := time.Parse(time.RFC3339, r.start)
		require.NoError(t, err)
		began, ended := edges[2*i], edges[2*i+1]
		require.Equal(t, []string{"start", "stop"}, []string{began.Act.Kind(), ended.Act.Kind()})
		require.WithinDuration(t, start.Add(shift), began.At, 2*time.Minute, "%s run %d", m.pump, i+1)
		require.InDelta(t, r.minutes, ended.At.Sub(began.At).Minutes(), 2, "%s run %d", m.pump, i+1)
		last = ended.At
	}
	return last
}

func (m machine) edges(t *testing.T, client *Client) (edges []maintenance.Entry) {
	t.Helper()
	all, err := client.Entries(context.Background(), 0, maxListed)
	require.NoError(t, err)
	for _, e := range all {
		switch a := e.Act.(type) {
		case *maintenance.StartAct:
			if a.Pump == m.pump {
				edges = append(edges, e)
			}
		case *maintenance.StopAct:
			if a.Pump == m.pump {
				edges = append(edges, e)
			}
		}
	}
	return edges
}

func mustURL(t *testing.T, text string) []*url.URL {
	t.Helper()
	u, err := url.Parse(text)
	require.NoError(t, err)
	return []*url.URL{u}
}

// awaitSubscribed waits until the daemon hears its broker: a sample published before is
// nobody's.
func awaitSubscribed(t *testing.T, client *Client, _ string) {
	t.Helper()
	require.Eventually(t, func() bool {
		findings, err := client.Doctor(context.Background())
		require.NoError(t, err)
		connected := 0
		for _, f := range findings {
			if f.What == "broker" && f.State == "ok" {
				connected++
			}
		}
		return connected == len(machines)
	}, 20*time.Second, 50*time.Millisecond, "the daemon does not hear the broker")
}

// A broker that dies comes back, and is heard again without a restart of the daemon.
func TestTheBrokerComesBack(t *testing.T) {
	t.Parallel()
	port := freePort(t)
	address, stop := startBrokerOn(t, port)
	watts := "/power_w"
	s := quickSettings(t.TempDir())
	s.Log = nil
	s.Config.Sources = []config.Source{{Pump: "north", Type: "mqtt", Broker: "mqtt://" + address, Topic: "shed/north", Power: &watts, Scale: 1, Signals: s.Config.Signals}}
	serving(t, s)
	client, err := Connect(t.Context(), s)
	require.NoError(t, err)
	finding := func(what string) Finding {
		all, err := client.Doctor(t.Context())
		require.NoError(t, err)
		i := slices.IndexFunc(all, func(f Finding) bool { return f.What == what })
		require.GreaterOrEqual(t, i, 0)
		return all[i]
	}
	until := func(what, state string) {
		t.Helper()
		require.Eventually(t, func() bool { return finding(what).State == state }, 20*time.Second, 20*time.Millisecond)
	}
	for range rounds(t, 1) {
		until("broker", "ok")
		stop()
		until("broker", "bad")
		_, stop = startBrokerOn(t, port)
	}
	until("broker", "ok")
	publish(t, address, "shed/north", []signal.Sample{{At: time.Now(), Value: 3}})
	until("source north", "ok")
	require.Contains(t, finding("source north").Says, "last value 3")
}
