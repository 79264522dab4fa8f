package journal

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"go.etcd.io/bbolt"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A walk reads so much in one transaction, copies it, and only then calls back: a slow
// callback holds up no writer.
const (
	chunkItems = 512
	chunkBytes = 1 << 20
)

// checkLine says whether a stored line is whole and that of the entry; it gives the hash
// of the one before.
func checkLine(line []byte, seq uint64) (prev string, err error) {
	const end = len(`","hash":"`) + 64 + len(`"}`)
	if len(line) < end+64 {
		return "", &Damage{Seq: seq, What: "the line is cut"}
	}
	prev = string(line[len(line)-end-64 : len(line)-end])
	if err := maintenance.CheckLine(line, prev); err != nil {
		return "", &Damage{Seq: seq, What: err.Error()}
	}
	begin := append(strconv.AppendUint([]byte(`{"seq":`), seq, 10), ',')
	if !bytes.HasPrefix(line, begin) {
		return "", &Damage{Seq: seq, What: "the line is that of another entry"}
	}
	return prev, nil
}

func decode(line []byte, seq uint64) (maintenance.Entry, error) {
	if _, err := checkLine(line, seq); err != nil {
		return maintenance.Entry{}, err
	}
	e, err := maintenance.Decode(line)
	if err != nil {
		return e, &Damage{Seq: seq, What: err.Error()}
	}
	return e, nil
}

// damage notes what a reader found outside of a transaction.
func (j *Journal) damage(err error) error {
	if errors.Is(err, ErrDamaged) {
		j.halt(err)
	}
	return err
}

// Lookup finds an entry by its id; false if it is not on record.
func (j *Journal) Lookup(id string) (maintenance.Entry, bool, error) {
	var seq uint64
	err := j.view(func(tx *bbolt.Tx) error {
		b, err := j.bucket(tx, inIDs)
		if err == nil {
			seq = seqOf(b.Get([]byte(id)))
		}
		return err
	})
	if err != nil || seq == 0 {
		return maintenance.Entry{}, false, err
	}
	e, ok, err := j.At(seq)
	if err == nil && ok && e.ID != id {
		err = j.damage(&Damage{Seq: seq, What: fmt.Sprintf("the index of ids takes it for %q", id)})
	}
	return e, ok, err
}

// At reads the entry of a number; false if there is none yet.
func (j *Journal) At(seq uint64) (maintenance.Entry, bool, error) {
	last, _ := j.Head()
	if seq == 0 || seq > last {
		return maintenance.Entry{}, false, nil
	}
	var line []byte
	err := j.view(func(tx *bbolt.Tx) (err error) {
		b, err := j.bucket(tx, inEntries)
		if err == nil {
			line, err = (&finder{c: b.Cursor()}).line(seq)
		}
		return err
	})
	if err != nil {
		return maintenance.Entry{}, false, err
	}
	e, err := decode(line, seq)
	return e, err == nil, j.damage(err)
}

// A finder finds lines, more quickly those that follow each other.
type finder struct {
	c    *bbolt.Cursor
	last uint64
}

func (f *finder) line(seq uint64) ([]byte, error) {
	var k, line []byte
	if f.last > 0 && seq == f.last+1 {
		k, line = f.c.Next()
	} else {
		k, line = f.c.Seek(seqKey(seq))
	}
	f.last = seq
	if seqOf(k) != seq {
		return nil, &Damage{Seq: seq, What: "it is missing"}
	}
	return bytes.Clone(line), nil
}

// Lines gives the stored lines after a number, in order of seq, to the head there was when
// it was called. The line is fn's to keep.
func (j *Journal) Lines(after uint64, fn func(seq uint64, line []byte) error) error {
	last, _ := j.Head()
	for after < last {
		lines, err := j.chunk(inEntries, after, last)
		if err != nil {
			return err
		}
		for _, line := range lines {
			after++
			if _, err := checkLine(line, after); err != nil {
				return j.damage(err)
			}
			if err := fn(after, line); err != nil {
				return unlessStop(err)
			}
		}
	}
	return nil
}

