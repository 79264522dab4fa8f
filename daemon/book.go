package daemon

import (
	"context"
	"errors"
	"fmt"
	"os"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"github.com/oklog/ulid/v2"

	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A Book checks entries against what is on the book, appends them to the journal and holds
// the state they make. One goroutine writes; those who come while it syncs share the next
// commit. Readers see the newest committed state without waiting.
type Book struct {
	journal  *journal.Journal
	readOnly bool
	rules    maintenance.Rules
	queue    chan *telling
	done     chan struct{}
	now      atomic.Pointer[snapshot]
	doubt    atomic.Pointer[error]  // why a commit's outcome is unknown; nil: none is
	saved    atomic.Uint64          // number of the entry that the newest checkpoint holds
	tried    uint64                 // and of the one at which a checkpoint was last tried
	onCommit atomic.Pointer[func()] // told when there are new entries; never blocks
	door     sync.RWMutex           // guards closed; held for reading by who tells
	closed   bool
}

// A snapshot is the book after a commit. Nobody writes to it.
type snapshot struct {
	state  *maintenance.State
	count  int // entries folded: those of the journal without the withdrawn
	seq    uint64
	head   string
	last   time.Time // when the newest entry was recorded
	ladder ladder
}

// A telling is one request on its way through the writer.
type telling struct {
	entries  []maintenance.Entry
	signals  map[string][]byte
	notices  []notify.Notice
	calendar map[string][]byte // records, by action
	now      time.Time
	dry      bool // judge only
	answer   chan told
}

type told struct {
	receipt Receipt
	err     error
}

// A Receipt says what became of a request.
type Receipt struct {
	Accepted   int            `json:"accepted"`
	Duplicates int            `json:"duplicates"`
	Entries    []EntryReceipt `json:"entries"`
}

// An EntryReceipt is one entry of it. Remarks say what taking it means.
type EntryReceipt struct {
	ID        string    `json:"id"`
	Seq       uint64    `json:"seq"`
	At        time.Time `json:"at"`
	Duplicate bool      `json:"duplicate,omitzero"`
	Remarks   []string  `json:"remarks,omitzero"`

	kind string // of the entry, for the log
}

// maxTogether bounds the tellings that share one commit.
const maxTogether = 1024

// OpenBook opens the journal at path, creating it if there is none, and folds it. The
// caller must Close it.
func OpenBook(path string, rules maintenance.Rules) (*Book, error) {
	j, err := journal.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open the book: %w", err)
	}
	return newBook(&Book{journal: j, rules: rules})
}

// OpenBookReadOnly opens a journal for reading alone; nothing is created or written.
func OpenBookReadOnly(path string, rules maintenance.Rules) (*Book, error) {
	j, err := journal.OpenReadOnly(path)
	if err != nil {
		return nil, fmt.Errorf("open the book: %w", err)
	}
	return newBook(&Book{journal: j, rules: rules, readOnly: true})
}

func newBook(b *Book) (*Book, error) {
	b.queue, b.done = make(chan *telling, maxTogether), make(chan struct{})
	s, err := b.load()
	if err != nil {
		return nil, errors.Join(fmt.Errorf("fold the book: %w", err), b.journal.Close())
	}
	b.now.Store(s)
	go b.write()
	return b, nil
}

// Close answers those who wait, stops the writer and closes the journal, leaving a
// checkpoint of the state behind. Who tells after it is refused with os.ErrClosed.
func (b *Book) Close() error {
	b.door.Lock()
	closed := b.closed
	b.closed = true
	b.door.Unlock()
	if closed {
		return nil
	}
	close(b.queue)
	<-b.done
	if !b.readOnly && b.now.Load().seq >= b.saved.Load()+checkpointEvery/8 { // few entries are soon folded
		// It is a cache: a failure costs time at the next start and nothing else.
		_ = b.saveCheckpoint()
	}
	return b.journal.Close()
}

// Head is the newest entry's number and hash.
func (b *Book) Head() (uint64, string) {
	s := b.now.Load()
	return s.seq, s.head
}

// Record judges a request as a whole and appends it, all or nothing. It returns when the
// entries are on stable storage. A *maintenance.Rejection leaves nothing behind; an error
// wrapping journal.ErrUnknown says that the request may or may not be there: tell it again
// under the same ids.
func (b *Book) Record(ctx context.Context, now time.Time, entries []maintenance.Entry) (Receipt, error) {
	return b.tell(ctx, &telling{entries: entries, now: now})
}

// Judge says what Record would, and keeps nothing.
func (b *Book) Judge(ctx context.Context, now time.Time, entries []maintenance.Entry) (Receipt, error) {
	return b.tell(ctx, &telling{entries: entries, now: now, dry: true})
}

