package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"sumpbook/maintenance"
	"sumpbook/maintenance/units"
)

// A sort is how an input is typed and read.
type sort string

const (
	sortVessel sort = "vessel" // one of the vessels on the book
	sortAmount sort = "amount" // a mass or a volume, with the input "unit" beside it
	sortNumber sort = "number" // in the unit beside it
	sortLine   sort = "line"   // a short text
	sortWords  sort = "words"  // a longer text
	sortWhen   sort = "when"   // a time that people write; empty or "now": the time of the telling
)

// An input is one field of a form. Its name is that of the entry's field, but for amount
// (grams or ml) and when (at).
type input struct {
	name, label string
	sort        sort
	must        bool
	unit, us    units.Unit // of a number: as stored, and as people with US units read it
	hint        string
}

var (
	when   = input{name: "when", label: "When", sort: sortWhen, hint: "or 20m ago, 21:40"}
	amount = input{name: "amount", label: "Amount", sort: sortAmount}
	all    = input{name: "amount", label: "Amount", sort: sortAmount, hint: "empty means all of it"}
	into   = input{name: "to", label: "Into", sort: sortVessel, must: true}
)

// inputs are the kinds a form may record, and what of each is typed. All else of the entry
// comes from the action, not from the browser.
var inputs = map[string][]input{
	"stop":     {{name: "hot_c", label: "Oil temperature, if measured", sort: sortNumber, unit: units.Celsius, us: "F"}, when},
	"drain":    {into, {name: "amount", label: "Amount", sort: sortAmount, hint: "empty means all but the heel"}, when},
	"fill":     {{name: "from", label: "From", sort: sortVessel, must: true}, {name: "amount", label: "Amount", sort: sortAmount, hint: "empty means up to the charge"}, when},
	"decant":   {into, amount, when},
	"filter":   {into, all, {name: "minutes", label: "How long it took, if timed", sort: sortNumber, unit: units.Minute, us: units.Minute}, when},
	"freeze":   {when},
	"separate": {into, {name: "water_g", label: "Ice taken out, weighed", sort: sortNumber, must: true, unit: units.Gram, us: "oz"}, all, when},
	"medium":   {when},
	"discard":  {all, {name: "where", label: "Where to", sort: sortLine}, when},
	"lot": {{name: "lot", label: "Name of the purchase", sort: sortLine, must: true}, {name: "vessel", label: "Vessel it is in", sort: sortLine, must: true},
		{name: "amount", label: "Amount", sort: sortAmount, must: true}, when},
	"note":   {{name: "note", label: "What you found", sort: sortWords, must: true}, when},
	"care":   {when},
	"snooze": {},
	"skip":   {{name: "note", label: "Why", sort: sortWords, must: true}},
	"void":   {},
}

// over lays the inputs of a form over an entry and reads the whole as the book reads any
// entry, so that what is refused there is refused here.
func (f form) over(base maintenance.Entry, v View) (maintenance.Entry, error) {
	base.ID, base.Seq, base.Recorded, base.Prev, base.Hash = f.key, 0, time.Time{}, "", ""
	told, err := membersOf(base)
	if err != nil {
		return base, err
	}
	for _, in := range inputs[f.kind] {
		if _, is := f.typed[in.name]; f.partial && !is {
			continue
		}
		if err := in.read(f.typed, told, v); err != nil {
			return base, err
		}
	}
	line, err := json.Marshal(told)
	if err != nil {
		return base, fmt.Errorf("write the entry of a form: %w", err)
	}
	return maintenance.Decode(line)
}

// membersOf are the fields of an entry as its JSON has them.
func membersOf(e maintenance.Entry) (map[string]jsontext.Value, error) {
	var told map[string]jsontext.Value
	if err := json.Unmarshal(maintenance.Encode(e), &told); err != nil {
		return nil, fmt.Errorf("read the fields of an entry: %w", err)
	}
	return told, nil
}

// read puts one typed input into the entry's fields.
func (in input) read(typed map[string]string, told map[string]jsontext.Value, v View) error {
	text := typed[in.name]
	if text == "" && in.must {
		return mistake(in.name, "this is needed", "fill it in")
	}
	switch in.sort {
	case sortWhen:
		return readWhen(text, told, v)
	case sortAmount:
		return readAmount(text, typed["unit"], told)
	}
	if text == "" {
		delete(told, in.name)
		return nil
	}
	switch in.sort {
	case sortNumber:
		return in.readNumber(text, told, v)
	case sortVessel:
		if err := knownVessel(in.name, text, v); err != nil {
			return err
		}
	}
	told[in.name] = quote(text)
	return nil
}

