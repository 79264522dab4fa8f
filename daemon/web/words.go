package web

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"sumpbook/maintenance"
	"sumpbook/maintenance/units"
	"sumpbook/notify"
)

// A kindWords words one kind of entry: what happened, the button that says that it has, and
// that button where the vessel can still be chosen. {x} stands for the field x.
type kindWords struct{ past, button, open string }

var words = map[string]kindWords{
	"pump":     {past: "Pump {pump} declared"},
	"vessel":   {past: "Vessel {vessel} declared"},
	"medium":   {"Fresh medium {medium} put in", "Fresh {medium} is in", ""},
	"lot":      {"{lot} bought, in {vessel}", "Oil is bought", ""},
	"weigh":    {past: "{vessel}{pump} weighed"},
	"load":     {past: "{pump} loaded"},
	"start":    {past: "{pump} started"},
	"stop":     {"{pump} stopped", "{pump} is stopped", ""},
	"yield":    {past: "{pump} unloaded"},
	"drain":    {"{pump} drained into {to}", "Drained to {to}", "Drained"},
	"fill":     {"{pump} filled from {from}", "Filled from {from}", "Filled"},
	"pour":     {past: "{from} poured into {to}"},
	"decant":   {"{from} decanted into {to}", "Decanted to {to}", "Decanted"},
	"filter":   {"{from} filtered into {to}", "Filtered into {to}", "Filtered"},
	"freeze":   {"{vessel} put into the cold", "{vessel} is in the cold", ""},
	"separate": {"Ice taken out of {from}, oil into {to}", "Ice out, oil in {to}", "Ice is out"},
	"discard":  {"Oil of {from} gone for good", "{from} is handed in", ""},
	"inspect":  {past: "{vessel}{pump} looked at"},
	"vacuum":   {past: "{pump} vacuum read"},
	"care":     {"Upkeep done: {task}", "Done: {task}", ""},
	"snooze":   {past: "Asked to wait: {action}"},
	"skip":     {past: "Set aside: {action}"},
	"void":     {past: "Withdrawn: {entry}"},
	"note":     {"Note {pump}{vessel}", "Save what I found", ""},
}

var placeholder = regexp.MustCompile(`\{(\w+)\}`)

// fillIn puts the fields of an entry into its words; whole is false if one is missing.
func fillIn(text string, told map[string]jsontext.Value) (filled string, whole bool) {
	whole = true
	filled = placeholder.ReplaceAllStringFunc(text, func(p string) string {
		value, ok := told[p[1:len(p)-1]]
		whole = whole && ok
		return plain(value)
	})
	return strings.TrimSpace(filled), whole
}

// plain is a JSON value as text.
func plain(v jsontext.Value) string {
	if v.Kind() != '"' {
		return string(v)
	}
	b, _ := jsontext.AppendUnquote(nil, v) // from our own encoder
	return string(b)
}

// sentence tells an entry in one line: what happened, and the numbers told with it.
func (v View) sentence(e maintenance.Entry) string {
	told, err := membersOf(e)
	if err != nil || e.Act == nil {
		return "Entry " + e.ID
	}
	for name, value := range told {
		if name == "action" {
			told[name] = quote(v.actionWords(plain(value)))
		}
	}
	if void, ok := e.Act.(*maintenance.VoidAct); ok {
		if target, ok := v.entry(void.Entry); ok {
			return "Withdrawn: " + v.sentence(target)
		}
	}
	text := words[e.Act.Kind()].past
	says, _ := fillIn(text, told)
	for _, f := range maintenance.FieldsOf(e.Act.Kind()) {
		value, ok := told[f.Name]
		if ok && !strings.Contains(text, "{"+f.Name+"}") {
			says += ", " + v.fieldWords(f, value)
		}
	}
	return says
}

// fieldWords is one further field of an entry, as "640 g" or "trap -40 °C".
func (v View) fieldWords(f maintenance.Field, value jsontext.Value) string {
	text := plain(value)
	if n, err := strconv.ParseFloat(text, 64); err == nil {
		text = v.quantity(n, f.Unit)
	}
	if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
		text = v.clock(t)
	}
	if f.Name == "grams" || f.Name == "ml" {
		return text
	}
	return nameWords(f.Name) + " " + text
}

// actionWords names an action by its id, also one that is no longer asked for.
func (v View) actionWords(id string) string {
	if a, ok := v.action(id); ok {
		return notify.Task(a)
	}
	do, rest, _ := strings.Cut(id, "/")
	subject, _, _ := strings.Cut(rest, "/")
	return strings.TrimSpace(strings.ReplaceAll(do, "-", " ") + " " + subject)
}

// quantity writes a number of the book for this person. Long times stay in hours, since the
// limits of the trade are.
func (v View) quantity(value float64, unit string) string {
	return whole(v.figures(value, unit))
}

// whole keeps a number and its unit, or a day and its hour, on one line.
func whole(text string) string { return strings.ReplaceAll(text, " ", "\u00a0") }

