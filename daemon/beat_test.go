package daemon

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A hand is a channel that keeps what it was given.
type hand struct {
	name  string
	mu    sync.Mutex
	got   []notify.Message
	tries map[string]int
	fail  func(n int) error
	ever  bool // it fails each time
}

func (h *hand) Name() string { return cmp.Or(h.name, "phone") }

func (h *hand) Send(_ context.Context, m notify.Message) (string, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.tries == nil {
		h.tries = map[string]int{}
	}
	h.tries[m.ID]++
	if h.fail != nil {
		if err := h.fail(len(h.got)); err != nil {
			if !h.ever {
				h.fail = nil
			}
			return "", err
		}
	}
	h.got = append(h.got, m)
	return "ok", nil
}

func (h *hand) taken() []notify.Message {
	h.mu.Lock()
	defer h.mu.Unlock()
	return append([]notify.Message(nil), h.got...)
}

// A beating is a daemon's inside in a bubble: no sockets, the bubble's clock.
type beating struct {
	k     *Keeper
	beat  *Beat
	phone *hand
	stop  func()
	off   atomic.Int64 // how far the clock is off, ns
	beats atomic.Int64
}

func (b *beating) step(d time.Duration) {
	b.off.Add(int64(d))
	b.beat.Poke()
	synctest.Wait()
}

func startBeating(t *testing.T, c config.Config, data string, channels ...notify.Channel) *beating {
	t.Helper()
	return startBeatingLogged(t, c, data, slog.New(slog.DiscardHandler), channels...)
}

func startBeatingLogged(t *testing.T, c config.Config, data string, log *slog.Logger, channels ...notify.Channel) *beating {
	t.Helper()
	b := &beating{}
	k, err := open(Settings{Data: data, Config: c, Log: log, Clock: func() time.Time { return time.Now().Add(time.Duration(b.off.Load())) }})
	require.NoError(t, err)
	for _, ch := range channels {
		if p := &k.outbox.policy; !slices.Contains(p.Channels, ch.Name()) {
			p.Channels = append(p.Channels, ch.Name())
		}
	}
	page0(t, k)
	k.carryLinks(k.settings.Config.Listen)
	courier := notify.NewCourier(k.carrier, channels)
	b.k, b.beat = k, newBeat(k, courier)
	b.phone, _ = channels[0].(*hand)
	b.beat.sensors = func() []*Sensor { b.beats.Add(1); return k.allSensors() }
	ctx, cancel := context.WithCancel(context.Background())
	var parts sync.WaitGroup
	parts.Go(func() { courier.Run(ctx) })
	parts.Go(func() { b.beat.Run(ctx) })
	b.stop = func() {
		cancel()
		parts.Wait()
		require.NoError(t, k.book.Close())
	}
	return b
}

func (b *beating) tell(t *testing.T, line string) {
	t.Helper()
	_, err := b.k.book.Record(context.Background(), time.Now(), []maintenance.Entry{entry(t, time.Now(), line)})
	require.NoError(t, err)
	synctest.Wait()
}

func (b *beating) begin(t *testing.T) {
	t.Helper()
	all := opening(t)
	for i := range all {
		all[i].At = time.Now()
	}
	_, err := b.k.book.Record(context.Background(), time.Now(), all)
	require.NoError(t, err)
	b.tell(t, `{"id":"s1","kind":"start","pump":"north"}`)
	time.Sleep(24 * time.Hour)
	b.tell(t, `{"id":"s2","kind":"stop","pump":"north","hot_c":66}`)
}

func stagesOf(messages []notify.Message) (all []string) {
	for _, m := range messages {
		all = append(all, string(m.Key.Stage)+" "+m.Key.Action)
	}
	return all
}

