package calendar

import (
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode"

	ics "github.com/arran4/golang-ical"
)

// Options are what a rendering rests on besides the records.
type Options struct {
	Installation string         // the book's own id, made once: the second half of each UID
	Name         string         // of the calendar
	Base         string         // address of the page, without a slash at the end; empty: no links
	Zone         *time.Location // of the times in descriptions; nil is UTC
	Todo         bool           // tasks in the place of events
	Alarms       bool           // an alarm for each that is not gone
}

const (
	utcForm = "20060102T150405Z" // RFC 5545 3.3.5, form 2: needs no time zone
	dayForm = "20060102"

	// Rules of this project, no source. What has no window of its own is shown as so long;
	// of a window longer than a day only its end is, so that no bar lies across the week.
	moment  = 30 * time.Minute
	longest = 24 * time.Hour
)

// Render writes records as a calendar. It has no METHOD: it is no invitation, and PUBLISH
// would want an organizer (RFC 5546 3.2.1).
func Render(records []Record, o Options) []byte {
	cal := ics.NewCalendarFor("sumpbook")
	cal.SetProductId("-//sumpbook//calendar//EN")
	cal.SetCalscale("GREGORIAN")
	cal.SetName(plain(o.Name)) // NAME and X-WR-CALNAME
	cal.SetColor("darkgoldenrod")
	cal.SetRefreshInterval("PT1H") // the library adds VALUE=DURATION
	cal.SetXPublishedTTL("PT1H")
	for _, r := range records {
		if o.Todo {
			cal.AddVTodo(o.todo(r))
		} else {
			cal.AddVEvent(o.event(r))
		}
	}
	return []byte(cal.Serialize(ics.WithNewLineWindows))
}

func (o Options) event(r Record) *ics.VEvent {
	e := ics.NewEvent(o.uid(r))
	o.common(&e.ComponentBase, r)
	if r.Day != "" {
		day, _ := time.Parse(time.DateOnly, r.Day) // ours; a wrong one is shown as what it is
		setDay(&e.ComponentBase, ics.ComponentPropertyDtStart, day)
		setDay(&e.ComponentBase, ics.ComponentPropertyDtEnd, day.AddDate(0, 0, 1)) // exclusive
	} else {
		start, end := r.slot()
		setTime(&e.ComponentBase, ics.ComponentPropertyDtStart, start)
		setTime(&e.ComponentBase, ics.ComponentPropertyDtEnd, end)
	}
	e.SetProperty(ics.ComponentPropertyStatus, r.Status.ofEvent())
	e.SetProperty(ics.ComponentPropertyTransp, string(ics.TransparencyTransparent))
	if o.Alarms && r.Status != Gone {
		alarm(e.AddAlarm(), r, "")
	}
	return e
}

func (o Options) todo(r Record) *ics.VTodo {
	d := ics.NewTodo(o.uid(r))
	o.common(&d.ComponentBase, r)
	if r.Day != "" {
		day, _ := time.Parse(time.DateOnly, r.Day)
		setDay(&d.ComponentBase, ics.ComponentPropertyDue, day)
	} else {
		if r.Opens.Before(r.Due) { // DUE must come after DTSTART
			setTime(&d.ComponentBase, ics.ComponentPropertyDtStart, r.Opens)
		}
		setTime(&d.ComponentBase, ics.ComponentPropertyDue, r.Due)
	}
	d.SetProperty(ics.ComponentPropertyStatus, r.Status.ofTodo())
	if o.Alarms && r.Status != Gone {
		alarm(d.AddAlarm(), r, "END")
	}
	return d
}

func (o Options) uid(r Record) string { return "action-" + plain(r.ID) + "@" + o.Installation }