func (v View) figures(value float64, unit string) string {
	switch unit {
	case "cycles", "charges", "passes":
		unit = "1"
	case "h":
		if math.Abs(value) >= 48 {
			return strconv.FormatFloat(math.Round(value), 'f', 0, 64) + " h"
		}
	case "K": // a width or a rise, not a temperature
		return strconv.FormatFloat(value, 'g', 3, 64) + " K"
	case "min":
		return notify.Span(time.Duration(value * float64(time.Minute)))
	}
	return units.Format(value, units.Unit(unit), units.System(v.Units))
}

// A fact is one number with its name and what it is held against.
type fact struct{ Name, Value, Limit, Source string }

// ruleWords name the numbers an action rests on, and how the limit stands to them.
var ruleWords = map[string][2]string{
	"drain_cycles":     {"Cycles since the change", "drain at"},
	"drain_run_h":      {"Run hours since the change", "drain at"},
	"drain_water_g":    {"Water carried over", "drain at"},
	"oil_c":            {"Oil now, estimated", "too thick below"},
	"minutes_left":     {"Left of the window", "of"},
	"air_h":            {"Open to air", "of"},
	"ready_oil_g":      {"Ready oil", "the pump takes"},
	"sump_oil_g":       {"Oil in the sump", "it takes"},
	"wait_h":           {"Next oil ready in", ""},
	"settled_h":        {"Has stood", "of"},
	"settled":          {"Settled", "of"},
	"free_water_g":     {"Free water", "ready oil holds at most"},
	"filter_passes":    {"Filter passes", "of"},
	"replace_run_h":    {"Run hours of the oil", "replace at"},
	"replace_uses":     {"Charges served", "replace at"},
	"replace_water_g":  {"Water taken up in all", "replace at"},
	"thermal_h":        {"Thermal hours", "replace at"},
	"colour_rise":      {"Darker than new oil by", "replace at"},
	"acid_rise_mg_g":   {"Acid number over new oil", "replace at"},
	"blank_off_factor": {"Blank-off against new oil", "replace at"},
	"medium_slow":      {"Filter time against fresh", "change at"},
	"waste_full":       {"Waste vessel is full to", "hand in at"},
	"full_fraction":    {"Share of new oil", "of"},
	"sump_ml":          {"Oil in the sump", "low under"},
	"frozen_h":         {"In the cold for", "of"},
	"headspace":        {"Headspace", "ice wants"},
	"new_oil_ml":       {"New oil in stock", "a change takes"},
	"exhaust_g_h":      {"Oil lost with the exhaust", "ask from"},
	"run_h":            {"Has run", "odd from"},
	"cycles":           {"Cycles since it was done", "due at"},
	"days":             {"Since it was done", "due at"},
	"run_hours":        {"Run hours since it was done", "due at"},
}

// shares are the rules whose numbers are read better in percent; spoken are those that have no
// number, but say what they rest on.
var (
	shares = map[string]bool{"settled": true, "waste_full": true, "full_fraction": true, "headspace": true}
	spoken = map[string]string{"unexplained": "Not explained", "declared": "Not declared"}
)

// fact words one reason.
func (v View) fact(r maintenance.Reason) fact {
	if name, ok := spoken[r.Rule]; ok {
		return fact{Name: name, Value: r.Source}
	}
	names, ok := ruleWords[r.Rule]
	if !ok {
		names = [2]string{capital(nameWords(r.Rule)), "limit"}
	}
	value, unit, limit := r.Value, r.Unit, r.Limit
	if shares[r.Rule] {
		value, limit, unit = 100*value, 100*limit, "%"
	}
	if unit == "C" { // an estimate: no tenths
		value, limit = math.Round(value), math.Round(limit)
	}
	f := fact{Name: names[0], Value: v.quantity(value, unit), Source: r.Source}
	if names[1] != "" && !math.IsNaN(r.Limit) {
		f.Limit = names[1] + " " + v.quantity(limit, unit)
	}
	return f
}

// A mark is a state as a glyph and a word; its class is one of the style's.
type mark struct{ Class, Glyph, Word string }

var (
	due     = mark{"due", "▲", "to do now"}
	overdue = mark{"bad", "▲", "overdue"}
	coming  = mark{"wait", "◌", "coming"}
)

// window says how an action stands to its time: a mark, and until when in the person's clock.
func (v View) window(a maintenance.Action) (mark, string) {
	switch {
	case a.State == maintenance.Coming:
		return coming, "opens " + v.clock(a.Opens) + ", " + v.away(a.Opens)
	case a.Closes != nil && v.Now.Before(*a.Closes):
		return due, "until " + v.clock(*a.Closes) + ", " + v.away(*a.Closes)
	case a.State == maintenance.Overdue && a.Due.Equal(a.Opens):
		return due, "since " + v.clock(a.Opens) + ", " + v.away(a.Opens)
	case a.State == maintenance.Overdue:
		return overdue, "since " + v.clock(a.Due) + ", " + v.away(a.Due)
	}
	return due, "by " + v.clock(a.Due) + ", " + v.away(a.Due)
}

// clock is an instant as the clock on this person's wall shows it.
func (v View) clock(t time.Time) string { return whole(notify.Voice{Zone: v.Zone}.When(t, v.Now)) }

func (v View) away(t time.Time) string {
	switch d := t.Sub(v.Now).Round(time.Minute); {
	case d > 0:
		return "in " + whole(notify.Span(d))
	case d < 0:
		return whole(notify.Span(d)) + " ago"
	}
	return "now"
}