// RecordSignal appends what a source's samples meant together with the detector's state,
// so that neither can be there without the other.
func (b *Book) RecordSignal(ctx context.Context, now time.Time, source string, state []byte, entries []maintenance.Entry) (Receipt, error) {
	return b.tell(ctx, &telling{entries: entries, signals: map[string][]byte{source: state}, now: now})
}

// AppendNotices keeps what became of reminders.
func (b *Book) AppendNotices(ctx context.Context, notices []notify.Notice) error {
	_, err := b.tell(ctx, &telling{notices: notices})
	return err
}

// KeepCalendar keeps records of the calendar, by action, in the place of those before.
func (b *Book) KeepCalendar(ctx context.Context, records map[string][]byte) error {
	_, err := b.tell(ctx, &telling{calendar: records})
	return err
}

func (b *Book) tell(ctx context.Context, t *telling) (Receipt, error) {
	if b.readOnly && !t.dry {
		return Receipt{}, errReadOnly
	}
	t.answer = make(chan told, 1)
	if err := b.enqueue(ctx, t); err != nil {
		return Receipt{}, err
	}
	a := <-t.answer // on the wire to the disk: wait for the truth, not for the caller's patience
	return a.receipt, a.err
}

func (b *Book) enqueue(ctx context.Context, t *telling) error {
	b.door.RLock()
	defer b.door.RUnlock()
	if b.closed {
		return fmt.Errorf("tell the book: %w", os.ErrClosed)
	}
	select {
	case b.queue <- t:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// write takes whoever waits, and answers them.
func (b *Book) write() {
	defer close(b.done)
	for first := range b.queue {
		b.answer(b.gather(first))
		b.checkpointIfDue()
	}
}

// answer judges tellings, commits together what is taken, and answers each.
func (b *Book) answer(together []*telling) {
	if err := b.resume(); err != nil {
		for _, t := range together {
			t.answer <- told{err: err}
		}
		return
	}
	w := b.begin()
	answers := make([]told, len(together))
	for i, t := range together {
		answers[i].receipt, answers[i].err = w.take(t)
	}
	err := w.commit()
	if errors.Is(err, journal.ErrUnknown) {
		b.doubt.Store(&err)
		_ = b.resume() // if it fails, the next telling tries again
	} else if err != nil && !errors.Is(err, journal.ErrFull) && len(together) > 1 {
		for _, t := range together { // whatever one told, the others are not to suffer
			b.answer([]*telling{t})
		}
		return
	}
	for i, t := range together {
		if err != nil { // also what was refused: it was judged after others that are not kept
			answers[i] = told{err: fmt.Errorf("append to the journal: %w", err)}
		}
		t.answer <- answers[i]
	}
}

// errReadOnly says that the book can be read and not written.
var errReadOnly = errors.New("the book is open for reading alone: its folder cannot be written")

// errHalted says that nothing was kept, since an earlier write is in doubt.
var errHalted = errors.New("the book takes nothing until its file can be opened again")

// resume follows a commit of unknown outcome: what is on the disk decides, not what was
// meant. Until the journal opens again every writing is refused; what is in memory is
// answered.
func (b *Book) resume() error {
	doubt := b.doubt.Load()
	if doubt == nil {
		return nil
	}
	err := b.journal.Reopen()
	if err == nil {
		var s *snapshot
		if s, err = b.load(); err == nil {
			b.doubt.Store(nil)
			b.publish(s)
			return nil
		}
	}
	return fmt.Errorf("%w: %v, after %v", errHalted, err, *doubt)
}

func (b *Book) publish(s *snapshot) {
	b.now.Store(s)
	if tell := b.onCommit.Load(); tell != nil {
		(*tell)()
	}
}

// gather takes the first and whoever else waits. Those who were just answered may be about
// to tell the next, so it steps aside as long as that brings more: without it two groups of
// writers take turns, each waiting for the other's sync. There is no timer: one who writes
// alone waits for nobody.
func (b *Book) gather(first *telling) []*telling {
	together := []*telling{first}
	for {
		runtime.Gosched()
		before := len(together)
		for len(together) < maxTogether {
			select {
			case t, ok := <-b.queue:
				if !ok {
					return together
				}
				together = append(together, t)
				continue
			default:
			}
			break
		}
		if len(together) == before || len(together) == maxTogether {
			return together
		}
	}
}

// newID makes an id for an entry told without one: it sorts by the time it was made.
func newID(now time.Time) string {
	return ulid.MustNew(uint64(max(0, now.UnixMilli())), ulid.DefaultEntropy()).String()
}