// common sets what events and tasks share.
func (o Options) common(c *ics.ComponentBase, r Record) {
	setTime(c, ics.ComponentPropertyDtstamp, r.Changed)
	setTime(c, ics.ComponentPropertyLastModified, r.Changed)
	c.SetProperty(ics.ComponentPropertySequence, strconv.Itoa(r.Sequence))
	c.SetProperty(ics.ComponentPropertySummary, plain(r.summary()))
	c.SetProperty(ics.ComponentPropertyDescription, plain(r.description(zoneOf(o.Zone))))
	if o.Base != "" {
		c.SetProperty(ics.ComponentPropertyUrl, o.Base+"/actions/"+url.PathEscape(r.ID))
	}
}

func setTime(c *ics.ComponentBase, name ics.ComponentProperty, t time.Time) {
	c.SetProperty(name, t.UTC().Format(utcForm))
}

func setDay(c *ics.ComponentBase, name ics.ComponentProperty, day time.Time) {
	c.SetProperty(name, day.Format(dayForm), ics.WithValue("DATE"))
}

// slot is where in the calendar a timed event lies.
func (r Record) slot() (start, end time.Time) {
	switch window := r.Due.Sub(r.Opens); {
	case window <= 0:
		return r.Opens, r.Opens.Add(moment)
	case window > longest:
		return r.Due.Add(-moment), r.Due
	}
	return r.Opens, r.Due
}

// alarm rings when an event starts or a task is due; of a whole day, at nine.
func alarm(a *ics.VAlarm, r Record, related string) {
	trigger := "PT0S"
	if r.Day != "" {
		trigger = "PT9H"
	}
	a.SetAction(ics.ActionDisplay)
	a.SetProperty(ics.ComponentPropertyDescription, plain(r.summary()))
	if related != "" {
		a.SetTrigger(trigger, &ics.KeyValues{Key: string(ics.ParameterRelated), Value: []string{related}})
		return
	}
	a.SetTrigger(trigger)
}

func (s Status) ofEvent() string {
	switch s {
	case Expected:
		return string(ics.ObjectStatusTentative)
	case Gone:
		return string(ics.ObjectStatusCancelled)
	}
	return string(ics.ObjectStatusConfirmed)
}

// ofTodo is never COMPLETED: an action that is gone may be done, set aside, or no longer so.
func (s Status) ofTodo() string {
	if s == Gone {
		return string(ics.ObjectStatusCancelled)
	}
	return string(ics.ObjectStatusNeedsAction)
}

var before = map[Status]string{Expected: "Expected: ", Overdue: "Overdue: ", Gone: "No longer asked: "}

func (r Record) summary() string { return before[r.Status] + r.Task }

func (r Record) description(zone *time.Location) string {
	const form = "Mon 2 Jan 2006 15:04 MST"
	at := func(t time.Time) string { return t.In(zone).Format(form) }
	var lines []string
	switch {
	case r.Status == Gone:
		lines = append(lines, "It is done, was set aside, or is no longer so.")
	case r.Low != nil && r.High != nil:
		lines = append(lines, "Expected between "+at(*r.Low)+" and "+at(*r.High)+".")
	case r.Status == Expected:
		lines = append(lines, "Expected from "+at(r.Opens)+" to "+at(r.Due)+".")
	case r.Opens.Before(r.Due):
		lines = append(lines, "From "+at(r.Opens)+" to "+at(r.Due)+".")
	default:
		lines = append(lines, "From "+at(r.Opens)+".")
	}
	for _, why := range r.Reasons {
		lines = append(lines, "Because: "+why+".")
	}
	for _, c := range r.Cautions {
		lines = append(lines, "Careful: "+strings.TrimSuffix(c, ".")+".")
	}
	lines = append(lines, "As of "+at(r.Changed)+".")
	return strings.Join(lines, "\n")
}

func allPlain(texts []string) []string {
	all := make([]string, len(texts))
	for i, s := range texts {
		all[i] = plain(s)
	}
	return all
}

// plain leaves out what a calendar's text cannot hold: control characters but tab and line
// end (RFC 5545 3.3.11), and broken UTF-8.
func plain(s string) string {
	s = strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\r\n", "\n")
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\t' {
			return -1
		}
		return r
	}, s)
}
