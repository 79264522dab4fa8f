package daemon

import (
	"context"
	"log/slog"
	"sync/atomic"
	"time"

	"github.com/robfig/cron/v3"

	"sumpbook/notify"
)

// A Beat asks, whenever something has happened or time has come, what is to be said, and
// hands it to the courier. It keeps nothing: downtime, a missed wake-up or a clock step
// needs no repair, since the next beat asks the same question.
type Beat struct {
	outbox  *Outbox
	courier *notify.Courier
	feed    *feed
	sensors func() []*Sensor
	clock   func() time.Time
	log     *slog.Logger
	poke    chan struct{} // one slot: a beat that is due need not be due twice
	held    bool          // the clock is behind the book: nothing is sent
	pulse   *pulse
	pruned  time.Time
	beaten  atomic.Pointer[time.Time] // when it last looked
}

// newBeat makes the beat of a keeper; it is poked whenever entries or notices have come.
func newBeat(k *Keeper, c *notify.Courier) *Beat {
	b := &Beat{outbox: k.outbox, courier: c, feed: k.feed, sensors: k.allSensors, clock: k.clock, log: k.log, poke: make(chan struct{}, 1), pulse: newPulse(k.settings.Data)}
	k.book.onCommit.Store(new(b.Poke))
	k.outbox.noted.Store(new(b.Poke))
	return b
}

// Poke asks for a beat soon; it never blocks.
func (b *Beat) Poke() {
	select {
	case b.poke <- struct{}{}:
	default:
	}
}

// Run beats until ctx ends: at once, when poked, at the next instant at which something
// changes, and every minute, when cron wakes it: a lost poke or a sleeping machine then
// costs a minute at most.
func (b *Beat) Run(ctx context.Context) {
	waker := cron.New(cron.WithLocation(time.UTC))
	if _, err := waker.AddFunc("* * * * *", b.Poke); err != nil {
		panic("daemon: the waker's schedule does not parse: " + err.Error())
	}
	waker.Start()
	defer func() { <-waker.Stop().Done() }()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-b.poke:
		case <-timer.C:
		}
		if next := b.once(ctx); !next.IsZero() {
			timer.Reset(max(0, next.Sub(b.clock())))
		}
	}
}

// once is one beat. It gives the next instant at which the answer can change.
func (b *Beat) once(ctx context.Context) time.Time {
	now := b.clock()
	b.beaten.Store(&now)
	for _, s := range b.sensors() {
		if err := s.Tick(ctx, now); err != nil {
			b.log.Error("signal not kept", "error", err)
		}
	}
	if b.clockBehind(now) {
		return time.Time{}
	}
	if off := b.pulse.beat(now); !off.To.IsZero() {
		b.outbox.off.Store(&off)
		b.log.Info("gap", "from", off.From, "to", off.To)
	}
	plan := b.outbox.due(now)
	if err := b.outbox.AppendNotices(ctx, plan.Notices); err != nil {
		return time.Time{} // nothing is sent that cannot be accounted for; the next minute tries again
	}
	b.courier.Offer(plan.Send)
	if err := b.feed.update(ctx, now); err != nil {
		b.log.Error("calendar not kept", "error", err) // the next minute tries again
	}
	if now.Sub(b.pruned).Abs() > 24*time.Hour {
		b.outbox.prune(now)
		b.pruned = now
	}
	return plan.Next
}

// clockBehind says whether the clock is earlier than the newest entry was recorded: a board
// without a clock of its own has just started. Entries are taken; reminders wait.
func (b *Beat) clockBehind(now time.Time) bool {
	behind := now.Before(b.outbox.book.now.Load().last.Add(-futureSlack))
	if behind != b.held {
		b.held = behind
		b.log.Warn("clock", "behind_the_book", behind, "now", now)
	}
	return behind
}
