package daemon

import (
	"context"
	"errors"
	"fmt"
	"runtime"
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
	rules    maintenance.Rules
	queue    chan *telling
	done     chan struct{}
	now      atomic.Pointer[snapshot]
	saved    atomic.Uint64          // number of the entry that the newest checkpoint holds
	onCommit atomic.Pointer[func()] // told after each commit; never blocks
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
	entries []maintenance.Entry
	signals map[string][]byte
	notices []notify.Notice
	now     time.Time
	dry     bool // judge only
	answer  chan told
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
	return newBook(j, rules)
}

// OpenBookReadOnly opens a journal for reading alone; nothing is created or written.
func OpenBookReadOnly(path string, rules maintenance.Rules) (*Book, error) {
	j, err := journal.OpenReadOnly(path)
	if err != nil {
		return nil, fmt.Errorf("open the book: %w", err)
	}
	return newBook(j, rules)
}

func newBook(j *journal.Journal, rules maintenance.Rules) (*Book, error) {
	b := &Book{journal: j, rules: rules, queue: make(chan *telling, maxTogether), done: make(chan struct{})}
	s, err := b.load()
	if err != nil {
		return nil, errors.Join(fmt.Errorf("fold the book: %w", err), j.Close())
	}
	b.now.Store(s)
	go b.write()
	return b, nil
}

// Close stops the writer and closes the journal, leaving a checkpoint of the state behind.
// Record must not be called after it.
func (b *Book) Close() error {
	close(b.queue)
	<-b.done
	err := b.saveCheckpoint()
	return errors.Join(err, b.journal.Close())
}

// Rules are those the book is folded by.
func (b *Book) Rules() maintenance.Rules { return b.rules }

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

func (b *Book) tell(ctx context.Context, t *telling) (Receipt, error) {
	t.answer = make(chan told, 1)
	select {
	case b.queue <- t:
	case <-ctx.Done():
		return Receipt{}, ctx.Err()
	}
	a := <-t.answer // on the wire to the disk: wait for the truth, not for the caller's patience
	return a.receipt, a.err
}

// write takes whoever waits, commits them together and answers each.
func (b *Book) write() {
	defer close(b.done)
	for first := range b.queue {
		together := b.gather(first)
		w := b.begin()
		answers := make([]told, len(together))
		for i, t := range together {
			answers[i].receipt, answers[i].err = w.take(t)
		}
		if err := w.commit(); err != nil {
			for i, t := range together {
				if answers[i].err == nil && !t.dry {
					answers[i] = told{err: fmt.Errorf("append to the journal: %w", err)}
				}
			}
			b.recover(err)
		}
		for i, t := range together {
			t.answer <- answers[i]
		}
		b.checkpointIfDue()
	}
}

// recover follows a commit of unknown outcome: what is on the disk decides, not what was
// meant. Until the journal opens again every writing fails, and reading goes on.
func (b *Book) recover(err error) {
	if !errors.Is(err, journal.ErrUnknown) || b.journal.Reopen() != nil {
		return
	}
	if s, err := b.load(); err == nil {
		b.now.Store(s)
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
	return ulid.MustNew(ulid.Timestamp(now), ulid.DefaultEntropy()).String()
}
