package daemon

import (
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/config"
	"sumpbook/maintenance"
)

var update = flag.Bool("update", false, "write openapi.json anew")

const descriptionDepth = 5 // levels of openapi.json with a line for each member

func TestTheDescriptionIsThatOfTheCode(t *testing.T) {
	want := append(layout(nil, document(), 0, descriptionDepth), '\n')
	if *update {
		require.NoError(t, os.WriteFile("openapi.json", want, 0o644))
	}
	have, err := os.ReadFile("openapi.json")
	require.NoError(t, err)
	require.Equal(t, string(want), string(have), "write it anew: go test ./daemon -run Description -update")
}

// Control is left out: it is for the program's own commands, over the socket.
func TestTheDescriptionNamesEveryRoute(t *testing.T) {
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	registered := map[string]bool{}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			if pattern := routeOf(n); pattern != "" && !strings.Contains(pattern, "/control/") {
				registered[pattern] = true
			}
			return true
		})
	}
	require.ElementsMatch(t, slices.Collect(maps.Keys(registered)), slices.Collect(maps.Keys(operations)))
}

// routeOf is the pattern of a call that registers a route.
func routeOf(n ast.Node) string {
	call, ok := n.(*ast.CallExpr)
	if !ok || len(call.Args) != 2 {
		return ""
	}
	name, ok := call.Fun.(*ast.SelectorExpr)
	if !ok || name.Sel.Name != "HandleFunc" && name.Sel.Name != "Handle" {
		return ""
	}
	text, ok := call.Args[0].(*ast.BasicLit)
	if !ok {
		return "a route whose pattern is not written out"
	}
	pattern, _ := strconv.Unquote(text.Value) // the parser has read it
	return pattern
}

func readDescription(t testing.TB) described {
	t.Helper()
	var whole object
	require.NoError(t, json.Unmarshal(openAPI, &whole))
	return described{whole["components"].(object)["schemas"].(object)}
}

