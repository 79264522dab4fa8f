package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"sumpbook/config"
	"sumpbook/daemon/web"
	"sumpbook/maintenance"
	"sumpbook/maintenance/signal"
	"sumpbook/maintenance/units"
	"sumpbook/notify"
)

// Settings are what the daemon and the commands are told.
type Settings struct {
	Data   string        // the folder of the book
	Config config.Config // checked
	Log    *slog.Logger
	Demo   bool             // the book is invented, and every page says so
	Clock  func() time.Time // nil: the machine's
}

// A Keeper is everything that answers questions and takes entries: the book, its outbox and
// its sensors. The daemon runs one behind its listeners; a command without a daemon makes
// one for itself.
type Keeper struct {
	settings  Settings
	clock     func() time.Time
	log       *slog.Logger
	book      *Book
	outbox    *Outbox
	feed      *feed
	channels  []notify.Channel
	phones    *phoneBook // of the channels that push
	voice     notify.Voice
	carrier   notify.Carrier
	mu        sync.Mutex // guards sensors
	sensors   map[string]*Sensor
	brokers   []*listener // of the daemon; none in a command
	repliers  []*replier  // likewise
	heartbeat *heartbeat  // likewise
	started   time.Time
	addr      string // where the daemon's page is; empty in a command

	signer    *notify.Signer // of the links in reminders, and the pages they lead to; of the daemon alone
	pages     *web.Pages
	answering sync.Mutex // held while a link is answered
}

// rulesOf are the rules the configuration makes.
func rulesOf(c config.Config) maintenance.Rules {
	r := maintenance.Rules{
		Limits: c.Limits.Over(maintenance.DefaultLimits()), ShortestRun: c.Signals.ShortestRun, Zone: c.Timezone,
	}
	for _, task := range c.Care {
		t := maintenance.CareTask{Task: task.Task, Pump: task.Pump, Cycles: float64(task.After.Cycles), RunHours: task.After.RunHours, Class: task.After.Class}
		if task.Cron != "" {
			schedule, err := config.ParseCron(task.Cron)
			if err != nil {
				panic("daemon: the configuration was checked and yet: " + err.Error())
			}
			t.Next = func(after time.Time) time.Time { return config.NextLocal(schedule, after, c.Timezone) }
		}
		r.Care = append(r.Care, t)
	}
	return r
}

func channelsOf(c config.Config, phones notify.PushStore) ([]notify.Channel, error) {
	var all []notify.Channel
	for _, ch := range c.Channels {
		made, err := channelOf(ch, phones)
		if err != nil {
			return nil, err
		}
		all = append(all, made)
	}
	return all, nil
}

func channelOf(ch config.Channel, phones notify.PushStore) (notify.Channel, error) {
	switch ch.Type {
	case "webhook":
		return notify.NewWebhook(ch.Name, ch.URL, ch.Secret.Reveal())
	case "mqtt":
		return notify.NewMQTT(ch.Name, notify.MQTTBroker{Address: ch.Broker, Topic: ch.Topic, ClientID: ch.ClientID, Username: ch.Username, Password: ch.Password.Reveal()})
	case "program":
		return notify.NewProgram(ch.Name, ch.Command)
	case "desktop":
		return notify.NewDesktop(ch.Name, ch.Bus)
	case "webpush":
		return notify.NewWebPush(ch.Name, notify.PushOptions{Subject: ch.Subject, LocalHosts: ch.LocalHosts, Store: phones})
	}
	return notify.NewMail(ch.Name, notify.MailServer{
		Host: ch.Host, Port: ch.Port, From: ch.From, To: ch.To, Username: ch.User, Password: ch.Password.Reveal(),
		Security: ch.TLS,
	})
}

