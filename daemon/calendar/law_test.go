package calendar

import (
	"fmt"
	"maps"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance"
)

var start = time.Date(2026, 3, 28, 12, 0, 0, 0, time.UTC) // the night after, clocks in Oslo go forward

func someEvent(t *rapid.T, id string) Event {
	at := rapid.Custom(func(t *rapid.T) time.Time {
		return start.Add(time.Duration(rapid.IntRange(-40, 40).Draw(t, "hours")) * time.Hour)
	})
	e := Event{
		ID: id, Opens: at.Draw(t, "opens"), Task: rapid.SampledFrom([]string{"Drain north", "Drain north into jar-1"}).Draw(t, "task"),
		Status:  rapid.SampledFrom([]Status{Expected, Planned, Open, Overdue}).Draw(t, "status"),
		Reasons: []string{fmt.Sprintf("water: %d g", rapid.IntRange(0, 99).Draw(t, "reason"))},
	}
	e.Due = e.Opens.Add(time.Duration(rapid.IntRange(0, 50).Draw(t, "window")) * time.Hour)
	if rapid.Bool().Draw(t, "whole day") {
		e.Day = e.Due.Format(time.DateOnly)
	}
	return e
}

// A book's life with restarts, clock steps and actions that come back.
func TestLawsOfTheLedger(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, now := Ledger{}, start
		events := map[string]Event{}
		for range rapid.IntRange(1, 25).Draw(t, "looks") {
			id := rapid.SampledFrom([]string{"drain/north/a", "drain/north/b", "decant/jar-1/a"}).Draw(t, "id")
			if rapid.Bool().Draw(t, "asked") {
				events[id] = someEvent(t, id)
			} else {
				delete(events, id)
			}
			now = now.Add(time.Duration(rapid.SampledFrom([]int{0, 1, 24, 15 * 24, -2, -400 * 24}).Draw(t, "hours pass")) * time.Hour)
			was := maps.Clone(l)
			asked := []Event{}
			for _, e := range events {
				asked = append(asked, e)
			}
			changed := l.Changes(asked, now)
			require.Equal(t, was, l, "asking changes nothing")
			l.Put(changed)
			if _, newest := l.Shown(); !newest.After(now) { // else what the clock had run ahead of is forgotten at once
				require.Empty(t, l.Changes(asked, now), "nothing is told twice")
			}
			requireLaws(t, was, l, now)
			for id, e := range events {
				require.Equal(t, e.Status, l[id].Status)
				require.Equal(t, e.Task, l[id].Task)
			}
			requireRead(t, l, usual)
			l = restarted(t, l)
			require.Equal(t, Render(shown(l), usual), Render(shown(l), usual))
		}
	})
}

func requireLaws(t *rapid.T, was, is Ledger, now time.Time) {
	for id, before := range was {
		after, kept := is[id]
		require.True(t, kept, "its number is kept for ever")
		require.False(t, after.Changed.Before(before.Changed), "its stamp never falls")
		moved := before.moved(after.Event)
		require.Equal(t, moved, after.Sequence == before.Sequence+1, "it counts its moves")
		require.Equal(t, !moved, after.Sequence == before.Sequence, "and nothing else")
		switch {
		case !moved && before.Task == after.Task:
			require.Equal(t, before, after, "numbers alone are no news")
		case !now.Before(before.Changed):
			require.Equal(t, now, after.Changed)
		}
	}
	for id, r := range is {
		if _, old := was[id]; !old {
			require.Zero(t, r.Sequence)
			require.Equal(t, now, r.Changed)
		}
		require.Equal(t, id, r.ID)
	}
}

// restarted is the ledger as it comes back from the disk.
func restarted(t require.TestingT, l Ledger) Ledger {
	again := Ledger{}
	for _, r := range l {
		b, err := r.Encode()
		require.NoError(t, err)
		r, err := Decode(b)
		require.NoError(t, err)
		again.Put([]Record{r})
	}
	require.Equal(t, Render(shown(l), usual), Render(shown(again), usual))
	return again
}

