package notify

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance"
)

// household is ana with a phone and mail, bo with post, and a board that is the house's.
func household() Policy {
	return Policy{
		Channels: []string{"phone", "mail", "post", "board"},
		Read:     map[string]bool{"mail": true, "post": true},
		People: []Person{
			{Name: "ana", Channels: []string{"phone", "mail"}, Kinds: map[maintenance.Do][]string{maintenance.DoDrain: {"phone"}, AnyKind: {"mail"}}},
			{Name: "bo", Channels: []string{"post"}},
		},
	}
}

// where names the channels and stages of what is due, with what goes along in brackets.
func where(send []Reminder) []string {
	said := []string{}
	for _, r := range send {
		text := r.Key.Channel + " " + string(r.Key.Stage) + " " + actionWords(r.Key.Action)
		for _, with := range r.With {
			text += " (" + string(with.Key.Stage) + " " + actionWords(with.Key.Action) + ")"
		}
		said = append(said, text)
	}
	return said
}

// carries delivers everything due at now, as a carrier would, and says where.
func (w *world) carries(now time.Time) []string {
	send := w.due(now)
	for _, r := range send {
		left, ok := Left(r, w.facts, w.ledger, w.policy, now)
		require.True(w.t, ok)
		require.Equal(w.t, r, left)
		for _, n := range (Carrier{Clock: func() time.Time { return now }}).attempts(r, r.parts()) {
			w.add(n)
		}
		_, ok = Left(r, w.facts, w.ledger, w.policy, now)
		require.True(w.t, ok, "its own attempt is no reason against it")
		became := outcomes(r, nil, "ok", nil, now)
		for _, part := range r.parts() {
			w.add(became[part.Key])
		}
	}
	require.Empty(w.t, w.due(now), "it asks again for what was delivered")
	require.Empty(w.t, w.last.Notices)
	return where(send)
}

func TestPeopleHearOfAKindWhereTheyWant(t *testing.T) {
	w := newWorld(t, drainAction(), decantAction())
	w.policy = household()
	require.Equal(t, []string{"phone opened drain north", "post opened drain north (opened decant jar-2)", "board opened drain north", "mail opened decant jar-2", "board opened decant jar-2"}, w.carries(noon))
	w.facts.Actions = nil
	require.Equal(t, []string{"board done decant jar-2", "mail done decant jar-2", "post done decant jar-2 (done drain north)", "board done drain north", "phone done drain north"}, w.carries(after(time.Minute)), "done closes it everywhere")
}

func TestATableWithAHoleLosesNothing(t *testing.T) {
	p := Person{Name: "ana", Channels: []string{"phone", "mail"}, Kinds: map[maintenance.Do][]string{maintenance.DoDrain: {"phone"}, maintenance.DoFill: nil}}
	require.Equal(t, []string{"phone"}, p.Hears(maintenance.DoDrain))
	require.Equal(t, p.Channels, p.Hears(maintenance.DoFill))
	require.Equal(t, p.Channels, p.Hears(maintenance.DoCheck))
	p.Kinds[AnyKind] = []string{"mail"}
	require.Equal(t, []string{"mail"}, p.Hears(maintenance.DoCheck))
	require.Equal(t, p.Channels, p.Hears(maintenance.DoStopPump), "danger goes through everything")
	p.Kinds[maintenance.DoStopPump] = []string{"phone"}
	require.Equal(t, []string{"phone"}, p.Hears(maintenance.DoStopPump), "unless they say otherwise")
	require.Equal(t, p.Channels, Person{Channels: p.Channels}.Hears(maintenance.DoCheck))
}

func TestWhatIsToldElsewhereNowIsNotTriedOn(t *testing.T) {
	w := newWorld(t, drainAction())
	w.policy = household()
	w.policy.People[0].Kinds = nil
	for _, r := range w.due(noon) {
		w.outcome(r, Attempted, noon, nil)
		w.outcome(r, Retry, noon, ptr(after(10*time.Minute)))
	}
	w.policy.People[0].Kinds = household().People[0].Kinds // the daemon starts again with this
	require.Equal(t, []string{"phone opened drain north", "post opened drain north", "board opened drain north"}, where(w.due(after(10*time.Minute))))
	require.Equal(t, "it is not told there", w.last.Notices[0].Detail)
	require.Equal(t, "mail", w.last.Notices[0].Key.Channel)
}

