package notify

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// A house is as much of a daemon as it takes: a log, a ledger and a beat.
type house struct {
	mu      sync.Mutex
	facts   Facts
	policy  Policy
	ledger  *Ledger
	notices []Notice
	full    error // what the log answers

	poke    chan struct{}
	courier *Courier
}

func (h *house) AppendNotices(_ context.Context, notices []Notice) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.full != nil {
		return h.full
	}
	for _, n := range notices {
		h.ledger.Add(n)
	}
	h.notices = append(h.notices, notices...)
	h.beat()
	return nil
}

func (h *house) beat() {
	select {
	case h.poke <- struct{}{}:
	default:
	}
}

func (h *house) still(r Reminder) (Reminder, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return Left(r, h.facts, h.ledger, h.policy, time.Now())
}

func (h *house) carrier() Carrier {
	return Carrier{Log: h, Clock: time.Now, Compose: Voice{}.Compose, Still: h.still}
}

// learn changes what the book says.
func (h *house) learn(change func(*Facts)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	change(&h.facts)
	h.beat()
}

func (h *house) run(ctx context.Context) {
	for ctx.Err() == nil {
		now := time.Now()
		h.mu.Lock()
		plan := Due(h.facts, h.ledger, h.policy, now)
		h.mu.Unlock()
		if len(plan.Notices) > 0 {
			_ = h.AppendNotices(ctx, plan.Notices)
		}
		h.courier.Offer(plan.Send)
		wait := time.Minute
		if !plan.Next.IsZero() {
			wait = min(wait, plan.Next.Sub(now))
		}
		select {
		case <-h.poke:
		case <-time.After(wait):
		case <-ctx.Done():
		}
	}
}

// open sets the house going, with channels by these names; the end of the test ends it.
func open(t *testing.T, channels ...Channel) *house {
	h := &house{ledger: NewLedger(), poke: make(chan struct{}, 1)}
	for _, c := range channels {
		h.policy.Channels = append(h.policy.Channels, c.Name())
	}
	h.courier = NewCourier(h.carrier(), channels)
	ctx, cancel := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	wg.Go(func() { h.courier.Run(ctx) })
	wg.Go(func() { h.run(ctx) })
	t.Cleanup(func() { cancel(); wg.Wait() })
	return h
}

// A mailbox is a channel whose other end is the test.
type mailbox struct {
	name string
	send func(ctx context.Context, m Message) (string, error) // nil: takes everything

	mu    sync.Mutex
	heard []Message
	tries int
}

func (b *mailbox) Name() string { return b.name }

func (b *mailbox) Send(ctx context.Context, m Message) (said string, err error) {
	b.mu.Lock()
	b.tries++
	b.mu.Unlock()
	if b.send != nil {
		said, err = b.send(ctx, m)
	}
	if err == nil {
		b.mu.Lock()
		b.heard = append(b.heard, m)
		b.mu.Unlock()
	}
	return said, err
}

func (b *mailbox) stages() (all []Stage) {
	for _, m := range b.heard {
		all = append(all, m.Key.Stage)
	}
	return all
}

// ready is an action that opens now, by the clock of the bubble, and stays open.
func ready(n int) maintenance.Action {
	now := time.Now()
	id := fmt.Sprintf("decant/jar-%d/d%d", n, n)
	return maintenance.Action{ID: id, Do: maintenance.DoDecant, Vessel: ptr(fmt.Sprintf("jar-%d", n)), Opens: now, Due: now, State: maintenance.Open}
}

func hung(ctx context.Context, _ Message) (string, error) {
	<-ctx.Done()
	return "", ctx.Err()
}

