package config

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"sumpbook/maintenance"
)

// A checker holds the decoded values against their ranges and each other.
type checker struct {
	*loader
	c *Config
}

func (k checker) all() error {
	for _, check := range []func() error{k.basics, k.heartbeat, k.quiet, k.again, k.signals, k.limits, k.channels, k.people, k.escalate, k.sources, k.care} {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

func (k checker) basics() error {
	c := k.c
	host, port, err := splitListen(c.Listen)
	if err != nil {
		return k.problem("listen", "give host:port, such as 127.0.0.1:8417", "%q %s", short(c.Listen), err)
	}
	if !isLoopback(host) {
		k.warn("listen: other machines can reach %s, and only a token lets them in; 127.0.0.1:%s is reached by this one alone", c.Listen, port)
	}
	if c.BaseURL != "" {
		says := badURL(c.BaseURL)
		if says == "" && strings.ContainsAny(c.BaseURL, "?#@") {
			says = "has more than host, port and path"
		}
		if says != "" {
			return k.problem("base_url", "give what a phone is to open, such as http://192.0.2.7:8417", "the address %s", says)
		}
		c.BaseURL = strings.TrimRight(c.BaseURL, "/")
	}
	if c.Units != "metric" && c.Units != "us" {
		return k.problem("units", "give metric or us", "%q is no system of units", short(c.Units))
	}
	if _, set := c.LookAheadAt(); !set && c.LookAhead != "off" {
		return k.problem("look_ahead", `give a time of day such as "20:00", or off`, "%q is no time of day", short(c.LookAhead))
	}
	c.Digest, c.Weekly = strings.TrimSpace(c.Digest), strings.TrimSpace(c.Weekly)
	if c.Digest != "" {
		if err := k.cron("digest", c.Digest); err != nil {
			return err
		}
	}
	if c.Weekly != "" {
		return k.cron("weekly", c.Weekly)
	}
	return nil
}

func (k checker) heartbeat() error {
	h := k.c.Heartbeat
	if h.URL != "" {
		if says := badURL(h.URL); says != "" {
			return k.problem("heartbeat.url", "give the address that a watcher gave you for it, http or https", "the address %s", says)
		}
	}
	if h.Every < time.Minute || h.Every > 24*time.Hour {
		return k.problem("heartbeat.every", "give 1m to 24h, such as 15m", "%s is no pace for it", h.Every)
	}
	return nil
}

func (k checker) cron(key, spec string) error {
	if _, err := ParseCron(spec); err != nil {
		return k.problem(key, `give minute, hour, day, month and weekday, such as "0 7 * * *"; the zone is that of timezone`, "%s", err)
	}
	return nil
}

// splitListen takes host:port apart; an empty host stands for every address.
func splitListen(s string) (host, port string, err error) {
	host, port, err = net.SplitHostPort(s)
	if err != nil {
		return "", "", fmt.Errorf("is not host:port")
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || strconv.FormatUint(n, 10) != port {
		return "", "", fmt.Errorf("has no port from 0 to 65535")
	}
	if host != "" && !isHost(host) {
		return "", "", fmt.Errorf("has no host name or address")
	}
	return host, port, nil
}

var hostForm = regexp.MustCompile(`^[A-Za-z0-9_]([A-Za-z0-9_.-]{0,251}[A-Za-z0-9_.])?$`)

func isHost(s string) bool {
	if _, err := netip.ParseAddr(s); err == nil {
		return true
	}
	return hostForm.MatchString(s)
}

func isLoopback(host string) bool {
	if addr, err := netip.ParseAddr(host); err == nil {
		return addr.Unmap().IsLoopback()
	}
	return strings.EqualFold(host, "localhost")
}

// badURL says why s is no http or https URL with a host, or nothing.
func badURL(s string) string {
	u, err := url.Parse(s)
	switch {
	case err != nil:
		return "is not a URL" // the error would repeat what may be secret
	case u.Scheme != "http" && u.Scheme != "https":
		return "is not http or https"
	case !isHost(u.Hostname()) || strings.HasSuffix(u.Host, ":"):
		return "names no host"
	case u.Port() != "" && !isPort(u.Port()):
		return "has no port from 1 to 65535"
	}
	return ""
}

func isPort(s string) bool {
	n, err := strconv.ParseUint(s, 10, 16)
	return err == nil && n > 0
}

var actions = []maintenance.Do{
	maintenance.DoStopPump, maintenance.DoDrain, maintenance.DoFill, maintenance.DoTopUp, maintenance.DoReplace,
	maintenance.DoDecant, maintenance.DoSeparate, maintenance.DoFreeze, maintenance.DoFilter, maintenance.DoChangeMedium,
	maintenance.DoCheck, maintenance.DoCare, maintenance.DoHandIn, maintenance.DoBuyOil,
}

func actionNames() []string {
	var all []string
	for _, do := range actions {
		all = append(all, string(do))
	}
	return all
}

func (k checker) quiet() error {
	q := k.c.Quiet
	_, from := k.origins["quiet.from"]
	_, to := k.origins["quiet.to"]
	switch {
	case from && !to:
		return k.problem("quiet.from", "give quiet.to as well", "quiet hours begin and never end")
	case to && !from:
		return k.problem("quiet.to", "give quiet.from as well", "quiet hours end and never begin")
	case from && !q.IsSet():
		return k.problem("quiet.to", "give two times, or leave quiet out", "quiet hours begin and end at %s", q.To)
	case len(q.Except) > 0 && !from:
		return k.problem("quiet.except", "give quiet.from and quiet.to as well", "there are no quiet hours to be excepted from")
	}
	for i, do := range q.Except {
		if err := k.action(fmt.Sprintf("quiet.except[%d]", i), do); err != nil {
			return err
		}
	}
	return nil
}

func (k checker) action(path string, do maintenance.Do) error {
	if !slices.Contains(actions, do) {
		return k.problem(path, suggest(string(do), actionNames()), "%q is no action", short(string(do)))
	}
	return nil
}

func (k checker) again() error {
	for i, a := range k.c.Again {
		path := fmt.Sprintf("again[%d]", i)
		if err := k.action(path+".do", a.Do); err != nil {
			return err
		}
		if a.Every < time.Minute || a.Every > maxSpan {
			return k.problem(path+".every", "give 1m to 168h", "%s is out of range", brief(a.Every))
		}
		first := slices.IndexFunc(k.c.Again, func(other Again) bool { return other.Do == a.Do })
		if first < i {
			return k.problem(path+".do", "name each action once", "%q is also again[%d]", a.Do, first)
		}
	}
	return nil
}

const (
	maxPowerW = 50000
	maxDwell  = 24 * time.Hour
	maxSpan   = 7 * 24 * time.Hour
)

func (k checker) signals() error { return k.thresholds("signals", k.c.Signals) }

func (k checker) thresholds(path string, s Signals) error {
	if !(s.OnW > 0 && s.OnW <= maxPowerW) {
		return k.problem(path+".on_w", "give more than 0, at most 50000 W", "%v is out of range", s.OnW)
	}
	if !(s.OffW >= 0 && s.OffW < s.OnW) {
		return k.problem(k.told(path, "off_w", "on_w"), "off_w must be 0 or more and below on_w", "off_w %v does not go with on_w %v", s.OffW, s.OnW)
	}
	if !(s.OnC >= -50 && s.OnC <= 300) {
		return k.problem(path+".on_c", "give -50 to 300 °C", "%v is out of range", s.OnC)
	}
	if !(s.OffC >= -50 && s.OffC < s.OnC) {
		return k.problem(k.told(path, "off_c", "on_c"), "off_c must be -50 or more and below on_c", "off_c %v does not go with on_c %v", s.OffC, s.OnC)
	}
	if !(s.DropC > 0 && s.DropC <= 100) {
		return k.problem(path+".drop_c", "give more than 0, at most 100 K", "%v is out of range", s.DropC)
	}
	return k.dwells(path, s)
}

func (k checker) dwells(path string, s Signals) error {
	for _, d := range []struct {
		key       string
		value     time.Duration
		low, high time.Duration
	}{
		{"start_for", s.StartFor, 0, maxDwell},
		{"end_for", s.EndFor, 0, maxDwell},
		{"shortest_run", s.ShortestRun, 0, maxSpan},
		{"alive", s.Alive, time.Second, maxSpan},
	} {
		if d.value < d.low || d.value > d.high {
			return k.problem(path+"."+d.key, fmt.Sprintf("give %s to %s", brief(d.low), brief(d.high)), "%s is out of range", brief(d.value))
		}
	}
	if s.Alive <= max(s.StartFor, s.EndFor) {
		k.warn("%s: a source that only reports changes counts as silent after alive %s, before start_for %s or end_for %s is over", path, brief(s.Alive), brief(s.StartFor), brief(s.EndFor))
	}
	return nil
}

// told is the first of the keys under path that somebody has set.
func (k checker) told(path string, keys ...string) string {
	for _, key := range keys {
		if _, ok := k.origins[join(path, key)]; ok {
			return join(path, key)
		}
	}
	return join(path, keys[0])
}

// brief writes 2m, not 2m0s.
func brief(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = s[:len(s)-2]
	}
	if strings.HasSuffix(s, "h0m") {
		s = s[:len(s)-2]
	}
	return s
}

func (k checker) limits() error {
	err := k.c.Limits.Check()
	if r, ok := err.(*maintenance.Rejection); ok {
		return k.problem(r.Field, r.Hint, "%s", r.Says)
	}
	return err
}

func (k checker) care() error {
	for i, c := range k.c.Care {
		if err := k.task(fmt.Sprintf("care[%d]", i), c); err != nil {
			return err
		}
	}
	return nil
}

func (k checker) task(path string, c Care) error {
	if err := k.name(path, "task", c.Task, true); err != nil {
		return err
	}
	if err := k.name(path, "pump", c.Pump, false); err != nil {
		return err
	}
	a := c.After
	use := a.Cycles != 0 || a.RunHours != 0
	if (k.has(path, "cron") && k.has(path, "after")) || (!k.has(path, "cron") && !k.has(path, "after")) {
		return k.problem(path, "give after: {cycles: 1} or {run_hours: 500}, or cron: \"0 9 1 * *\"", "an upkeep task comes either after some use or by the calendar")
	}
	if k.has(path, "cron") {
		return k.cron(path+".cron", c.Cron)
	}
	switch {
	case a.Cycles < 0 || a.Cycles > 100000 || (k.has(path, "after.cycles") && a.Cycles == 0):
		return k.problem(path+".after.cycles", "give 1 to 100000", "%d is out of range", a.Cycles)
	case a.RunHours < 0 || a.RunHours > 1e6 || (k.has(path, "after.run_hours") && a.RunHours == 0):
		return k.problem(path+".after.run_hours", "give more than 0, at most 1000000", "%v is out of range", a.RunHours)
	case !use:
		return k.problem(path+".after", "give cycles or run_hours", "nothing says after how much use")
	case a.Class != "" && a.Cycles == 0:
		return k.problem(path+".after.class", "give cycles as well", "a class of food is counted in cycles")
	}
	return k.name(path, "after.class", a.Class, false)
}

func (k checker) has(path, key string) bool {
	_, ok := k.origins[join(path, key)]
	return ok
}

// As the book has it for pumps, tasks and classes; channels are named alike.
var nameForm = regexp.MustCompile(`^[a-z0-9][a-z0-9._-]{0,63}$`)

func (k checker) name(path, key, value string, must bool) error {
	if !must && !k.has(path, key) {
		return nil
	}
	const hint = "give a name of a–z, 0–9, dot, dash and underscore, at most 64 long"
	if value == "" {
		return k.problem(join(path, key), hint, "there is no name")
	}
	if !nameForm.MatchString(value) {
		return k.problem(join(path, key), hint, "%q cannot be a name", short(value))
	}
	return nil
}
