package daemon

import (
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// An Outbox is what has been said of the actions and what is to be said next. The truth is
// the notices in the journal; the ledger is their fold.
type Outbox struct {
	book   *Book
	policy notify.Policy
	log    *slog.Logger
	clock  func() time.Time
	noted  atomic.Pointer[func()]         // told when the ledger has changed; never blocks
	off    atomic.Pointer[notify.Stretch] // when the daemon was last off

	mu      sync.Mutex
	ledger  *notify.Ledger
	failing map[string]string // by channel: the words of its last failure, until a success
}

// forgetAfter is how long the outbox remembers what it said of actions that are gone.
const forgetAfter = 30 * 24 * time.Hour

func newOutbox(b *Book, policy notify.Policy, log *slog.Logger, clock func() time.Time) (*Outbox, error) {
	o := &Outbox{book: b, policy: policy, log: log, clock: clock, ledger: notify.NewLedger(), failing: map[string]string{}}
	err := b.journal.Notices(0, func(n notify.Notice) error {
		o.note(n)
		return nil
	})
	return o, err
}

// AppendNotices keeps notices on disk and then in the ledger.
func (o *Outbox) AppendNotices(ctx context.Context, notices []notify.Notice) error {
	if len(notices) == 0 {
		return nil
	}
	if err := o.book.AppendNotices(ctx, notices); err != nil {
		o.log.Error("notices not kept", "error", err)
		return err
	}
	o.noteAll(notices)
	return nil
}

// noteAll takes what is on disk into the ledger.
func (o *Outbox) noteAll(notices []notify.Notice) {
	o.mu.Lock()
	ended := false // an attempt alone changes nothing that is to be said
	for _, n := range notices {
		o.note(n)
		o.tell(n)
		ended = ended || n.Outcome != notify.Attempted
	}
	o.mu.Unlock()
	if tell := o.noted.Load(); ended && tell != nil {
		(*tell)()
	}
}

// answer keeps that a reminder was answered and the entry that this records, both or
// neither; an entry without an act is none. What was answered before is not noted again.
func (o *Outbox) answer(ctx context.Context, now time.Time, e maintenance.Entry, t notify.Token) (Receipt, error) {
	n := notify.Notice{At: now, Key: t.Key, Outcome: t.Reply.Outcome(), By: o.policy.Whose(t.Key.Channel), Reply: t.Reply, Entry: e.ID}
	told := &telling{now: now, notices: []notify.Notice{n}}
	if e.Act != nil {
		told.entries = []maintenance.Entry{e}
	}
	receipt, err := o.book.tell(ctx, told)
	if err == nil && receipt.Duplicates == 0 {
		o.noteAll(told.notices)
	}
	return receipt, err
}

// tell logs a notice; an attempt is told by its outcome.
func (o *Outbox) tell(n notify.Notice) {
	level := slog.LevelInfo
	if n.Outcome == notify.Attempted {
		level = slog.LevelDebug
	}
	o.log.Log(context.Background(), level, "reminder", "action", n.Key.Action, "stage", n.Key.Stage, "channel", n.Key.Channel,
		"outcome", n.Outcome, "attempt", n.Attempt, "detail", n.Detail)
}

func (o *Outbox) note(n notify.Notice) {
	o.ledger.Add(n)
	switch n.Outcome {
	case notify.Delivered:
		delete(o.failing, n.Key.Channel)
	case notify.Retry, notify.GaveUp:
		o.failing[n.Key.Channel] = n.Detail
	}
}

// Failing gives the channels whose last attempt failed, with the other end's words.
func (o *Outbox) Failing() map[string]string {
	o.mu.Lock()
	defer o.mu.Unlock()
	out := make(map[string]string, len(o.failing))
	for k, v := range o.failing {
		out[k] = v
	}
	return out
}

// due is what to say at an instant.
func (o *Outbox) due(now time.Time) notify.Plan {
	facts := o.facts(now)
	o.mu.Lock()
	defer o.mu.Unlock()
	return notify.Due(facts, o.ledger, o.policy, now)
}

// still says what of a reminder is worth sending now.
func (o *Outbox) still(r notify.Reminder) (notify.Reminder, bool) {
	now := o.clock()
	facts := o.facts(now)
	o.mu.Lock()
	defer o.mu.Unlock()
	return notify.Left(r, facts, o.ledger, o.policy, now)
}

func (o *Outbox) facts(now time.Time) notify.Facts {
	s := o.book.now.Load()
	f := notify.Facts{Newest: s.state.At, Snoozed: map[string]time.Time{}, Actions: maintenance.Next(s.state, o.book.rules, now)}
	if off := o.off.Load(); off != nil {
		f.Off = *off
	}
	if o.policy.Weekly != nil {
		f.Runs = runsOfWeek(s.state, now)
	}
	for _, a := range s.state.Aside {
		if !a.Skip {
			f.Snoozed[a.Action] = a.Until
		}
	}
	return f
}

// prune forgets what nobody will ask for again.
func (o *Outbox) prune(now time.Time) {
	here := map[string]bool{}
	for _, a := range o.facts(now).Actions {
		here[a.ID] = true
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	o.ledger.Prune(now.Add(-forgetAfter), func(action string) bool { return here[action] })
}
