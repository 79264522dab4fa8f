package notify

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// reader is the policy of one channel that people read.
func reader() Policy {
	return Policy{Channels: []string{"mail"}, Read: map[string]bool{"mail": true}, Quiet: Quiet{From: clock(22, 0), To: clock(6, 30)}}
}

func nightActions() []maintenance.Action {
	drain, decant, fill := drainAction(), decantAction(), decantAction()
	drain.Opens, drain.Due = after(14*time.Hour), after(15*time.Hour)
	drain.Closes = &drain.Due
	decant.Opens, decant.Due = after(15*time.Hour), after(15*time.Hour)
	fill.ID, fill.Do, fill.Pump, fill.Opens, fill.Due = "fill/south/s4", maintenance.DoFill, ptr("south"), after(16*time.Hour), after(40*time.Hour)
	return []maintenance.Action{drain, fill, decant}
}

const morning = 18*time.Hour + 30*time.Minute

func TestWhatANightHeldIsOneMessageWherePeopleRead(t *testing.T) {
	w := newWorld(t, nightActions()...)
	w.policy = reader()
	w.policy.Channels = []string{"mail", "hook"}
	for _, hour := range []int{14, 15, 16} {
		require.Empty(t, w.due(after(time.Duration(hour)*time.Hour)))
	}
	send := w.due(after(morning))
	require.Equal(t, []string{"mail overdue drain north (opened fill south) (opened decant jar-2)", "hook overdue drain north", "hook opened fill south", "hook opened decant jar-2"}, where(send))
	m := Voice{}.Compose(send[0], after(morning))
	require.Equal(t, "3 reminders from your quiet hours. First: Drain north: overdue since 03:00", m.Subject)
	for _, part := range send[0].parts() {
		require.Contains(t, m.Text, "\n"+Voice{}.Compose(part, after(morning)).Text, "each is there as it would be alone")
	}
	require.Equal(t, send[0].ID(), m.ID)
	require.NotEqual(t, send[0].Key.ID(), m.ID, "with others it is another message")
	require.Equal(t, send[1].Key.ID(), send[1].ID())
	w.carries(after(morning))
	for _, n := range w.notices[len(w.notices)-12:] { // three in one message, three alone, twice each
		require.Equal(t, n.Key.Channel == "mail", n.In != "")
	}
}

func TestAfterAGapOneMessageSaysHowLongItWas(t *testing.T) {
	w := newWorld(t, nightActions()...)
	w.policy = reader()
	w.policy.Quiet = Quiet{}
	w.facts.Off = Stretch{after(13*time.Hour + 10*time.Minute), after(18*time.Hour + 45*time.Minute)}
	send := w.due(after(18*time.Hour + 45*time.Minute))
	require.Len(t, send, 1)
	require.Equal(t, "3 things came due while I was off (01:10–06:45). First: Drain north: overdue since 03:00", Voice{}.Compose(send[0], w.facts.Off.To).Subject)
	w.facts.Off.From = after(14*time.Hour + 30*time.Minute)
	w.facts.Actions[0].Due, w.facts.Actions[0].Closes = w.facts.Actions[0].Opens, nil // due before the gap
	require.Equal(t, "3 reminders. First: Drain north: warm the pump first", Voice{}.Compose(w.due(w.facts.Off.To)[0], w.facts.Off.To).Subject)
}

func TestManyAreListedAfterTheFirst(t *testing.T) {
	var all []maintenance.Action
	for i := range 250 {
		a := decantAction()
		a.ID, a.Vessel = fmt.Sprintf("decant/jar-%d/d%d", i, i), ptr(fmt.Sprintf("jar-%d", i))
		all = append(all, a)
	}
	w := newWorld(t, all...)
	w.policy = reader()
	send := w.due(noon)
	require.Len(t, send, 1)
	m := Voice{}.Compose(send[0], noon)
	require.Equal(t, 12, strings.Count(m.Text, "\nDecant jar-"), "in full")
	require.Contains(t, m.Text, "\nAlso:\n- Decant jar-12: the clear oil is on top\n- Decant jar-13:")
	require.Contains(t, m.Text, "- Decant jar-99: the clear oil is on top\nand 150 more: sumpbook next shows them all.\n")
	require.Less(t, len(m.Text), 20000)
	require.Equal(t, w.carries(noon), where(send))
}

