package calendar

import (
	"bytes"
	"net/url"
	"strings"
	"testing"
	"time"

	ical "github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"
)

// requireRead has another program read a rendering back, and compares every field.
func requireRead(t require.TestingT, l Ledger, o Options) {
	written := Render(shown(l), o)
	requireLines(t, written)
	cal, err := ical.NewDecoder(bytes.NewReader(written)).Decode()
	require.NoError(t, err)
	for name, want := range map[string]string{
		"VERSION": "2.0", "PRODID": "-//sumpbook//calendar//EN", "CALSCALE": "GREGORIAN", "NAME": o.Name, "X-WR-CALNAME": o.Name,
		"COLOR": "darkgoldenrod", "X-PUBLISHED-TTL": "PT1H",
	} {
		require.Equal(t, want, text(t, cal.Component, name), name)
	}
	every, err := cal.Props.Get("REFRESH-INTERVAL").Duration()
	require.NoError(t, err)
	require.Equal(t, time.Hour, every)
	require.Contains(t, string(written), "\r\nREFRESH-INTERVAL;VALUE=DURATION:PT1H\r\n", "the library writes the parameter, and a second one if told")
	require.Len(t, cal.Children, len(shown(l)))
	for i, r := range shown(l) {
		requireRecord(t, r, cal.Children[i], o)
	}
}

// requireLines checks what a lenient reader lets pass: line ends, lengths, letters.
func requireLines(t require.TestingT, written []byte) {
	lines := strings.Split(string(written), "\r\n")
	require.Empty(t, lines[len(lines)-1], "the last line ends too")
	for _, line := range lines {
		require.LessOrEqual(t, len(line), 75, line)
		require.NotContains(t, line, "\n")
		require.NotContains(t, line, "\r")
	}
	require.Equal(t, string(written), strings.ToValidUTF8(string(written), "?"), "no letter is cut in two") // by line: each is whole
	for _, line := range lines {
		require.Equal(t, line, strings.ToValidUTF8(line, "?"))
	}
}

func text(t require.TestingT, c *ical.Component, name string) string {
	require.Len(t, c.Props[name], 1, name)
	value, err := c.Props.Get(name).Text()
	require.NoError(t, err)
	return value
}

func instant(t require.TestingT, c *ical.Component, name string) time.Time {
	require.Len(t, c.Props[name], 1, name)
	p := c.Props.Get(name)
	require.True(t, strings.HasSuffix(p.Value, "Z"), "%s is not in UTC", name)
	require.Empty(t, p.Params, name)
	at, err := p.DateTime(time.FixedZone("elsewhere", -7*3600))
	require.NoError(t, err)
	return at
}

func date(t require.TestingT, c *ical.Component, name string) string {
	require.Len(t, c.Props[name], 1, name)
	require.Equal(t, "DATE", c.Props.Get(name).Params.Get("VALUE"))
	at, err := c.Props.Get(name).DateTime(time.UTC)
	require.NoError(t, err)
	return at.Format(time.DateOnly)
}

func requireRecord(t require.TestingT, r Record, c *ical.Component, o Options) {
	require.Equal(t, "action-"+r.ID+"@"+o.Installation, text(t, c, "UID"))
	sequence, err := c.Props.Get("SEQUENCE").Int()
	require.NoError(t, err)
	require.Equal(t, r.Sequence, sequence)
	require.True(t, r.Changed.Equal(instant(t, c, "DTSTAMP")))
	require.True(t, r.Changed.Equal(instant(t, c, "LAST-MODIFIED")))
	require.Equal(t, r.summary(), text(t, c, "SUMMARY"))
	require.Equal(t, r.description(zoneOf(o.Zone)), text(t, c, "DESCRIPTION"))
	if o.Base == "" {
		require.Empty(t, c.Props["URL"])
	} else {
		require.Len(t, c.Props["URL"], 1)
		u, err := url.Parse(c.Props.Get("URL").Value)
		require.NoError(t, err)
		require.Equal(t, "/actions/"+r.ID, u.Path)
		require.Equal(t, o.Base, u.Scheme+"://"+u.Host)
	}
	if o.Todo {
		requireTodo(t, r, c)
	} else {
		requireEvent(t, r, c)
	}
	if !o.Alarms || r.Status == Gone {
		require.Empty(t, c.Children)
		return
	}
	require.Len(t, c.Children, 1)
	a := c.Children[0]
	require.Equal(t, "VALARM", a.Name)
	require.Equal(t, "DISPLAY", text(t, a, "ACTION"))
	require.Equal(t, r.summary(), text(t, a, "DESCRIPTION"))
	rings, err := a.Props.Get("TRIGGER").Duration()
	require.NoError(t, err)
	require.Equal(t, r.Day != "", rings == 9*time.Hour)
	require.Equal(t, o.Todo, a.Props.Get("TRIGGER").Params.Get("RELATED") == "END")
}

func requireEvent(t require.TestingT, r Record, c *ical.Component) {
	require.Equal(t, "VEVENT", c.Name)
	require.Equal(t, "TRANSPARENT", text(t, c, "TRANSP"))
	status := map[Status]string{Expected: "TENTATIVE", Planned: "CONFIRMED", Open: "CONFIRMED", Overdue: "CONFIRMED", Gone: "CANCELLED"}
	require.Equal(t, status[r.Status], text(t, c, "STATUS"))
	if r.Day != "" {
		require.Equal(t, r.Day, date(t, c, "DTSTART"))
		require.Greater(t, date(t, c, "DTEND"), r.Day)
		return
	}
	start, end := instant(t, c, "DTSTART"), instant(t, c, "DTEND")
	require.True(t, start.Before(end))
	require.False(t, start.Before(r.Opens) || end.After(r.Due) && end.Sub(start) != moment)
	require.LessOrEqual(t, end.Sub(start), longest)
}

func requireTodo(t require.TestingT, r Record, c *ical.Component) {
	require.Equal(t, "VTODO", c.Name)
	require.Equal(t, r.Status == Gone, text(t, c, "STATUS") == "CANCELLED")
	require.Equal(t, r.Status != Gone, text(t, c, "STATUS") == "NEEDS-ACTION")
	if r.Day != "" {
		require.Equal(t, r.Day, date(t, c, "DUE"))
		return
	}
	require.True(t, r.Due.Equal(instant(t, c, "DUE")))
	if r.Opens.Before(r.Due) {
		require.True(t, r.Opens.Equal(instant(t, c, "DTSTART")))
	} else {
		require.Empty(t, c.Props["DTSTART"], "a task may not begin when it is due")
	}
}

func TestTheReaderSeesWhatIsWrong(t *testing.T) {
	_, err := ical.NewDecoder(strings.NewReader("BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nEND:VCALENDAR\r\n")).Decode()
	require.Error(t, err)
}
