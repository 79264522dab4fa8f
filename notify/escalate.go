package notify

import (
	"time"

	"sumpbook/maintenance"
)

// A place is a kind on a channel.
type place struct {
	do      maintenance.Do
	channel string
}

// A placement is whether a kind is told there, and after which escalation.
type placement struct {
	hears bool
	step  *Escalation
}

func (pl *planner) placement(do maintenance.Do, channel string) placement {
	at := place{do, channel}
	p, ok := pl.places[at]
	if !ok {
		p = placement{pl.policy.hears(channel, do), pl.policy.step(channel, do)}
		pl.places[at] = p
	}
	return p
}

// shut is why a channel is not told of an action that is there; empty if it is.
func (pl *planner) shut(a *maintenance.Action, at line) string {
	p := pl.placement(a.Do, at.channel)
	if !p.hears {
		return "it is not told there"
	}
	if p.step == nil {
		return ""
	}
	t := pl.ledger.threads[at]
	if t.told(pl.count(a.ID, t)) {
		return ""
	}
	since, waiting := pl.unanswered(a)
	if !waiting {
		return "somebody has answered"
	}
	if pl.now.Sub(since).Abs() < p.step.After {
		pl.next(since.Add(p.step.After))
		return "somebody may still answer"
	}
	return ""
}

// escalation says in a reminder for how long nobody has answered, if that is why it is sent.
func (pl *planner) escalation(r *Reminder) {
	p := pl.placement(r.Action.Do, r.Key.Channel)
	if p.step == nil {
		return
	}
	if since, waiting := pl.unanswered(&r.Action); waiting {
		r.Silent = pl.now.Sub(since).Abs()
		r.Reason = "no answer for " + Span(r.Silent) + ": " + r.Reason
	}
}

// unanswered is since when somebody was told of an action, at once and not by escalation,
// and nobody has said that they have seen it.
func (pl *planner) unanswered(a *maintenance.Action) (since time.Time, ok bool) {
	seen := pl.seen(a.ID)
	for _, channel := range pl.policy.Channels {
		t := pl.ledger.threads[line{a.ID, channel}]
		if p := pl.placement(a.Do, channel); t == nil || !p.hears || p.step != nil {
			continue
		}
		n := pl.count(a.ID, t)
		for s, m := range t.steps {
			if s.count == n && s.stage.rank() > seen && !m.began.IsZero() && (!ok || m.began.Before(since)) {
				since, ok = m.began, true
			}
		}
	}
	return since, ok
}

// seen is the latest stage of an action that somebody has seen, as its rank; 0 is none.
func (pl *planner) seen(action string) int {
	latest := 0
	for _, channel := range pl.policy.Channels {
		t := pl.ledger.threads[line{action, channel}]
		if t == nil {
			continue
		}
		n := pl.count(action, t)
		for s, m := range t.steps {
			if m.seen && s.count == n {
				latest = max(latest, s.stage.rank())
			}
		}
	}
	return latest
}

// SeenBy notes that somebody has seen a reminder: it is not repeated and goes to nobody
// else until the next stage of its window.
func SeenBy(k Key, by string, now time.Time) Notice {
	return Notice{At: now, Key: k, Outcome: Seen, By: by}
}

// see marks a step, and for a repeat all that it repeats. Whoever has seen it has it,
// whatever the send came to; what was said before the action was last done is over.
func (t *thread) see(s step) {
	m, there := t.steps[s]
	if !there {
		return
	}
	m.told, m.seen = true, true
	if m.pending() {
		m.outcome = Delivered
	}
	t.steps[s] = m
	for other, m := range t.steps {
		m.seen = m.seen || s.stage == Again && other.stage.rank() > 0 && m.said()
		t.steps[other] = m
	}
}

// told says that an opening of the action was said on this line.
func (t *thread) told(count int) bool {
	if t == nil {
		return false
	}
	for s, m := range t.steps {
		if s.count == count && s.stage.rank() > 0 && m.said() {
			return true
		}
	}
	return false
}

// Told is the key under which an action was last said on any channel: what an answer that
// names only the action speaks of.
func (l *Ledger) Told(action string) (k Key, ok bool) {
	var spoke time.Time
	for at, t := range l.threads {
		for s, m := range t.steps {
			if at.action == action && m.said() && s.stage.rank() > 0 && (!ok || m.at.After(spoke) || m.at.Equal(spoke) && at.channel < k.Channel) {
				k, spoke, ok = keyOf(at, s), m.at, true
			}
		}
	}
	return k, ok
}

// silentWords say why an escalation came, with the oil's temperature where the action has it.
func (v Voice) silentWords(r Reminder) string {
	words := "You are told because nobody has answered for " + Span(r.Silent)
	for _, why := range r.Action.Why {
		if why.Rule == "oil_c" {
			words += "; the oil is now at about " + v.amount(why.Value, why.Unit)
		}
	}
	return words + ".\n"
}
