package daemon

import (
	"errors"
	"fmt"
	"sort"
	"time"

	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
	"sumpbook/maintenance/signal"
)

// futureSlack is how far ahead of the book's clock an entry may be.
const futureSlack = 2 * time.Minute

// A taking is the book while a group of tellings is judged: the newest snapshot, and what
// has been taken on top of it. Nothing of it is seen before it is committed.
type taking struct {
	book   *Book
	base   *snapshot
	state  *maintenance.State
	count  int
	ladder ladder
	seq    uint64
	head   string
	last   time.Time
	batch  journal.Batch
	byID   map[string]maintenance.Entry // taken, not committed
	voids  map[string]bool              // ids withdrawn by what was taken
}

func (b *Book) begin() *taking {
	s := b.now.Load()
	return &taking{
		book: b, base: s, state: s.state.Clone(), count: s.count, ladder: s.ladder, seq: s.seq, head: s.head, last: s.last,
		byID: map[string]maintenance.Entry{}, voids: map[string]bool{},
	}
}

// commit writes what was taken and publishes it.
func (w *taking) commit() error {
	if len(w.batch.Entries) == 0 && len(w.batch.Notices) == 0 && len(w.batch.Signals) == 0 {
		return nil
	}
	if err := w.book.journal.Append(&w.batch); err != nil {
		return err
	}
	w.book.now.Store(&snapshot{w.state, w.count, w.seq, w.head, w.last, w.ladder})
	if tell := w.book.onCommit.Load(); tell != nil {
		(*tell)()
	}
	return nil
}

// take judges one telling on top of those taken before it.
func (w *taking) take(t *telling) (Receipt, error) {
	w.batch.Notices = append(w.batch.Notices, t.notices...)
	if len(t.entries) == 0 {
		w.takeSignals(t)
		return Receipt{}, nil
	}
	verbatim, err := w.asExported(t.entries)
	if err != nil {
		return Receipt{}, err
	}
	receipt, fresh, err := w.sift(t, verbatim)
	if err != nil {
		return Receipt{}, err
	}
	if t.dry { // judged on a copy that nobody keeps
		w = &taking{book: w.book, base: w.base, state: w.state.Clone(), count: w.count, ladder: w.ladder, batch: w.batch, byID: w.byID, voids: w.voids}
	}
	after, err := w.fold(fresh, &receipt)
	if err != nil || t.dry {
		return receipt, err
	}
	w.takeSignals(t)
	w.keep(fresh, after)
	return receipt, nil
}

func (w *taking) takeSignals(t *telling) {
	for source, state := range t.signals {
		if w.batch.Signals == nil {
			w.batch.Signals = map[string][]byte{}
		}
		w.batch.Signals[source] = state
	}
}

