package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"reflect"
	"regexp"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// maxFile bounds the configuration file, in bytes.
const maxFile = 256 << 10

// A gate reads a file strictly before viper may see it: viper takes keys that differ only
// in case (and then picks one at random), bare numbers as nanoseconds and a second
// document in silence. It remembers the line of every key.
type gate struct {
	file  string
	lines map[string]int // by path, such as channels[1].url
}

// check holds a whole file against the shape of Config.
func (g *gate) check(text []byte) error {
	d := yaml.NewDecoder(bytes.NewReader(text))
	var doc yaml.Node
	switch err := d.Decode(&doc); {
	case errors.Is(err, io.EOF):
		return nil // nothing but comments
	case err != nil:
		return g.syntax(err)
	}
	if err := g.value(doc.Content[0], reflect.TypeFor[Config](), ""); err != nil {
		return err
	}
	var second yaml.Node
	switch err := d.Decode(&second); {
	case errors.Is(err, io.EOF):
		return nil
	case err != nil:
		return g.syntax(err)
	}
	return &Problem{g.file, second.Line, "", "a second document begins here", "keep all keys in one document"}
}

var yamlLine = regexp.MustCompile(`line ([0-9]+): `)

func (g *gate) syntax(err error) error {
	says := strings.TrimPrefix(err.Error(), "yaml: ")
	line := 0
	if m := yamlLine.FindStringSubmatch(says); m != nil {
		line, _ = strconv.Atoi(m[1])
		says = strings.Replace(says, m[0], "", 1)
	}
	return &Problem{g.file, line, "", "not valid YAML: " + short(says), "check the indentation, colons and quotes there"}
}

func (g *gate) wrong(n *yaml.Node, path, hint, format string, args ...any) error {
	return &Problem{g.file, n.Line, path, fmt.Sprintf(format, args...), hint}
}

func (g *gate) value(n *yaml.Node, t reflect.Type, path string) error {
	t = scalarType(t)
	g.lines[path] = n.Line
	switch {
	case n.Kind == yaml.AliasNode:
		return g.wrong(n, path, "write the value out", "*%s is an alias", short(n.Value))
	case n.ShortTag() == "!!null":
		return g.wrong(n, path, want(t)+", or leave the key out", "there is no value")
	case isScalar(t):
		return g.scalar(n, t, path)
	case t == nightsType && n.ShortTag() == "!!map": // one night needs no list
		return g.value(n, t.Elem(), path+"[0]")
	case t.Kind() == reflect.Slice:
		return g.sequence(n, t, path)
	}
	return g.mapping(n, t, path)
}

func (g *gate) sequence(n *yaml.Node, t reflect.Type, path string) error {
	if n.ShortTag() != "!!seq" {
		return g.wrong(n, path, want(t), "%s is not a list", kindOf(n))
	}
	for i, one := range n.Content {
		if err := g.value(one, t.Elem(), fmt.Sprintf("%s[%d]", path, i)); err != nil {
			return err
		}
	}
	return nil
}

func (g *gate) mapping(n *yaml.Node, t reflect.Type, path string) error {
	if n.ShortTag() != "!!map" {
		return g.wrong(n, path, want(t), "%s cannot stand here", kindOf(n))
	}
	seen := map[string]int{}
	for i := 0; i < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		at := join(path, short(key.Value))
		if first, twice := seen[strings.ToLower(key.Value)]; twice {
			return g.wrong(key, at, "name each key once, in lower case", "given twice, first in line %d", first)
		}
		seen[strings.ToLower(key.Value)] = key.Line
		field, ok := fieldOf(t, key.Value)
		if !ok || key.ShortTag() != "!!str" || key.Kind != yaml.ScalarNode {
			return g.wrong(key, at, suggest(key.Value, names(t)), "there is no such key")
		}
		if err := g.value(value, field.Type, join(path, key.Value)); err != nil {
			return err
		}
	}
	return nil
}

func (g *gate) scalar(n *yaml.Node, t reflect.Type, path string) error {
	if n.Kind != yaml.ScalarNode {
		return g.wrong(n, path, want(t), "%s cannot stand here", kindOf(n))
	}
	tag := n.ShortTag()
	if isNumber(t) {
		if tag != "!!int" && tag != "!!float" {
			return g.wrong(n, path, want(t), "%q is not a number", shown(n, t))
		}
	} else if t == durationType && (tag == "!!int" || tag == "!!float") {
		return g.wrong(n, path, want(t), "%s has no unit", short(n.Value))
	} else if tag != "!!str" {
		return g.wrong(n, path, want(t)+" in quotes", "%s is %s, not text", shown(n, t), kindOf(n))
	}
	if _, err := fromText(t, n.Value); err != nil {
		return g.wrong(n, path, want(t), "%s", err)
	}
	return nil
}

// shown is the value for a message, unless it is a secret.
func shown(n *yaml.Node, t reflect.Type) string {
	if t == secretType {
		return hidden
	}
	return short(n.Value)
}

// kindOf names what stands in the file.
func kindOf(n *yaml.Node) string {
	switch n.ShortTag() {
	case "!!map":
		return "a mapping"
	case "!!seq":
		return "a list"
	case "!!str":
		return "text"
	case "!!int", "!!float":
		return "a number"
	case "!!bool":
		return "a truth value"
	case "!!timestamp":
		return "a date"
	}
	return "a value of kind " + short(n.ShortTag())
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// fields are the keys of a struct type in the order of the documentation.
func fields(t reflect.Type) []reflect.StructField {
	var all []reflect.StructField
	for _, f := range reflect.VisibleFields(t) {
		if f.IsExported() && f.Tag.Get("json") != "-" {
			all = append(all, f)
		}
	}
	return all
}

func keyOf(f reflect.StructField) string {
	key, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return key
}

func names(t reflect.Type) []string {
	var all []string
	for _, f := range fields(t) {
		all = append(all, keyOf(f))
	}
	return all
}

func fieldOf(t reflect.Type, key string) (reflect.StructField, bool) {
	for _, f := range fields(t) {
		if keyOf(f) == key {
			return f, true
		}
	}
	return reflect.StructField{}, false
}
