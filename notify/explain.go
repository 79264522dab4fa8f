package notify

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"sumpbook/maintenance"
)

// A Record is what became of one reminder.
type Record struct {
	Key      Key       `json:"key"`
	First    time.Time `json:"first"` // its first notice
	Last     Notice    `json:"last"`
	Answered bool      `json:"answered"` // by a link; or it was said, and there is nothing to do any more
}

// Records sums the notices up, one record a reminder, in the order of their last notices.
// Test reminders are among them, each by itself.
func Records(notices []Notice, f Facts) []Record {
	byKey := map[Key]*Record{}
	told, answered := map[Key]bool{}, map[Key]bool{}
	for _, n := range notices {
		r := byKey[n.Key]
		if r == nil {
			r = &Record{Key: n.Key, First: n.At}
			byKey[n.Key] = r
		}
		r.Last = n
		told[n.Key] = told[n.Key] || n.Outcome == Delivered
		answered[n.Key] = answered[n.Key] || n.Outcome == Answered
	}
	all := make([]Record, 0, len(byKey))
	for key, r := range byKey {
		r.Answered = answered[key] || told[key] && !r.Last.Test && key.Stage != Done && !bulletin(key.Stage) && !f.has(key.Action)
		all = append(all, *r)
	}
	slices.SortFunc(all, func(a, b Record) int {
		if a.Last.Seq != b.Last.Seq {
			return int(int64(a.Last.Seq) - int64(b.Last.Seq))
		}
		return strings.Compare(a.Key.ID(), b.Key.ID())
	})
	return all
}

func (f Facts) has(action string) bool {
	return slices.ContainsFunc(f.Actions, func(a maintenance.Action) bool { return a.ID == action })
}

// Tell puts a notice into one sentence: which reminder, on which channel, and what became
// of it.
func (v Voice) Tell(n Notice, now time.Time) string {
	return v.When(n.At, now) + " " + subject(n) + " to " + n.Key.Channel + ": " + v.became(n, now)
}

// subject names a reminder by its action: "drain north, opened".
func subject(n Notice) string {
	if n.Test {
		return "test"
	}
	if bulletin(n.Key.Stage) {
		return n.Key.Action
	}
	return actionWords(n.Key.Action) + ", " + string(n.Key.Stage)
}

// actionWords turns DO/SUBJECT/ENTRY into "do subject".
func actionWords(id string) string {
	do, rest, _ := strings.Cut(id, "/")
	subject, _, _ := strings.Cut(rest, "/")
	return strings.TrimSpace(do + " " + subject)
}

func (v Voice) became(n Notice, now time.Time) string {
	detail := oneLine(n.Detail)
	switch n.Outcome {
	case Held:
		return "held until " + v.untilOf(n, now) + because(detail)
	case Attempted:
		return fmt.Sprintf("try %d is under way, or was cut off: its outcome is not known", n.Attempt)
	case Delivered:
		return "delivered" + inOne(n) + because(detail)
	case Retry:
		return fmt.Sprintf("try %d did not get through%s; next try %s", n.Attempt, because(detail), v.untilOf(n, now))
	case GaveUp:
		return fmt.Sprintf("given up after try %d%s", n.Attempt, because(detail))
	case Superseded:
		return "not sent any more" + because(detail)
	case Seen:
		return "seen" + by(n) + ": no repeat before the next stage"
	case Wake:
		if n.By == "" {
			return "to be told in the night that comes, this once"
		}
		return "to be told in the night that comes, this once, as" + strings.TrimPrefix(by(n), " by") + " asked"
	case Answered:
		return "answered" + because(string(n.Reply)) + by(n)
	}
	return string(n.Outcome) + because(detail)
}

// inOne names the message that carried a reminder with others.
func inOne(n Notice) string {
	if n.In == "" {
		return ""
	}
	return " in one message with others (" + n.In + ")"
}

func by(n Notice) string {
	if n.By == "" {
		return ""
	}
	return " by " + oneLine(n.By)
}

func because(detail string) string {
	if detail == "" {
		return ""
	}
	return ": " + detail
}

func (v Voice) untilOf(n Notice, now time.Time) string {
	if n.Until == nil {
		return "later"
	}
	return v.When(*n.Until, now)
}

// WhyNotTold explains, action by action and channel by channel, what became of the
// reminders of one kind: those that are there, and those lately spoken of. Empty: there was
// nothing of that kind to remind of.
func (v Voice) WhyNotTold(do maintenance.Do, f Facts, notices []Notice, p Policy, now time.Time) []string {
	var says []string
	for _, a := range f.Actions {
		if a.Do == do {
			says = append(says, v.whyNot(a, notices, p, now)...)
		}
	}
	for _, r := range Records(notices, f) {
		of, _, _ := strings.Cut(r.Key.Action, "/")
		if maintenance.Do(of) == do && !f.has(r.Key.Action) {
			says = append(says, v.Tell(r.Last, now))
		}
	}
	return says
}

func (v Voice) whyNot(a maintenance.Action, notices []Notice, p Policy, now time.Time) []string {
	what := lowered(Task(a))
	if len(p.Channels) == 0 {
		return []string{what + ": no channel is configured, so nobody is told"}
	}
	var says []string
	for _, channel := range p.Channels {
		i := lastOf(notices, a.ID, channel)
		if i >= 0 {
			says = append(says, v.Tell(notices[i], now))
			continue
		}
		says = append(says, what+" to "+channel+": "+v.silence(a, channel, notices, p, now))
	}
	return says
}

// silence is why nothing was ever noted of an action on a channel.
func (v Voice) silence(a maintenance.Action, channel string, notices []Notice, p Policy, now time.Time) string {
	if who := p.person(channel); !p.hears(channel, a.Do) {
		return who.Name + " hears of " + string(a.Do) + " on " + strings.Join(who.Hears(a.Do), " and ") + " alone"
	}
	if a.State == maintenance.Coming || now.Before(a.Opens) {
		return "not due before " + v.When(a.Opens, now)
	}
	if e := p.step(channel, a.Do); e != nil {
		return v.stepWords(a, e, notices, now)
	}
	if until, held := p.nights(channel).Holds(a.Do, now); held {
		return p.hoursOf(channel) + " until " + v.When(until, now)
	}
	return "due since " + v.When(a.Opens, now) + ", and no daemon has tried yet: reminders need sumpbook serve"
}

// stepWords say why an escalation has not come.
func (v Voice) stepWords(a maintenance.Action, e *Escalation, notices []Notice, now time.Time) string {
	for i := len(notices) - 1; i >= 0; i-- {
		if n := notices[i]; n.Key.Action == a.ID && n.Outcome == Seen {
			return e.Who + " is told only if nobody answers, and it was seen" + by(n) + " " + v.When(n.At, now)
		}
	}
	return e.Who + " is told only if nobody answers for " + Span(e.After)
}

func lastOf(notices []Notice, action, channel string) int {
	for i := len(notices) - 1; i >= 0; i-- {
		n := notices[i]
		if n.Key.Action == action && n.Key.Channel == channel {
			return i
		}
	}
	return -1
}
