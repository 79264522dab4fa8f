package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"time"

	"github.com/go-viper/mapstructure/v2"
	"github.com/spf13/viper"
)

// Options say where the configuration comes from; the zero value gives the defaults.
type Options struct {
	File     string            // the configuration; empty: none
	Explicit bool              // the person named File, so it must be there
	Settings string            // settings.yaml of the data folder, over File; it may be absent
	Env      []string          // as os.Environ gives it
	Flags    map[string]string // by key, such as "listen" or "signals.on_w"
}

// Load reads and checks the configuration. A mistake in it is a *Problem.
func Load(o Options) (Config, error) {
	l := loader{v: viper.New(), origins: map[string]origin{}}
	l.v.SetConfigType("yaml")
	l.defaults()
	if err := l.file(o.File, fromFile, o.Explicit); err != nil {
		return Config{}, err
	}
	if err := l.file(o.Settings, fromSettings, false); err != nil {
		return Config{}, err
	}
	if err := l.environment(o.Env); err != nil {
		return Config{}, err
	}
	if err := l.flags(o.Flags); err != nil {
		return Config{}, err
	}
	return l.finish()
}

// Where a value came from.
const (
	fromDefault  = "default"
	fromFile     = "file"
	fromSettings = "settings"
	fromEnv      = "env"
	fromFlag     = "flag"
)

type origin struct {
	layer string // one of the above
	file  string // of file and settings
	line  int
	name  string // of env and flag: the variable or flag
}

type loader struct {
	v        *viper.Viper
	read     string            // the configuration file, once read
	origins  map[string]origin // by path; absent: default
	warnings []string
}

func (l *loader) warn(format string, args ...any) {
	l.warnings = append(l.warnings, fmt.Sprintf(format, args...))
}

func (l *loader) defaults() {
	d := Default()
	l.v.SetDefault("listen", d.Listen)
	l.v.SetDefault("units", d.Units)
	l.v.SetDefault("look_ahead", d.LookAhead)
	l.v.SetDefault("heartbeat.every", d.Heartbeat.Every)
	l.v.SetDefault("signals.on_w", d.Signals.OnW)
	l.v.SetDefault("signals.off_w", d.Signals.OffW)
	l.v.SetDefault("signals.on_c", d.Signals.OnC)
	l.v.SetDefault("signals.off_c", d.Signals.OffC)
	l.v.SetDefault("signals.drop_c", d.Signals.DropC)
	l.v.SetDefault("signals.start_for", d.Signals.StartFor)
	l.v.SetDefault("signals.end_for", d.Signals.EndFor)
	l.v.SetDefault("signals.shortest_run", d.Signals.ShortestRun)
	l.v.SetDefault("signals.alive", d.Signals.Alive)
}

// file lays one YAML file over what is there already: mappings key by key, lists whole.
func (l *loader) file(path, layer string, must bool) error {
	if path == "" {
		return nil
	}
	text, mode, err := readFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		if must {
			return &Problem{File: path, Says: "there is no such file", Hint: "name another, or leave --config and SUMPBOOK_CONFIG out: every key has a default"}
		}
		return nil
	}
	if err != nil {
		return fmt.Errorf("read configuration: %w", err)
	}
	if len(text) > maxFile {
		return &Problem{File: path, Says: "the file is too long", Hint: fmt.Sprintf("a configuration has at most %d bytes", maxFile)}
	}
	g := gate{file: path, lines: map[string]int{}}
	if err := g.check(text); err != nil {
		return err
	}
	if err := l.v.MergeConfig(bytes.NewReader(text)); err != nil {
		return fmt.Errorf("read configuration %s: %w", path, err)
	}
	if layer == fromFile {
		l.read = path
	}
	l.remember(g.lines, path, layer)
	if others(mode) && holdsSecret(g.lines) {
		l.warn("%s holds a secret and can be read by others; make it 0600", path)
	}
	return nil
}

// remember notes where each key came from; a list of this file hides all of an earlier one.
func (l *loader) remember(lines map[string]int, path, layer string) {
	for earlier := range l.origins {
		whole, _, inList := strings.Cut(earlier, "[")
		if _, again := lines[whole]; inList && again {
			delete(l.origins, earlier)
		}
	}
	for p, line := range lines {
		l.origins[p] = origin{layer: layer, file: path, line: line}
	}
}

func holdsSecret(lines map[string]int) bool {
	for p := range lines {
		if strings.HasSuffix(p, "].secret") || strings.HasSuffix(p, "].password") {
			return true
		}
	}
	return false
}

// readFile reads at most a little more than maxFile and tells the file's mode.
func readFile(path string) ([]byte, fs.FileMode, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, 0, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, 0, err
	}
	text, err := io.ReadAll(io.LimitReader(f, maxFile+1))
	return text, info.Mode(), err
}

// others says whether more than the owner can read the file.
func others(mode fs.FileMode) bool { return runtime.GOOS != "windows" && mode.Perm()&0o077 != 0 }

