package notify_test

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A simulated year of one pump, invented: it runs a day or so, and somebody does what is
// asked, sooner or later. The program is killed at random instants of its work, and each
// receiver is down for three tenths of the time. What the receivers got is judged by rules of
// this file alone.

const (
	yearKills = 1000
	yearFate  = 0.1 // chance of a kill at each instant at which one could matter, until there were so many
	yearDown  = 0.3
	outage    = 3 * time.Hour // a receiver is up or down for so long
)

var oslo = func() *time.Location {
	zone, err := time.LoadLocation("Europe/Oslo")
	if err != nil {
		panic(err)
	}
	return zone
}()

// errKilled ends the work of one life of the program.
var errKilled = errors.New("killed")

// A yearlong is the world and the program in it.
type yearlong struct {
	t      *testing.T
	chance *rand.Rand // of people and machines
	fate   *rand.Rand // of kills
	seed   uint64
	now    time.Time
	policy notify.Policy

	book    *maintenance.State
	entries int
	chores  map[string]time.Time // by action: when somebody will do it
	machine time.Time            // when the pump is started or stopped next

	disk   []notify.Notice // what is synced
	ledger *notify.Ledger  // of this life
	kills  int
	wake   time.Time // when the program looks again; zero: at the next event

	phones []*phone
	open   map[string]*exposure // by action and channel
}

// A phone is a receiver.
type phone struct {
	name string
	y    *yearlong
	got  []receipt
}

type receipt struct {
	id  string
	key notify.Key
	do  maintenance.Do
	at  time.Time
}

// An exposure is how long a reminder could have been brought: the action was open, the night
// allowed it, and the receiver was up.
type exposure struct {
	action  string
	channel string
	up      time.Duration
}

func (p *phone) Name() string { return p.name }

// isUp is the weather of a receiver: the same for the same seed, whatever the program does.
func (p *phone) isUp(at time.Time) bool {
	h := rand.New(rand.NewPCG(p.y.seed+uint64(len(p.name)), uint64(at.Unix()/int64(outage/time.Second))))
	return h.Float64() >= yearDown
}

func (p *phone) Send(_ context.Context, m notify.Message) (string, error) {
	if !p.isUp(p.y.now) {
		return "", errors.New("connection refused")
	}
	p.got = append(p.got, receipt{m.ID, m.Key, m.Action.Do, p.y.now})
	p.y.mayDie() // after the other end has it, before the outcome is known
	return "took it", nil
}

func (y *yearlong) mayDie() {
	if y.kills < yearKills && y.fate.Float64() < yearFate {
		y.kills++
		panic(errKilled)
	}
}

// AppendNotices syncs; a kill falls before or after it.
func (y *yearlong) AppendNotices(_ context.Context, notices []notify.Notice) error {
	y.mayDie()
	for _, n := range notices {
		n.Seq = uint64(len(y.disk) + 1)
		y.disk = append(y.disk, n)
		y.ledger.Add(n)
	}
	y.mayDie()
	return nil
}

func (y *yearlong) facts() notify.Facts {
	f := notify.Facts{Actions: maintenance.Next(y.book, maintenance.DefaultRules(), y.now), Newest: y.book.At, Snoozed: map[string]time.Time{}}
	for _, a := range y.book.Aside {
		if !a.Skip {
			f.Snoozed[a.Action] = a.Until
		}
	}
	return f
}

