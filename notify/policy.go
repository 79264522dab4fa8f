package notify

import (
	"slices"
	"time"

	"sumpbook/maintenance"
)

// A Policy is who is told of what, and when.
type Policy struct {
	Channels  []string                         // all there are
	Read      map[string]bool                  // those that people read: what is due together is one message there
	People    []Person                         // whose channels are whose; one that nobody names is the house's
	Quiet     Quiet                            // of the house and of those without their own; its zone is that of every clock time
	Repeat    map[maintenance.Do]time.Duration // say again after so long; none unless set
	Escalate  []Escalation                     // whom to tell when nobody answers; none unless set
	LookAhead *int                             // minutes since local midnight: word of a run that will end in the night; nil: none
	Digest    Schedule                         // nil: no digest
	Weekly    Schedule                         // nil: no word that all is well
	DigestTo  []string                         // the channels that get both
}

// A Person is told on channels of their own, in hours of their own.
type Person struct {
	Name     string
	Channels []string
	Kinds    map[maintenance.Do][]string // on which of them they hear of a kind; "*" is any other; nil: of all on all
	Quiet    Nights                      // none: the house's
}

// AnyKind stands in Kinds for those that are not named.
const AnyKind maintenance.Do = "*"

// Hears are the channels on which a person is told of a kind. Nothing is lost by a table
// with a hole in it: what would reach nobody reaches all their channels. So does a pump
// without oil, unless it has a row of its own.
func (p Person) Hears(do maintenance.Do) []string {
	told, ok := p.Kinds[do]
	if !ok && do != maintenance.DoStopPump {
		told = p.Kinds[AnyKind]
	}
	if len(told) == 0 {
		return p.Channels
	}
	return told
}

// An Escalation is one step when nobody has answered, or said that they have seen it.
// Whoever is named in one is not told of that kind before.
type Escalation struct {
	Do    maintenance.Do
	After time.Duration // since somebody was first told
	Who   string        // a person, or a channel
}

// person is whom a channel belongs to; nil is the house.
func (p Policy) person(channel string) *Person {
	for i := range p.People {
		if slices.Contains(p.People[i].Channels, channel) {
			return &p.People[i]
		}
	}
	return nil
}

// Whose is the name of whoever a channel belongs to; of the house, the channel's own.
func (p Policy) Whose(channel string) string {
	if who := p.person(channel); who != nil {
		return who.Name
	}
	return channel
}

// alongside are the channels that reach the same person, or the house.
func (p Policy) alongside(channel string) []string {
	if who := p.person(channel); who != nil {
		return who.Channels
	}
	return slices.DeleteFunc(slices.Clone(p.Channels), func(c string) bool { return p.person(c) != nil })
}

// nights are the quiet hours of a channel.
func (p Policy) nights(channel string) Nights {
	if who := p.person(channel); who != nil && len(who.Quiet) > 0 {
		return who.Quiet
	}
	return Nights{p.Quiet}
}

// hoursOf names the quiet hours of a channel.
func (p Policy) hoursOf(channel string) string {
	if who := p.person(channel); who != nil {
		return who.Name + "'s quiet hours"
	}
	return "quiet hours"
}

// hears says whether a channel is told of a kind by whoever it belongs to, or because an
// escalation names it.
func (p Policy) hears(channel string, do maintenance.Do) bool {
	who := p.person(channel)
	if e := p.step(channel, do); e != nil && e.Who == channel {
		return true
	}
	return who == nil || slices.Contains(who.Hears(do), channel)
}

// step is the escalation that brings word of a kind to a channel; nil: it is told at once.
func (p Policy) step(channel string, do maintenance.Do) *Escalation {
	for i := range p.Escalate {
		e := &p.Escalate[i]
		if who := p.person(channel); e.Do == do && (e.Who == channel || who != nil && e.Who == who.Name) {
			return e
		}
	}
	return nil
}
