package maintenance

import (
	"bytes"
	"fmt"
	"math"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// A Field documents one field of an entry kind, as its struct tags say.
type Field struct {
	Name     string       // as in JSON, its unit last
	Type     reflect.Type // *float64, string, *bool, []float64, time.Time, Stage, *Limits
	Must     bool         // has to be there
	First    bool         // has to be there in the first entry of its thing
	Unit     string       // of a number; empty if it has none
	Range    string       // interval notation; empty if unbounded
	OneOf    []string     // the words allowed; empty if free
	Doc      string
	low      float64
	high     float64
	openLow  bool
	step     float64
	isName   bool
	isID     bool
	isAction bool
	isCode   bool
	location []int
}

var (
	kindFields = map[string][]Field{}
	kindNames  []string
	kindMakers = map[string]func() Act{}
)

func init() {
	for _, make := range acts {
		a := make()
		kindNames = append(kindNames, a.Kind())
		kindMakers[a.Kind()] = make
		kindFields[a.Kind()] = fieldsOf(reflect.TypeOf(a).Elem())
	}
}

// Kinds lists the kinds of entry.
func Kinds() []string { return kindNames }

// FieldsOf documents the fields of a kind, common ones left out; nil for an unknown kind.
func FieldsOf(kind string) []Field { return kindFields[kind] }

// NewAct makes an empty act of a kind.
func NewAct(kind string) (Act, bool) {
	make, ok := kindMakers[kind]
	if !ok {
		return nil, false
	}
	return make(), true
}

func fieldsOf(t reflect.Type) []Field {
	var all []Field
	for _, f := range reflect.VisibleFields(t) {
		if f.Anonymous {
			continue
		}
		all = append(all, fieldOf(f))
	}
	return all
}

func fieldOf(f reflect.StructField) Field {
	out := Field{
		Name: f.Tag.Get("json"), Type: f.Type, Unit: f.Tag.Get("unit"), Range: f.Tag.Get("range"), Doc: f.Tag.Get("doc"),
		Must: f.Tag.Get("must") == "yes", First: f.Tag.Get("must") == "first", location: f.Index,
		isName: f.Tag.Get("name") != "", isID: f.Tag.Get("id") == "yes", isAction: f.Tag.Get("id") == "action", isCode: f.Tag.Get("code") != "",
		low: math.Inf(-1), high: math.Inf(1),
	}
	if words := f.Tag.Get("oneof"); words != "" {
		out.OneOf = strings.Split(words, ",")
	}
	if f.Type == reflect.TypeFor[Stage]() {
		for _, s := range stages {
			out.OneOf = append(out.OneOf, string(s))
		}
	}
	if out.Range != "" {
		low, high, _ := strings.Cut(strings.Trim(out.Range, "[]()"), ",")
		out.low, _ = strconv.ParseFloat(low, 64)
		out.high, _ = strconv.ParseFloat(high, 64)
		out.openLow = out.Range[0] == '('
	}
	out.step, _ = strconv.ParseFloat(f.Tag.Get("step"), 64)
	return out
}

// Want says what a right value of the field is, for a person.
func (f Field) Want() string {
	switch {
	case len(f.OneOf) > 0:
		return "one of " + strings.Join(f.OneOf, ", ")
	case f.isName:
		return "a name of a–z, 0–9, dot, dash and underscore, at most 64 long"
	case f.isAction:
		return "the id that next shows, such as drain/north/ENTRY"
	case f.isID:
		return "the id of an entry, at most 200 visible characters"
	case f.isCode:
		return "three scale numbers such as 19/16/13, none larger than the one before"
	case f.Range != "":
		return strings.TrimSpace("a number in " + f.Range + " " + f.Unit)
	}
	switch f.Type {
	case reflect.TypeFor[*bool]():
		return "true or false"
	case reflect.TypeFor[time.Time]():
		return "a time such as 2026-11-24T21:40:00+01:00"
	case reflect.TypeFor[*Limits]():
		return "an object of limits, such as {\"air_h\":3}"
	}
	return fmt.Sprintf("text of at most %d characters", maxText)
}

func (f Field) wrong(format string, args ...any) error {
	return reject(f.Name, "give "+f.Want(), format, args...)
}

// set decodes one JSON value into the act.
func (f Field) set(act reflect.Value, raw jsontext.Value) error {
	to := act.FieldByIndex(f.location)
	switch p := to.Addr().Interface().(type) {
	case **float64:
		v, err := f.number(raw)
		*p = &v
		return err
	case *[]float64:
		return f.numbers(p, raw)
	case *string:
		return f.text(p, raw)
	case *Stage:
		return f.text((*string)(p), raw)
	case **bool:
		if raw.Kind() != 't' && raw.Kind() != 'f' {
			return f.wrong("%s is not true or false", short(raw))
		}
		v := raw.Kind() == 't'
		*p = &v
		return nil
	case *time.Time:
		var err error
		*p, err = decodeTime(f.Name, raw)
		return err
	case **Limits:
		return f.limits(p, raw)
	}
	panic("maintenance: no decoder for field " + f.Name)
}

func (f Field) number(raw jsontext.Value) (float64, error) {
	if raw.Kind() != '0' {
		return 0, f.wrong("%s is not a number", short(raw))
	}
	v, err := strconv.ParseFloat(string(raw), 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, f.wrong("%s is not a finite number", short(raw))
	}
	if v < f.low || v > f.high || (f.openLow && v == f.low) {
		return 0, f.wrong("%s is out of range", short(raw))
	}
	if f.step > 0 && v != f.step*math.Round(v/f.step) {
		return 0, f.wrong("%s is not a multiple of %v", short(raw), f.step)
	}
	return v, nil
}

func (f Field) numbers(p *[]float64, raw jsontext.Value) error {
	var parts []jsontext.Value
	if raw.Kind() != '[' || json.Unmarshal(raw, &parts) != nil {
		return f.wrong("%s is not a list of numbers", short(raw))
	}
	if len(parts) > 100 {
		return f.wrong("more than 100 numbers")
	}
	*p = make([]float64, 0, len(parts))
	for _, one := range parts {
		v, err := f.number(one)
		if err != nil {
			return err
		}
		*p = append(*p, v)
	}
	return nil
}

var (
	nameForm = regexp.MustCompile(`^[a-z0-9][a-z0-9._-]{0,63}$`)
	// An action's id holds a subject and the id of an entry.
	actionForm = regexp.MustCompile(`^[\x21-\x7e]{1,400}$`)
	idForm     = regexp.MustCompile(`^[\x21-\x7e]{1,200}$`)
	codeForm   = regexp.MustCompile(`^(\d{1,2})/(\d{1,2})/(\d{1,2})$`)
)

func (f Field) text(p *string, raw jsontext.Value) error {
	if err := decodeText(f.Name, raw, p); err != nil {
		return err
	}
	switch {
	case len(f.OneOf) > 0 && !contains(f.OneOf, *p),
		f.isName && !nameForm.MatchString(*p),
		f.isID && !idForm.MatchString(*p),
		f.isAction && !actionForm.MatchString(*p),
		f.isCode && !isCode(*p):
		return f.wrong("%s cannot be so", short(raw))
	}
	return nil
}

func (f Field) limits(p **Limits, raw jsontext.Value) error {
	l := new(Limits)
	if err := json.Unmarshal(raw, l, json.RejectUnknownMembers(true)); err != nil {
		return f.wrong("%s: %v", short(raw), err)
	}
	*p = l
	return l.Check()
}

// isCode says whether s is a cleanliness code: three scale numbers up to 28 that never
// rise with particle size (ISO 4406).
func isCode(s string) bool {
	m := codeForm.FindStringSubmatch(s)
	if m == nil {
		return false
	}
	a, _ := strconv.Atoi(m[1])
	b, _ := strconv.Atoi(m[2])
	c, _ := strconv.Atoi(m[3])
	return a <= 28 && a >= b && b >= c
}

func decodeText(name string, raw jsontext.Value, p *string) error {
	text, ok := unquoted(raw)
	if !ok {
		return reject(name, wantText(), "%s is not text", short(raw))
	}
	if utf8.RuneCountInString(text) > maxText {
		return reject(name, wantText(), "the text is longer than %d characters", maxText)
	}
	*p = text
	return nil
}

func wantText() string { return fmt.Sprintf("give text of at most %d characters", maxText) }

// unquoted reads a JSON string. Most have no escape, and a book has millions.
func unquoted(raw jsontext.Value) (string, bool) {
	if raw.Kind() != '"' {
		return "", false
	}
	if bytes.IndexByte(raw, '\\') < 0 {
		return string(raw[1 : len(raw)-1]), true
	}
	b, err := jsontext.AppendUnquote(nil, raw)
	return string(b), err == nil
}

func decodeTime(name string, raw jsontext.Value) (time.Time, error) {
	var s string
	if err := decodeText(name, raw, &s); err != nil {
		return time.Time{}, err
	}
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return t, reject(name, "give a time with its offset, such as 2026-11-24T21:40:00+01:00", "%s is not an RFC 3339 time", short(raw))
	}
	if t.Unix() < 0 || t.Year() > 9999 {
		return t, reject(name, "give a time from 1970 on", "%s is before 1970", short(raw))
	}
	return t, nil
}

// short shows a value in an error without letting it flood the line.
func short(raw jsontext.Value) string {
	s := []rune(string(raw))
	if len(s) > 60 {
		return string(s[:60]) + "…"
	}
	return string(s)
}

func span(low, high float64) string {
	return strconv.FormatFloat(low, 'g', -1, 64) + " to " + strconv.FormatFloat(high, 'g', -1, 64)
}

func contains(all []string, s string) bool {
	for _, one := range all {
		if one == s {
			return true
		}
	}
	return false
}
