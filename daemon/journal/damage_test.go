package journal

import (
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// everything reads all that a journal holds, in a form that can be compared. A checkpoint
// is only a cache: it may be missing, but not be another.
func everything(j *Journal) (all []string, err error) {
	add := func(format string, args ...any) error {
		all = append(all, fmt.Sprintf(format, args...))
		return nil
	}
	_ = add("%s %v", j.ID(), func() uint64 { seq, _ := j.Head(); return seq }())
	var ids []string
	err = j.InOrder(Position{}, func(e maintenance.Entry) error {
		ids = append(ids, e.ID)
		return add("%s", maintenance.Encode(e))
	})
	for _, id := range ids {
		if err == nil {
			var e maintenance.Entry
			var ok bool
			e, ok, err = j.Lookup(id)
			_ = add("%s %v %d", id, ok, e.Seq)
		}
	}
	if err == nil {
		err = j.Lines(0, func(seq uint64, line []byte) error { return add("%d %s", seq, line) })
	}
	if err == nil {
		err = j.Notices(0, func(n notify.Notice) error { return add("%v", n.Key) })
	}
	if err == nil {
		err = j.Voids(func(target, by uint64) error { return add("%d %d", target, by) })
	}
	if err == nil {
		var state []byte
		state, _, err = j.Signal("north")
		_ = add("%s", state)
	}
	if err == nil {
		var c Checkpoint
		var ok bool
		if c, ok, err = j.Checkpoint(); ok && string(c.Blob) != "derived" {
			_ = add("another checkpoint")
		}
	}
	return all, err
}

// wholeOrDamaged opens a spoiled file: either it says that it is damaged, or it holds what
// it held.
func wholeOrDamaged(t *testing.T, open func(string) (*Journal, error), path string, want []string) (whole bool) {
	t.Helper()
	j, err := open(path)
	if err != nil {
		require.ErrorIs(t, err, ErrDamaged)
		return false
	}
	defer func() { require.NoError(t, j.Close()) }()
	_, broken := j.Verify(t.Context(), nil)
	if broken != nil {
		require.ErrorIs(t, broken, ErrDamaged)
	}
	got, err := everything(j)
	if err != nil {
		require.ErrorIs(t, err, ErrDamaged)
		require.Error(t, broken, "Verify has missed: %v", err)
	}
	if broken == nil {
		require.Empty(t, cmp.Diff(want, got))
		return true
	}
	require.ErrorIs(t, j.Append(&Batch{Entries: continuing(j).notes(1)}), j.why(), "a damaged journal is not written")
	return false
}

func contents(t *testing.T, path string) []string {
	t.Helper()
	j, err := OpenReadOnly(path)
	require.NoError(t, err)
	all, err := everything(j)
	require.NoError(t, err)
	require.NoError(t, j.Close())
	return all
}

// compacted copies only the pages in use.
func compacted(t *testing.T, path string) string {
	t.Helper()
	j := opened(t, path)
	to := filepath.Join(t.TempDir(), "small.db")
	require.NoError(t, j.Backup(t.Context(), to))
	return to
}

func TestFlippedBytes(t *testing.T) {
	t.Parallel()
	path := compacted(t, sample(t))
	want := contents(t, path)
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	defer file.Close()
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	seed := rand.Uint64()
	t.Logf("seed %d, %d bytes", seed, len(content))
	random := rand.New(rand.NewPCG(seed, 0))

	damaged, step := 0, max(1, 20/rounds(t, 1))
	for at := random.IntN(step); at < len(content); at += 1 + random.IntN(2*step-1) {
		flipped := []byte{content[at] ^ 1<<random.IntN(8)}
		_, err := file.WriteAt(flipped, int64(at))
		require.NoError(t, err)
		open := OpenReadOnly
		if random.IntN(8) == 0 {
			open = Open
		}
		if !wholeOrDamaged(t, open, path, want) {
			damaged++
		}
		_, err = file.WriteAt(content[at:at+1], int64(at))
		require.NoError(t, err)
	}
	require.Greater(t, damaged, 30)
	require.True(t, wholeOrDamaged(t, OpenReadOnly, path, want))
}

func TestCutFiles(t *testing.T) {
	t.Parallel()
	path := compacted(t, sample(t))
	want := contents(t, path)
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	for size := 0; size < len(content); size += 997 {
		require.NoError(t, os.Truncate(path, int64(size)))
		require.False(t, wholeOrDamaged(t, Open, path, want), "%d bytes", size)
		if size > 2*pageSize {
			_, err = Open(path)
			require.ErrorContains(t, err, "the file is cut")
		}
		require.False(t, wholeOrDamaged(t, OpenReadOnly, path, want), "%d bytes", size)
		require.NoError(t, os.WriteFile(path, content, 0o600))
	}
}

func TestZeroedPages(t *testing.T) {
	path := compacted(t, sample(t))
	want := contents(t, path)
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	for at := 0; at < len(content); at += pageSize {
		spoiled := append([]byte(nil), content...)
		clear(spoiled[at : at+pageSize])
		require.NoError(t, os.WriteFile(path, spoiled, 0o600))
		wholeOrDamaged(t, Open, path, want)
		wholeOrDamaged(t, OpenReadOnly, path, want)
	}
}

func TestEmptyFileIsNotTakenForAJournal(t *testing.T) {
	path := filepath.Join(t.TempDir(), "book.db")
	require.NoError(t, os.WriteFile(path, nil, 0o600))
	for _, open := range []func(string) (*Journal, error){Open, OpenReadOnly} {
		_, err := open(path)
		require.ErrorIs(t, err, ErrDamaged)
		require.ErrorContains(t, err, "the file is empty; restore a backup, or move it away to begin a new journal")
	}
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Zero(t, info.Size(), "and is left as it is")
}

func TestNewerFormatIsRefusedUntouched(t *testing.T) {
	path := sample(t)
	tamper(t, path, func(tx *bbolt.Tx) error {
		return tx.Bucket(inMeta).Put(keyFormat, withSum(keyFormat, binary.BigEndian.AppendUint32(nil, 2)))
	})
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	_, err = Open(path)
	require.ErrorIs(t, err, ErrNewer)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before, after)
}

