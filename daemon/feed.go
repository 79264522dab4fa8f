package daemon

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"sumpbook/daemon/calendar"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A feed is the calendar as it was when it last changed. It is brought up to date by the
// beat alone: asking for it changes nothing, and costs no look at the book.
type feed struct {
	book  *Book
	voice notify.Voice

	mu     sync.Mutex // held while it is read or changes
	ledger calendar.Ledger
	now    atomic.Pointer[shownFeed] // nil until it is read
}

// A shownFeed is what is served. Nobody writes to it.
type shownFeed struct {
	records []calendar.Record
	changed time.Time
}

// shown is the feed as it is; it is read when first asked for, since most commands never do.
func (f *feed) shown() (*shownFeed, error) {
	if s := f.now.Load(); s != nil {
		return s, nil
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.read(); err != nil {
		return nil, err
	}
	return f.now.Load(), nil
}

func (f *feed) read() error {
	if f.now.Load() != nil {
		return nil
	}
	kept, err := f.book.journal.Calendar()
	if err != nil {
		return fmt.Errorf("read the calendar: %w", err)
	}
	f.ledger = calendar.Ledger{}
	for _, stored := range kept {
		r, err := calendar.Decode(stored)
		if err != nil {
			return fmt.Errorf("read the calendar: %w", err)
		}
		f.ledger.Put([]calendar.Record{r})
	}
	f.publish()
	return nil
}

func (f *feed) publish() {
	records, changed := f.ledger.Shown()
	f.now.Store(&shownFeed{records, changed})
}

// update keeps what is news. While the clock is behind the book, nothing is.
func (f *feed) update(ctx context.Context, now time.Time) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.read(); err != nil {
		return err
	}
	s := f.book.now.Load()
	if now.Before(s.last.Add(-futureSlack)) {
		return nil
	}
	changed := f.ledger.Changes(calendar.Events(maintenance.Next(s.state, f.book.rules, now), f.voice), now)
	if len(changed) == 0 {
		return nil
	}
	records := map[string][]byte{}
	for _, r := range changed {
		b, err := r.Encode()
		if err != nil {
			return err
		}
		records[r.ID] = b
	}
	if err := f.book.KeepCalendar(ctx, records); err != nil {
		return fmt.Errorf("keep the calendar: %w", err)
	}
	f.ledger.Put(changed)
	f.publish()
	return nil
}

// calendar registers the feed: for this machine and those who show the token, and at an
// address that is itself the secret, since a calendar program can show nothing else.
func (k *Keeper) calendar(mux *http.ServeMux) {
	mux.HandleFunc("GET /calendar.ics", k.getCalendar)
	mux.HandleFunc("GET /calendar/{file}", func(w http.ResponseWriter, r *http.Request) {
		if !k.isFeedFile(r.PathValue("file")) {
			writeProblem(w, nothingHere())
			return
		}
		k.getCalendar(w, r)
	})
}

func (k *Keeper) getCalendar(w http.ResponseWriter, r *http.Request) {
	o := calendar.Options{Installation: k.book.journal.ID(), Name: "Pump oil", Base: k.baseURL(), Zone: k.settings.Config.Timezone}
	if k.settings.Demo {
		o.Name = "Pump oil (invented)"
	}
	var err1, err2 error
	o.Todo, err1 = choice(r, "as", "event", "todo")
	o.Alarms, err2 = choice(r, "alarms", "0", "1")
	if err := errors.Join(err1, err2); err != nil {
		writeProblem(w, problemOf(err))
		return
	}
	shown, err := k.feed.shown()
	if err != nil {
		writeProblem(w, problemOf(err))
		return
	}
	body := calendar.Render(shown.records, o)
	sum := sha256.Sum256(body)
	h := w.Header()
	h.Set("Content-Type", "text/calendar; charset=utf-8")
	h.Set("Content-Disposition", `inline; filename="sumpbook.ics"`)
	h.Set("Cache-Control", "private, no-cache") // it may be kept by who asks, and asked about again
	h.Set("ETag", `"`+hex.EncodeToString(sum[:16])+`"`)
	http.ServeContent(w, r, "", k.feedModified(shown.changed), bytes.NewReader(body))
}

// feedModified is when the feed last changed: its events, or, by a restart, the program and
// the configuration they are written with; not after now (RFC 9110 8.8.2.1).
func (k *Keeper) feedModified(changed time.Time) time.Time {
	at, now := changed, k.clock()
	if k.started.After(at) {
		at = k.started
	}
	if at.After(now) {
		at = now
	}
	return at
}

// choice reads a parameter that has two values, of which the first is usual.
func choice(r *http.Request, name, usual, other string) (bool, error) {
	switch value := r.URL.Query().Get(name); value {
	case "", usual:
		return false, nil
	case other:
		return true, nil
	default:
		return false, problem(http.StatusBadRequest, fmt.Sprintf("%s: %q is neither %s nor %s", name, value, usual, other), "")
	}
}
