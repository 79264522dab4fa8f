package daemon

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"
	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/maintenance/signal"
	"sumpbook/notify"
)

// needs skips where a program of the machine is missing; where skips are not allowed, the
// run that lists them fails.
func needs(t *testing.T, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		if _, err := os.Stat("/usr/sbin/" + program); err == nil {
			return "/usr/sbin/" + program
		}
		t.Skipf("skipped: no %s on this machine", program)
	}
	return path
}

func sharedFile(t *testing.T, name string) string {
	t.Helper()
	dir := os.Getenv("SUMPBOOK_SHARED")
	if dir == "" {
		dir = "../../shared"
	} else if !filepath.IsAbs(dir) {
		dir = filepath.Join("..", dir)
	}
	path := filepath.Join(dir, name)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("skipped: no %s: set SUMPBOOK_SHARED to the shared folder", name)
	}
	return path
}

func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// run starts a program and ends it, by its own process, with the test.
func run(t *testing.T, name string, args ...string) (stop func()) {
	t.Helper()
	c := exec.Command(name, args...)
	c.Stdout, c.Stderr = io.Discard, io.Discard
	require.NoError(t, c.Start())
	stop = sync.OnceFunc(func() { _ = c.Process.Kill(); _ = c.Wait() })
	t.Cleanup(stop)
	return stop
}

func reachable(t *testing.T, address string) {
	t.Helper()
	require.Eventually(t, func() bool {
		c, err := net.Dial("tcp", address)
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	}, 10*time.Second, 20*time.Millisecond, "nothing listens on %s", address)
}

func startBroker(t *testing.T) string {
	t.Helper()
	address, _ := startBrokerOn(t, freePort(t))
	return address
}

func startBrokerOn(t *testing.T, port int) (address string, stop func()) {
	t.Helper()
	mosquitto := needs(t, "mosquitto")
	conf := filepath.Join(t.TempDir(), "mosquitto.conf")
	require.NoError(t, os.WriteFile(conf, fmt.Appendf(nil, "listener %d 127.0.0.1\nallow_anonymous true\npersistence false\nmax_queued_messages 0\nmax_inflight_messages 100\n", port), 0o600))
	stop = run(t, mosquitto, "-c", conf)
	address = fmt.Sprintf("127.0.0.1:%d", port)
	reachable(t, address)
	return address, stop
}

// startMail starts a mail server that keeps each letter as a file of a folder.
func startMail(t *testing.T) (port int, letters string) {
	t.Helper()
	python := "/usr/bin/python3" // Debian's own, which has the server's module
	if exec.Command(python, "-c", "import aiosmtpd").Run() != nil {
		t.Skip("skipped: no aiosmtpd on this machine")
	}
	port, letters = freePort(t), filepath.Join(t.TempDir(), "mail")
	run(t, python, "-m", "aiosmtpd", "-n", "-l", fmt.Sprintf("127.0.0.1:%d", port), "-c", "aiosmtpd.handlers.Mailbox", letters)
	reachable(t, fmt.Sprintf("127.0.0.1:%d", port))
	return port, letters
}

// A receiver is the other end of a webhook.
type receiver struct {
	mu     sync.Mutex
	bodies []string
	ids    []string
}

func (r *receiver) ServeHTTP(_ http.ResponseWriter, q *http.Request) {
	b, _ := io.ReadAll(q.Body)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.bodies, r.ids = append(r.bodies, string(b)), append(r.ids, q.Header.Get("webhook-id"))
}

func (r *receiver) has(text string) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, b := range r.bodies {
		if strings.Contains(b, text) {
			return true
		}
	}
	return false
}

// A trace is a recording shifted so that it ends now.
func trace(t *testing.T, name string, end time.Time) []signal.Sample {
	t.Helper()
	f, err := os.Open(sharedFile(t, "data/power/"+name))
	require.NoError(t, err)
	defer f.Close()
	samples, err := signal.ReadTrace(bufio.NewReader(f), time.UTC)
	require.NoError(t, err)
	shift := end.Sub(samples[len(samples)-1].At)
	for i := range samples {
		samples[i].At = samples[i].At.Add(shift)
	}
	return samples
}

// publish sends a trace to the broker as fast as it takes it, times in the payload.
func publish(t *testing.T, broker, topic string, samples []signal.Sample) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	u := mustURL(t, "mqtt://"+broker)
	cm, err := autopaho.NewConnection(ctx, autopaho.ClientConfig{ServerUrls: u, KeepAlive: 30, CleanStartOnInitialConnection: true,
		ClientConfig: paho.ClientConfig{ClientID: "plug-" + strings.ReplaceAll(topic, "/", "-")}})
	require.NoError(t, err)
	require.NoError(t, cm.AwaitConnection(ctx))
	for i, s := range samples {
		payload := fmt.Appendf(nil, `{"at":%q,"power_w":%v}`, s.At.Format(time.RFC3339), s.Value)
		qos := byte(0)
		if i%50 == 0 || i == len(samples)-1 {
			qos = 1 // an acknowledgement now and then keeps the broker's queue short
		}
		_, err := cm.Publish(ctx, &paho.Publish{Topic: topic, QoS: qos, Payload: payload})
		require.NoError(t, err)
	}
	require.NoError(t, cm.Disconnect(ctx))
}

