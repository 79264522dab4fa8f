package notify

import (
	"encoding/json"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance"
)

// A story is what becomes of a few actions in some days, told beforehand so that the book
// can be asked as of any instant.
type story struct {
	action  maintenance.Action
	known   time.Time   // when the book first has it
	gone    time.Time   // when it is done
	snoozed []time.Time // pairs of: when told, until when
}

func drawStory(t *rapid.T, id string) story {
	minutes := func(low, high int, name string) time.Duration {
		return time.Duration(rapid.IntRange(low, high).Draw(t, name)) * time.Minute
	}
	opens := noon.Add(minutes(0, 2*dayMin, "opens"))
	a := maintenance.Action{
		ID: id, Do: rapid.SampledFrom([]maintenance.Do{maintenance.DoStopPump, maintenance.DoDrain, maintenance.DoDecant}).Draw(t, "do"),
		Pump: ptr("north"), Opens: opens, Due: opens.Add(minutes(0, 600, "due")),
	}
	if rapid.Bool().Draw(t, "closes") {
		a.Closes = ptr(opens.Add(minutes(1, 600, "closing")))
	}
	s := story{action: a, known: opens.Add(-minutes(0, 600, "known"))}
	s.gone = s.known.Add(minutes(30, 3*dayMin, "gone"))
	if rapid.Bool().Draw(t, "snoozed") {
		told := opens.Add(minutes(0, 300, "told"))
		s.snoozed = []time.Time{told, told.Add(minutes(10, 900, "until"))}
	}
	return s
}

func (s story) at(now time.Time, f *Facts) {
	if now.Before(s.known) || !now.Before(s.gone) {
		return
	}
	a := s.action
	if len(s.snoozed) > 0 && !now.Before(s.snoozed[0]) {
		f.Snoozed[a.ID] = s.snoozed[1]
		a.Opens = s.snoozed[1]
	}
	a.State = maintenance.Open
	if now.Before(a.Opens) {
		a.State = maintenance.Coming
	}
	f.Actions = append(f.Actions, a)
}

// factsAt is what the book says when its clock shows now; entries up to told are in it.
func factsAt(stories []story, now, told time.Time) Facts {
	f := Facts{Snoozed: map[string]time.Time{}}
	for _, s := range stories {
		s.at(now, &f)
		for _, entry := range append([]time.Time{s.known, s.gone}, s.snoozed...) {
			if !entry.After(told) {
				f.Newest = latest(f.Newest, entry)
			}
		}
	}
	return f
}

func drawStories(t *rapid.T) []story {
	return []story{drawStory(t, "drain/north/s1"), drawStory(t, "decant/jar-2/d1")}
}

func drawPolicy(t *rapid.T) Policy {
	p := Policy{Channels: []string{"phone", "mail"}}
	if rapid.Bool().Draw(t, "people") {
		p = household()
		p.LookAhead = ptr(clock(20, 0))
	}
	if rapid.Bool().Draw(t, "kinds") && p.People != nil {
		p.People[0].Kinds = nil
	}
	if rapid.Bool().Draw(t, "read") {
		p.Read = map[string]bool{"mail": true, "phone": true, "post": true}
	}
	if rapid.Bool().Draw(t, "quiet") {
		p.Quiet = Quiet{From: clock(22, 0), To: clock(6, 30), Except: []maintenance.Do{maintenance.DoDrain}}
	}
	if rapid.Bool().Draw(t, "own") && p.People != nil {
		p.People[0].Quiet = Nights{{From: clock(20, 0), To: clock(8, 0)}, {Days: []time.Weekday{time.Wednesday, time.Sunday}, From: clock(13, 0), To: clock(15, 0)}}
	}
	if rapid.Bool().Draw(t, "repeat") {
		p.Repeat = map[maintenance.Do]time.Duration{maintenance.DoDecant: 5 * time.Hour}
	}
	if rapid.Bool().Draw(t, "escalate") {
		p.Escalate = []Escalation{{maintenance.DoDrain, 45 * time.Minute, "mail"}}
	}
	if rapid.Bool().Draw(t, "ladder") && p.People != nil {
		p.Escalate = []Escalation{{maintenance.DoDrain, 45 * time.Minute, "bo"}, {maintenance.DoDrain, 3 * time.Hour, "board"}}
	}
	return p
}

// atOnce are the channels that are told of a kind without escalation.
func atOnce(p Policy, do maintenance.Do) (all []string) {
	for _, channel := range p.Channels {
		if p.hears(channel, do) && p.step(channel, do) == nil {
			all = append(all, channel)
		}
	}
	return all
}

