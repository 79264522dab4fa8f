package daemon

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"sumpbook/maintenance"
	"sumpbook/maintenance/signal"
	"sumpbook/notify"
)

// The description that the daemon serves is made here: entries from the fields of their
// kinds, answers from the types that are sent, paths from the table below.

type object = map[string]any

type array = []any

// An operation is what one route does.
type operation struct {
	id, says   string
	parameters []string
	body       string // schema of the request
	answer     string // schema of the answer, or the media type of a text; empty: text/plain
}

var moment = []string{"at", "known_by"}

var operations = map[string]operation{
	"POST /api/v1/entries": {"record", "Tells one entry or a non-empty array of them. They take their places by `at`, and then the book must hold: all are kept or none. The same id with the same content is taken once.",
		[]string{"dry"}, "Entries", "Receipt"},
	"GET /api/v1/entries":         {"entries", "Stored entries by number, as the export prints them.", []string{"after", "limit"}, "", "EntryList"},
	"GET /api/v1/state":           {"state", "Where every gram is.", moment, "", "StateView"},
	"GET /api/v1/actions":         {"actions", "What is to be done, most urgent first.", moment, "", "ActionsView"},
	"GET /api/v1/audit/{pump}":    {"audit", "The history of a pump's oil, newest charge first.", append([]string{"pump"}, moment...), "", "Audit"},
	"GET /api/v1/learn/{pump}":    {"learn", "What a pump has shown of itself: its own factors, and whether a rise of its blank-off pressure is the oil's or the pump's.", append([]string{"pump"}, moment...), "", "LearnView"},
	"GET /api/v1/why":             {"why", "The working behind one action.", append([]string{"action"}, moment...), "", "Working"},
	"GET /api/v1/why-not/{kind}":  {"whyNot", "Why nothing of a kind is asked for, and what became of its reminders.", append([]string{"kind"}, moment...), "", "WhyNotView"},
	"GET /api/v1/notices":         {"notices", "What became of reminders: the newest, or, with `after`, those that follow.", []string{"after", "limit"}, "", "NoticesView"},
	"POST /api/v1/signals/{pump}": {"signals", "Samples of a machine: one, or an array of them.", []string{"pump"}, "Samples", "SignalReceipt"},
	"GET /api/v1/push":            {"push", "Whether reminders can be pushed to the browser that asks, with the key it needs.", nil, "", "PushView"},
	"POST /api/v1/push":           {"subscribe", "A browser's subscription: reminders are pushed to it from now on.", []string{"channel"}, "subscription", "PhonesView"},
	"DELETE /api/v1/push":         {"unsubscribe", "Nothing is pushed to this subscription any more.", []string{"channel"}, "farewell", "PhonesView"},
	"GET /api/v1/openapi.json":    {"description", "This description.", nil, "", "Description"},
	"GET /calendar.ics":           {"calendar", "What is to be done, as an iCalendar feed (RFC 5545): each action one event, with the same UID for life and a SEQUENCE that counts changes of its time and status. What is no longer asked for is CANCELLED for 14 days.", []string{"as", "alarms"}, "", "text/calendar"},
	"GET /calendar/{file}":        {"calendarByToken", "The same at an address that is itself the secret, for programs that cannot show a token; `sumpbook calendar` tells it.", []string{"file", "as", "alarms"}, "", "text/calendar"},
	"GET /healthz":                {"alive", "The daemon is alive.", nil, "", ""},
	"GET /readyz":                 {"ready", "The book is open and whole at its end.", nil, "", ""},
}

var parameters = object{
	"at":       query("as things stood then; now if not told", schemaRef("time")),
	"known_by": query("by what the book had heard by then", schemaRef("time")),
	"after":    query("entries or notices above this number", object{"type": "integer", "minimum": 0}),
	"limit":    query("at most so many", object{"type": "integer", "minimum": 0, "maximum": maxListed, "default": usualList}),
	"dry":      query("1: judge, keep nothing", object{"enum": array{"1"}}),
	"action":   in(query("id of an action", schemaRef("action-id")), "required", true),
	"channel":  query("a channel of type webpush; the only one if not told", schemaRef("name")),
	"pump":     object{"name": "pump", "in": "path", "required": true, "schema": schemaRef("name")},
	"as":       query("todo: tasks (VTODO) in the place of events (VEVENT)", object{"enum": array{"event", "todo"}, "default": "event"}),
	"alarms":   query("1: one alarm for each; many programs leave out alarms of calendars they subscribe to", object{"enum": array{"0", "1"}, "default": "0"}),
	"file":     object{"name": "file", "in": "path", "required": true, "schema": object{"type": "string", "pattern": `^[A-Z2-7]{20,}\.ics$`}},
	"kind":     object{"name": "kind", "in": "path", "required": true, "schema": enum(maintenance.Dos())},
}

