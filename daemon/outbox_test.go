package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A gate is a channel whose sends wait until the test lets them through.
type gate struct {
	name string
	in   chan notify.Message
	out  chan error
}

func newGate(name string) *gate {
	return &gate{name, make(chan notify.Message, 100), make(chan error, 100)}
}

func (g *gate) Name() string { return g.name }

func (g *gate) Send(ctx context.Context, m notify.Message) (string, error) {
	select {
	case g.in <- m:
	default: // it is full, and nobody looks
	}
	select {
	case err := <-g.out:
		return "ok", err
	case <-ctx.Done():
		return "", ctx.Err()
	}
}

// copyOf is the book's file as a kill would leave it now, in a folder of its own.
func copyOf(t *testing.T, data string) (other string) {
	t.Helper()
	b, err := os.ReadFile(BookPath(data))
	require.NoError(t, err)
	other = t.TempDir()
	require.NoError(t, os.WriteFile(BookPath(other), b, 0o600))
	return other
}

// Killed before the send, while it is on the wire, or before its outcome is written: the
// reminder comes, at most once too often, under the same id. Killed after: it comes once.
func TestAReminderOutlivesAKill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		data, phone := t.TempDir(), newGate("phone")
		b := startBeating(t, config.Default(), data, phone)
		b.begin(t)
		id := (<-phone.in).ID
		onTheWire := copyOf(t, data)
		phone.out <- nil
		synctest.Wait()
		answered := copyOf(t, data)
		b.stop()

		again := &hand{}
		b = startBeating(t, config.Default(), onTheWire, again)
		time.Sleep(2 * time.Minute)
		synctest.Wait()
		require.Len(t, again.taken(), 1)
		require.Equal(t, id, again.taken()[0].ID)
		b.stop()

		silent := &hand{}
		b = startBeating(t, config.Default(), answered, silent)
		time.Sleep(time.Minute)
		synctest.Wait()
		require.Empty(t, silent.taken())
		b.stop()
	})
}

// What is done while a send is under way: nothing of it is sent any more, but for the one
// on the wire and the word that it is done.
func TestNothingIsSaidOfWhatIsDone(t *testing.T) {
	for name, act := range map[string]string{
		"Done":    `{"id":"d1","kind":"drain","pump":"north","to":"jar-1"}`,
		"Skipped": `{"id":"k1","kind":"skip","action":"drain/north/s1","note":"it was changed elsewhere"}`,
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				phone := newGate("phone")
				b := startBeating(t, config.Default(), t.TempDir(), phone)
				defer func() { b.stop() }()
				b.begin(t)
				require.Equal(t, "drain/north/s1", (<-phone.in).Key.Action)
				time.Sleep(10 * time.Second)
				b.tell(t, act)
				phone.out <- errors.New("no route") // so that it would be tried again
				synctest.Wait()
				for range 20 {
					phone.out <- nil
				}
				time.Sleep(3 * time.Hour)
				synctest.Wait()
				for len(phone.in) > 0 {
					m := <-phone.in
					require.False(t, m.Key.Action == "drain/north/s1" && m.Key.Stage != notify.Done, "%s of %s", m.Key.Stage, m.Key.Action)
				}
			})
		})
	}
}

func TestASnoozeWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		phone := &hand{}
		b := startBeating(t, config.Default(), t.TempDir(), phone)
		defer func() { b.stop() }()
		b.begin(t)
		until := time.Now().Add(6 * time.Hour)
		b.tell(t, fmt.Sprintf(`{"id":"z1","kind":"snooze","action":"drain/north/s1","until":%q}`, until.Format(time.RFC3339)))
		time.Sleep(6*time.Hour - time.Second)
		synctest.Wait()
		require.Len(t, phone.taken(), 1)
		time.Sleep(2 * time.Second)
		synctest.Wait()
		require.Len(t, phone.taken(), 2)
	})
}

// One channel hangs, one refuses for ever: a third is served at once.
func TestAHangingChannelDelaysNoOther(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		stuck, dead, phone := newGate("stuck"), &hand{name: "dead", fail: func(int) error { return errors.New("no route") }, ever: true}, &hand{}
		b := startBeating(t, config.Default(), t.TempDir(), stuck, dead, phone)
		defer func() { b.stop() }()
		b.begin(t)
		require.Len(t, phone.taken(), 1)
		b.tell(t, `{"id":"d1","kind":"drain","pump":"north","to":"jar-1"}`)
		require.Len(t, phone.taken(), 2)
		time.Sleep(24 * time.Hour)
		synctest.Wait()
		require.NotEmpty(t, dead.tries)
		for id, tries := range dead.tries {
			require.Less(t, tries, 60, "a day of tries of %s is bounded", id)
		}
		require.Contains(t, b.k.outbox.Failing()["dead"], "no route")
	})
}

