package main

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// A fixed evening in a zone that is not UTC.
func tuesday() wording {
	zone := time.FixedZone("", 3600)
	return wording{now: time.Date(2026, 11, 24, 21, 4, 0, 0, zone), zone: zone}
}

// north is the only pump of these tests; jars are vessels.
func north(name string) (pump, known bool, err error) {
	return name == "north", name == "north" || strings.HasPrefix(name, "jar-"), nil
}

func told(kind string, words []string) (maintenance.Entry, error) {
	for _, s := range shapes {
		if s.kind == kind {
			keyed, err := s.keyed(words, north)
			if err != nil {
				return maintenance.Entry{}, err
			}
			words = keyed
		}
	}
	return tuesday().entry(kind, words)
}

func TestWordsBecomeEntries(t *testing.T) {
	const now = `"at":"2026-11-24T21:04:00+01:00"`
	for _, c := range []struct{ words, want string }{
		{"drain north jar-3 640g", `{` + now + `,"kind":"drain","pump":"north","to":"jar-3","grams":640}`},
		{"drain north jar-3", `{` + now + `,"kind":"drain","pump":"north","to":"jar-3"}`},
		{"drain north 3 640g", `{` + now + `,"kind":"drain","pump":"north","to":"3","grams":640}`},
		{"drain pump=north to=jar-3 0.7qt temp=60C", `{` + now + `,"kind":"drain","pump":"north","to":"jar-3","ml":662.4470622,"temp_c":60}`},
		{"drain to=jar-3 north 640g", `{` + now + `,"kind":"drain","pump":"north","to":"jar-3","grams":640}`},
		{"fill can-1 north 700ml", `{` + now + `,"kind":"fill","pump":"north","from":"can-1","ml":700}`},
		{"filter jar-1 can-1 1 lb 10 oz minutes=0:20", `{` + now + `,"kind":"filter","from":"jar-1","to":"can-1","grams":737.08760125,"minutes":20}`},
		{"separate jar-4 jar-5 water=42g", `{` + now + `,"kind":"separate","from":"jar-4","to":"jar-5","water_g":42}`},
		{"separate jar-4 jar-5 water_g=42", `{` + now + `,"kind":"separate","from":"jar-4","to":"jar-5","water_g":42}`},
		{"weigh jar-1 612g", `{` + now + `,"kind":"weigh","vessel":"jar-1","grams":612}`},
		{"weigh north 700ml", `{` + now + `,"kind":"weigh","pump":"north","ml":700}`},
		{"weigh vessel=north 700ml", `{` + now + `,"kind":"weigh","vessel":"north","ml":700}`},
		{"weigh jar-1 gross=1180g", `{` + now + `,"kind":"weigh","vessel":"jar-1","gross_g":1180}`},
		{"inspect jar-1 look=clear", `{` + now + `,"kind":"inspect","vessel":"jar-1","look":"clear"}`},
		{"vacuum north 40mTorr", `{` + now + `,"kind":"vacuum","pump":"north","pa":5.332894736842105}`},
		{"care gasket north", `{` + now + `,"kind":"care","task":"gasket","pump":"north"}`},
		{"care gasket", `{` + now + `,"kind":"care","task":"gasket"}`},
		{"note north belt changed", `{` + now + `,"kind":"note","pump":"north","note":"belt changed"}`},
		{"note north", `{` + now + `,"kind":"note","note":"north"}`},
		{"note ordered oil", `{` + now + `,"kind":"note","note":"ordered oil"}`},
		{"note \u22125 outside", `{` + now + `,"kind":"note","note":"-5 outside"}`},
		{"stop north hot_c=154.4F at=20:44", `{"at":"2026-11-24T20:44:00+01:00","kind":"stop","pump":"north","hot_c":68}`},
		{"load north 4kg trays=2kg,2000g", `{` + now + `,"kind":"load","pump":"north","grams":4000,"trays_g":[2000,2000]}`},
		{"yield north trays=400g,500.5g", `{` + now + `,"kind":"yield","pump":"north","grams":900.5,"trays_g":[400,500.5]}`},
		{"pump north charge=700ml limits.air_h=3 limits.full_fraction=95%", `{` + now + `,"kind":"pump","pump":"north","charge_ml":700,"limits":{"air_h":3,"full_fraction":0.95}}`},
		{"vessel waste-1 waste=yes", `{` + now + `,"kind":"vessel","vessel":"waste-1","waste":true}`},
		{"snooze drain/north/a until=+2h", `{` + now + `,"kind":"snooze","action":"drain/north/a","until":"2026-11-24T23:04:00+01:00"}`},
		{"snooze drain/north/a tomorrow 07:00", `{` + now + `,"kind":"snooze","action":"drain/north/a","until":"2026-11-25T07:00:00+01:00"}`},
		{"snooze drain/north/a until=+2h at=20:00", `{"at":"2026-11-24T20:00:00+01:00","kind":"snooze","action":"drain/north/a","until":"2026-11-24T22:00:00+01:00"}`},
		{"void entry=01A", `{` + now + `,"kind":"void","entry":"01A"}`},
	} {
		words := strings.Fields(c.words)
		e, err := told(words[0], words[1:])
		require.NoError(t, err, c.words)
		require.Equal(t, c.want, string(maintenance.Encode(e)), c.words)
	}
}

