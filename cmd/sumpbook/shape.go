package main

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"sumpbook/maintenance/units"
)

// A shape says which words of a kind stand without a key: names in the order from, to,
// then an amount or a text.
type shape struct {
	kind     string
	short    string
	names    []string // fields; "place" is a pump or a vessel, whichever the book knows
	optional int      // how many of the last names may be left out
	amount   []string // fields that an amount may go to, by its dimension
	rest     string   // field that takes the other words as one text
	examples []string
}

const place = "place"

var weightOrVolume = []string{"grams", "ml"}

// shapes are the everyday acts, in the order of a turn of the oil.
var shapes = []shape{
	{"load", "weight into the chamber, for the running or the next cycle", []string{"pump"}, 0, []string{"grams"}, "",
		[]string{"load north 4kg", "load north trays=820g,790g,805g,785g class=curd"}},
	{"start", "the pump begins to run", []string{"pump"}, 0, nil, "",
		[]string{"start north", "start north trap=-42C ballast=open", "start north what=blank"}},
	{"stop", "the pump comes to rest", []string{"pump"}, 0, nil, "",
		[]string{"stop north", `stop north hot=68C at="20m ago"`}},
	{"yield", "weight out of the chamber, for the last ended cycle", []string{"pump"}, 0, []string{"grams"}, "",
		[]string{"yield north 900g"}},
	{"drain", "oil out of the sump into a vessel", []string{"pump", "to"}, 0, weightOrVolume, "",
		[]string{"drain north jar-3", "drain north jar-3 640g"}},
	{"fill", "oil from a vessel into the sump", []string{"from", "pump"}, 0, weightOrVolume, "",
		[]string{"fill can-1 north", "fill can-1 north 700ml"}},
	{"decant", "the clear oil off the top", []string{"from", "to"}, 0, weightOrVolume, "",
		[]string{"decant jar-3 can-2", "decant jar-3 can-2 580g"}},
	{"filter", "one filter pass", []string{"from", "to"}, 0, weightOrVolume, "",
		[]string{"filter jar-5 can-2 600g minutes=20"}},
	{"freeze", "a vessel goes into the cold to freeze its water", []string{"vessel"}, 0, nil, "",
		[]string{"freeze jar-4"}},
	{"separate", "the ice comes out and is weighed, the oil goes on", []string{"from", "to"}, 0, weightOrVolume, "",
		[]string{"separate jar-4 jar-5 water=42g"}},
	{"pour", "oil from vessel to vessel, well mixed", []string{"from", "to"}, 0, weightOrVolume, "",
		[]string{"pour jar-1 jar-2", "pour jar-1 jar-2 1/2 qt"}},
	{"discard", "oil that leaves for good", []string{"from"}, 0, weightOrVolume, "",
		[]string{`discard waste-1 2kg where="collection point"`}},
	{"weigh", "what is really there", []string{place}, 0, weightOrVolume, "",
		[]string{"weigh jar-1 612g", "weigh north 700ml", "weigh jar-1 gross=1180g"}},
	{"inspect", "how the oil looks, or what a test says", []string{place}, 0, nil, "",
		[]string{"inspect jar-1 look=clear", "inspect north colour=3.5 acid=0.2mg/g"}},
	{"vacuum", "a pressure reading", []string{"pump"}, 0, []string{"pa"}, "",
		[]string{"vacuum north 40mTorr", "vacuum north 3Pa what=cycle"}},
	{"care", "an upkeep task is done", []string{"task", "pump"}, 1, nil, "",
		[]string{"care gasket north"}},
	{"note", "words only", []string{place}, 1, nil, "note",
		[]string{`note north "changed the belt"`, `note "ordered oil"`}},
	{"snooze", "let a reminder wait", []string{"action"}, 0, nil, "until",
		[]string{"snooze drain/north/ID until=+2h", "snooze drain/north/ID tomorrow 07:00"}},
	{"skip", "set an action aside, with the reason", []string{"action"}, 0, nil, "note",
		[]string{`skip decant/jar-3/ID note="thrown away"`}},
	{"lot", "new oil bought, into a vessel", []string{"lot", "vessel"}, 0, weightOrVolume, "",
		[]string{`lot oil-1 can-1 4l grade="VG 68" price=42 currency=EUR`}},
	{"pump", "declares or revises a pump", []string{"pump"}, 0, nil, "",
		[]string{"pump north charge=700ml speed=7m3/h", "pump north limits.air_h=3"}},
	{"vessel", "declares or revises a vessel", []string{"vessel"}, 0, nil, "",
		[]string{"vessel jar-1 capacity=1l height=170mm", "vessel waste-1 waste=yes"}},
	{"medium", "a filter medium; again: a fresh one is in", []string{"medium"}, 0, nil, "",
		[]string{"medium paper"}},
}

// usage is the command line in outline: drain PUMP TO [AMOUNT] [key=value …].
func (s shape) usage() string {
	parts := []string{s.kind}
	for i, name := range s.names {
		word := outline(name)
		if i >= len(s.names)-s.optional {
			word = "[" + word + "]"
		}
		parts = append(parts, word)
	}
	switch {
	case s.needsAmount():
		parts = append(parts, "AMOUNT")
	case s.amount != nil:
		parts = append(parts, "[AMOUNT]")
	}
	if s.rest != "" {
		parts = append(parts, "["+strings.ToUpper(s.rest)+"]")
	}
	return strings.Join(append(parts, "[key=value …]"), " ")
}

