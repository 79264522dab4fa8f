package maintenance

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"
)

// wanting are the members without which a kind is refused.
var wanting = map[string]string{
	"pump": `"pump":"north"`, "vessel": `"vessel":"jar-1"`, "medium": `"medium":"paper"`, "lot": `"lot":"l","vessel":"can-1","grams":5`,
	"weigh": `"vessel":"jar-1","grams":5`, "load": `"pump":"north","grams":5`, "start": `"pump":"north"`, "stop": `"pump":"north"`,
	"yield": `"pump":"north","grams":5`, "drain": `"pump":"north","to":"jar-1"`, "fill": `"pump":"north","from":"can-1"`,
	"pour": `"from":"a","to":"b"`, "decant": `"from":"a","to":"b"`, "filter": `"from":"a","to":"b"`, "freeze": `"vessel":"jar-1"`,
	"separate": `"from":"a","to":"b","water_g":1`, "discard": `"from":"a"`, "inspect": `"vessel":"jar-1","look":"clear"`,
	"vacuum": `"pump":"north","pa":2`, "care": `"task":"gasket"`, "snooze": `"action":"drain/north/c1","until":"2026-03-01T06:00:00Z"`,
	"skip": `"action":"drain/north/c1","note":"no"`, "void": `"entry":"e1"`, "note": `"note":"words"`,
}

// with is a line of a kind in which one field has a raw value.
func with(kind, name, raw string) []byte {
	var members []string
	for _, m := range strings.Split(wanting[kind], ",") {
		if strings.HasPrefix(m, `"`+name+`":`) || m == `"grams":5` && (name == "ml" || name == "gross_g") {
			continue
		}
		members = append(members, m)
	}
	if name == "temp_c" {
		members = append(members, `"ml":5`)
		members = remove(members, `"grams":5`)
	}
	if name == "pump" && (kind == "weigh" || kind == "inspect" || kind == "note") {
		members = remove(members, `"vessel":"jar-1"`)
	}
	return []byte(`{"kind":"` + kind + `",` + strings.Join(append(members, `"`+name+`":`+raw), ",") + `}`)
}

// without is a line of a kind that lacks a field.
func without(kind, name string) []byte {
	members := []string{`"kind":"` + kind + `"`}
	for _, m := range strings.Split(wanting[kind], ",") {
		if !strings.HasPrefix(m, `"`+name+`":`) {
			members = append(members, m)
		}
	}
	return []byte("{" + strings.Join(members, ",") + "}")
}

func remove(all []string, one string) []string {
	var kept []string
	for _, s := range all {
		if s != one {
			kept = append(kept, s)
		}
	}
	return kept
}

func requireRefused(t *testing.T, line []byte, field string) *Rejection {
	t.Helper()
	_, err := Decode(line)
	var r *Rejection
	require.ErrorAs(t, err, &r, "%s", line)
	require.Equal(t, field, r.Field, "%s", line)
	require.NotEmpty(t, r.Hint)
	return r
}

func requireTaken(t *testing.T, line []byte) {
	t.Helper()
	e, err := Decode(line)
	require.NoError(t, err, "%s", line)
	again, err := Decode(Encode(e))
	require.NoError(t, err)
	require.Equal(t, Content(e), Content(again))
}

func TestEveryKind(t *testing.T) {
	require.Len(t, Kinds(), 24)
	for _, kind := range Kinds() {
		t.Run(kind, func(t *testing.T) {
			require.Contains(t, wanting, kind)
			requireTaken(t, []byte(`{"kind":"`+kind+`",`+wanting[kind]+`}`))
			requireRefused(t, with(kind, "flavour", `1`), "flavour")
			for _, f := range FieldsOf(kind) {
				require.NotEmpty(t, f.Doc, f.Name)
				require.NotEmpty(t, f.Want(), f.Name)
				if f.Unit != "" {
					require.Contains(t, f.Range, ",", "%s has a unit and no range", f.Name)
				}
				if f.Must {
					requireRefused(t, without(kind, f.Name), f.Name)
				}
			}
		})
	}
	require.Nil(t, FieldsOf("drian"))
	_, ok := NewAct("drian")
	require.False(t, ok)
}