func TestEachPersonHasHoursOfTheirOwn(t *testing.T) {
	a := decantAction()
	a.Opens, a.Due = after(8*time.Hour+30*time.Minute), after(8*time.Hour+30*time.Minute)
	w := newWorld(t, a)
	w.policy = household()
	w.policy.Quiet = night()                                                                                     // of bo and the board
	w.policy.People[0].Quiet = Nights{{Days: []time.Weekday{time.Tuesday}, From: clock(20, 0), To: clock(9, 0)}} // noon is a Tuesday
	require.Equal(t, []string{"post opened decant jar-2", "board opened decant jar-2"}, where(w.due(a.Opens)))
	require.Equal(t, []Notice{{At: a.Opens, Key: Key{a.ID, Opened, 0, "mail"}, Outcome: Held, Until: ptr(after(21 * time.Hour)), Detail: "ana's quiet hours"}}, w.last.Notices)
	require.Equal(t, []string{"post opened decant jar-2", "board opened decant jar-2"}, w.carries(after(9*time.Hour)))
	require.Equal(t, []string{"mail opened decant jar-2"}, w.carries(after(21*time.Hour)))
	wednesday := after(32*time.Hour + 30*time.Minute)
	b := decantAction()
	b.ID, b.Opens, b.Due = "decant/jar-4/d2", wednesday, wednesday
	w.facts.Actions = append(w.facts.Actions, b)
	require.Contains(t, w.carries(wednesday), "mail opened decant jar-4", "on Wednesdays ana has none")
}

// A window over midnight belongs to the day on which it begins.
func TestNightsByWeekday(t *testing.T) {
	oslo := zone(t, "Europe/Oslo")
	weekend := []time.Weekday{time.Saturday, time.Sunday}
	work := []time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday}
	n := Nights{
		{Days: work, From: clock(22, 0), To: clock(6, 30), Except: []maintenance.Do{maintenance.DoDrain}, Zone: oslo},
		{Days: weekend, From: clock(23, 0), To: clock(9, 0), Zone: oslo},
	}
	for name, c := range map[string]struct {
		do         maintenance.Do
		now, until string // empty: not held
	}{
		"Friday night":                   {maintenance.DoFill, "2026-11-27 23:30 +0100", "2026-11-28 06:30 +0100"},
		"Saturday morning is Friday's":   {maintenance.DoFill, "2026-11-28 07:00 +0100", ""},
		"drain passes on Friday night":   {maintenance.DoDrain, "2026-11-28 03:00 +0100", ""},
		"but not on Saturday night":      {maintenance.DoDrain, "2026-11-29 03:00 +0100", "2026-11-29 09:00 +0100"},
		"Saturday before eleven":         {maintenance.DoFill, "2026-11-28 22:30 +0100", ""},
		"Monday morning is Sunday's":     {maintenance.DoFill, "2026-11-30 08:59 +0100", "2026-11-30 09:00 +0100"},
		"a long sleep over clock change": {maintenance.DoFill, "2026-10-25 02:10 +0100", "2026-10-25 09:00 +0100"},
		"a pump without oil never waits": {maintenance.DoStopPump, "2026-11-29 03:00 +0100", ""},
	} {
		t.Run(name, func(t *testing.T) {
			until, held := n.Holds(c.do, at(t, c.now))
			require.Equal(t, c.until != "", held)
			require.True(t, !held || at(t, c.until).Equal(until), "got %s", until)
		})
	}
}

func drawNights(t *rapid.T, z *time.Location) (all Nights) {
	for range rapid.IntRange(1, 3).Draw(t, "windows") {
		q := Quiet{From: rapid.IntRange(0, dayMin-1).Draw(t, "from"), To: rapid.IntRange(0, dayMin-1).Draw(t, "to"), Zone: z}
		q.Days = rapid.SliceOfNDistinct(rapid.Map(rapid.IntRange(0, 6), func(d int) time.Weekday { return time.Weekday(d) }), 0, 4, rapid.ID).Draw(t, "days")
		if rapid.Bool().Draw(t, "spares") {
			q.Except = []maintenance.Do{maintenance.DoDrain}
		}
		all = append(all, q)
	}
	return all
}

