package notify

import (
	"strconv"
	"strings"
	"time"
)

// parts are a reminder and all that goes in the same message, each by itself.
func (r Reminder) parts() []Reminder {
	first := r
	first.With = nil
	return append(append(make([]Reminder, 0, 1+len(r.With)), first), r.With...)
}

// only is what is left of a reminder and of what goes with it.
func (r Reminder) only(wanted func(Reminder) bool) (left Reminder, ok bool) {
	var with []Reminder
	if len(r.With) > 0 {
		with = make([]Reminder, 0, len(r.With))
	}
	for _, part := range r.parts() {
		switch {
		case !wanted(part):
		case !ok:
			left, ok = part, true
		default:
			with = append(with, part)
		}
	}
	if len(with) > 0 {
		left.With = with
	}
	return left, ok
}

// ID is the key's, or that of all the keys in the message: the same on every repeat of the
// same content, another for another.
func (r Reminder) ID() string {
	if len(r.With) == 0 {
		return r.Key.ID()
	}
	var all []string
	for _, part := range r.parts() {
		all = append(all, part.Key.ID())
	}
	return idOf(all...)
}

// messageID is the ID of a message that carries more than one; else empty.
func (r Reminder) messageID() string {
	if len(r.With) == 0 {
		return ""
	}
	return r.ID()
}

// merged makes one message of what is due now on a channel that people read, the most
// urgent first.
func merged(send []Reminder, read map[string]bool) []Reminder {
	var all []Reminder
	first := map[string]int{}
	for _, r := range send {
		i, there := first[r.Key.Channel]
		switch {
		case !there:
			first[r.Key.Channel] = len(all)
			all = append(all, r)
		case read[r.Key.Channel]:
			all[i].With = append(all[i].With, r)
		default:
			all = append(all, r)
		}
	}
	return all
}

const (
	maxWhole = 12  // reminders of one message that are written out
	maxLines = 100 // those that get a line
)

// together words a message of several reminders: each as it would be alone, and if they are
// many, the later ones in a line each.
func (v Voice) together(r Reminder, now time.Time) (subject, text string) {
	parts := r.parts()
	subject = v.gathered(parts, now) + ". First: " + v.Compose(parts[0], now).Subject
	var b strings.Builder
	b.WriteString(subject + ".\n")
	for i, part := range parts[:min(len(parts), maxLines)] {
		m := v.Compose(part, now)
		switch {
		case i < maxWhole:
			b.WriteString("\n" + m.Text)
		case i == maxWhole:
			b.WriteString("\nAlso:\n- " + m.Subject + "\n")
		default:
			b.WriteString("- " + m.Subject + "\n")
		}
	}
	if more := len(parts) - maxLines; more > 0 {
		b.WriteString("and " + strconv.Itoa(more) + " more: sumpbook next shows them all.\n")
	}
	return subject, b.String()
}

// gathered says how many reminders there are and why they come together.
func (v Voice) gathered(parts []Reminder, now time.Time) string {
	n := strconv.Itoa(len(parts))
	held, off := true, true
	for _, part := range parts {
		held = held && part.Held
		off = off && part.Off != Stretch{}
	}
	switch gap := parts[0].Off; {
	case off:
		return n + " things came due while I was off (" + v.fromTo(gap.From, gap.To, now) + ")"
	case held:
		return n + " reminders from your quiet hours"
	}
	return n + " reminders"
}
