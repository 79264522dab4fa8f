package journal

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"os"
	"slices"
)

// bbolt trusts its file: a page that points to itself makes it recurse until the stack is
// full, a page cut off raises SIGBUS, a count in the list of free pages can ask for all
// memory. None of these can be recovered. So the pages are walked here first, by plain
// reads: after a clean inspect nothing that bbolt follows leads astray.

const (
	pageBranch   = 0x01
	pageLeaf     = 0x02
	pageFreelist = 0x10
	cellBucket   = 0x01
	boltMagic    = 0xED0CDAED
	boltVersion  = 2
)

var native = binary.NativeEndian // as bbolt writes

type meta struct {
	pageSize             uint64
	root, freelist       uint64
	pages                uint64 // in use; the file may be longer
	txid                 uint64
	errZero, errOne, err error // of the first meta page, the second, and if both are bad
}

// flaws are what inspect found wrong: by bucket, under "" for the file as a whole.
type flaws map[string]error

func (f flaws) first() error {
	if err := f[""]; err != nil {
		return err
	}
	for _, name := range append(buckets[:len(buckets):len(buckets)], inCalendar) {
		if err := f[string(name)]; err != nil {
			return err
		}
	}
	return nil
}

// inspect walks every page in use. Its error says that nothing can be read safely; with
// flaws, reading is safe but in the buckets named.
func inspect(file *os.File) (flaws, error) {
	info, err := file.Stat()
	if err != nil {
		return nil, err
	}
	if info.Size() == 0 {
		return nil, &Damage{What: "the file is empty; restore a backup, or move it away to begin a new journal"}
	}
	m := readMetas(file)
	if m.err != nil {
		return nil, m.err
	}
	found := flaws{}
	if m.errZero != nil || m.errOne != nil {
		found[""] = &Damage{What: "one of the two head pages is bad, the newest entries may be missing; restore a backup"}
	}
	if m.pages*m.pageSize > uint64(info.Size()) {
		found[""] = &Damage{What: fmt.Sprintf("the file is cut: it has %d bytes of %d; restore a backup", info.Size(), m.pages*m.pageSize)}
	}
	// Cut or not, no page beyond the end can be in use.
	m.pages = min(m.pages, uint64(info.Size())/m.pageSize)
	w := &walker{file: file, meta: m, met: make([]bool, m.pages)}
	if err := w.free(); found[""] == nil && err != nil {
		found[""] = err
	}
	var root []cell
	err = w.tree(m.root, nil, nil, func(c cell) error {
		root = append(root, cell{key: bytes.Clone(c.key), value: bytes.Clone(c.value), flags: c.flags})
		return nil
	})
	for i := 0; i < len(root) && err == nil; i++ {
		err = w.bucket(root[i], found)
	}
	if err != nil && found[""] != nil {
		err = found[""] // the reason
	}
	return found, err
}

func readMetas(file io.ReaderAt) meta {
	zero, errZero := readMeta(file, 0)
	second := int64(pageSize)
	if errZero == nil {
		second = int64(zero.pageSize)
	}
	one, errOne := readMeta(file, second)
	m := zero
	if errZero != nil || errOne == nil && one.txid > zero.txid {
		m = one
	}
	m.errZero, m.errOne = errZero, errOne
	if errZero != nil && errOne != nil {
		m.err = errZero
		if errors.Is(errOne, ErrNewer) {
			m.err = errOne
		}
	}
	return m
}

func readMeta(file io.ReaderAt, at int64) (meta, error) {
	b := make([]byte, 64)
	if _, err := file.ReadAt(b, at+16); err != nil {
		return meta{}, &Damage{What: "the file is too short for a journal; restore a backup"}
	}
	sum := fnv.New64a()
	sum.Write(b[:56])
	if native.Uint32(b) != boltMagic || native.Uint64(b[56:]) != sum.Sum64() {
		return meta{}, &Damage{What: "the file does not begin like a journal; restore a backup"}
	}
	if v := native.Uint32(b[4:]); v != boltVersion {
		return meta{}, fmt.Errorf("%w: store version %d", ErrNewer, v)
	}
	m := meta{
		pageSize: uint64(native.Uint32(b[8:])), root: native.Uint64(b[16:]),
		freelist: native.Uint64(b[32:]), pages: native.Uint64(b[40:]), txid: native.Uint64(b[48:]),
	}
	if m.pageSize < 1024 || m.pageSize > 1<<24 || m.pages > 1<<40/m.pageSize {
		return meta{}, &Damage{What: "the file's sizes cannot be; restore a backup"}
	}
	return m, nil
}

type walker struct {
	file io.ReaderAt
	meta
	met   []bool // pages seen in use or free: none may be both, or twice
	ahead []byte // what was read last, and where it lies in the file
	at    uint64
	cells []cell // of the last leaf
}

// readAhead is one read of the file: pages that follow each other are often asked for so.
const readAhead = 32 << 10

func (w *walker) meet(id uint64) error {
	if id < 2 || id >= uint64(len(w.met)) {
		return &Damage{What: fmt.Sprintf("page %d is not in the file", id)}
	}
	if w.met[id] {
		return &Damage{What: fmt.Sprintf("page %d is used twice", id)}
	}
	w.met[id] = true
	return nil
}

// page reads a page with all that overflows from it. It is good until the next is read.
func (w *walker) page(id uint64) ([]byte, error) {
	if err := w.meet(id); err != nil {
		return nil, err
	}
	b, err := w.read(id, 1)
	if err != nil {
		return nil, err
	}
	if native.Uint64(b) != id {
		return nil, &Damage{What: fmt.Sprintf("page %d is another", id)}
	}
	more := uint64(native.Uint32(b[12:]))
	for i := range more {
		if err := w.meet(id + 1 + i); err != nil {
			return nil, err
		}
	}
	return w.read(id, 1+more)
}

