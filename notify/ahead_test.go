package notify

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// comingDrain is that of a run which will probably end at 03:50, between 03:10 and 04:30.
func comingDrain() maintenance.Action {
	a := drainAction()
	a.State = maintenance.Coming
	a.Opens = after(15*time.Hour + 50*time.Minute)
	a.Due = a.Opens.Add(time.Hour)
	a.Closes = &a.Due
	a.DueLow, a.DueHigh = ptr(a.Due.Add(-40*time.Minute)), ptr(a.Due.Add(40*time.Minute))
	return a
}

func watchful(actions ...maintenance.Action) Policy {
	p := household()
	p.Quiet = night()
	p.LookAhead = ptr(clock(20, 0))
	return p
}

const evening = 8 * time.Hour // after noon

func TestARunThatEndsInTheNightIsToldOfInTheEvening(t *testing.T) {
	w := newWorld(t, comingDrain())
	w.policy = watchful()
	require.Empty(t, w.carries(after(evening-time.Second)))
	require.Equal(t, after(evening), w.last.Next)
	send := w.due(after(evening))
	require.Equal(t, []string{"phone opened drain north", "post opened drain north", "board opened drain north"}, where(send))
	require.True(t, send[0].Wakes())
	m := Voice{BaseURL: "http://192.0.2.7:8417"}.Compose(send[0], after(evening))
	require.Equal(t, "The run of north will probably end Wed 03:10–04:30", m.Subject)
	require.Equal(t, "The run of north will probably end Wed 03:10–04:30.\n"+
		"That is by the lengths of its own runs. Word of the drain would wait for the end of your quiet hours at Wed 06:30.\nLeave it, or be woken this once?\n"+
		"Answer: http://192.0.2.7:8417/actions/drain%2Fnorth%2Fs1\n", m.Text)
	w.carries(after(evening))
	w.facts.Actions[0].Opens = after(16 * time.Hour) // the estimate moves: the same night, the same word
	require.Empty(t, w.carries(after(evening+time.Hour)))
}

func TestNoLookAheadWhereNothingWouldBeHeld(t *testing.T) {
	byDay := comingDrain()
	byDay.Opens = after(19 * time.Hour)
	for name, c := range map[string]struct {
		action maintenance.Action
		change func(*Policy)
	}{
		"it ends in the day":       {byDay, func(*Policy) {}},
		"drain passes at any hour": {comingDrain(), func(p *Policy) { p.Quiet.Except = []maintenance.Do{maintenance.DoDrain} }},
		"no quiet hours":           {comingDrain(), func(p *Policy) { p.Quiet = Quiet{} }},
		"it is off":                {comingDrain(), func(p *Policy) { p.LookAhead = nil }},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWorld(t, c.action)
			w.policy = watchful()
			c.change(&w.policy)
			require.Empty(t, w.carries(after(evening)))
		})
	}
}

// A drain that was put off into the night waits for no run.
func TestWhatWasPutOffIsNoRun(t *testing.T) {
	a := comingDrain()
	w := newWorld(t, a)
	w.policy = watchful()
	w.facts.Snoozed = map[string]time.Time{a.ID: a.Opens}
	require.Empty(t, w.carries(after(evening)))
}

func TestARunLikeTheOnlyOneBefore(t *testing.T) {
	w := newWorld(t, comingDrain())
	w.facts.Actions[0].DueLow, w.facts.Actions[0].DueHigh = nil, nil
	w.policy = watchful()
	m := Voice{}.Compose(w.due(after(evening))[0], after(evening))
	require.Equal(t, "The run of north will probably end about Wed 03:50", m.Subject)
}

// The hour of the look-ahead belongs to the evening before the night, whenever that begins.
func TestTheEveningBeforeANight(t *testing.T) {
	for name, c := range map[string]struct {
		from, ahead int
		want        time.Duration // after noon
	}{
		"usual":                {clock(22, 0), clock(20, 0), 8 * time.Hour},
		"after midnight":       {clock(0, 30), clock(20, 0), 8 * time.Hour},
		"the night came first": {clock(19, 0), clock(20, 0), 6*time.Hour + 30*time.Minute},
		"noon is no evening":   {clock(23, 0), clock(10, 0), 10*time.Hour + 30*time.Minute},
		"shortly before it":    {clock(22, 0), clock(21, 50), 9*time.Hour + 50*time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWorld(t, comingDrain())
			w.policy = watchful()
			w.policy.Quiet.From, w.policy.LookAhead = c.from, &c.ahead
			require.Empty(t, w.carries(after(c.want-time.Second)))
			require.Equal(t, after(c.want), w.last.Next)
			require.Len(t, w.carries(after(c.want)), 3)
		})
	}
}

