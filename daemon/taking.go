package daemon

import (
	"time"

	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
)

// A taking is the book while a group of tellings is judged: the newest snapshot, and what
// has been taken on top of it. Nothing of it is seen before it is committed.
type taking struct {
	book *Book
	folded
	seq   uint64
	head  string
	last  time.Time // when the newest entry was recorded
	batch journal.Batch
	byID  map[string]maintenance.Entry // taken, not committed
}

// A folded is a state, how it was come by, and which ids were withdrawn on the way.
type folded struct {
	state  *maintenance.State
	count  int
	ladder ladder
	voids  map[string]bool
}

func (b *Book) begin() *taking {
	s := b.now.Load()
	return &taking{
		book: b, folded: folded{s.state.Clone(), s.count, s.ladder, map[string]bool{}},
		seq: s.seq, head: s.head, last: s.last, byID: map[string]maintenance.Entry{},
	}
}

// commit writes what was taken and publishes it.
func (w *taking) commit() error {
	if len(w.batch.Entries) == 0 && len(w.batch.Notices) == 0 && len(w.batch.Signals) == 0 && len(w.batch.Calendar) == 0 {
		return nil
	}
	if err := w.book.journal.Append(&w.batch); err != nil {
		return err
	}
	if len(w.batch.Entries) > 0 {
		w.book.publish(&snapshot{w.state, w.count, w.seq, w.head, w.last, w.ladder})
	}
	return nil
}

// take judges one telling on top of those taken before it. A rejection leaves the taking as
// it was.
func (w *taking) take(t *telling) (Receipt, error) {
	if len(t.entries) == 0 {
		w.batch.Notices = append(w.batch.Notices, t.notices...)
		w.takeSignals(t)
		w.takeCalendar(t)
		return Receipt{}, nil
	}
	r, err := w.sift(t)
	if err != nil {
		return Receipt{}, err
	}
	onto := w
	if t.dry { // judged on a copy that nobody keeps
		copied := *w
		copied.state = w.state.Clone()
		onto = &copied
	}
	after, err := onto.fold(r)
	if err != nil || t.dry {
		return r.Receipt, err
	}
	w.takeSignals(t)
	if len(r.fresh) > 0 { // else they were told before, with the entries
		w.batch.Notices = append(w.batch.Notices, t.notices...)
	}
	w.keep(r.fresh, after)
	return r.Receipt, nil
}

func (w *taking) takeSignals(t *telling) {
	for source, state := range t.signals {
		if w.batch.Signals == nil {
			w.batch.Signals = map[string][]byte{}
		}
		w.batch.Signals[source] = state
	}
}

func (w *taking) takeCalendar(t *telling) {
	for id, record := range t.calendar {
		if w.batch.Calendar == nil {
			w.batch.Calendar = map[string][]byte{}
		}
		w.batch.Calendar[id] = record
	}
}

// keep makes a judged request part of the taking.
func (w *taking) keep(fresh []maintenance.Entry, f folded) {
	w.state, w.count, w.ladder = f.state, f.count, f.ladder
	for id := range f.voids {
		w.voids[id] = true
	}
	for _, e := range fresh {
		w.byID[e.ID] = e
		w.seq, w.head, w.last = e.Seq, e.Hash, e.Recorded
	}
	w.batch.Entries = append(w.batch.Entries, fresh...)
}
