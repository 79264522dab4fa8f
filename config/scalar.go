package config

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"regexp"
	"strconv"
	"time"
	_ "time/tzdata" // small machines have no zone files
)

// ClockTime is a time of day in minutes after midnight, 0 to 1439.
type ClockTime int

// String gives the time as "22:00".
func (t ClockTime) String() string { return fmt.Sprintf("%02d:%02d", int(t)/60, int(t)%60) }

// Secret is text that is not to be seen: every way of printing it hides it.
type Secret string

const hidden = "(hidden)"

// String hides the secret; an empty one is empty.
func (s Secret) String() string {
	if s == "" {
		return ""
	}
	return hidden
}

// GoString hides the secret under %#v.
func (s Secret) GoString() string { return strconv.Quote(s.String()) }

// MarshalText hides the secret in JSON and logs.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// Reveal gives the secret itself.
func (s Secret) Reveal() string { return string(s) }

var (
	zoneType     = reflect.TypeFor[*time.Location]()
	durationType = reflect.TypeFor[time.Duration]()
	clockType    = reflect.TypeFor[ClockTime]()
	secretType   = reflect.TypeFor[Secret]()
	nightsType   = reflect.TypeFor[Nights]()

	// Only what reads the same in every YAML: no octal, hexadecimal, infinity or blanks.
	numberForm = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][-+]?[0-9]+)?$`)
	clockForm  = regexp.MustCompile(`^([01]?[0-9]|2[0-3]):([0-5][0-9])$`)
)

// scalarType is t without the pointer that only says "may be unset".
func scalarType(t reflect.Type) reflect.Type {
	if t.Kind() == reflect.Pointer && t != zoneType {
		return t.Elem()
	}
	return t
}

func isNumber(t reflect.Type) bool {
	return t != durationType && t != clockType && (t.Kind() == reflect.Float64 || t.Kind() == reflect.Int)
}

func isScalar(t reflect.Type) bool {
	return t == zoneType || (t.Kind() != reflect.Struct && t.Kind() != reflect.Slice)
}

// fromText reads a scalar of type t as a person writes it.
func fromText(t reflect.Type, s string) (any, error) {
	switch {
	case t == zoneType:
		return zone(s)
	case t == durationType:
		return duration(s)
	case t == clockType:
		return clock(s)
	case isNumber(t):
		return number(t, s)
	}
	return s, nil
}

func zone(s string) (*time.Location, error) {
	// "" and "Local" are names to the library, but say nothing in a file.
	if s == "" || s == "Local" {
		return nil, fmt.Errorf("%q names no time zone", s)
	}
	loc, err := time.LoadLocation(s)
	if err != nil {
		return nil, fmt.Errorf("%q is no time zone known here", s)
	}
	return loc, nil
}

// duration refuses bare numbers, which the library would take as nanoseconds (or, for 0,
// without a word).
func duration(s string) (time.Duration, error) {
	if numberForm.MatchString(s) {
		return 0, fmt.Errorf("%s has no unit", s)
	}
	d, err := time.ParseDuration(s)
	if err != nil {
		return 0, fmt.Errorf("%q is no duration", s)
	}
	return d, nil
}

func clock(s string) (ClockTime, error) {
	m := clockForm.FindStringSubmatch(s)
	if m == nil {
		return 0, fmt.Errorf("%q is no time of day", s)
	}
	hours, _ := strconv.Atoi(m[1])
	minutes, _ := strconv.Atoi(m[2])
	return ClockTime(60*hours + minutes), nil
}

func number(t reflect.Type, s string) (any, error) {
	if !numberForm.MatchString(s) {
		return nil, fmt.Errorf("%q is not a plain number", s)
	}
	if t.Kind() == reflect.Int {
		n, err := strconv.ParseInt(s, 10, 32)
		if err != nil {
			return nil, fmt.Errorf("%s is not a whole number in range", s)
		}
		return int(n), nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) {
		return nil, fmt.Errorf("%s is too large a number", s)
	}
	return v, nil
}

// want says what a value of type t looks like, for a person.
func want(t reflect.Type) string {
	switch {
	case t == zoneType:
		return "give a zone such as Europe/Oslo"
	case t == durationType:
		return "give a duration such as 90s, 2m or 1h30m"
	case t == clockType:
		return `give a time of day such as "22:00"`
	case t.Kind() == reflect.Int:
		return "give a whole number"
	case t.Kind() == reflect.Float64:
		return "give a number"
	case t.Kind() == reflect.Slice:
		return "give a list"
	case t.Kind() == reflect.Struct:
		return "give keys and values: " + list(names(t))
	}
	return "give text"
}

var errBareNumber = errors.New("a duration needs its unit")

// decodeHook turns text into the types that mapstructure does not know. It sets the value
// itself, because mapstructure would copy the time zone instead of pointing to it.
func decodeHook(from, to reflect.Value) (any, error) {
	t := to.Type()
	if t == nightsType && from.Kind() == reflect.Map {
		return []any{from.Interface()}, nil
	}
	if t != zoneType && t != durationType && t != clockType || from.Type() == t {
		return from.Interface(), nil
	}
	if from.Kind() != reflect.String {
		return nil, errBareNumber
	}
	v, err := fromText(t, from.String())
	if err != nil {
		return nil, err
	}
	to.Set(reflect.ValueOf(v))
	return nil, nil
}
