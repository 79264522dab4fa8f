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
	Still   func(Reminder) (Reminder, bool)   // such as Left: what is still wanted of it
}

// Deliver carries one reminder once, with what goes in the same message, and gives the last
// notice of the first. The attempt is on disk before the send and its outcome after it, for
// each by itself: a crash in between repeats them under the same keys. What is wanted no
// more is not sent; if that shows before the attempt, nothing is written of it and, if
// nothing is left, the notice is the zero one. The error is the log's.
func (c Carrier) Deliver(ctx context.Context, channel Channel, r Reminder) (Notice, error) {
	r, ok := c.Still(r)
	if !ok {
		return Notice{}, nil
	}
	tried := r.parts()
	if err := c.Log.AppendNotices(ctx, c.attempts(r, tried)); err != nil {
		return Notice{}, err
	}
	var became []Notice
	sent := map[Key]Notice{}
	if left, ok := c.Still(r); ok {
		sent = c.send(ctx, channel, left)
	}
	for _, part := range tried {
		n, ok := sent[part.Key]
		if !ok { // the next plan says what superseded it while the attempt was being written
			at := c.Clock()
			n = Notice{At: at, Key: part.Key, Outcome: Retry, Attempt: part.Attempt, Until: &at, Detail: "not sent: it is wanted no more", Test: part.Test}
		}
		became = append(became, n)
	}
	keep, cancel := context.WithTimeout(context.WithoutCancel(ctx), logTimeout)
	defer cancel()
	return became[0], c.Log.AppendNotices(keep, became)
}

// attempts are the notices before a send. Those of one message wait together if no outcome
// follows.
func (c Carrier) attempts(r Reminder, parts []Reminder) []Notice {
	var all []Notice
	at, in := c.Clock(), r.messageID()
	for _, part := range parts {
		n := Notice{At: at, Key: part.Key, Outcome: Attempted, Attempt: part.Attempt, About: aboutOf(part), Detail: part.Reason, Test: part.Test}
		if in != "" {
			until := at.Add(Backoff(r.Key, r.Attempt))
			n.Until, n.In = &until, in
		}
		all = append(all, n)
	}
	return all
}

func (c Carrier) send(ctx context.Context, channel Channel, r Reminder) map[Key]Notice {
	ctx, cancel := context.WithTimeout(ctx, SendTimeout)
	defer cancel()
	m := c.Compose(r, c.Clock())
	said, err := channel.Send(ctx, m)
	return outcomes(r, m.tokens(), said, err, c.Clock())
}

// outcomes judge an attempt, for each reminder in the message: they wait together. What is
// hidden stands in none of them.
func outcomes(r Reminder, hidden secrets, said string, err error, at time.Time) map[Key]Notice {
	wait := Backoff(r.Key, r.Attempt)
	if asked, ok := errors.AsType[*RetryAfter](err); ok {
		wait = max(wait, min(asked.Wait, MaxRetryAfter))
	}
	became, in := map[Key]Notice{}, r.messageID()
	for _, part := range r.parts() {
		n := outcome(part, hidden, said, err, at, at.Add(wait))
		n.In = in
		became[part.Key] = n
	}
	return became
}

// outcome judges an attempt. A test is tried once.
func outcome(r Reminder, hidden secrets, said string, err error, at, again time.Time) Notice {
	n := Notice{At: at, Key: r.Key, Outcome: Delivered, Attempt: r.Attempt, Detail: hidden.cut(said), Test: r.Test}
	if err == nil {
		return n
	}
	n.Detail = hidden.cut(err.Error())
	if errors.Is(err, ErrPermanent) || r.Attempt >= MaxAttempts || r.Test {
		n.Outcome = GaveUp
		return n
	}
	n.Outcome, n.Until = Retry, &again
	return n
}

func aboutOf(r Reminder) *About {
	if r.Key.Stage == Done || bulletin(r.Key.Stage) || r.Test {
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
	busy    map[Key]bool // on their way now
}

// NewCourier makes a courier for the channels; Run sets it going.
func NewCourier(carrier Carrier, channels []Channel) *Courier {
	c := &Courier{carrier: carrier, lanes: map[string]*lane{}}
	for _, ch := range channels {
		c.lanes[ch.Name()] = &lane{channel: ch, poke: make(chan struct{}, 1), busy: map[Key]bool{}}
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
		if r, ok := r.only(func(part Reminder) bool { return !l.busy[part.Key] }); ok {
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
	clear(l.busy)
	if len(l.waiting) == 0 {
		return Reminder{}, false
	}
	r := l.waiting[0]
	l.waiting = l.waiting[1:]
	for _, part := range r.parts() {
		l.busy[part.Key] = true
	}
	return r, true
}
