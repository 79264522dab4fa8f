package notify

import (
	"context"
	"errors"
	"strconv"
	"strings"
	"time"
	"unicode"

	"sumpbook/maintenance"
)

// A Message is one reminder in words, on its way to one person or program.
type Message struct {
	ID      string // the same on every repeat of the same reminder
	Key     Key
	Subject string // one short line
	Text    string // lines, without markup
	Action  maintenance.Action
	Test    bool
	SentAt  time.Time
}

// A Channel carries a message to the other end. Send gives the other end's words. Its error
// wraps ErrPermanent if trying again cannot help, and may hold a RetryAfter; it holds no
// secret. Send ends when ctx does.
type Channel interface {
	Name() string
	Send(ctx context.Context, m Message) (said string, err error)
}

// ErrPermanent ends the tries of a reminder.
var ErrPermanent = errors.New("trying again cannot help")

// RetryAfter is an error whose other end said how long to wait.
type RetryAfter struct {
	Wait time.Duration
	Err  error
}

func (r *RetryAfter) Error() string { return r.Err.Error() }

// Unwrap gives what went wrong.
func (r *RetryAfter) Unwrap() error { return r.Err }

// secrets are texts that no error and no notice may hold.
type secrets []string

const maxDetail = 200

// cut makes one short line of what the other end or the network said, without the secrets.
func (s secrets) cut(text string) string {
	for _, secret := range s {
		if secret != "" {
			text = strings.ReplaceAll(text, secret, "…")
		}
	}
	text = oneLine(text)
	if runes := []rune(text); len(runes) > maxDetail {
		return string(runes[:maxDetail]) + "…"
	}
	return text
}

// oneLine turns control characters, line ends among them, into single blanks.
func oneLine(text string) string {
	blank := func(r rune) bool { return unicode.IsSpace(r) || !unicode.IsPrint(r) }
	return strings.Join(strings.FieldsFunc(strings.ToValidUTF8(text, ""), blank), " ")
}

// TestReminder asks for nothing: it shows that a channel works. It has a key of its own, by
// the second.
func TestReminder(channel string, now time.Time) Reminder {
	id := "test/" + channel + "/" + strconv.FormatInt(now.Unix(), 10)
	return Reminder{
		Key:    Key{Action: id, Stage: Opened, Channel: channel},
		Action: maintenance.Action{ID: id, Do: maintenance.DoCheck, Opens: now, Due: now, State: maintenance.Open},
		Since:  now, Reason: "a test", Attempt: 1, Test: true,
	}
}