// Of a file with one bad bucket the rest can be read, but not written.
func TestWhatIsWholeCanBeRead(t *testing.T) {
	path := longer(t)
	spoilRoot(t, path, "order")
	_, err := Open(path)
	require.ErrorIs(t, err, ErrDamaged)

	j, err := OpenReadOnly(path)
	require.NoError(t, err)
	defer j.Close()
	require.Len(t, export(t, j), 100)
	require.ErrorIs(t, j.InOrder(Position{}, nil), ErrDamaged)
	_, err = j.Verify(t.Context(), nil)
	require.ErrorContains(t, err, "order: ")
	require.ErrorIs(t, j.Backup(t.Context(), path+".copy"), ErrDamaged)
	require.NoFileExists(t, path+".copy")
}

// spoilRoot makes the first page of a bucket point to itself.
func spoilRoot(t *testing.T, path, bucket string) {
	t.Helper()
	var root uint64
	db, err := bbolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.View(func(tx *bbolt.Tx) error {
		root = uint64(tx.Bucket([]byte(bucket)).Root())
		return nil
	}))
	require.NoError(t, db.Close())
	require.NotZero(t, root, "the bucket has a page of its own")
	page := make([]byte, pageSize)
	native.PutUint64(page, root)
	native.PutUint16(page[8:], pageBranch)
	native.PutUint16(page[10:], 1)
	native.PutUint32(page[16:], 16)
	native.PutUint64(page[24:], root)
	writeAt(t, path, page, int64(root*pageSize))
}

func writeAt(t *testing.T, path string, b []byte, at int64) {
	t.Helper()
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	_, err = file.WriteAt(b, at)
	require.NoError(t, err)
	require.NoError(t, file.Close())
}

// With the newer head page gone, bbolt would silently go back to the older one, and an
// acknowledged entry would be missing.
func TestOneBadHeadPageIsDamage(t *testing.T) {
	path := sample(t)
	j, err := Open(path)
	require.NoError(t, err)
	appended(t, j, continuing(j).note())
	require.NoError(t, j.Close())
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	newest := readMetas(file).txid % 2
	writeAt(t, path, []byte{0xFF}, int64(newest*pageSize)+16+50)

	_, err = Open(path)
	require.ErrorIs(t, err, ErrDamaged)
	require.ErrorContains(t, err, "one of the two head pages is bad")
	j, err = OpenReadOnly(path)
	require.NoError(t, err)
	defer j.Close()
	require.Len(t, export(t, j), 10)
	_, err = j.Verify(t.Context(), nil)
	require.ErrorContains(t, err, "the newest entries may be missing")
}

// page makes a leaf page of one-letter keys without values.
func page(keys string) []byte {
	b := make([]byte, pageSize)
	native.PutUint64(b, 7)
	native.PutUint16(b[8:], pageLeaf)
	native.PutUint16(b[10:], uint16(len(keys)))
	for i, key := range []byte(keys) {
		at, to := 16+16*i, 1000+i
		native.PutUint32(b[at+4:], uint32(to-at))
		native.PutUint32(b[at+8:], 1)
		b[to] = key
	}
	return b
}

