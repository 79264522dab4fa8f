package config

import (
	"encoding/base64"
	"fmt"
	"io"
	"net/mail"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"sumpbook/notify"
)

// What reaches out of the daemon: channels to people, sources from machines, and the
// secrets of both.

func (k checker) channels() error {
	for i := range k.c.Channels {
		path, ch := fmt.Sprintf("channels[%d]", i), &k.c.Channels[i]
		if err := k.name(path, "name", ch.Name, true); err != nil {
			return err
		}
		first := slices.IndexFunc(k.c.Channels, func(other Channel) bool { return other.Name == ch.Name })
		if first < i {
			return k.problem(path+".name", "name each channel once", "%q is also channels[%d]", ch.Name, first)
		}
		if err := k.channel(path, ch); err != nil {
			return err
		}
	}
	return nil
}

// channelTypes are the types of channels: how each is called, the keys that it has beside
// name and type, and what checks them.
var channelTypes = []struct {
	name, called string
	keys         []string
	check        func(checker, string, *Channel) error
}{
	{"webhook", "a webhook channel", []string{"url", "secret", "secret_file"}, checker.webhook},
	{"smtp", "an smtp channel", []string{"host", "port", "from", "to", "user", "password", "password_file", "tls"}, checker.smtp},
	{"mqtt", "an mqtt channel", []string{"broker", "topic", "client_id", "username", "password_file", "replies"}, checker.publisher},
	{"program", "a program channel", []string{"command"}, checker.program},
	{"desktop", "a desktop channel", []string{"bus"}, checker.desktop},
	{"webpush", "a webpush channel", []string{"subject", "local_hosts"}, checker.webpush},
}

func (k checker) channel(path string, ch *Channel) error {
	for _, t := range channelTypes {
		if t.name != ch.Type {
			continue
		}
		known := append([]string{"name", "type"}, t.keys...)
		others := slices.DeleteFunc(names(reflect.TypeFor[Channel]()), func(key string) bool { return slices.Contains(known, key) })
		if err := k.foreign(path, t.called, others...); err != nil {
			return err
		}
		return t.check(k, path, ch)
	}
	return k.problem(path+".type", "give webhook, smtp, mqtt, program, desktop or webpush", "%q is no type of channel", short(ch.Type))
}

// foreign refuses keys that mean nothing for what they stand in.
func (k checker) foreign(path, what string, keys ...string) error {
	for _, key := range keys {
		if k.has(path, key) {
			return k.problem(join(path, key), "leave it out", "%s has no %s", what, key)
		}
	}
	return nil
}

func (k checker) webhook(path string, ch *Channel) error {
	const hint = `give the address to post to, such as "http://127.0.0.1:9000/hook"`
	if ch.URL == "" {
		return k.problem(path+".url", hint, "a webhook channel needs its url")
	}
	if says := badURL(ch.URL); says != "" {
		return k.problem(path+".url", hint, "the address %s", says)
	}
	if err := k.secret(path, "secret", &ch.Secret, ch.SecretFile); err != nil || ch.Secret == "" {
		return err
	}
	text, marked := strings.CutPrefix(ch.Secret.Reveal(), "whsec_")
	if key, err := base64.StdEncoding.DecodeString(text); !marked || err != nil || len(key) == 0 {
		return k.problem(k.told(path, "secret", "secret_file"), "give whsec_ followed by base64, as the receiver shows it", "the secret cannot be read")
	}
	return nil
}

func (k checker) smtp(path string, ch *Channel) error {
	if ch.Host == "" {
		return k.problem(path+".host", "give the mail server, such as mail.example.org", "an smtp channel needs its host")
	}
	if !isHost(ch.Host) {
		return k.problem(path+".host", "give a name or an address, and the port apart", "%q is no host", short(ch.Host))
	}
	if len(ch.To) == 0 {
		return k.problem(path+".to", "give a list of addresses, such as [me@example.org]", "an smtp channel needs somebody to write to")
	}
	if err := k.address(path+".from", ch.From); err != nil {
		return err
	}
	for i, to := range ch.To {
		if err := k.address(fmt.Sprintf("%s.to[%d]", path, i), to); err != nil {
			return err
		}
	}
	if err := k.login(path, ch); err != nil {
		return err
	}
	return k.transport(path, ch)
}

func (k checker) address(path, text string) error {
	if _, err := mail.ParseAddress(text); err != nil {
		return k.problem(path, "give an address such as me@example.org", "%q is no mail address", short(text))
	}
	return nil
}

func (k checker) login(path string, ch *Channel) error {
	if err := k.secret(path, "password", &ch.Password, ch.PasswordFile); err != nil {
		return err
	}
	if (ch.User == "") != (ch.Password == "") {
		return k.problem(k.told(path, "user", "password", "password_file"), "give user and password (or password_file), or neither", "one half of the login is missing")
	}
	return nil
}

