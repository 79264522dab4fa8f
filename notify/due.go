package notify

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"sumpbook/maintenance"
)

// Facts are what the book says at one instant.
type Facts struct {
	Actions []maintenance.Action // at now, by urgency
	Newest  time.Time            // At of the newest entry: before it, nothing is said to be done
	Snoozed map[string]time.Time // by action: until when it was last snoozed, also if that is over
	Off     Stretch              // when nobody looked for the last time; zero: not known
	Runs    int                  // cycles that ended in the seven days before now
}

// A Stretch of time; zero is none.
type Stretch struct{ From, To time.Time }

func (s Stretch) has(t time.Time) bool { return !s.To.IsZero() && !t.Before(s.From) && !t.After(s.To) }

// A Reminder is one thing to say on one channel now, and what goes in the same message.
type Reminder struct {
	Key     Key
	Action  maintenance.Action   // of a digest: none
	Agenda  []maintenance.Action // of a digest: everything to do
	Runs    int                  // of the weekly word: cycles that ended in the week
	Since   time.Time            // when it fell due
	Reason  string               // why now
	Attempt int                  // 1, 2, 3, …
	Test    bool                 // it asks for nothing
	Held    bool                 // it waited for the end of quiet hours
	Off     Stretch              // it fell due while nobody looked; zero: it did not
	Until   time.Time            // of word of a run that will end in the night: when the night ends
	Silent  time.Duration        // of an escalation: for how long nobody has answered
	With    []Reminder           // the less urgent, on a channel that people read
}

// A Plan is what follows from the facts at one instant.
type Plan struct {
	Send    []Reminder // in the order in which to carry them
	Notices []Notice   // what was held, replaced or given up: to be written before Send is carried
	Next    time.Time  // when the answer can change if nothing happens; zero is never
}

// Due says what to do about reminders at now. It asks for one reminder of an action on a
// channel at most: a later stage replaces an earlier one that was not carried, so that no
// flood follows a gap. It is a pure function: once the notices it asks for are added, and
// what it sends is delivered, it asks for nothing more.
func Due(f Facts, l *Ledger, p Policy, now time.Time) Plan {
	pl := newPlanner(f, l, p, now)
	here := make(map[string]bool, len(f.Actions))
	for i := range f.Actions {
		a := &f.Actions[i]
		here[a.ID] = true
		for _, channel := range p.Channels {
			pl.open(a, line{a.ID, channel})
		}
	}
	pl.gone(here)
	pl.bulletins()
	pl.plan.Send = merged(pl.plan.Send, p.Read)
	return pl.plan
}

// Left is what is still wanted of a reminder that Due asked for, and of what goes with it:
// nothing was done, snoozed or overtaken meanwhile, and nobody carried it. It is asked just
// before the send; the attempt itself may have been noted.
func Left(r Reminder, f Facts, l *Ledger, p Policy, now time.Time) (left Reminder, ok bool) {
	pl := newPlanner(f, l, p, now)
	find := func(id string) *maintenance.Action {
		if i := slices.IndexFunc(f.Actions, func(a maintenance.Action) bool { return a.ID == id }); i >= 0 {
			return &f.Actions[i]
		}
		return nil
	}
	if len(r.With) > 0 { // of thousands, each is found at once
		here := make(map[string]*maintenance.Action, len(f.Actions))
		for i := range f.Actions {
			here[f.Actions[i].ID] = &f.Actions[i]
		}
		find = func(id string) *maintenance.Action { return here[id] }
	}
	return r.only(func(part Reminder) bool { return pl.stands(part, find(part.Key.Action)) })
}

// stands judges one reminder by itself; a is nil if the action is not there.
func (pl *planner) stands(r Reminder, a *maintenance.Action) bool {
	at := line{r.Key.Action, r.Key.Channel}
	t := pl.ledger.threads[at]
	m := t.get(step{r.Key.Stage, r.Key.Count})
	tried := m.outcome == Attempted && m.attempts == r.Attempt
	if m.settled() || !tried && m.attempts != r.Attempt-1 {
		return false
	}
	if r.Test {
		return true
	}
	if _, held := pl.held(r); held {
		return false
	}
	switch {
	case bulletin(r.Key.Stage):
		return true
	case a == nil || r.Key.Stage == Done:
		return a == nil && r.Key.Stage == Done && t != nil && t.said() && t.dones == r.Key.Count
	case pl.shut(a, at) != "":
		return false
	}
	want, ok := pl.wanted(a, at)
	return ok && want.step == step{r.Key.Stage, r.Key.Count}
}

// patience is the kind of action by which the quiet hours judge a reminder: a digest, or
// word that something is done, can always wait, but for the end of an alarm.
func patience(r Reminder) maintenance.Do {
	if bulletin(r.Key.Stage) || r.Key.Stage == Done && r.Action.Do != maintenance.DoStopPump {
		return ""
	}
	return r.Action.Do
}

