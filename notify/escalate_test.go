package notify

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// ladder tells bo after 45 minutes without an answer, and the board after 90.
func ladder() Policy {
	p := household()
	p.Escalate = []Escalation{{maintenance.DoDrain, 45 * time.Minute, "bo"}, {maintenance.DoDrain, 90 * time.Minute, "board"}}
	return p
}

func longDrain() maintenance.Action {
	a := drainAction()
	a.Due = after(6 * time.Hour)
	a.Closes = &a.Due
	a.Why = []maintenance.Reason{{Rule: "oil_c", Value: 44.2, Limit: 38, Unit: "C", Source: "invented"}}
	return a
}

func TestNobodyAnswers(t *testing.T) {
	w := newWorld(t, longDrain())
	w.policy = ladder()
	require.Equal(t, []string{"phone opened drain north"}, w.carries(noon), "whom the steps name is not told before")
	require.Equal(t, after(45*time.Minute), w.last.Next)
	require.Empty(t, w.carries(after(44*time.Minute)))
	send := w.due(after(45 * time.Minute))
	require.Equal(t, []string{"post opened drain north"}, where(send))
	require.Equal(t, "no answer for 45 min: the window is open", send[0].Reason)
	require.Contains(t, Voice{}.Compose(send[0], after(45*time.Minute)).Text, "You are told because nobody has answered for 45 min; the oil is now at about 44.2 C.\n")
	require.NotContains(t, Voice{}.Compose(w.due(after(45 * time.Minute))[0], noon).Subject, "nobody")
	w.carries(after(45 * time.Minute))
	require.Equal(t, after(90*time.Minute), w.last.Next)
	require.Equal(t, []string{"board opened drain north"}, w.carries(after(90*time.Minute)))
	require.Equal(t, []string{"phone closing drain north", "post closing drain north", "board closing drain north"}, w.carries(after(4*time.Hour)), "who was told hears the rest")
	w.facts.Actions = nil
	require.Equal(t, []string{"board done drain north", "phone done drain north", "post done drain north"}, w.carries(after(5*time.Hour)))
}

// Whoever was told by a step hears the rest of the window, also when somebody has seen it
// since and when the clock is set back.
func TestWhoWasToldIsNotForgotten(t *testing.T) {
	w := newWorld(t, longDrain())
	w.policy = ladder()
	w.carries(noon)
	w.carries(after(45 * time.Minute)) // bo knows
	w.add(SeenBy(Key{"drain/north/s1", Opened, 0, "post"}, "bo", after(50*time.Minute)))
	require.Empty(t, w.carries(after(10*time.Minute)))
	require.Empty(t, w.carries(after(2*time.Hour)), "the board need not know")
	require.Equal(t, []string{"phone closing drain north", "post closing drain north"}, w.carries(after(4*time.Hour)))
}

// The first step may be another channel of the same person, which is not told of it before.
func TestAStepToAnotherChannel(t *testing.T) {
	w := newWorld(t, longDrain())
	w.policy = household()
	w.policy.Escalate = []Escalation{{maintenance.DoDrain, 45 * time.Minute, "mail"}}
	require.NotContains(t, w.carries(noon), "mail opened drain north")
	require.Equal(t, []string{"mail opened drain north"}, w.carries(after(45*time.Minute)))
}

func TestSeenStopsRepeatAndEscalationOfItsStage(t *testing.T) {
	w := newWorld(t, longDrain())
	w.policy = ladder()
	w.policy.Repeat = map[maintenance.Do]time.Duration{maintenance.DoDrain: 30 * time.Minute}
	w.carries(noon)
	require.Equal(t, []string{"phone again drain north"}, w.carries(after(30*time.Minute)))
	k, ok := w.ledger.Told("drain/north/s1")
	require.True(t, ok)
	require.Equal(t, Key{"drain/north/s1", Opened, 0, "phone"}, k)
	w.add(SeenBy(k, "ana", after(40*time.Minute)))
	for at := 45 * time.Minute; at < 4*time.Hour; at += 15 * time.Minute {
		require.Empty(t, w.carries(after(at)))
	}
	require.Equal(t, []string{"phone closing drain north"}, w.carries(after(4*time.Hour)), "seen is not done")
	require.Equal(t, []string{"phone again drain north"}, w.carries(after(4*time.Hour+30*time.Minute)))
	require.Equal(t, []string{"post closing drain north"}, w.carries(after(4*time.Hour+45*time.Minute)), "nor is it an answer to the next stage")
}