func TestAStopIsSaidAtOnceAndThenItsStages(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := startBeating(t, config.Default(), t.TempDir(), &hand{})
		defer func() { b.stop() }()
		b.begin(t)
		require.Equal(t, []string{"opened drain/north/s1"}, stagesOf(b.phone.taken()))
		time.Sleep(3 * time.Hour)
		synctest.Wait()
		require.Equal(t, []string{"opened drain/north/s1", "closing drain/north/s1", "overdue drain/north/s1"}, stagesOf(b.phone.taken()))
		b.tell(t, `{"id":"d1","kind":"drain","pump":"north","to":"jar-1"}`)
		require.Equal(t, "done drain/north/s1", stagesOf(b.phone.taken())[3])
	})
}

func TestQuietHoursHoldTillMorning(t *testing.T) {
	synctest.Test(t, func(t *testing.T) { // the bubble begins at 2000-01-01 00:00 UTC
		c := config.Default()
		c.Timezone = time.UTC
		c.Quiet.From, c.Quiet.To = 22*60, 6*60+30
		b := startBeating(t, c, t.TempDir(), &hand{})
		defer func() { b.stop() }()
		b.begin(t) // stops at midnight
		require.Empty(t, b.phone.taken())
		time.Sleep(6*time.Hour + 29*time.Minute)
		synctest.Wait()
		require.Empty(t, b.phone.taken())
		time.Sleep(2 * time.Minute)
		synctest.Wait()
		require.Equal(t, []string{"overdue drain/north/s1"}, stagesOf(b.phone.taken()), "one message, of where things stand now")
	})
}

func TestAFailedSendIsTriedAgainUnderTheSameID(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		phone := &hand{fail: func(int) error { return errors.New("no route") }}
		b := startBeating(t, config.Default(), t.TempDir(), phone)
		defer func() { b.stop() }()
		b.begin(t)
		require.Empty(t, phone.taken())
		require.Contains(t, b.k.outbox.Failing()["phone"], "no route")
		time.Sleep(time.Minute)
		synctest.Wait()
		require.Len(t, phone.taken(), 1)
		require.Empty(t, b.k.outbox.Failing())
		var ids []string
		require.NoError(t, b.k.book.journal.Notices(0, func(n notify.Notice) error {
			ids = append(ids, n.Key.ID()+" "+string(n.Outcome))
			return nil
		}))
		id := phone.taken()[0].ID
		require.Equal(t, []string{id + " attempted", id + " retry", id + " attempted", id + " delivered"}, ids)
	})
}

func TestADaemonThatWasDownSaysOnceWhereThingsStand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		data, phone := t.TempDir(), &hand{}
		b := startBeating(t, config.Default(), data, phone)
		b.begin(t)
		require.Len(t, phone.taken(), 1)
		b.stop()
		time.Sleep(72 * time.Hour)
		b = startBeating(t, config.Default(), data, phone)
		synctest.Wait()
		require.Equal(t, []string{"opened drain/north/s1", "overdue drain/north/s1"}, stagesOf(phone.taken()))
		time.Sleep(24 * time.Hour)
		synctest.Wait()
		require.Len(t, phone.taken(), 2)
		b.stop()
	})
}

func TestAClockBehindTheBookHoldsTheReminders(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		data, phone := t.TempDir(), &hand{}
		b := startBeating(t, config.Default(), data, phone)
		b.begin(t)
		b.stop()
		early := time.Now().Add(-20 * time.Hour)
		k, err := open(Settings{Data: data, Config: config.Default(), Clock: func() time.Time { return early }})
		require.NoError(t, err)
		beat := newBeat(k, notify.NewCourier(k.carrier, nil))
		require.True(t, beat.once(context.Background()).IsZero())
		require.True(t, beat.held)
		require.Equal(t, "bad", k.Doctor(context.Background())[0].State)
		require.NoError(t, k.book.Close())
	})
}

func TestPokesMerge(t *testing.T) {
	b := &Beat{poke: make(chan struct{}, 1)}
	for range 100 {
		b.Poke()
	}
	require.Len(t, b.poke, 1)
}