// newKeeper opens the book and what belongs to it. The caller must close it.
func newKeeper(s Settings, b *Book) (*Keeper, error) {
	k := &Keeper{settings: s, log: s.Log, book: b, sensors: map[string]*Sensor{}, clock: s.Clock, phones: &phoneBook{folder: s.Data}}
	if k.log == nil {
		k.log = slog.New(slog.NewTextHandler(io.Discard, nil))
	}
	if k.clock == nil {
		k.clock = time.Now
	}
	k.started = k.clock()
	var err error
	if k.outbox, err = newOutbox(b, policyOf(s.Config), k.log, k.clock); err != nil {
		return nil, fmt.Errorf("read the notices: %w", err)
	}
	if k.channels, err = channelsOf(s.Config, k.phones); err != nil {
		return nil, err
	}
	k.voice = notify.Voice{Zone: s.Config.Timezone, BaseURL: s.Config.BaseURL, Amount: amountIn(s.Config.Units)}
	k.feed = &feed{book: b, voice: k.voice}
	k.carrier = notify.Carrier{Log: k.outbox, Clock: k.clock, Compose: k.voice.Compose, Still: k.outbox.still}
	return k, k.takeUpSources()
}

// amountIn writes numbers in a person's units; what has no unit of measure is written as a
// plain number.
func amountIn(system string) func(float64, string) string {
	return func(value float64, unit string) string {
		if u, ok := units.UnitOf(unit); ok {
			return units.Format(value, u, units.System(system))
		}
		decimals := max(0, 2-int(math.Log10(max(1, math.Abs(value)))))
		text := strconv.FormatFloat(value, 'f', decimals, 64)
		if decimals > 0 {
			text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
		}
		return strings.TrimSuffix(text+" "+unit, " 1")
	}
}