func TestSeenOnARepeatIsSeen(t *testing.T) {
	w := newWorld(t, longDrain())
	w.policy = ladder()
	w.policy.Repeat = map[maintenance.Do]time.Duration{maintenance.DoDrain: 30 * time.Minute}
	w.carries(noon)
	r := w.due(after(30 * time.Minute))[0]
	w.outcome(r, Attempted, after(30*time.Minute), nil)
	w.outcome(r, Retry, after(30*time.Minute), ptr(after(40*time.Minute))) // and yet it came through
	w.add(SeenBy(r.Key, "ana", after(35*time.Minute)))
	for at := 40 * time.Minute; at < 4*time.Hour; at += 5 * time.Minute {
		require.Empty(t, w.carries(after(at)))
	}
}

// On a channel on which the repeat still waits it is dropped: somebody has seen it elsewhere.
func TestSeenElsewhereEndsARepeatThatWaits(t *testing.T) {
	w := newWorld(t, longDrain())
	w.policy = Policy{Channels: []string{"phone", "mail"}, Repeat: map[maintenance.Do]time.Duration{maintenance.DoDrain: 30 * time.Minute}}
	w.carries(noon)
	for _, r := range w.due(after(30 * time.Minute)) {
		w.outcome(r, Attempted, after(30*time.Minute), nil)
		w.outcome(r, Retry, after(30*time.Minute), ptr(after(40*time.Minute)))
	}
	w.add(SeenBy(Key{"drain/north/s1", Opened, 0, "phone"}, "ana", after(35*time.Minute)))
	require.Empty(t, w.due(after(40*time.Minute)))
	require.Len(t, w.last.Notices, 2)
	for _, n := range w.last.Notices {
		require.Equal(t, Superseded, n.Outcome)
		require.Equal(t, "it was seen", n.Detail)
	}
}

func TestSeenAfterItWasDoneIsNothing(t *testing.T) {
	w := newWorld(t, longDrain())
	w.policy.Repeat = map[maintenance.Do]time.Duration{maintenance.DoDrain: 30 * time.Minute}
	w.carries(noon)
	actions := w.facts.Actions
	w.facts.Actions = nil
	w.carries(after(time.Minute))
	w.add(SeenBy(Key{"drain/north/s1", Opened, 0, "phone"}, "ana", after(2*time.Minute)))
	w.facts.Actions = actions // undone
	require.Equal(t, []string{"phone opened drain north"}, w.carries(after(3*time.Minute)))
	require.Equal(t, []string{"phone again drain north"}, w.carries(after(33*time.Minute)))
}

// Later is neither seen nor done: when its time comes the first are told first, anew.
func TestSnoozeStartsTheLadderAnew(t *testing.T) {
	w := newWorld(t, longDrain())
	w.policy = ladder()
	w.carries(noon)
	w.carries(after(45 * time.Minute)) // bo knows
	until := after(2 * time.Hour)
	w.facts.Snoozed = map[string]time.Time{"drain/north/s1": until}
	w.facts.Actions[0].State, w.facts.Actions[0].Opens = maintenance.Coming, until
	require.Empty(t, w.carries(after(100*time.Minute)))
	w.facts.Actions[0].State = maintenance.Open
	require.Equal(t, []string{"phone opened drain north"}, w.carries(until))
	require.Empty(t, w.carries(until.Add(44*time.Minute)))
	require.Equal(t, []string{"post opened drain north"}, w.carries(until.Add(45*time.Minute)))
}

func TestAnAnswerEndsAnEscalationThatWaits(t *testing.T) {
	w := newWorld(t, longDrain())
	w.policy = ladder()
	w.carries(noon)
	r := w.due(after(45 * time.Minute))[0]
	w.outcome(r, Attempted, after(45*time.Minute), nil)
	w.outcome(r, Retry, after(45*time.Minute), ptr(after(50*time.Minute)))
	w.add(SeenBy(Key{"drain/north/s1", Opened, 0, "phone"}, "ana", after(46*time.Minute)))
	require.Empty(t, w.due(after(50*time.Minute)))
	require.Equal(t, "somebody has answered", w.last.Notices[0].Detail)
	require.False(t, stands(Reminder{Key: r.Key, Action: r.Action, Attempt: 2}, w.facts, w.ledger, w.policy, after(50*time.Minute)))
}

// What cannot be carried to the first is not their silence alone: the step comes from the
// first try.
func TestADeadChannelIsNoAnswer(t *testing.T) {
	w := newWorld(t, longDrain())
	w.policy = ladder()
	r := w.due(noon)[0]
	w.outcome(r, Attempted, noon, nil)
	w.outcome(r, Retry, noon, ptr(after(30*time.Minute)))
	r = w.due(after(30 * time.Minute))[0]
	w.outcome(r, Attempted, after(30*time.Minute), nil)
	w.outcome(r, GaveUp, after(30*time.Minute), nil)
	require.Equal(t, []string{"post opened drain north"}, w.carries(after(45*time.Minute)))
}

func TestToldOfNothing(t *testing.T) {
	_, ok := NewLedger().Told("drain/north/s1")
	require.False(t, ok)
}
