package signal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"
)

// maxPayload bounds one message of a source, in bytes.
const maxPayload = 64 << 10

// A Field says where in a payload a value stands and how it is read.
type Field struct {
	Pointer      string   // JSON Pointer (RFC 6901); "" is the whole payload, which may then be bare text
	Scale        float64  // the value is number·Scale + Offset; 0 counts as 1
	Offset       float64  //
	DecimalComma bool     // "12,3" in a text is 12.3; refused otherwise
	On, Off      []string // texts that mean 1 and 0; with neither list true and false do
}

// Check refuses a pointer that no payload can answer, and factors that are not finite.
func (f Field) Check() error {
	if _, err := pointerTokens(f.Pointer); err != nil {
		return err
	}
	if !finite(f.Scale) || !finite(f.Offset) {
		return fmt.Errorf("scale %v and offset %v: want finite numbers", f.Scale, f.Offset)
	}
	return nil
}

// Value reads the field's number: of a JSON number, a numeric text, true and false, or a word of On or Off.
// Refused: payloads over 64 KiB or not UTF-8, JSON with a repeated name, what is missing, null, or no finite number.
func (f Field) Value(payload []byte) (float64, error) {
	text, err := scalar(payload, f.Pointer)
	if err != nil {
		return 0, fmt.Errorf("read value: %w", err)
	}
	value, err := f.read(text)
	if err != nil {
		return 0, fmt.Errorf("read value at %q: %w", f.Pointer, err)
	}
	return value, nil
}

func (f Field) read(text string) (float64, error) {
	on, off := f.On, f.Off
	words := len(on)+len(off) > 0
	if !words {
		on, off = []string{"true"}, []string{"false"}
	}
	switch {
	case slices.Contains(on, text):
		return 1, nil
	case slices.Contains(off, text):
		return 0, nil
	case words:
		return 0, fmt.Errorf("%.40q is neither on (%s) nor off (%s)", text, strings.Join(on, ", "), strings.Join(off, ", "))
	case strings.Contains(text, ",") && !f.DecimalComma:
		return 0, fmt.Errorf("%.40q has a comma: set decimal to comma if it is the decimal point", text)
	}
	value, err := number(strings.Replace(text, ",", ".", 1))
	if err != nil {
		return 0, err
	}
	if f.Scale != 0 {
		value *= f.Scale
	}
	if value += f.Offset; !finite(value) {
		return 0, fmt.Errorf("%.40q is out of range", text)
	}
	return value, nil
}

// Moment reads when a sample was taken: RFC 3339, a local time of zone, or seconds (from 1e11 on milliseconds) since 1970.
func Moment(payload []byte, pointer string, zone *time.Location) (time.Time, error) {
	text, err := scalar(payload, pointer)
	if err != nil {
		return time.Time{}, fmt.Errorf("read time: %w", err)
	}
	seconds, err := number(text)
	if err != nil {
		at, err := parseMoment(text, zone, time.Time{})
		if err != nil {
			return time.Time{}, fmt.Errorf("read time at %q: %w", pointer, err)
		}
		return at, nil
	}
	if seconds >= 1e11 { // as seconds that would be the year 5138
		seconds /= 1000
	}
	if !(seconds >= 0 && seconds < 1e11) {
		return time.Time{}, fmt.Errorf("read time at %q: %.40s is no time since 1970", pointer, text)
	}
	whole, part := math.Modf(seconds)
	return time.Unix(int64(whole), int64(math.Round(part*1e6))*1000).UTC(), nil // a double holds microseconds here
}

// scalar is the text of a number, string or boolean. A payload that is no JSON is itself the text, where the whole is meant.
func scalar(payload []byte, pointer string) (string, error) {
	raw, err := Pointer(payload, pointer)
	if err != nil {
		if pointer == "" && errors.Is(err, errNoJSON) {
			return strings.TrimSpace(string(payload)), nil
		}
		return "", err
	}
	switch kind := jsontext.Value(raw).Kind(); kind {
	case '"':
		text, err := jsontext.AppendUnquote(nil, raw)
		return strings.TrimSpace(string(text)), err
	case '0', 't', 'f':
		return string(raw), nil
	}
	return "", fmt.Errorf("at %q stands %s: want a number, a text, true or false", pointer, kindName(raw))
}

