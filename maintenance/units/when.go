package units

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

const (
	pastExamples   = "write it like now, 20m ago, 21:40, 9:40pm, yesterday 21:40, last night 23:30, tue 18:00 or 2026-11-24 20:24"
	futureExamples = "write it like +2h, in 2h, 07:00, tomorrow 07:00, tue 18:00 or 2026-11-24 20:24"

	longestSpan = 100 * 365 * 24 * time.Hour
)

// ParseTime reads when something happened. A clock time or weekday alone is the latest one not after now;
// "last night" is the evening (18:00 on) of the day before, or the small hours (before 06:00) just past.
// "20m ago" counts elapsed time. A date may carry an offset; without one it is local, and a date alone is
// the start of that day. A date is taken as written even if it lies ahead: how much of the future is
// allowed is the book's rule. The result is in loc. Whatever else is written is refused with examples.
//
// Where clocks change, a local time that does not exist means the next minute that does, and one that
// exists twice means the first.
func ParseTime(text string, now time.Time, loc *time.Location) (time.Time, error) {
	w := when{now: now.In(loc), loc: loc}
	return w.parse(text, pastExamples, w.dated, w.ago, w.past)
}

// ParseFuture reads until when, under the same rules: clock times and weekdays are the next ones after now,
// and "+2h", "in 2h" and "tomorrow 07:00" are understood. A time that is not after now is refused.
func ParseFuture(text string, now time.Time, loc *time.Location) (time.Time, error) {
	w := when{now: now.In(loc), loc: loc}
	t, err := w.parse(text, futureExamples, w.dated, w.ahead, w.future)
	if err == nil && !t.After(now) {
		return time.Time{}, fmt.Errorf("read time %s: %s is not ahead", quoted(text), t.Format("2006-01-02 15:04"))
	}
	return t, err
}

// Describe echoes a time as it was understood: "Tue 21:40, 1 h 24 min ago", with the date once the weekday
// alone would not tell. The clock shown is that of t's location.
func Describe(t, now time.Time) string {
	span := now.Sub(t).Round(time.Minute)
	layout := "Mon 15:04"
	if span >= 6*24*time.Hour || span <= -6*24*time.Hour {
		layout = "Mon 2006-01-02 15:04"
	}
	switch {
	case span > 0:
		return t.Format(layout) + ", " + formatElapsed(span) + " ago"
	case span < 0:
		return t.Format(layout) + ", in " + formatElapsed(-span)
	}
	return t.Format(layout) + ", now"
}

type when struct {
	now time.Time // in loc
	loc *time.Location
}

// errOther is a form's answer to a text that is not its own.
var errOther = errors.New("not this form")

func (w when) parse(text, examples string, forms ...func(string) (time.Time, error)) (time.Time, error) {
	if len(text) > maxText {
		return time.Time{}, fmt.Errorf("read time %s: longer than %d bytes", quoted(text), maxText)
	}
	words := strings.Join(strings.Fields(text), " ")
	for _, form := range forms {
		t, err := form(words)
		if errors.Is(err, errOther) {
			continue
		}
		if err != nil {
			return time.Time{}, fmt.Errorf("read time %s: %w", quoted(text), err)
		}
		return t.In(w.loc), nil
	}
	return time.Time{}, fmt.Errorf("read time %s: not understood; %s", quoted(text), examples)
}

var dateForm = regexp.MustCompile(`^(\d{4}-\d\d-\d\d)(?:[T ](\d\d:\d\d)(:\d\d(?:\.\d{1,9})?)?)?(?: ?(Z|[+-]\d\d(?::?\d\d)?))?$`)

// dated reads RFC 3339 and the shorter forms of it.
func (w when) dated(text string) (time.Time, error) {
	m := dateForm.FindStringSubmatch(text)
	if m == nil {
		return time.Time{}, errOther
	}
	date, clock, seconds, zone := m[1], m[2], m[3], m[4]
	if clock == "" && zone != "" {
		return time.Time{}, errors.New("an offset belongs to a time of day, not to a date alone")
	}
	if clock == "" {
		clock = "00:00"
	}
	if seconds == "" {
		seconds = ":00"
	}
	wall, err := time.Parse("2006-01-02T15:04:05", date+"T"+clock+seconds)
	if err != nil {
		return time.Time{}, errors.New("there is no such date or time of day")
	}
	if zone == "" {
		return local(wall, w.loc), nil
	}
	offset, err := offsetOf(zone)
	return wall.Add(-offset), err
}

func offsetOf(zone string) (time.Duration, error) {
	if zone == "Z" {
		return 0, nil
	}
	digits := strings.ReplaceAll(zone[1:], ":", "") + "00"
	hours, _ := strconv.Atoi(digits[:2])
	minutes, _ := strconv.Atoi(digits[2:4])
	if hours > 23 || minutes > 59 {
		return 0, fmt.Errorf("there is no offset %s", zone)
	}
	offset := time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute
	if zone[0] == '-' {
		offset = -offset
	}
	return offset, nil
}

// ago reads now and the elapsed spans.
func (w when) ago(text string) (time.Time, error) {
	if strings.EqualFold(text, "now") {
		return w.now, nil
	}
	span, ok := cutSuffixFold(text, " ago")
	if !ok {
		return time.Time{}, errOther
	}
	d, err := elapsed(span)
	return w.now.Add(-d), err
}