// takeUpSources makes the sensors that the configuration names, and those of pumps to which
// machines have posted without being named there.
func (k *Keeper) takeUpSources() error {
	for _, src := range k.settings.Config.Sources {
		s, err := k.sensorOf(src)
		if err != nil {
			return err
		}
		s.meant = true
		s.det.Power = s.det.Power || src.Power != nil || src.On != nil
	}
	for pump := range k.book.now.Load().state.Pumps {
		_, found, err := k.book.journal.Signal(pump)
		if err == nil && found && k.sensors[pump] == nil {
			_, err = k.sensorOf(k.posted(pump))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// posted is the source that a machine is which posts without being configured.
func (k *Keeper) posted(pump string) config.Source {
	return config.Source{Pump: pump, Type: "http", Signals: k.settings.Config.Signals}
}

func (k *Keeper) sensorOf(src config.Source) (*Sensor, error) {
	s, err := NewSensor(k.book, src.Pump, src.Type+":"+src.Pump, thresholdsOf(src), k.log, k.clock())
	if err == nil {
		k.sensors[src.Pump] = s
	}
	return s, err
}

// keepSensors stores the detectors as they stand.
func (k *Keeper) keepSensors() (err error) {
	for _, s := range k.allSensors() {
		err = errors.Join(err, s.Keep(context.Background(), k.clock()))
	}
	return err
}

// thresholdsOf are those of a source. One with a pointer to power, or to a switch, is
// judged by that alone.
func thresholdsOf(src config.Source) thresholds {
	g := src.Signals
	power := signal.Config{On: g.OnW, Off: g.OffW, StartFor: g.StartFor, EndFor: g.EndFor, ShortestRun: g.ShortestRun, Alive: g.Alive}
	temp := power
	temp.On, temp.Off, temp.Drop = g.OnC, g.OffC, g.DropC
	if src.Power == nil && src.On != nil {
		power.On, power.Off = 1, 0
	}
	return thresholds{power, temp}
}

func (k *Keeper) allSensors() []*Sensor {
	k.mu.Lock()
	defer k.mu.Unlock()
	var all []*Sensor
	for _, s := range k.sensors {
		all = append(all, s)
	}
	slices.SortFunc(all, func(a, b *Sensor) int { return cmp.Compare(a.pump, b.pump) })
	return all
}

// An ActionsView is what is to be done at a moment. Stale names the pumps whose source is
// silent, so that advice about them rests on old data.
type ActionsView struct {
	At      time.Time            `json:"at"`
	Actions []maintenance.Action `json:"actions"`
	Stale   []string             `json:"stale,omitzero"`
}

// Actions derives what is to be done.
func (k *Keeper) Actions(m Moment) (ActionsView, error) {
	st, err := k.book.Stand(m, k.clock())
	if err != nil {
		return ActionsView{}, err
	}
	v := ActionsView{At: st.At, Actions: maintenance.Next(st.State, k.book.rules, st.At), Stale: k.stale()}
	if v.Actions == nil {
		v.Actions = []maintenance.Action{}
	}
	return v, nil
}

// stale gives the pumps whose source is silent.
func (k *Keeper) stale() (names []string) {
	for _, s := range k.allSensors() {
		if s.silent(k.clock()) && !s.gone(k.clock()) {
			names = append(names, s.pump)
		}
	}
	return names
}

// State derives where every gram is.
func (k *Keeper) State(m Moment) (maintenance.StateView, error) {
	st, err := k.book.Stand(m, k.clock())
	if err != nil {
		return maintenance.StateView{}, err
	}
	return st.State.View(k.book.rules, st.At, st.Seq, st.Head), nil
}

// Audit walks the history of one pump's oil.
func (k *Keeper) Audit(pump string, m Moment) (maintenance.Audit, error) {
	st, err := k.book.Stand(m, k.clock())
	if err != nil {
		return maintenance.Audit{}, err
	}
	a := maintenance.NewAuditor(k.book.rules, pump)
	if err := k.book.Walk(st.Seq, st.At, a.Add); err != nil {
		return maintenance.Audit{}, err
	}
	audit, found := a.Audit(st.At)
	if !found {
		return audit, problem(http.StatusNotFound, fmt.Sprintf("no pump named %q is on the book", pump), "state lists the pumps")
	}
	return audit, nil
}

// Learn shows what one pump has shown of itself.
func (k *Keeper) Learn(pump string, m Moment) (maintenance.LearnView, error) {
	st, err := k.book.Stand(m, k.clock())
	if err != nil {
		return maintenance.LearnView{}, err
	}
	v, found := maintenance.Learned(st.State, pump, st.At)
	if !found {
		return v, problem(http.StatusNotFound, fmt.Sprintf("no pump named %q is on the book", pump), "state lists the pumps")
	}
	return v, nil
}

// An UndoPlan is what an undo withdraws: the entry and what rests on it, newest first.
type UndoPlan struct {
	Voids []maintenance.Entry `json:"voids"`
}

// maxUndo bounds how much may rest on one entry.
const maxUndo = 500

// Undo voids an entry and what rests on it, as one request; dry only says which.
func (k *Keeper) Undo(ctx context.Context, id string, by string, dry bool) (UndoPlan, error) {
	var plan UndoPlan
	now := k.clock()
	request := []maintenance.Entry{voidOf(id, by)}
	for {
		target, found, err := k.book.journal.Lookup(request[0].Act.(*maintenance.VoidAct).Entry)
		if err != nil {
			return plan, err
		}
		if found {
			plan.Voids = append([]maintenance.Entry{target}, plan.Voids...)
		}
		_, err = k.book.Judge(ctx, now, request)
		r := (*maintenance.Rejection)(nil)
		if err == nil || !errors.As(err, &r) || r.Blocks == "" || len(request) > maxUndo {
			if err == nil && !dry {
				_, err = k.book.Record(ctx, now, request)
			}
			return plan, err
		}
		request = append([]maintenance.Entry{voidOf(r.Blocks, by)}, request...)
	}
}

func voidOf(id, by string) maintenance.Entry {
	return maintenance.Entry{Act: &maintenance.VoidAct{Entry: id}, By: by, Note: "undone"}
}