func TestWhatIsGoneStaysForFourteenDays(t *testing.T) {
	l := Ledger{}
	e := Event{ID: "drain/north/a", Status: Open, Opens: start, Due: start.Add(time.Hour), Task: "Drain north"}
	look := func(after time.Duration, events ...Event) Record {
		at := start.Add(after)
		l.Put(l.Changes(events, at))
		return l[e.ID]
	}
	const day = 24 * time.Hour
	require.Equal(t, 0, look(0, e).Sequence)
	require.Equal(t, Gone, look(day).Status)
	require.Equal(t, Record{Event{ID: e.ID, Status: Gone, Opens: e.Opens, Due: e.Due, Task: e.Task}, 1, start.Add(day)}, look(15*day-time.Second))
	require.Len(t, shown(l), 1)
	require.Equal(t, Forgotten, look(15*day).Status)
	require.Empty(t, shown(l))
	_, changed := l.Shown()
	require.Equal(t, start.Add(15*day), changed, "that it is no longer shown is news too")
	back := look(400*day, e)
	require.Equal(t, 3, back.Sequence, "withdrawn a year later, it goes on counting")
	require.Equal(t, Open, back.Status)
}

func TestAClockThatWasAheadKeepsNothingForYears(t *testing.T) {
	l := Ledger{}
	e := Event{ID: "drain/north/a", Status: Open, Opens: start, Due: start, Task: "Drain north"}
	ahead := start.AddDate(5, 0, 0)
	l.Put(l.Changes([]Event{e}, ahead))
	l.Put(l.Changes(nil, start))
	require.Equal(t, Gone, l[e.ID].Status)
	require.Equal(t, ahead, l[e.ID].Changed)
	l.Put(l.Changes(nil, start.Add(time.Minute)))
	require.Equal(t, Forgotten, l[e.ID].Status)
}

// Whatever a name holds comes back from another reader, and nothing it holds is read as a
// line of the calendar's own.
func TestTextsComeBack(t *testing.T) {
	letters := rapid.OneOf(
		rapid.SampledFrom([]rune{',', ';', ':', '\\', '\n', '"', ' ', 'n', 'N', '\t', '🫙', '👩', '\u200d', 'ø', '<', '>'}),
		rapid.Rune(),
	)
	rapid.Check(t, func(t *rapid.T) {
		some := rapid.StringOfN(letters, 0, 200, -1)
		r := Record{Event: Event{
			ID: "care/" + plain(strings.ReplaceAll(some.Draw(t, "id"), "\n", "")) + "/x", Status: Open, Opens: start, Due: start.Add(time.Hour),
			Task: plain(some.Draw(t, "task")), Reasons: []string{plain(some.Draw(t, "reason"))}, Cautions: []string{plain(some.Draw(t, "caution"))},
		}, Changed: start}
		o := usual
		o.Name = plain(some.Draw(t, "name"))
		for _, todo := range []bool{false, true} {
			o.Todo, o.Alarms = todo, todo
			requireRead(t, Ledger{r.ID: r}, o)
		}
	})
}

func TestNamesThatWouldBeLines(t *testing.T) {
	for _, name := range []string{
		"jar\r\nEND:VEVENT\r\nBEGIN:VEVENT", "a,b;c\\d", "\\n", "\x00\x07bell", "broken \xff\xfe", strings.Repeat("long ", 40), strings.Repeat("🫙", 200), "\u2028line", "\r",
	} {
		l := Ledger{}
		l.Put([]Record{{Event: Event{ID: "check/x/y", Status: Open, Opens: start, Due: start, Task: name}, Changed: start}})
		written := string(Render(shown(l), usual))
		require.Equal(t, 1, strings.Count(written, "\r\nBEGIN:VEVENT\r\n"), "%q", name)
		requireLines(t, []byte(written))
		require.NotContains(t, written, "\x00")
	}
}

