package journal

import (
	"bytes"
	"context"
	"fmt"
	"maps"

	"go.etcd.io/bbolt"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A Report is what a whole journal holds.
type Report struct {
	Seq     uint64 `json:"seq"`  // entries
	Hash    string `json:"hash"` // of the newest
	Voids   uint64 `json:"voids"`
	Notices uint64 `json:"notices"`
}

// Verify reads everything: the pages, the chain, the head kept apart from it, the indexes,
// the notices, signals and calendar, as of the moment it is called. What is wrong is a *Damage that
// names the first bad entry. If fn is not nil, it gets each entry, in order of seq, once
// that has been found whole.
func (j *Journal) Verify(ctx context.Context, fn func(maintenance.Entry) error) (Report, error) {
	v := &verifier{Journal: j, voids: map[uint64]uint64{}}
	err := v.survey()
	if err == nil {
		err = v.chain(ctx, fn)
	}
	if err == nil {
		err = v.counts()
	}
	if err == nil {
		err = j.noticesTo(0, v.found.Notices, func(notify.Notice) error { return ctx.Err() })
	}
	if err != nil {
		return v.found, fmt.Errorf("verify journal %s: %w", j.path, j.damage(err))
	}
	return v.found, nil
}

// A verifier knows how much there was of everything at one moment, and collects what the
// entries say there should be.
type verifier struct {
	*Journal
	found              Report
	last, ids, order   uint64 // the greatest seq, and the keys in the indexes
	notices, sources   uint64
	storedVoids, voids map[uint64]uint64 // as indexed, and as the entries say
}

// survey looks, while no one writes, at the pages and at how much there is.
func (v *verifier) survey() error {
	v.writing.Lock()
	defer v.writing.Unlock()
	if err := v.pages(); err != nil {
		return err
	}
	return v.view(func(tx *bbolt.Tx) error {
		h, err := v.readHead(tx)
		if err != nil {
			return err
		}
		k, _ := tx.Bucket(inEntries).Cursor().Last()
		v.found.Seq, v.found.Hash, v.last = h.seq, h.hash, seqOf(k)
		v.ids = uint64(tx.Bucket(inIDs).Stats().KeyN)
		v.order = uint64(tx.Bucket(inOrder).Stats().KeyN)
		v.notices = uint64(tx.Bucket(inNotices).Stats().KeyN)
		v.found.Notices, v.sources = h.notices, h.sources
		v.storedVoids = readVoids(tx.Bucket(inVoids))
		v.found.Voids = uint64(len(v.storedVoids))
		if _, err := v.readCalendar(tx); err != nil {
			return err
		}
		return v.signals(tx.Bucket(inSignals))
	})
}

func (v *verifier) pages() error {
	v.life.RLock()
	defer v.life.RUnlock()
	if v.db == nil {
		return v.why()
	}
	flaws, err := inspect(v.file)
	if err != nil {
		return err
	}
	return flaws.first()
}

func (v *verifier) signals(b *bbolt.Bucket) error {
	n := uint64(0)
	err := b.ForEach(func(k, stored []byte) error {
		n++
		if _, ok := withoutSum(k, stored); !ok {
			return &Damage{What: fmt.Sprintf("the state of source %q is not what was written", k)}
		}
		return nil
	})
	if err == nil && n != v.sources {
		err = &Damage{What: fmt.Sprintf("there are states of %d sources, and were of %d", n, v.sources)}
	}
	return err
}

// chain walks the entries.
func (v *verifier) chain(ctx context.Context, fn func(maintenance.Entry) error) error {
	last := link{0, maintenance.ZeroHash}
	for last.seq < v.found.Seq {
		if err := ctx.Err(); err != nil {
			return err
		}
		entries, err := v.next(last)
		if err != nil {
			return err
		}
		last = link{entries[len(entries)-1].Seq, entries[len(entries)-1].Hash}
		for _, e := range entries {
			if fn == nil {
				break
			}
			if err := fn(e); err != nil {
				return err
			}
		}
	}
	if last.hash != v.found.Hash {
		return &Damage{Seq: max(1, last.seq), What: "it is not the one that the head names"}
	}
	if v.last > v.found.Seq {
		return &Damage{Seq: v.found.Seq + 1, What: "the head does not know it"}
	}
	return nil
}

// next reads on after an entry and checks what it reads.
func (v *verifier) next(after link) ([]maintenance.Entry, error) {
	lines, broken := v.chunk(inEntries, after.seq, v.found.Seq)
	seqs := make([]uint64, len(lines))
	for i := range lines {
		seqs[i] = after.seq + 1 + uint64(i)
	}
	entries, err := decodeAll(seqs, lines)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if e.Prev != after.hash {
			return nil, &Damage{Seq: e.Seq, What: "it does not follow the one before"}
		}
		after.hash = e.Hash
	}
	if broken != nil {
		return nil, broken
	}
	return entries, v.view(func(tx *bbolt.Tx) error { return v.indexed(tx, entries) })
}

// indexed checks that the entries are in the indexes.
func (v *verifier) indexed(tx *bbolt.Tx, entries []maintenance.Entry) error {
	ids, order := tx.Bucket(inIDs).Cursor(), tx.Bucket(inOrder).Cursor()
	for _, e := range entries {
		if k, seq := ids.Seek([]byte(e.ID)); string(k) != e.ID || seqOf(seq) != e.Seq {
			return &Damage{Seq: e.Seq, What: "it is not in the index of ids"}
		}
		at := Position{e.At, e.Seq}.key()
		if k, _ := order.Seek(at); !bytes.Equal(k, at) {
			return &Damage{Seq: e.Seq, What: "it is not in the index of times"}
		}
		void, ok := e.Act.(*maintenance.VoidAct)
		if !ok {
			continue
		}
		k, seq := ids.Seek([]byte(void.Entry))
		target := seqOf(seq)
		if string(k) != void.Entry || target >= e.Seq {
			return &Damage{Seq: e.Seq, What: fmt.Sprintf("it withdraws %q, which is not on record before it", void.Entry)}
		}
		if _, twice := v.voids[target]; !twice {
			v.voids[target] = e.Seq
		}
	}
	return nil
}

// counts finds what is in an index and in no entry.
func (v *verifier) counts() error {
	switch {
	case v.ids != v.found.Seq:
		return &Damage{What: fmt.Sprintf("the index of ids has %d entries, the chain %d", v.ids, v.found.Seq)}
	case v.order != v.found.Seq:
		return &Damage{What: fmt.Sprintf("the index of times has %d entries, the chain %d", v.order, v.found.Seq)}
	case v.notices != v.found.Notices:
		return &Damage{What: fmt.Sprintf("there are %d notices, and were %d", v.notices, v.found.Notices)}
	case !maps.Equal(v.voids, v.storedVoids):
		return &Damage{What: "the index of voids is not what the entries say"}
	}
	return nil
}
