package notify

import (
	"cmp"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"sumpbook/maintenance"
)

// Task names what to do, and with which pump or vessel, in a few words: "Drain north".
func Task(a maintenance.Action) string {
	pump, vessel := nameOr(a.Pump, "the pump"), nameOr(a.Vessel, "the vessel")
	switch a.Do {
	case maintenance.DoStopPump:
		return "Stop " + pump
	case maintenance.DoDrain:
		return "Drain " + pump + into(a)
	case maintenance.DoFill:
		return "Fill " + pump + from(a)
	case maintenance.DoTopUp:
		return "Top up " + pump + from(a)
	case maintenance.DoReplace:
		return "Put new oil into " + pump
	case maintenance.DoDecant:
		return "Decant " + vessel + into(a)
	case maintenance.DoSeparate:
		return "Take the ice out of " + vessel
	case maintenance.DoFreeze:
		return "Put " + vessel + " into the cold"
	case maintenance.DoFilter:
		return "Filter " + vessel + into(a)
	case maintenance.DoHandIn:
		return "Hand in the used oil in " + vessel
	case maintenance.DoBuyOil:
		return "Buy oil"
	}
	return upkeep(a)
}

func upkeep(a maintenance.Action) string {
	subject := subjectOf(a)
	switch a.Do {
	case maintenance.DoChangeMedium:
		return "Put in a fresh filter medium (" + subject + ")"
	case maintenance.DoCare:
		if care, ok := a.Record.Act.(*maintenance.CareAct); ok {
			subject = care.Task
		}
		if a.Pump != nil {
			subject += " of " + *a.Pump
		}
		return "Upkeep: " + subject
	case maintenance.DoCheck:
		return "Check " + subject
	}
	return string(a.Do) + " " + subject
}

func nameOr(name *string, other string) string {
	if name == nil || *name == "" {
		return other
	}
	return *name
}

// subjectOf is the pump or the vessel, or else what the id names.
func subjectOf(a maintenance.Action) string {
	_, rest, _ := strings.Cut(a.ID, "/")
	subject, _, _ := strings.Cut(rest, "/")
	return nameOr(a.Pump, nameOr(a.Vessel, subject))
}

// from names the vessel to fill from.
func from(a maintenance.Action) string {
	vessel := nameOr(a.Vessel, "")
	if fill, ok := a.Record.Act.(*maintenance.FillAct); ok {
		vessel = fill.From
	}
	return named(" from ", vessel)
}

// into names the vessel that takes the oil.
func into(a maintenance.Action) string {
	switch act := a.Record.Act.(type) {
	case *maintenance.DrainAct:
		return named(" into ", act.To)
	case *maintenance.DecantAct:
		return named(" into ", act.To)
	case *maintenance.FilterAct:
		return named(" into ", act.To)
	}
	return ""
}

func named(word, name string) string {
	if name == "" {
		return ""
	}
	return word + name
}

func capitalized(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

func lowered(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToLower(r)) + s[n:]
}

// everyday are the kinds with a command of their own, and the names it takes in order.
var everyday = map[string][]string{
	"drain": {"pump", "to"}, "fill": {"from", "pump"}, "pour": {"from", "to"}, "decant": {"from", "to"},
	"filter": {"from", "to"}, "separate": {"from", "to"}, "start": {"pump"}, "stop": {"pump"},
	"freeze": {"vessel"}, "discard": {"from"},
}

// Command is the command line that records an entry now: "sumpbook drain north jar-3 640g".
// What the entry leaves open stands there in capitals. It is empty for an
// entry without an act.
func Command(e maintenance.Entry) string {
	if e.Act == nil {
		return ""
	}
	var told map[string]jsontext.Value
	if json.Unmarshal(maintenance.Encode(e), &told) != nil {
		return ""
	}
	kind := e.Act.Kind()
	words := []string{"sumpbook", kind}
	names, short := everyday[kind]
	if !short {
		words = []string{"sumpbook", "add", kind}
	}
	taken := map[string]bool{}
	for _, name := range names {
		words = append(words, wordOf(told[name], blanks[name]))
		taken[name] = true
	}
	words = append(words, fieldWords(e.Act.Kind(), told, taken, short)...)
	if e.Note != "" {
		words = append(words, "note="+quoted(e.Note))
	}
	return strings.Join(words, " ")
}

// fieldWords are the fields that are no names, the amount first and without its key.
func fieldWords(kind string, told map[string]jsontext.Value, taken map[string]bool, short bool) []string {
	var amount, rest []string
	for _, f := range maintenance.FieldsOf(kind) {
		value, ok := told[f.Name]
		if taken[f.Name] || !ok && !f.Must {
			continue
		}
		unit, isAmount := map[string]string{"grams": "g", "ml": "ml"}[f.Name]
		if short && isAmount {
			amount = append(amount, wordOf(value, "")+unit)
			continue
		}
		rest = append(rest, f.Name+"="+wordOf(value, cmp.Or(blanks[f.Unit], blanks[f.Name], "WHAT")))
	}
	return append(amount, rest...)
}

// blanks stand where the entry leaves something for the person to say.
var blanks = map[string]string{"pump": "PUMP", "vessel": "VESSEL", "to": "VESSEL", "from": "VESSEL", "g": "GRAMS"}

func wordOf(value jsontext.Value, blank string) string {
	switch value.Kind() {
	case 0:
		return blank
	case '"':
		text, _ := jsontext.AppendUnquote(nil, value)
		return quoted(string(text))
	}
	return quoted(string(value))
}

// quoted is a word as a shell takes it.
func quoted(s string) string {
	plain := func(r rune) bool {
		return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("._-+:/,", r)
	}
	if s != "" && strings.IndexFunc(s, func(r rune) bool { return !plain(r) }) < 0 {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}