// life is the program from its start until it is killed or has no more to do before next.
func (y *yearlong) life() (next time.Time) {
	y.ledger = notify.NewLedger()
	for _, n := range y.disk {
		y.ledger.Add(n)
	}
	defer func() {
		if r := recover(); r != nil && r != errKilled {
			panic(r)
		} else if r != nil {
			next = y.now.Add(time.Duration(1+y.chance.IntN(120)) * time.Second) // until it is started again
		}
	}()
	carrier := notify.Carrier{Log: y, Clock: func() time.Time { return y.now }, Compose: notify.Voice{Zone: oslo}.Compose, Still: func(r notify.Reminder) (notify.Reminder, bool) {
		return notify.Left(r, y.facts(), y.ledger, y.policy, y.now)
	}}
	for range 1000 {
		plan := notify.Due(y.facts(), y.ledger, y.policy, y.now)
		if len(plan.Notices) > 0 {
			_ = y.AppendNotices(context.Background(), plan.Notices) // it does not fail
		}
		if len(plan.Send) == 0 {
			return plan.Next
		}
		for _, r := range plan.Send {
			for _, p := range y.phones {
				if p.name == r.Key.Channel {
					_, err := carrier.Deliver(context.Background(), p, r)
					require.NoError(y.t, err)
				}
			}
		}
	}
	require.Fail(y.t, "the program found no rest", y.now)
	return next
}

// tell adds an entry at now; what the book refuses is not told.
func (y *yearlong) tell(act maintenance.Act) bool {
	y.entries++
	e := maintenance.Entry{ID: fmt.Sprintf("y%d", y.entries), Seq: uint64(y.entries), At: y.now, Act: act}
	_, err := y.book.Apply(maintenance.DefaultRules(), e)
	return err == nil
}

func (y *yearlong) within(low, high time.Duration) time.Duration {
	return low + time.Duration(y.chance.Int64N(int64(high-low)))
}

// people do what is asked, each thing some while after it was first open.
func (y *yearlong) people(actions []maintenance.Action) {
	for _, a := range actions {
		if a.State == maintenance.Coming {
			continue
		}
		at, asked := y.chores[a.ID]
		if !asked {
			y.chores[a.ID] = y.now.Add(y.within(5*time.Minute, 30*time.Hour))
			continue
		}
		if y.now.Before(at) || a.Do == maintenance.DoBuyOil || a.Record.Act == nil {
			continue
		}
		y.tell(a.Record.Act)
		y.chores[a.ID] = y.now.Add(y.within(time.Hour, 20*time.Hour)) // if it was refused, or did not settle it
	}
}

// run starts and stops the pump.
func (y *yearlong) run() {
	if y.now.Before(y.machine) {
		return
	}
	p := y.book.Pumps["north"]
	switch {
	case p.Run != nil:
		y.tell(&maintenance.StopAct{Pump: "north"})
		y.machine = y.now.Add(y.within(6*time.Hour, 40*time.Hour))
	case !p.Open:
		y.tell(&maintenance.StartAct{Pump: "north"})
		y.machine = y.now.Add(y.within(18*time.Hour, 34*time.Hour))
	default:
		y.machine = y.now.Add(time.Hour)
	}
}

// watch measures, apart from the program, how long each reminder could have been brought.
func (y *yearlong) watch(actions []maintenance.Action, dt time.Duration) {
	for _, a := range actions {
		if a.State == maintenance.Coming {
			continue
		}
		for _, p := range y.phones {
			key := a.ID + " " + p.name
			e := y.open[key]
			if e == nil {
				e = &exposure{action: a.ID, channel: p.name}
				y.open[key] = e
			}
			if p.isUp(y.now) && !(isNight(y.now) && mayWait(a.Do)) {
				e.up += dt
			}
		}
	}
}

// isNight and mayWait are the quiet hours of the year, told again here: 22:00 to 06:30.
func isNight(at time.Time) bool {
	h, m, _ := at.In(oslo).Clock()
	return h >= 22 || h*60+m < 6*60+30
}

func mayWait(do maintenance.Do) bool {
	return do != maintenance.DoStopPump && do != maintenance.DoDrain
}

