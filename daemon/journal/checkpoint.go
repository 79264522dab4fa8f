package journal

import (
	"bytes"

	"go.etcd.io/bbolt"
)

// A Checkpoint is derived state as of an entry. It is a cache: without it nothing is lost
// but time.
type Checkpoint struct {
	Seq  uint64
	Hash string // of that entry
	Blob []byte
}

// PutCheckpoint keeps a checkpoint in the place of the one before. Its errors are those of
// Append.
func (j *Journal) PutCheckpoint(c Checkpoint) error {
	j.writing.Lock()
	defer j.writing.Unlock()
	if err := j.mayWrite(); err != nil {
		return err
	}
	value := append(link{c.Seq, c.Hash}.encode(), c.Blob...)
	return j.commit(func(tx *bbolt.Tx) error {
		return tx.Bucket(inCheckpoint).Put(keyNewest, withSum(keyNewest, value))
	})
}

// Checkpoint gives the checkpoint kept last; false if there is none, if it is not whole, or
// if its entry is not the one that it was made of.
func (j *Journal) Checkpoint() (c Checkpoint, found bool, err error) {
	err = j.view(func(tx *bbolt.Tx) error {
		b, err := j.bucket(tx, inCheckpoint)
		if err != nil {
			return nil // damaged: then there is none
		}
		c, found = decodeCheckpoint(b.Get(keyNewest))
		return nil
	})
	if err != nil || !found {
		return Checkpoint{}, false, err
	}
	e, ok, err := j.At(c.Seq)
	if err != nil || !ok || e.Hash != c.Hash {
		return Checkpoint{}, false, err
	}
	return c, true, nil
}

func decodeCheckpoint(stored []byte) (Checkpoint, bool) {
	value, ok := withoutSum(keyNewest, stored)
	if !ok || len(value) < 40 {
		return Checkpoint{}, false
	}
	of := decodeLink(value)
	return Checkpoint{of.seq, of.hash, bytes.Clone(value[40:])}, true
}
