// Package journal keeps the book's two append-only series on disk: the entries, chained by
// their hashes, and the notices of reminders; and beside them the detectors' state, the calendar's
// records and one checkpoint, a cache.
//
// What Append has acknowledged is synced: neither a kill, a power cut nor a full disk
// takes it away, and a batch is there whole or not at all. One process holds the file. A
// damaged file is refused or, where only a part is damaged, read but not written; nothing
// is repaired silently. It assumes a disk that does what a sync says, and writes a sector
// of 512 bytes whole or not at all. It does not keep the machine's root from rewriting
// file and hashes alike: whoever fears that keeps a head's hash elsewhere.
//
// Callbacks run outside of transactions and may call the journal again. Nothing here reads
// the clock.
package journal

import (
	"errors"
	"fmt"
	"math/bits"
	"os"
	"runtime/debug"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"
)

// On opening.
var (
	ErrLocked = errors.New("the journal is held by another process")
	ErrNewer  = errors.New("the journal was written by a newer version of this program")
)

// On opening and reading. A *Damage says what and where.
var ErrDamaged = errors.New("the journal is damaged")

// On writing. ErrFull: nothing was written, for want of space or of the right to write;
// writing goes on by itself once there is some. ErrUnknown: it may have been written or
// not, and nothing more is until Reopen.
var (
	ErrFull    = errors.New("no room to write")
	ErrUnknown = errors.New("it is unknown whether this was written")
)

// ErrStop, returned by a callback, ends the walk without an error.
var ErrStop = errors.New("stop")

// Damage is what is wrong with a journal: at an entry, or with the file if Seq is 0. It
// is an ErrDamaged.
type Damage struct {
	Seq  uint64
	What string
}

// Error says what and where.
func (d *Damage) Error() string {
	if d.Seq > 0 {
		return fmt.Sprintf("%v at entry %d: %s", ErrDamaged, d.Seq, d.What)
	}
	return fmt.Sprintf("%v: %s", ErrDamaged, d.What)
}

// Unwrap makes it an ErrDamaged.
func (d *Damage) Unwrap() error { return ErrDamaged }

// A Journal is an open journal file. Its methods may be called at once.
type Journal struct {
	path     string
	readOnly bool

	writing sync.Mutex // one writer at a time; taken before the others

	life   sync.RWMutex // held for reading while db is used, for writing while it is replaced
	db     *bbolt.DB    // nil when closed or not to be opened again
	file   *os.File     // db's
	broken bool         // bbolt has panicked in mid-commit and would never unlock
	uses   atomic.Uint32
	flaws  flaws // of a file opened read-only

	mu     sync.RWMutex // guards what is known of the file; never held while reading it
	id     string
	head   head
	voids  map[uint64]uint64
	txid   int   // of the last commit known to be safe
	seen   int   // and of the one found on opening
	halted error // why nothing more is written
}

// Open opens a journal for reading and writing, and makes one where there is no file; the
// folder has to be there. It fails with ErrLocked after a second if another process holds
// it, with ErrDamaged or ErrNewer on a file that it leaves untouched.
func Open(path string) (*Journal, error) {
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		if err := create(path); err != nil {
			return nil, fmt.Errorf("create journal %s: %w", path, err)
		}
	}
	return open(path, false)
}

// OpenReadOnly opens a journal for reading only, also on a file system that cannot be
// written. Of a damaged file it reads what is whole; Verify says what is not.
func OpenReadOnly(path string) (*Journal, error) { return open(path, true) }

func open(path string, readOnly bool) (*Journal, error) {
	j := &Journal{path: path, readOnly: readOnly}
	if err := j.load(); err != nil {
		j.unload()
		return nil, fmt.Errorf("open journal %s: %w", path, err)
	}
	j.txid = j.seen
	if readOnly {
		j.halted = fmt.Errorf("journal %s: %w", path, berrors.ErrDatabaseReadOnly)
	}
	return j, nil
}

// Close waits for reads and writes under way. Closing twice is no error.
func (j *Journal) Close() error {
	j.writing.Lock()
	defer j.writing.Unlock()
	j.halt(fmt.Errorf("journal %s: %w", j.path, os.ErrClosed))
	j.life.Lock()
	defer j.life.Unlock()
	return j.unload()
}

// Reopen closes the file, opens it again and verifies its tail: the only way to write
// again after ErrUnknown. Read Head afterwards: what was unknown may be there. It does not
// help a journal that is closed, read-only or damaged.
func (j *Journal) Reopen() error {
	j.writing.Lock()
	defer j.writing.Unlock()
	if why := j.why(); why != nil && !errors.Is(why, ErrUnknown) {
		return why
	}
	return j.reopen()
}

