package signal_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance/signal"
)

// The document and the answers of RFC 6901, section 5.
func TestPointerExamplesOfTheRFC(t *testing.T) {
	doc := []byte(`{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}`)
	for pointer, want := range map[string]string{
		"": string(doc), "/foo": `["bar","baz"]`, "/foo/0": `"bar"`, "/": "0", "/a~1b": "1", "/c%d": "2", "/e^f": "3",
		"/g|h": "4", `/i\j`: "5", `/k"l`: "6", "/ ": "7", "/m~0n": "8",
	} {
		got, err := signal.Pointer(doc, pointer)
		require.NoError(t, err, pointer)
		require.Equal(t, want, string(got), pointer)
	}
}

func TestPointerIsStrict(t *testing.T) {
	doc := []byte(`{"a":[10,[20]],"~1":5,"n":null,"s":"text"}`)
	for pointer, says := range map[string]string{
		"a": "begun with /", "#/a": "begun with /", "/a/00": "no index", "/a/01": "no index", "/a/+1": "no index", "/a/-1": "no index",
		"/a/-": "no index", "/a/2": "no element 2", "/a/1/0/0": "step 4", "/~2": "~0", "/a~": "~0", "/b": `no member "b"`, "/A": "no member",
		"/n/x": "neither object nor array", "/s/0": "neither object nor array", "/a/99999999999999999999": "no index", "/a/": "no index",
	} {
		_, err := signal.Pointer(doc, pointer)
		require.ErrorContains(t, err, says, pointer)
	}
	got, err := signal.Pointer(doc, "/~01")
	require.NoError(t, err)
	require.Equal(t, "5", string(got), "~01 is ~1, not a slash")
	got, err = signal.Pointer(doc, "/a/1/0")
	require.NoError(t, err)
	require.Equal(t, "20", string(got))
}

func TestPointerRefusesHostilePayloads(t *testing.T) {
	for name, c := range map[string]struct{ doc, says string }{
		"too long":        {`{"p":"` + strings.Repeat("x", 64<<10) + `"}`, "at most 65536"},
		"no UTF-8":        {"{\"p\":\"\xff\"}", "not UTF-8"},
		"name twice":      {`{"p":1,"p":2}`, "duplicate"},
		"name twice deep": {`{"p":1,"q":[{"x":1,"x":2}]}`, "duplicate"},
		"cut":             {`{"p":1`, "no JSON"},
		"more behind":     {`{"p":1} {"p":2}`, "more behind"},
		"deep":            {strings.Repeat("[", 30000) + strings.Repeat("]", 30000), "depth"},
		"empty":           {"", "no JSON"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := signal.Pointer([]byte(c.doc), "/p")
			require.ErrorContains(t, err, c.says)
		})
	}
}

func TestPointerTakesAPayloadOfTheFullSize(t *testing.T) {
	got, err := signal.Pointer([]byte(`{"p":1}`+strings.Repeat(" ", 64<<10-7)), "/p")
	require.NoError(t, err)
	require.Equal(t, "1", string(got))
}

func TestFieldReadsTheShapesSourcesSend(t *testing.T) {
	for _, c := range []struct {
		payload string
		field   signal.Field
		want    float64
	}{
		{`{"power": 76.3, "energy": 4.5}`, signal.Field{Pointer: "/power"}, 76.3},
		{`{"ENERGY": {"Power": 19, "Total": 38.455}}`, signal.Field{Pointer: "/ENERGY/Power"}, 19},
		{`23.4`, signal.Field{}, 23.4},
		{" 23.4\r\n", signal.Field{}, 23.4},
		{`"23.4"`, signal.Field{}, 23.4},
		{`23,4`, signal.Field{DecimalComma: true}, 23.4},
		{`{"result": {"watts": "12,3"}}`, signal.Field{Pointer: "/result/watts", DecimalComma: true}, 12.3},
		{`{"p": "-1.5e2"}`, signal.Field{Pointer: "/p"}, -150},
		{`{"p": 3500}`, signal.Field{Pointer: "/p", Scale: 0.1}, 350},
		{`{"t": 154.4}`, signal.Field{Pointer: "/t", Scale: 5. / 9, Offset: -160. / 9}, 68},
		{`{"p": true}`, signal.Field{Pointer: "/p"}, 1},
		{`{"p": false}`, signal.Field{Pointer: "/p"}, 0},
		{`ON`, signal.Field{On: []string{"ON"}, Off: []string{"OFF"}}, 1},
		{`{"state": "OFF"}`, signal.Field{Pointer: "/state", On: []string{"ON"}, Off: []string{"OFF"}}, 0},
		{`[{"s": 2}]`, signal.Field{Pointer: "/0/s", On: []string{"1", "2"}, Off: []string{"0"}}, 1},
	} {
		got, err := c.field.Value([]byte(c.payload))
		require.NoError(t, err, c.payload)
		require.InDelta(t, c.want, got, 1e-9, c.payload)
	}
}

