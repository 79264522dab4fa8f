package main

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"sumpbook/maintenance"
	"sumpbook/maintenance/units"
)

// echo is an entry as a person reads it back: "drain north jar-3 640 g, temp 62 °C". The
// words stand as in the command; what has a key there has its name here.
func (r reader) echo(e maintenance.Entry) string {
	var told map[string]jsontext.Value
	if e.Act == nil || json.Unmarshal(maintenance.Encode(e), &told) != nil {
		return "entry"
	}
	kind := e.Act.Kind()
	words, more := []string{kind}, []string{}
	lead := leading(kind)
	for _, name := range lead {
		if value, ok := told[name]; ok {
			words = append(words, r.said(fieldOf(kind, name), value))
		}
	}
	for _, f := range maintenance.FieldsOf(kind) {
		if value, ok := told[f.Name]; ok && !slices.Contains(lead, f.Name) {
			more = append(more, plainName(f.Name)+" "+r.said(f, value))
		}
	}
	if e.Note != "" {
		more = append(more, strconv.Quote(e.Note))
	}
	return strings.Join(append([]string{strings.Join(words, " ")}, more...), ", ")
}

// leading are the fields that a command takes without a key, in its order.
func leading(kind string) []string {
	i := slices.IndexFunc(shapes, func(s shape) bool { return s.kind == kind })
	if i < 0 {
		return nil
	}
	var all []string
	for _, name := range append(slices.Clone(shapes[i].names), shapes[i].amount...) {
		if name == place {
			all = append(all, "pump", "vessel")
			continue
		}
		all = append(all, name)
	}
	return all
}

func fieldOf(kind, name string) maintenance.Field {
	fields := maintenance.FieldsOf(kind)
	if i := slices.IndexFunc(fields, func(f maintenance.Field) bool { return f.Name == name }); i >= 0 {
		return fields[i]
	}
	return maintenance.Field{Name: name}
}

// said is one value of an entry, numbers in the person's units.
func (r reader) said(f maintenance.Field, value jsontext.Value) string {
	switch value.Kind() {
	case '0':
		v, _ := strconv.ParseFloat(string(value), 64) // our own number
		return r.figure(v, string(unitOf(f.Name, f.Unit)))
	case '"':
		return r.saidText(value)
	case 't':
		return "yes"
	case 'f':
		return "no"
	case '[':
		var list []jsontext.Value
		_ = json.Unmarshal(value, &list) // our own list
		parts := make([]string, len(list))
		for i, one := range list {
			parts[i] = r.said(f, one)
		}
		return strings.Join(parts, " + ")
	}
	return r.saidLimits(value)
}

func (r reader) saidText(value jsontext.Value) string {
	text, _ := jsontext.AppendUnquote(nil, value) // our own text
	if t, err := time.Parse(time.RFC3339Nano, string(text)); err == nil {
		return r.when(t)
	}
	return string(text)
}

func (r reader) saidLimits(value jsontext.Value) string {
	var set map[string]jsontext.Value
	_ = json.Unmarshal(value, &set) // our own object
	var parts []string
	for _, l := range maintenance.LimitSpecs() {
		if one, ok := set[l.Key]; ok {
			parts = append(parts, plainName(l.Key)+" "+r.said(maintenance.Field{Name: l.Key, Unit: l.Unit}, one))
		}
	}
	return strings.Join(parts, ", ")
}

// figure is a number as it was told, to four figures and without leaving the unit of the
// book; a reader of US units gets those.
func (r reader) figure(v float64, unit string) string {
	u, ok := units.UnitOf(unit)
	if ok && r.system == units.US && shown[u.Dimension()] {
		return r.quantity(v, unit)
	}
	if symbol, has := symbols[u]; has {
		unit = symbol
	}
	return figures(v) + suffix(unit)
}

var symbols = map[units.Unit]string{"C": "°C", "m3/h": "m³/h", "l/min": "L/min"}
