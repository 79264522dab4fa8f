package daemon

import (
	"context"
	"errors"
	"log/slog"
	"sync"
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
	mu   sync.Mutex
	got  []notify.Message
	fail func(n int) error
	hang bool
}

func (h *hand) Name() string { return "phone" }

func (h *hand) Send(ctx context.Context, m notify.Message) (string, error) {
	if h.hang {
		<-ctx.Done()
		return "", ctx.Err()
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.fail != nil {
		if err := h.fail(len(h.got)); err != nil {
			h.fail = nil
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
}

func startBeating(t *testing.T, c config.Config, data string, phone *hand) *beating {
	t.Helper()
	k, err := open(Settings{Data: data, Config: c, Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	k.outbox.policy.Channels = []string{phone.Name()}
	courier := notify.NewCourier(k.carrier, []notify.Channel{phone})
	b := newBeat(k, courier)
	ctx, cancel := context.WithCancel(context.Background())
	var parts sync.WaitGroup
	parts.Go(func() { courier.Run(ctx) })
	parts.Go(func() { b.Run(ctx) })
	return &beating{k, b, phone, func() {
		cancel()
		parts.Wait()
		require.NoError(t, k.book.Close())
	}}
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

// An idle daemon sleeps: its beats are those of the minute.
func TestPokesMerge(t *testing.T) {
	b := &Beat{poke: make(chan struct{}, 1)}
	for range 100 {
		b.Poke()
	}
	require.Len(t, b.poke, 1)
}