// transport settles TLS and the port. A password never goes out in the clear.
func (k checker) transport(path string, ch *Channel) error {
	if ch.TLS == "" {
		ch.TLS = notify.StartTLS
		if isLoopback(ch.Host) && ch.Password == "" {
			ch.TLS = notify.Opportunistic
		}
	}
	usual, ok := map[notify.Security]int{notify.StartTLS: 587, notify.Opportunistic: 587, notify.ImplicitTLS: 465, notify.NoSecurity: 25}[ch.TLS]
	switch {
	case !ok:
		return k.problem(path+".tls", "give starttls, tls, opportunistic or none", "%q is no way to protect mail", short(string(ch.TLS)))
	case ch.Password != "" && ch.TLS != notify.StartTLS && ch.TLS != notify.ImplicitTLS:
		return k.problem(path+".tls", "give starttls or tls", "the password could go out in the clear")
	case !k.has(path, "port"):
		ch.Port = usual
	case ch.Port < 1 || ch.Port > 65535:
		return k.problem(path+".port", "give 1 to 65535", "%d is no port", ch.Port)
	}
	return nil
}

// maxSecret bounds a file that holds a secret, in bytes.
const maxSecret = 4096

// secret fills in the secret from its file, if it has one. A relative path is taken from
// the folder of the file that names it.
func (k checker) secret(path, key string, to *Secret, file string) error {
	at := join(path, key+"_file")
	if file == "" {
		if k.has(path, key+"_file") {
			return k.problem(at, "give the path of a file", "there is no path")
		}
		return nil
	}
	if k.has(path, key) {
		return k.problem(at, "give one of the two", "%s is given as well", key)
	}
	if !filepath.IsAbs(file) {
		file = filepath.Join(filepath.Dir(k.originOf(at).file), file)
	}
	f, err := os.Open(file)
	if err != nil {
		return k.problem(at, "give the path of a file that can be read", "%s", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxSecret+1))
	if err != nil {
		return k.problem(at, "give the path of a file that can be read", "%s", err)
	}
	if info, err := f.Stat(); err == nil && others(info.Mode()) {
		k.warn("%s holds a secret and can be read by others; make it 0600", file)
	}
	*to = Secret(strings.TrimRight(string(text), "\r\n"))
	if *to == "" || len(*to) > maxSecret || !plain(to.Reveal()) {
		return k.problem(at, fmt.Sprintf("put the secret alone into it, one line of at most %d bytes", maxSecret), "%s holds no secret", file)
	}
	return nil
}

// plain says whether s is valid text without control characters.
func plain(s string) bool {
	return utf8.ValidString(s) && !strings.ContainsFunc(s, unicode.IsControl)
}

func (k checker) sources() error {
	for i := range k.c.Sources {
		path, s := fmt.Sprintf("sources[%d]", i), &k.c.Sources[i]
		if err := k.name(path, "pump", s.Pump, true); err != nil {
			return err
		}
		first := slices.IndexFunc(k.c.Sources, func(other Source) bool { return other.Pump == s.Pump })
		if first < i {
			return k.problem(path+".pump", "give each pump one source", "%q is also sources[%d]", s.Pump, first)
		}
		if err := k.source(path, s); err != nil {
			return err
		}
	}
	return nil
}

func (k checker) source(path string, s *Source) error {
	if err := k.thresholds(path+".signals", s.Signals); err != nil {
		return err
	}
	switch s.Type {
	case "mqtt":
		return k.mqtt(path, s)
	case "http":
		return k.foreign(path, "an http source (it is pushed to /api/v1/signals/"+s.Pump+")", "broker", "topic", "client_id", "username",
			"password_file", "power", "temp", "on", "on_values", "off_values", "time", "zone", "unit", "scale", "offset", "decimal", "availability")
	}
	return k.problem(path+".type", "give mqtt or http", "%q is no type of source", short(s.Type))
}

func (k checker) mqtt(path string, s *Source) error {
	if err := k.broker(path, "an mqtt source", broker{s.Broker, s.ClientID, s.Username, s.PasswordFile, &s.Password}); err != nil {
		return err
	}
	if err := k.topic(path+".topic", s.Topic, oneDevice); err != nil {
		return err
	}
	if err := k.pointers(path, s); err != nil {
		return err
	}
	if err := k.measure(path, s); err != nil {
		return err
	}
	if !k.has(path, "availability") {
		return nil
	}
	if s.Availability.On == "" {
		s.Availability.On = "online"
	}
	return k.topic(path+".availability.topic", s.Availability.Topic, oneDevice)
}