func TestCourierCarriesAWholeLife(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		phone := &mailbox{name: "phone"}
		h := open(t, phone)
		a := ready(1)
		a.Due = a.Opens.Add(time.Hour)
		a.Closes = &a.Due
		h.learn(func(f *Facts) { f.Actions = []maintenance.Action{a} })
		time.Sleep(2 * time.Hour)
		h.learn(func(f *Facts) { f.Actions = nil })
		time.Sleep(time.Hour)
		synctest.Wait()
		require.Equal(t, []Stage{Opened, Closing, Overdue, Done}, phone.stages())
		require.Equal(t, a.Opens.Add(40*time.Minute), phone.heard[1].SentAt)
		require.Equal(t, a.Due, phone.heard[2].SentAt)
		require.Len(t, h.notices, 8)
	})
}

func TestCourierOutlastsSevenDaysWithoutAnAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		back := time.Now().Add(7 * 24 * time.Hour)
		phone := &mailbox{name: "phone", send: func(context.Context, Message) (string, error) {
			if time.Now().Before(back) {
				return "", errors.New("connection refused")
			}
			return "200 OK", nil
		}}
		h := open(t, phone)
		h.learn(func(f *Facts) { f.Actions = []maintenance.Action{ready(1), ready(2)} })
		time.Sleep(7*24*time.Hour + 90*time.Minute)
		synctest.Wait()
		require.Len(t, phone.heard, 2)
		require.Less(t, phone.tries, 2*MaxAttempts)
		require.Greater(t, phone.tries, 200)
		require.Equal(t, Delivered, h.notices[len(h.notices)-1].Outcome)
		require.Contains(t, phone.heard[0].Text, "This reminder is late: it fell due")
	})
}

func TestCourierKeepsAHangingChannelToItself(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dead, phone := &mailbox{name: "dead", send: hung}, &mailbox{name: "phone"}
		h := open(t, dead, phone)
		began := time.Now()
		for n := range 5 {
			h.learn(func(f *Facts) { f.Actions = append(f.Actions, ready(n)) })
			time.Sleep(time.Second)
		}
		synctest.Wait()
		require.Len(t, phone.heard, 5)
		for n, m := range phone.heard {
			require.Less(t, m.SentAt.Sub(began.Add(time.Duration(n)*time.Second)), time.Second)
		}
		time.Sleep(24 * time.Hour)
		synctest.Wait()
		require.Greater(t, dead.tries, 5*40, "it is tried on")
		require.Less(t, dead.tries, 5*60)
	})
}

func TestCourierWaitsAfterATryThatHung(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var tried []time.Time
		dead := &mailbox{name: "dead", send: func(ctx context.Context, m Message) (string, error) {
			tried = append(tried, time.Now())
			return hung(ctx, m)
		}}
		h := open(t, dead)
		h.learn(func(f *Facts) { f.Actions = []maintenance.Action{ready(1)} })
		time.Sleep(time.Hour)
		synctest.Wait()
		require.Greater(t, len(tried), 5)
		for i := range tried[1:] {
			require.GreaterOrEqual(t, tried[i+1].Sub(tried[i]), SendTimeout+firstWait<<i, i)
		}
	})
}

func TestCourierCarriesTenThousandPastADeadChannel(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dead := &mailbox{name: "dead", send: hung}
		healthy := []*mailbox{{name: "a"}, {name: "b"}, {name: "c"}}
		h := open(t, dead, healthy[0], healthy[1], healthy[2])
		h.learn(func(f *Facts) {
			for n := range 2500 {
				f.Actions = append(f.Actions, ready(n))
			}
		})
		began := time.Now()
		time.Sleep(time.Second)
		synctest.Wait()
		for _, b := range healthy {
			require.Len(t, b.heard, 2500)
			require.Equal(t, began, b.heard[0].SentAt)
		}
	})
}

