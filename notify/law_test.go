package notify

import (
	"encoding/json"
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
	if rapid.Bool().Draw(t, "quiet") {
		p.Quiet = Quiet{From: clock(22, 0), To: clock(6, 30), Except: []maintenance.Do{maintenance.DoDrain}}
	}
	if rapid.Bool().Draw(t, "repeat") {
		p.Repeat = map[maintenance.Do]time.Duration{maintenance.DoDecant: 5 * time.Hour}
	}
	return p
}

// run lives through the story in random steps, by a clock that is wrong by skew, and hands
// on each reminder to carry.
func run(t *rapid.T, stories []story, p Policy, skew func(time.Time) time.Duration, carry func(w *world, r Reminder, now time.Time)) *world {
	w := newWorld(t)
	w.policy = p
	for real := noon.Add(-time.Minute); real.Before(noon.AddDate(0, 0, 9)); {
		now := real.Add(skew(real))
		w.facts = factsAt(stories, now, real)
		for _, r := range w.due(now) {
			carry(w, r, now)
		}
		real = real.Add(time.Duration(rapid.IntRange(1, 240).Draw(t, "step")) * time.Minute)
	}
	return w
}

func straight(time.Time) time.Duration { return 0 }

func deliver(w *world, r Reminder, now time.Time) {
	w.add(Notice{At: now, Key: r.Key, Outcome: Attempted, Attempt: r.Attempt, About: aboutOf(r)})
	w.outcome(r, Delivered, now, nil)
}

func TestLawEachReminderIsSentOnceAndNoneAtNight(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stories, sent := drawStories(t), map[Key]int{}
		run(t, stories, drawPolicy(t), straight, func(w *world, r Reminder, now time.Time) {
			_, held := w.policy.Quiet.Holds(patience(r), now)
			require.False(t, held, "%v in quiet hours at %s", r.Key, now)
			sent[r.Key]++
			deliver(w, r, now)
		})
		for key, times := range sent {
			require.Equal(t, 1, times, key)
		}
		for _, s := range stories {
			for _, channel := range []string{"phone", "mail"} {
				first, last := s.told(sent, channel)
				require.Equal(t, first, last, "said and never done, or done and never said: %v %s", s, channel)
			}
		}
	})
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
// other end has heard it, or lets the send fail.
func TestLawAKillRepeatsAtMostOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stories := drawStories(t)
		heard, kills, owed := map[Key]int{}, map[Key]int{}, map[Key]bool{}
		w := run(t, stories, drawPolicy(t), straight, func(w *world, r Reminder, now time.Time) {
			owed[r.Key] = true
			w.add(Notice{At: now, Key: r.Key, Outcome: Attempted, Attempt: r.Attempt, About: aboutOf(r)})
			switch rapid.IntRange(0, 4).Draw(t, "fate") {
			case 0: // killed before the send
				kills[r.Key]++
			case 1: // killed after it
				kills[r.Key]++
				heard[r.Key]++
			case 2:
				w.outcome(r, Retry, now, ptr(now.Add(Backoff(r.Key, r.Attempt))))
			default:
				heard[r.Key]++
				w.outcome(r, Delivered, now, nil)
			}
		})
		for key, times := range heard {
			require.LessOrEqual(t, times, 1+kills[key], key)
		}
		requireNothingPending(t, w)
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
			for _, later := range laterStages[r.Key.Stage] {
				require.Zero(t, sent[Key{r.Key.Action, later, r.Key.Count, r.Key.Channel}], "%v after %s", r.Key, later)
			}
			sent[r.Key]++
			deliver(w, r, now)
		})
		for key, times := range sent {
			require.Equal(t, 1, times, key)
		}
		requireNothingPending(t, w)
		for _, s := range stories {
			if len(s.snoozed) == 0 && s.gone.Sub(latest(s.action.Opens, end)) > 24*time.Hour {
				said, _ := s.told(sent, "phone")
				require.True(t, said, "lost: %v", s)
			}
		}
	})
}

var laterStages = map[Stage][]Stage{Opened: {Closing, Overdue}, Closing: {Overdue}}

// TestLawARestartChangesNothing: the notices as the journal keeps them give the same plan.
func TestLawARestartChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := run(t, drawStories(t), drawPolicy(t), straight, func(w *world, r Reminder, now time.Time) {
			n := Notice{At: now, Key: r.Key, Outcome: Attempted, Attempt: r.Attempt, About: aboutOf(r)}
			n.Outcome = rapid.SampledFrom([]Outcome{Delivered, Attempted, Retry, GaveUp}).Draw(t, "outcome")
			if n.Outcome == Retry {
				n.Until = ptr(now.Add(Backoff(r.Key, r.Attempt)))
			}
			w.add(n)
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