// Ana asks to be woken: her channels hear of the drain in this night, nobody else's do, and
// the answer outlives a restart.
func TestWakeMeThisOnce(t *testing.T) {
	w := newWorld(t, comingDrain())
	w.policy = watchful()
	w.carries(after(evening))
	early := Key{"drain/north/s1", Opened, -int(after(10*time.Hour).Unix() / 60), "phone"}
	w.add(WakeMe(early, "ana", after(evening+10*time.Minute)))
	require.Empty(t, w.carries(after(evening+11*time.Minute)))

	read := NewLedger() // the daemon starts anew in the night
	for _, n := range w.notices {
		var kept Notice
		require.NoError(t, json.Unmarshal([]byte(asJSON(t, n)), &kept))
		read.Add(kept)
	}
	w.ledger = read
	stop := after(15*time.Hour + 45*time.Minute)
	w.facts.Actions[0].Opens, w.facts.Actions[0].State = stop, maintenance.Open
	require.Equal(t, []string{"phone opened drain north"}, where(w.due(stop)))
	require.Equal(t, []Outcome{Held, Held}, []Outcome{w.last.Notices[0].Outcome, w.last.Notices[1].Outcome})
	require.Equal(t, []string{"phone opened drain north"}, w.carries(stop))
	require.Equal(t, []string{"phone closing drain north"}, w.carries(stop.Add(50*time.Minute)))
	require.Equal(t, []string{"phone overdue drain north", "post overdue drain north", "board overdue drain north"}, w.carries(after(morning)), "in the morning all of them")

	next := comingDrain() // another run, another night: she sleeps again
	next.ID, next.State, next.Opens = "drain/north/s2", maintenance.Open, after(39*time.Hour)
	next.Due, next.Closes = after(40*time.Hour), ptr(after(40*time.Hour))
	w.facts.Actions = []maintenance.Action{next}
	require.NotContains(t, where(w.due(after(39*time.Hour))), "phone opened drain north")
}

func TestWokenForOneNightOnly(t *testing.T) {
	w := newWorld(t, comingDrain())
	w.policy = watchful()
	w.carries(after(evening))
	w.add(WakeMe(Key{"drain/north/s1", Opened, 0, "phone"}, "ana", after(evening)))
	again := comingDrain() // it runs on, into the next night
	again.Opens, again.Due = after(39*time.Hour), after(40*time.Hour)
	again.Closes, again.State = &again.Due, maintenance.Open
	w.facts.Actions[0] = again
	require.Empty(t, w.due(after(39*time.Hour)))
}

func TestTheHouseCanBeWokenToo(t *testing.T) {
	w := newWorld(t, comingDrain())
	w.policy = Policy{Channels: []string{"phone", "mail"}, Quiet: night(), LookAhead: ptr(clock(20, 0))}
	require.Len(t, w.carries(after(evening)), 2)
	w.add(WakeMe(Key{"drain/north/s1", Opened, 0, "mail"}, "", after(evening)))
	w.facts.Actions[0].State = maintenance.Open
	require.Len(t, w.carries(w.facts.Actions[0].Opens), 2)
}

// Leave it, after all: the answer to the same word takes back that somebody is to be woken.
func TestLeaveItAfterAll(t *testing.T) {
	w := newWorld(t, comingDrain())
	w.policy = watchful()
	w.carries(after(evening))
	early := Key{"drain/north/s1", Opened, -int(after(10*time.Hour).Unix() / 60), "phone"}
	w.add(WakeMe(early, "ana", after(evening+10*time.Minute)))
	w.add(SeenBy(early, "ana", after(evening+12*time.Minute)))
	stop := after(15*time.Hour + 45*time.Minute)
	w.facts.Actions[0].Opens, w.facts.Actions[0].State = stop, maintenance.Open
	require.NotContains(t, where(w.due(stop)), "phone opened drain north")
}

// What is said again is what is open: word ahead of a night is said once.
func TestALookAheadIsNotSaidAgain(t *testing.T) {
	w := newWorld(t, comingDrain())
	w.policy = watchful()
	w.policy.Repeat = map[maintenance.Do]time.Duration{maintenance.DoDrain: time.Minute}
	require.NotEmpty(t, w.carries(after(evening)))
	require.Empty(t, w.carries(after(evening+10*time.Minute)))
}
