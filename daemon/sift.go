package daemon

import (
	"errors"
	"fmt"
	"time"

	"sumpbook/maintenance"
	"sumpbook/maintenance/signal"
)

// futureSlack is how far ahead of the book's clock an entry may be.
const futureSlack = 2 * time.Minute

// A sifted request is what is new in it, numbered and sealed, and the answer to it so far.
type sifted struct {
	Receipt
	fresh []maintenance.Entry
	place map[uint64]int // in Receipt.Entries, by the number of the entry
	lines map[uint64]int // of the request, by the number of the entry; none if there is one only
}

// A sieve is a request on its way from told to sifted.
type sieve struct {
	*taking
	*telling
	verbatim bool // an export for an empty book: its own numbers and hashes are kept
	sifted
	within map[string]maintenance.Entry
	seq    uint64
	head   string
}

// sift numbers and seals the entries that are new, and answers those told before.
func (w *taking) sift(t *telling) (*sifted, error) {
	verbatim, err := w.asExported(t)
	if err != nil {
		return nil, err
	}
	s := &sieve{taking: w, telling: t, verbatim: verbatim, within: map[string]maintenance.Entry{}, seq: w.seq, head: w.head}
	s.Receipt.Entries = make([]EntryReceipt, 0, len(t.entries))
	s.place, s.lines = map[uint64]int{}, map[uint64]int{}
	for _, i := range s.arranged() {
		if err := s.one(t.entries[i], i+1); err != nil {
			return nil, s.lined(err, i+1)
		}
	}
	return &s.sifted, nil
}

// arranged is the order in which entries are numbered: as told, but a void after what it
// withdraws.
func (s *sieve) arranged() (order []int) {
	place := map[string]int{}
	for i, e := range s.telling.entries {
		place[e.ID] = i
	}
	var after []int
	for i, e := range s.telling.entries {
		if v, is := e.Act.(*maintenance.VoidAct); is && !s.verbatim && place[v.Entry] > i {
			after = append(after, i)
			continue
		}
		order = append(order, i)
	}
	return append(order, after...)
}

func (s *sieve) one(e maintenance.Entry, line int) error {
	if e.ID == "" {
		e.ID = newID(s.telling.now)
	}
	known, found, err := s.known(e.ID)
	switch {
	case err != nil:
		return err
	case found && s.verbatim:
		return &maintenance.Rejection{Entry: e.ID, Field: "id", Says: "an export has each id once, and this one is there twice", Hint: "fetch the export again"}
	case found && !isSame(e, known):
		return &maintenance.Rejection{Entry: e.ID, Field: "id", Says: fmt.Sprintf("entry %s is on the book already and says something else: %s", e.ID, maintenance.Content(known)),
			Hint: "give the new entry another id; to correct the old one, void it"}
	case found:
		s.Duplicates++
		s.Receipt.Entries = append(s.Receipt.Entries, EntryReceipt{ID: known.ID, Seq: known.Seq, At: known.At, Duplicate: true, kind: known.Act.Kind()})
		return nil
	}
	timeless := e.At.IsZero()
	if timeless {
		e.At = s.happened().Truncate(time.Millisecond)
	}
	if err := s.checkTime(e); err != nil {
		return err
	}
	stop, low, err := s.lowSignalStop(e)
	if err != nil {
		return err
	}
	if low {
		s.add(stop, line)
	}
	s.add(e, line)
	if timeless && clockUnset(s.telling.now, s.last) {
		s.remark(s.within[e.ID], []string{"the clock says " + s.telling.now.Format(time.RFC3339) + ": dated as the newest entry; once the clock is set, void this and tell it again"})
	}
	return nil
}

// written is a time before which nothing was told: the program was not there.
var written = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// clockUnset says whether a clock is that of a board that has just started and has none of
// its own; last is when the newest entry was recorded.
func clockUnset(now, last time.Time) bool {
	return now.Before(written) && now.Add(futureSlack).Before(last)
}

// happened is when an entry happened that says nothing of it: now, as far as that is known.
func (s *sieve) happened() time.Time {
	if clockUnset(s.telling.now, s.last) {
		return s.last
	}
	return s.telling.now
}

func (s *sieve) add(e maintenance.Entry, line int) {
	if !s.verbatim {
		e = maintenance.Seal(e, s.seq+1, s.telling.now.Truncate(time.Millisecond), s.head)
	}
	s.seq, s.head = e.Seq, e.Hash
	s.within[e.ID] = e
	s.fresh = append(s.fresh, e)
	s.Accepted++
	s.place[e.Seq] = len(s.Receipt.Entries)
	s.Receipt.Entries = append(s.Receipt.Entries, EntryReceipt{ID: e.ID, Seq: e.Seq, At: e.At, kind: e.Act.Kind()})
	if len(s.telling.entries) > 1 {
		s.lines[e.Seq] = line
	}
}

