package daemon

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

func TestThePolicyIsThatOfTheFile(t *testing.T) {
	c, err := config.Load(config.Options{File: "../testdata/config/people.yaml", Explicit: true})
	require.NoError(t, err)
	p := policyOf(c)
	require.Equal(t, []string{"phone", "mail", "post", "board"}, p.Channels)
	require.Equal(t, map[string]bool{"mail": true, "post": true}, p.Read)
	require.Equal(t, []string{"mail", "post"}, p.DigestTo)
	require.Equal(t, map[maintenance.Do][]string{maintenance.DoDrain: {"phone"}, notify.AnyKind: {"mail"}}, p.People[0].Kinds)
	require.Equal(t, []time.Weekday{time.Saturday, time.Sunday}, p.People[0].Quiet[1].Days)
	require.Equal(t, c.Timezone, p.People[0].Quiet[1].Zone)
	require.Empty(t, p.People[1].Quiet, "bo has those of the house")
	require.Equal(t, []notify.Escalation{{Do: maintenance.DoDrain, After: 45 * time.Minute, Who: "bo"}, {Do: maintenance.DoDrain, After: 90 * time.Minute, Who: "board"}}, p.Escalate)
	require.Equal(t, 20*60, *p.LookAhead)
	require.NotNil(t, p.Digest)
	require.NotNil(t, p.Weekly)
	c.LookAhead = "off"
	require.Nil(t, policyOf(c).LookAhead)
	require.Nil(t, policyOf(config.Default()).Weekly)
}

// letters is a configuration with one channel that people read, quiet by night.
func letters() config.Config {
	c := config.Default()
	c.Timezone = time.UTC
	c.Quiet = config.Quiet{From: 22 * 60, To: 6*60 + 30}
	c.Channels = []config.Channel{{Name: "mail", Type: "smtp", Host: "127.0.0.1", Port: 1025, From: "pump@example.org", To: []string{"ana@example.org"}, TLS: notify.Opportunistic}}
	return c
}

// Four upkeep tasks and a drain fall due at midnight: one letter, at half past six.
func TestTheNightIsOneLetterInTheMorning(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := letters()
		for _, task := range []string{"a", "b", "c", "d"} {
			c.Care = append(c.Care, config.Care{Task: task, After: config.After{RunHours: 23.9}})
		}
		mail := &hand{name: "mail"}
		b := startBeating(t, c, t.TempDir(), mail)
		defer func() { b.stop() }()
		b.begin(t)
		time.Sleep(6*time.Hour + 29*time.Minute)
		synctest.Wait()
		before := len(mail.taken())
		time.Sleep(2 * time.Minute)
		synctest.Wait()
		require.Len(t, mail.taken(), before+1)
		m := mail.taken()[before]
		require.Equal(t, "5 reminders from your quiet hours. First: Drain north into jar-1: overdue since 00:52", m.Subject)
		delivered := map[string]int{}
		require.NoError(t, b.k.book.journal.Notices(0, func(n notify.Notice) error {
			if n.Outcome == notify.Delivered {
				delivered[n.Key.Action]++
				require.Equal(t, m.ID, n.In)
			}
			return nil
		}))
		require.Len(t, delivered, 5, "accounted one by one")
	})
}

// The daemon was off from noon to eight: it says so, and for how long.
func TestADaemonThatWasOffSaysForHowLong(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, data, mail := letters(), t.TempDir(), &hand{name: "mail"}
		c.Care = []config.Care{{Task: "gasket", Cron: "0 14 * * *"}, {Task: "seal", Cron: "30 15 * * *"}}
		b := startBeating(t, c, data, mail)
		all := opening(t)
		for i := range all {
			all[i].At = time.Now()
		}
		_, err := b.k.book.Record(context.Background(), time.Now(), all)
		require.NoError(t, err)
		time.Sleep(12*time.Hour + time.Second)
		synctest.Wait()
		b.stop()
		before := len(mail.taken())
		time.Sleep(8 * time.Hour)
		b = startBeating(t, c, data, mail)
		defer func() { b.stop() }()
		synctest.Wait()
		require.Len(t, mail.taken(), before+1)
		require.Contains(t, mail.taken()[before].Subject, "2 things came due while I was off (12:00–20:00). First: Upkeep: ")
	})
}

