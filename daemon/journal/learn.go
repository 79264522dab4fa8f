package journal

import (
	"bytes"
	"encoding/binary"
	"fmt"

	"go.etcd.io/bbolt"

	"sumpbook/maintenance"
)

// tail is how many of the newest entries opening verifies.
const tail = 16

// learn reads what is kept in memory, and verifies the tail of the chain.
func (j *Journal) learn(tx *bbolt.Tx) error {
	id, h, err := j.readMeta(tx)
	if err != nil {
		return err
	}
	if err := j.verifyTail(tx, h.link); err != nil && !j.readOnly {
		return err
	}
	voids := map[uint64]uint64{}
	if b, err := j.bucket(tx, inVoids); err == nil {
		voids = readVoids(b)
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	j.id, j.head, j.voids, j.seen = id, h, voids, tx.ID()
	return nil
}

func (j *Journal) readMeta(tx *bbolt.Tx) (id string, h head, err error) {
	version, err := j.metaValue(tx, keyFormat)
	if err != nil {
		return "", h, err
	}
	if len(version) != 4 || binary.BigEndian.Uint32(version) == 0 {
		return "", h, &Damage{What: "the format is not named"}
	}
	if v := binary.BigEndian.Uint32(version); v > format {
		return "", h, fmt.Errorf("%w: format %d, known is %d", ErrNewer, v, format)
	}
	for _, name := range buckets {
		if tx.Bucket(name) == nil {
			return "", h, &Damage{What: fmt.Sprintf("there are no %s; restore a backup", name)}
		}
	}
	name, err := j.metaValue(tx, keyID)
	if err != nil {
		return "", h, err
	}
	h, err = j.readHead(tx)
	return string(name), h, err
}

func (j *Journal) readHead(tx *bbolt.Tx) (head, error) {
	value, err := j.metaValue(tx, keyHead)
	if err != nil {
		return head{}, err
	}
	h, ok := decodeHead(value)
	if !ok {
		return head{}, &Damage{What: "the head cannot be read"}
	}
	return h, nil
}

func (j *Journal) metaValue(tx *bbolt.Tx, key []byte) ([]byte, error) {
	b, err := j.bucket(tx, inMeta)
	if err != nil {
		return nil, err
	}
	value, ok := withoutSum(key, b.Get(key))
	if !ok {
		return nil, &Damage{What: fmt.Sprintf("the %s is not what was written; restore a backup", key)}
	}
	return value, nil
}

// bucket finds a bucket that is safe to read.
func (j *Journal) bucket(tx *bbolt.Tx, name []byte) (*bbolt.Bucket, error) {
	if err := j.flaws[string(name)]; err != nil {
		return nil, err
	}
	b := tx.Bucket(name)
	if b == nil {
		return nil, &Damage{What: fmt.Sprintf("there are no %s", name)}
	}
	return b, nil
}

// verifyTail checks that the newest entries end in the head that is kept apart from them.
func (j *Journal) verifyTail(tx *bbolt.Tx, h link) error {
	b, err := j.bucket(tx, inEntries)
	if err != nil {
		return err
	}
	c := b.Cursor()
	key, line := c.Last()
	if h.seq == 0 {
		if key != nil || h.hash != maintenance.ZeroHash {
			return &Damage{Seq: seqOf(key), What: "the head does not know it"}
		}
		return nil
	}
	for want := h; want.seq > 0 && want.seq+tail > h.seq; key, line = c.Prev() {
		if seqOf(key) != want.seq {
			return &Damage{Seq: want.seq, What: "it is missing, or one that the head does not know follows"}
		}
		prev, err := checkLine(line, want.seq)
		if err == nil && !bytes.HasSuffix(line, []byte(want.hash+`"}`)) {
			err = &Damage{Seq: want.seq, What: "the one after, or the head, names another"}
		}
		if err != nil {
			return err
		}
		want = link{want.seq - 1, prev}
	}
	return nil
}

func readVoids(b *bbolt.Bucket) map[uint64]uint64 {
	voids := map[uint64]uint64{}
	_ = b.ForEach(func(k, v []byte) error {
		voids[seqOf(k)] = seqOf(v)
		return nil
	})
	return voids
}
