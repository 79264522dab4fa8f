package config

import (
	"fmt"
	"net/url"
	"reflect"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"sumpbook/maintenance"
)

// A Setting is one key of the configuration as it stands.
type Setting struct {
	Key    string `json:"key"`    // such as quiet.from or channels[0].url
	Value  string `json:"value"`  // secrets cut out; empty: unset
	Origin string `json:"origin"` // default, file, settings, env or flag
	Where  string `json:"where"`  // file:line, the variable or the flag; empty for a default
}

// Describe lists every key with its value and where it came from, in the order of the
// documentation; of what stands in lists only what has been told.
func (c Config) Describe() []Setting {
	c.Limits = c.Limits.Over(maintenance.DefaultLimits())
	var all []Setting
	var walk func(v reflect.Value, path string, inList bool)
	walk = func(v reflect.Value, path string, inList bool) {
		switch t := scalarType(v.Type()); {
		case isScalar(t):
			if s := c.setting(path, v); !inList || s.Origin != fromDefault {
				all = append(all, s)
			}
		case t.Kind() == reflect.Slice:
			for i := range v.Len() {
				walk(v.Index(i), fmt.Sprintf("%s[%d]", path, i), true)
			}
			if v.Len() == 0 && !inList {
				all = append(all, c.setting(path, v))
			}
		default:
			for _, f := range fields(t) {
				walk(v.FieldByIndex(f.Index), join(path, keyOf(f)), inList)
			}
		}
	}
	walk(reflect.ValueOf(c), "", false)
	return all
}

func (c Config) setting(path string, v reflect.Value) Setting {
	s := Setting{Key: path, Value: text(v), Origin: fromDefault}
	if strings.HasSuffix(path, "].url") || path == "heartbeat.url" {
		s.Value = hostOnly(s.Value)
	}
	o, ok := c.origins[path]
	if !ok {
		return s
	}
	s.Origin = o.layer
	switch o.layer {
	case fromFile, fromSettings:
		s.Where = fmt.Sprintf("%s:%d", o.file, o.line)
	default:
		s.Where = o.name
	}
	return s
}

// hostOnly cuts out of a receiver's address what may let one in: the login and, since
// some receivers are known by a secret path, all behind the host.
func hostOnly(s string) string {
	u, err := url.Parse(s)
	if err != nil {
		return hidden
	}
	return u.Scheme + "://" + u.Host + "/…"
}

// text writes a scalar as a file would have it; secrets are hidden, an unset value is empty.
func text(v reflect.Value) string {
	if v.Kind() == reflect.Pointer && v.Type() != zoneType {
		if v.IsNil() {
			return ""
		}
		v = v.Elem()
	}
	switch x := v.Interface().(type) {
	case *time.Location:
		if x == nil {
			return ""
		}
		return x.String()
	case time.Duration:
		return brief(x)
	case fmt.Stringer: // ClockTime, Secret
		return x.String()
	case float64:
		return strconv.FormatFloat(x, 'g', -1, 64)
	case int:
		return strconv.Itoa(x)
	}
	if v.Kind() == reflect.String {
		return v.String()
	}
	return ""
}

// YAML writes the configuration as a file: what differs from the default, secrets in the
// clear unless they came from a file of their own. Loading it gives the same
// configuration. Keep it 0600.
func (c Config) YAML() ([]byte, error) {
	base := Default()
	if c.Quiet.IsSet() {
		base.Quiet.From, base.Quiet.To = -1, -1 // midnight is to be written too
	}
	n := writer{general: c.Signals}.node(reflect.ValueOf(c), reflect.ValueOf(base))
	if n == nil {
		return nil, nil
	}
	text, err := yaml.Marshal(n)
	if err != nil {
		return nil, fmt.Errorf("write configuration: %w", err)
	}
	return text, nil
}

// A writer makes YAML nodes of what differs from a base.
type writer struct{ general Signals }

func (w writer) node(v, base reflect.Value) *yaml.Node {
	switch t := scalarType(v.Type()); {
	case isScalar(t):
		if reflect.DeepEqual(v.Interface(), base.Interface()) {
			return nil
		}
		return w.scalar(v, t)
	case t.Kind() == reflect.Slice:
		return w.sequence(v)
	}
	return w.mapping(v, base)
}

func (w writer) scalar(v reflect.Value, t reflect.Type) *yaml.Node {
	n := &yaml.Node{Kind: yaml.ScalarNode, Value: text(v)}
	if t == secretType {
		n.Value = v.String() // of the reflect.Value: the secret itself
	}
	if !isNumber(t) {
		n.Tag = "!!str" // quoted where it would read as something else
	}
	if t == clockType {
		n.Style = yaml.DoubleQuotedStyle // 22:00 is a number to some readers
	}
	return n
}

func (w writer) sequence(v reflect.Value) *yaml.Node {
	if v.Len() == 0 {
		return nil
	}
	n := &yaml.Node{Kind: yaml.SequenceNode, Tag: "!!seq"}
	for i := range v.Len() {
		one := v.Index(i)
		base := reflect.New(one.Type()).Elem()
		if one.Type() == reflect.TypeFor[Source]() {
			base = reflect.ValueOf(Source{Signals: w.general, Scale: 1, Decimal: "point"})
		}
		if one.Type() == reflect.TypeFor[Night]() {
			base = reflect.ValueOf(Night{From: -1, To: -1}) // midnight is to be written too
		}
		if t := scalarType(one.Type()); isScalar(t) { // an empty one is one too
			n.Content = append(n.Content, w.scalar(one, t))
		} else if child := w.node(one, base); child != nil {
			n.Content = append(n.Content, child)
		}
	}
	return n
}

func (w writer) mapping(v, base reflect.Value) *yaml.Node {
	n := &yaml.Node{Kind: yaml.MappingNode, Tag: "!!map"}
	for _, f := range fields(v.Type()) {
		key := keyOf(f)
		child := w.node(v.FieldByIndex(f.Index), base.FieldByIndex(f.Index))
		file, kept := v.Type().FieldByName(f.Name + "File")
		if child == nil || (kept && v.FieldByIndex(file.Index).String() != "") {
			continue
		}
		n.Content = append(n.Content, &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: key}, child)
	}
	if len(n.Content) == 0 {
		return nil
	}
	return n
}