// What goes together fails together, waits together and comes again together, with what
// has come meanwhile; what is done by then is left out.
func TestAMergedSendThatFailsIsTriedAgainWhole(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		failing := true
		mail := &mailbox{name: "mail", send: func(context.Context, Message) (string, error) {
			if failing {
				return "", errors.New("no route")
			}
			return "250 queued", nil
		}}
		h := open(t, mail)
		h.learn(func(f *Facts) {
			h.policy.Read = map[string]bool{"mail": true}
			f.Actions = []maintenance.Action{ready(1), ready(2), ready(3)}
		})
		synctest.Wait()
		require.Equal(t, 1, mail.tries)
		require.Len(t, h.notices, 6)
		for i, n := range h.notices {
			require.Equal(t, []Outcome{Attempted, Retry}[i/3], n.Outcome)
			require.Equal(t, 1, n.Attempt)
			require.Equal(t, *h.notices[3].Until, *h.notices[3+i%3].Until, "they wait together")
			require.Equal(t, h.notices[0].In, n.In)
		}
		failing = false
		h.learn(func(f *Facts) { f.Actions = append(f.Actions[:1:1], f.Actions[2]) })
		time.Sleep(time.Minute)
		synctest.Wait()
		require.Len(t, mail.heard, 1)
		require.Contains(t, mail.heard[0].Subject, "2 reminders. First: Decant jar-1")
		require.NotContains(t, mail.heard[0].Text, "jar-2")
		became := map[string]Outcome{}
		for _, n := range h.notices {
			became[n.Key.Action] = n.Outcome
		}
		require.Equal(t, map[string]Outcome{"decant/jar-1/d1": Delivered, "decant/jar-2/d2": Superseded, "decant/jar-3/d3": Delivered}, became)
	})
}

func TestPartsThatAreDoneWhileTheAttemptIsWrittenAreLeftOut(t *testing.T) {
	mail := &mailbox{name: "mail"}
	h := &house{ledger: NewLedger(), policy: reader(), facts: Facts{Actions: nightActions()}}
	r := Due(h.facts, h.ledger, h.policy, after(morning)).Send[0]
	writes := 0
	c := Carrier{Clock: func() time.Time { return after(morning) }, Compose: Voice{}.Compose}
	c.Log = logFunc(func(ctx context.Context, n []Notice) error {
		if writes++; writes == 1 { // the drain is told while the attempt is on its way to the disk
			h.facts.Actions = h.facts.Actions[1:]
		}
		return h.AppendNotices(ctx, n)
	})
	c.Still = func(r Reminder) (Reminder, bool) { return Left(r, h.facts, h.ledger, h.policy, after(morning)) }
	h.poke = make(chan struct{}, 1)
	n, err := c.Deliver(t.Context(), mail, r)
	require.NoError(t, err)
	require.Equal(t, Retry, n.Outcome)
	require.Equal(t, "not sent: it is wanted no more", n.Detail)
	require.Contains(t, mail.heard[0].Subject, "2 reminders. First: Fill south")
	require.Equal(t, []Outcome{Retry, Delivered, Delivered}, []Outcome{h.notices[3].Outcome, h.notices[4].Outcome, h.notices[5].Outcome})
}

// Killed between the attempt and its outcome, the parts come again as one.
func TestAMergedSendThatWasCutOffIsOneAgain(t *testing.T) {
	w := newWorld(t, decantAction(), drainAction())
	w.policy = reader()
	r := w.due(noon)[0]
	for _, n := range (Carrier{Clock: func() time.Time { return noon }}).attempts(r, r.parts()) {
		w.add(n)
	}
	require.Empty(t, w.due(after(9*time.Second)))
	again := w.due(w.last.Next)
	require.Equal(t, where([]Reminder{r}), where(again))
	require.Equal(t, r.ID(), again[0].ID())
	require.Equal(t, 2, again[0].Attempt)
}

// TestTenThousandAtOnce is the bound on the first word when everything is due at once: the
// best of three, since others may use the machine.
func TestTenThousandAtOnce(t *testing.T) {
	best := firstOfTenThousand(t)
	for try := 1; try < 3 && best >= time.Second; try++ {
		best = min(best, firstOfTenThousand(t))
	}
	require.Less(t, best, slower*time.Second)
}

func firstOfTenThousand(t *testing.T) time.Duration {
	w := newWorld(t)
	for i := range 10000 {
		a := decantAction()
		a.ID = fmt.Sprintf("decant/jar-%d/d%d", i, i)
		w.facts.Actions = append(w.facts.Actions, a)
	}
	w.policy = household()
	w.policy.Quiet = night()
	w.policy.People[0].Quiet = Nights{night(), {Days: []time.Weekday{time.Sunday}, From: clock(21, 0), To: clock(9, 0)}}
	w.policy.Escalate = []Escalation{{maintenance.DoDecant, time.Hour, "bo"}}
	began, took := time.Now(), time.Duration(0)
	mail := &mailbox{name: "mail", send: func(context.Context, Message) (string, error) { took = time.Since(began); return "", nil }}
	c := Carrier{Log: logFunc(func(_ context.Context, all []Notice) error {
		for _, n := range all {
			w.ledger.Add(n)
		}
		return nil
	}), Clock: func() time.Time { return noon }, Compose: Voice{}.Compose}
	c.Still = func(r Reminder) (Reminder, bool) { return Left(r, w.facts, w.ledger, w.policy, noon) }
	for _, r := range w.due(noon) {
		if r.Key.Channel == "mail" {
			_, err := c.Deliver(t.Context(), mail, r)
			require.NoError(t, err)
		}
	}
	require.Len(t, mail.heard, 1)
	return took
}