// A search goes where the keys point: out of order, it would miss what is there.
func TestKeysMustRiseWithinTheirBounds(t *testing.T) {
	for _, c := range []struct{ keys, low, high, says string }{
		{"bcd", "b", "e", ""},
		{"bcd", "", "", ""},
		{"cbd", "", "", "out of order"},
		{"bbd", "", "", "out of order"},
		{"bcd", "c", "", "out of order"},
		{"bcd", "", "d", "out of order"},
	} {
		var high []byte
		if c.high != "" {
			high = []byte(c.high)
		}
		all, branch, err := cells(page(c.keys), []byte(c.low), high, nil)
		if c.says != "" {
			require.ErrorContains(t, err, c.says)
			continue
		}
		require.NoError(t, err)
		require.False(t, branch)
		require.Len(t, all, len(c.keys))
		require.Equal(t, "c", string(all[1].key))
	}
	b := page("bc")
	native.PutUint32(b[16+12:], pageSize)
	_, _, err := cells(b, nil, nil, nil)
	require.ErrorContains(t, err, "points outside itself")
	native.PutUint16(b[10:], pageSize)
	_, _, err = cells(b, nil, nil, nil)
	require.ErrorContains(t, err, "has no meaning")
}

// The list of free pages names pages that will be written over: one in use among them
// would be lost with the next entry.
func TestFreeListOfUsedPagesIsFound(t *testing.T) {
	path := compacted(t, longer(t))
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	m := readMetas(file)
	list := make([]byte, 32)
	native.PutUint64(list, m.freelist)
	native.PutUint16(list[8:], pageFreelist)
	native.PutUint16(list[10:], 1)
	native.PutUint64(list[16:], m.root)
	writeAt(t, path, list, int64(m.freelist*m.pageSize))
	_, err = Open(path)
	require.ErrorIs(t, err, ErrDamaged)
	require.ErrorContains(t, err, "used twice")

	for name, count := range map[string]uint16{"long": 600, "longer than all memory": 0xFFFF} {
		native.PutUint16(list[10:], count)
		native.PutUint64(list[16:], 1<<60)
		writeAt(t, path, list, int64(m.freelist*m.pageSize))
		_, err = Open(path)
		require.ErrorContains(t, err, "longer than its page", name)
	}
}

// A page that rots while the journal is open ends in an error and in no more writing.
func TestRotUnderARunningJournal(t *testing.T) {
	path := longer(t)
	j := opened(t, path)
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	defer file.Close()
	info, err := file.Stat()
	require.NoError(t, err)
	require.NoError(t, file.Truncate(2*pageSize))
	_, _, err = j.Lookup("note-0000003")
	require.ErrorIs(t, err, ErrDamaged, "a memory fault, and no crash")
	require.ErrorIs(t, j.Append(&Batch{Entries: continuing(j).notes(1)}), ErrDamaged)
	require.NoError(t, file.Truncate(info.Size()))
	_, err = j.Verify(t.Context(), nil)
	require.ErrorIs(t, err, ErrDamaged)
	require.ErrorIs(t, j.Reopen(), ErrDamaged)
	_, _, err = j.Lookup("note-0000003")
	require.ErrorIs(t, err, ErrDamaged)
}

// bbolt panics in the middle of a commit when its own list of free pages has rotted, and
// never unlocks: closing must not wait for that.
func TestPanicInCommit(t *testing.T) {
	path := longer(t)
	j, err := Open(path)
	require.NoError(t, err)
	s := continuing(j)
	appended(t, j, s.notes(1)...)
	appended(t, j, s.notes(1)...)
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	m := readMetas(file)
	overflow := make([]byte, 4)
	native.PutUint32(overflow, 1<<20)
	writeAt(t, path, overflow, int64(m.freelist*m.pageSize)+12)

	err = j.Append(&Batch{Entries: s.notes(1)})
	require.ErrorIs(t, err, ErrUnknown)
	require.ErrorIs(t, err, ErrDamaged)
	require.Len(t, export(t, j), 102, "what is whole is read")
	require.ErrorIs(t, j.Reopen(), ErrDamaged)
	require.NoError(t, j.Close())
	again, err := OpenReadOnly(path)
	require.NoError(t, err, "and the lock is free")
	require.Len(t, export(t, again), 102)
	require.NoError(t, again.Close())
}