func kindName(raw []byte) string {
	switch jsontext.Value(raw).Kind() {
	case '{':
		return "an object"
	case '[':
		return "an array"
	case 'n':
		return "null"
	}
	return "a value"
}

// errNoJSON marks a payload that is text, but no JSON.
var errNoJSON = errors.New("no JSON")

// Pointer gives the raw JSON that a JSON Pointer names, strictly by RFC 6901: no index with a leading zero or a sign,
// no tilde but ~0 and ~1. The whole document is checked: UTF-8, at most 64 KiB, no name twice in an object.
func Pointer(doc []byte, pointer string) ([]byte, error) {
	tokens, err := pointerTokens(pointer)
	if err != nil {
		return nil, err
	}
	if len(doc) > maxPayload {
		return nil, fmt.Errorf("payload of %d bytes: at most %d", len(doc), maxPayload)
	}
	if !utf8.Valid(doc) {
		return nil, errors.New("payload is not UTF-8")
	}
	value, err := document(doc)
	if err != nil {
		return nil, err
	}
	for i, token := range tokens {
		if value, err = child(value, token); err != nil {
			return nil, fmt.Errorf("pointer %q, step %d: %w", pointer, i+1, err)
		}
	}
	return value, nil
}

func pointerTokens(pointer string) ([]string, error) {
	if pointer == "" {
		return nil, nil
	}
	if pointer[0] != '/' {
		return nil, fmt.Errorf("pointer %q: want it empty or begun with /", pointer)
	}
	tokens := strings.Split(pointer[1:], "/")
	for i, token := range tokens {
		plain := strings.NewReplacer("~0", "", "~1", "").Replace(token)
		if strings.Contains(plain, "~") {
			return nil, fmt.Errorf("pointer %q: ~ stands for itself as ~0, and ~1 for /", pointer)
		}
		tokens[i] = strings.NewReplacer("~1", "/", "~0", "~").Replace(token)
	}
	return tokens, nil
}

// document is the one JSON value that doc holds.
func document(doc []byte) (jsontext.Value, error) {
	d := jsontext.NewDecoder(bytes.NewReader(doc))
	value, err := d.ReadValue()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errNoJSON, err)
	}
	value = value.Clone()
	if _, err := d.ReadToken(); err != io.EOF {
		return nil, fmt.Errorf("%w: more behind the first value", errNoJSON)
	}
	return value, nil
}

// child is the member or element that one token names. The value has been checked before.
func child(value jsontext.Value, token string) (jsontext.Value, error) {
	d := jsontext.NewDecoder(bytes.NewReader(value))
	open, err := d.ReadToken()
	if err != nil {
		return nil, err
	}
	switch open.Kind() {
	case '{':
		return member(d, token)
	case '[':
		return element(d, token)
	}
	return nil, fmt.Errorf("%q of what is neither object nor array", token)
}

func member(d *jsontext.Decoder, token string) (jsontext.Value, error) {
	for d.PeekKind() != '}' {
		name, err := d.ReadToken()
		if err != nil {
			return nil, err
		}
		if name.String() == token {
			return d.ReadValue()
		}
		if err := d.SkipValue(); err != nil {
			return nil, err
		}
	}
	return nil, fmt.Errorf("no member %q", token)
}

func element(d *jsontext.Decoder, token string) (jsontext.Value, error) {
	index, err := strconv.Atoi(token)
	if err != nil || strconv.Itoa(index) != token || index < 0 {
		return nil, fmt.Errorf("%q is no index of an array", token)
	}
	for ; d.PeekKind() != ']'; index-- {
		if index == 0 {
			return d.ReadValue()
		}
		if err := d.SkipValue(); err != nil {
			return nil, err
		}
	}
	return nil, fmt.Errorf("no element %s", token)
}

func finite(value float64) bool {
	return !math.IsNaN(value) && !math.IsInf(value, 0)
}
