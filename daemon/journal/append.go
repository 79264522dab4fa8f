package journal

import (
	"errors"
	"fmt"

	"go.etcd.io/bbolt"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A Batch is what is written together or not at all.
type Batch struct {
	Entries  []maintenance.Entry // sealed, continuing the chain
	Notices  []notify.Notice     // Append sets their Seq, in place
	Signals  map[string][]byte   // the detectors' state, by source; it replaces the one before
	Calendar map[string][]byte   // the calendar's records, by action; each replaces the one before
}

func (b *Batch) what() string {
	switch n := len(b.Entries); {
	case n == 1:
		return fmt.Sprintf("append entry %d", b.Entries[0].Seq)
	case n > 1:
		return fmt.Sprintf("append entries %d to %d", b.Entries[0].Seq, b.Entries[n-1].Seq)
	case len(b.Notices) > 0:
		return "append notices"
	case len(b.Signals) == 0:
		return "keep the calendar"
	}
	return "keep signals"
}

// Append writes a batch in one synced transaction. An id that is there already, or the
// void of an entry that is not, is an error, and nothing was written; so it is with
// ErrFull. After ErrUnknown nothing more is written until Reopen. Entries that do not
// continue the chain are our own mistake: it panics.
func (j *Journal) Append(b *Batch) error {
	j.writing.Lock()
	defer j.writing.Unlock()
	if err := j.mayWrite(); err != nil {
		return fmt.Errorf("%s: %w", b.what(), err)
	}
	if len(b.Entries)+len(b.Notices)+len(b.Signals)+len(b.Calendar) == 0 {
		return nil
	}
	p, err := j.prepare(b)
	if err == nil {
		err = j.commit(p.put)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", b.what(), err)
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	j.head = p.head
	for target, by := range p.voids {
		j.voids[target] = by
	}
	return nil
}

// prepared is a batch as it will be written, and what will then be known.
type prepared struct {
	*Batch
	lines, notices [][]byte
	head           head
	voids          map[uint64]uint64
}

func (j *Journal) prepare(b *Batch) (*prepared, error) {
	p := &prepared{Batch: b, head: j.head, voids: map[uint64]uint64{}}
	for _, e := range b.Entries {
		line := maintenance.Encode(e)
		if err := maintenance.CheckLine(line, p.head.hash); err != nil || e.Seq != p.head.seq+1 {
			panic(fmt.Sprintf("journal: entry %d (%s) does not follow entry %d: %v", e.Seq, e.ID, p.head.seq, err))
		}
		// What cannot be read back would lock people out of their book.
		if _, err := maintenance.Decode(line); err != nil {
			return nil, fmt.Errorf("entry %q could not be read back: %w", e.ID, err)
		}
		if e.ID == "" {
			return nil, fmt.Errorf("entry %d has no id", e.Seq)
		}
		p.lines, p.head.link = append(p.lines, line), link{e.Seq, e.Hash}
	}
	for i := range b.Notices {
		p.head.notices++
		b.Notices[i].Seq = p.head.notices
		value, err := encodeNotice(b.Notices[i])
		if err != nil {
			return nil, err
		}
		p.notices = append(p.notices, value)
	}
	return p, nil
}

func (p *prepared) put(tx *bbolt.Tx) error {
	if err := p.putEntries(tx); err != nil {
		return err
	}
	notices := tx.Bucket(inNotices)
	notices.FillPercent = 1 // they only ever grow at the end
	for i, value := range p.notices {
		if err := notices.Put(seqKey(p.Notices[i].Seq), value); err != nil {
			return err
		}
	}
	signals := tx.Bucket(inSignals)
	for source, state := range p.Signals {
		if signals.Get([]byte(source)) == nil {
			p.head.sources++
		}
		if err := signals.Put([]byte(source), withSum([]byte(source), state)); err != nil {
			return fmt.Errorf("source %q: %w", source, err)
		}
	}
	if err := p.putCalendar(tx); err != nil {
		return err
	}
	return tx.Bucket(inMeta).Put(keyHead, withSum(keyHead, p.head.encode()))
}

func (p *prepared) putEntries(tx *bbolt.Tx) error {
	entries, ids, order := tx.Bucket(inEntries), tx.Bucket(inIDs), tx.Bucket(inOrder)
	entries.FillPercent, order.FillPercent = 1, 0.9
	for i, e := range p.Entries {
		if known := ids.Get([]byte(e.ID)); known != nil {
			return fmt.Errorf("the id %q is that of entry %d", e.ID, seqOf(known))
		}
		seq := seqKey(e.Seq)
		err := errors.Join(
			p.putVoid(tx, e), // first: nothing withdraws itself
			entries.Put(seq, p.lines[i]),
			ids.Put([]byte(e.ID), seq),
			order.Put(Position{e.At, e.Seq}.key(), nil),
		)
		if err != nil {
			return err
		}
	}
	return nil
}

func (p *prepared) putVoid(tx *bbolt.Tx, e maintenance.Entry) error {
	void, ok := e.Act.(*maintenance.VoidAct)
	if !ok {
		return nil
	}
	target := tx.Bucket(inIDs).Get([]byte(void.Entry))
	if target == nil {
		return fmt.Errorf("the void %q is of an entry %q that is not on record", e.ID, void.Entry)
	}
	if tx.Bucket(inVoids).Get(target) != nil {
		return nil // the first void stands
	}
	p.voids[seqOf(target)] = e.Seq
	return tx.Bucket(inVoids).Put(target, seqKey(e.Seq))
}

// commit runs one synced transaction. If it fails for want of room, the file is reopened
// at once, which tells whether it was written. After any other failure only the outcome
// could be read, not whether it will last, and the disk is not to be trusted.
func (j *Journal) commit(put func(*bbolt.Tx) error) error {
	txid, refused, err := j.update(put)
	if err == nil || refused {
		return err
	}
	unknown := fmt.Errorf("%w: %w", ErrUnknown, err)
	j.halt(unknown)
	if !isFull(err) || j.reopen() != nil {
		return unknown
	}
	if j.txid >= txid {
		return nil
	}
	return fmt.Errorf("%w: %w", ErrFull, err)
}

// update is bbolt's, told apart by where it failed: refused means in put, with nothing
// written.
func (j *Journal) update(put func(*bbolt.Tx) error) (txid int, refused bool, err error) {
	j.life.RLock()
	defer j.life.RUnlock()
	j.broken = true // unless it comes back
	err = guard(func() error {
		err := j.db.Update(func(tx *bbolt.Tx) error {
			txid = tx.ID()
			j.tidy(tx)
			err := guard(func() error { return put(tx) })
			refused = err != nil
			return err
		})
		j.broken = false
		return err
	})
	if refused && errors.Is(err, ErrDamaged) {
		j.halt(err)
	}
	if err == nil {
		j.mu.Lock()
		defer j.mu.Unlock()
		j.txid = txid
	}
	return txid, refused, err
}

// mayWrite says why not, if so. A journal halted by a full disk, which then could not even
// be reopened, tries again here.
func (j *Journal) mayWrite() error {
	why := j.why()
	if why == nil || !errors.Is(why, ErrUnknown) || !isFull(why) {
		return why
	}
	before := j.txid
	if err := j.reopen(); err != nil {
		return fmt.Errorf("%w; %w", why, err)
	}
	if j.txid != before {
		j.halt(why) // it was written after all: the caller has to read the head
		return why
	}
	return nil
}
