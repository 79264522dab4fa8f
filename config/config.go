// Package config turns the configuration file, the environment and the flags into checked
// values. It is the only importer of viper.
//
// Precedence: flag over environment over settings.yaml (what the page has set) over the
// file over the default. Every key is checked by its name, type, range and relation to
// others; what is wrong is a *Problem that says where and what would be right. A file is
// read once, at the start: this version does not reload it while running.
package config

import (
	"reflect"
	"time"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// Config is the whole configuration, complete and checked. The json tags are the keys of
// the file.
type Config struct {
	Listen    string             `json:"listen"`     // host:port of the page and the API; port 0 takes a free one
	BaseURL   string             `json:"base_url"`   // what phones and labels use, without a slash at the end; empty: the listen address
	Timezone  *time.Location     `json:"timezone"`   // of quiet hours, digest and calendar tasks
	Units     string             `json:"units"`      // metric or us
	Quiet     Quiet              `json:"quiet"`      // of the channels that nobody names, and of people without their own
	LookAhead string             `json:"look_ahead"` // when to speak of a run that will end in the night: a time of day, or off
	Again     []Again            `json:"again"`      // what is said again while it is open; nothing else is
	Escalate  []Escalate         `json:"escalate"`   // whom to tell when nobody answers
	Digest    string             `json:"digest"`     // cron spec in Timezone; empty: none
	Weekly    string             `json:"weekly"`     // likewise, of the word that all is well
	Heartbeat Heartbeat          `json:"heartbeat"`
	People    []Person           `json:"people"`
	Channels  []Channel          `json:"channels"`
	Sources   []Source           `json:"sources"`
	Signals   Signals            `json:"signals"`
	Limits    maintenance.Limits `json:"limits"` // only what is set: the caller merges over the defaults
	Care      []Care             `json:"care"`

	File     string   `json:"-"` // the file it came from; empty if there was none
	Warnings []string `json:"-"` // what is allowed and yet unwise, one sentence each

	origins map[string]origin
}

// Quiet is the part of the day in which reminders are held, over midnight if To is before
// From.
type Quiet struct {
	From   ClockTime        `json:"from"`
	To     ClockTime        `json:"to"`
	Except []maintenance.Do `json:"except"` // actions that are told all the same
}

// IsSet says whether there are quiet hours at all.
func (q Quiet) IsSet() bool { return q.From != q.To }

// A Person is told on channels of their own.
type Person struct {
	Name     string   `json:"name"`
	Channels []string `json:"channels"`
	Kinds    Kinds    `json:"kinds"` // on which of them they hear of what; not told: of all on all
	Quiet    Nights   `json:"quiet"` // not told: those of the house
}

// Nights are quiet hours by weekday; in the file a single one may stand without the list.
type Nights []Night

// Night is one stretch of quiet hours. It belongs to the day on which it begins.
type Night struct {
	Days   []string         `json:"days"` // mon to sun; none: every day
	From   ClockTime        `json:"from"`
	To     ClockTime        `json:"to"`
	Except []maintenance.Do `json:"except"`
}

// Kinds is a table of channels by kind of action.
type Kinds struct {
	StopPump     []string `json:"stop-pump"`
	Drain        []string `json:"drain"`
	Fill         []string `json:"fill"`
	TopUp        []string `json:"top-up"`
	Replace      []string `json:"replace"`
	Decant       []string `json:"decant"`
	Separate     []string `json:"separate"`
	Freeze       []string `json:"freeze"`
	Filter       []string `json:"filter"`
	ChangeMedium []string `json:"change-medium"`
	Check        []string `json:"check"`
	Care         []string `json:"care"`
	HandIn       []string `json:"hand-in"`
	BuyOil       []string `json:"buy-oil"`
	Other        []string `json:"*"` // those that are not named
}

// By gives the table by kind, without the empty rows; nil if it is empty.
func (k Kinds) By() map[maintenance.Do][]string {
	var by map[maintenance.Do][]string
	v := reflect.ValueOf(k)
	for _, f := range fields(v.Type()) {
		if told := v.FieldByIndex(f.Index).Interface().([]string); len(told) > 0 {
			if by == nil {
				by = map[maintenance.Do][]string{}
			}
			by[maintenance.Do(keyOf(f))] = told
		}
	}
	return by
}

// Heartbeat is whom to call while all is well, so that somebody notices when no call comes.
type Heartbeat struct {
	URL   string        `json:"url"` // http or https; empty: nobody
	Every time.Duration `json:"every"`
}

// Escalate is one step when nobody has answered a reminder, or said that they have seen it.
// Whoever it names is not told of that kind before.
type Escalate struct {
	Do    maintenance.Do `json:"do"`
	After time.Duration  `json:"after"` // since somebody was first told
	To    string         `json:"to"`    // a person or a channel
}

// Again says how often the reminder of an open action is repeated.
type Again struct {
	Do    maintenance.Do `json:"do"`
	Every time.Duration  `json:"every"`
}

// Channel is one way to reach a person or a program.
type Channel struct {
	Name string `json:"name"`
	Type string `json:"type"` // webhook, smtp, mqtt, program, desktop or webpush

	URL        string `json:"url"`         // webhook: http or https
	Secret     Secret `json:"secret"`      // webhook: whsec_ and base64; empty: unsigned
	SecretFile string `json:"secret_file"` // webhook: where Secret was read from

	Host         string          `json:"host"` // smtp, as all below
	Port         int             `json:"port"` // if not told, the usual one for TLS: 587, 465 or 25
	From         string          `json:"from"` // an address
	To           []string        `json:"to"`   // addresses
	User         string          `json:"user"`
	Password     Secret          `json:"password"`
	PasswordFile string          `json:"password_file"` // smtp and mqtt
	TLS          notify.Security `json:"tls"`           // if not told starttls, or opportunistic on loopback without a password

	Broker   string `json:"broker"` // mqtt, as these: scheme://host:port
	Topic    string `json:"topic"`
	ClientID string `json:"client_id"` // empty: the daemon makes one
	Username string `json:"username"`
	Replies  string `json:"replies"` // the topic on which reminders are answered; empty: none

	Command    []string `json:"command"`     // program: its absolute path and its arguments
	Bus        string   `json:"bus"`         // desktop: unix:path=…; empty: that of the daemon's session
	Subject    string   `json:"subject"`     // webpush: mailto:ADDRESS or https, for the push service to write to
	LocalHosts []string `json:"local_hosts"` // webpush: push services that are in this network
}

// Source is where the readings of a pump come from; a pump has one at most. An http source
// is pushed to the API and so has no broker, topic or pointers.
type Source struct {
	Pump         string         `json:"pump"`
	Type         string         `json:"type"`   // mqtt or http
	Broker       string         `json:"broker"` // scheme://host:port
	Topic        string         `json:"topic"`
	ClientID     string         `json:"client_id"` // empty: the daemon makes one
	Username     string         `json:"username"`
	Password     Secret         `json:"-"` // read from PasswordFile
	PasswordFile string         `json:"password_file"`
	Power        *string        `json:"power"` // JSON Pointers (RFC 6901) into the payload; nil: not there, "": the whole payload
	Temp         *string        `json:"temp"`
	On           *string        `json:"on"`         // a switch: off means no power
	OnValues     []string       `json:"on_values"`  // what On reads as on, if not true or 1
	OffValues    []string       `json:"off_values"` // and as off, if not false or 0
	Time         *string        `json:"time"`       // nil: the arrival
	Zone         *time.Location `json:"zone"`       // of payload times without offset; nil: the configuration's
	Unit         string         `json:"unit"`       // of power: W (if not told), mW, kW; of temp where there is no power: C, F, K
	Scale        float64        `json:"scale"`      // the reading in Unit is payload × Scale + Offset
	Offset       float64        `json:"offset"`     // in Unit
	Decimal      string         `json:"decimal"`    // point or comma, in numbers sent as text
	Availability Availability   `json:"availability"`
	Signals      Signals        `json:"signals"` // the source's own over the general ones
}

// Availability is a topic on which a broker tells whether the source is there.
type Availability struct {
	Topic string `json:"topic"` // empty: there is none
	On    string `json:"on"`    // the payload that says it is there
}

// Signals are the thresholds of the cycle detector. Those in °C are for a source of
// temperature alone; their defaults are rules of this project, without source.
type Signals struct {
	OnW         float64       `json:"on_w"`         // runs above, W
	OffW        float64       `json:"off_w"`        // stands below, W
	OnC         float64       `json:"on_c"`         // runs above, °C
	OffC        float64       `json:"off_c"`        // stands below, °C
	DropC       float64       `json:"drop_c"`       // or stands when so much colder than it was warm, K
	StartFor    time.Duration `json:"start_for"`    // so long above before it counts as a start
	EndFor      time.Duration `json:"end_for"`      // so long below before it counts as an end
	ShortestRun time.Duration `json:"shortest_run"` // shorter runs are no cycle
	Alive       time.Duration `json:"alive"`        // a source silent for longer is not believed
}

// Care is one upkeep task: after so much use, or by the calendar.
type Care struct {
	Task  string `json:"task"`
	Pump  string `json:"pump"` // empty: every pump
	After After  `json:"after"`
	Cron  string `json:"cron"` // in Timezone; empty: by After
}

// After is the use that makes an upkeep task due, by whichever is reached first.
type After struct {
	Cycles   int     `json:"cycles"`
	RunHours float64 `json:"run_hours"`
	Class    string  `json:"class"` // only cycles of this class of food count; empty: all
}

// Default is the configuration with nothing told.
func Default() Config {
	return Config{
		Listen:    "127.0.0.1:8417",
		Timezone:  time.Local,
		Units:     "metric",
		Heartbeat: Heartbeat{Every: 15 * time.Minute},
		LookAhead: "20:00",
		Signals: Signals{
			OnW: 120, OffW: 60, OnC: 50, OffC: 40, DropC: 8,
			StartFor: 2 * time.Minute, EndFor: 3 * time.Minute,
			ShortestRun: 20 * time.Minute, Alive: 15 * time.Minute,
		},
	}
}

// Loopback says whether only this machine can reach the listen address.
func (c Config) Loopback() bool {
	host, _, err := splitListen(c.Listen)
	return err == nil && isLoopback(host)
}

// PeopleRead says whether a channel is read by people, who would rather have one message
// than several; programs take one action a message.
func (ch Channel) PeopleRead() bool {
	return ch.Type == "smtp" || ch.Type == "desktop" || ch.Type == "webpush"
}

// LookAheadAt is when to look ahead to the night; false is never.
func (c Config) LookAheadAt() (ClockTime, bool) {
	t, err := clock(c.LookAhead)
	return t, err == nil
}