func (w *walker) read(id, pages uint64) ([]byte, error) {
	from, size := id*w.pageSize, pages*w.pageSize
	if from < w.at || from+size > w.at+uint64(len(w.ahead)) {
		b := w.ahead[:0]
		if want := max(size, readAhead); uint64(cap(b)) < want {
			b = make([]byte, want)
		}
		n, err := w.file.ReadAt(b[:cap(b)], int64(from))
		if uint64(n) < size {
			return nil, fmt.Errorf("read page %d: %w", id, err)
		}
		w.ahead, w.at = b[:n], from
	}
	return w.ahead[from-w.at:][:size], nil
}

// free walks the list of free pages, which bbolt will write over.
func (w *walker) free() error {
	b, err := w.page(w.freelist)
	if err != nil {
		return err
	}
	if native.Uint16(b[8:]) != pageFreelist {
		return &Damage{What: fmt.Sprintf("page %d is not the list of free pages", w.freelist)}
	}
	n, at := uint64(native.Uint16(b[10:])), uint64(16)
	if n == 0xFFFF {
		n, at = native.Uint64(b[16:]), 24
	}
	if n > (uint64(len(b))-at)/8 {
		return &Damage{What: "the list of free pages is longer than its page"}
	}
	for i := range n {
		if err := w.meet(native.Uint64(b[at+8*i:])); err != nil {
			return err
		}
	}
	return nil
}

type cell struct {
	key, value []byte
	flags      uint32
	child      uint64 // of a branch
}

// cells takes a page apart, into room if there is enough; keys must rise and lie in
// [low, high), where nil is unbounded.
func cells(b, low, high []byte, room []cell) (all []cell, branch bool, err error) {
	if len(b) < 16 {
		return nil, false, &Damage{What: "a page is too short"}
	}
	id, flags, n := native.Uint64(b), native.Uint16(b[8:]), int(native.Uint16(b[10:]))
	branch = flags == pageBranch
	if flags != pageLeaf && (!branch || n == 0) || 16+16*n > len(b) {
		return nil, false, &Damage{What: fmt.Sprintf("page %d has no meaning", id)}
	}
	all = slices.Grow(room[:0], n)[:n]
	for i := range all {
		c, ok := cellAt(b, 16+16*i, branch)
		if !ok {
			return nil, false, &Damage{What: fmt.Sprintf("page %d points outside itself", id)}
		}
		if bytes.Compare(c.key, low) < 0 || i > 0 && bytes.Equal(c.key, low) || high != nil && bytes.Compare(c.key, high) >= 0 {
			return nil, false, &Damage{What: fmt.Sprintf("page %d is out of order", id)}
		}
		all[i], low = c, c.key
	}
	return all, branch, nil
}

func cellAt(b []byte, at int, branch bool) (c cell, ok bool) {
	e, rest := b[at:], uint64(len(b)-at)
	var pos, keySize, valueSize uint64
	if branch {
		pos, keySize, c.child = uint64(native.Uint32(e)), uint64(native.Uint32(e[4:])), native.Uint64(e[8:])
	} else {
		c.flags, pos = native.Uint32(e), uint64(native.Uint32(e[4:]))
		keySize, valueSize = uint64(native.Uint32(e[8:])), uint64(native.Uint32(e[12:]))
	}
	if pos+keySize+valueSize > rest {
		return c, false
	}
	c.key, c.value = e[pos:pos+keySize], e[pos+keySize:pos+keySize+valueSize]
	return c, true
}

// tree walks a bucket's pages and gives each leaf cell, good for that call.
func (w *walker) tree(id uint64, low, high []byte, each func(cell) error) error {
	b, err := w.page(id)
	if err != nil {
		return err
	}
	room := w.cells
	if native.Uint16(b[8:]) == pageBranch {
		b, room = bytes.Clone(b), nil // the pages below will be read over it
	}
	all, branch, err := cells(b, low, high, room)
	if err != nil {
		return err
	}
	if branch {
		return w.below(all, high, each)
	}
	w.cells = all
	for _, c := range all {
		if err := each(c); err != nil {
			return err
		}
	}
	return nil
}

func (w *walker) below(branch []cell, high []byte, each func(cell) error) error {
	for i, c := range branch {
		end := high
		if i+1 < len(branch) {
			end = branch[i+1].key
		}
		if err := w.tree(c.child, c.key, end, each); err != nil {
			return err
		}
	}
	return nil
}

// bucket walks one bucket named in the root and notes what is wrong with it. A small
// bucket lies inside the root's own page.
func (w *walker) bucket(c cell, found flaws) error {
	if c.flags != cellBucket || len(c.value) < 16 {
		return &Damage{What: "something in the root is not a bucket"}
	}
	plain := func(c cell) error {
		if c.flags != 0 {
			return &Damage{What: "a bucket lies inside a bucket"}
		}
		return nil
	}
	name, err := string(c.key), error(nil)
	if root := native.Uint64(c.value); root != 0 {
		err = w.tree(root, nil, nil, plain)
	} else {
		err = inline(c.value[16:], plain)
	}
	if err != nil {
		found[name] = fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

func inline(b []byte, each func(cell) error) error {
	all, branch, err := cells(b, nil, nil, nil)
	if err != nil {
		return err
	}
	if branch {
		return &Damage{What: "a bucket is cut"}
	}
	for _, c := range all {
		if err := each(c); err != nil {
			return err
		}
	}
	return nil
}