// Whatever the clock does, each stage is said once, and none is lost: steps of seconds to
// years, both ways, with the time of the book in between.
func TestTheClockIsNotTrusted(t *testing.T) {
	t.Parallel()
	steps := []time.Duration{time.Second, -time.Second, time.Minute, -time.Minute, time.Hour, -time.Hour, 30 * time.Hour, -30 * time.Hour, 10 * 365 * 24 * time.Hour, -10 * 365 * 24 * time.Hour}
	for seed := range uint64(rounds(t, 20)) {
		synctest.Test(t, func(t *testing.T) {
			random := rand.New(rand.NewPCG(seed, 1))
			phone := &hand{}
			b := startBeating(t, config.Default(), t.TempDir(), phone)
			defer func() { b.stop() }()
			b.begin(t)
			for range 6 { // a walk away and, each time, back
				away := steps[random.IntN(len(steps))]
				b.step(away)
				time.Sleep(time.Duration(random.IntN(10)) * time.Minute)
				b.step(-away)
				time.Sleep(time.Duration(random.IntN(10)) * time.Minute)
			}
			time.Sleep(6 * time.Hour)
			synctest.Wait()
			seen := map[string]int{}
			for _, m := range phone.taken() {
				seen[m.ID]++
				require.Equal(t, 1, seen[m.ID], "seed %d: %s", seed, m.Key)
			}
			said := strings.Join(stagesOf(phone.taken()), "; ")
			require.Contains(t, said, "opened drain/north/s1", "seed %d", seed)
			require.Contains(t, said, "overdue drain/north/s1", "seed %d", seed)
		})
	}
}

// An idle daemon sleeps: a beat a minute and no more, also with a source that is heard
// twice a minute, whose state is stored.
func TestAnIdleDaemonSleeps(t *testing.T) {
	t.Parallel()
	for _, heard := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			b := startBeating(t, config.Default(), t.TempDir(), &hand{})
			defer func() { b.stop() }()
			all := opening(t)
			for i := range all {
				all[i].At = time.Now()
			}
			_, err := b.k.book.Record(context.Background(), time.Now(), all)
			require.NoError(t, err)
			s, err := b.k.sensorFor("north")
			require.NoError(t, err)
			synctest.Wait()
			before := b.beats.Load()
			for range 2 * 24 * 60 {
				time.Sleep(30 * time.Second)
				if heard {
					require.NoError(t, s.Take(context.Background(), time.Now(), []Reading{{At: time.Now(), Arrived: time.Now(), Power: new(2.0)}}))
				}
			}
			synctest.Wait()
			require.LessOrEqual(t, b.beats.Load()-before, int64(1441))
			require.GreaterOrEqual(t, b.beats.Load()-before, int64(1439))
		})
	}
}

// A line in the log for each thing that happens, and no more.
func TestOneLineAnEvent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log safeBuffer
		phone := &hand{}
		b := startBeatingLogged(t, config.Default(), t.TempDir(), slog.New(slog.NewTextHandler(&log, nil)), phone)
		defer func() { b.stop() }()
		h := b.k.socketHandler()
		post := func(line string) {
			t.Helper()
			require.Equal(t, 200, send(h, "POST", "/api/v1/entries", line).Code)
			synctest.Wait()
		}
		for _, line := range []string{
			`{"id":"p","kind":"pump","pump":"north","charge_ml":700}`, `{"id":"l","kind":"lot","lot":"lot-1","vessel":"can-1","grams":3000}`,
			`{"id":"f","kind":"fill","pump":"north","from":"can-1"}`, `{"id":"s1","kind":"start","pump":"north"}`,
		} {
			post(line)
		}
		log.reset()
		time.Sleep(24 * time.Hour)
		synctest.Wait()
		require.Empty(t, log.String(), "nothing happens in a day of running")
		phone.fail = func(int) error { return errors.New("no route") }
		post(`{"kind":"stop","pump":"north","hot_c":66}`)
		time.Sleep(time.Minute)
		synctest.Wait()
		lines := strings.Split(strings.TrimSpace(log.String()), "\n")
		require.Len(t, lines, 3, log.String())
		require.Contains(t, lines[0], "msg=entry")
		require.Contains(t, lines[0], "kind=stop")
		require.Contains(t, lines[1], "outcome=retry")
		require.Contains(t, lines[2], "outcome=delivered")
	})
}

type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safeBuffer) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(b)
}

func (s *safeBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func (s *safeBuffer) reset() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.b.Reset()
}

// The reminders of eighty things due at once, one channel of two dead: the healthy one
// gets all of them.
func TestAFloodOfReminders(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := config.Default()
		for i := range 80 {
			c.Care = append(c.Care, config.Care{Task: fmt.Sprintf("task-%d", i), After: config.After{RunHours: 23.9}})
		}
		phone, stuck := &hand{}, newGate("stuck")
		b := startBeating(t, c, t.TempDir(), phone, stuck)
		defer func() { b.stop() }()
		b.begin(t)
		require.Len(t, phone.taken(), 81)
		last := phone.taken()[80]
		require.Equal(t, maintenance.DoDrain, last.Action.Do, "said at the stop, when the tasks were through")
	})
}

func textLog(b *safeBuffer) *slog.Logger { return slog.New(slog.NewTextHandler(b, nil)) }
