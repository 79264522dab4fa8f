package notify

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/robfig/cron/v3"
	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// sixZones are north, south, of half and of quarter hours, without summer time, and beyond
// the date line. Their changes are those of the zone database.
var sixZones = []string{"Europe/Oslo", "Australia/Adelaide", "America/St_Johns", "Pacific/Chatham", "Asia/Kathmandu", "Pacific/Kiritimati"}

// oddNights are the local days around which the clocks are changed somewhere, and a leap day.
func oddNights(t *testing.T, z *time.Location) (all []time.Time) {
	for day := time.Date(2026, 1, 1, 12, 0, 0, 0, z); day.Year() < 2029; day = day.AddDate(0, 0, 1) {
		_, before := day.Zone()
		_, behind := day.AddDate(0, 0, 1).Zone()
		if before != behind {
			all = append(all, day)
		}
	}
	leap := time.Date(2028, 2, 28, 12, 0, 0, 0, z)
	require.Equal(t, 29, leap.AddDate(0, 0, 1).Day())
	return append(all, leap)
}

// Something falls due every half hour of a night in which the clocks are changed, both ways
// and on a leap day: each is said once, by day, and what was held comes as one message at
// half past six by the clock on the wall.
func TestOddNightsInSixZones(t *testing.T) {
	changes := map[string]int{}
	for _, name := range sixZones {
		z := zone(t, name)
		for _, start := range oddNights(t, z) {
			changes[name]++
			w := newWorld(t)
			w.policy = reader()
			w.policy.Quiet.Zone = z
			for i := range 48 {
				a := decantAction()
				a.ID, a.Opens = fmt.Sprintf("decant/jar-%d/d%d", i, i), start.Add(time.Duration(i)*30*time.Minute)
				a.Due = a.Opens
				w.facts.Actions = append(w.facts.Actions, a)
			}
			sent, now := map[Key]int{}, start
			var times []string
			for now.Before(start.Add(30 * time.Hour)) {
				for _, r := range w.due(now) {
					_, held := w.policy.Quiet.Holds(maintenance.DoDecant, now)
					require.False(t, held)
					if len(r.With) > 3 {
						times = append(times, now.In(z).Format("15:04"))
					}
					for _, part := range r.parts() {
						sent[part.Key]++
					}
					deliver(w, r, now)
				}
				require.True(t, w.last.Next.IsZero() || w.last.Next.After(now))
				if w.last.Next.IsZero() {
					break
				}
				now = w.last.Next // it sleeps exactly as long as it asks to
			}
			require.Equal(t, []string{"06:30"}, times, "%s %s", name, start)
			require.Len(t, sent, 48, "%s %s: lost", name, start)
			for key, n := range sent {
				require.Equal(t, 1, n, "%s %s: %v", name, start, key)
			}
		}
	}
	require.Equal(t, map[string]int{"Europe/Oslo": 7, "Australia/Adelaide": 7, "America/St_Johns": 7, "Pacific/Chatham": 7, "Asia/Kathmandu": 1, "Pacific/Kiritimati": 1}, changes)
}

// The digest at half past two comes once a day through three years, asked every ten minutes
// around the changes; one that the clocks skip comes when they are put forward.
func TestTheDigestComesOnceADayInSixZones(t *testing.T) {
	spec, err := cron.ParseStandard("30 2 * * *")
	require.NoError(t, err)
	for _, name := range sixZones {
		z := zone(t, name)
		for _, start := range oddNights(t, z) {
			w := newWorld(t)
			w.policy = Policy{Digest: spec, DigestTo: []string{"mail"}, Quiet: Quiet{Zone: z}}
			w.carries(start)
			days := map[string]int{}
			for now := start; now.Before(start.AddDate(0, 0, 3)); now = now.Add(10 * time.Minute) {
				if said := w.carries(now); len(said) > 0 {
					days[now.In(z).Format(time.DateOnly)]++
				}
			}
			require.Len(t, days, 3, "%s %s", name, start)
			for day, n := range days {
				require.Equal(t, 1, n, "%s %s", name, day)
			}
		}
	}
}

// The household moves, or its configuration is put right: what is held is held by the new
// clock, once, and nothing is lost or said twice.
func TestTheZoneOfTheConfigurationChanges(t *testing.T) {
	for _, move := range [][2]string{{"Europe/Oslo", "America/St_Johns"}, {"Pacific/Kiritimati", "Europe/Oslo"}, {"Asia/Kathmandu", "Australia/Adelaide"}} {
		other := decantAction()
		other.ID = "decant/jar-4/d2"
		w := newWorld(t, decantAction(), other)
		w.policy = reader()
		w.policy.Quiet = Quiet{From: clock(0, 0), To: clock(23, 0), Zone: zone(t, move[0])}
		require.Empty(t, w.due(noon))
		require.Len(t, w.last.Notices, 2)
		first := *w.last.Notices[0].Until
		w.policy.Quiet.Zone = zone(t, move[1])
		sent := 0
		for now := noon.Add(time.Minute); now.Before(after(50 * time.Hour)); now = now.Add(30 * time.Minute) {
			for _, r := range w.due(now) {
				sent += 1 + len(r.With)
				require.Equal(t, 23, now.In(zone(t, move[1])).Hour(), move)
				deliver(w, r, now)
			}
		}
		require.Equal(t, 2, sent, move)
		require.NotEqual(t, first, w.notices[len(w.notices)-1].At)
	}
}