type planner struct {
	facts  Facts
	ledger *Ledger
	policy Policy
	now    time.Time
	plan   Plan
	nights map[string]Nights   // by channel
	places map[place]placement // where each kind is told
}

func newPlanner(f Facts, l *Ledger, p Policy, now time.Time) *planner {
	pl := &planner{facts: f, ledger: l, policy: p, now: now, nights: map[string]Nights{}, places: map[place]placement{}}
	for _, channel := range p.Channels {
		pl.nights[channel] = p.nights(channel)
	}
	for _, channel := range p.DigestTo {
		pl.nights[channel] = p.nights(channel)
	}
	return pl
}

// A wish is the one thing there is to say on a line now.
type wish struct {
	step
	since  time.Time
	reason string
	until  time.Time // of word of a run that will end in the night: when that ends
}

// open plans for an action that is there.
func (pl *planner) open(a *maintenance.Action, at line) {
	if why := pl.shut(a, at); why != "" {
		pl.drop(at, func(s step) string { return why })
		return
	}
	pl.wake(a, at)
	want, ok := pl.wanted(a, at)
	pl.drop(at, func(s step) string { return pl.replaced(a, at, s, want, ok) })
	if ok {
		r := Reminder{Key: keyOf(at, want.step), Action: *a, Since: want.since, Reason: want.reason, Until: want.until}
		pl.escalation(&r)
		pl.say(r)
	}
}

// replaced is why a pending reminder of an action that is there is wanted no more; empty if
// it is.
func (pl *planner) replaced(a *maintenance.Action, at line, s step, want wish, ok bool) string {
	t := pl.ledger.threads[at]
	switch {
	case ok && s == want.step:
		return ""
	case s.stage == Done:
		return "it is open after all"
	case s.count < 0:
		return "the quiet hours began, or the window moved"
	case !ok && s.stage == Again && pl.seen(a.ID) > 0:
		return "it was seen"
	case s.stage != Again && s.count != pl.count(a.ID, t), !ok && s.stage == Again:
		return "it was put off"
	case ok:
		return "replaced by " + string(want.stage)
	case t.overtaken(s):
		return "a later one was said"
	}
	return ""
}

func keyOf(at line, s step) Key {
	return Key{Action: at.action, Stage: s.stage, Count: s.count, Channel: at.channel}
}

// count tells the openings of one action apart: each snooze makes another, named by the
// minute it ends, and so does being open again after it was said to be done.
func (pl *planner) count(action string, t *thread) int {
	n := 0
	if t != nil {
		n = t.dones
	}
	if until, ok := pl.facts.Snoozed[action]; ok {
		n += int(until.Unix() / 60)
	}
	return n
}

// wanted is what there is to say of an action that is there, whether or not it was said.
// None: it is coming, or the repeat of what was said is not due.
func (pl *planner) wanted(a *maintenance.Action, at line) (wish, bool) {
	t := pl.ledger.threads[at]
	want, ok := pl.stage(a, at)
	if !ok {
		return want, false
	}
	if want.count == 0 {
		want.count = pl.count(a.ID, t)
	}
	if t.overtaken(want.step) {
		return want, false
	}
	if m := t.get(want.step); !m.settled() {
		return want, true
	}
	if want.count < 0 {
		return want, false // word ahead of a night is said once
	}
	return pl.again(a, t, want)
}

// stage is where now lies in the window of an action.
func (pl *planner) stage(a *maintenance.Action, at line) (wish, bool) {
	switch closing, ok := closingAt(a); {
	case a.State == maintenance.Coming || pl.now.Before(a.Opens):
		return pl.foresee(a, at, a.Opens, Opened)
	case a.Do != maintenance.DoStopPump && a.Due.After(a.Opens) && !pl.now.Before(a.Due):
		return wish{step: step{stage: Overdue}, since: a.Due, reason: "due has passed"}, true
	case ok && !pl.now.Before(closing) && pl.now.Before(*a.Closes):
		return wish{step: step{stage: Closing}, since: closing, reason: "two thirds of the window have passed"}, true
	case ok:
		if want, ok := pl.foresee(a, at, closing, Closing); ok && a.Opens.Before(want.since) {
			return want, true
		}
	}
	return wish{step: step{stage: Opened}, since: a.Opens, reason: "the window is open"}, true
}

// closingAt is two thirds into the window, if it closes.
func closingAt(a *maintenance.Action) (time.Time, bool) {
	if a.Closes == nil {
		return time.Time{}, false
	}
	at := a.Opens.Add(a.Closes.Sub(a.Opens) * 2 / 3)
	return at, at.After(a.Opens)
}

// again repeats what was said and not answered, where that is wished.
func (pl *planner) again(a *maintenance.Action, t *thread, said wish) (wish, bool) {
	wait := pl.policy.Repeat[a.Do]
	if wait <= 0 || t.get(said.step).outcome != Delivered || pl.seen(a.ID) >= said.stage.rank() {
		return said, false
	}
	for s, m := range t.steps {
		if s.stage == Again && m.pending() {
			return wish{step: s, since: m.at, reason: "no answer yet"}, true
		}
	}
	if pl.now.Sub(t.spoke).Abs() < wait {
		pl.next(t.spoke.Add(wait))
		return said, false
	}
	return wish{step: step{Again, t.latest + 1}, since: t.spoke.Add(wait), reason: "no answer yet"}, true
}