// What the description allows is what the book can read: each value of each field, and
// whichever fields are told together.
func TestTheDescriptionOfEntriesIsTheirDecoder(t *testing.T) {
	d := readDescription(t)
	same := func(t require.TestingT, o object) {
		line, err := json.Marshal(o)
		require.NoError(t, err)
		_, refused := maintenance.Decode(line)
		missed := d.fits("", schemaRef("Entry"), o)
		require.Equal(t, refused == nil, missed == nil, "%s\nthe book: %v\nthe description: %v", line, refused, missed)
	}
	for _, kind := range maintenance.Kinds() {
		for _, beside := range []string{"", "vessel", "pump", "grams", "vessel grams"} {
			base := baseOf(kind, strings.Fields(beside))
			for _, f := range maintenance.FieldsOf(kind) {
				right, wrong := candidates(kind, f)
				for _, v := range append(right, wrong...) {
					o := maps.Clone(base)
					o[f.Name] = v
					same(t, o)
				}
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom(maintenance.Kinds()).Draw(t, "kind")
		o := object{"kind": kind}
		for _, f := range maintenance.FieldsOf(kind) {
			if told := rapid.IntRange(0, 9).Draw(t, "told"); told < 2 || f.Must && told < 9 {
				right, _ := candidates(kind, f)
				o[f.Name] = rapid.SampledFrom(right).Draw(t, f.Name)
			}
		}
		for _, name := range []string{"note", "at", "by", "id", "prev", "oil"} {
			if rapid.IntRange(0, 9).Draw(t, "told") == 0 {
				o[name] = rapid.SampledFrom(array{"2026-11-24T21:40:00+01:00", "yesterday", "", maintenance.ZeroHash, 4.0}).Draw(t, name)
			}
		}
		same(t, o)
	})
}

// baseOf is an entry with what its kind needs, and with some more of its fields.
func baseOf(kind string, beside []string) object {
	o := object{"kind": kind, "note": "x"}
	for _, f := range maintenance.FieldsOf(kind) {
		if f.Must || slices.Contains(beside, f.Name) {
			right, _ := candidates(kind, f)
			o[f.Name] = right[0]
		}
	}
	return o
}

// candidates are values that a field may be told, at the ends of what is right and beyond.
func candidates(kind string, f maintenance.Field) (right, wrong array) {
	s := fieldSchema(kind, f)
	if items, is := s["items"].(object); is {
		in, out := numbers(items)
		return array{array{}, in, slices.Repeat(in, 50)}, array{out, array{in[0], "7"}, in[0], slices.Repeat(in, 51)}
	}
	switch {
	case s["type"] == "number":
		in, out := numbers(s)
		return in, append(out, "7", true)
	case s["type"] == "boolean":
		return array{true, false}, array{"true", 1.0}
	case s["enum"] != nil:
		return s["enum"].(array), array{"other", "", 1.0}
	case s["$ref"] == schemaRef("limits")["$ref"]:
		return array{object{}, object{"air_h": 3.0}}, array{object{"air_h": -1.0}, object{"air": 3.0}, object{"air_h": "3"}, 3.0}
	case s["$ref"] == schemaRef("time")["$ref"]:
		return array{"2026-11-24T21:40:00+01:00", "2026-11-24T21:40:00.5Z"}, array{"2026-11-24", "", 1.0}
	case s["pattern"] != nil:
		return array{"19/16/13", "28/1/0"}, array{"29/16/13", "19/16", ""}
	case s["$ref"] == schemaRef("text")["$ref"]:
		return array{"", "a b", strings.Repeat("ø", 2000)}, array{strings.Repeat("x", 2001), 7.0}
	}
	longest := map[any]int{schemaRef("name")["$ref"]: 64, schemaRef("id")["$ref"]: 200, schemaRef("action")["$ref"]: 400}[s["$ref"]]
	return array{"north", "jar-1", "a", strings.Repeat("x", longest)}, array{"a b", "", strings.Repeat("x", longest+1), "ø", 7.0}
}

// numbers are some inside a range, its ends among them, and some beyond.
func numbers(s object) (inside, beyond array) {
	high := s["maximum"].(float64)
	if low, open := s["exclusiveMinimum"].(float64); open {
		return array{high, low + 0.5}, array{low, low - 1, high + 1}
	}
	low := s["minimum"].(float64)
	inside, beyond = array{low, high}, array{low - 1, high + 1}
	if s["multipleOf"] != nil {
		beyond = append(beyond, low+0.25)
	}
	return inside, beyond
}

func TestTheDescriptionIsThatOfTheAnswers(t *testing.T) {
	d := readDescription(t)
	k, now := newTestKeeper(t, config.Default())
	h := page0(t, k)
	whole, err := json.Marshal(opening(t))
	require.NoError(t, err)
	begin := now.Add(-50 * time.Minute).Format(time.RFC3339)
	for _, one := range []struct{ route, target, body string }{
		{"POST /api/v1/entries", "", string(whole)},
		{"POST /api/v1/entries", "", `{"id":"s","kind":"start","pump":"north","at":"` + begin + `"}`},
		{"POST /api/v1/entries", "", `{"id":"e","kind":"stop","pump":"north","hot_c":68}`},
		{"POST /api/v1/entries", "?dry=1", `{"kind":"drain","pump":"north","to":"jar-1"}`},
		{"GET /api/v1/entries", "?limit=100", ""},
		{"GET /api/v1/state", "", ""},
		{"GET /api/v1/state", "?at=" + begin, ""},
		{"GET /api/v1/actions", "", ""},
		{"GET /api/v1/audit/north", "", ""},
		{"GET /api/v1/why-not/drain", "", ""},
		{"GET /api/v1/notices", "", ""},
		{"POST /api/v1/signals/north", "", `[{"power_w":3}]`},
		{"GET /api/v1/openapi.json", "", ""},
	} {
		method, path, _ := strings.Cut(one.route, " ")
		w := send(h, method, path+one.target, one.body)
		require.Equal(t, http.StatusOK, w.Code, "%s: %s", one.route, w.Body)
		requireFits(t, d, operationFor(t, one.route), one.body, w.Body.Bytes())
	}
	requireWorkings(t, d, k, h)
	bare, _ := newTestKeeper(t, config.Default())
	_, err = bare.book.Record(t.Context(), *now, opening(t)[:1])
	require.NoError(t, err)
	requireWorkings(t, d, bare, page0(t, bare)) // there is no oil to fill it with
	refused := asProblem(t, send(h, "POST", "/api/v1/entries", `{"kind":"stop","pump":"north"}`), http.StatusUnprocessableEntity)
	requireFits(t, d, operation{answer: "Problem"}, "", marshalled(t, refused))
}

// requireWorkings holds the actions and the working behind each against the description.
func requireWorkings(t testing.TB, d described, k *Keeper, h http.Handler) {
	t.Helper()
	w := send(h, "GET", "/api/v1/actions", "")
	requireFits(t, d, operations["GET /api/v1/actions"], "", w.Body.Bytes())
	actions, err := k.Actions(Moment{})
	require.NoError(t, err)
	require.NotEmpty(t, actions.Actions)
	for _, a := range actions.Actions {
		w := send(h, "GET", "/api/v1/why?action="+a.ID, "")
		require.Equal(t, http.StatusOK, w.Code, w.Body)
		requireFits(t, d, operations["GET /api/v1/why"], "", w.Body.Bytes())
	}
}

// operationFor finds the operation whose pattern a request meets.
func operationFor(t testing.TB, route string) operation {
	t.Helper()
	if op, is := operations[route]; is {
		return op
	}
	folder := route[:strings.LastIndex(route, "/")+1]
	for pattern, op := range operations {
		if rest, is := strings.CutPrefix(pattern, folder); is && strings.HasPrefix(rest, "{") {
			return op
		}
	}
	require.Fail(t, "no operation", route)
	return operation{}
}

func requireFits(t testing.TB, d described, op operation, asked string, answer []byte) {
	t.Helper()
	for schema, text := range map[string]string{op.body: asked, op.answer: string(answer)} {
		if text == "" {
			continue
		}
		var v any
		require.NoError(t, json.Unmarshal([]byte(text), &v))
		require.NoError(t, d.fits(schema, schemaRef(schema), v), text)
	}
}

func marshalled(t testing.TB, v any) []byte {
	t.Helper()
	b, err := json.Marshal(v)
	require.NoError(t, err)
	return b
}

func TestTheCheckerSeesWhatDoesNotFit(t *testing.T) {
	d := described{object{"short": object{"type": "string", "maxLength": 2.0}}}
	for i, one := range []struct {
		schema object
		v      any
	}{
		{object{"type": "integer"}, 1.5},
		{object{"$ref": "#/components/schemas/short"}, "long"},
		{object{"$ref": "#/components/schemas/none"}, "x"},
		{object{"items": object{"enum": array{"a"}}}, array{"a", "b"}},
		{object{"properties": object{"a": object{}}, "additionalProperties": false}, object{"b": 1.0}},
		{object{"oneOf": array{object{"minimum": 1.0}, object{"minimum": 2.0}}}, 3.0},
		{object{"not": object{"required": array{"a"}}}, object{"a": 1.0}},
		{object{"dependentRequired": object{"a": array{"b"}}}, object{"a": 1.0}},
		{object{"patternProperties": object{}}, object{}},
	} {
		require.Error(t, d.fits("", one.schema, one.v), fmt.Sprint("case ", i))
	}
}
