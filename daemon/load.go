package daemon

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
)

// checkpointEvery is how many entries may have to be folded when the book is opened.
const checkpointEvery = 2048

// A saved checkpoint is the state after all entries up to its Seq, by the rules it names,
// with some rungs of the ladder below it: the first late entry after a start then need not
// fold the book from the beginning.
type saved struct {
	Rules string      `json:"rules"`
	Rungs []savedRung `json:"rungs"` // oldest first; the last is the state itself
}

type savedRung struct {
	Count int            `json:"count"`
	State jsontext.Value `json:"state"`
}

// load folds the journal: from its checkpoint if that can be gone on from, else from the
// beginning.
func (b *Book) load() (*snapshot, error) {
	seq, head := b.journal.Head()
	s := &snapshot{state: maintenance.NewState(), seq: seq, head: head}
	if seq == 0 {
		return s, nil
	}
	newest, _, err := b.journal.At(seq)
	if err != nil {
		return nil, err
	}
	s.last = newest.Recorded
	if b.goOn(s) {
		return s, nil
	}
	b.saved.Store(0)
	s.state, s.count, s.ladder = maintenance.NewState(), 0, nil
	return s, b.foldOn(s)
}

func (s *snapshot) add(r maintenance.Rules, e maintenance.Entry) error {
	if _, err := s.state.Apply(r, e); err != nil {
		return fmt.Errorf("entry %d, the %s of %s, does not follow by these rules (is signals.shortest_run another than it was?): %w", e.Seq, e.Act.Kind(), e.At.Format(time.RFC3339), err)
	}
	s.count++
	s.ladder = s.ladder.with(s.count, s.state)
	return nil
}

// goOn takes the checkpoint, if there is one by the same rules, and folds what came after
// it: from its end, or, if that reaches back before it, from the rung before that.
func (b *Book) goOn(s *snapshot) bool {
	c, found, err := b.journal.Checkpoint()
	if err != nil || !found {
		return false
	}
	var was saved
	if json.Unmarshal(c.Blob, &was) != nil || was.Rules != rulesMark(b.rules) {
		return false
	}
	rungs, err := was.ladder()
	if err != nil || len(rungs) == 0 {
		return false
	}
	b.saved.Store(c.Seq)
	from, err := b.reachOf(c.Seq, after(rungs.last().state))
	if err != nil {
		return false
	}
	s.ladder = rungs.before(from)
	newest := s.ladder.last()
	s.state, s.count = newest.state.Clone(), newest.n
	return b.foldOn(s) == nil
}

// reachOf is the earliest position that entries after a number touch: their own, or that of
// an entry that they withdraw; end if there are none before it.
func (b *Book) reachOf(seq uint64, end journal.Position) (from journal.Position, err error) {
	from = end
	err = b.journal.Lines(seq, func(_ uint64, line []byte) error {
		e, err := maintenance.Decode(line)
		if err != nil {
			return err
		}
		from = earlier(from, positionOf(e))
		void, is := e.Act.(*maintenance.VoidAct)
		if !is {
			return nil
		}
		target, _, err := b.journal.Lookup(void.Entry)
		from = earlier(from, positionOf(target))
		return err
	})
	return from, err
}

// foldOn folds what the journal has after a snapshot's state.
func (b *Book) foldOn(s *snapshot) error {
	return b.journal.InOrder(after(s.state), func(e maintenance.Entry) error {
		if _, gone := b.journal.VoidOf(e.Seq); gone {
			return nil
		}
		return s.add(b.rules, e)
	})
}

func (b *Book) checkpointIfDue() {
	seq := b.now.Load().seq
	if seq < max(b.saved.Load(), b.tried)+checkpointEvery || b.doubt.Load() != nil {
		return
	}
	b.tried = seq
	// It is a cache: a failure costs time at the next start and nothing else.
	if err := b.saveCheckpoint(); errors.Is(err, journal.ErrUnknown) {
		b.doubt.Store(&err)
		_ = b.resume() // if it fails, the next telling tries again
	}
}

// saveCheckpoint keeps the newest state.
func (b *Book) saveCheckpoint() error {
	s := b.now.Load()
	blob, err := encodeSaved(rulesMark(b.rules), append(s.ladder.sparse(s.count), rung{s.count, s.state}))
	if err != nil {
		return fmt.Errorf("write down the state: %w", err)
	}
	if err := b.journal.PutCheckpoint(journal.Checkpoint{Seq: s.seq, Hash: s.head, Blob: blob}); err != nil {
		return fmt.Errorf("keep a checkpoint: %w", err)
	}
	b.saved.Store(s.seq)
	return nil
}

