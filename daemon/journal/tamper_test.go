package journal

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// tamper changes a file as one who knows its store would.
func tamper(t *testing.T, path string, change func(*bbolt.Tx) error) {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(change))
	require.NoError(t, db.Close())
}

func move(b *bbolt.Bucket, from, to uint64) error {
	return b.Put(seqKey(to), append([]byte(nil), b.Get(seqKey(from))...))
}

func forged(seq uint64, prev string) []byte {
	e := maintenance.Entry{ID: "forged", At: evening, Act: &maintenance.NoteAct{Pump: "north"}, Note: "x"}
	return maintenance.Encode(maintenance.Seal(e, seq, evening, prev))
}

// Each way of changing the record is found, and the first bad entry is named; 0 means that
// it is not one entry's fault. Opening looks at the newest 16 only, so these are farther back.
func TestTamperingIsFound(t *testing.T) {
	t.Parallel()
	const at = 40
	for _, c := range []struct {
		name   string
		names  uint64
		change func(*bbolt.Tx) error
	}{
		{"edited", at, func(tx *bbolt.Tx) error {
			b := tx.Bucket(inEntries)
			line := append([]byte(nil), b.Get(seqKey(at))...)
			line[len(line)/3] ^= 1
			return b.Put(seqKey(at), line)
		}},
		{"edited and hashed again", at + 1, func(tx *bbolt.Tx) error {
			b := tx.Bucket(inEntries)
			e, err := maintenance.Decode(b.Get(seqKey(at)))
			if err != nil {
				return err
			}
			e.Note = "another"
			return b.Put(seqKey(at), maintenance.Encode(maintenance.Seal(e, at, e.Recorded, e.Prev)))
		}},
		{"deleted", at, func(tx *bbolt.Tx) error { return tx.Bucket(inEntries).Delete(seqKey(at)) }},
		{"swapped", at, func(tx *bbolt.Tx) error {
			b := tx.Bucket(inEntries)
			line := append([]byte(nil), b.Get(seqKey(at))...)
			if err := move(b, at+1, at); err != nil {
				return err
			}
			return b.Put(seqKey(at+1), line)
		}},
		{"inserted", at, func(tx *bbolt.Tx) error {
			return tx.Bucket(inEntries).Put(seqKey(at), forged(at, maintenance.ZeroHash))
		}},
		{"cut in the middle", 100, func(tx *bbolt.Tx) error { return tx.Bucket(inEntries).Delete(seqKey(100)) }},
		{"added at the end", 101, func(tx *bbolt.Tx) error {
			return tx.Bucket(inEntries).Put(seqKey(101), forged(101, maintenance.ZeroHash))
		}},
		{"no id", at, func(tx *bbolt.Tx) error { return tx.Bucket(inIDs).Delete([]byte("note-0000040")) }},
		{"wrong id", at, func(tx *bbolt.Tx) error { return tx.Bucket(inIDs).Put([]byte("note-0000040"), seqKey(at+1)) }},
		{"an id too many", 0, func(tx *bbolt.Tx) error { return tx.Bucket(inIDs).Put([]byte("x"), seqKey(at)) }},
		{"no time", at, func(tx *bbolt.Tx) error {
			return tx.Bucket(inOrder).Delete(Position{evening.Add(39 * 60e9), at}.key())
		}},
		{"a time too many", 0, func(tx *bbolt.Tx) error { return tx.Bucket(inOrder).Put(Position{evening, at}.key(), nil) }},
		{"no void", 0, func(tx *bbolt.Tx) error { return tx.Bucket(inVoids).Delete(seqKey(2)) }},
		{"another void", 0, func(tx *bbolt.Tx) error { return tx.Bucket(inVoids).Put(seqKey(3), seqKey(5)) }},
		{"a notice gone", 0, func(tx *bbolt.Tx) error { return tx.Bucket(inNotices).Delete(seqKey(1)) }},
		{"the last notice gone", 0, func(tx *bbolt.Tx) error { return tx.Bucket(inNotices).Delete(seqKey(4)) }},
		{"a notice too many", 0, func(tx *bbolt.Tx) error { return move(tx.Bucket(inNotices), 1, 9) }},
		{"a notice moved", 0, func(tx *bbolt.Tx) error { return move(tx.Bucket(inNotices), 1, 2) }},
		{"a notice rotten", 0, func(tx *bbolt.Tx) error { return tx.Bucket(inNotices).Put(seqKey(1), []byte("abcd{}")) }},
		{"a signal gone", 0, func(tx *bbolt.Tx) error { return tx.Bucket(inSignals).Delete([]byte("north")) }},
		{"a signal rotten", 0, func(tx *bbolt.Tx) error { return tx.Bucket(inSignals).Put([]byte("north"), []byte("abcd")) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := longer(t)
			tamper(t, path, c.change)
			j, err := OpenReadOnly(path)
			require.NoError(t, err)
			defer j.Close()
			_, err = j.Verify(t.Context(), nil)
			var d *Damage
			require.ErrorAs(t, err, &d)
			require.Equal(t, c.names, d.Seq, d.What)
			require.ErrorIs(t, err, ErrDamaged)
		})
	}
}

