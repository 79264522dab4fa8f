package notify

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/go-json-experiment/json"

	"sumpbook/maintenance"
)

// A Message is one reminder in words, on its way to one person or program.
type Message struct {
	ID      string // the same on every repeat of the same reminder
	Key     Key
	Subject string // one short line
	Text    string // lines, without markup; enough without the links
	Links   []Link // the ways to answer it; none of a digest, a test, or word that something is done
	Action  maintenance.Action
	Test    bool
	SentAt  time.Time
}

// forMachines is what a program gets: one action in one JSON object, as webhooks have it.
func (m Message) forMachines() ([]byte, error) {
	body, err := json.Marshal(struct {
		ID     string             `json:"id"`
		Stage  Stage              `json:"stage"`
		Text   string             `json:"text"`
		Action maintenance.Action `json:"action"`
		Links  map[Reply]string   `json:"links,omitzero"`
	}{m.ID, m.Key.Stage, m.Text, m.Action, m.linksByReply()}, json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("write reminder as json: %w: %w", err, ErrPermanent)
	}
	return body, nil
}

// tag is the same for messages of which the newest takes the place of the others: those of
// one action. One that speaks of several is replaced by none.
func (m Message) tag() string {
	if m.ID != m.Key.ID() {
		return m.ID
	}
	return m.Key.Action
}

// below is the text without the subject it begins with, for where that stands above it.
func (m Message) below() string {
	text := strings.ReplaceAll(strings.ToValidUTF8(m.Text, ""), "\x00", "")
	return strings.TrimSpace(strings.TrimPrefix(text, m.Subject+"."))
}

// pressing is how much a message presses: whom it may wake, what may wait behind it.
type pressing int

const (
	relaxed pressing = iota
	usual
	urgent
)

// pressing follows from what is asked: a pump in danger and a window that still closes are
// urgent; upkeep, shopping and what is over can wait. A rule of this project, no source.
func (m Message) pressing() pressing {
	a := m.Action
	switch {
	case m.Test:
		return usual
	case m.Key.Stage == Done, bulletin(m.Key.Stage):
		return relaxed
	case a.Do == maintenance.DoStopPump, a.Closes != nil && m.SentAt.Before(*a.Closes):
		return urgent
	case a.Do == maintenance.DoCare, a.Do == maintenance.DoBuyOil, a.Do == maintenance.DoHandIn:
		return relaxed
	}
	return usual
}

// linksByReply are the links of a message of one action, as programs get them.
func (m Message) linksByReply() map[Reply]string {
	var all map[Reply]string
	for _, l := range m.Links {
		if l.Action != m.Links[0].Action {
			return nil
		}
		if all == nil {
			all = map[Reply]string{}
		}
		all[l.Reply] = l.URL
	}
	return all
}

// tokens are what of a message may stand in no notice: whoever has one can answer.
func (m Message) tokens() secrets {
	var all secrets
	for _, l := range m.Links {
		all = append(all, l.URL[strings.LastIndexByte(l.URL, '/')+1:])
	}
	return all
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
			text = without(text, secret)
		}
	}
	text = oneLine(text)
	if runes := []rune(text); len(runes) > maxDetail {
		return string(runes[:maxDetail]) + "…"
	}
	return text
}

// shortened is how much of a long secret, read from its beginning, is as good as all of it:
// what the other end left away can be tried out.
const shortened = 24

// without hides a secret in a text, also one that blanks or line ends run through, and the
// beginning of a long one that was cut off.
func without(text, secret string) string {
	var out strings.Builder
	for i := 0; i < len(text); {
		n, end := 0, i
		for j := i; j < len(text) && n < len(secret); j++ {
			if text[j] == secret[n] {
				n, end = n+1, j+1
			} else if n == 0 || !strings.ContainsRune(" \t\r\n", rune(text[j])) {
				break
			}
		}
		if n == len(secret) || n >= shortened {
			out.WriteString("…")
			i = end
			continue
		}
		out.WriteByte(text[i])
		i++
	}
	return out.String()
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