func unlessStop(err error) error {
	if errors.Is(err, ErrStop) {
		return nil
	}
	return err
}

// chunk copies values of a series, from after+1 to last at most; a gap is damage.
func (j *Journal) chunk(series []byte, after, last uint64) (values [][]byte, err error) {
	err = j.view(func(tx *bbolt.Tx) error {
		b, err := j.bucket(tx, series)
		if err != nil {
			return err
		}
		size, c := 0, b.Cursor()
		for k, v := c.Seek(seqKey(after + 1)); after < last && len(values) < chunkItems && size < chunkBytes; k, v = c.Next() {
			after++
			if seqOf(k) != after {
				return missing(series, after)
			}
			values = append(values, bytes.Clone(v))
			size += len(v)
		}
		return nil
	})
	return values, err
}

func missing(series []byte, seq uint64) error {
	if bytes.Equal(series, inEntries) {
		return &Damage{Seq: seq, What: "it is missing"}
	}
	return &Damage{What: fmt.Sprintf("%s: number %d is missing", series, seq)}
}

// InOrder gives the entries in the order in which they happened, from a position on, it
// included, as far as they were on record when it was called.
func (j *Journal) InOrder(from Position, fn func(maintenance.Entry) error) error {
	last, _ := j.Head()
	whole, n := from == Position{}, uint64(0)
	for next := from.key(); next != nil; {
		var c orderChunk
		var err error
		if c, next, err = j.orderChunk(next, last); err != nil {
			return err
		}
		entries, err := c.decode()
		if err != nil {
			return j.damage(err)
		}
		for _, e := range entries {
			if err := fn(e); err != nil {
				return unlessStop(err)
			}
		}
		n += uint64(len(entries))
	}
	if whole && n != last {
		return j.damage(&Damage{What: fmt.Sprintf("the index of times has %d entries of %d", n, last)})
	}
	return nil
}

// An orderChunk is keys of the order, and the lines that they stand for.
type orderChunk struct {
	keys, lines [][]byte
	seqs        []uint64
}

// orderChunk reads on from a key of the order; next is nil at the end.
func (j *Journal) orderChunk(from []byte, last uint64) (o orderChunk, next []byte, err error) {
	err = j.view(func(tx *bbolt.Tx) error {
		order, err := j.bucket(tx, inOrder)
		if err != nil {
			return err
		}
		entries, err := j.bucket(tx, inEntries)
		if err != nil {
			return err
		}
		find, size, c := finder{c: entries.Cursor()}, 0, order.Cursor()
		for k, _ := c.Seek(from); k != nil; k, _ = c.Next() {
			if len(o.seqs) == chunkItems || size >= chunkBytes {
				next = bytes.Clone(k)
				break
			}
			seq := seqOf(k[max(0, len(k)-8):])
			if seq > last {
				continue
			}
			line, err := find.line(seq)
			if err != nil {
				return err
			}
			o.keys, o.lines, o.seqs = append(o.keys, bytes.Clone(k)), append(o.lines, line), append(o.seqs, seq)
			size += len(line)
		}
		return nil
	})
	return o, next, err
}

func (o orderChunk) decode() ([]maintenance.Entry, error) {
	entries, err := decodeAll(o.seqs, o.lines)
	for i, e := range entries {
		if !bytes.Equal(Position{e.At, e.Seq}.key(), o.keys[i]) {
			return nil, &Damage{Seq: e.Seq, What: "it is not where the index of times has it"}
		}
	}
	return entries, err
}