// Readers notice what they meet, without Verify, and end the writing.
func TestReadersNoticeDamage(t *testing.T) {
	const at = 40
	walk := func(j *Journal) error { return j.InOrder(Position{}, func(maintenance.Entry) error { return nil }) }
	for _, c := range []struct {
		name   string
		change func(*bbolt.Tx) error
		read   func(*Journal) error
	}{
		{"an entry gone", func(tx *bbolt.Tx) error { return tx.Bucket(inEntries).Delete(seqKey(at)) }, walk},
		{"an entry gone, one read", func(tx *bbolt.Tx) error { return tx.Bucket(inEntries).Delete(seqKey(at)) },
			func(j *Journal) error { _, _, err := j.At(at); return err }},
		{"an entry moved", func(tx *bbolt.Tx) error { return move(tx.Bucket(inEntries), at+1, at) },
			func(j *Journal) error { return j.Lines(0, func(uint64, []byte) error { return nil }) }},
		{"a time gone", func(tx *bbolt.Tx) error { return tx.Bucket(inOrder).Delete(Position{evening.Add(39 * 60e9), at}.key()) }, walk},
		{"a time twice", func(tx *bbolt.Tx) error { return tx.Bucket(inOrder).Put(Position{evening, at}.key(), nil) }, walk},
		{"another time", func(tx *bbolt.Tx) error {
			b := tx.Bucket(inOrder)
			if err := b.Delete(Position{evening.Add(39 * 60e9), at}.key()); err != nil {
				return err
			}
			return b.Put(Position{evening, at}.key(), nil)
		}, walk},
		{"another id", func(tx *bbolt.Tx) error { return tx.Bucket(inIDs).Put([]byte("note-0000040"), seqKey(at+1)) },
			func(j *Journal) error { _, _, err := j.Lookup("note-0000040"); return err }},
		{"a notice gone", func(tx *bbolt.Tx) error { return tx.Bucket(inNotices).Delete(seqKey(2)) },
			func(j *Journal) error { return j.Notices(0, func(notify.Notice) error { return nil }) }},
		{"a signal rotten", func(tx *bbolt.Tx) error { return tx.Bucket(inSignals).Put([]byte("north"), []byte("abcd")) },
			func(j *Journal) error { _, _, err := j.Signal("north"); return err }},
		{"an entry without its time", func(tx *bbolt.Tx) error {
			b := tx.Bucket(inEntries)
			e, err := maintenance.Decode(b.Get(seqKey(at)))
			if err != nil {
				return err
			}
			return b.Put(seqKey(at), maintenance.Encode(maintenance.Seal(e, at, time.Time{}, e.Prev)))
		}, func(j *Journal) error { _, err := j.SeqKnownBy(evening.Add(99 * time.Hour)); return err }},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := longer(t)
			tamper(t, path, c.change)
			j, err := Open(path)
			require.NoError(t, err)
			defer j.Close()
			require.ErrorIs(t, c.read(j), ErrDamaged)
			require.ErrorIs(t, j.Append(&Batch{Entries: continuing(j).notes(1)}), ErrDamaged)
		})
	}
}

// longer makes a journal of 100 entries.
func longer(t *testing.T) string {
	t.Helper()
	path := sample(t)
	j, err := Open(path)
	require.NoError(t, err)
	s := continuing(j)
	require.NoError(t, j.Append(&Batch{Entries: s.notes(90), Notices: []notify.Notice{notice(4)}}))
	require.NoError(t, j.Close())
	return path
}

func TestSpoiledTailIsFoundOnOpening(t *testing.T) {
	for name, change := range map[string]func(*bbolt.Tx) error{
		"edited": func(tx *bbolt.Tx) error {
			return tx.Bucket(inEntries).Put(seqKey(10), []byte("{}"))
		},
		"cut": func(tx *bbolt.Tx) error { return tx.Bucket(inEntries).Delete(seqKey(10)) },
		"moved": func(tx *bbolt.Tx) error {
			b := tx.Bucket(inEntries)
			if err := move(b, 10, 11); err != nil {
				return err
			}
			return b.Delete(seqKey(10))
		},
		"added": func(tx *bbolt.Tx) error {
			return tx.Bucket(inEntries).Put(seqKey(11), forged(11, maintenance.ZeroHash))
		},
		"forged": func(tx *bbolt.Tx) error {
			e, err := maintenance.Decode(tx.Bucket(inEntries).Get(seqKey(9)))
			if err != nil {
				return err
			}
			return tx.Bucket(inEntries).Put(seqKey(10), forged(10, e.Hash))
		},
		"another head": func(tx *bbolt.Tx) error {
			return tx.Bucket(inMeta).Put(keyHead, withSum(keyHead, head{link: link{9, maintenance.ZeroHash}, notices: 3, sources: 1}.encode()))
		},
		"rotten head": func(tx *bbolt.Tx) error { return tx.Bucket(inMeta).Put(keyHead, seqKey(9)) },
		"no head":     func(tx *bbolt.Tx) error { return tx.Bucket(inMeta).Delete(keyHead) },
		"no bucket":   func(tx *bbolt.Tx) error { return tx.DeleteBucket(inVoids) },
	} {
		t.Run(name, func(t *testing.T) {
			path := sample(t)
			tamper(t, path, change)
			_, err := Open(path)
			require.ErrorIs(t, err, ErrDamaged)
		})
	}
}