func query(says string, schema object) object {
	return object{"in": "query", "description": says, "schema": schema}
}

func in(o object, key string, value any) object {
	o[key] = value
	return o
}

func schemaRef(name string) object { return object{"$ref": "#/components/schemas/" + name} }

func enum[T ~string](words []T) object {
	all := array{}
	for _, w := range words {
		all = append(all, string(w))
	}
	return object{"enum": all}
}

const says = `The book of vacuum-pump oil over HTTP. The last part of a name is its unit; masses are in g, times in h. ` +
	`Errors are RFC 9457 problems. From this machine no login is asked; from elsewhere the token in the data folder is. ` +
	`A foreign Host or Origin is refused. GET changes nothing. Estimates for upkeep: no safety device, no authority on food.`

func document() object {
	for name, p := range parameters {
		p.(object)["name"] = name
	}
	schemas := ownSchemas()
	described := describer{schemas}
	for _, answer := range []any{
		Receipt{}, maintenance.StateView{}, ActionsView{}, maintenance.Audit{}, maintenance.LearnView{}, maintenance.Working{}, WhyNotView{}, NoticesView{}, SignalReceipt{}, PushView{}, PhonesView{}, subscription{}, farewell{}, pushed{}, Problem{},
	} {
		described.schema(reflect.TypeOf(answer))
	}
	return object{
		"openapi":  "3.1.0",
		"info":     object{"title": "sumpbook", "version": "1", "description": says, "license": object{"name": "Apache License 2.0", "identifier": "Apache-2.0"}},
		"servers":  array{object{"url": "http://127.0.0.1:8417"}},
		"security": array{object{}, object{"token": array{}}},
		"paths":    paths(),
		"components": object{
			"schemas": schemas, "parameters": parameters,
			"securitySchemes": object{"token": object{"type": "http", "scheme": "bearer"}},
			"responses":       object{"problem": object{"description": "what is wrong, and what would be right", "content": content("application/problem+json", "Problem")}},
		},
	}
}

func content(kind, schema string) object { return object{kind: object{"schema": schemaRef(schema)}} }

func paths() object {
	all := object{}
	for route, op := range operations {
		method, path, _ := strings.Cut(route, " ")
		if all[path] == nil {
			all[path] = object{}
		}
		all[path].(object)[strings.ToLower(method)] = op.describe()
	}
	return all
}

func (op operation) describe() object {
	good := object{"description": "the answer", "content": object{"text/plain": object{"schema": object{"type": "string"}}}}
	switch {
	case strings.Contains(op.answer, "/"):
		good["content"] = object{op.answer: object{"schema": object{"type": "string"}}}
	case op.answer != "":
		good["content"] = content("application/json", op.answer)
	}
	d := object{"operationId": op.id, "summary": op.says, "responses": object{"200": good, "default": object{"$ref": "#/components/responses/problem"}}}
	if op.answer == "text/calendar" {
		d["responses"].(object)["304"] = object{"description": "what was given before still holds"}
	}
	refs := array{}
	for _, name := range op.parameters {
		refs = append(refs, object{"$ref": "#/components/parameters/" + name})
	}
	if len(refs) > 0 {
		d["parameters"] = refs
	}
	if op.body != "" {
		d["requestBody"] = object{"required": true, "content": content("application/json", op.body)}
	}
	return d
}

// ownSchemas are those that no type of an answer gives.
func ownSchemas() object {
	all := object{
		"name":        object{"type": "string", "pattern": "^[a-z0-9][a-z0-9._-]{0,63}$"},
		"id":          object{"type": "string", "pattern": "^[!-~]{1,200}$"},
		"action-id":   object{"type": "string", "pattern": "^[!-~]{1,400}$"},
		"action":      object{"type": "string", "pattern": "^[!-~]{1,400}$"},
		"text":        object{"type": "string", "maxLength": 2000},
		"time":        object{"type": "string", "format": "date-time", "description": "RFC 3339, from 1970 on"},
		"hash":        object{"type": "string", "pattern": "^[0-9a-f]{64}$"},
		"limits":      limitsSchema(),
		"EntryList":   object{"type": "array", "items": schemaRef("Entry")},
		"Samples":     object{"oneOf": array{schemaRef("pushed"), object{"type": "array", "items": schemaRef("pushed"), "minItems": 1, "maxItems": maxPushed}}},
		"Description": object{"type": "object"},
	}
	var kinds array
	mapping := object{}
	for _, kind := range maintenance.Kinds() {
		name := "entry-" + kind
		all[name] = entrySchema(kind)
		kinds = append(kinds, schemaRef(name))
		mapping[kind] = schemaRef(name)["$ref"]
	}
	all["Draft"] = object{"type": "object", "required": array{"kind"}, "properties": object{"kind": enum(maintenance.Kinds())}, "additionalProperties": true,
		"description": "an entry ready to be added at the time of telling; without what only a person can know, such as the vessel where none is ready"}
	all["Entry"] = object{"oneOf": kinds, "discriminator": object{"propertyName": "kind", "mapping": mapping}}
	all["Entries"] = object{"oneOf": array{schemaRef("Entry"), object{"type": "array", "items": schemaRef("Entry"), "minItems": 1}}}
	return all
}

