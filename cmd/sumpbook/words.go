package main

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"sumpbook/maintenance"
	"sumpbook/maintenance/units"
)

// A wording turns words of a command line into an entry. What it cannot read is a
// *maintenance.Rejection, a word without its key wrong usage; the finished JSON goes through maintenance.Decode, so that every
// check and message is the one of the wire.
type wording struct {
	now  time.Time
	zone *time.Location
}

// A member is one field of the entry to be, its value as JSON.
type member struct {
	name  string
	value []byte
}

// entry reads the "key=value" words of a kind. An entry told without a time happened now.
func (w wording) entry(kind string, words []string) (maintenance.Entry, error) {
	if _, known := maintenance.NewAct(kind); !known {
		return maintenance.Entry{}, unknownKind(kind)
	}
	members, err := w.members(kind, words)
	if err != nil {
		return maintenance.Entry{}, err
	}
	e, err := maintenance.Decode(object(kind, members))
	if err == nil && e.At.IsZero() {
		e.At = w.now
	}
	return e, err
}

func unknownKind(kind string) error {
	return &maintenance.Rejection{Field: "kind", Says: strconv.Quote(kind) + " is no kind of entry", Hint: suggest(kind, maintenance.Kinds())}
}

// object writes the members as one JSON object; limits are gathered in an object of their own.
func object(kind string, members []member) []byte {
	var limits []member
	b := quote([]byte(`{"kind":`), kind)
	for _, m := range members {
		if inner, ok := strings.CutPrefix(m.name, limitPrefix); ok {
			limits = append(limits, member{inner, m.value})
			continue
		}
		b = pair(append(b, ','), m)
	}
	if len(limits) > 0 {
		b = append(b, `,"limits":`...)
		for i, m := range limits {
			b = pair(append(b, "{,"[min(i, 1)]), m)
		}
		b = append(b, '}')
	}
	return append(b, '}')
}

func pair(b []byte, m member) []byte {
	return append(append(quote(b, m.name), ':'), m.value...)
}

func quote(b []byte, s string) []byte {
	b, _ = jsontext.AppendQuote(b, strings.ToValidUTF8(s, "\uFFFD")) // only bad UTF-8 can fail
	return b
}

func (w wording) members(kind string, words []string) ([]member, error) {
	slots := slotsOf(kind)
	base := w.toldTime(words)
	all := make([]member, 0, len(words))
	for _, word := range words {
		key, text, ok := strings.Cut(word, "=")
		if !ok {
			return nil, usage(fmt.Sprintf("%q is no key=value", word), "write what it is: "+keyFor(slots, word, words))
		}
		s, mustUnit, err := slots.find(kind, key)
		if err != nil {
			return nil, err
		}
		value, err := w.value(s, text, base, mustUnit)
		if err != nil {
			return nil, &maintenance.Rejection{Field: s.name, Says: err.Error(), Hint: "give " + s.want}
		}
		all = append(all, member{s.name, value})
	}
	return withSum(all), nil
}

// withSum adds the weight in or out where only its trays were told.
func withSum(all []member) []member {
	var trays []float64
	for _, m := range all {
		switch m.name {
		case "grams":
			return all
		case "trays_g":
			_ = json.Unmarshal(m.value, &trays) // our own list of numbers
		}
	}
	if trays == nil {
		return all
	}
	sum := 0.0
	for _, g := range trays {
		sum += g
	}
	return append(all, member{"grams", strconv.AppendFloat(nil, sum, 'f', -1, 64)})
}

// toldTime is when the entry happened, from which "until=+2h" counts.
func (w wording) toldTime(words []string) time.Time {
	for _, word := range words {
		if text, ok := strings.CutPrefix(word, "at="); ok {
			if t, err := units.ParseTime(text, w.now, w.zone); err == nil { // else it is refused in its place
				return t
			}
		}
	}
	return w.now
}

// value reads one text as its slot wants it, into JSON.
func (w wording) value(s slot, text string, base time.Time, mustUnit bool) ([]byte, error) {
	switch s.form {
	case aNumber:
		return s.number(text, mustUnit)
	case aList:
		return s.list(text, mustUnit)
	case aFlag:
		return truth(text)
	case aPast:
		return instant(units.ParseTime(text, w.now, w.zone))
	case aFuture:
		return instant(units.ParseFuture(text, base, w.zone))
	}
	return quote(nil, text), nil
}

func instant(t time.Time, err error) ([]byte, error) {
	if err != nil {
		return nil, err
	}
	return quote(nil, t.Format(time.RFC3339Nano)), nil
}