// The whole round on real input: three machines' recorded power goes through a real broker
// into the running daemon; the stop of the last run brings a drain reminder to a real mail
// server and to a webhook; the oil is drained, settles, is decanted and filtered, and goes
// back, and the book answers rightly at every step. Thresholds and marked runs are those of
// the recordings' README.
func TestTheWholeRoundOnRealPower(t *testing.T) {
	t.Parallel()
	broker := startBroker(t)
	mailPort, letters := startMail(t)
	hook := &receiver{}
	server := httptest.NewServer(hook)
	t.Cleanup(server.Close)

	now := time.Now().Truncate(time.Second)
	c := config.Default()
	c.Timezone, c.Listen = time.UTC, "127.0.0.1:0"
	c.Channels = []config.Channel{
		{Name: "phone", Type: "webhook", URL: server.URL},
		{Name: "mail", Type: "smtp", Host: "127.0.0.1", Port: mailPort, From: "pump@example.org", To: []string{"me@example.org"}, TLS: notify.NoSecurity},
	}
	for _, m := range machines {
		c.Sources = append(c.Sources, m.source(broker))
	}
	c.Signals.ShortestRun = time.Second

	data := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	ready, ended := make(chan string, 1), make(chan error, 1)
	go func() {
		ended <- Serve(ctx, Settings{Data: data, Config: c, Log: slog.New(slog.DiscardHandler)}, func(a string) { ready <- a })
	}()
	address := <-ready
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-ended)
	})
	client, err := Connect(ctx, Settings{Data: data, Config: c})
	require.NoError(t, err)
	require.True(t, client.Daemon())
	tell := func(at time.Time, line string) {
		t.Helper()
		_, err := client.Record(ctx, []maintenance.Entry{entry(t, at, line)}, false)
		require.NoError(t, err)
	}
	began := now.Add(-10 * 24 * time.Hour)
	for _, m := range machines {
		tell(began, fmt.Sprintf(`{"kind":"pump","pump":%q,"charge_ml":700,"heel_ml":20}`, m.pump))
		tell(began, fmt.Sprintf(`{"kind":"lot","lot":"lot-%s","vessel":"can-%s","grams":1500}`, m.pump, m.pump))
		tell(began.Add(time.Minute), fmt.Sprintf(`{"id":"first-%s","kind":"fill","pump":%q,"from":"can-%s"}`, m.pump, m.pump, m.pump))
	}
	for _, v := range []string{"jar-1", "jar-2", "jar-3"} {
		tell(began, fmt.Sprintf(`{"kind":"vessel","vessel":%q,"capacity_ml":1000}`, v))
	}
	tell(began, `{"kind":"medium","medium":"paper"}`)

	awaitSubscribed(t, client, address)
	last := map[string]time.Time{}
	for _, m := range machines {
		samples := trace(t, m.file, now.Add(-time.Minute))
		shift := samples[0].At.Sub(m.first)
		publish(t, broker, m.topic(), samples)
		last[m.pump] = m.check(t, client, shift)
	}

	t.Run("TheStopIsSaid", func(t *testing.T) {
		stop := last["circulation"]
		require.Eventually(t, func() bool { return hook.has(`drain/circulation/`) && hook.has(`"stage":"`) }, 20*time.Second, 50*time.Millisecond)
		require.Eventually(t, func() bool { return letterWith(letters, "circulation") }, 20*time.Second, 50*time.Millisecond)
		v, err := client.Actions(ctx, Moment{})
		require.NoError(t, err)
		require.True(t, hasAction(v.Actions, "drain", "circulation"), "stopped %v", stop)
	})

	t.Run("AndTheOilGoesRound", func(t *testing.T) { goRound(t, client, last["circulation"], now) })
}

func letterWith(folder, text string) bool {
	files, _ := filepath.Glob(filepath.Join(folder, "new", "*"))
	for _, f := range files {
		if b, err := os.ReadFile(f); err == nil && strings.Contains(string(b), text) {
			return true
		}
	}
	return false
}

func hasAction(actions []maintenance.Action, do maintenance.Do, subject string) bool {
	for _, a := range actions {
		if a.Do == do && (a.Pump != nil && *a.Pump == subject || a.Vessel != nil && *a.Vessel == subject) {
			return true
		}
	}
	return false
}