func limitsSchema() object {
	properties := object{}
	for _, l := range maintenance.LimitSpecs() {
		p := object{"type": "number", "minimum": l.Low, "maximum": l.High, "description": fmt.Sprintf("%s, %s; %s", l.Meaning, l.Unit, l.Source)}
		if l.Default != nil {
			p["default"] = *l.Default
		}
		properties[l.Key] = p
	}
	return object{"type": "object", "properties": properties, "additionalProperties": false}
}

func entrySchema(kind string) object {
	properties := object{"kind": object{"const": kind}, "id": schemaRef("id"), "at": schemaRef("time"), "note": schemaRef("text"), "by": schemaRef("text")}
	for name, s := range map[string]object{"seq": {"type": "integer", "minimum": 0}, "recorded": schemaRef("time"), "prev": schemaRef("hash"), "hash": schemaRef("hash")} {
		properties[name] = in(s, "readOnly", true)
	}
	required := array{"kind"}
	for _, f := range maintenance.FieldsOf(kind) {
		properties[f.Name] = fieldSchema(kind, f)
		if f.Must {
			required = append(required, f.Name)
		}
	}
	s := object{"type": "object", "properties": properties, "required": required, "additionalProperties": false}
	maps.Copy(s, wholes(kind, properties))
	return s
}

// wholes are the rules between fields.
func wholes(kind string, properties object) object {
	oneOf := func(names ...string) object { return object{"oneOf": needing(names...)} }
	amounts := object{}
	if properties["ml"] != nil {
		amounts = object{"dependentRequired": object{"temp_c": array{"ml"}}, "not": object{"required": array{"grams", "ml"}}}
	}
	switch kind {
	case "weigh":
		return object{"dependentRequired": amounts["dependentRequired"], "not": object{"required": array{"gross_g", "pump"}},
			"allOf": array{oneOf("vessel", "pump"), oneOf("grams", "ml", "gross_g")}}
	case "drain":
		delete(amounts, "dependentRequired") // its temperature alone teaches how the pump cools
	case "lot":
		amounts["anyOf"] = needing("grams", "ml")
	case "inspect":
		return in(oneOf("vessel", "pump"), "anyOf", needing("colour", "look", "acid_mg_g", "water_ppm", "particles"))
	case "note", "skip":
		properties["note"] = object{"type": "string", "minLength": 1, "maxLength": 2000}
		return object{"anyOf": needing("note")}
	}
	return amounts
}

func needing(names ...string) array {
	all := array{}
	for _, name := range names {
		all = append(all, object{"required": array{name}})
	}
	return all
}

func fieldSchema(kind string, f maintenance.Field) object {
	s := object{}
	switch f.Type {
	case reflect.TypeFor[*float64]():
		s = numberSchema(kind, f)
	case reflect.TypeFor[[]float64]():
		s = object{"type": "array", "items": numberSchema(kind, f), "maxItems": 100}
	case reflect.TypeFor[*bool]():
		s["type"] = "boolean"
	case reflect.TypeFor[time.Time]():
		s = schemaRef("time")
	case reflect.TypeFor[*maintenance.Limits]():
		s = schemaRef("limits")
	default:
		s = textSchema(kind, f)
	}
	return in(s, "description", strings.TrimSuffix(f.Doc+"; "+f.Unit, "; "))
}

func numberSchema(kind string, f maintenance.Field) object {
	s := object{"type": "number"}
	if f.Range != "" {
		var low, high float64
		_, err := fmt.Sscanf(strings.ReplaceAll(strings.Trim(f.Range, "[]()"), ",", " "), "%g %g", &low, &high)
		if err != nil {
			panic(kind + "." + f.Name + ": " + err.Error())
		}
		s["minimum"], s["maximum"] = low, high
		if f.Range[0] == '(' {
			delete(s, "minimum")
			s["exclusiveMinimum"] = low
		}
	}
	if tagOf(kind, f.Name, "step") != "" {
		s["multipleOf"] = 0.5 // the only step there is; the law below would notice another
	}
	return s
}