func TestCourierStopsAtTheWordDone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		busy := make(chan struct{})
		phone := &mailbox{name: "phone"}
		phone.send = func(context.Context, Message) (string, error) { <-busy; return "", nil }
		h := open(t, phone)
		h.learn(func(f *Facts) { f.Actions = []maintenance.Action{ready(1), ready(2)} })
		synctest.Wait() // jar-1 is on the wire, jar-2 waits for it
		h.learn(func(f *Facts) { f.Actions = f.Actions[:1] })
		close(busy)
		synctest.Wait()
		require.Equal(t, []Stage{Opened}, phone.stages())
		require.Equal(t, "decant/jar-1/d1", phone.heard[0].Key.Action)
	})
}

// TestDeliverAsksAgainAfterTheAttemptIsWritten: the person acts while the disk is syncing.
func TestDeliverAsksAgainAfterTheAttemptIsWritten(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		phone := &mailbox{name: "phone"}
		h := &house{ledger: NewLedger(), poke: make(chan struct{}, 1), facts: Facts{Actions: []maintenance.Action{ready(1)}}}
		h.policy.Channels = []string{"phone"}
		r := Due(h.facts, h.ledger, h.policy, time.Now()).Send[0]
		c := h.carrier()
		c.Log = logFunc(func(ctx context.Context, n []Notice) error {
			h.learn(func(f *Facts) { f.Actions = nil })
			return h.AppendNotices(ctx, n)
		})
		n, err := c.Deliver(t.Context(), phone, r)
		require.NoError(t, err)
		require.Zero(t, phone.tries)
		require.Equal(t, Retry, n.Outcome)
		plan := Due(h.facts, h.ledger, h.policy, time.Now())
		require.Empty(t, plan.Send, "nobody was told, so nobody hears that it is done")
		require.Equal(t, Superseded, plan.Notices[0].Outcome)
		n, err = c.Deliver(t.Context(), phone, r)
		require.NoError(t, err)
		require.Zero(t, n, "what is not wanted is not even written")
	})
}

type logFunc func(context.Context, []Notice) error

func (f logFunc) AppendNotices(ctx context.Context, n []Notice) error { return f(ctx, n) }

func TestDeliverSendsNothingThatIsNotOnDisk(t *testing.T) {
	phone := &mailbox{name: "phone"}
	h := &house{ledger: NewLedger(), full: errors.New("no space"), facts: Facts{Actions: []maintenance.Action{decantAction()}}}
	h.policy.Channels = []string{"phone"}
	r := Due(h.facts, h.ledger, h.policy, noon).Send[0]
	_, err := h.carrier().Deliver(context.Background(), phone, r)
	require.ErrorContains(t, err, "no space")
	require.Zero(t, phone.tries)
}

func TestDeliverWritesTheOutcomeWhileStopping(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	phone := &mailbox{name: "phone", send: func(context.Context, Message) (string, error) { cancel(); return "200 OK", nil }}
	var kept []Notice
	c := Carrier{
		Log:   logFunc(func(ctx context.Context, n []Notice) error { kept = append(kept, n...); return ctx.Err() }),
		Clock: func() time.Time { return noon }, Compose: Voice{}.Compose, Still: func(r Reminder) (Reminder, bool) { return r, true },
	}
	n, err := c.Deliver(ctx, phone, Reminder{Key: Key{Action: "decant/jar-2/d1", Stage: Opened, Channel: "phone"}, Attempt: 1})
	require.NoError(t, err)
	require.Equal(t, Delivered, n.Outcome)
	require.Len(t, kept, 2)
	require.Equal(t, Attempted, kept[0].Outcome)
}