// run lives through the story in random steps, by a clock that is wrong by skew, and hands
// on each reminder to carry.
func run(t *rapid.T, stories []story, p Policy, skew func(time.Time) time.Duration, carry func(w *world, r Reminder, now time.Time)) *world {
	w := newWorld(t)
	w.policy = p
	for real := noon.Add(-time.Minute); real.Before(noon.AddDate(0, 0, 9)); {
		now := real.Add(skew(real))
		w.facts = factsAt(stories, now, real)
		messages := map[string]int{}
		for _, r := range w.due(now) {
			messages[r.Key.Channel]++
			require.True(t, messages[r.Key.Channel] == 1 || !p.Read[r.Key.Channel], "two messages to %s at %s", r.Key.Channel, now)
			require.True(t, len(r.With) == 0 || p.Read[r.Key.Channel], "a program gets one action a message")
			carry(w, r, now)
		}
		real = real.Add(time.Duration(rapid.IntRange(1, 240).Draw(t, "step")) * time.Minute)
	}
	return w
}

func straight(time.Time) time.Duration { return 0 }

// tries writes the attempt, as a carrier does before the send.
func tries(w *world, r Reminder, now time.Time) {
	for _, n := range (Carrier{Clock: func() time.Time { return now }}).attempts(r, r.parts()) {
		w.add(n)
	}
}

// ends writes the outcome, as a carrier does after it.
func ends(w *world, r Reminder, now time.Time, err error) {
	became := outcomes(r, nil, "ok", err, now)
	for _, part := range r.parts() {
		w.add(became[part.Key])
	}
}

func deliver(w *world, r Reminder, now time.Time) {
	tries(w, r, now)
	ends(w, r, now, nil)
}

// answers lets somebody answer what was said, now and then.
func answers(t *rapid.T, w *world, r Reminder, now time.Time) {
	switch rapid.IntRange(0, 7).Draw(t, "answer") {
	case 0:
		w.add(SeenBy(r.Key, "ana", now))
	case 1:
		w.add(WakeMe(r.Key, "ana", now))
	}
}

// requireAwake holds a message against the quiet hours of whoever the channel belongs to.
func requireAwake(t *rapid.T, w *world, r Reminder, now time.Time) {
	for _, part := range r.parts() {
		until, held := w.policy.nights(r.Key.Channel).Holds(patience(part), now)
		if held && part.Key.Stage != Done {
			held = !newPlanner(w.facts, w.ledger, w.policy, now).woken(&part.Action, r.Key.Channel, until)
		}
		require.False(t, held, "%v in quiet hours at %s", part.Key, now)
	}
}

func TestLawEachReminderIsSentOnceAndNoneAtNight(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stories, sent := drawStories(t), map[Key]int{}
		p := drawPolicy(t)
		run(t, stories, p, straight, func(w *world, r Reminder, now time.Time) {
			requireAwake(t, w, r, now)
			for _, part := range r.parts() {
				sent[part.Key]++
			}
			deliver(w, r, now)
			requireFixed(t, w, now)
			answers(t, w, r, now)
		})
		for key, times := range sent {
			require.Equal(t, 1, times, key)
		}
		for _, s := range stories {
			for _, channel := range p.Channels {
				first, last := s.told(sent, channel)
				require.Equal(t, first, last, "said and never done, or done and never said: %v %s", s, channel)
			}
		}
	})
}

// requireFixed: what was carried is not asked for again, and the same question has the same
// answer.
func requireFixed(t *rapid.T, w *world, now time.Time) {
	one, two := Due(w.facts, w.ledger, w.policy, now), Due(w.facts, w.ledger, w.policy, now)
	require.Equal(t, where(one.Send), where(two.Send))
	require.Equal(t, one.Next, two.Next)
	for _, r := range one.Send {
		for _, part := range r.parts() {
			require.NotEqual(t, Delivered, w.ledger.threads[line{part.Key.Action, part.Key.Channel}].get(step{part.Key.Stage, part.Key.Count}).outcome)
		}
	}
	for _, n := range one.Notices {
		w.add(n)
	}
	require.Empty(t, Due(w.facts, w.ledger, w.policy, now).Notices, "a plan is not settled by its own notices")
}

// told says whether any stage was said on a channel, and whether done was.
func (s story) told(sent map[Key]int, channel string) (said, done bool) {
	for key := range sent {
		if key.Action == s.action.ID && key.Channel == channel {
			said = said || key.Stage != Done
			done = done || key.Stage == Done
		}
	}
	return said, done
}