// quietBy is the plain reading of a table of nights, by the clock and the calendar on the
// wall. It is right on days on which the clocks are not changed.
func quietBy(n Nights, do maintenance.Do, t time.Time) bool {
	for _, q := range n {
		wall := t.In(q.Zone)
		minute, today, yesterday := wall.Hour()*60+wall.Minute(), wall.Weekday(), wall.AddDate(0, 0, -1).Weekday()
		on := func(day time.Weekday) bool {
			for _, d := range q.Days {
				if d == day {
					return true
				}
			}
			return len(q.Days) == 0
		}
		in := on(today) && minute >= q.From && minute < q.To
		if q.To < q.From {
			in = on(today) && minute >= q.From || on(yesterday) && minute < q.To
		}
		if in && !q.spares(do) {
			return true
		}
	}
	return false
}

func TestLawNightsAreWhatTheTableSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z := zone(t, rapid.SampledFrom(manyZones).Draw(t, "zone"))
		n := drawNights(t, z)
		do := rapid.SampledFrom([]maintenance.Do{maintenance.DoDrain, maintenance.DoFill}).Draw(t, "do")
		now := time.Unix(rapid.Int64Range(1.2e9, 2e9).Draw(t, "now")/60*60, 0)
		from, to := now.Add(-50*time.Hour).In(z), now.Add(50*time.Hour).In(z)
		_, before := from.Zone()
		_, behind := to.Zone()
		if start, end := now.In(z).ZoneBounds(); before != behind || start.After(from) && !start.IsZero() || end.Before(to) && !end.IsZero() {
			return
		}
		until, held := n.Holds(do, now)
		require.Equal(t, quietBy(n, do, now), held)
		if held && until.Before(to) {
			require.False(t, quietBy(n, do, until))
			require.True(t, quietBy(n, do, until.Add(-time.Minute)))
		}
	})
}

func TestLawNightsEndAndAreWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := drawNights(t, zone(t, rapid.SampledFrom(manyZones).Draw(t, "zone")))
		now := time.Unix(rapid.Int64Range(1.2e9, 2e9).Draw(t, "now"), 0)
		start, end, ok := n.coming(maintenance.DoFill, now)
		if !ok {
			return
		}
		require.True(t, end.After(now) && end.After(start))
		if end.Sub(start) >= maxNight {
			return // it fills the week; the configuration refuses that
		}
		_, held := n.Holds(maintenance.DoFill, end)
		require.False(t, held, "the end of quiet hours is quiet")
		_, held = n.Holds(maintenance.DoFill, start.Add(-time.Second))
		require.False(t, held, "it was quiet before")
		for _, inside := range []time.Time{start, end.Add(-time.Second)} {
			s, e, ok := n.night(maintenance.DoFill, inside)
			require.True(t, ok && s.Equal(start) && e.Equal(end), "%s: %s to %s, not %s to %s", inside, s, e, start, end)
		}
		if start.After(now) {
			_, held = n.Holds(maintenance.DoFill, now)
			require.False(t, held)
		}
	})
}

func TestWhoIsToldIsWorkedOutOnceAKind(t *testing.T) {
	p := household()
	for _, c := range []struct {
		channel string
		do      maintenance.Do
		want    bool
	}{{"phone", maintenance.DoDrain, true}, {"mail", maintenance.DoDrain, false}, {"phone", maintenance.DoFill, false}, {"mail", maintenance.DoFill, true}, {"board", maintenance.DoFill, true}} {
		require.Equal(t, c.want, p.hears(c.channel, c.do), fmt.Sprint(c))
	}
	require.Equal(t, []string{"board"}, p.alongside("board"))
	require.Equal(t, []string{"phone", "mail"}, p.alongside("mail"))
}
