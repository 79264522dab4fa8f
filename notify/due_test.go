package notify

import (
	"testing"
	"time"

	"github.com/robfig/cron/v3"
	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// noon is a Tuesday. The scenario is invented: pumps north and south, jars and a can.
var noon = time.Date(2026, 11, 24, 12, 0, 0, 0, time.UTC)

func after(d time.Duration) time.Time { return noon.Add(d) }

func ptr[T any](v T) *T { return &v }

// drainAction opens at noon and closes an hour later.
func drainAction() maintenance.Action {
	return maintenance.Action{
		ID: "drain/north/s1", Do: maintenance.DoDrain, Pump: ptr("north"), Vessel: ptr("jar-3"),
		Opens: noon, Due: after(time.Hour), Closes: ptr(after(time.Hour)), State: maintenance.Open,
	}
}

func decantAction() maintenance.Action {
	return maintenance.Action{ID: "decant/jar-2/d1", Do: maintenance.DoDecant, Vessel: ptr("jar-2"), Opens: noon, Due: noon, State: maintenance.Open}
}

// A world is a book of actions whose reminders are carried at once.
type world struct {
	t      require.TestingT
	facts  Facts
	policy Policy
	ledger *Ledger
	last   Plan

	notices []Notice // all that were written
}

func newWorld(t require.TestingT, actions ...maintenance.Action) *world {
	return &world{t: t, facts: Facts{Actions: actions}, policy: Policy{Channels: []string{"phone"}}, ledger: NewLedger()}
}

func (w *world) add(n Notice) {
	w.ledger.Add(n)
	w.notices = append(w.notices, n)
}

// due plans at now, writes down what the plan asks to, and gives the stages to be sent.
func (w *world) due(now time.Time) []Reminder {
	w.last = Due(w.facts, w.ledger, w.policy, now)
	for _, n := range w.last.Notices {
		w.add(n)
	}
	return w.last.Send
}

func (w *world) outcome(r Reminder, o Outcome, now time.Time, until *time.Time) {
	w.add(Notice{At: now, Key: r.Key, Outcome: o, Attempt: r.Attempt, Until: until})
}

// says carries everything due at now, successfully, and names the stages.
func (w *world) says(now time.Time) []string {
	stages := []string{}
	for _, r := range w.due(now) {
		require.True(w.t, stands(r, w.facts, w.ledger, w.policy, now))
		w.add(Notice{At: now, Key: r.Key, Outcome: Attempted, Attempt: r.Attempt, About: aboutOf(r)})
		require.True(w.t, stands(r, w.facts, w.ledger, w.policy, now))
		w.outcome(r, Delivered, now, nil)
		require.False(w.t, stands(r, w.facts, w.ledger, w.policy, now))
		stages = append(stages, string(r.Key.Stage))
	}
	require.Empty(w.t, w.due(now), "it asks again for what was delivered")
	require.Empty(w.t, w.last.Notices)
	return stages
}

func stands(r Reminder, f Facts, l *Ledger, p Policy, now time.Time) bool {
	_, ok := Left(r, f, l, p, now)
	return ok
}

func TestStagesFollowTheWindow(t *testing.T) {
	w := newWorld(t, drainAction())
	w.facts.Actions[0].State = maintenance.Coming
	require.Empty(t, w.says(after(-time.Minute)))
	require.Equal(t, noon, w.last.Next)
	w.facts.Actions[0].State = maintenance.Open
	require.Equal(t, []string{"opened"}, w.says(noon))
	require.Equal(t, after(40*time.Minute), w.last.Next)
	require.Empty(t, w.says(after(40*time.Minute-time.Second)))
	require.Equal(t, []string{"closing"}, w.says(after(40*time.Minute)))
	require.Equal(t, after(time.Hour), w.last.Next)
	require.Equal(t, []string{"overdue"}, w.says(after(time.Hour)))
	require.Zero(t, w.last.Next)
	w.facts.Actions = nil
	require.Equal(t, []string{"done"}, w.says(after(2*time.Hour)))
	require.Empty(t, w.says(after(3*time.Hour)))
}

func TestAfterDowntimeOnlyTheLatestStageIsSaid(t *testing.T) {
	w := newWorld(t, drainAction(), decantAction())
	require.Equal(t, []string{"overdue", "opened"}, w.says(after(5*time.Hour)))
}

func TestOverdueFromTheStartIsOpened(t *testing.T) {
	stop := decantAction()
	stop.ID, stop.Do, stop.Due = "stop-pump/north/s1", maintenance.DoStopPump, after(time.Minute)
	w := newWorld(t, decantAction(), stop)
	require.Equal(t, []string{"opened", "opened"}, w.says(after(time.Hour)))
	require.Empty(t, w.says(after(2*time.Hour)))
}

func TestClosingOfAnActionThatWasDueAtOnce(t *testing.T) {
	a := drainAction()
	a.Due = noon
	w := newWorld(t, a)
	require.Equal(t, []string{"opened"}, w.says(noon))
	require.Equal(t, []string{"closing"}, w.says(after(40*time.Minute)))
	require.Empty(t, w.says(after(time.Hour)), "it is closed")
	late := newWorld(t, a)
	require.Equal(t, []string{"opened"}, late.says(after(time.Hour)))
}

func TestWhatWasGivenUpIsOver(t *testing.T) {
	w := newWorld(t, drainAction())
	w.policy.Repeat = map[maintenance.Do]time.Duration{maintenance.DoDrain: time.Minute}
	r := w.due(noon)[0]
	w.outcome(r, Attempted, noon, nil)
	w.outcome(r, GaveUp, noon, nil)
	require.Empty(t, w.due(after(30*time.Minute)))
	require.Equal(t, []string{"closing"}, w.says(after(45*time.Minute)))
}

func TestDoneThatWasGivenUpIsOver(t *testing.T) {
	w := newWorld(t, drainAction())
	w.says(noon)
	actions := w.facts.Actions
	w.facts.Actions = nil
	r := w.due(after(time.Minute))[0]
	w.outcome(r, Attempted, after(time.Minute), nil)
	w.outcome(r, GaveUp, after(time.Minute), nil)
	require.Empty(t, w.says(after(time.Hour)))
	w.facts.Actions = actions
	require.Equal(t, []string{"overdue"}, w.says(after(2*time.Hour)))
}

func TestAnAttemptOnTheWireIsNotSuperseded(t *testing.T) {
	w := newWorld(t, drainAction())
	start := after(40*time.Minute - 5*time.Second)
	w.outcome(w.due(start)[0], Attempted, start, nil)
	require.Len(t, w.due(after(40*time.Minute)), 1)
	require.Empty(t, w.last.Notices, "it may end by itself")
	w.due(after(42 * time.Minute))
	require.Equal(t, Superseded, w.last.Notices[0].Outcome)
}

func TestARepeatThatWaitsIsSnoozedToo(t *testing.T) {
	w := newWorld(t, decantAction())
	w.policy.Repeat = map[maintenance.Do]time.Duration{maintenance.DoDecant: time.Hour}
	w.says(noon)
	r := w.due(after(time.Hour))[0]
	w.outcome(r, Attempted, after(time.Hour), nil)
	w.outcome(r, Retry, after(time.Hour), ptr(after(2*time.Hour)))
	w.facts.Actions[0].State, w.facts.Actions[0].Opens = maintenance.Coming, after(5*time.Hour)
	w.facts.Snoozed = map[string]time.Time{"decant/jar-2/d1": after(5 * time.Hour)}
	require.Empty(t, w.due(after(90*time.Minute)))
	require.Equal(t, "it was put off", w.last.Notices[0].Detail)
}

func TestNothingIsCarriedIntoQuietHours(t *testing.T) {
	never, err := cron.ParseStandard("0 12 * * *")
	require.NoError(t, err)
	w := newWorld(t, decantAction())
	w.policy.Quiet, w.policy.Digest, w.policy.DigestTo = night(), never, []string{"mail"}
	planned := w.due(after(9*time.Hour + 59*time.Minute))
	require.Len(t, planned, 2)
	for _, r := range planned {
		require.True(t, stands(r, w.facts, w.ledger, w.policy, after(9*time.Hour+59*time.Minute)))
		require.False(t, stands(r, w.facts, w.ledger, w.policy, after(10*time.Hour)))
	}
	w.outcome(planned[1], GaveUp, noon, nil)
	planned[1].Attempt = 2
	require.False(t, stands(planned[1], w.facts, w.ledger, w.policy, noon))
}

func TestAChannelThatWasRemovedIsLeftAlone(t *testing.T) {
	w := newWorld(t, drainAction())
	w.says(noon)
	w.policy.Channels, w.facts.Actions = nil, nil
	require.Empty(t, w.says(after(time.Minute)))
}

func TestStandsAsksForTheAttempt(t *testing.T) {
	w := newWorld(t, decantAction())
	stands := func(r Reminder) bool { return stands(r, w.facts, w.ledger, w.policy, noon) }
	first := w.due(noon)[0]
	second := first
	second.Attempt = 2
	require.True(t, stands(first))
	require.False(t, stands(second))
	w.outcome(first, Attempted, noon, nil)
	w.outcome(first, Retry, noon, ptr(after(time.Second)))
	require.False(t, stands(first), "it was tried")
	require.True(t, stands(second))
	w.outcome(first, GaveUp, noon, nil)
	require.False(t, stands(second))
	w.facts.Actions = nil
	require.False(t, stands(first))
	require.True(t, stands(TestReminder("phone", noon)))
}

func TestLaterStageSupersedesOneThatWasNotCarried(t *testing.T) {
	w := newWorld(t, drainAction())
	r := w.due(noon)[0]
	w.outcome(r, Attempted, noon, nil)
	w.outcome(r, Retry, noon, ptr(after(30*time.Minute)))
	require.Empty(t, w.due(after(29*time.Minute)))
	require.Equal(t, after(30*time.Minute), w.last.Next)
	retry := w.due(after(30 * time.Minute))
	require.Equal(t, []int{2}, []int{retry[0].Attempt})
	closing := w.due(after(45 * time.Minute))
	require.Equal(t, Closing, closing[0].Key.Stage)
	require.Equal(t, 1, closing[0].Attempt)
	require.Equal(t, []Outcome{Superseded}, []Outcome{w.last.Notices[0].Outcome})
	require.Equal(t, "replaced by closing", w.last.Notices[0].Detail)
	require.False(t, stands(retry[0], w.facts, w.ledger, w.policy, after(45*time.Minute)))
}

func TestDoneIsSaidOnlyWhereTheActionWas(t *testing.T) {
	w := newWorld(t, drainAction())
	w.policy.Channels = []string{"phone", "mail"}
	for _, r := range w.due(noon) {
		w.outcome(r, Attempted, noon, nil)
		if r.Key.Channel == "phone" {
			w.outcome(r, Delivered, noon, nil)
		} else {
			w.outcome(r, Retry, noon, ptr(after(10*time.Second)))
		}
	}
	w.facts.Actions = nil
	sent := w.due(after(time.Minute))
	require.Len(t, sent, 1)
	require.Equal(t, Key{"drain/north/s1", Done, 0, "phone"}, sent[0].Key)
	require.Equal(t, maintenance.DoDrain, sent[0].Action.Do)
	require.Len(t, w.last.Notices, 1)
	require.Equal(t, "mail", w.last.Notices[0].Key.Channel)
	require.Equal(t, Superseded, w.last.Notices[0].Outcome)
}

func TestDoneCarriesWhatWasKnownOfTheAction(t *testing.T) {
	w := newWorld(t, drainAction())
	w.says(noon)
	w.facts.Actions = nil
	a := w.due(after(time.Minute))[0].Action
	require.Equal(t, "north", *a.Pump)
	require.Equal(t, "jar-3", *a.Vessel)
	require.Equal(t, after(time.Hour), a.Due)
}

func TestDoneAfterACrashInTheSend(t *testing.T) {
	w := newWorld(t, drainAction())
	w.outcome(w.due(noon)[0], Attempted, noon, nil) // and the process dies: it may have been heard
	w.facts.Actions = nil
	require.Equal(t, []string{"done"}, w.says(after(2*time.Hour)))
}

func TestNothingIsDoneForFactsOlderThanTheNewestEntry(t *testing.T) {
	w := newWorld(t, drainAction())
	w.says(noon)
	w.facts = Facts{Newest: noon}
	require.Empty(t, w.says(after(-time.Hour)), "the clock was set back to before the stop")
	require.Equal(t, noon, w.last.Next)
	require.Equal(t, []string{"done"}, w.says(noon))
}

func TestUndoneIsSaidAnew(t *testing.T) {
	w := newWorld(t, drainAction())
	w.says(noon)
	actions := w.facts.Actions
	w.facts.Actions = nil
	require.Equal(t, []string{"done"}, w.says(after(time.Minute)))
	w.facts.Actions = actions
	r := w.due(after(2 * time.Minute))
	require.Equal(t, Key{"drain/north/s1", Opened, 1, "phone"}, r[0].Key)
	require.Equal(t, []string{"opened"}, w.says(after(2*time.Minute)))
	w.facts.Actions = nil
	require.Equal(t, []string{"done"}, w.says(after(3*time.Minute)))
}

func TestDoneThatWasNotCarriedFallsWithTheUndo(t *testing.T) {
	w := newWorld(t, drainAction())
	w.says(noon)
	actions := w.facts.Actions
	w.facts.Actions = nil
	r := w.due(after(time.Minute))[0]
	w.outcome(r, Attempted, after(time.Minute), nil)
	w.outcome(r, Retry, after(time.Minute), ptr(after(2*time.Minute)))
	w.facts.Actions = actions
	require.Empty(t, w.due(after(3*time.Minute)), "they still believe that it is open")
	require.Equal(t, "it is open after all", w.last.Notices[0].Detail)
	w.facts.Actions = nil
	require.Equal(t, []string{"done"}, w.says(after(4*time.Minute)))
}

func TestSnoozeWaitsAndOpensAnew(t *testing.T) {
	w := newWorld(t, decantAction())
	require.Equal(t, []string{"opened"}, w.says(noon))
	until := after(3 * time.Hour)
	w.facts.Actions[0].State, w.facts.Actions[0].Opens = maintenance.Coming, until
	w.facts.Snoozed = map[string]time.Time{"decant/jar-2/d1": until}
	require.Empty(t, w.says(after(time.Hour)))
	require.Equal(t, until, w.last.Next)
	w.facts.Actions[0].State = maintenance.Open
	require.Equal(t, []string{"opened"}, w.says(until))
	require.Empty(t, w.says(until.Add(time.Hour)))
}

func TestSnoozeEndsTheTries(t *testing.T) {
	w := newWorld(t, decantAction())
	r := w.due(noon)[0]
	w.outcome(r, Attempted, noon, nil)
	w.outcome(r, Retry, noon, ptr(after(10*time.Second)))
	until := after(time.Hour)
	w.facts.Actions[0].State, w.facts.Actions[0].Opens = maintenance.Coming, until
	w.facts.Snoozed = map[string]time.Time{"decant/jar-2/d1": until}
	require.Empty(t, w.due(after(time.Minute)))
	require.Equal(t, "it was put off", w.last.Notices[0].Detail)
	w.facts.Snoozed, w.facts.Actions[0] = nil, decantAction() // the snooze is withdrawn
	require.Equal(t, []string{"opened"}, w.says(after(2*time.Minute)))
}

func TestAMovedDateKeepsItsKey(t *testing.T) {
	w := newWorld(t, decantAction())
	w.says(noon)
	w.facts.Actions[0].Opens, w.facts.Actions[0].Due = after(time.Hour), after(time.Hour)
	require.Empty(t, w.says(after(2*time.Hour)), "the shed was colder: it is ready later, but it was said")
}

func TestRepeatOnlyWhereConfigured(t *testing.T) {
	w := newWorld(t, decantAction())
	w.says(noon)
	require.Empty(t, w.says(after(240*time.Hour)))
	w.policy.Repeat = map[maintenance.Do]time.Duration{maintenance.DoDecant: 24 * time.Hour}
	w = &world{t: t, facts: w.facts, policy: w.policy, ledger: NewLedger()}
	require.Equal(t, []string{"opened"}, w.says(noon))
	require.Equal(t, after(24*time.Hour), w.last.Next)
	require.Empty(t, w.says(after(23*time.Hour)))
	require.Equal(t, Key{"decant/jar-2/d1", Again, 1, "phone"}, w.due(after(25 * time.Hour))[0].Key)
	require.Equal(t, []string{"again"}, w.says(after(25*time.Hour)))
	require.Empty(t, w.says(after(48*time.Hour)))
	require.Equal(t, 2, w.due(after(49 * time.Hour))[0].Key.Count)
	for day := range 30 {
		require.Equal(t, []string{"again"}, w.says(after(time.Duration(day+3)*24*time.Hour)))
	}
	require.Len(t, w.ledger.threads[line{"decant/jar-2/d1", "phone"}].steps, 2, "it remembers the first and the last")
}

func night() Quiet { return Quiet{From: clock(22, 0), To: clock(6, 30)} }

func TestQuietHoursHoldOnceAndLetGo(t *testing.T) {
	a := decantAction()
	a.Opens, a.Due = after(11*time.Hour), after(11*time.Hour)
	w := newWorld(t, a)
	w.policy.Quiet = night()
	morning := after(18*time.Hour + 30*time.Minute)
	require.Empty(t, w.due(after(11*time.Hour)))
	require.Equal(t, []Notice{{At: after(11 * time.Hour), Key: Key{"decant/jar-2/d1", Opened, 0, "phone"}, Outcome: Held, Until: &morning, Detail: "quiet hours"}}, w.last.Notices)
	require.Equal(t, morning, w.last.Next)
	require.Empty(t, w.due(after(12*time.Hour)))
	require.Empty(t, w.last.Notices, "held is written once")
	require.Equal(t, []string{"opened"}, w.says(morning))
}

func TestQuietHoursHoldDoneButNotTheEndOfAnAlarm(t *testing.T) {
	stop := decantAction()
	stop.ID, stop.Do = "stop-pump/north/s1", maintenance.DoStopPump
	w := newWorld(t, decantAction(), stop)
	w.says(noon)
	w.policy.Quiet, w.facts.Actions = night(), nil
	sent := w.due(after(11 * time.Hour))
	require.Len(t, sent, 1)
	require.Equal(t, "stop-pump/north/s1", sent[0].Key.Action)
}

// TestWindowInsideQuietHoursIsSaidBefore: 02:10 to 03:10, quiet from 22:00 to 06:30.
func TestWindowInsideQuietHoursIsSaidBefore(t *testing.T) {
	a := drainAction()
	a.Opens = after(14*time.Hour + 10*time.Minute)
	a.Due, a.State = a.Opens.Add(time.Hour), maintenance.Coming
	a.Closes = &a.Due
	w := newWorld(t, a)
	w.policy.Quiet = night()
	early := after(9*time.Hour + 30*time.Minute)
	require.Empty(t, w.says(noon))
	require.Equal(t, early, w.last.Next)
	require.Equal(t, []string{"opened"}, w.says(early))
	w.facts.Actions[0].State = maintenance.Open
	require.Empty(t, w.due(a.Opens), "it is night")
	require.Empty(t, w.due(a.Due.Add(time.Minute)))
	require.Equal(t, []string{"overdue"}, w.says(after(18*time.Hour+30*time.Minute)))
}

// TestAForecastThatFailsDoesNotSilenceTheOpening: the stop was expected at 02:10, and came at 08:00.
func TestAForecastThatFailsDoesNotSilenceTheOpening(t *testing.T) {
	a := drainAction()
	a.Opens = after(14*time.Hour + 10*time.Minute)
	a.Due, a.State = a.Opens.Add(time.Hour), maintenance.Coming
	a.Closes = &a.Due
	w := newWorld(t, a)
	w.policy.Quiet = night()
	early := w.due(after(9*time.Hour + 30*time.Minute))[0]
	w.outcome(early, Attempted, after(9*time.Hour+30*time.Minute), nil)
	w.outcome(early, Retry, after(9*time.Hour+30*time.Minute), ptr(after(20*time.Hour)))
	require.Empty(t, w.due(after(10*time.Hour)))
	require.Equal(t, "the quiet hours began, or the window moved", w.last.Notices[0].Detail)
	stop := after(20 * time.Hour)
	w.facts.Actions[0].Opens, w.facts.Actions[0].Due, w.facts.Actions[0].State = stop, stop.Add(time.Hour), maintenance.Open
	w.facts.Actions[0].Closes = ptr(stop.Add(time.Hour))
	require.Equal(t, []string{"opened"}, w.says(stop))
	w.facts.Actions[0] = a // running on by the book of the next night
	w.facts.Actions[0].Opens = a.Opens.Add(24 * time.Hour)
	w.facts.Actions[0].Closes = ptr(a.Opens.Add(25 * time.Hour))
	require.Equal(t, []string{"opened"}, w.says(after(33*time.Hour+45*time.Minute)), "each night has its own word")
}

func TestWindowThatOutlastsQuietHoursIsNotSaidBefore(t *testing.T) {
	a := drainAction()
	a.Opens, a.Due, a.State = after(14*time.Hour), after(20*time.Hour), maintenance.Coming
	a.Closes = &a.Due
	w := newWorld(t, a)
	w.policy.Quiet = night()
	require.Empty(t, w.says(after(9*time.Hour+45*time.Minute)))
}

func TestMissedForesightIsHeldNotSaidAtNight(t *testing.T) {
	a := drainAction()
	a.Opens, a.Due, a.State = after(14*time.Hour), after(15*time.Hour), maintenance.Coming
	a.Closes = &a.Due
	w := newWorld(t, a)
	w.policy.Quiet = night()
	early := w.due(after(9*time.Hour + 45*time.Minute))
	require.Len(t, early, 1)
	require.False(t, stands(early[0], w.facts, w.ledger, w.policy, after(10*time.Hour)), "22:00 is too late")
	require.Empty(t, w.due(after(10*time.Hour)))
}

// TestClosingInsideQuietHoursIsSaidBefore: the window 20:00 to 23:30 is two thirds over at 22:20.
func TestClosingInsideQuietHoursIsSaidBefore(t *testing.T) {
	a := drainAction()
	a.Opens, a.Due = after(8*time.Hour), after(11*time.Hour+30*time.Minute)
	a.Closes = &a.Due
	w := newWorld(t, a)
	w.policy.Quiet = night()
	require.Equal(t, []string{"opened"}, w.says(after(8*time.Hour)))
	require.Equal(t, after(9*time.Hour+30*time.Minute), w.last.Next)
	require.Equal(t, []string{"closing"}, w.says(after(9*time.Hour+30*time.Minute)))
	require.Empty(t, w.says(after(10*time.Hour+20*time.Minute)))
}

// TestWindowThatOpensJustBeforeQuietHours is opened, not closing: 21:50 to 22:40.
func TestWindowThatOpensJustBeforeQuietHours(t *testing.T) {
	a := drainAction()
	a.Opens, a.Due = after(9*time.Hour+50*time.Minute), after(10*time.Hour+40*time.Minute)
	a.Closes = &a.Due
	w := newWorld(t, a)
	w.policy.Quiet = night()
	require.Equal(t, []string{"opened"}, w.says(a.Opens))
	require.Empty(t, w.says(after(9*time.Hour+55*time.Minute)))
}

func TestTriesEnd(t *testing.T) {
	w := newWorld(t, decantAction())
	now := noon
	for range MaxAttempts {
		sent := w.due(now)
		require.Len(t, sent, 1)
		w.outcome(sent[0], Attempted, now, nil) // the channel kills the process each time
		now = now.Add(2 * time.Hour)
	}
	require.Empty(t, w.due(now))
	require.Equal(t, GaveUp, w.last.Notices[0].Outcome)
	require.Empty(t, w.due(now))
	require.Empty(t, w.last.Notices)
}

func TestAttemptWithoutOutcomeIsRepeatedUnderItsKey(t *testing.T) {
	w := newWorld(t, decantAction())
	first := w.due(noon)[0]
	w.outcome(first, Attempted, noon, nil)
	require.Empty(t, w.due(after(9*time.Second)))
	again := w.due(after(13 * time.Second))
	require.Equal(t, first.Key, again[0].Key)
	require.Equal(t, 2, again[0].Attempt)
}

func TestAClockSetBackDoesNotStretchAWait(t *testing.T) {
	w := newWorld(t, decantAction())
	future := noon.AddDate(10, 0, 0)
	r := w.due(future)[0]
	w.outcome(r, Attempted, future, nil)
	w.outcome(r, Retry, future, ptr(future.Add(time.Minute)))
	require.Len(t, w.due(noon), 1)
}

func TestTestRemindersCountForNothing(t *testing.T) {
	w := newWorld(t, decantAction())
	w.add(Notice{At: noon, Key: Key{"decant/jar-2/d1", Opened, 0, "phone"}, Outcome: Delivered, Test: true})
	require.Equal(t, []string{"opened"}, w.says(noon))
}

func TestDigestOncePerOccasion(t *testing.T) {
	seven, err := cron.ParseStandard("0 7 * * *")
	require.NoError(t, err)
	w := newWorld(t)
	w.policy = Policy{Digest: seven, DigestTo: []string{"mail"}, Quiet: Quiet{Zone: zone(t, "Europe/Oslo")}}
	require.Equal(t, []string{"digest"}, w.says(noon)) // today's, at first sight
	next := at(t, "2026-11-25 07:00 +0100")
	require.True(t, next.Equal(w.last.Next))
	require.Empty(t, w.says(next.Add(-time.Second)))
	require.Equal(t, []string{"digest"}, w.says(next))
	require.Empty(t, w.says(next.Add(time.Hour)))
	require.Equal(t, []string{"digest"}, w.says(next.AddDate(0, 0, 5)), "five missed are one")
	require.Empty(t, w.says(next.AddDate(0, 0, 5)))
}

func TestDigestAfterAClockThatWasWrong(t *testing.T) {
	seven, err := cron.ParseStandard("0 7 * * *")
	require.NoError(t, err)
	w := newWorld(t)
	w.policy = Policy{Digest: seven, DigestTo: []string{"mail"}}
	require.Equal(t, []string{"digest"}, w.says(noon.AddDate(10, 0, 0)))
	require.Equal(t, []string{"digest"}, w.says(noon))
	require.Equal(t, []string{"digest"}, w.says(after(24*time.Hour)))
}

func TestDigestWaitsForTheEndOfQuietHours(t *testing.T) {
	five, err := cron.ParseStandard("0 5 * * *")
	require.NoError(t, err)
	w := newWorld(t)
	w.policy = Policy{Digest: five, DigestTo: []string{"mail"}, Quiet: night()}
	require.Equal(t, []string{"digest"}, w.says(noon))
	require.Empty(t, w.due(after(17*time.Hour)))
	require.Equal(t, Held, w.last.Notices[0].Outcome)
	require.Equal(t, []string{"digest"}, w.says(after(18*time.Hour+30*time.Minute)))
}

func TestTheWeeklyWord(t *testing.T) {
	mondays, err := cron.ParseStandard("0 9 * * 1")
	require.NoError(t, err)
	w := newWorld(t)
	w.policy = Policy{Channels: []string{"mail"}, Weekly: mondays, DigestTo: []string{"mail"}}
	w.facts.Runs = 5
	require.Empty(t, w.carries(noon))
	monday := time.Date(2026, 11, 30, 9, 0, 0, 0, time.UTC)
	require.Equal(t, monday, w.last.Next)
	send := w.due(monday)
	require.Equal(t, []string{"mail weekly weekly"}, where(send))
	m := Voice{}.Compose(send[0], monday)
	require.Equal(t, "All well: 5 runs in seven days, 0 overdue", m.Subject)
	require.Equal(t, m.Subject+".\n", m.Text)
	w.carries(monday)
	require.Empty(t, w.carries(monday.Add(time.Hour)))
	require.Equal(t, []string{"mail weekly weekly"}, w.carries(monday.AddDate(0, 0, 21)), "three missed are one")
	late := decantAction()
	late.State, late.Due = maintenance.Overdue, after(24*time.Hour)
	w.facts.Actions, w.facts.Runs = []maintenance.Action{late}, 1
	monday = monday.AddDate(0, 0, 28)
	m = Voice{}.Compose(w.due(monday)[1], monday)
	require.Equal(t, "To look at: 1 run in seven days, 1 overdue", m.Subject)
	require.Contains(t, m.Text, "\nOverdue:\n- Decant jar-2: overdue since 25 Nov 12:00\n")
}

func TestPruneKeepsWhatIsStillOwed(t *testing.T) {
	w := newWorld(t, decantAction(), drainAction())
	w.says(noon)
	w.facts.Actions = w.facts.Actions[:1]
	w.says(after(time.Minute)) // the drain is done
	w.ledger.Prune(after(time.Hour), func(string) bool { return false })
	require.Len(t, w.ledger.threads, 1)
	w.facts.Actions = nil
	require.Equal(t, []string{"done"}, w.says(after(2*time.Hour)))
	w.ledger.Prune(after(3*time.Hour), func(string) bool { return false })
	require.Empty(t, w.ledger.threads)
}