// decodeAll shares the work among the processors: decoding is most of the cost of opening
// a book.
func decodeAll(seqs []uint64, lines [][]byte) ([]maintenance.Entry, error) {
	entries, errs := make([]maintenance.Entry, len(lines)), make([]error, len(lines))
	share := max(64, (len(lines)+runtime.GOMAXPROCS(0)-1)/runtime.GOMAXPROCS(0))
	var work sync.WaitGroup
	for from := 0; from < len(lines); from += share {
		work.Go(func() {
			for i := from; i < min(from+share, len(lines)); i++ {
				entries[i], errs[i] = decode(lines[i], seqs[i])
			}
		})
	}
	work.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return entries, nil
}

// VoidOf gives the entry that withdrew an entry.
func (j *Journal) VoidOf(seq uint64) (by uint64, ok bool) {
	j.mu.RLock()
	defer j.mu.RUnlock()
	by, ok = j.voids[seq]
	return by, ok
}

// Voids gives each withdrawn entry and what withdrew it, in order of the withdrawn.
func (j *Journal) Voids(fn func(target, by uint64) error) error {
	j.mu.RLock()
	voids := maps.Clone(j.voids)
	j.mu.RUnlock()
	for _, target := range slices.Sorted(maps.Keys(voids)) {
		if err := fn(target, voids[target]); err != nil {
			return unlessStop(err)
		}
	}
	return nil
}

// SeqKnownBy is the largest number such that its entry and all before it were recorded by
// t; 0 if the first was not. It reads from the beginning, since a clock that was set back
// leaves the times of recording in any order.
func (j *Journal) SeqKnownBy(t time.Time) (known uint64, err error) {
	err = j.Lines(0, func(seq uint64, line []byte) error {
		recorded, err := recordedOf(line)
		if err != nil {
			return j.damage(&Damage{Seq: seq, What: "it does not say when it was recorded"})
		}
		if recorded.After(t) {
			return ErrStop
		}
		known = seq
		return nil
	})
	return known, err
}

// recordedOf finds the time without decoding the line: inside a text its quotes would have
// backslashes before them.
func recordedOf(line []byte) (time.Time, error) {
	_, rest, _ := strings.Cut(string(line), `,"recorded":"`)
	value, _, _ := strings.Cut(rest, `"`)
	return time.Parse(time.RFC3339Nano, value)
}

// Notices gives the notices after a number, in order, to the last there was when it was
// called.
func (j *Journal) Notices(after uint64, fn func(notify.Notice) error) error {
	return j.noticesTo(after, j.newestNotice(), fn)
}

func (j *Journal) newestNotice() uint64 {
	j.mu.RLock()
	defer j.mu.RUnlock()
	return j.head.notices
}

func (j *Journal) noticesTo(after, last uint64, fn func(notify.Notice) error) error {
	for after < last {
		values, err := j.chunk(inNotices, after, last)
		if err != nil {
			return err
		}
		for _, value := range values {
			after++
			n, err := decodeNotice(seqKey(after), value)
			if err != nil {
				return j.damage(&Damage{What: err.Error()})
			}
			if err := fn(n); err != nil {
				return unlessStop(err)
			}
		}
	}
	return nil
}

// LastNotices gives the newest n notices, the oldest of them first.
func (j *Journal) LastNotices(n int) ([]notify.Notice, error) {
	var all []notify.Notice
	last := j.newestNotice()
	err := j.noticesTo(last-min(last, uint64(max(n, 0))), last, func(n notify.Notice) error {
		all = append(all, n)
		return nil
	})
	return all, err
}

// Signal gives the state last kept for a source; false if there is none.
func (j *Journal) Signal(source string) (state []byte, found bool, err error) {
	err = j.view(func(tx *bbolt.Tx) error {
		b, err := j.bucket(tx, inSignals)
		if err != nil {
			return err
		}
		stored := b.Get([]byte(source))
		if stored == nil {
			return nil
		}
		value, ok := withoutSum([]byte(source), stored)
		if !ok {
			return &Damage{What: fmt.Sprintf("the state of source %q is not what was written", source)}
		}
		state, found = bytes.Clone(value), true
		return nil
	})
	return state, found, err
}