func truth(text string) ([]byte, error) {
	switch strings.ToLower(text) {
	case "yes", "true":
		return []byte("true"), nil
	case "no", "false":
		return []byte("false"), nil
	}
	return nil, fmt.Errorf("%q is neither yes nor no", text)
}

func (s slot) number(text string, mustUnit bool) ([]byte, error) {
	read := units.Parse
	if mustUnit {
		read = units.ConvertText
	}
	v, err := read(text, s.unit)
	if err != nil {
		return nil, err
	}
	return strconv.AppendFloat(nil, v, 'f', -1, 64), nil
}

// list reads numbers with commas between: a decimal comma has no place here.
func (s slot) list(text string, mustUnit bool) ([]byte, error) {
	var parts [][]byte
	for one := range strings.SplitSeq(text, ",") {
		part, err := s.number(one, mustUnit)
		if err != nil {
			return nil, err
		}
		parts = append(parts, part)
	}
	return append(append([]byte{'['}, bytes.Join(parts, []byte{','})...), ']'), nil
}

// A form is the way in which a value is written.
type form int

const (
	aText form = iota
	aNumber
	aList
	aFlag
	aPast
	aFuture
)

// A slot is one key that a kind takes.
type slot struct {
	name string // as in JSON; limits.KEY for one of the limits
	form form
	unit units.Unit // of numbers; "1" if they have none
	want string     // what a right value is
}

const limitPrefix = "limits."

type slots []slot

// slotsOf lists the keys of a kind, those that every entry has first.
func slotsOf(kind string) slots {
	all := slots{
		{name: "id", want: "1 to 200 visible characters without blanks"},
		{name: "at", form: aPast, want: "a time such as 21:40, 20m ago or 2026-11-24 20:24"},
		{name: "note", want: "text of at most 2000 characters"},
		{name: "by", want: "text of at most 2000 characters"},
	}
	for _, f := range maintenance.FieldsOf(kind) {
		if f.Type == reflect.TypeFor[*maintenance.Limits]() {
			all = append(all, limitSlots()...)
			continue
		}
		all = append(all, slot{f.Name, formOf(f.Type), unitOf(f.Name, f.Unit), f.Want()})
	}
	return all
}

func limitSlots() slots {
	var all slots
	for _, l := range maintenance.LimitSpecs() {
		want := strings.TrimSpace(fmt.Sprintf("a number from %v to %v %s", l.Low, l.High, strings.TrimPrefix(l.Unit, "1")))
		all = append(all, slot{limitPrefix + l.Key, aNumber, unitOf(l.Key, l.Unit), want})
	}
	return all
}

func formOf(t reflect.Type) form {
	switch t {
	case reflect.TypeFor[*float64]():
		return aNumber
	case reflect.TypeFor[[]float64]():
		return aList
	case reflect.TypeFor[*bool]():
		return aFlag
	case reflect.TypeFor[time.Time]():
		return aFuture
	}
	return aText
}

// unitOf is the unit of a number: the one documented, else the one its name ends in.
func unitOf(name, documented string) units.Unit {
	if u, ok := units.UnitOf(documented); ok {
		return u
	}
	if u, ok := units.OfKey(name); ok {
		return u
	}
	return "1"
}

// stem is a key without its unit: water of water_g, speed of speed_m3_h.
func stem(name string) string {
	for i := range name {
		if name[i] != '_' {
			continue
		}
		if _, ok := units.UnitOf(name[i+1:]); ok {
			return name[:i]
		}
	}
	return name
}

// find gives the slot that a key means. A key told without its unit wants the unit in the
// value.
func (all slots) find(kind, key string) (s slot, mustUnit bool, err error) {
	var stems []slot
	for _, s := range all {
		switch {
		case s.name == key:
			return s, false, nil
		case stem(s.name) == key && (s.form == aNumber || s.form == aList):
			stems = append(stems, s)
		}
	}
	if len(stems) == 1 {
		return stems[0], true, nil
	}
	says := fmt.Sprintf("a %s has no %q", kind, key)
	return slot{}, false, &maintenance.Rejection{Field: key, Says: says, Hint: suggest(key, all.names())}
}

func (all slots) names() []string {
	names := make([]string, len(all))
	for i, s := range all {
		names[i] = s.name
	}
	return names
}

// keyFor gives a word without a key one to show; a word that is a key itself gets the word
// behind it.
func keyFor(all slots, word string, words []string) string {
	const common = 4
	if i := slices.Index(words, word) + 1; slices.Contains(all.names(), word) {
		if i < len(words) && !strings.Contains(words[i], "=") {
			return word + "=" + words[i]
		}
		return word + "=…"
	}
	if len(all) > common {
		return all[common].name + "=" + word
	}
	return "note=" + word
}
