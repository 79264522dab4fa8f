package config

import (
	"fmt"
	"net/mail"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
)

// The channels that reach machines, a desktop and phones.

func (k checker) publisher(path string, ch *Channel) error {
	if err := k.broker(path, "an mqtt channel", broker{ch.Broker, ch.ClientID, ch.Username, ch.PasswordFile, &ch.Password}); err != nil {
		return err
	}
	if err := k.ownTopic(path+".topic", ch.Topic, "shed/reminders"); err != nil || ch.Replies == "" {
		return err
	}
	if ch.Replies == ch.Topic || ch.Replies+"/said" == ch.Topic {
		return k.problem(path+".replies", "give another topic, such as shed/answers", "the reminders themselves are published there")
	}
	return k.ownTopic(path+".replies", ch.Replies, "shed/answers")
}

// ownTopic is one topic that is not the broker's.
func (k checker) ownTopic(path, topic, such string) error {
	if strings.HasPrefix(topic, "$") {
		return k.problem(path, "give a topic such as "+such, "topics with $ are the broker's own")
	}
	return k.topic(path, topic, "give one topic in full")
}

// program warns of what cannot be run now, and takes it: a disk may be mounted later, and a
// book can be read without a bell.
func (k checker) program(path string, ch *Channel) error {
	const hint = `give the program's whole path and its arguments as a list, such as ["/usr/local/bin/bell", "--loud"]; no shell reads them`
	if len(ch.Command) == 0 {
		return k.problem(path+".command", hint, "a program channel needs its command")
	}
	for _, word := range ch.Command {
		if strings.Contains(word, "\x00") {
			return k.problem(path+".command", hint, "a zero byte ends an argument")
		}
	}
	if !filepath.IsAbs(ch.Command[0]) {
		return k.problem(path+".command[0]", hint, "%q is no absolute path", short(ch.Command[0]))
	}
	switch info, err := os.Stat(ch.Command[0]); {
	case err != nil:
		k.warn("%s.command[0]: %s", path, err)
	case !info.Mode().IsRegular() || runtime.GOOS != "windows" && info.Mode().Perm()&0o111 == 0:
		k.warn("%s.command[0]: %s is no program that can be run", path, ch.Command[0])
	}
	return nil
}

func (k checker) desktop(path string, ch *Channel) error {
	if !k.has(path, "bus") {
		return nil
	}
	for one := range strings.SplitSeq(ch.Bus, ";") {
		if !strings.HasPrefix(one, "unix:path=/") && !strings.HasPrefix(one, "unix:abstract=") || !plain(one) {
			return k.problem(path+".bus", "give unix:path=/run/user/1000/bus, with your own number, or leave it out to use the session's", "%q is no address of a session bus", short(ch.Bus))
		}
	}
	return nil
}

// webpush wants a subject that is real: some push services refuse one that cannot be.
func (k checker) webpush(path string, ch *Channel) error {
	const hint = "give mailto: and your own mail address, or an https address of yours: push services may write to it"
	if ch.Subject == "" {
		return k.problem(path+".subject", hint, "a webpush channel needs its subject")
	}
	host := subjectHost(ch.Subject)
	if host == "" || !plain(ch.Subject) {
		return k.problem(path+".subject", hint, "this is neither")
	}
	for _, nowhere := range []string{"localhost", ".localhost", ".invalid", ".test", ".local"} {
		if host == nowhere || strings.HasPrefix(nowhere, ".") && strings.HasSuffix(host, nowhere) {
			return k.problem(path+".subject", hint, "%s is nowhere to write to", host)
		}
	}
	for i, local := range ch.LocalHosts {
		if !isHost(local) {
			return k.problem(fmt.Sprintf("%s.local_hosts[%d]", path, i), "give names or addresses without port, such as push.home.arpa", "%q is no host", short(local))
		}
	}
	return nil
}

// subjectHost is the host of a mail or https address, in lower case; empty if it is neither.
func subjectHost(subject string) string {
	if address, is := strings.CutPrefix(subject, "mailto:"); is {
		a, err := mail.ParseAddress(address)
		if err != nil || a.Name != "" || a.Address != address {
			return ""
		}
		return strings.ToLower(address[strings.LastIndex(address, "@")+1:])
	}
	u, err := url.Parse(subject)
	if err != nil || u.Scheme != "https" || u.User != nil || !isHost(u.Hostname()) {
		return ""
	}
	return strings.ToLower(u.Hostname())
}