// lined says which entry of a request is refused.
func (s *sieve) lined(err error, line int) error {
	var r *maintenance.Rejection
	if errors.As(err, &r) && r.Line == 0 && len(s.telling.entries) > 1 {
		r.Line = line
	}
	return err
}

// known finds an entry by its id: in the request, taken before it, or on the book.
func (s *sieve) known(id string) (maintenance.Entry, bool, error) {
	if e, found := s.within[id]; found {
		return e, true, nil
	}
	return s.onBook(id)
}

// onBook finds an entry that was taken or is committed.
func (w *taking) onBook(id string) (maintenance.Entry, bool, error) {
	if e, found := w.byID[id]; found || w.seq == 0 {
		return e, found, nil
	}
	return w.book.journal.Lookup(id)
}

// isSame says whether a telling under a known id says the same. One without a time says the
// time that is known, and so does one that writes the same instant in another zone. What a machine's entry says is in its id, so that whatever replays
// it, and whatever it knows beside, adds nothing.
func isSame(told, known maintenance.Entry) bool {
	if told.At.IsZero() || told.At.Equal(known.At) {
		told.At = known.At
	}
	if told.IsMachine() && known.IsMachine() && told.At.Equal(known.At) {
		return true
	}
	return maintenance.Content(told) == maintenance.Content(known)
}

func (s *sieve) checkTime(e maintenance.Entry) error {
	now := s.happened()
	if e.At.After(now.Add(futureSlack)) {
		return &maintenance.Rejection{Entry: e.ID, Field: "at", Says: fmt.Sprintf("%s is in the future: the book's clock says %s", e.At.Format(time.RFC3339), now.Format(time.RFC3339)), Hint: "record it when it has happened"}
	}
	if e.Recorded.After(now.Add(futureSlack)) && s.verbatim {
		return &maintenance.Rejection{Entry: e.ID, Field: "recorded", Says: fmt.Sprintf("it was recorded at %s, which is in the future: the book's clock says %s", e.Recorded.Format(time.RFC3339), now.Format(time.RFC3339)), Hint: "set the clock"}
	}
	return nil
}

// asExported says whether a request is a whole export for an empty book: its own numbers
// and hashes are then verified and kept, and the copy is the same book.
func (w *taking) asExported(t *telling) (bool, error) {
	if w.seq > 0 || t.entries[0].Hash == "" {
		return false, nil
	}
	prev := maintenance.ZeroHash
	for i, e := range t.entries {
		if e.Seq != uint64(i+1) || e.ID == "" || e.At.IsZero() || e.Recorded.IsZero() {
			return false, &maintenance.Rejection{Line: i + 1, Entry: e.ID, Field: "seq", Says: fmt.Sprintf("entry %d of an export is numbered %d", i+1, e.Seq), Hint: "import the whole export, or take seq, recorded, prev and hash out of every line"}
		}
		if err := maintenance.CheckLine(maintenance.Encode(e), prev); err != nil {
			return false, &maintenance.Rejection{Line: i + 1, Entry: e.ID, Field: "hash", Says: "the export was changed here: " + err.Error(), Hint: "fetch the export again, or take seq, recorded, prev and hash out of every line"}
		}
		prev = e.Hash
	}
	return true, nil
}

// lowSignalStop is the stop at the first low sample, if an entry drains a pump that runs by
// a signal alone and that signal is low already. It has the id that the signal's own stop
// will have, so that one then adds nothing.
func (s *sieve) lowSignalStop(e maintenance.Entry) (stop maintenance.Entry, low bool, err error) {
	drain, is := e.Act.(*maintenance.DrainAct)
	if !is || s.verbatim || s.stops(drain.Pump) {
		return stop, false, nil
	}
	p := s.state.Pumps[drain.Pump]
	if p == nil || p.Run == nil || !p.Run.Machine {
		return stop, false, nil
	}
	det, found, err := s.detector(drain.Pump)
	if err != nil || !found {
		return stop, false, err
	}
	since, low := signal.LowSince(det.State)
	if !low || since.After(e.At) || since.Before(p.Run.Since) {
		return stop, false, nil
	}
	stop = det.entry(drain.Pump, signal.Edge{Kind: signal.Stop, At: since})
	_, told, err := s.known(stop.ID)
	return stop, !told, err
}

// detector is the newest stored state of a pump's source.
func (w *taking) detector(pump string) (d detector, found bool, err error) {
	raw, found := w.batch.Signals[pump]
	if !found {
		raw, found, err = w.book.journal.Signal(pump)
	}
	if err == nil && found {
		d, err = decodeDetector(raw)
	}
	if err != nil {
		return d, false, fmt.Errorf("read the signal of %s: %w", pump, err)
	}
	return d, found, nil
}

// stops says whether the request itself stops a pump: then nothing is added to it.
func (s *sieve) stops(pump string) bool {
	for _, e := range s.telling.entries {
		if stop, is := e.Act.(*maintenance.StopAct); is && stop.Pump == pump {
			return true
		}
	}
	return false
}
