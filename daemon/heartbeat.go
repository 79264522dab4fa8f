package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"sync/atomic"
	"time"

	"sumpbook/config"
)

// A heartbeat calls an address while the daemon does its work: whoever listens there notices
// when no call comes. It is silent when the beat stands still or the book takes nothing, and
// it says nothing of the oil.
type heartbeat struct {
	url    string
	every  time.Duration
	client *http.Client
	alive  func(now time.Time) error // nil: all is well
	clock  func() time.Time
	log    *slog.Logger
	last   atomic.Pointer[call]
}

// A call is what became of the newest one.
type call struct {
	at  time.Time
	err error
}

const (
	callWithin  = 10 * time.Second
	beatMissing = 5 * time.Minute // of a beat that comes every minute
)

func newHeartbeat(c config.Heartbeat, alive func(time.Time) error, clock func() time.Time, log *slog.Logger) *heartbeat {
	if c.URL == "" {
		return nil
	}
	return &heartbeat{url: c.URL, every: c.Every, alive: alive, clock: clock, log: log, client: &http.Client{
		Timeout:       callWithin,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
}

// run calls at once, and then at its pace, until ctx ends.
func (h *heartbeat) run(ctx context.Context) {
	tick := time.NewTicker(h.every)
	defer tick.Stop()
	for {
		h.once(ctx)
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

func (h *heartbeat) once(ctx context.Context) {
	now := h.clock()
	err := h.alive(now)
	if err == nil {
		err = h.call(ctx)
	}
	before := h.last.Swap(&call{now, err})
	switch wasWell := before == nil || before.err == nil; {
	case ctx.Err() != nil:
	case err != nil && wasWell:
		h.log.Warn("heartbeat", "error", err)
	case err == nil && !wasWell:
		h.log.Info("heartbeat", "again", "well")
	}
}

// call asks the address once. Its path may be a secret, so that no error names it.
func (h *heartbeat) call(ctx context.Context) error {
	ask, err := http.NewRequestWithContext(ctx, http.MethodGet, h.url, nil)
	if err != nil {
		return errors.New("the address is none")
	}
	answer, err := h.client.Do(ask)
	if err != nil {
		if u := (*url.Error)(nil); errors.As(err, &u) {
			err = u.Err
		}
		return fmt.Errorf("call the watcher: %w", err)
	}
	defer answer.Body.Close()
	_, _ = io.CopyN(io.Discard, answer.Body, 4<<10)
	if answer.StatusCode < 200 || answer.StatusCode > 299 {
		return fmt.Errorf("call the watcher: it answers %s", answer.Status)
	}
	return nil
}

// isAlive says why the daemon is not doing its work: the book takes nothing, or the beat has
// stood still.
func (k *Keeper) isAlive(b *Beat) func(now time.Time) error {
	return func(now time.Time) error {
		if err := k.book.Ready(); err != nil {
			return fmt.Errorf("not called: %w", err)
		}
		if last := b.beaten.Load(); last != nil && now.Sub(*last).Abs() > beatMissing {
			return fmt.Errorf("not called: nothing was looked at since %s", last.Format(time.RFC3339))
		}
		return nil
	}
}

// lookAtHeartbeat is what doctor says of it.
func (k *Keeper) lookAtHeartbeat() []Finding {
	h := k.heartbeat
	if h == nil {
		return nil
	}
	f := Finding{What: "heartbeat", State: "ok", Says: "no call yet"}
	if last := h.last.Load(); last != nil && last.err != nil {
		f.State, f.Says, f.Do = "bad", last.err.Error(), "look at heartbeat.url in the configuration, and at the watcher"
	} else if last != nil {
		f.Says = "called " + last.at.Format(time.RFC3339)
	}
	return []Finding{f}
}
