package daemon

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// A described is a description read back. Its fits knows the part of JSON Schema that the
// description uses, and refuses any word beyond it, so that nothing goes unchecked.
type described struct{ schemas object }

// fits says where a value is not what a schema says.
func (d described) fits(at string, schema, v any) error {
	for word, rule := range schema.(object) {
		check, known := checks[word]
		if !known {
			return fmt.Errorf("%s: the checker does not know %q", at, word)
		}
		if check == nil {
			continue
		}
		if err := check(d, at, rule, v); err != nil {
			return err
		}
	}
	if o, is := v.(object); is {
		return d.members(at, schema.(object), o)
	}
	return nil
}

type check = func(d described, at string, rule, v any) error

var checks map[string]check

func init() { // they call one another
	checks = map[string]check{
		"description": nil, "readOnly": nil, "default": nil, "discriminator": nil, "properties": nil, "additionalProperties": nil,
		"$ref": func(d described, at string, rule, v any) error {
			name := strings.TrimPrefix(rule.(string), "#/components/schemas/")
			s, there := d.schemas[name]
			if !there {
				return fmt.Errorf("%s: nothing is described as %s", at, name)
			}
			return d.fits(at, s, v)
		},
		"type": func(_ described, at string, rule, v any) error { return must(isOfType(rule.(string), v), at, rule, v) },
		"enum": func(_ described, at string, rule, v any) error {
			return must(slices.Contains(rule.(array), v), at, rule, v)
		},
		"const":   func(_ described, at string, rule, v any) error { return must(rule == v, at, rule, v) },
		"minimum": onNumber(func(limit, v float64) bool { return v >= limit }), "maximum": onNumber(func(limit, v float64) bool { return v <= limit }),
		"exclusiveMinimum": onNumber(func(limit, v float64) bool { return v > limit }),
		"multipleOf":       onNumber(func(step, v float64) bool { return math.Mod(v, step) == 0 }),
		"minLength":        onText(func(rule any, s string) bool { return utf8.RuneCountInString(s) >= int(rule.(float64)) }),
		"maxLength":        onText(func(rule any, s string) bool { return utf8.RuneCountInString(s) <= int(rule.(float64)) }),
		"pattern":          onText(func(rule any, s string) bool { return regexp.MustCompile(rule.(string)).MatchString(s) }),
		"format":           onText(func(_ any, s string) bool { _, err := time.Parse(time.RFC3339Nano, s); return err == nil }),
		"minItems":         onList(func(rule any, l array) bool { return len(l) >= int(rule.(float64)) }),
		"maxItems":         onList(func(rule any, l array) bool { return len(l) <= int(rule.(float64)) }),
		"items": func(d described, at string, rule, v any) error {
			list, _ := v.(array)
			for i, one := range list {
				if err := d.fits(fmt.Sprintf("%s/%d", at, i), rule, one); err != nil {
					return err
				}
			}
			return nil
		},
		"required": func(_ described, at string, rule, v any) error {
			o, is := v.(object)
			for _, name := range rule.(array) {
				if _, there := o[name.(string)]; is && !there {
					return fmt.Errorf("%s: %s is missing", at, name)
				}
			}
			return nil
		},
		"dependentRequired": func(d described, at string, rule, v any) error {
			o, _ := v.(object)
			for name, needs := range rule.(object) {
				if _, there := o[name]; there {
					if err := d.fits(at, object{"required": needs}, v); err != nil {
						return err
					}
				}
			}
			return nil
		},
		"allOf": howMany(func(good, all int) bool { return good == all }),
		"anyOf": howMany(func(good, _ int) bool { return good >= 1 }),
		"oneOf": howMany(func(good, _ int) bool { return good == 1 }),
		"not":   func(d described, at string, rule, v any) error { return must(d.fits(at, rule, v) != nil, at, rule, v) },
	}
}

func must(ok bool, at string, rule, v any) error {
	if ok {
		return nil
	}
	return fmt.Errorf("%s: %.200v is not %.500v", at, v, rule)
}

func isOfType(name string, v any) bool {
	switch v := v.(type) {
	case nil:
		return name == "null"
	case bool:
		return name == "boolean"
	case string:
		return name == "string"
	case array:
		return name == "array"
	case object:
		return name == "object"
	case float64:
		return name == "number" || name == "integer" && v == math.Trunc(v)
	}
	return false
}

func onNumber(good func(rule, v float64) bool) check {
	return func(_ described, at string, rule, v any) error {
		n, is := v.(float64)
		return must(!is || good(rule.(float64), n), at, rule, v)
	}
}

func onText(good func(rule any, s string) bool) check {
	return func(_ described, at string, rule, v any) error {
		s, is := v.(string)
		return must(!is || good(rule, s), at, rule, v)
	}
}

func onList(good func(rule any, l array) bool) check {
	return func(_ described, at string, rule, v any) error {
		l, is := v.(array)
		return must(!is || good(rule, l), at, rule, v)
	}
}

// howMany counts the alternatives that fit; if too few do, the reasons of all are told.
func howMany(enough func(good, all int) bool) check {
	return func(d described, at string, rule, v any) error {
		var why []string
		for _, s := range rule.(array) {
			if err := d.fits(at, s, v); err != nil {
				why = append(why, err.Error())
			}
		}
		all := len(rule.(array))
		if enough(all-len(why), all) {
			return nil
		}
		return fmt.Errorf("%s: %d of %d fit: %s", at, all-len(why), all, strings.Join(why, "; "))
	}
}

func (d described) members(at string, schema, o object) error {
	properties, _ := schema["properties"].(object)
	for name, v := range o {
		s, there := properties[name]
		if !there {
			s = schema["additionalProperties"]
		}
		switch s := s.(type) {
		case nil: // others may have more members; we do not
			if properties != nil {
				return fmt.Errorf("%s: %s is not described", at, name)
			}
		case bool:
			if !s {
				return fmt.Errorf("%s: %s is not described", at, name)
			}
		case object:
			if err := d.fits(at+"/"+name, s, v); err != nil {
				return err
			}
		}
	}
	return nil
}