// A run like the last two will end in the night: word of it comes at eight in the evening,
// and whoever asks is woken by the stop.
func TestALookAheadAndAWake(t *testing.T) {
	synctest.Test(t, func(t *testing.T) { // the bubble begins at midnight
		mail := &hand{name: "mail"}
		b := startBeating(t, letters(), t.TempDir(), mail)
		defer func() { b.stop() }()
		b.begin(t) // and stands at the next, after a day's run
		for i, id := range []string{"1", "2"} {
			b.tell(t, `{"id":"d`+id+`","kind":"drain","pump":"north","to":"jar-`+id+`"}`)
			b.tell(t, `{"id":"f`+id+`","kind":"fill","pump":"north","from":"can-1"}`)
			time.Sleep(3 * time.Hour)
			b.tell(t, `{"id":"r`+id+`","kind":"start","pump":"north"}`)
			if i == 0 {
				time.Sleep(24 * time.Hour)
				b.tell(t, `{"id":"e1","kind":"stop","pump":"north","hot_c":66}`)
			}
		}
		before := len(mail.taken())
		time.Sleep(14 * time.Hour) // 20:00
		synctest.Wait()
		var asked *notify.Message
		for _, m := range mail.taken()[before:] {
			if m.Key.Count < 0 && m.Action.Do == maintenance.DoDrain {
				asked = &m
			}
		}
		require.NotNil(t, asked, "%v", stagesOf(mail.taken()))
		require.Contains(t, asked.Text, "The run of north will probably end")
		wake := slices.IndexFunc(asked.Links, func(l notify.Link) bool { return l.Action == asked.Action.ID && l.Reply == notify.ReplyWake })
		require.GreaterOrEqual(t, wake, 0, "%v", asked.Links)
		said, err := b.k.Answer(context.Background(), asked.Links[wake].URL[strings.LastIndex(asked.Links[wake].URL, "/")+1:], Fields{})
		require.NoError(t, err)
		require.Equal(t, "You will be woken this night", said)
		time.Sleep(9 * time.Hour) // 05:00
		before = len(mail.taken())
		b.tell(t, `{"id":"e2","kind":"stop","pump":"north","hot_c":66}`)
		require.Len(t, mail.taken(), before+1, "woken")
		require.Equal(t, notify.Opened, mail.taken()[before].Key.Stage)
	})
}

func TestThePulseTellsGaps(t *testing.T) {
	dir, noon := t.TempDir(), time.Date(2026, 11, 24, 12, 0, 0, 0, time.UTC)
	p := newPulse(dir)
	require.Zero(t, p.beat(noon), "a first start is no gap")
	require.Zero(t, p.beat(noon.Add(4*time.Minute)))
	require.Equal(t, notify.Stretch{From: noon.Add(4 * time.Minute), To: noon.Add(time.Hour)}, p.beat(noon.Add(time.Hour)), "the machine slept")
	require.Zero(t, p.beat(noon), "a clock set back is no gap")
	p = newPulse(dir)
	off := p.beat(noon.Add(2 * time.Hour))
	require.True(t, off.From.Equal(noon), "what is on disk is the last beat before the end, not %s", off.From)
	info, err := os.Stat(filepath.Join(dir, aliveFile))
	require.NoError(t, err)
	require.Zero(t, info.Size())
	require.Zero(t, newPulse(filepath.Join(dir, "none")).beat(noon), "no folder, no words")
}

func TestRunsOfAWeek(t *testing.T) {
	now := time.Date(2026, 11, 24, 12, 0, 0, 0, time.UTC)
	s := maintenance.NewState()
	s.Pumps["north"] = &maintenance.Pump{History: []maintenance.Cycle{{Stop: now.AddDate(0, 0, -8)}, {Stop: now.AddDate(0, 0, -6)}, {Stop: now}, {Stop: now.Add(time.Hour)}}}
	s.Pumps["south"] = &maintenance.Pump{History: []maintenance.Cycle{{Stop: now.Add(-time.Hour)}}}
	require.Equal(t, 3, runsOfWeek(s, now))
}
