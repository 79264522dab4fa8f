package config

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Channels that lack nothing but their closing brace.
const (
	shed   = `{name: shed, type: mqtt, broker: "tcp://127.0.0.1:1883", topic: shed/reminders`
	bell   = `{name: bell, type: program, command: [/bin/cat]`
	desk   = `{name: desk, type: desktop`
	phones = `{name: phones, type: webpush, subject: "mailto:pump@example.org"`
)

var channelProblems = []struct{ name, channel, says string }{
	{"mqtt without broker", `{name: shed, type: mqtt, topic: a`, `broker: an mqtt channel needs its broker; give scheme://host:port, such as tcp://127.0.0.1:1883, or tls:// with 8883`},
	{"mqtt of another scheme", `{name: shed, type: mqtt, topic: a, broker: "http://127.0.0.1"`, `broker: this is no address of a broker; the schemes are tcp, mqtt, tls, ssl, mqtts, ws, wss`},
	{"mqtt with a login in it", `{name: shed, type: mqtt, topic: a, broker: "tcp://a:b@127.0.0.1:1883"`, `broker: a login cannot stand in the address; give username and password_file`},
	{"mqtt without port", `{name: shed, type: mqtt, topic: a, broker: "tcp://127.0.0.1"`, `broker: "tcp://127.0.0.1" has no host and port; give scheme://host:port, such as tcp://127.0.0.1:1883, or tls:// with 8883`},
	{"mqtt without topic", `{name: shed, type: mqtt, broker: "tcp://127.0.0.1:1883"`, `topic: there is no topic; give the topic, such as shed/north`},
	{"mqtt to many topics", `{name: shed, type: mqtt, broker: "tcp://127.0.0.1:1883", topic: "shed/#"`, `topic: "shed/#" has a wildcard; give one topic in full`},
	{"mqtt to the broker's own", `{name: shed, type: mqtt, broker: "tcp://127.0.0.1:1883", topic: "$SYS/a"`, `topic: topics with $ are the broker's own; give a topic such as shed/reminders`},
	{"mqtt replies from many topics", shed + `, replies: "shed/+"`, `replies: "shed/+" has a wildcard; give one topic in full`},
	{"mqtt replies of the broker's own", shed + `, replies: "$SYS/a"`, `replies: topics with $ are the broker's own; give a topic such as shed/answers`},
	{"mqtt replies where reminders are", shed + `, replies: shed/reminders`, `replies: the reminders themselves are published there; give another topic, such as shed/answers`},
	{"mqtt replies of a program", `{name: bell, type: program, command: [/bin/cat], replies: a`, `replies: a program channel has no replies; leave it out`},
	{"mqtt topic with a zero byte", `{name: shed, type: mqtt, broker: "tcp://127.0.0.1:1883", topic: "a\0b"`, `topic: "a\x00b" is no topic; give text without control characters`},
	{"mqtt client", shed + `, client_id: "a\nb"`, `client_id: the broker would not take it; give at most 128 visible characters, another on each client of the broker`},
	{"mqtt password in the file", shed + `, username: a, password: b`, `password: an mqtt channel has no password; leave it out`},
	{"mqtt password for nobody", shed + `, password_file: key`, `password_file: a password for nobody; give username as well`},
	{"mqtt with the user of mail", shed + `, user: a`, `user: an mqtt channel has no user; leave it out`},
	{"mqtt with a url", shed + `, url: "http://127.0.0.1"`, `url: an mqtt channel has no url; leave it out`},
	{"program without command", `{name: bell, type: program`, `command: a program channel needs its command; give the program's whole path and its arguments as a list, such as ["/usr/local/bin/bell", "--loud"]; no shell reads them`},
	{"program of nothing", `{name: bell, type: program, command: []`, `command: a program channel needs its command; give the program's whole path and its arguments as a list, such as ["/usr/local/bin/bell", "--loud"]; no shell reads them`},
	{"program as a line", `{name: bell, type: program, command: "bell --loud"`, `command: text is not a list; give a list`},
	{"program without path", `{name: bell, type: program, command: [bell]`, `command[0]: "bell" is no absolute path; give the program's whole path and its arguments as a list, such as ["/usr/local/bin/bell", "--loud"]; no shell reads them`},
	{"program by a path from here", `{name: bell, type: program, command: [./bell, -l]`, `command[0]: "./bell" is no absolute path; give the program's whole path and its arguments as a list, such as ["/usr/local/bin/bell", "--loud"]; no shell reads them`},
	{"program with a number", `{name: bell, type: program, command: [/bin/cat, 7]`, `command[1]: 7 is a number, not text; give text in quotes`},
	{"program with a zero byte", `{name: bell, type: program, command: [/bin/cat, "a\0"]`, `command: a zero byte ends an argument; give the program's whole path and its arguments as a list, such as ["/usr/local/bin/bell", "--loud"]; no shell reads them`},
	{"program with a topic", bell + `, topic: a`, `topic: a program channel has no topic; leave it out`},
	{"desktop by path", desk + `, bus: /run/user/1000/bus`, `bus: "/run/user/1000/bus" is no address of a session bus; give unix:path=/run/user/1000/bus, with your own number, or leave it out to use the session's`},
	{"desktop of another machine", desk + `, bus: "tcp:host=127.0.0.1,port=1"`, `bus: "tcp:host=127.0.0.1,port=1" is no address of a session bus; give unix:path=/run/user/1000/bus, with your own number, or leave it out to use the session's`},
	{"desktop that is no bus but a program", desk + `, bus: "unixexec:path=/bin/sh"`, `bus: "unixexec:path=/bin/sh" is no address of a session bus; give unix:path=/run/user/1000/bus, with your own number, or leave it out to use the session's`},
	{"desktop of nothing", desk + `, bus: ""`, `bus: "" is no address of a session bus; give unix:path=/run/user/1000/bus, with your own number, or leave it out to use the session's`},
	{"desktop with a command", desk + `, command: [/bin/cat]`, `command: a desktop channel has no command; leave it out`},
	{"push without subject", `{name: phones, type: webpush`, `subject: a webpush channel needs its subject; give mailto: and your own mail address, or an https address of yours: push services may write to it`},
	{"push with a bare address", `{name: phones, type: webpush, subject: pump@example.org`, `subject: this is neither; give mailto: and your own mail address, or an https address of yours: push services may write to it`},
	{"push in the clear", `{name: phones, type: webpush, subject: "http://example.org"`, `subject: this is neither; give mailto: and your own mail address, or an https address of yours: push services may write to it`},
	{"push with a name", `{name: phones, type: webpush, subject: "mailto:Ana <ana@example.org>"`, `subject: this is neither; give mailto: and your own mail address, or an https address of yours: push services may write to it`},
	{"push to nowhere", `{name: phones, type: webpush, subject: "mailto:pump@localhost"`, `subject: localhost is nowhere to write to; give mailto: and your own mail address, or an https address of yours: push services may write to it`},
	{"push to nowhere else", `{name: phones, type: webpush, subject: "https://book.invalid/"`, `subject: book.invalid is nowhere to write to; give mailto: and your own mail address, or an https address of yours: push services may write to it`},
	{"push to a port", phones + `, local_hosts: [push.example.org, "push.home.arpa:443"]`, `local_hosts[1]: "push.home.arpa:443" is no host; give names or addresses without port, such as push.home.arpa`},
	{"push with a secret", phones + `, secret: whsec_bm90`, `secret: a webpush channel has no secret; leave it out`},
	{"webhook with a broker", hook + `, broker: "tcp://127.0.0.1:1883"`, `broker: a webhook channel has no broker; leave it out`},
	{"mail with a username", post + `, username: a`, `username: an smtp channel has no username; leave it out`},
}

