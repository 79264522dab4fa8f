package config

import (
	"fmt"
	"reflect"
	"slices"
	"time"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// Who is told of what, on which channels and when.

var weekdays = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// Weekdays are the days of a night, in the order in which they are told.
func (n Night) Weekdays() []time.Weekday {
	var all []time.Weekday
	for _, day := range n.Days {
		all = append(all, time.Weekday(slices.Index(weekdays, day)))
	}
	return all
}

func (k checker) channelNames() []string {
	var all []string
	for _, ch := range k.c.Channels {
		all = append(all, ch.Name)
	}
	return all
}

func (k checker) people() error {
	owner := map[string]string{}
	for i, p := range k.c.People {
		path := fmt.Sprintf("people[%d]", i)
		if err := k.name(path, "name", p.Name, true); err != nil {
			return err
		}
		first := slices.IndexFunc(k.c.People, func(other Person) bool { return other.Name == p.Name })
		switch {
		case first < i:
			return k.problem(path+".name", "name each person once", "%q is also people[%d]", p.Name, first)
		case slices.Contains(k.channelNames(), p.Name):
			return k.problem(path+".name", "name people and channels apart", "%q is a channel", p.Name)
		case len(p.Channels) == 0:
			return k.problem(path+".channels", "give at least one of "+k.ofChannels(), "%s has no channel", p.Name)
		}
		for j, ch := range p.Channels {
			at := fmt.Sprintf("%s.channels[%d]", path, j)
			if err := k.known(at, ch, k.channelNames(), "channel"); err != nil {
				return err
			}
			if other, taken := owner[ch]; taken {
				return k.problem(at, "give each channel to one person at most", "%q is already that of %s", ch, other)
			}
			owner[ch] = p.Name
		}
		if err := k.kinds(path+".kinds", p); err != nil {
			return err
		}
		if err := k.nights(path+".quiet", p.Quiet); err != nil {
			return err
		}
	}
	return nil
}

func (k checker) ofChannels() string {
	if names := k.channelNames(); len(names) > 0 {
		return list(names)
	}
	return "channels, of which there are none"
}

// known refuses a name that is not among those there are.
func (k checker) known(path, name string, names []string, what string) error {
	if slices.Contains(names, name) {
		return nil
	}
	hint := "there are none"
	if len(names) > 0 {
		hint = suggest(name, names)
	}
	return k.problem(path, hint, "%q is no %s", short(name), what)
}

// kinds are checked against the person's own channels. What would reach nobody is told on
// all of them, and said at the start.
func (k checker) kinds(path string, p Person) error {
	by := p.Kinds.By()
	v := reflect.ValueOf(p.Kinds)
	for _, f := range fields(v.Type()) {
		for i, ch := range v.FieldByIndex(f.Index).Interface().([]string) {
			at := fmt.Sprintf("%s.%s[%d]", path, keyOf(f), i)
			if err := k.known(at, ch, p.Channels, "channel of "+p.Name); err != nil {
				return err
			}
		}
	}
	var nowhere []string
	for _, do := range maintenance.Dos() {
		if len(by[do]) == 0 && len(by[notify.AnyKind]) == 0 && do != maintenance.DoStopPump {
			nowhere = append(nowhere, string(do))
		}
	}
	if _, told := k.origins[path]; told && len(nowhere) > 0 {
		k.warn("%s: no channel for %s, so %s is told on %s; \"*\" stands for the kinds that are not named", path, list(nowhere), p.Name, list(p.Channels))
	}
	return nil
}

func (k checker) nights(path string, nights Nights) error {
	minutes := 0
	for i, n := range nights {
		at := fmt.Sprintf("%s[%d]", path, i)
		for j, day := range n.Days {
			if !slices.Contains(weekdays, day) {
				return k.problem(fmt.Sprintf("%s.days[%d]", at, j), "give mon, tue, wed, thu, fri, sat or sun", "%q is no day of the week", short(day))
			}
		}
		for j, do := range n.Except {
			if err := k.action(fmt.Sprintf("%s.except[%d]", at, j), do); err != nil {
				return err
			}
		}
		switch {
		case !k.has(at, "from") || !k.has(at, "to"):
			return k.problem(at, `give from and to, such as {from: "22:00", to: "06:30"}`, "quiet hours have a beginning and an end")
		case n.From == n.To:
			return k.problem(at+".to", "give two times, or leave quiet out", "quiet hours begin and end at %s", n.To)
		}
		days := len(n.Days)
		if days == 0 {
			days = 7
		}
		minutes += days * (int(n.To-n.From+24*60) % (24 * 60))
	}
	if minutes >= 7*24*60 {
		return k.problem(path, "leave some hour of the week in which reminders can come", "the quiet hours fill the week")
	}
	return nil
}

const maxSteps = 2 // of escalation, for one kind

func (k checker) escalate() error {
	targets := k.channelNames()
	for _, p := range k.c.People {
		targets = append(targets, p.Name)
	}
	steps := map[maintenance.Do][]Escalate{}
	for i, e := range k.c.Escalate {
		path := fmt.Sprintf("escalate[%d]", i)
		if err := k.action(path+".do", e.Do); err != nil {
			return err
		}
		if err := k.known(path+".to", e.To, targets, "person or channel"); err != nil {
			return err
		}
		before := steps[e.Do]
		switch {
		case e.After < time.Minute || e.After > maxSpan:
			return k.problem(path+".after", "give 1m to 168h", "%s is out of range", brief(e.After))
		case len(before) == maxSteps:
			return k.problem(path, "give at most two steps a kind", "this is the third for %s", e.Do)
		case len(before) == 1 && before[0].To == e.To:
			return k.problem(path+".to", "name each once a kind", "%s is told already after %s", e.To, brief(before[0].After))
		case len(before) == 1 && before[0].After >= e.After:
			return k.problem(path+".after", "give more than "+brief(before[0].After), "the second step does not come after the first")
		}
		steps[e.Do] = append(before, e)
		if len(k.toldFirst(e.Do, steps[e.Do])) == 0 {
			return k.problem(path+".to", "leave a channel that is told at once", "nobody is told of %s before", e.Do)
		}
	}
	return nil
}

// toldFirst are the channels that hear of a kind without escalation.
func (k checker) toldFirst(do maintenance.Do, steps []Escalate) (all []string) {
	named := func(who string) bool {
		return slices.ContainsFunc(steps, func(e Escalate) bool { return e.To == who })
	}
	for _, ch := range k.channelNames() {
		told := !named(ch)
		for _, p := range k.c.People {
			if slices.Contains(p.Channels, ch) {
				told = told && !named(p.Name) && slices.Contains(p.hears(do), ch)
			}
		}
		if told {
			all = append(all, ch)
		}
	}
	return all
}

// hears are the channels on which a person is told of a kind.
func (p Person) hears(do maintenance.Do) []string {
	return notify.Person{Channels: p.Channels, Kinds: p.Kinds.By()}.Hears(do)
}