func mistake(field, says, hint string) *maintenance.Rejection {
	return &maintenance.Rejection{Field: field, Says: says, Hint: hint}
}

func quote(text string) jsontext.Value {
	b, _ := jsontext.AppendQuote(nil, text) // the form was refused if it is no text
	return b
}

func number(value float64) jsontext.Value {
	return jsontext.Value(strconv.FormatFloat(value, 'f', -1, 64))
}

// readWhen leaves an entry that was saved before at its time if the text counts from now:
// the second sending of "20m ago" means what the first did.
func readWhen(text string, told map[string]jsontext.Value, v View) error {
	now := text == "" || strings.EqualFold(text, "now")
	_, saved := told["at"]
	if saved && (now || strings.HasSuffix(strings.ToLower(text), " ago")) {
		return nil
	}
	if now {
		return nil
	}
	t, err := units.ParseTime(text, v.Now, v.Zone)
	if err != nil {
		return mistake("when", "this time is not understood", "write it like now, 20m ago, 21:40, yesterday 21:40 or 2026-11-24 20:24")
	}
	told["at"] = quote(t.Format(time.RFC3339Nano))
	return nil
}

// amountUnits are what an amount may be typed in, the preferred mass and volume first.
func amountUnits(system units.System) []units.Unit {
	if system == units.US {
		return []units.Unit{"oz", "fl oz", "lb", "qt"}
	}
	return []units.Unit{units.Gram, units.Millilitre}
}

// readAmount takes a number in the unit beside it, or a text that names its own.
func readAmount(text, beside string, told map[string]jsontext.Value) error {
	delete(told, "grams")
	delete(told, "ml")
	delete(told, "temp_c")
	if text == "" {
		return nil
	}
	unit := units.Unit(beside)
	if !slices.Contains(amountUnits(units.Metric), unit) && !slices.Contains(amountUnits(units.US), unit) {
		return mistake("amount", "the unit is not one of the form's", "choose one of the units beside the amount")
	}
	value, err := units.Parse(text, unit)
	if err != nil {
		if value, unit, err = units.ParseAny(text); err != nil || unit.Dimension() != units.Mass && unit.Dimension() != units.Volume {
			return mistake("amount", "this is not an amount of oil", "write it like 640, 0.7 l or 1.4 lb")
		}
	}
	if value <= 0 {
		return mistake("amount", "an amount is more than nothing", "write what was moved, like 640")
	}
	field, stored := "grams", units.Gram
	if unit.Dimension() == units.Volume {
		field, stored = "ml", units.Millilitre
	}
	if value, err = units.Convert(value, unit, stored); err != nil {
		return mistake("amount", "the amount is out of range", "write what was moved, like 640")
	}
	told[field] = number(thousandths(value))
	return nil
}

// thousandths is as fine as the book counts; what is less stays what it is, to be refused.
func thousandths(value float64) float64 {
	if math.Abs(value) < 0.001 {
		return value
	}
	return math.Round(value*1000) / 1000
}

func (in input) readNumber(text string, told map[string]jsontext.Value, v View) error {
	unit := in.shownIn(v)
	value, err := units.Parse(text, unit)
	if err == nil {
		value, err = units.Convert(value, unit, in.unit)
	}
	if err != nil {
		return mistake(in.name, "this is not a number here", "write a number in "+shown(unit))
	}
	told[in.name] = number(thousandths(value))
	return nil
}

// shownIn is the unit in which a number is asked.
func (in input) shownIn(v View) units.Unit {
	if units.System(v.Units) == units.US {
		return in.us
	}
	return in.unit
}

// shown is a unit as it stands beside a number.
func shown(u units.Unit) string {
	if u.Dimension() == units.Temperature {
		return "°" + string(u)
	}
	return string(u)
}

func knownVessel(field, name string, v View) error {
	var known []string
	for _, w := range v.State.Vessels {
		if w.Vessel == name {
			return nil
		}
		known = append(known, w.Vessel)
	}
	return mistake(field, "no vessel on the book has this name", "known vessels are "+strings.Join(known, ", "))
}

// numberOf reads a JSON number; false if there is none.
func numberOf(v jsontext.Value) (float64, bool) {
	n, err := strconv.ParseFloat(string(v), 64)
	return n, err == nil
}

// typed is a stored number as it is prefilled in the unit beside it: to a tenth, or three
// figures if it is small.
func (v View) typed(n float64, stored, beside units.Unit) string {
	n, err := units.Convert(n, stored, beside)
	if err != nil {
		return ""
	}
	if math.Abs(n) < 1 {
		return strconv.FormatFloat(n, 'g', 3, 64)
	}
	return strconv.FormatFloat(math.Round(n*10)/10, 'f', -1, 64)
}
