package maintenance_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const module = "sumpbook"

// A room is what a package may import directly. Test files are not asked.
type room struct {
	ours   string // packages of ours, by their folder
	std    string // of the standard library; empty: all of it
	others string // modules of others, by a part of their path that is theirs alone
	clock  string // file:call pairs that may read the clock or wait; "*": all
}

// calculates is the part of the standard library that touches nothing outside.
const calculates = "bytes cmp crypto/sha256 encoding/hex errors fmt maps math math/big math/bits reflect regexp slices sort strconv strings time unicode unicode/utf8"

// rooms is the map of DEVELOPERS.md. A package imports only from what stands to its right:
//
//	cmd/sumpbook > config, daemon > daemon/journal, daemon/web, daemon/calendar > notify > maintenance > physics, units, signal
//
// A line changes only together with that map, and with a reason.
var rooms = map[string]room{
	"maintenance/physics":   {std: calculates},
	"maintenance/units":     {std: calculates},
	"maintenance/signal":    {std: calculates + " bufio io", others: "go-json-experiment/json"}, // reads traces from a reader
	"maintenance/learn":     {std: calculates},
	"maintenance/chart":     {std: calculates},
	"maintenance/simulated": {std: calculates + " math/rand/v2"}, // seeded; imported by tests alone
	"maintenance/witness":   {std: calculates + " encoding/json os os/exec path/filepath testing", others: "stretchr/testify"},
	"maintenance": {ours: "maintenance/physics maintenance/units maintenance/signal maintenance/learn maintenance/chart", std: calculates + " sync", // remembers grades
		others: "go-json-experiment/json"},
	"notify": {ours: "maintenance", others: "go-json-experiment/json standard-webhooks wneessen/go-mail eclipse/paho.golang godbus/dbus webpush-go"},
	"daemon/journal": {ours: "maintenance notify", others: "go-json-experiment/json go.etcd.io/bbolt",
		clock: "os_unix.go:Sleep"}, // waits a second in all for another's lock
	"daemon/web":      {ours: "maintenance maintenance/units notify", others: "go-json-experiment/json"},
	"daemon/calendar": {ours: "maintenance notify", std: calculates + " net/url", others: "arran4/golang-ical go-json-experiment/json"},
	"daemon": {ours: "config daemon/calendar daemon/journal daemon/web maintenance maintenance/physics maintenance/signal maintenance/units notify",
		others: "go-json-experiment/json coreos/go-systemd eclipse/paho.golang oklog/ulid robfig/cron", clock: "*"},
	"config": {ours: "maintenance notify", others: "spf13/viper go-viper/mapstructure go.yaml.in/yaml robfig/cron"},
	"cmd/sumpbook": {ours: "config daemon maintenance maintenance/physics maintenance/signal maintenance/units notify",
		others: "go-json-experiment/json oklog/ulid spf13/cobra spf13/pflag golang.org/x/term", clock: "*"},
}

func TestArrowsAndClocks(t *testing.T) {
	found := sources(t, "..")
	require.ElementsMatch(t, slices.Collect(maps.Keys(rooms)), slices.Collect(maps.Keys(found)), "a package is added or removed on the map first")
	for folder, files := range found {
		for _, name := range files {
			file, err := parser.ParseFile(token.NewFileSet(), filepath.Join("..", folder, name), nil, parser.SkipObjectResolution)
			require.NoError(t, err)
			require.Empty(t, rooms[folder].trespasses(name, file), "%s/%s", folder, name)
		}
	}
}

func TestTrespassesAreSeen(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "x.go", `package x
import ("os"; "time"; clock "time"; "sumpbook/daemon"; "go.etcd.io/bbolt")
var read = time.Now
func f() { time.Sleep(1); _ = os.Args; _ = clock.UTC }`, 0)
	require.NoError(t, err)
	require.Equal(t, []string{
		"imports os", "imports time under another name", "imports sumpbook/daemon", "imports go.etcd.io/bbolt", "calls time.Now", "calls time.Sleep",
	}, rooms["maintenance/physics"].trespasses("x.go", file))
	require.Equal(t, []string{"imports time under another name", "imports sumpbook/daemon", "calls time.Now"},
		rooms["daemon/journal"].trespasses("os_unix.go", file))
}

// sources lists the files of each package of the module, tests left out.
func sources(t *testing.T, root string) map[string][]string {
	found := map[string][]string{}
	err := filepath.WalkDir(root, func(at string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			if err == nil && d.Name() != ".." && (d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".")) {
				return fs.SkipDir
			}
			return err
		}
		if strings.HasSuffix(at, ".go") && !strings.HasSuffix(at, "_test.go") {
			inside, err := filepath.Rel(root, filepath.Dir(at))
			found[filepath.ToSlash(inside)] = append(found[filepath.ToSlash(inside)], d.Name())
			return err
		}
		return nil
	})
	require.NoError(t, err)
	return found
}

// trespasses lists what a file of the room imports or calls and may not.
func (r room) trespasses(name string, file *ast.File) (all []string) {
	for _, spec := range file.Imports {
		imported, _ := strconv.Unquote(spec.Path.Value) // the parser has read it
		switch {
		case !r.admits(imported):
			all = append(all, "imports "+imported)
		case imported == "time" && spec.Name != nil && spec.Name.Name != "_":
			all = append(all, "imports time under another name") // the scan below knows it by this one
		}
	}
	ast.Inspect(file, func(n ast.Node) bool {
		if call, ok := clockCall(n); ok && r.clock != "*" && !listed(r.clock, name+":"+call) {
			all = append(all, "calls time."+call)
		}
		return true
	})
	return all
}

func (r room) admits(imported string) bool {
	if inside, ok := strings.CutPrefix(imported, module+"/"); ok {
		return listed(r.ours, inside)
	}
	if first, _, _ := strings.Cut(imported, "/"); !strings.Contains(first, ".") {
		return r.std == "" || listed(r.std, imported)
	}
	return slices.ContainsFunc(strings.Fields(r.others), func(other string) bool { return strings.Contains(imported, other) })
}

func listed(words, one string) bool { return slices.Contains(strings.Fields(words), one) }

// clockCall finds what reads the clock or arms a timer: elsewhere now is an argument.
func clockCall(n ast.Node) (string, bool) {
	sel, ok := n.(*ast.SelectorExpr)
	if !ok {
		return "", false
	}
	id, ok := sel.X.(*ast.Ident)
	return sel.Sel.Name, ok && id.Name == "time" &&
		listed("Now Since Until After AfterFunc Sleep Tick NewTimer NewTicker", sel.Sel.Name)
}
