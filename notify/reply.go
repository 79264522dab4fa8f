package notify

import (
	"strings"
	"time"

	"sumpbook/maintenance"
)

// A Reply is one way to answer a reminder where it arrives.
type Reply string

// The replies. Done, hour, tonight and skip each record one entry; seen and wake are of the
// reminder alone, and leave a notice.
const (
	ReplyDone    Reply = "done"    // what the action asks for, as it stands prefilled
	ReplyHour    Reply = "hour"    // a snooze of an hour
	ReplyTonight Reply = "tonight" // a snooze, as Tonight says
	ReplySkip    Reply = "skip"    // set aside, with the reason
	ReplySeen    Reply = "seen"    // no repeats of this stage
	ReplyWake    Reply = "wake"    // this night, quiet hours do not hold it
)

// replies are all of them; a token names one by its place, so that new ones go at the end.
var replies = []Reply{ReplyDone, ReplyHour, ReplyTonight, ReplySkip, ReplySeen, ReplyWake}

// offered are the replies that a reminder carries, and what they are called.
var offered = []struct {
	Reply
	label string
}{
	{ReplyDone, "Done"}, {ReplyHour, "In an hour"}, {ReplyTonight, "Tonight"}, {ReplySkip, "Set aside"}, {ReplySeen, "Seen"},
}

// Records says whether the reply records an entry.
func (r Reply) Records() bool { return r != ReplySeen && r != ReplyWake }

// Outcome is what the reply makes of the reminder.
func (r Reply) Outcome() Outcome {
	switch r {
	case ReplySeen:
		return Seen
	case ReplyWake:
		return Wake
	}
	return Answered
}

// Suits says whether an action can be answered so: what asks for no entry cannot be done by
// a tap, and a pump that runs without oil cannot wait.
func (r Reply) Suits(a maintenance.Action) bool {
	switch r {
	case ReplyDone:
		return a.Record.Act != nil && a.Record.Act.Kind() != "pump" // to declare one takes a person's numbers
	case ReplyHour, ReplyTonight:
		return a.Do != maintenance.DoStopPump
	}
	return true
}

// setAside stands for the reason of a skip until a person gives another.
const setAside = "set aside from a reminder"

// Entry is what the reply records at now, without id, time and author; ok is false if it
// does not suit the action, or records nothing.
func (r Reply) Entry(a maintenance.Action, now time.Time, zone *time.Location) (e maintenance.Entry, ok bool) {
	if !r.Suits(a) {
		return e, false
	}
	switch r {
	case ReplyDone:
		return a.Record, true
	case ReplyHour:
		return maintenance.Entry{Act: &maintenance.SnoozeAct{Action: a.ID, Until: now.Add(time.Hour).Truncate(time.Second)}}, true
	case ReplyTonight:
		return maintenance.Entry{Act: &maintenance.SnoozeAct{Action: a.ID, Until: Tonight(now, zone)}}, true
	case ReplySkip:
		return maintenance.Entry{Act: &maintenance.SkipAct{Action: a.ID}, Note: setAside}, true
	}
	return e, false
}

// Minutes of the local day for Tonight, and how near the evening may be: rules of this
// project, no source.
const (
	duskMin   = 20 * 60
	dawnMin   = 8 * 60
	tooSoon   = 30 * time.Minute
	linkGrace = 2 * 24 * time.Hour
	linkLife  = 14 * 24 * time.Hour
)

// Tonight is when "tonight" is over: 20:00 of this local day, or 08:00 of the next if that
// is past or less than half an hour away. A nil zone is UTC.
func Tonight(now time.Time, zone *time.Location) time.Time {
	if zone == nil {
		zone = time.UTC
	}
	year, month, day := now.In(zone).Date()
	if t := localInstant(year, month, day, duskMin, zone); t.Sub(now) >= tooSoon {
		return t
	}
	return localInstant(year, month, day+1, dawnMin, zone)
}

// expiry is how long the links of a reminder are good: two days past the end of the
// action's window, and at most fourteen days from now.
func expiry(a maintenance.Action, now time.Time) time.Time {
	end := a.Due
	if a.Closes != nil && a.Closes.After(end) {
		end = *a.Closes
	}
	if end.Before(now) {
		end = now
	}
	end = end.Add(linkGrace)
	if last := now.Add(linkLife); end.After(last) {
		end = last
	}
	return end.Truncate(time.Minute)
}

// A Link leads to the page with one button that answers a reminder.
type Link struct {
	Action string // id of the action it answers
	Reply  Reply
	Label  string // a word or two: "In an hour"
	URL    string // a secret until it is used: whoever has it can answer
}

// Links are the ways to answer a reminder, and each of those that are written out in the
// same message: none to a test, to a bulletin or to word that something is done, and none
// without a Signer or an address. A look-ahead asks only whether to wake somebody.
func (v Voice) Links(r Reminder, now time.Time) (all []Link) {
	if v.Signer == nil || v.BaseURL == "" {
		return nil
	}
	parts := r.parts()
	for _, part := range parts[:min(len(parts), maxWhole)] {
		k := part.Key
		switch {
		case part.Test || bulletin(k.Stage) || k.Stage == Done:
			continue
		case part.Wakes():
			all = append(all, v.signed(k, ReplyWake, "Wake me", part.Action, now), v.signed(k, ReplySeen, "Leave it", part.Action, now))
			continue
		}
		for _, o := range offered {
			if o.Suits(part.Action) {
				all = append(all, v.signed(k, o.Reply, o.label, part.Action, now))
			}
		}
	}
	return all
}

func (v Voice) signed(k Key, r Reply, label string, a maintenance.Action, now time.Time) Link {
	token := v.Signer.Sign(Token{Key: k, Reply: r, Expires: expiry(a, now)})
	return Link{Action: k.Action, Reply: r, Label: label, URL: strings.TrimSuffix(v.BaseURL, "/") + "/a/" + token}
}