// Whatever zone the person's clock is in, and whichever night it is set, an event lies at
// the same instants.
func TestInstantsKnowNoSummerTime(t *testing.T) {
	oslo, err := time.LoadLocation("Europe/Oslo")
	require.NoError(t, err)
	for _, night := range []time.Time{time.Date(2026, 3, 29, 0, 30, 0, 0, time.UTC), time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC)} {
		l := Ledger{}
		l.Put([]Record{{Event: Event{ID: "drain/north/a", Status: Open, Opens: night, Due: night.Add(time.Hour), Task: "Drain north"}, Changed: night}})
		o := usual
		o.Zone = oslo
		requireRead(t, l, o)
		require.Contains(t, string(Render(shown(l), o)), "DTSTART:"+night.Format("20060102")+"T003000Z\r\nDTEND:"+night.Format("20060102")+"T013000Z\r\n")
	}
	spring := Record{Event: Event{Opens: time.Date(2026, 3, 29, 0, 30, 0, 0, time.UTC), Due: time.Date(2026, 3, 29, 1, 30, 0, 0, time.UTC)}}
	require.Contains(t, spring.description(oslo), "01:30 CET to Sun 29 Mar 2026 03:30 CEST")
	a := maintenance.Action{ID: "replace/north/x", Do: maintenance.DoReplace, Due: time.Date(2026, 3, 28, 23, 30, 0, 0, time.UTC)}
	v := voice
	v.Zone = oslo
	require.Equal(t, "2026-03-29", Events([]maintenance.Action{a}, v)[0].Day, "the day is the person's")
}

func TestStatuses(t *testing.T) {
	low := start
	for _, c := range []struct {
		do     maintenance.Do
		state  maintenance.ActionState
		window time.Duration
		low    *time.Time
		record maintenance.Entry
		why    []maintenance.Reason
		want   Status
	}{
		{do: maintenance.DoDecant, state: maintenance.Coming, want: Expected},
		{do: maintenance.DoReplace, state: maintenance.Coming, want: Expected, record: maintenance.Entry{Act: &maintenance.DrainAct{}}},
		{do: maintenance.DoReplace, state: maintenance.Coming, want: Planned, record: maintenance.Entry{Act: &maintenance.FillAct{}}},
		{do: maintenance.DoCare, state: maintenance.Coming, want: Planned, why: []maintenance.Reason{{Rule: "days"}}},
		{do: maintenance.DoCare, state: maintenance.Coming, want: Expected, why: []maintenance.Reason{{Rule: "run_hours"}}},
		{do: maintenance.DoFill, state: maintenance.Coming, want: Planned},
		{do: maintenance.DoFill, state: maintenance.Coming, low: &low, want: Expected},
		{do: maintenance.DoDecant, state: maintenance.Overdue, want: Open},
		{do: maintenance.DoDrain, state: maintenance.Overdue, window: time.Hour, want: Overdue},
		{do: maintenance.DoDrain, state: maintenance.Open, window: time.Hour, low: &low, want: Open},
	} {
		a := maintenance.Action{ID: "x/y/z", Do: c.do, State: c.state, Opens: start, Due: start.Add(c.window), DueLow: c.low, DueHigh: c.low, Record: c.record, Why: c.why}
		require.Equal(t, c.want, Events([]maintenance.Action{a}, voice)[0].Status, "%+v", c)
	}
}

func TestARecordThatIsNoneIsAnError(t *testing.T) {
	_, err := Decode([]byte(`{"id":5}`))
	require.ErrorContains(t, err, "decode a record of the calendar")
}

// tenThousand is far more than any book asks for at once.
func tenThousand() Ledger {
	l := Ledger{}
	for i := range 10_000 {
		id := fmt.Sprintf("decant/jar-%d/entry-%d", i, i)
		l[id] = Record{Event: Event{ID: id, Status: Open, Opens: start, Due: start.Add(time.Hour), Task: "Decant jar", Reasons: []string{strings.Repeat("settled for: 72 h; ", 8)},
			Cautions: []string{strings.Repeat("pour slowly ", 10)}}, Changed: start}
	}
	return l
}

func TestTenThousandEventsAreWrittenInTime(t *testing.T) {
	l := tenThousand()
	began := time.Now()
	written := Render(shown(l), usual)
	// It takes an eighth of a second, and under the race detector on a busy machine two; what
	// grows with the square of the events takes minutes.
	require.Less(t, time.Since(began), 10*time.Second)
	require.Equal(t, 10_000, strings.Count(string(written), "\r\nEND:VEVENT\r\n"))
	require.Less(t, len(written), 10_000*1500)
}

func BenchmarkRender(b *testing.B) {
	records := shown(tenThousand())
	for b.Loop() {
		Render(records, usual)
	}
}