// Each number is taken at both ends of its documented range and refused beyond them.
func TestEveryRange(t *testing.T) {
	for _, kind := range Kinds() {
		for _, f := range FieldsOf(kind) {
			if f.Range == "" {
				continue
			}
			t.Run(kind+" "+f.Name, func(t *testing.T) {
				var low, high float64
				_, err := fmt.Sscanf(f.Range[1:], "%g,%g", &low, &high)
				require.NoError(t, err)
				as := func(v float64) []byte {
					raw := fmt.Sprint(v)
					if f.Type.Kind() == reflect.Slice {
						raw = "[" + raw + "]"
					}
					return with(kind, f.Name, raw)
				}
				requireTaken(t, as(high))
				requireRefused(t, as(math.Nextafter(high, math.Inf(1))), f.Name)
				requireRefused(t, as(math.Nextafter(low, math.Inf(-1))), f.Name)
				if f.Range[0] == '(' {
					requireRefused(t, as(low), f.Name)
				} else {
					requireTaken(t, as(low))
				}
			})
		}
	}
}

func TestEveryTypeIsStrict(t *testing.T) {
	for _, c := range []struct{ kind, name, raw string }{
		{"load", "trays_g", `5`}, {"load", "trays_g", `[1,"2"]`}, {"load", "trays_g", `[` + strings.Repeat("1,", 100) + `1]`},
		{"load", "weighed", `"wet"`}, {"load", "weighed", `5`}, {"weigh", "stage", `"old"`}, {"weigh", "grams", `true`}, {"weigh", "grams", `null`},
		{"vessel", "waste", `"yes"`}, {"vessel", "waste", `1`}, {"snooze", "until", `"tomorrow"`}, {"snooze", "until", `5`},
		{"pump", "limits", `5`}, {"pump", "limits", `{"air_h":"2"}`}, {"void", "entry", `""`}, {"void", "entry", `"a b"`},
		{"inspect", "particles", `"19/16"`}, {"inspect", "particles", `"29/16/13"`}, {"inspect", "colour", `0.75`},
		{"note", "id", `"a b"`}, {"note", "id", `5`}, {"note", "seq", `-1`}, {"note", "seq", `"1"`}, {"note", "hash", `"abc"`}, {"note", "prev", `5`},
		{"note", "recorded", `"now"`}, {"note", "by", `5`}, {"note", "kind", `5`}, {"vessel", "name", `"` + strings.Repeat("x", 2001) + `"`},
		{"note", "hash", `"` + strings.Repeat("G", 64) + `"`}, {"vacuum", "pa", `1e400`}, {"note", "at", `"1970-01-01T00:30:00+01:00"`}, {"note", "at", `"2026-03-01T06:00:00"`},
	} {
		requireRefused(t, with(c.kind, c.name, c.raw), c.name)
	}
	for _, c := range []struct{ kind, name, raw string }{
		{"load", "trays_g", `[]`}, {"load", "trays_g", `[1,2.5]`}, {"inspect", "particles", `"28/28/0"`}, {"inspect", "colour", `8`},
		{"vessel", "waste", `false`}, {"pump", "limits", `{}`}, {"note", "at", `"1969-12-31T23:30:00-01:00"`}, {"note", "seq", `3`},
		{"note", "recorded", `"2026-03-01T06:00:00.123Z"`}, {"note", "hash", `"` + strings.Repeat("a", 64) + `"`},
		{"vessel", "name", `"` + strings.Repeat("ü", 2000) + `"`}, {"weigh", "pump", `"north"`},
	} {
		requireTaken(t, with(c.kind, c.name, c.raw))
	}
}

func TestEntriesAreRefusedAsAWhole(t *testing.T) {
	for field, line := range map[string]string{
		"vessel":  `{"kind":"weigh","grams":5}`,
		"pump":    `{"kind":"start"}`,
		"grams":   `{"kind":"lot","lot":"l","vessel":"can-1"}`,
		"temp_c":  `{"kind":"weigh","vessel":"jar-1","grams":5,"temp_c":20}`,
		"gross_g": `{"kind":"weigh","pump":"north","gross_g":5}`,
		"":        `{"kind":"inspect","vessel":"jar-1"}`,
		"note":    `{"kind":"skip","action":"drain/north/c1"}`,
		"ml":      `{"kind":"pour","from":"a","to":"b","grams":1,"ml":2}`,
	} {
		requireRefused(t, []byte(line), field)
	}
	requireRefused(t, []byte(`{"kind":"weigh","grams":5,"vessel":"a","pump":"b"}`), "vessel")
	requireRefused(t, []byte(`{"kind":"inspect","look":"clear"}`), "vessel")
	requireRefused(t, []byte(`{"kind":"note"}`), "note")
	requireRefused(t, []byte(`{"kind":"note","note":"`+strings.Repeat("x", MaxLine)+`"}`), "")
	for _, line := range []string{``, `{`, `{"kind"}`, `{"kind":}`, `{"kind":"note",`, `nul`, `{"kind":"note","note":"x"}}`} {
		requireRefused(t, []byte(line), requireSyntax(t, line))
	}
}

