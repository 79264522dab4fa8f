package notify

import "time"

// A Ledger is what the notices so far add up to: for each action and channel, what was
// said and what is pending. Fold every notice into it with Add, in the order of the journal.
// It is not safe for use by several goroutines at once.
type Ledger struct {
	threads map[line]*thread
}

// A line is one action on one channel.
type line struct{ action, channel string }

// A thread is all that was said on a line since the action was last said to be done.
type thread struct {
	steps  map[step]memo
	dones  int       // how often it was said to be done
	about  *About    // of the last attempt
	spoke  time.Time // when it was last said
	last   time.Time // when anything was last noted
	latest int       // Count of the newest repeat or digest
	woke   time.Time // when somebody last asked to be woken
}

type step struct {
	stage Stage
	count int
}

// A memo is what became of one reminder.
type memo struct {
	outcome  Outcome
	at       time.Time // of the last notice
	until    time.Time // as the last notice says
	attempts int
	told     bool      // it was said, or may have been: an attempt was followed by no outcome
	began    time.Time // of the first attempt
	seen     bool      // somebody said so
}

// NewLedger is the ledger of a book in which nothing was ever said.
func NewLedger() *Ledger { return &Ledger{threads: map[line]*thread{}} }

// Add folds the next notice. Test reminders count for nothing.
func (l *Ledger) Add(n Notice) {
	if n.Test {
		return
	}
	at := line{n.Key.Action, n.Key.Channel}
	t := l.threads[at]
	if t == nil {
		t = &thread{steps: map[step]memo{}}
		l.threads[at] = t
	}
	t.add(n)
}

func (t *thread) add(n Notice) {
	t.last = n.At
	switch n.Outcome {
	case Seen:
		t.see(step{n.Key.Stage, n.Key.Count})
		if n.Key.Count < 0 { // of a look-ahead: leave it, after all
			t.woke = time.Time{}
		}
		return
	case Wake:
		t.woke = n.At
		return
	case Answered:
		t.heard(step{n.Key.Stage, n.Key.Count})
		return
	}
	s := step{n.Key.Stage, n.Key.Count}
	m := t.steps[s].after(n)
	t.steps[s] = m
	if n.About != nil {
		t.about = n.About
	}
	if n.Outcome == Attempted || n.Outcome == Delivered {
		t.spoke = n.At
	}
	switch {
	case s.stage == Done && m.settled():
		t.steps = map[step]memo{}
		t.dones++
	case s.stage == Again || bulletin(s.stage):
		t.latest = s.count
		t.forgetBefore(s)
	}
}

// heard notes that a person has answered a reminder: then they have it, whatever the send
// came to. Whether it is still open the book says. An answer to what was said before the
// action was last done changes nothing.
func (t *thread) heard(s step) {
	m, there := t.steps[s]
	if !there {
		return
	}
	m.told = true
	if m.pending() {
		m.outcome = Delivered
	}
	t.steps[s] = m
}

// forgetBefore drops the earlier repeats, which nothing asks for again.
func (t *thread) forgetBefore(s step) {
	for other := range t.steps {
		if other.stage == s.stage && other.count != s.count {
			delete(t.steps, other)
		}
	}
}

func (m memo) after(n Notice) memo {
	unknown := m.outcome == Attempted && (n.Outcome == Attempted || n.Outcome == Held || n.Outcome == Superseded)
	next := memo{
		outcome:  n.Outcome,
		at:       n.At,
		attempts: n.Attempt,
		told:     m.told || unknown || n.Outcome == Delivered,
		began:    m.began,
		seen:     m.seen,
	}
	if next.began.IsZero() && n.Outcome == Attempted {
		next.began = n.At
	}
	if n.Until != nil {
		next.until = *n.Until
	}
	return next
}

// pending says that the reminder was wanted and is not yet carried.
func (m memo) pending() bool {
	return m.outcome == Held || m.outcome == Attempted || m.outcome == Retry
}

// settled says that the reminder is never to be carried again. A superseded one that
// nobody heard may come back: a snooze withdrawn, a clock set back.
func (m memo) settled() bool {
	return m.outcome == Delivered || m.outcome == GaveUp || m.outcome == Superseded && m.told
}

// said says that somebody may have heard it.
func (m memo) said() bool { return m.told || m.outcome == Attempted }

// ready is when a pending reminder may be tried again. Waits are told from their length, so
// that a clock set back does not stretch them into years.
func (m memo) ready(k Key, now time.Time) (at time.Time, ok bool) {
	wait := time.Duration(0)
	switch m.outcome {
	case Retry:
		wait = m.until.Sub(m.at)
	case Attempted: // whoever tried died before the outcome
		wait = Backoff(k, m.attempts)
		if !m.until.IsZero() { // what went in one message comes in one again
			wait = m.until.Sub(m.at)
		}
	}
	return m.at.Add(wait), now.Sub(m.at).Abs() >= wait
}

// said says that somebody was told of the action since it was last said to be done.
func (t *thread) said() bool {
	for s, m := range t.steps {
		if s.stage != Done && !bulletin(s.stage) && m.said() {
			return true
		}
	}
	return false
}

func (t *thread) get(s step) memo {
	if t == nil {
		return memo{}
	}
	return t.steps[s]
}

// overtaken says that a later stage of the same opening was said already.
func (t *thread) overtaken(s step) bool {
	return s.stage == Opened && t.get(step{Closing, s.count}).said() ||
		(s.stage == Opened || s.stage == Closing) && t.get(step{Overdue, s.count}).said()
}

// Prune forgets the lines on which nothing was noted since before, nobody waits to be told
// that the action is done, and whose action is not kept. It bounds the ledger of a book
// that lives for years; the journal keeps the notices.
func (l *Ledger) Prune(before time.Time, keep func(action string) bool) {
	for at, t := range l.threads {
		if t.last.Before(before) && !t.said() && !keep(at.action) {
			delete(l.threads, at)
		}
	}
}
