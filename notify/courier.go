package notify

import (
	"context"
	"errors"
	"sync"
	"time"
)

// SendTimeout ends one attempt, whatever the channel does.
const SendTimeout = 30 * time.Second

// logTimeout is for writing the outcome of a send while the program is being stopped.
const logTimeout = 5 * time.Second

// A Log keeps notices: when AppendNotices has returned without an error they are on disk,
// and the ledger that Still looks at has them.
type Log interface {
	AppendNotices(ctx context.Context, notices []Notice) error
}

// A Carrier takes one reminder to one channel. Its functions may be called from several
// goroutines at once.
type Carrier struct {
	Log     Log
	Clock   func() time.Time                  // the time to write down
	Compose func(Reminder, time.Time) Message // such as Voice.Compose
	Still   func(Reminder) bool               // such as Stands: whether it is still wanted
}

// Deliver carries one reminder once, and gives the last notice of it. The attempt is on disk
// before the send and its outcome after it: a crash in between repeats the reminder under
// the same key. A reminder that is wanted no more is not sent; if that shows before the
// attempt, nothing is written and the notice is the zero one. The error is the log's.
func (c Carrier) Deliver(ctx context.Context, channel Channel, r Reminder) (Notice, error) {
	if !c.Still(r) {
		return Notice{}, nil
	}
	n := Notice{At: c.Clock(), Key: r.Key, Outcome: Attempted, Attempt: r.Attempt, About: aboutOf(r), Detail: r.Reason, Test: r.Test}
	if err := c.Log.AppendNotices(ctx, []Notice{n}); err != nil {
		return Notice{}, err
	}
	if c.Still(r) {
		n = c.send(ctx, channel, r)
	} else { // the next plan says what superseded it while the attempt was being written
		at := c.Clock()
		n = Notice{At: at, Key: r.Key, Outcome: Retry, Attempt: r.Attempt, Until: &at, Detail: "not sent: it is wanted no more", Test: r.Test}
	}
	keep, cancel := context.WithTimeout(context.WithoutCancel(ctx), logTimeout)
	defer cancel()
	return n, c.Log.AppendNotices(keep, []Notice{n})
}

func (c Carrier) send(ctx context.Context, channel Channel, r Reminder) Notice {
	ctx, cancel := context.WithTimeout(ctx, SendTimeout)
	defer cancel()
	said, err := channel.Send(ctx, c.Compose(r, c.Clock()))
	return c.outcome(r, said, err)
}

// outcome judges an attempt. A test is tried once.
func (c Carrier) outcome(r Reminder, said string, err error) Notice {
	n := Notice{At: c.Clock(), Key: r.Key, Outcome: Delivered, Attempt: r.Attempt, Detail: secrets{}.cut(said), Test: r.Test}
	if err == nil {
		return n
	}
	n.Detail = secrets{}.cut(err.Error())
	if errors.Is(err, ErrPermanent) || r.Attempt >= MaxAttempts || r.Test {
		n.Outcome = GaveUp
		return n
	}
	wait := Backoff(r.Key, r.Attempt)
	if asked, ok := errors.AsType[*RetryAfter](err); ok {
		wait = max(wait, min(asked.Wait, MaxRetryAfter))
	}
	until := n.At.Add(wait)
	n.Outcome, n.Until = Retry, &until
	return n
}

func aboutOf(r Reminder) *About {
	if r.Key.Stage == Done || r.Key.Stage == Daily || r.Test {
		return nil
	}
	a := r.Action
	return &About{Pump: a.Pump, Vessel: a.Vessel, Opens: a.Opens, Due: a.Due, Closes: a.Closes}
}

// A Courier carries reminders on all channels at once: each has a lane of its own, so that
// one that hangs delays no other, and on a lane they go in the order in which they were
// offered.
type Courier struct {
	carrier Carrier
	lanes   map[string]*lane
}

type lane struct {
	channel Channel
	poke    chan struct{} // one slot

	mu      sync.Mutex
	waiting []Reminder
	busy    Key // on its way now
}

// NewCourier makes a courier for the channels; Run sets it going.
func NewCourier(carrier Carrier, channels []Channel) *Courier {
	c := &Courier{carrier: carrier, lanes: map[string]*lane{}}
	for _, ch := range channels {
		c.lanes[ch.Name()] = &lane{channel: ch, poke: make(chan struct{}, 1)}
	}
	return c
}

// Offer replaces what waits by the reminders that are due now, as Due gives them. It never
// blocks. What is on its way already is not taken twice.
func (c *Courier) Offer(due []Reminder) {
	byLane := map[string][]Reminder{}
	for _, r := range due {
		byLane[r.Key.Channel] = append(byLane[r.Key.Channel], r)
	}
	for name, l := range c.lanes {
		l.offer(byLane[name])
	}
}

func (l *lane) offer(due []Reminder) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.waiting = l.waiting[:0]
	for _, r := range due {
		if r.Key != l.busy {
			l.waiting = append(l.waiting, r)
		}
	}
	select {
	case l.poke <- struct{}{}:
	default:
	}
}

// Run carries until ctx ends and the sends under way have ended with it.
func (c *Courier) Run(ctx context.Context) {
	var wg sync.WaitGroup
	for _, l := range c.lanes {
		wg.Go(func() { l.run(ctx, c.carrier) })
	}
	wg.Wait()
}

func (l *lane) run(ctx context.Context, carrier Carrier) {
	for ctx.Err() == nil {
		if r, ok := l.take(); ok {
			// A log that takes nothing has said so itself: the next offer tries again.
			_, _ = carrier.Deliver(ctx, l.channel, r)
			continue
		}
		select {
		case <-ctx.Done():
		case <-l.poke:
		}
	}
}

// take gives the next reminder, and says that the one before is no longer on its way.
func (l *lane) take() (Reminder, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.busy = Key{}
	if len(l.waiting) == 0 {
		return Reminder{}, false
	}
	r := l.waiting[0]
	l.waiting = l.waiting[1:]
	l.busy = r.Key
	return r, true
}