// goRound takes the oil of the stopped pump through the circuit. Times are told, not
// waited for; what is still to come is asked with a moment ahead.
func goRound(t *testing.T, client *Client, stop, now time.Time) {
	ctx := context.Background()
	tell := func(at time.Time, line string) {
		t.Helper()
		_, err := client.Record(ctx, []maintenance.Entry{entry(t, at, line)}, false)
		require.NoError(t, err)
	}
	at := func(moment time.Time) maintenance.StateView {
		t.Helper()
		v, err := client.State(ctx, Moment{At: moment})
		require.NoError(t, err)
		l := v.Ledger
		require.InDelta(t, l.OpeningG+l.ReceivedG+l.FoundG+l.CarryOverG,
			l.InPumpsG+l.InVesselsG+l.InMediaG+l.DiscardedG+l.LostG+l.ExpelledG+l.WaterTakenG, 1e-6)
		return v
	}
	drained := stop.Add(30 * time.Minute)
	before := pumpIn(t, at(drained.Add(-time.Second)), "circulation")
	require.Equal(t, "first-circulation", before.Full.Entry)
	require.Equal(t, 4, before.Cycles)
	tell(drained, `{"id":"drain-1","kind":"drain","pump":"circulation","to":"jar-1"}`)
	v := at(drained)
	require.True(t, pumpIn(t, v, "circulation").Open)
	jar := vesselIn(t, v, "jar-1")
	require.Equal(t, maintenance.Drained, *jar.Stage)
	require.InDelta(t, before.Charge.Grams-pumpIn(t, v, "circulation").Charge.Grams, jar.Grams, 1e-9)

	ready := *jar.ReadyAt
	coming, err := client.Actions(ctx, Moment{At: now})
	require.NoError(t, err)
	require.True(t, hasAction(coming.Actions, "decant", "jar-1"))
	ahead, err := client.Actions(ctx, Moment{At: ready.Add(time.Minute)})
	require.NoError(t, err)
	for _, a := range ahead.Actions {
		if a.Do == "decant" {
			require.NotEqual(t, maintenance.Coming, a.State)
			require.True(t, a.Due.Equal(ready))
		}
	}
	require.Less(t, vesselIn(t, at(drained.Add(time.Hour)), "jar-1").Settled, vesselIn(t, at(ready), "jar-1").Settled)

	// The recording ends now, so the rest of the round is told as if the jar had stood before.
	tell(now.Add(-8*time.Minute), `{"id":"decant-1","kind":"decant","from":"jar-1","to":"jar-2","grams":500}`)
	v = at(now.Add(-8 * time.Minute))
	require.Equal(t, maintenance.Decanted, *vesselIn(t, v, "jar-2").Stage)
	require.Equal(t, maintenance.Residue, *vesselIn(t, v, "jar-1").Stage)
	tell(now.Add(-7*time.Minute), `{"id":"filter-1","kind":"filter","from":"jar-2","to":"jar-3","kept_g":3.5,"minutes":20}`)
	v = at(now.Add(-7 * time.Minute))
	require.Equal(t, maintenance.Filtered, *vesselIn(t, v, "jar-3").Stage)
	require.Equal(t, 1, vesselIn(t, v, "jar-3").FilterPasses)
	require.InDelta(t, 496.5, vesselIn(t, v, "jar-3").Grams, 1e-9)
	require.InDelta(t, 3.5, v.Ledger.InMediaG, 1e-9)
	tell(now.Add(-6*time.Minute), `{"id":"fill-2","kind":"fill","pump":"circulation","from":"jar-3"}`)
	tell(now.Add(-5*time.Minute), `{"id":"fill-3","kind":"fill","pump":"circulation","from":"can-circulation"}`)

	audit, err := client.Audit(ctx, "circulation", Moment{})
	require.NoError(t, err)
	require.Equal(t, "first-circulation", audit.Full.Entry, "reclaimed oil is not new")
	require.Equal(t, 4, audit.Full.Cycles)
	require.Len(t, audit.Charges, 2)
	require.Equal(t, []string{"fill-2", "fill-3"}, audit.Charges[0].Fills)
	require.Equal(t, "drain-1", *audit.Charges[1].Drain)
	require.Equal(t, 4, audit.Charges[1].Cycles)
	require.Less(t, audit.Charges[0].FreshFraction, 0.5)
	verdict, err := client.Verify(ctx)
	require.NoError(t, err)
	require.True(t, verdict.OK, verdict.Bad)
}

func pumpIn(t *testing.T, v maintenance.StateView, name string) maintenance.PumpView {
	t.Helper()
	for _, p := range v.Pumps {
		if p.Pump == name {
			return p
		}
	}
	require.Fail(t, "no pump "+name)
	return maintenance.PumpView{}
}

func vesselIn(t *testing.T, v maintenance.StateView, name string) maintenance.VesselView {
	t.Helper()
	for _, w := range v.Vessels {
		if w.Vessel == name {
			return w
		}
	}
	require.Fail(t, "no vessel "+name)
	return maintenance.VesselView{}
}