// requireSyntax gives the field that broken JSON is refused with: whichever stands there.
func requireSyntax(t *testing.T, line string) string {
	_, err := Decode([]byte(line))
	var r *Rejection
	require.ErrorAs(t, err, &r)
	return r.Field
}

func TestAValueInAnErrorIsShort(t *testing.T) {
	r := requireRefused(t, with("load", "weighed", `"`+strings.Repeat("ü", 1000)+`"`), "weighed")
	require.Less(t, len([]rune(r.Says)), 100)
	require.Contains(t, r.Says, "…")
}

func TestAnEntryIsItsLineInJSON(t *testing.T) {
	_, err := Decode([]byte(`{"kind":"load","pump":"north","grams":-0.0e1,"trays_g":[1,2]}`))
	require.Error(t, err, "nothing is no load")
	e := Entry{ID: "a", At: day0, Act: &LoadAct{Pump: "north", Grams: num(5), TraysG: []float64{1, math.Copysign(0, -1)}}}
	b, err := json.Marshal([]Entry{e})
	require.NoError(t, err)
	require.Equal(t, `[{"id":"a","at":"2026-03-01T06:00:00Z","kind":"load","pump":"north","grams":5,"trays_g":[1,0]}]`, string(b))
	var back []Entry
	require.NoError(t, json.Unmarshal(b, &back))
	require.Equal(t, Content(e), Content(back[0]))
	require.Error(t, json.Unmarshal([]byte(`[{"kind":"drian"}]`), &back))
	require.Equal(t, `{"id":"x"}`, string(Encode(Entry{ID: "x"})), "an action's record may lack its act")
}

func TestALineOfAnotherChainIsNoticed(t *testing.T) {
	e := Seal(Entry{ID: "a", At: day0, Act: &NoteAct{}, Note: "x"}, 1, day0.In(time.FixedZone("", 3600)), ZeroHash)
	require.Equal(t, time.UTC, e.Recorded.Location())
	require.NoError(t, CheckLine(Encode(e), ZeroHash))
	require.Error(t, CheckLine([]byte(`{"id":"a"}`), ZeroHash))
}

func TestLimits(t *testing.T) {
	require.Len(t, LimitSpecs(), 19)
	for _, s := range LimitSpecs() {
		t.Run(s.Key, func(t *testing.T) {
			require.NotEmpty(t, s.Source)
			require.NotEmpty(t, s.Unit)
			var l Limits
			*s.field(&l) = num(s.Low)
			require.NoError(t, l.Check())
			require.Equal(t, s.Low, **s.field(ptr(l.Over(DefaultLimits()))), "what is set wins")
			*s.field(&l) = num(math.Nextafter(s.High, math.Inf(1)))
			var r *Rejection
			require.ErrorAs(t, l.Check(), &r)
			require.Equal(t, "limits."+s.Key, r.Field)
			*s.field(&l) = num(math.NaN())
			require.Error(t, l.Check())
			if s.Default != nil {
				require.Equal(t, *s.Default, **s.field(ptr(Limits{}.Over(DefaultLimits()))), "else what stands behind it")
				require.True(t, *s.Default >= s.Low && *s.Default <= s.High)
			}
		})
	}
}

func ptr[T any](v T) *T { return &v }

func TestStagesFromLeastToMost(t *testing.T) {
	require.Equal(t, []Stage{Waste, Residue, Freezing, Drained, Recovered, Decanted, Filtered, New}, stages)
	for i, s := range stages {
		require.Equal(t, s, leastOf(s, NoStage), "an empty part changes nothing")
		for _, more := range stages[i:] {
			require.Equal(t, s, leastOf(more, s))
		}
	}
}