const oneDevice = "give one topic in full: a source is one device"

var brokerSchemes = []string{"tcp", "mqtt", "tls", "ssl", "mqtts", "ws", "wss"}

// A broker is what sources and channels say alike of theirs.
type broker struct {
	address, clientID, username, passwordFile string
	password                                  *Secret // to be read from the file
}

func (k checker) broker(path, what string, b broker) error {
	const hint = "give scheme://host:port, such as tcp://127.0.0.1:1883, or tls:// with 8883"
	u, err := url.Parse(b.address)
	switch {
	case b.address == "":
		return k.problem(path+".broker", hint, "%s needs its broker", what)
	case err != nil || !slices.Contains(brokerSchemes, u.Scheme):
		return k.problem(path+".broker", "the schemes are "+list(brokerSchemes), "this is no address of a broker")
	case u.User != nil:
		return k.problem(path+".broker", "give username and password_file", "a login cannot stand in the address")
	case !isHost(u.Hostname()) || !isPort(u.Port()):
		return k.problem(path+".broker", hint, "%q has no host and port", short(b.address))
	}
	if err := k.secret(path, "password", b.password, b.passwordFile); err != nil {
		return err
	}
	if *b.password != "" && b.username == "" {
		return k.problem(path+".password_file", "give username as well", "a password for nobody")
	}
	open := slices.Contains([]string{"tcp", "mqtt", "ws"}, u.Scheme)
	if *b.password != "" && open && !isLoopback(u.Hostname()) {
		k.warn("%s: the password goes to %s in the clear; tls:// hides it", path, u.Host)
	}
	if !plain(b.clientID) || len(b.clientID) > 128 {
		return k.problem(path+".client_id", "give at most 128 visible characters, another on each client of the broker", "the broker would not take it")
	}
	return nil
}

func (k checker) topic(path, topic, full string) error {
	switch {
	case topic == "":
		return k.problem(path, "give the topic, such as shed/north", "there is no topic")
	case strings.ContainsAny(topic, "+#"):
		return k.problem(path, full, "%q has a wildcard", short(topic))
	case !plain(topic) || len(topic) > 65535:
		return k.problem(path, "give text without control characters", "%q is no topic", short(topic))
	}
	return nil
}

func (k checker) pointers(path string, s *Source) error {
	if s.Time != nil && *s.Time == "arrival" {
		s.Time = nil // the long way to say nothing
	}
	for _, p := range []struct {
		key   string
		value *string
	}{{"power", s.Power}, {"temp", s.Temp}, {"on", s.On}, {"time", s.Time}} {
		if p.value != nil && !isPointer(*p.value) {
			return k.problem(join(path, p.key), `give a JSON Pointer such as /power_w, or "" for a payload that is the bare value`, "%q is no JSON Pointer", short(*p.value))
		}
	}
	if (len(s.OnValues) > 0) != (len(s.OffValues) > 0) || (len(s.OnValues) > 0 && s.On == nil) {
		return k.problem(k.told(path, "on_values", "off_values"), "give on, on_values and off_values together", "a switch is read from on by its two values")
	}
	if s.Power == nil && s.Temp == nil && s.On == nil {
		return k.problem(path, "give power, temp or on", "nothing says what to read from the payload")
	}
	return nil
}

// isPointer holds s against RFC 6901: empty, or tokens each behind a slash, in which ~ is
// only ~0 or ~1.
func isPointer(s string) bool {
	rest := strings.NewReplacer("~0", "", "~1", "").Replace(s)
	return (s == "" || s[0] == '/') && !strings.Contains(rest, "~")
}

func (k checker) measure(path string, s *Source) error {
	allowed := []string{"W", "mW", "kW"}
	if s.Power == nil && s.Temp != nil {
		allowed = []string{"C", "F", "K"}
	}
	if s.Unit == "" {
		s.Unit = allowed[0]
	}
	if !slices.Contains(allowed, s.Unit) {
		return k.problem(path+".unit", "give "+list(allowed), "%q does not go with what is read", short(s.Unit))
	}
	if s.Scale == 0 || s.Scale > 1e9 || s.Scale < -1e9 {
		return k.problem(path+".scale", "give a factor such as 0.1, up to 1e9", "%v is out of range", s.Scale)
	}
	if s.Offset > 1e9 || s.Offset < -1e9 {
		return k.problem(path+".offset", "give -1e9 to 1e9", "%v is out of range", s.Offset)
	}
	if s.Decimal != "point" && s.Decimal != "comma" {
		return k.problem(path+".decimal", "give point or comma", "%q is no decimal sign", short(s.Decimal))
	}
	return nil
}
