package daemon

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
)

// From an entry on its way in to the reminder at the receiver's door, over real sockets and
// with every sync: 99 of 100 within 10 ms, while another receiver takes what it is sent and
// never answers. Whether the machine is busy with other things is measured along, by what
// the same syncs and one request take it: then the reminder may be late in proportion.
func TestFromTheEntryToTheWebhook(t *testing.T) {
	const within, rounds, busy, inProportion = 10 * time.Millisecond, 8, 2 * time.Millisecond, 20
	r := startRace(t)
	for range rounds {
		took, machine := r.round(t, 100)
		limit := within
		if machine > busy {
			limit = inProportion * machine
		}
		t.Logf("p99 %v, limit %v; the machine itself %v", took, limit, machine)
		if took < limit {
			require.NotEmpty(t, r.held, "the other receiver hangs")
			return
		}
	}
	t.Fatalf("no round of %d was quick enough", rounds)
}

// A race is a daemon between a program that tells and a receiver that looks at its watch.
type race struct {
	daemon, hook string
	arrived      chan time.Time
	held         chan net.Conn // connections to the receiver that hangs
	scratch      *os.File
}

func startRace(t *testing.T) *race {
	t.Helper()
	r := &race{arrived: make(chan time.Time, 16), held: make(chan net.Conn, 1000)}
	hook := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, q *http.Request) {
		at := time.Now()
		if body, _ := io.ReadAll(q.Body); strings.Contains(string(body), `"do":"stop-pump"`) {
			r.arrived <- at
		}
	}))
	t.Cleanup(hook.Close)
	stuck, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = stuck.Close() })
	go func() {
		for c, err := stuck.Accept(); err == nil; c, err = stuck.Accept() {
			r.held <- c
		}
	}()
	s := quickSettings(t.TempDir())
	s.Log, r.hook = nil, hook.URL
	s.Config.Channels = []config.Channel{{Name: "phone", Type: "webhook", URL: hook.URL}, {Name: "stuck", Type: "webhook", URL: "http://" + stuck.Addr().String()}}
	r.daemon = "http://" + serving(t, s) + "/api/v1/entries"
	r.scratch, err = os.Create(filepath.Join(s.Data, "scratch"))
	require.NoError(t, err)
	t.Cleanup(func() { _ = r.scratch.Close() })
	posted(t, r.daemon, `{"kind":"pump","pump":"north","charge_ml":700}`)
	return r
}

func posted(t *testing.T, address, body string) {
	t.Helper()
	resp, err := http.Post(address, "application/json", strings.NewReader(body))
	require.NoError(t, err)
	_, _ = io.Copy(io.Discard, resp.Body)
	require.NoError(t, resp.Body.Close())
	require.Equal(t, http.StatusOK, resp.StatusCode)
}

// round gives the 99th percentile of so many deliveries, and of what the machine itself
// takes for as many syncs and a request.
func (r *race) round(t *testing.T, times int) (took, machine time.Duration) {
	t.Helper()
	var all, own []time.Duration
	for i := range times {
		began := time.Now()
		for range 2 { // the entry, and the attempt to remind of it
			_, err := r.scratch.WriteAt(make([]byte, 8<<10), 0)
			require.NoError(t, err)
			require.NoError(t, r.scratch.Sync())
		}
		posted(t, r.hook, "{}")
		own = append(own, time.Since(began))

		kind := []string{"start", "stop"}[i%2] // a pump without oil: stop it; then: it is stopped
		began = time.Now()
		posted(t, r.daemon, fmt.Sprintf(`{"kind":%q,"pump":"north"}`, kind))
		select {
		case at := <-r.arrived:
			all = append(all, at.Sub(began))
		case <-time.After(20 * time.Second):
			require.Fail(t, "no reminder came", "of %s %d", kind, i)
		}
	}
	slices.Sort(all)
	slices.Sort(own)
	return all[times*99/100-1], own[times*99/100-1]
}