func textSchema(kind string, f maintenance.Field) object {
	switch {
	case len(f.OneOf) > 0:
		return enum(f.OneOf)
	case tagOf(kind, f.Name, "name") != "":
		return schemaRef("name")
	case tagOf(kind, f.Name, "id") == "action":
		return schemaRef("action-id")
	case tagOf(kind, f.Name, "id") == "action":
		return schemaRef("action")
	case tagOf(kind, f.Name, "id") != "":
		return schemaRef("id")
	case tagOf(kind, f.Name, "code") != "":
		return object{"type": "string", "pattern": `^(\d|1\d|2[0-8])/(\d|1\d|2[0-8])/(\d|1\d|2[0-8])$`}
	}
	return schemaRef("text")
}

// tagOf reads a struct tag of a kind's field.
func tagOf(kind, name, tag string) string {
	act, _ := maintenance.NewAct(kind)
	for _, f := range reflect.VisibleFields(reflect.TypeOf(act).Elem()) {
		if f.Tag.Get("json") == name {
			return f.Tag.Get(tag)
		}
	}
	return ""
}

// A describer makes schemas of types, those of structs under their names.
type describer struct{ named object }

var words = map[reflect.Type]object{
	reflect.TypeFor[maintenance.Do]():          enum(maintenance.Dos()),
	reflect.TypeFor[maintenance.ActionState](): enum([]maintenance.ActionState{maintenance.Coming, maintenance.Open, maintenance.Overdue}),
	reflect.TypeFor[notify.Stage]():            enum([]notify.Stage{notify.Opened, notify.Again, notify.Closing, notify.Overdue, notify.Done, notify.Daily, notify.Weekly}),
	reflect.TypeFor[notify.Outcome]():          enum([]notify.Outcome{notify.Held, notify.Attempted, notify.Delivered, notify.Retry, notify.GaveUp, notify.Superseded, notify.Seen, notify.Wake, notify.Answered}),
	reflect.TypeFor[notify.Reply]():            enum([]notify.Reply{notify.ReplyDone, notify.ReplyHour, notify.ReplyTonight, notify.ReplySkip, notify.ReplySeen, notify.ReplyWake}),
	reflect.TypeFor[signal.Phase]():            enum([]signal.Phase{signal.Unknown, signal.Idle, signal.Starting, signal.Running, signal.Ending}),
	reflect.TypeFor[time.Time]():               schemaRef("time"),
	reflect.TypeFor[maintenance.Entry]():       schemaRef("Entry"),
}

func (d describer) schema(t reflect.Type) object {
	if s := words[t]; s != nil {
		return maps.Clone(s)
	}
	switch t.Kind() {
	case reflect.Pointer:
		return object{"anyOf": array{d.schema(t.Elem()), object{"type": "null"}}}
	case reflect.Slice:
		return object{"type": "array", "items": d.schema(t.Elem())}
	case reflect.Map:
		return object{"type": "object", "additionalProperties": d.schema(t.Elem())}
	case reflect.String:
		return object{"type": "string"}
	case reflect.Bool:
		return object{"type": "boolean"}
	case reflect.Float64:
		return object{"type": "number"}
	case reflect.Int, reflect.Int64, reflect.Uint64:
		return object{"type": "integer"}
	case reflect.Struct:
		return d.structure(t)
	}
	panic("no schema for " + t.String())
}

func (d describer) structure(t reflect.Type) object {
	if d.named[t.Name()] == nil {
		properties, required := object{}, array{}
		s := object{"type": "object", "properties": properties} // answers may gain members
		d.named[t.Name()] = s
		asked := t == reflect.TypeFor[pushed]()
		if asked {
			s["additionalProperties"] = false
		}
		for _, f := range reflect.VisibleFields(t) {
			name, option, _ := strings.Cut(f.Tag.Get("json"), ",")
			if name == "" || name == "-" {
				continue
			}
			properties[name] = d.schema(f.Type)
			if t == reflect.TypeFor[maintenance.Action]() && name == "record" {
				properties[name] = schemaRef("Draft")
			}
			if option == "" && !asked {
				required = append(required, name)
			}
		}
		if len(required) > 0 {
			s["required"] = required
		}
	}
	return schemaRef(t.Name())
}

// layout writes a document with a line for each member down to a depth; the rest of each is
// on that line.
func layout(b []byte, v any, level, depth int) []byte {
	o, branch := v.(object)
	if !branch || level == depth || len(o) == 0 {
		leaf, err := json.Marshal(v, json.Deterministic(true))
		if err != nil {
			panic(err)
		}
		return append(b, leaf...)
	}
	b = append(b, '{')
	for i, name := range slices.Sorted(maps.Keys(o)) {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(append(append(b, '\n'), strings.Repeat(" ", level+1)...), fmt.Sprintf("%q: ", name)...)
		b = layout(b, o[name], level+1, depth)
	}
	return append(append(append(b, '\n'), strings.Repeat(" ", level)...), '}')
}