func TestChannelProblems(t *testing.T) {
	for _, p := range channelProblems {
		t.Run(p.name, func(t *testing.T) {
			t.Chdir(t.TempDir())
			write(t, "key", "hush")
			write(t, "sumpbook.yaml", "channels:\n- "+p.channel+"}\n")
			_, err := Load(Options{File: "sumpbook.yaml"})
			require.EqualError(t, err, "sumpbook.yaml:2: channels[0]."+p.says)
		})
	}
}

func TestChannelsOfEachType(t *testing.T) {
	c, err := load(t, "channels:\n- "+shed+", client_id: sumpbook-1}\n- "+bell+"}\n- "+desk+", bus: \"unix:path=/run/user/1000/bus\"}\n- {name: screen, type: desktop}\n- "+
		phones+", local_hosts: [push.home.arpa, 192.0.2.7]}\n- {name: tablets, type: webpush, subject: \"https://example.org/pump\"}\n")
	require.NoError(t, err)
	require.Equal(t, []Channel{
		{Name: "shed", Type: "mqtt", Broker: "tcp://127.0.0.1:1883", Topic: "shed/reminders", ClientID: "sumpbook-1"},
		{Name: "bell", Type: "program", Command: []string{"/bin/cat"}},
		{Name: "desk", Type: "desktop", Bus: "unix:path=/run/user/1000/bus"},
		{Name: "screen", Type: "desktop"},
		{Name: "phones", Type: "webpush", Subject: "mailto:pump@example.org", LocalHosts: []string{"push.home.arpa", "192.0.2.7"}},
		{Name: "tablets", Type: "webpush", Subject: "https://example.org/pump"},
	}, c.Channels)
	require.Empty(t, c.Warnings)
	told := fmt.Sprint(c.Describe())
	for _, line := range []string{
		"{channels[0].broker tcp://127.0.0.1:1883 file sumpbook.yaml:2}", "{channels[0].topic shed/reminders file sumpbook.yaml:2}", "{channels[1].command[0] /bin/cat file sumpbook.yaml:3}",
		"{channels[2].bus unix:path=/run/user/1000/bus file sumpbook.yaml:4}", "{channels[4].subject mailto:pump@example.org file sumpbook.yaml:6}", "{channels[4].local_hosts[1] 192.0.2.7 file sumpbook.yaml:6}",
	} {
		require.Contains(t, told, line)
	}
	require.NotContains(t, told, "channels[3].bus", "what is not told is not listed")
}

