package daemon

import (
	"time"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// policyOf is who is told of what and when, as the configuration has it.
func policyOf(c config.Config) notify.Policy {
	p := notify.Policy{
		Quiet:  notify.Quiet{From: int(c.Quiet.From), To: int(c.Quiet.To), Except: c.Quiet.Except, Zone: c.Timezone},
		Read:   map[string]bool{},
		Digest: scheduleOf(c.Digest), Weekly: scheduleOf(c.Weekly),
	}
	for _, ch := range c.Channels {
		p.Channels = append(p.Channels, ch.Name)
		if ch.PeopleRead() {
			p.Read[ch.Name] = true
			p.DigestTo = append(p.DigestTo, ch.Name)
		}
	}
	for _, one := range c.People {
		p.People = append(p.People, notify.Person{Name: one.Name, Channels: one.Channels, Kinds: one.Kinds.By(), Quiet: nightsOf(one.Quiet, c.Timezone)})
	}
	for _, a := range c.Again {
		if p.Repeat == nil {
			p.Repeat = map[maintenance.Do]time.Duration{}
		}
		p.Repeat[a.Do] = a.Every
	}
	for _, e := range c.Escalate {
		p.Escalate = append(p.Escalate, notify.Escalation{Do: e.Do, After: e.After, Who: e.To})
	}
	if t, set := c.LookAheadAt(); set {
		p.LookAhead = new(int(t))
	}
	return p
}

func nightsOf(nights config.Nights, zone *time.Location) (all notify.Nights) {
	for _, n := range nights {
		all = append(all, notify.Quiet{Days: n.Weekdays(), From: int(n.From), To: int(n.To), Except: n.Except, Zone: zone})
	}
	return all
}

// scheduleOf reads a schedule that was checked at the start; an empty one is none.
func scheduleOf(spec string) notify.Schedule {
	if spec == "" {
		return nil
	}
	schedule, err := config.ParseCron(spec)
	if err != nil {
		panic("daemon: the configuration was checked and yet: " + err.Error())
	}
	return schedule
}