// gone plans for the actions that were spoken of and are there no more. Facts from before
// the newest entry know less than was known: then nothing is said to be done.
func (pl *planner) gone(here map[string]bool) {
	if pl.now.Before(pl.facts.Newest) {
		pl.next(pl.facts.Newest)
		return
	}
	for _, at := range pl.ledger.lines() {
		t := pl.ledger.threads[at]
		if here[at.action] || at.action == digestAction || at.action == weeklyAction || !slices.Contains(pl.policy.Channels, at.channel) {
			continue
		}
		pl.drop(at, func(s step) string {
			if s.stage == Done {
				return ""
			}
			return "it is done, or no longer so"
		})
		if t.said() {
			a := lastSeen(at.action, t.about)
			key := keyOf(at, step{Done, t.dones})
			pl.say(Reminder{Key: key, Action: a, Since: t.spoke, Reason: "it is done, or no longer so"})
		}
	}
}

// lines are the lines with something in them, in order.
func (l *Ledger) lines() []line {
	var all []line
	for at, t := range l.threads {
		if len(t.steps) > 0 {
			all = append(all, at)
		}
	}
	slices.SortFunc(all, func(a, b line) int {
		return cmp.Or(strings.Compare(a.action, b.action), strings.Compare(a.channel, b.channel))
	})
	return all
}

// lastSeen is what is left of an action that is gone: its name and its window, and no entry.
func lastSeen(id string, about *About) maintenance.Action {
	do, _, _ := strings.Cut(id, "/")
	a := maintenance.Action{ID: id, Do: maintenance.Do(do), State: maintenance.Open}
	if about != nil {
		a.Pump, a.Vessel, a.Opens, a.Due, a.Closes = about.Pump, about.Vessel, about.Opens, about.Due, about.Closes
	}
	return a
}

// drop supersedes the pending reminders of a line for which there is a reason to. An attempt
// that may still be on the wire is left to end by itself.
func (pl *planner) drop(at line, reason func(step) string) {
	t := pl.ledger.threads[at]
	if t == nil {
		return
	}
	var dropped []Notice
	for s, m := range t.steps {
		why := reason(s)
		onWire := m.outcome == Attempted && pl.now.Sub(m.at).Abs() < 2*SendTimeout
		if m.pending() && why != "" && !onWire {
			dropped = append(dropped, Notice{At: pl.now, Key: keyOf(at, s), Outcome: Superseded, Attempt: m.attempts, Detail: why})
		}
	}
	slices.SortFunc(dropped, func(a, b Notice) int { return strings.Compare(a.Key.ID(), b.Key.ID()) })
	pl.plan.Notices = append(pl.plan.Notices, dropped...)
}

// say sends a reminder now, or holds it, or lets it wait for its next try.
func (pl *planner) say(r Reminder) {
	m := pl.ledger.threads[line{r.Key.Action, r.Key.Channel}].get(step{r.Key.Stage, r.Key.Count})
	if m.attempts >= MaxAttempts {
		if m.pending() {
			pl.note(Notice{Key: r.Key, Outcome: GaveUp, Attempt: m.attempts, Detail: "too many tries"})
		}
		return
	}
	if until, held := pl.held(r); held {
		pl.next(until)
		if m.outcome != Held || !m.until.Equal(until) {
			pl.note(Notice{Key: r.Key, Outcome: Held, Attempt: m.attempts, Until: &until, Detail: pl.policy.hoursOf(r.Key.Channel)})
		}
		return
	}
	if at, ok := m.ready(r.Key, pl.now); !ok {
		pl.next(at)
		return
	}
	r.Attempt, r.Held = m.attempts+1, m.outcome == Held
	if pl.facts.Off.has(r.Since) {
		r.Off = pl.facts.Off
	}
	pl.plan.Send = append(pl.plan.Send, r)
}

func (pl *planner) note(n Notice) {
	n.At = pl.now
	pl.plan.Notices = append(pl.plan.Notices, n)
}

// wake notes the instants at which an action enters its next stage.
func (pl *planner) wake(a *maintenance.Action, at line) {
	pl.next(a.Opens)
	pl.next(a.Due)
	if n, ok := pl.early(a, at, a.Opens, Opened); ok {
		pl.next(n.from)
	}
	if closing, ok := closingAt(a); ok {
		pl.next(closing)
		if n, ok := pl.early(a, at, closing, Closing); ok {
			pl.next(n.from)
		}
	}
}

func (pl *planner) next(t time.Time) {
	if t.After(pl.now) && (pl.plan.Next.IsZero() || t.Before(pl.plan.Next)) {
		pl.plan.Next = t
	}
}