// What cannot be run now is warned of, and stops nobody from reading the book.
func TestProgramsThatCannotBeRun(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "plain"), "")
	for path, says := range map[string]string{
		"absent": "channels[0].command[0]: stat " + dir + "/absent: no such file or directory", "plain": "channels[0].command[0]: " + dir + "/plain is no program that can be run",
		"": "channels[0].command[0]: " + dir + " is no program that can be run",
	} {
		c, err := load(t, "channels: [{name: bell, type: program, command: ["+filepath.Join(dir, path)+"]}]\n")
		require.NoError(t, err)
		require.Equal(t, []string{says}, c.Warnings)
	}
	require.NoError(t, os.Chmod(filepath.Join(dir, "plain"), 0o700))
	c, err := load(t, "channels: [{name: bell, type: program, command: ["+filepath.Join(dir, "plain")+"]}]\n")
	require.NoError(t, err)
	require.Empty(t, c.Warnings)
}

func TestMQTTPasswordInTheClear(t *testing.T) {
	t.Chdir(t.TempDir())
	write(t, "key", hush)
	write(t, "sumpbook.yaml", `channels: [{name: shed, type: mqtt, broker: "tcp://broker.example.org:1883", topic: a, username: a, password_file: key}]`)
	c, err := Load(Options{File: "sumpbook.yaml"})
	require.NoError(t, err)
	require.Equal(t, []string{"channels[0]: the password goes to broker.example.org:1883 in the clear; tls:// hides it"}, c.Warnings)
}

// Every key of a channel belongs to a type: none is refused everywhere.
func TestEveryKeyOfAChannelHasItsType(t *testing.T) {
	for _, key := range names(reflect.TypeFor[Channel]()) {
		known := key == "name" || key == "type"
		for _, c := range channelTypes {
			known = known || slices.Contains(c.keys, key)
		}
		require.True(t, known, key)
	}
}

func drawChannels(t *rapid.T, name *rapid.Generator[string]) []Channel {
	word := rapid.StringMatching(`[ -~é]{0,20}`)
	return []Channel{
		{Name: "drawn-1", Type: "mqtt", Broker: "mqtts://127.0.0.1:8883", Topic: name.Draw(t, "reminders"), ClientID: name.Draw(t, "client"), Username: name.Draw(t, "username")},
		{Name: "drawn-2", Type: "program", Command: append([]string{"/bin/cat"}, rapid.SliceOfN(word, 0, 3).Draw(t, "arguments")...)},
		{Name: "drawn-3", Type: "desktop", Bus: rapid.SampledFrom([]string{"", "unix:path=/run/user/1000/bus", "unix:abstract=/tmp/x;unix:path=/a"}).Draw(t, "bus")},
		{Name: "drawn-4", Type: "webpush", Subject: "https://example.org/" + name.Draw(t, "subject"), LocalHosts: rapid.SliceOfN(name, 0, 2).Draw(t, "local")},
	}
}