func TestFieldRefuses(t *testing.T) {
	for _, c := range []struct {
		payload string
		field   signal.Field
		says    string
	}{
		{`{"p": "12,3"}`, signal.Field{Pointer: "/p"}, "set decimal to comma"},
		{`{"p": "1.234,5"}`, signal.Field{Pointer: "/p", DecimalComma: true}, "is no number"},
		{`{"p": null}`, signal.Field{Pointer: "/p"}, "stands null"},
		{`{"p": {}}`, signal.Field{Pointer: "/p"}, "stands an object"},
		{`{"p": [1]}`, signal.Field{Pointer: "/p"}, "stands an array"},
		{`{"p": "NaN"}`, signal.Field{Pointer: "/p"}, "is no number"},
		{`{"p": NaN}`, signal.Field{Pointer: "/p"}, "no JSON"},
		{`inf`, signal.Field{}, "is no number"},
		{`unavailable`, signal.Field{}, "is no number"},
		{`{"p": 1e999}`, signal.Field{Pointer: "/p"}, "is no number"},
		{`{"p": 1e308}`, signal.Field{Pointer: "/p", Scale: 100}, "out of range"},
		{`{"p": -1e308}`, signal.Field{Pointer: "/p", Scale: 100}, "out of range"},
		{`{"p": "0x1p4"}`, signal.Field{Pointer: "/p"}, "is no number"},
		{`{"p": "1_000"}`, signal.Field{Pointer: "/p"}, "is no number"},
		{`{"p": "23.4 W"}`, signal.Field{Pointer: "/p"}, "is no number"},
		{``, signal.Field{}, "is no number"},
		{`{"p": "unknown"}`, signal.Field{Pointer: "/p", On: []string{"ON"}, Off: []string{"OFF"}}, "neither on (ON) nor off (OFF)"},
		{"\xff", signal.Field{}, "not UTF-8"},
	} {
		_, err := c.field.Value([]byte(c.payload))
		require.ErrorContains(t, err, c.says, c.payload)
	}
}

func TestFieldCheck(t *testing.T) {
	require.NoError(t, signal.Field{Pointer: "/a~0b/0", Scale: 0.1}.Check())
	require.ErrorContains(t, signal.Field{Pointer: "power"}.Check(), "begun with /")
	require.ErrorContains(t, signal.Field{Scale: math.NaN()}.Check(), "finite")
	require.ErrorContains(t, signal.Field{Offset: math.Inf(1)}.Check(), "finite")
}

func TestMoment(t *testing.T) {
	for payload, want := range map[string]string{
		`{"at":"2026-01-10T07:00:00+01:00"}`: "2026-01-10T06:00:00Z",
		`{"at":"2026-01-10T07:00:00.25Z"}`:   "2026-01-10T07:00:00.25Z",
		`{"at":"2026-01-10T07:00:00"}`:       "2026-01-10T06:00:00Z",
		`{"at":"2026-07-10 07:00:00"}`:       "2026-07-10T05:00:00Z",
		`{"at":1768028400}`:                  "2026-01-10T07:00:00Z",
		`{"at":"1768028400"}`:                "2026-01-10T07:00:00Z",
		`{"at":1768028400.5}`:                "2026-01-10T07:00:00.5Z",
		`{"at":1768028400250}`:               "2026-01-10T07:00:00.25Z",
		`{"at":0}`:                           "1970-01-01T00:00:00Z",
	} {
		got, err := signal.Moment([]byte(payload), "/at", berlin(t))
		require.NoError(t, err, payload)
		require.Equal(t, want, got.UTC().Format(time.RFC3339Nano), payload)
	}
	for payload, says := range map[string]string{
		`{"at":"yesterday"}`: "is no time", `{"at":-5}`: "no time since 1970", `{"at":1e300}`: "no time since 1970", `{"at":null}`: "stands null",
		`{}`: "no member", `{"at":"2026-13-10T07:00:00"}`: "is no time",
	} {
		_, err := signal.Moment([]byte(payload), "/at", berlin(t))
		require.ErrorContains(t, err, says, payload)
	}
	_, err := signal.Moment([]byte(`{"at":"2026-01-10T07:00:00"}`), "/at", nil)
	require.ErrorContains(t, err, "no zone is given")
}

func FuzzPointer(f *testing.F) {
	f.Add([]byte(`{"foo":["bar",{"a/b":1.5}],"":0,"m~n":"12,3"}`), "/foo/1/a~1b")
	f.Add([]byte(`23.4`), "")
	f.Add([]byte("\xff[[{"), "/0/~01")
	f.Add([]byte(`{"at":"2026-10-25 02:30:00","p":1e308}`), "/at")
	zone := berlin(f)
	f.Fuzz(func(t *testing.T, doc []byte, pointer string) {
		raw, err := signal.Pointer(doc, pointer)
		if err == nil {
			again, err := signal.Pointer(raw, "")
			require.NoError(t, err, "what a pointer gives is itself JSON")
			require.Equal(t, string(raw), string(again))
		}
		if value, err := (signal.Field{Pointer: pointer, Scale: 10, DecimalComma: true}).Value(doc); err == nil {
			require.False(t, math.IsNaN(value) || math.IsInf(value, 0))
		}
		if at, err := signal.Moment(doc, pointer, zone); err == nil {
			require.Less(t, at.UTC().Year(), 10001)
		}
	})
}