// outline is a name as it stands in a usage line.
func outline(name string) string {
	if name == place {
		return "PUMP|VESSEL"
	}
	return strings.ToUpper(name)
}

var keyForm = regexp.MustCompile(`^[a-z][a-z0-9_.]*=`)

// keyed gives every word of the command line its key. isPump says whether a place is a
// pump; it is only asked where the kind takes either.
func (s shape) keyed(words []string, isPump func(name string) (pump, known bool, err error)) ([]string, error) {
	var loose, keyed []string
	for _, word := range words {
		if keyForm.MatchString(word) {
			keyed = append(keyed, word)
		} else {
			loose = append(loose, plainMinus(word))
		}
	}
	var named []string
	for _, name := range s.names {
		if slices.ContainsFunc(keyed, func(word string) bool { return givesName(name, word) }) {
			continue
		}
		if len(loose) == 0 || s.looksLikeAmount(loose[0]) {
			break
		}
		key, taken, err := s.keyOf(name, loose, isPump)
		if err != nil {
			return nil, err
		}
		if taken {
			named = append(named, key+"="+loose[0])
			loose = loose[1:]
		}
	}
	tail, err := s.tail(loose)
	all := append(append(named, tail...), keyed...)
	if err == nil {
		err = s.complete(all)
	}
	return all, err
}

// givesName says whether a keyed word stands for a name.
func givesName(name, word string) bool {
	key, _, _ := strings.Cut(word, "=")
	return key == name || name == place && (key == "pump" || key == "vessel")
}

// keyOf is the field that the next loose word names, or false if it is not a name but the
// beginning of a text.
func (s shape) keyOf(name string, loose []string, isPump func(string) (bool, bool, error)) (string, bool, error) {
	if name != place {
		return name, true, nil
	}
	if s.optional > 0 && len(loose) == 1 { // the text alone
		return "", false, nil
	}
	pump, known, err := isPump(loose[0])
	switch {
	case err != nil:
		return "", false, err
	case pump:
		return "pump", true, nil
	}
	return "vessel", known || s.optional == 0, nil
}

// tail is the amount or the text behind the names.
func (s shape) tail(loose []string) ([]string, error) {
	text := strings.Join(loose, " ")
	switch {
	case text == "":
		return nil, nil
	case s.rest != "":
		return []string{s.rest + "=" + text}, nil
	case s.amount == nil:
		return nil, usage(fmt.Sprintf("%s: %q is one word too many", s.kind, loose[0]), "write: sumpbook "+s.usage())
	}
	fits := s.fields(text)
	switch len(fits) {
	case 1:
		return []string{fits[0] + "=" + text}, nil
	case 0:
		_, err := units.Parse(text, unitOf(s.amount[0], ""))
		if err == nil {
			return nil, usage(fmt.Sprintf("%s: the amount %q has no unit", s.kind, text), "write it like "+s.withUnits(text))
		}
		return nil, usage(fmt.Sprintf("%s: %q is no amount", s.kind, text), "write: sumpbook "+s.usage())
	}
	return nil, usage(fmt.Sprintf("%s: %q may be a weight or a volume", s.kind, text), fmt.Sprintf("write grams=%s or ml=%s", loose[0], loose[0]))
}

// withUnits is an amount in the units that it can have: 640g or 640ml.
func (s shape) withUnits(text string) string {
	all := make([]string, len(s.amount))
	for i, field := range s.amount {
		all[i] = text + string(unitOf(field, fieldOf(s.kind, field).Unit))
	}
	return strings.Join(all, " or ")
}

// fields are those of the amount that a text with its unit can go to.
func (s shape) fields(text string) []string {
	var fits []string
	for _, field := range s.amount {
		if _, err := units.ConvertText(text, unitOf(field, "")); err == nil {
			fits = append(fits, field)
		}
	}
	return fits
}

// looksLikeAmount tells 640g from jar-3 where a name has been left out.
func (s shape) looksLikeAmount(word string) bool { return len(s.fields(word)) > 0 }

// complete refuses a command line that lacks a name.
func (s shape) complete(keyed []string) error {
	for _, name := range s.names[:len(s.names)-s.optional] {
		if !slices.ContainsFunc(keyed, func(word string) bool { return givesName(name, word) }) {
			return usage(fmt.Sprintf("%s: %s is missing", s.kind, outline(name)), "write: sumpbook "+s.usage())
		}
	}
	if s.needsAmount() && !slices.ContainsFunc(keyed, s.givesAmount) {
		return usage(s.kind+": the amount is missing", "write it like: sumpbook "+s.examples[0])
	}
	return nil
}

// needsAmount says whether the kind means nothing without its amount.
func (s shape) needsAmount() bool {
	return s.kind == "weigh" || s.kind == "lot" ||
		slices.ContainsFunc(s.amount, func(field string) bool { return fieldOf(s.kind, field).Must })
}

// givesAmount says whether a keyed word is the amount, or what it can be reckoned from.
func (s shape) givesAmount(word string) bool {
	key, _, _ := strings.Cut(word, "=")
	return slices.Contains(s.amount, key) || stem(key) == "gross" || stem(key) == "trays"
}