// TestLawAKillRepeatsAtMostOnce kills after the attempt is on disk, before or after the
// other end has heard it, and lets sends fail. After a kill the ledger is what the notices
// on disk add up to. In the end each reminder was carried once, or was not wanted any more.
func TestLawAKillRepeatsAtMostOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stories, p := drawStories(t), drawPolicy(t)
		heard, kills, owed := map[Key]int{}, map[Key]int{}, map[Key]bool{}
		w := run(t, stories, p, straight, func(w *world, r Reminder, now time.Time) {
			requireAwake(t, w, r, now)
			tries(w, r, now)
			fate := rapid.IntRange(0, 4).Draw(t, "fate")
			for _, part := range r.parts() {
				owed[part.Key] = true
				if fate <= 1 {
					kills[part.Key]++
				}
				if fate != 0 && fate != 2 {
					heard[part.Key]++
				}
			}
			switch fate {
			case 0, 1: // killed before the send, or after it
				w.ledger = NewLedger()
				for _, n := range w.notices {
					w.ledger.Add(n)
				}
			case 2:
				ends(w, r, now, errors.New("no route"))
			default:
				ends(w, r, now, nil)
			}
		})
		for key, times := range heard {
			require.LessOrEqual(t, times, 1+kills[key], key)
		}
		requireNothingPending(t, w)
		last := map[Key]Outcome{}
		for _, n := range w.notices {
			last[n.Key] = n.Outcome
		}
		for key := range owed {
			require.Contains(t, []Outcome{Delivered, Superseded}, last[key], "%v was due, and is neither carried nor closed", key)
		}
	})
}

// requireNothingPending tries the last refusals once more: whatever was due is delivered or
// was superseded.
func requireNothingPending(t *rapid.T, w *world) {
	now := noon.AddDate(0, 0, 12)
	for range 3 {
		for _, r := range w.due(now) {
			deliver(w, r, now)
		}
	}
	for at, thread := range w.ledger.threads {
		require.False(t, thread.said(), at)
		for s, m := range thread.steps {
			require.False(t, m.pending(), "%v %v %v", at, s, m)
		}
	}
}

// TestLawClockStepsNeitherLoseNorMultiply lets the clock be wrong by up to ten years, in
// steps, and right at the end.
func TestLawClockStepsNeitherLoseNorMultiply(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stories, sent := drawStories(t), map[Key]int{}
		p := drawPolicy(t)
		p.Repeat = nil
		end := noon.AddDate(0, 0, 5)
		skew := func(now time.Time) time.Duration {
			if now.After(end) || rapid.IntRange(0, 3).Draw(t, "wrong") > 0 {
				return 0
			}
			limit := rapid.SampledFrom([]int64{1, 60, 3600, 86400, 3600 * 24 * 3650}).Draw(t, "size")
			return time.Duration(rapid.Int64Range(-limit, limit).Draw(t, "skew")) * time.Second
		}
		w := run(t, stories, p, skew, func(w *world, r Reminder, now time.Time) {
			for _, part := range r.parts() {
				for _, later := range laterStages[part.Key.Stage] {
					require.Zero(t, sent[Key{part.Key.Action, later, part.Key.Count, part.Key.Channel}], "%v after %s", part.Key, later)
				}
				sent[part.Key]++
			}
			deliver(w, r, now)
		})
		for key, times := range sent {
			require.Equal(t, 1, times, key)
		}
		requireNothingPending(t, w)
		for _, s := range stories {
			if len(s.snoozed) == 0 && s.gone.Sub(latest(s.action.Opens, end)) > 24*time.Hour {
				for _, channel := range atOnce(p, s.action.Do) {
					said, _ := s.told(sent, channel)
					require.True(t, said, "lost: %v on %s", s, channel)
				}
			}
		}
	})
}

var laterStages = map[Stage][]Stage{Opened: {Closing, Overdue}, Closing: {Overdue}}

// TestLawARestartChangesNothing: the notices as the journal keeps them give the same plan.
func TestLawARestartChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := run(t, drawStories(t), drawPolicy(t), straight, func(w *world, r Reminder, now time.Time) {
			tries(w, r, now)
			switch rapid.IntRange(0, 3).Draw(t, "fate") {
			case 0:
				ends(w, r, now, nil)
				answers(t, w, r, now)
			case 1:
				ends(w, r, now, errors.New("no route"))
			case 2:
				ends(w, r, now, ErrPermanent)
			}
		})
		read := NewLedger()
		for _, kept := range w.notices {
			var n Notice
			require.NoError(t, json.Unmarshal([]byte(asJSON(t, kept)), &n))
			read.Add(n)
		}
		for at, thread := range read.threads {
			require.Equal(t, w.ledger.threads[at].dones, thread.dones)
		}
		now := noon.AddDate(0, 0, 9)
		want, got := Due(w.facts, w.ledger, w.policy, now), Due(w.facts, read, w.policy, now)
		require.Equal(t, asJSON(t, want), asJSON(t, got))
	})
}

func asJSON(t require.TestingT, v any) string {
	b, err := json.Marshal(v)
	require.NoError(t, err)
	return string(b)
}
