// Package notify decides which reminders are due and carries one to a person over one
// channel.
//
// What is due is a pure function of the actions, of the notices already written and of
// now. Every attempt and its outcome is a Notice, on disk before and after the send, so a
// crash repeats a reminder at most once, under the same key.
package notify

import (
	"crypto/sha256"
	"encoding/base32"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Stage is the part of an action's window a reminder speaks of.
type Stage string

// The stages of a reminder.
const (
	Opened  Stage = "opened"
	Again   Stage = "again"
	Closing Stage = "closing"
	Overdue Stage = "overdue"
	Done    Stage = "done"
	Daily   Stage = "digest" // the day's plan; only on channels that people read
	Weekly  Stage = "weekly" // that all is well, or what is not; only there as well
)

// rank orders the stages of a window; 0 is no part of it.
func (s Stage) rank() int { return slices.Index([]Stage{Opened, Closing, Overdue}, s) + 1 }

// bulletin says that a stage speaks of the house and of no action.
func bulletin(s Stage) bool { return s == Daily || s == Weekly }

// A Key names one reminder on one channel: the same on every repeat, another for another.
// Count is 0 for what a person hears first. It differs for each repeat of `again`, after
// each snooze, and when an action that was said to be done is open after all; it is below 0
// for word ahead of a night in which a window opens and closes.
type Key struct {
	Action  string `json:"action"`
	Stage   Stage  `json:"stage"`
	Count   int    `json:"count"`
	Channel string `json:"channel"`
}

// ID is a short name for the key that is safe in a header: 26 letters and digits after
// "r-", made of the SHA-256 of its parts. It travels with each delivery.
func (k Key) ID() string {
	return idOf(k.Action, string(k.Stage), strconv.Itoa(k.Count), k.Channel)
}

func idOf(parts ...string) string {
	h := sha256.New()
	for _, part := range parts {
		h.Write([]byte(strconv.Itoa(len(part)) + ":" + part)) // the length keeps the parts apart
	}
	return "r-" + strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(h.Sum(nil)[:16]))
}

// Outcome is what became of a reminder.
type Outcome string

// The outcomes, in the order in which they can follow each other.
const (
	Held       Outcome = "held"       // due, but inside quiet hours; Until says when it may go
	Attempted  Outcome = "attempted"  // written before the send: the outcome is unknown until the next notice
	Delivered  Outcome = "delivered"  // the other end said yes
	Retry      Outcome = "retry"      // the send failed in a way that may heal; Until says when to try again
	GaveUp     Outcome = "gave up"    // the send failed for good, or too often
	Superseded Outcome = "superseded" // no longer worth saying: done, skipped or replaced by a later stage
	Seen       Outcome = "seen"       // By has seen it: no repeat and no escalation of this stage
	Wake       Outcome = "wake"       // By is to be woken in the night that the reminder was ahead of
	Answered   Outcome = "answered"   // By has answered it: Reply says how, Entry what it recorded
)

// A Notice is one line of the reminders' record. Seq is given by the journal.
type Notice struct {
	Seq     uint64     `json:"seq"`
	At      time.Time  `json:"at"`
	Key     Key        `json:"key"`
	Outcome Outcome    `json:"outcome"`
	Attempt int        `json:"attempt,omitzero"` // 1, 2, 3, … for attempted, retry, gave up, delivered
	Until   *time.Time `json:"until,omitzero"`
	Detail  string     `json:"detail,omitzero"` // the other end's words, or why it was held or dropped
	About   *About     `json:"about,omitzero"`  // with attempted
	Test    bool       `json:"test,omitzero"`   // a test reminder: it counts for nothing
	In      string     `json:"in,omitzero"`     // the id of the message that carried it with others
	By      string     `json:"by,omitzero"`     // of seen, wake and answered: who said so
	Reply   Reply      `json:"reply,omitzero"`
	Entry   string     `json:"entry,omitzero"` // the id of what an answer recorded
}

// About is what has to be known of an action once it is gone, to say that it is done.
type About struct {
	Pump   *string    `json:"pump,omitzero"`
	Vessel *string    `json:"vessel,omitzero"`
	Opens  time.Time  `json:"opens"`
	Due    time.Time  `json:"due"`
	Closes *time.Time `json:"closes,omitzero"`
}
