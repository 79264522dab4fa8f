package notify

import (
	"time"

	"sumpbook/maintenance"
)

// foresight is how long before quiet hours word goes out of a window that closes in them.
const foresight = 30 * time.Minute

// maxLead is how long before a night its look-ahead may come: what lies further back is of
// another evening.
const maxLead = 12 * time.Hour

// A nightfall is a night in which something begins, and when to speak of that.
type nightfall struct{ from, start, end time.Time }

// foresee says a stage before the quiet hours in which it would begin, if the window also
// closes in them. An opening is a forecast, which may come true on another night or in the
// day: its early word counts for one night only, and does not stand for the opening itself.
func (pl *planner) foresee(a *maintenance.Action, at line, begins time.Time, stage Stage) (wish, bool) {
	n, ok := pl.early(a, at, begins, stage)
	if !ok || pl.now.Before(n.from) || !pl.now.Before(n.start) {
		return wish{}, false
	}
	want := wish{step: step{stage: stage}, since: n.from, reason: "it closes in your quiet hours"}
	if stage == Opened {
		want.count = -int(n.start.Unix() / 60)
	}
	if stage == Opened && pl.runs(a) {
		want.until = n.end
		want.reason = "the run will probably end in your quiet hours"
	}
	return want, true
}

// early is the night in which a stage of an action begins, if there is something to say of
// that before: a window that opens and closes in it, or a run that ends in it.
func (pl *planner) early(a *maintenance.Action, at line, begins time.Time, stage Stage) (nightfall, bool) {
	if a.Closes == nil || !begins.After(pl.now) {
		return nightfall{}, false
	}
	start, end, held := pl.nights[at.channel].night(a.Do, begins)
	if !held || pl.woken(a, at.channel, end) {
		return nightfall{}, false
	}
	n := nightfall{start.Add(-foresight), start, end}
	if stage == Opened && pl.runs(a) && pl.policy.LookAhead != nil {
		n.from = pl.lookAhead(start)
		return n, true
	}
	return n, !a.Closes.After(end)
}

// runs says that an action waits for the end of a run, and not because it was put off. It is
// there only if the run's length is known from others.
func (pl *planner) runs(a *maintenance.Action) bool {
	until, snoozed := pl.facts.Snoozed[a.ID]
	return a.Do == maintenance.DoDrain && a.State == maintenance.Coming && !(snoozed && until.Equal(a.Opens))
}

// lookAhead is the evening's time for a look ahead to a night.
func (pl *planner) lookAhead(start time.Time) time.Time {
	zone := pl.policy.Quiet.zone()
	year, month, day := start.In(zone).Date()
	for back := range 2 {
		t := localInstant(year, month, day-back, *pl.policy.LookAhead, zone)
		if t.Before(start) && start.Sub(t) <= maxLead {
			return t
		}
	}
	return start.Add(-foresight)
}

// Wakes says that a reminder asks whether to wake somebody: the answer is a Wake.
func (r Reminder) Wakes() bool { return !r.Until.IsZero() }

// WakeMe notes the answer to a look-ahead: whoever the channel belongs to is to be told of
// the action in the night that comes, or is there, this once.
func WakeMe(k Key, by string, now time.Time) Notice {
	return Notice{At: now, Key: k, Outcome: Wake, By: by}
}

// woken says that the night that ends then is one in which somebody is to be woken.
func (pl *planner) woken(a *maintenance.Action, channel string, end time.Time) bool {
	for _, other := range pl.policy.alongside(channel) {
		t := pl.ledger.threads[line{a.ID, other}]
		if t == nil || t.woke.IsZero() {
			continue
		}
		if _, until, ok := pl.nights[channel].coming(a.Do, t.woke); ok && until.Equal(end) {
			return true
		}
	}
	return false
}

// held says whether a reminder has to wait for the end of the night, and until when.
func (pl *planner) held(r Reminder) (until time.Time, held bool) {
	do := patience(r)
	_, until, held = pl.nights[r.Key.Channel].night(do, pl.now)
	if held && do != "" && r.Key.Stage != Done && pl.woken(&r.Action, r.Key.Channel, until) {
		return time.Time{}, false
	}
	return until, held
}

// aheadWords say when a run will probably end, and ask.
func (v Voice) aheadWords(r Reminder, now time.Time) (subject, text string) {
	a := r.Action
	subject = "The run of " + nameOr(a.Pump, "the pump") + " will probably end "
	if lead := a.Opens.Sub(a.Due); a.DueLow != nil && a.DueHigh != nil {
		subject += v.fromTo(a.DueLow.Add(lead), a.DueHigh.Add(lead), now)
	} else {
		subject += "about " + v.When(a.Opens, now)
	}
	text = subject + ".\n" +
		"That is by the lengths of its own runs. Word of the drain would wait for the end of your quiet hours at " + v.When(r.Until, now) + ".\n" +
		"Leave it, or be woken this once?\n"
	if link := v.link(a.ID); link != "" && v.Signer == nil {
		text += "Answer: " + link + "\n"
	}
	return subject, text
}

// fromTo writes two instants, with the day of the second only if it is another.
func (v Voice) fromTo(from, to, now time.Time) string {
	zone := v.Zone
	if zone == nil {
		zone = time.UTC
	}
	end := v.When(to, now)
	if from.In(zone).Format(time.DateOnly) == to.In(zone).Format(time.DateOnly) {
		end = to.In(zone).Format("15:04")
	}
	return v.When(from, now) + "–" + end
}
