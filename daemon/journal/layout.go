package journal

// The layout of a journal file, format 1. It stands here and nowhere else.
//
// The file is a bbolt database of 4096-byte pages with these buckets:
//
//	meta        "format" → sum, 4 bytes; "id" → sum, the installation id;
//	            "head" → sum, seq and hash of the newest entry, seq of the newest notice,
//	            and, 8 bytes, of how many sources there is a signal
//	entries     seq → the entry's line, the very bytes of an export, without newline
//	ids         id of an entry → seq
//	order       at, seq → nothing
//	voids       seq of the entry withdrawn → seq of the first void that did it
//	notices     seq → sum, the notice as JSON
//	signals     source → sum, the detector's state as its owner wrote it
//	checkpoint  "newest" → sum, seq, hash of that entry, blob; a cache
//	calendar    id of an action → sum, the calendar's record as its owner wrote it; it is
//	            made when first needed, so that older files and programs do without
//
// seq has 8 bytes, big-endian, and counts entries and notices apart, each 1, 2, 3, …
// without gaps. A hash is 32 bytes. at is the Unix second plus 2^63, 8 bytes big-endian,
// so that bytes sort as time does, then the nanosecond, 4 bytes. sum is the CRC-32C of key
// and value, for what carries no hash of its own: the store has no checksum on its pages.
//
// Entries and notices are only ever added. One Append is one transaction: after a crash
// all of it is there or none.

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"time"

	"github.com/go-json-experiment/json"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

const (
	format   = 1
	pageSize = 4096
)

var (
	inMeta       = []byte("meta")
	inEntries    = []byte("entries")
	inIDs        = []byte("ids")
	inOrder      = []byte("order")
	inVoids      = []byte("voids")
	inNotices    = []byte("notices")
	inSignals    = []byte("signals")
	inCheckpoint = []byte("checkpoint")
	inCalendar   = []byte("calendar")

	buckets = [][]byte{inMeta, inEntries, inIDs, inOrder, inVoids, inNotices, inSignals, inCheckpoint}

	keyFormat = []byte("format")
	keyID     = []byte("id")
	keyHead   = []byte("head")
	keyNewest = []byte("newest")
)

// A Position is a place in the order in which entries happened: by At, ties by Seq.
type Position struct {
	At  time.Time
	Seq uint64
}

func (p Position) key() []byte {
	b := binary.BigEndian.AppendUint64(make([]byte, 0, 20), uint64(p.At.Unix())^1<<63)
	b = binary.BigEndian.AppendUint32(b, uint32(p.At.Nanosecond()))
	return binary.BigEndian.AppendUint64(b, p.Seq)
}

func seqKey(seq uint64) []byte { return binary.BigEndian.AppendUint64(nil, seq) }

// seqOf reads a sequence number; one of the wrong length is none.
func seqOf(b []byte) uint64 {
	if len(b) != 8 {
		return 0
	}
	return binary.BigEndian.Uint64(b)
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func sumOf(key, value []byte) uint32 {
	return crc32.Update(crc32.Checksum(key, castagnoli), castagnoli, value)
}

func withSum(key, value []byte) []byte {
	return append(binary.BigEndian.AppendUint32(make([]byte, 0, 4+len(value)), sumOf(key, value)), value...)
}

// withoutSum gives the value if its sum is right. It is not a copy.
func withoutSum(key, stored []byte) ([]byte, bool) {
	if len(stored) < 4 || binary.BigEndian.Uint32(stored) != sumOf(key, stored[4:]) {
		return nil, false
	}
	return stored[4:], true
}

// A link is an entry's number and hash, by which the chain is continued.
type link struct {
	seq  uint64
	hash string
}

func (l link) encode() []byte {
	sum, err := hex.DecodeString(l.hash)
	if err != nil || len(sum) != 32 {
		panic("journal: a hash that is none: " + l.hash)
	}
	return append(seqKey(l.seq), sum...)
}

func decodeLink(b []byte) link {
	return link{seqOf(b[:8]), hex.EncodeToString(b[8:40])}
}

// A head says where everything ends: what is lost at an end would else not be missed.
type head struct {
	link
	notices, sources uint64
}

func (h head) encode() []byte {
	return append(append(h.link.encode(), seqKey(h.notices)...), seqKey(h.sources)...)
}

func decodeHead(b []byte) (head, bool) {
	if len(b) != 56 {
		return head{}, false
	}
	return head{decodeLink(b), seqOf(b[40:48]), seqOf(b[48:])}, true
}

func encodeNotice(n notify.Notice) ([]byte, error) {
	b, err := json.Marshal(n)
	if err != nil {
		return nil, fmt.Errorf("encode notice %s: %w", n.Key.Action, err)
	}
	if len(b) > maintenance.MaxLine {
		return nil, fmt.Errorf("encode notice %s: more than %d bytes", n.Key.Action, maintenance.MaxLine)
	}
	return withSum(seqKey(n.Seq), b), nil
}

func decodeNotice(key, stored []byte) (notify.Notice, error) {
	var n notify.Notice
	value, ok := withoutSum(key, stored)
	if !ok {
		return n, fmt.Errorf("notice %d is not what was written", seqOf(key))
	}
	if err := json.Unmarshal(value, &n, json.RejectUnknownMembers(true)); err != nil {
		return n, fmt.Errorf("notice %d: %w", seqOf(key), err)
	}
	if n.Seq != seqOf(key) {
		return n, fmt.Errorf("notice %d says that it is %d", seqOf(key), n.Seq)
	}
	return n, nil
}