func (w when) ahead(text string) (time.Time, error) {
	span, ok := strings.CutPrefix(text, "+")
	if !ok {
		span, ok = cutPrefixFold(text, "in ")
	}
	if !ok {
		return time.Time{}, errOther
	}
	d, err := elapsed(span)
	return w.now.Add(d), err
}

func elapsed(span string) (time.Duration, error) {
	seconds, err := ConvertText(span, Second)
	switch {
	case errors.Is(err, ErrNoUnit):
		return 0, fmt.Errorf("no unit after the number: write %sm or %sh", span, span)
	case err != nil:
		return 0, err
	case seconds < 0 || strings.HasPrefix(span, "+"):
		return 0, errors.New("a sign before the span")
	case seconds > longestSpan.Seconds():
		return 0, errors.New("more than a hundred years")
	}
	return time.Duration(seconds * float64(time.Second)), nil
}

// past reads what hangs on a clock time and lies behind.
func (w when) past(text string) (time.Time, error) {
	word, c, err := dayAndClock(text)
	if err != nil {
		return time.Time{}, err
	}
	switch word {
	case "":
		return w.latest(c, 1), nil
	case "yesterday":
		return w.on(-1, c), nil
	case "last night":
		return w.lastNight(c)
	}
	day, ok := weekday(word)
	if !ok {
		return time.Time{}, errOther
	}
	back := (int(w.now.Weekday()) - int(day) + 7) % 7
	if t := w.on(-back, c); !t.After(w.now) {
		return t, nil
	}
	return w.on(-back-7, c), nil
}

func (w when) future(text string) (time.Time, error) {
	word, c, err := dayAndClock(text)
	if err != nil {
		return time.Time{}, err
	}
	switch word {
	case "":
		return w.next(0, 1, c), nil
	case "tomorrow":
		return w.on(1, c), nil
	}
	day, ok := weekday(word)
	if !ok {
		return time.Time{}, errOther
	}
	return w.next((int(day)-int(w.now.Weekday())+7)%7, 7, c), nil
}

// latest is the latest occurrence of a clock time, at most so many days back.
func (w when) latest(c clock, days int) time.Time {
	if t := w.on(0, c); !t.After(w.now) {
		return t
	}
	return w.on(-days, c)
}

func (w when) next(days, step int, c clock) time.Time {
	if t := w.on(days, c); t.After(w.now) {
		return t
	}
	return w.on(days+step, c)
}

func (w when) lastNight(c clock) (time.Time, error) {
	switch {
	case c.hour >= 18:
		return w.on(-1, c), nil
	case c.hour < 6:
		return w.latest(c, 1), nil
	}
	return time.Time{}, errors.New("last night is from 18:00 to 06:00")
}

// on is a clock time on the day so many days from today.
func (w when) on(days int, c clock) time.Time {
	y, m, d := w.now.Date()
	return local(time.Date(y, m, d+days, c.hour, c.minute, c.second, 0, time.UTC), w.loc)
}

type clock struct{ hour, minute, second int }

var clockForm = regexp.MustCompile(`(?i)^(?:([a-z][a-z ]*) )?(\d{1,2})(?::(\d\d)(?::(\d\d))?)?(?: ?(am|pm))?$`)

// dayAndClock splits "last night 9:40pm" into lower-case words and a clock time.
func dayAndClock(text string) (string, clock, error) {
	m := clockForm.FindStringSubmatch(text)
	if m == nil || m[3] == "" && m[5] == "" {
		return "", clock{}, errOther
	}
	hour, _ := strconv.Atoi(m[2])
	minute, _ := strconv.Atoi("0" + m[3])
	second, _ := strconv.Atoi("0" + m[4])
	half := strings.ToLower(m[5])
	if hour > 23 || minute > 59 || second > 59 || half != "" && (hour < 1 || hour > 12) {
		return "", clock{}, errors.New("there is no such time of day")
	}
	if half != "" {
		hour %= 12
	}
	if half == "pm" {
		hour += 12
	}
	return strings.ToLower(m[1]), clock{hour, minute, second}, nil
}

// weekday knows the full names and the first three letters.
func weekday(word string) (time.Weekday, bool) {
	for day := time.Sunday; day <= time.Saturday; day++ {
		name := strings.ToLower(day.String())
		if word == name || word == name[:3] {
			return day, true
		}
	}
	return 0, false
}

// local finds the instant that clocks in loc show as the given wall time (a UTC time used as plain figures).
// time.Date promises neither the first of two nor the next minute in a gap, hence this. A day each way
// covers every offset; zones do not change twice in that time.
func local(wall time.Time, loc *time.Location) time.Time {
	_, before := wall.Add(-26 * time.Hour).In(loc).Zone()
	_, after := wall.Add(26 * time.Hour).In(loc).Zone()
	for _, offset := range []int{max(before, after), min(before, after)} { // the larger offset is the earlier instant
		t := wall.Add(-time.Duration(offset) * time.Second).In(loc)
		if _, shown := t.Zone(); shown == offset {
			return t
		}
	}
	start, _ := wall.Add(-time.Duration(before) * time.Second).In(loc).ZoneBounds()
	return start
}

func cutPrefixFold(text, prefix string) (string, bool) {
	if len(text) < len(prefix) || !strings.EqualFold(text[:len(prefix)], prefix) {
		return text, false
	}
	return text[len(prefix):], true
}

func cutSuffixFold(text, suffix string) (string, bool) {
	at := len(text) - len(suffix)
	if at < 0 || !strings.EqualFold(text[at:], suffix) {
		return text, false
	}
	return text[:at], true
}