func (j *Journal) reopen() error {
	if err := j.reload(); err != nil {
		return fmt.Errorf("reopen journal %s: %w", j.path, err)
	}
	if j.seen != j.txid {
		// The commit in doubt is there, but of its last page nobody knows whether it is
		// on the disk, and syncing that page again would prove nothing. The next commit
		// writes and syncs another page that vouches for the same data.
		if _, _, err := j.update(func(*bbolt.Tx) error { return nil }); err != nil {
			j.halt(fmt.Errorf("%w: %w", ErrUnknown, err))
			return fmt.Errorf("reopen journal %s: %w", j.path, err)
		}
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	j.halted = nil
	return nil
}

func (j *Journal) reload() error {
	j.life.Lock()
	defer j.life.Unlock()
	// Whatever closing says, the file is opened anew and looked at.
	_ = j.unload()
	err := j.load()
	if err != nil {
		_ = j.unload()
		j.halt(fmt.Errorf("%w: %w", ErrUnknown, err))
	}
	return err
}

// unload and load are called with life held, or before anyone else knows the journal.
func (j *Journal) unload() error {
	db := j.db
	j.db = nil
	if db == nil {
		return nil
	}
	if j.broken {
		j.broken = false
		return release(j.file) // the map stays behind
	}
	return db.Close()
}

func (j *Journal) load() error {
	j.file = nil
	if err := guard(j.openFile); err != nil {
		if j.file != nil {
			_ = release(j.file) // closed already, unless bbolt has panicked
		}
		return err
	}
	if !j.readOnly {
		// Killed between writing and syncing, the process before us left entries that can
		// be read but are not yet safe. From here on they will be taken for acknowledged.
		if err := j.file.Sync(); err != nil {
			return err
		}
	}
	return guard(func() error { return j.db.View(j.learn) })
}

// mapSize is address space, not memory: while the file is smaller, it need not be mapped
// again, for which a writer would wait until the last reader is done.
const mapSize = 16 << 20 << (2 * (bits.UintSize / 64))

func (j *Journal) openFile() (err error) {
	options := &bbolt.Options{
		Timeout: time.Second, ReadOnly: j.readOnly, FreelistType: bbolt.FreelistMapType,
		InitialMmapSize: mapSize, NoStatistics: true, OpenFile: j.openChecked,
	}
	j.db, err = bbolt.Open(j.path, 0o600, options)
	if errors.Is(err, berrors.ErrTimeout) {
		return ErrLocked
	}
	if err == nil {
		j.db.AllocSize = 1 << 20 // the file grows by so much
	}
	return err
}

// openChecked opens the file for bbolt, but hands it over only once it is locked and
// every page of it has been looked at. It never creates one.
func (j *Journal) openChecked(path string, flag int, mode os.FileMode) (*os.File, error) {
	file, err := os.OpenFile(path, flag&^os.O_CREATE, mode)
	if err != nil {
		return nil, err
	}
	if err = lock(file, j.readOnly); err == nil {
		j.flaws, err = inspect(file)
	}
	if err == nil && !j.readOnly {
		err = j.flaws.first()
	}
	if err != nil {
		file.Close()
		return nil, err
	}
	j.file = file
	return file, nil
}

// Head is the newest entry's number and hash; before the first, 0 and ZeroHash.
func (j *Journal) Head() (seq uint64, hash string) {
	j.mu.RLock()
	defer j.mu.RUnlock()
	return j.head.seq, j.head.hash
}

// ID is the random name that the journal was given when it was made.
func (j *Journal) ID() string {
	j.mu.RLock()
	defer j.mu.RUnlock()
	return j.id
}

// Path is the file's.
func (j *Journal) Path() string { return j.path }

func (j *Journal) why() error {
	j.mu.RLock()
	defer j.mu.RUnlock()
	return j.halted
}

// halt ends the writing; the first reason stands, but that closing is the last one.
func (j *Journal) halt(why error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.halted == nil || errors.Is(why, os.ErrClosed) {
		j.halted = why
	}
}

// view reads in one transaction, which has to be short: a long one would hold up writers.
// Damage that it meets ends the writing.
func (j *Journal) view(read func(*bbolt.Tx) error) error {
	j.life.RLock()
	defer j.life.RUnlock()
	if j.db == nil {
		return j.why()
	}
	err := guard(func() error {
		return j.db.View(func(tx *bbolt.Tx) error {
			defer j.tidy(tx)
			return read(tx)
		})
	})
	if errors.Is(err, ErrDamaged) {
		j.halt(err)
	}
	return err
}

// tidy gives the mapped pages that were touched back now and then: they would count as
// this process's memory until the kernel needs it.
func (j *Journal) tidy(tx *bbolt.Tx) {
	if j.uses.Add(1)%16 == 0 {
		forget(tx)
	}
}

// guard turns what bbolt does on meeting a page that was spoiled after it had been looked
// at, a panic or a memory fault, into damage.
func guard(do func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if p := recover(); p != nil {
			err = &Damage{What: fmt.Sprintf("a page cannot be read: %v", p)}
		}
	}()
	return do()
}

// isFull says whether a write failed for want of room. bbolt keeps only the words of the
// error with which growing the file fails, hence the comparison of words.
func isFull(err error) bool {
	for _, full := range fullErrors {
		if errors.Is(err, full) || strings.HasSuffix(err.Error(), full.Error()) {
			return true
		}
	}
	return false
}