// asExported says whether a request is a whole export for an empty book: its own numbers
// and hashes are then verified and kept, and the copy is the same book.
func (w *taking) asExported(entries []maintenance.Entry) (bool, error) {
	if w.seq > 0 || entries[0].Hash == "" {
		return false, nil
	}
	prev := maintenance.ZeroHash
	for i, e := range entries {
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

// sift numbers and seals the entries that are new, and answers those told before.
func (w *taking) sift(t *telling, verbatim bool) (Receipt, []maintenance.Entry, error) {
	receipt := Receipt{Entries: make([]EntryReceipt, 0, len(t.entries))}
	var fresh []maintenance.Entry
	within := map[string]maintenance.Entry{}
	seq, head := w.seq, w.head
	for i, e := range w.completed(t) {
		known, err := w.knownAs(e, within)
		if err != nil {
			return receipt, nil, lined(err, i, t)
		}
		if known != nil {
			receipt.Duplicates++
			receipt.Entries = append(receipt.Entries, EntryReceipt{ID: known.ID, Seq: known.Seq, At: known.At, Duplicate: true})
			continue
		}
		if e.At.IsZero() {
			e.At = t.now.Truncate(time.Millisecond)
		}
		if err := checkTime(e, t.now); err != nil {
			return receipt, nil, lined(err, i, t)
		}
		if !verbatim {
			seq++
			e = maintenance.Seal(e, seq, t.now.Truncate(time.Millisecond), head)
			head = e.Hash
		}
		within[e.ID] = e
		fresh = append(fresh, e)
		receipt.Accepted++
		receipt.Entries = append(receipt.Entries, EntryReceipt{ID: e.ID, Seq: e.Seq, At: e.At})
	}
	return receipt, fresh, nil
}

// completed fills in what a teller may leave out, and adds the stop that a signal already
// shows where a drain would otherwise be of a running pump.
func (w *taking) completed(t *telling) []maintenance.Entry {
	out := make([]maintenance.Entry, 0, len(t.entries))
	for _, e := range t.entries {
		if e.ID == "" {
			e.ID = newID(t.now)
		}
		if stop, ok := w.lowSignalStop(e, t.now); ok {
			out = append(out, stop)
		}
		out = append(out, e)
	}
	return out
}

// lowSignalStop is the stop at the first low sample, if an entry drains a pump that runs by
// a signal alone and that signal is low already. It has the id that the signal's own stop
// will have, so that one then adds nothing.
func (w *taking) lowSignalStop(e maintenance.Entry, now time.Time) (maintenance.Entry, bool) {
	drain, ok := e.Act.(*maintenance.DrainAct)
	if !ok {
		return e, false
	}
	p := w.state.Pumps[drain.Pump]
	if p == nil || p.Run == nil || !p.Run.Machine {
		return e, false
	}
	raw, found, err := w.book.journal.Signal(drain.Pump)
	if err != nil || !found {
		return e, false
	}
	det, err := decodeDetector(raw)
	if err != nil {
		return e, false
	}
	low, is := signal.LowSince(det.State)
	at := e.At
	if at.IsZero() {
		at = now
	}
	if !is || low.After(at) {
		return e, false
	}
	return signalEntry(drain.Pump, det.By, signal.Edge{Kind: signal.Stop, At: low}), true
}

// knownAs is the entry already on the book under the same id; a rejection if it says
// something else.
func (w *taking) knownAs(e maintenance.Entry, within map[string]maintenance.Entry) (*maintenance.Entry, error) {
	known, ok := within[e.ID]
	if !ok {
		known, ok = w.byID[e.ID]
	}
	if !ok && w.seq > 0 {
		var err error
		if known, ok, err = w.book.journal.Lookup(e.ID); err != nil {
			return nil, err
		}
	}
	if !ok {
		return nil, nil
	}
	told := e
	if told.At.IsZero() {
		told.At = known.At
	}
	if maintenance.Content(told) != maintenance.Content(known) {
		return nil, &maintenance.Rejection{Entry: e.ID, Field: "id", Says: fmt.Sprintf("entry %s is on the book already and says something else: %s", e.ID, maintenance.Content(known)),
			Hint: "give the new entry another id; to correct the old one, void it"}
	}
	return &known, nil
}

func checkTime(e maintenance.Entry, now time.Time) error {
	if e.At.After(now.Add(futureSlack)) {
		return &maintenance.Rejection{Entry: e.ID, Field: "at", Says: fmt.Sprintf("%s is in the future: the book's clock says %s", e.At.Format(time.RFC3339), now.Format(time.RFC3339)), Hint: "record it when it has happened"}
	}
	return nil
}

// lined says which entry of a request is refused.
func lined(err error, i int, t *telling) error {
	var r *maintenance.Rejection
	if errors.As(err, &r) && r.Line == 0 && len(t.entries) > 1 {
		r.Line = i + 1
	}
	return err
}

// A folded is the book after a request, before it is kept.
type folded struct {
	state  *maintenance.State
	count  int
	ladder ladder
	voids  map[string]bool
}

// fold puts new entries in their places by the time they happened and asks whether the book
// still holds. At its end that is one step from the newest state; a late entry or a void
// goes on from the rung before it.
func (w *taking) fold(fresh []maintenance.Entry, receipt *Receipt) (folded, error) {
	if len(fresh) == 1 {
		if _, isVoid := fresh[0].Act.(*maintenance.VoidAct); !isVoid && isBefore(w.state, journal.Position{At: fresh[0].At, Seq: fresh[0].Seq}) {
			return w.foldNext(fresh[0], receipt)
		}
	}
	if len(fresh) == 0 {
		return folded{w.state, w.count, w.ladder, nil}, nil
	}
	return w.foldLate(fresh, receipt)
}

func (w *taking) foldNext(e maintenance.Entry, receipt *Receipt) (folded, error) {
	remarks, err := w.state.Apply(w.book.rules, e)
	if err != nil {
		return folded{}, err
	}
	receipt.Entries[receipt.places()[e.ID]].Remarks = remarks
	return folded{w.state, w.count + 1, w.ladder.with(w.count+1, w.state), nil}, nil
}

func (w *taking) foldLate(fresh []maintenance.Entry, receipt *Receipt) (folded, error) {
	voids, from, err := w.withdrawn(fresh)
	if err != nil {
		return folded{}, err
	}
	rungs := w.ladder.before(from)
	f := folded{state: rungs.last().state.Clone(), count: rungs.last().n, ladder: rungs, voids: voids}
	isNew, place := map[uint64]int{}, receipt.places()
	for i, e := range fresh {
		isNew[e.Seq] = i
	}
	err = w.walk(f.state, fresh, voids, func(e maintenance.Entry) error {
		remarks, err := f.state.Apply(w.book.rules, e)
		i, mine := isNew[e.Seq]
		if err != nil {
			return explain(err, e, mine, i, len(fresh), fresh)
		}
		if mine {
			receipt.Entries[place[e.ID]].Remarks = remarks
		}
		f.count++
		f.ladder = f.ladder.with(f.count, f.state)
		return nil
	})
	return f, err
}

// explain names, for a request that the book cannot take, the line that is wrong or the
// later entry that it would make impossible.
func explain(err error, e maintenance.Entry, mine bool, i, n int, fresh []maintenance.Entry) error {
	var r *maintenance.Rejection
	if !errors.As(err, &r) {
		return err
	}
	if mine {
		if n > 1 {
			r.Line = i + 1
		}
		return r
	}
	return &maintenance.Rejection{
		Entry: fresh[0].ID, Field: "at", Blocks: e.ID,
		Says: fmt.Sprintf("it would make a later entry impossible, the %s %s of %s: %s", e.Act.Kind(), e.ID, e.At.Format(time.RFC3339), r.Says),
		Hint: "void the later entry in the same request, or tell this one at another time",
	}
}

// withdrawn collects the ids that the new voids take away, and the place from which the
// book has to be folded anew.
func (w *taking) withdrawn(fresh []maintenance.Entry) (map[string]bool, journal.Position, error) {
	voids := map[string]bool{}
	from := journal.Position{At: fresh[0].At, Seq: fresh[0].Seq}
	within := map[string]maintenance.Entry{}
	for _, e := range fresh {
		within[e.ID] = e
	}
	for i, e := range fresh {
		from = earlier(from, e)
		v, ok := e.Act.(*maintenance.VoidAct)
		if !ok {
			continue
		}
		target, err := w.voidable(v, e, within)
		if err != nil {
			if r := (*maintenance.Rejection)(nil); errors.As(err, &r) && len(fresh) > 1 {
				r.Line = i + 1
			}
			return nil, from, err
		}
		voids[v.Entry] = true
		from = earlier(from, target)
	}
	return voids, from, nil
}

func earlier(p journal.Position, e maintenance.Entry) journal.Position {
	if e.At.Before(p.At) || e.At.Equal(p.At) && e.Seq < p.Seq {
		return journal.Position{At: e.At, Seq: e.Seq}
	}
	return p
}

// voidable is the entry a void names: on the book, not itself a void, not yet withdrawn.
func (w *taking) voidable(v *maintenance.VoidAct, e maintenance.Entry, within map[string]maintenance.Entry) (maintenance.Entry, error) {
	target, ok := within[v.Entry]
	if !ok {
		target, ok = w.byID[v.Entry]
	}
	gone := w.voids[v.Entry]
	if !ok {
		var err error
		if target, ok, err = w.book.journal.Lookup(v.Entry); err != nil {
			return target, err
		}
		if ok {
			_, was := w.book.journal.VoidOf(target.Seq)
			gone = gone || was
		}
	}
	switch _, isVoid := target.Act.(*maintenance.VoidAct); {
	case !ok:
		return target, &maintenance.Rejection{Entry: e.ID, Field: "entry", Says: fmt.Sprintf("no entry %s is on the book", v.Entry), Hint: "give an id that export or the history shows"}
	case isVoid:
		return target, &maintenance.Rejection{Entry: e.ID, Field: "entry", Says: "a void cannot be withdrawn", Hint: "record what is to hold again under a new id"}
	case gone:
		return target, &maintenance.Rejection{Entry: e.ID, Field: "entry", Says: fmt.Sprintf("entry %s is withdrawn already", v.Entry), Hint: "nothing is left to void"}
	}
	return target, nil
}

// walk goes through the book after a state, in the order of happening: what is committed,
// what was taken, and what is new, without the withdrawn.
func (w *taking) walk(from *maintenance.State, fresh []maintenance.Entry, voids map[string]bool, fn func(maintenance.Entry) error) error {
	added := make([]maintenance.Entry, 0, len(fresh)+len(w.batch.Entries))
	start := journal.Position{}
	if !from.At.IsZero() {
		start = journal.Position{At: from.At, Seq: from.Seq + 1}
	}
	for _, e := range append(append(added, w.batch.Entries...), fresh...) {
		if !e.At.Before(start.At) && (e.At.After(start.At) || e.Seq >= start.Seq) {
			added = append(added, e)
		}
	}
	sort.Slice(added, func(i, j int) bool { return maintenance.Before(added[i], added[j]) })
	step := func(e maintenance.Entry) error {
		if voids[e.ID] || w.voids[e.ID] {
			return nil
		}
		return fn(e)
	}
	err := w.book.journal.InOrder(start, func(e maintenance.Entry) error {
		for len(added) > 0 && maintenance.Before(added[0], e) {
			if err := step(added[0]); err != nil {
				return err
			}
			added = added[1:]
		}
		if _, gone := w.book.journal.VoidOf(e.Seq); gone {
			return nil
		}
		return step(e)
	})
	for ; err == nil && len(added) > 0; added = added[1:] {
		err = step(added[0])
	}
	return err
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

// places says where in the receipt each entry stands.
func (r *Receipt) places() map[string]int {
	at := make(map[string]int, len(r.Entries))
	for i, e := range r.Entries {
		at[e.ID] = i
	}
	return at
}