func TestDeliverJudgesTheAttempt(t *testing.T) {
	for name, c := range map[string]struct {
		err     error
		attempt int
		test    bool
		outcome Outcome
		wait    time.Duration // at least
	}{
		"yes":                 {nil, 1, false, Delivered, 0},
		"no, for now":         {errors.New("busy"), 1, false, Retry, 10 * time.Second},
		"no, after a minute":  {&RetryAfter{time.Minute, errors.New("busy")}, 1, false, Retry, time.Minute},
		"wrapped":             {fmt.Errorf("post: %w", &RetryAfter{time.Minute, errors.New("busy")}), 1, false, Retry, time.Minute},
		"wait ten days":       {&RetryAfter{240 * time.Hour, errors.New("busy")}, 1, false, Retry, MaxRetryAfter},
		"wait less than ours": {&RetryAfter{time.Second, errors.New("busy")}, 9, false, Retry, 30 * time.Minute},
		"never":               {fmt.Errorf("gone: %w", ErrPermanent), 1, false, GaveUp, 0},
		"too often":           {errors.New("busy"), MaxAttempts, false, GaveUp, 0},
		"a test is one try":   {errors.New("busy"), 1, true, GaveUp, 0},
	} {
		t.Run(name, func(t *testing.T) {
			n := outcomes(Reminder{Attempt: c.attempt, Test: c.test}, nil, "fine", c.err, noon)[Key{}]
			require.Equal(t, c.outcome, n.Outcome)
			require.Equal(t, c.attempt, n.Attempt)
			if c.outcome != Retry {
				require.Nil(t, n.Until)
				return
			}
			require.GreaterOrEqual(t, n.Until.Sub(noon), c.wait)
			require.LessOrEqual(t, n.Until.Sub(noon), c.wait*5/4)
		})
	}
}

func (l *lane) length() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.waiting)
}

// TestCourierGivesEachReminderOnceThoughItIsOfferedOften offers stale plans without end.
func TestCourierGivesEachReminderOnceThoughItIsOfferedOften(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		phone := &mailbox{name: "phone", send: func(context.Context, Message) (string, error) {
			time.Sleep(3 * time.Second)
			return "", nil
		}}
		h := open(t, phone)
		h.learn(func(f *Facts) { f.Actions = []maintenance.Action{ready(1), ready(2), ready(3)} })
		stale := Due(h.facts, NewLedger(), h.policy, time.Now()).Send
		for range 100 {
			h.courier.Offer(stale)
			require.LessOrEqual(t, h.courier.lanes["phone"].length(), 3)
			time.Sleep(time.Second)
		}
		synctest.Wait()
		require.Len(t, phone.heard, 3)
	})
}

// piped makes the webhook talk to a peer inside the bubble, so that its own time-outs are
// tested at no cost.
func piped(t *testing.T, peers *sync.WaitGroup, peer func(net.Conn)) *Webhook {
	w := newWebhook(t, "http://192.0.2.7/hook", "")
	w.client.Transport.(*http.Transport).DialContext = func(context.Context, string, string) (net.Conn, error) {
		ours, theirs := net.Pipe()
		peers.Go(func() {
			defer theirs.Close()
			asked(peer)(theirs)
		})
		return ours, nil
	}
	return w
}

func TestWebhookHasATimeoutOfItsOwn(t *testing.T) {
	drip := func(c net.Conn) {
		for range 600 {
			if _, err := io.WriteString(c, "H"); err != nil {
				return
			}
			time.Sleep(time.Second)
		}
	}
	write := func(text string) func(net.Conn) {
		return func(c net.Conn) { io.WriteString(c, text); hang(c) }
	}
	for name, c := range map[string]struct {
		peer  func(net.Conn)
		taken bool // its status said yes
	}{
		"hangs":                 {hang, false},
		"hangs in the status":   {write("HTTP/1.1 2"), false},
		"hangs in the body":     {write("HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\n"), true},
		"drips a byte a second": {drip, false},
	} {
		synctest.Test(t, func(t *testing.T) {
			began := time.Now()
			var peers sync.WaitGroup
			_, err := piped(t, &peers, c.peer).Send(t.Context(), drainMessage(began))
			require.Equal(t, webhookTimeout, time.Since(began), name)
			peers.Wait()
			if c.taken {
				require.NoError(t, err, name)
				return
			}
			require.ErrorContains(t, err, "post to 192.0.2.7", name)
			require.NotErrorIs(t, err, ErrPermanent)
		})
	}
}
