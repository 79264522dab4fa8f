package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"
)

// A year's cycles, 184, told to the program itself: 92 pumps run two each. Their entries lie
// in the past, so that each drain is due at once; it is told when its reminder has come.
const (
	yearPumps  = 92
	yearCycles = 2
	yearKills  = 20
	yearSeed   = 7
)

// A served is the program, killed and started again.
type served struct {
	t            *testing.T
	binary, data string
	address      string
	mu           sync.Mutex
	child        *exec.Cmd
}

func (s *served) start() {
	s.child = exec.Command(s.binary, "serve", "--data", s.data, "--config", filepath.Join(s.data, "config.yaml"))
	require.NoError(s.t, s.child.Start())
}

func (s *served) kill() {
	s.mu.Lock()
	defer s.mu.Unlock()
	_ = s.child.Process.Kill()
	_ = s.child.Wait()
}

func (s *served) restart() {
	s.kill()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.start()
}

// tell posts entries until they are taken: the program may be down.
func (s *served) tell(entries string) error {
	ctx, cancel := context.WithTimeout(s.t.Context(), time.Minute)
	defer cancel()
	again := time.NewTicker(50 * time.Millisecond)
	defer again.Stop()
	for ; ctx.Err() == nil; <-again.C {
		answer, err := http.Post("http://"+s.address+"/api/v1/entries", "application/json", bytes.NewReader([]byte(entries)))
		if err != nil {
			continue
		}
		says, _ := io.ReadAll(answer.Body)
		_ = answer.Body.Close()
		if answer.StatusCode == http.StatusOK {
			return nil
		}
		return fmt.Errorf("%s: %s", answer.Status, says)
	}
	return fmt.Errorf("not taken within a minute")
}

// A receiver of reminders: it is down for three in ten of them, by chance, but takes each at
// the third try, since the waits between tries grow beyond what a test can wait.
type receiver struct {
	mu      sync.Mutex
	times   map[string]int // by webhook-id
	refused map[string]int
	chance  *rand.Rand
	came    map[string]chan struct{}
}

func (h *receiver) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if id := r.Header.Get("webhook-id"); h.isDown(id) {
		http.Error(w, "down", http.StatusServiceUnavailable)
		return
	}
	var body struct {
		Stage  string `json:"stage"`
		Action struct {
			ID string `json:"id"`
		} `json:"action"`
	}
	raw, err := io.ReadAll(r.Body)
	if err == nil {
		err = json.Unmarshal(raw, &body)
	}
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.times[r.Header.Get("webhook-id")]++
	if h.times[r.Header.Get("webhook-id")] == 1 {
		name := body.Action.ID
		if body.Stage == "done" {
			name = "done " + name
		}
		select {
		case <-h.wait(name):
		default:
			close(h.wait(name))
		}
	}
}

func (h *receiver) isDown(id string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.refused[id] == 2 || h.chance.Float64() >= 0.3 {
		return false
	}
	h.refused[id]++
	return true
}

// wait is closed when word of an action has come, or that it is done. The lock is held.
func (h *receiver) wait(name string) chan struct{} {
	if h.came[name] == nil {
		h.came[name] = make(chan struct{})
	}
	return h.came[name]
}

func (h *receiver) arrives(name string) error {
	h.mu.Lock()
	came := h.wait(name)
	h.mu.Unlock()
	select {
	case <-came:
		return nil
	case <-time.After(3 * time.Minute):
		return fmt.Errorf("lost: %s", name)
	}
}

// live tells a pump's cycles, each drain when its reminder has come.
func (h *receiver) live(s *served, pump string, begin time.Time) error {
	at := func(hours float64) string {
		return begin.Add(time.Duration(hours * float64(time.Hour))).Format(time.RFC3339)
	}
	if err := s.tell(fmt.Sprintf(`[{"id":"p-%[1]s","at":%[2]q,"kind":"pump","pump":%[1]q,"charge_ml":700,"heel_ml":20},
		{"id":"j-%[1]s","at":%[2]q,"kind":"vessel","vessel":"jar-%[1]s"},
		{"id":"l-%[1]s","at":%[2]q,"kind":"lot","lot":"lot-%[1]s","vessel":"can-%[1]s","grams":9000},
		{"id":"f-%[1]s","at":%[3]q,"kind":"fill","pump":%[1]q,"from":"can-%[1]s"}]`, pump, at(0), at(0.1))); err != nil {
		return err
	}
	for i := range yearCycles {
		from := float64(30*i) + 1
		start := fmt.Sprintf("s-%s-%d", pump, i)
		if err := s.tell(fmt.Sprintf(`[{"id":%q,"at":%q,"kind":"start","pump":%q},{"id":"e-%s-%d","at":%q,"kind":"stop","pump":%q}]`,
			start, at(from), pump, pump, i, at(from+20), pump)); err != nil {
			return err
		}
		action := "drain/" + pump + "/" + start
		if err := h.arrives(action); err != nil {
			return err
		}
		if err := s.tell(fmt.Sprintf(`[{"id":"d-%[1]s-%[2]d","at":%[3]q,"kind":"drain","pump":%[1]q,"to":"jar-%[1]s"},{"id":"f-%[1]s-%[2]d","at":%[4]q,"kind":"fill","pump":%[1]q,"from":"can-%[1]s"}]`,
			pump, i, at(from+21), at(from+25))); err != nil {
			return err
		}
		if err := h.arrives("done " + action); err != nil {
			return err
		}
	}
	return nil
}

func TestTheProgramItselfLivesThroughAYearOfKills(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	binary := filepath.Join(dir, "sumpbook")
	made, err := exec.Command("go", "build", "-o", binary, ".").CombinedOutput()
	require.NoError(t, err, string(made))
	free, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := free.Addr().String()
	require.NoError(t, free.Close())
	h := &receiver{times: map[string]int{}, refused: map[string]int{}, chance: rand.New(rand.NewPCG(yearSeed, 1)), came: map[string]chan struct{}{}}
	peer := httptest.NewServer(h)
	defer peer.Close()
	config := fmt.Sprintf("listen: %s\nchannels:\n  - {name: hook, type: webhook, url: %q}\n", address, peer.URL)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "config.yaml"), []byte(config), 0o600))
	s := &served{t: t, binary: binary, data: dir, address: address}
	s.start()
	defer s.kill()

	began := time.Now()
	outcome := make(chan error, yearPumps)
	for i := range yearPumps {
		go func() {
			outcome <- h.live(s, fmt.Sprintf("p%d", i), began.Add(-time.Duration(yearCycles*30+10)*time.Hour))
		}()
	}
	chance := rand.New(rand.NewPCG(yearSeed, 0))
	kills, left := 0, yearPumps
	for left > 0 {
		select {
		case err := <-outcome:
			require.NoError(t, err)
			left--
		case <-time.After(time.Duration(300+chance.IntN(2500)) * time.Millisecond):
			if kills < yearKills {
				kills++
				s.restart()
			}
		}
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	repeats, messages := 0, 0
	for _, n := range h.times {
		messages += n
		repeats += n - 1
	}
	t.Logf("seed %d: %d cycles, %d messages, %d kills, three in ten refused: 0 lost, %d repeats, in %.0f s",
		yearSeed, yearPumps*yearCycles, messages, kills, repeats, time.Since(began).Seconds())
	require.Equal(t, yearKills, kills)
	require.LessOrEqual(t, repeats, kills, "at most one repeat a kill")
}