func encodeSaved(rules string, rungs ladder) ([]byte, error) {
	out := saved{Rules: rules}
	for _, r := range rungs {
		state, err := maintenance.EncodeState(r.state)
		if err != nil {
			return nil, err
		}
		out.Rungs = append(out.Rungs, savedRung{r.n, state})
	}
	return json.Marshal(out)
}

func (s saved) ladder() (l ladder, err error) {
	for _, r := range s.Rungs {
		state, err := maintenance.DecodeState(r.State)
		if err != nil {
			return nil, err
		}
		l = append(l, rung{r.Count, state})
	}
	return l, nil
}

// rulesMark tells apart the rules that a fold depends on.
func rulesMark(r maintenance.Rules) string {
	b, err := json.Marshal(struct {
		Limits maintenance.Limits
		Short  int64
		Format int
	}{r.Limits, int64(r.ShortestRun), maintenance.StateFormat})
	if err != nil {
		return "" // finite numbers: cannot fail; and a mark that matches nothing costs a fold
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// A Moment is what a question is asked of: the book as it stood at an instant, by what it
// had heard by another. Zero times mean now.
type Moment struct {
	At      time.Time
	KnownBy time.Time
}

// A Standing is the state that answers a question, with the journal's head it rests on.
type Standing struct {
	State *maintenance.State
	At    time.Time
	Seq   uint64
	Head  string
}

// Stand gives the book at a moment. The state is shared: nobody may write to it.
func (b *Book) Stand(m Moment, now time.Time) (Standing, error) {
	s := b.now.Load()
	st := Standing{State: s.state, At: m.At, Seq: s.seq, Head: s.head}
	if m.At.IsZero() {
		st.At = now // an entry dated a little ahead is in the state, and moves no clock
	}
	switch {
	case !m.KnownBy.IsZero():
		return b.knownBy(st, m.KnownBy)
	case m.At.Before(s.state.At) && !m.At.IsZero():
		var err error
		st.State, err = b.asOf(s, st.At)
		return st, err
	}
	return st, nil
}

// asOf folds up to an instant in the past, from the rung before it.
func (b *Book) asOf(s *snapshot, at time.Time) (*maintenance.State, error) {
	state, start := maintenance.NewState(), journal.Position{}
	if r, ok := s.ladder.upTo(at); ok {
		state = r.state.Clone()
		start = after(state)
	}
	err := b.journal.InOrder(start, func(e maintenance.Entry) error {
		if e.At.After(at) || e.Seq > s.seq {
			return stopAfter(e, at)
		}
		if by, gone := b.journal.VoidOf(e.Seq); gone && by <= s.seq {
			return nil
		}
		_, err := state.Apply(b.rules, e)
		return err
	})
	return state, err
}

func stopAfter(e maintenance.Entry, at time.Time) error {
	if e.At.After(at) {
		return journal.ErrStop
	}
	return nil
}

// knownBy folds what the book had heard by an instant: later entries, and what they void,
// are as if never told.
func (b *Book) knownBy(st Standing, by time.Time) (Standing, error) {
	limit, err := b.journal.SeqKnownBy(by)
	if err != nil {
		return st, err
	}
	st.Seq, st.Head = limit, maintenance.ZeroHash
	if e, found, err := b.journal.At(limit); err != nil {
		return st, err
	} else if found {
		st.Head = e.Hash
	}
	st.State = maintenance.NewState()
	err = b.Walk(limit, st.At, func(e maintenance.Entry) error {
		_, err := st.State.Apply(b.rules, e)
		return err
	})
	return st, err
}

// Walk gives the entries up to number limit that happened by at and are not withdrawn, in
// the order of happening.
func (b *Book) Walk(limit uint64, at time.Time, fn func(maintenance.Entry) error) error {
	return b.journal.InOrder(journal.Position{}, func(e maintenance.Entry) error {
		if e.At.After(at) {
			return journal.ErrStop
		}
		if by, gone := b.journal.VoidOf(e.Seq); e.Seq > limit || gone && by <= limit {
			return nil
		}
		return fn(e)
	})
}