// A wake that was asked for holds for its night, though the zone is put right meanwhile.
func TestAWakeOutlivesTheChangeOfTheZone(t *testing.T) {
	w := newWorld(t, comingDrain())
	w.policy = watchful()
	w.carries(after(evening))
	w.add(WakeMe(Key{"drain/north/s1", Opened, 0, "phone"}, "ana", after(evening)))
	w.policy.Quiet.Zone = zone(t, "Europe/Oslo") // the night begins an hour earlier
	w.facts.Actions[0].State = maintenance.Open
	require.Equal(t, []string{"phone opened drain north"}, w.carries(w.facts.Actions[0].Opens))
}

// A machine that slept over the night, a clock that steps back by an hour or starts in 1970
// and is put right: each is said once.
func TestSuspendAndStepsInABubble(t *testing.T) {
	for name, steps := range map[string][]time.Duration{
		"three weeks of sleep":  {21 * 24 * time.Hour},
		"an hour back":          {-time.Hour, time.Hour},
		"back and forth":        {-30 * time.Hour, 60 * time.Hour, -30 * time.Hour, time.Minute, -time.Minute},
		"no clock at the start": {-30 * 365 * 24 * time.Hour, 30 * 365 * 24 * time.Hour},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				mail := &mailbox{name: "mail"}
				var mu sync.Mutex
				var skew time.Duration
				l := &house{ledger: NewLedger(), poke: make(chan struct{}, 1), policy: reader()}
				now := func() time.Time { mu.Lock(); defer mu.Unlock(); return time.Now().Add(skew) }
				c := Carrier{Log: l, Clock: now, Compose: Voice{}.Compose}
				c.Still = func(r Reminder) (Reminder, bool) {
					l.mu.Lock()
					defer l.mu.Unlock()
					return Left(r, l.facts, l.ledger, l.policy, now())
				}
				courier := NewCourier(c, []Channel{mail})
				ctx, cancel := context.WithCancel(t.Context())
				var wg sync.WaitGroup
				wg.Go(func() { courier.Run(ctx) })
				beat := func() {
					l.mu.Lock()
					plan := Due(l.facts, l.ledger, l.policy, now())
					l.mu.Unlock()
					require.NoError(t, l.AppendNotices(ctx, plan.Notices))
					courier.Offer(plan.Send)
					synctest.Wait()
				}
				born := time.Now()
				for i := range 20 {
					a := ready(i)
					a.Opens = born.Add(time.Duration(i) * 47 * time.Minute)
					a.Due = a.Opens
					l.facts.Actions = append(l.facts.Actions, a)
				}
				for _, step := range steps {
					mu.Lock()
					skew += step
					mu.Unlock()
					for range 5 {
						beat()
						time.Sleep(time.Minute)
					}
				}
				for range 40 {
					time.Sleep(time.Hour)
					beat()
				}
				cancel()
				wg.Wait()
				delivered := map[string]int{}
				for _, n := range l.notices {
					if n.Outcome == Delivered {
						delivered[n.Key.Action]++
					}
				}
				require.Len(t, delivered, 20, "lost")
				for id, n := range delivered {
					require.Equal(t, 1, n, id)
				}
			})
		})
	}
}

// A send hangs over the end of the window while more falls due: nothing is lost and the
// rest is one message.
func TestAHangingMorning(t *testing.T) {
	synctest.Test(t, func(t *testing.T) { // the bubble begins at midnight, UTC
		tries := 0
		mail := &mailbox{name: "mail", send: func(ctx context.Context, m Message) (string, error) {
			if tries++; tries == 1 {
				<-ctx.Done()
				return "", errors.New("no answer")
			}
			return "250 queued", nil
		}}
		h := open(t, mail)
		h.policy = reader()
		h.learn(func(f *Facts) {
			for i := range 3 {
				f.Actions = append(f.Actions, ready(i))
			}
			late := ready(9)
			late.Opens = late.Opens.Add(6*time.Hour + 30*time.Minute + 10*time.Second)
			late.Due = late.Opens
			f.Actions = append(f.Actions, late)
		})
		time.Sleep(8 * time.Hour)
		synctest.Wait()
		require.LessOrEqual(t, len(mail.heard), 2)
		said := map[Key]int{}
		for _, n := range h.notices {
			if n.Outcome == Delivered {
				said[n.Key]++
			}
		}
		require.Len(t, said, 4)
	})
}
