package calendar

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
)

// keepGone is how long an event that is no longer asked for is shown as cancelled.
const keepGone = 14 * 24 * time.Hour

// A Record is an event as it stood when it last changed.
type Record struct {
	Event
	Sequence int       `json:"sequence"` // +1 whenever its time or its status changes
	Changed  time.Time `json:"changed"`  // when its time, status or words changed last; never falls
}

// A Ledger holds the record of every action there ever was, by its id: an action that is
// asked for again after years, since an entry was withdrawn, goes on counting. It is not
// safe for use by several goroutines at once.
type Ledger map[string]Record

// Put keeps records in the place of those before.
func (l Ledger) Put(records []Record) {
	for _, r := range records {
		l[r.ID] = r
	}
}

// Changes gives the records that the events of now make other than they are, by id. They
// are to be kept and then Put. Numbers in an event's reasons alone are no change: they are
// those of the last one, whose time is shown.
func (l Ledger) Changes(events []Event, now time.Time) []Record {
	now = second(now)
	var changed []Record
	here := make(map[string]bool, len(events))
	for _, e := range events {
		here[e.ID] = true
		if was, known := l[e.ID]; !known {
			changed = append(changed, Record{Event: e, Changed: now})
		} else if was.differs(e) {
			changed = append(changed, was.become(e, now))
		}
	}
	for id, r := range l {
		if !here[id] && r.Status != Forgotten {
			if r, ok := r.fade(now); ok {
				changed = append(changed, r)
			}
		}
	}
	slices.SortFunc(changed, func(a, b Record) int { return strings.Compare(a.ID, b.ID) })
	return changed
}

// differs says whether a client should hear of an event again.
func (r Record) differs(e Event) bool {
	return r.moved(e) || r.Task != e.Task || !slices.Equal(r.Cautions, e.Cautions)
}

// moved says whether its time, as it is shown, or its status is another.
func (r Record) moved(e Event) bool {
	if r.Status != e.Status || r.Day != e.Day {
		return true
	}
	return r.Day == "" && !(r.Opens.Equal(e.Opens) && r.Due.Equal(e.Due))
}

func (r Record) become(e Event, now time.Time) Record {
	next := Record{Event: e, Sequence: r.Sequence, Changed: now}
	if r.moved(e) {
		next.Sequence++
	}
	if next.Changed.Before(r.Changed) { // the clock was set back
		next.Changed = r.Changed
	}
	return next
}

// fade lets a record whose action is not asked for any more go, and then be forgotten. Its
// age is taken without its sign, so that a clock that was far ahead keeps nothing for years.
func (r Record) fade(now time.Time) (Record, bool) {
	if r.Status != Gone {
		gone := Event{ID: r.ID, Status: Gone, Opens: r.Opens, Due: r.Due, Day: r.Day, Task: r.Task}
		return r.become(gone, now), true
	}
	if now.Sub(r.Changed).Abs() < keepGone {
		return r, false
	}
	return r.become(Event{ID: r.ID, Status: Forgotten}, now), true
}

// Shown gives the records that the feed shows, by id, and when it last changed; the zero
// time if it never did.
func (l Ledger) Shown() (shown []Record, changed time.Time) {
	for _, r := range l {
		if r.Status != Forgotten {
			shown = append(shown, r)
		}
		if r.Changed.After(changed) {
			changed = r.Changed
		}
	}
	slices.SortFunc(shown, func(a, b Record) int { return strings.Compare(a.ID, b.ID) })
	return shown, changed
}

// Encode writes a record as JSON.
func (r Record) Encode() ([]byte, error) {
	b, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("encode the calendar's record of %s: %w", r.ID, err)
	}
	return b, nil
}

// Decode reads an encoded record.
func Decode(b []byte) (Record, error) {
	var r Record
	if err := json.Unmarshal(b, &r); err != nil {
		return r, fmt.Errorf("decode a record of the calendar: %w", err)
	}
	return r, nil
}