func newYear(t *testing.T, seed uint64) *yearlong {
	y := &yearlong{
		t: t, seed: seed, chance: rand.New(rand.NewPCG(seed, 1)), fate: rand.New(rand.NewPCG(seed, 2)), now: time.Date(2027, 1, 4, 12, 0, 0, 0, oslo),
		book: maintenance.NewState(), chores: map[string]time.Time{}, open: map[string]*exposure{},
	}
	y.phones = []*phone{{name: "hook", y: y}, {name: "letter", y: y}}
	y.policy = notify.Policy{
		Channels: []string{"hook", "letter"}, Read: map[string]bool{"letter": true},
		Quiet: notify.Quiet{From: 22 * 60, To: 6*60 + 30, Except: []maintenance.Do{maintenance.DoDrain}, Zone: oslo},
	}
	num := func(v float64) *float64 { return &v }
	y.tell(&maintenance.PumpAct{Pump: "north", ChargeMl: num(700), HeelMl: num(20)})
	for i := range 6 {
		y.tell(&maintenance.VesselAct{Vessel: fmt.Sprintf("jar-%d", i+1), CapacityMl: num(1500)})
	}
	waste := true
	y.tell(&maintenance.VesselAct{Vessel: "waste", CapacityMl: num(50_000), Waste: &waste})
	y.tell(&maintenance.MediumAct{Medium: "paper"})
	y.tell(&maintenance.LotAct{Lot: "lot-1", Vessel: "can-1", Amount: maintenance.Amount{Grams: num(60_000)}})
	y.tell(&maintenance.FillAct{Pump: "north", From: "can-1"})
	y.machine = y.now.Add(time.Hour)
	return y
}

// play lives through the year: the world moves every half hour, the program wakes then and
// whenever its plan says.
func (y *yearlong) play() {
	const step = 30 * time.Minute
	end := y.now.AddDate(1, 0, 0)
	for y.now.Before(end) {
		before, until := y.entries, y.now.Add(step)
		y.run()
		actions := maintenance.Next(y.book, maintenance.DefaultRules(), y.now)
		y.people(actions)
		y.watch(actions, step)
		if y.entries > before {
			y.wake = y.now
		}
		for !y.wake.IsZero() && y.wake.Before(until) {
			y.now = later(y.now, y.wake)
			y.wake = y.life()
		}
		y.now = until
	}
}

// repeats are the messages that came more than once under one id.
func (y *yearlong) repeats() (n int) {
	for _, p := range y.phones {
		times := map[string]int{}
		for _, r := range p.got {
			times[r.id]++
		}
		for _, k := range times {
			n += k - 1
		}
	}
	return n
}

// lost are the reminders that could have been brought for hours and never were.
func (y *yearlong) lost() (all []string) {
	told := map[string]bool{}
	for _, n := range y.disk {
		if n.Outcome == notify.Delivered {
			told[n.Key.Action+" "+n.Key.Channel] = true
		}
	}
	for _, p := range y.phones {
		for _, r := range p.got {
			told[r.key.Action+" "+p.name] = true
		}
	}
	for key, e := range y.open {
		if !told[key] && e.up > 2*time.Hour { // retries are half an hour apart at the most
			all = append(all, key)
		}
	}
	slices.SortFunc(all, cmp.Compare[string])
	return all
}

func TestAYearOfKillsAndOutages(t *testing.T) {
	for _, seed := range []uint64{1} {
		y := newYear(t, seed)
		y.play()
		night, sent := 0, 0
		for _, p := range y.phones {
			sent += len(p.got)
			for _, r := range p.got {
				if isNight(r.at) && (r.key.Stage == notify.Done && r.do != maintenance.DoStopPump || mayWait(r.do)) {
					night++
				}
			}
		}
		lost := y.lost()
		t.Logf("seed %d: %d entries, %d cycles, %d notices, %d messages, %d kills, receivers down %.0f %% of the time: %d lost, %d repeats, %d at night that could wait",
			seed, y.entries, y.book.Pumps["north"].Cycles, len(y.disk), sent, y.kills, 100*yearDown, len(lost), y.repeats(), night)
		require.Empty(t, lost)
		require.LessOrEqual(t, y.repeats(), y.kills, "at most one repeat a kill, under the same id")
		require.Zero(t, night)
		require.Equal(t, yearKills, y.kills)
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