func TestWordsThatCannotBe(t *testing.T) {
	for _, c := range []struct{ words, says, hint string }{
		{"drain north", "drain: TO is missing", "write: sumpbook drain PUMP TO [AMOUNT] [key=value …]"},
		{"drain north 640g", "drain: TO is missing", "write: sumpbook drain PUMP TO [AMOUNT] [key=value …]"},
		{"drain north jar-3 640", `drain: the amount "640" has no unit`, "write it like 640g or 640ml"},
		{"drain north jar-3 640 g jar-4", `drain: "640 g jar-4" is no amount`, "write: sumpbook drain PUMP TO [AMOUNT] [key=value …]"},
		{"pour jar-1 jar-2 8oz", `pour: "8oz" may be a weight or a volume`, "write grams=8oz or ml=8oz"},
		{"load north 4l", `load: "4l" is no amount`, "write: sumpbook load PUMP AMOUNT [key=value …]"},
		{"start north now", `start: "now" is one word too many`, "write: sumpbook start PUMP [key=value …]"},
		{"separate jar-4 jar-5 water=42", `water_g: convert "42" to g: no unit is given`, "give a number in [0,10000000] g"},
		{"separate jar-4 jar-5 watr=42g", `watr: a separate has no "watr"`, "did you mean water_g?"},
		{"drain north jar-3 grams=700ml", `grams: read "700ml": ml is a unit of volume; a mass is written like 640g or 1 lb 6 oz`, "give a number in (0,10000000] g"},
		{"drain north jar-3 grams=1 grams=2", "grams: the field is given twice", "name each field once"},
		{"drain north jar-3 grams=-1", "grams: -1 is out of range", "give a number in (0,10000000] g"},
		{"vessel jar-1 waste=perhaps", `waste: "perhaps" is neither yes nor no`, "give true or false"},
		{"inspect jar-1 look=good", `look: "good" cannot be so`, "give one of clear, hazy, milky, dark"},
		{"pump north limits.aire=3", `limits.aire: a pump has no "limits.aire"`, "did you mean limits.air_h?"},
		{"pump north limits.air_h=-1", "limits.air_h: -1 is out of range", "give 0 to 1000 h"},
		{"stop north at=25:99", `at: read time "25:99": there is no such time of day`, "give a time such as 21:40, 20m ago or 2026-11-24 20:24"},
		{"fll x=1", `kind: "fll" is no kind of entry`, "did you mean fill?"},
	} {
		words := strings.Fields(c.words)
		_, err := told(words[0], words[1:])
		require.EqualError(t, err, c.says, c.words)
		require.Equal(t, c.hint, hintOfAny(err), c.words)
	}
}

func hintOfAny(err error) string {
	var u *usageError
	if errors.As(err, &u) {
		return u.hint
	}
	return hintOf(err)
}

func TestEveryExampleIsUnderstood(t *testing.T) {
	for _, s := range shapes {
		require.NotEmpty(t, s.examples, s.kind)
		for _, example := range s.examples {
			_, err := told(s.kind, shellWords(example)[1:])
			require.NoError(t, err, example)
		}
	}
}

// shellWords splits at blanks outside double quotes.
func shellWords(line string) []string {
	var words []string
	quoted := false
	for _, part := range strings.FieldsFunc(line, func(r rune) bool {
		if r == '"' {
			quoted = !quoted
		}
		return r == ' ' && !quoted
	}) {
		words = append(words, strings.ReplaceAll(part, `"`, ""))
	}
	return words
}

func TestEveryUnitOfTheKindsIsReadable(t *testing.T) {
	for _, kind := range maintenance.Kinds() {
		for _, f := range maintenance.FieldsOf(kind) {
			if f.Unit != "" {
				require.NotEqual(t, "1", string(unitOf("", f.Unit)), "%s %s", kind, f.Name)
			}
		}
	}
}

func FuzzWords(f *testing.F) {
	f.Add("drain north jar-3 640g")
	f.Add("stop north hot_c=68C at=20m\u00a0ago")
	f.Add("pump north limits.air_h=3 note=\xff\x1b[2J")
	f.Add("snooze a/b/c +2h")
	f.Fuzz(func(t *testing.T, line string) {
		words := strings.Fields(line)
		if len(words) == 0 {
			return
		}
		e, err := told(words[0], words[1:])
		if err != nil {
			var r *maintenance.Rejection
			var u *usageError
			require.True(t, errors.As(err, &r) || errors.As(err, &u), "%T: %v", err, err)
			return
		}
		again, err := maintenance.Decode(maintenance.Encode(e))
		require.NoError(t, err)
		require.Equal(t, maintenance.Content(e), maintenance.Content(again))
	})
}