// finish decodes what the layers say together, reads the secrets and checks the whole.
func (l *loader) finish() (Config, error) {
	if sources := l.v.Get("sources"); sources != nil {
		l.v.Set("sources", completeSources(sources, l.v.AllSettings()["signals"]))
	}
	var c Config
	err := l.v.UnmarshalExact(&c, viper.DecodeHook(mapstructure.DecodeHookFuncValue(decodeHook)), func(d *mapstructure.DecoderConfig) {
		d.TagName = "json"
		d.WeaklyTypedInput = false
	})
	if err != nil {
		return Config{}, fmt.Errorf("decode configuration: %w", err)
	}
	if c.Timezone == nil {
		c.Timezone = time.Local
	}
	c.File, c.origins = l.read, l.origins
	k := checker{loader: l, c: &c}
	if err := k.all(); err != nil {
		return Config{}, err
	}
	c.Warnings = l.warnings
	return c, nil
}

// completeSources gives each source what it does not say itself.
func completeSources(sources, signals any) []any {
	general, _ := signals.(map[string]any)
	var all []any
	for _, one := range sources.([]any) {
		source := map[string]any{"scale": 1.0, "decimal": "point"}
		overlay(source, one)
		own := map[string]any{}
		overlay(own, general)
		overlay(own, source["signals"])
		source["signals"] = own
		all = append(all, source)
	}
	return all
}

func overlay(to map[string]any, from any) {
	m, _ := from.(map[string]any)
	for key, value := range m {
		to[key] = value
	}
}

// keyTypes are the keys that the environment and flags can set: scalars outside lists.
var keyTypes, keyOrder = scalarKeys()

func scalarKeys() (map[string]reflect.Type, []string) {
	types, order := map[string]reflect.Type{}, []string(nil)
	var walk func(t reflect.Type, path string)
	walk = func(t reflect.Type, path string) {
		for _, f := range fields(t) {
			at, ft := join(path, keyOf(f)), scalarType(f.Type)
			switch {
			case isScalar(ft):
				types[at], order = ft, append(order, at)
			case ft.Kind() == reflect.Struct:
				walk(ft, at)
			}
		}
	}
	walk(reflect.TypeFor[Config](), "")
	return types, order
}

const envPrefix = "SUMPBOOK_"

func variable(key string) string {
	return envPrefix + strings.ToUpper(strings.ReplaceAll(key, ".", "_"))
}

// environment reads SUMPBOOK_ variables; an empty one counts as unset.
func (l *loader) environment(env []string) error {
	keys, known := map[string]string{}, []string{envPrefix + "DATA", envPrefix + "CONFIG"}
	for _, key := range keyOrder {
		keys[variable(key)], known = key, append(known, variable(key))
	}
	for _, pair := range env {
		name, text, _ := strings.Cut(pair, "=")
		// SHARED says where tests find their data.
		if !strings.HasPrefix(name, envPrefix) || slices.Contains([]string{"DATA", "CONFIG", "SHARED"}, name[len(envPrefix):]) {
			continue
		}
		key, ok := keys[name]
		if !ok {
			return &Problem{"environment", 0, name, "there is no such variable", suggest(name, known)}
		}
		if text == "" {
			continue
		}
		if err := l.set(key, text, origin{layer: fromEnv, name: name}); err != nil {
			return err
		}
	}
	return nil
}

func (l *loader) flags(flags map[string]string) error {
	for _, key := range sortedKeys(flags) {
		name := "--" + strings.ReplaceAll(key, "_", "-")
		if _, ok := keyTypes[key]; !ok {
			return &Problem{"command line", 0, name, "there is no such key", suggest(key, keyOrder)}
		}
		if err := l.set(key, flags[key], origin{layer: fromFlag, name: name}); err != nil {
			return err
		}
	}
	return nil
}

// set lays one scalar over all layers so far, as its type wants it.
func (l *loader) set(key, text string, o origin) error {
	t := keyTypes[key]
	v, err := fromText(t, text)
	l.origins[key] = o
	if err != nil {
		return l.problem(key, want(t), "%s", err)
	}
	if !isNumber(t) {
		v = text // the decode hook reads it, as it reads the file's
	}
	l.v.Set(key, v)
	return nil
}

// problem is a mistake in the value of a key, told where the value came from.
func (l *loader) problem(key, hint, format string, args ...any) error {
	p := &Problem{Key: key, Says: fmt.Sprintf(format, args...), Hint: hint}
	switch o := l.originOf(key); o.layer {
	case fromFile, fromSettings:
		p.File, p.Line = o.file, o.line
	case fromEnv:
		p.File, p.Key = "environment", o.name
	case fromFlag:
		p.File, p.Key = "command line", o.name
	}
	return p
}

// originOf finds where a key, or else what it stands in, came from.
func (l *loader) originOf(key string) origin {
	for {
		if o, ok := l.origins[key]; ok {
			return o
		}
		i := strings.LastIndexAny(key, ".[")
		if i < 0 {
			return origin{layer: fromDefault}
		}
		key = key[:i]
	}
}

func sortedKeys[V any](m map[string]V) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
