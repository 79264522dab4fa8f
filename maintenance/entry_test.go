package maintenance

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestDecodeRefuses(t *testing.T) {
	for _, c := range []struct{ line, field, says, hint string }{
		{`{"kind":"drian","pump":"north"}`, "kind", "no kind of entry", "drain"},
		{`{"pump":"north"}`, "kind", "missing", "drain"},
		{`{"kind":"drain","pump":"north","to":"jar-1","gram":5}`, "gram", "no such field", "grams"},
		{`{"kind":"drain","pump":"north"}`, "to", "needs it", "name"},
		{`{"kind":"drain","pump":"North","to":"jar-1"}`, "pump", "cannot be so", "a–z"},
		{`{"kind":"drain","pump":"north","pump":"south","to":"jar-1"}`, "pump", "given twice", "once"},
		{`{"kind":"drain","pump":"north","to":"jar-1","grams":-1}`, "grams", "out of range", "(0,10000000]"},
		{`{"kind":"drain","pump":"north","to":"jar-1","grams":1e999}`, "grams", "finite", "number"},
		{`{"kind":"drain","pump":"north","to":"jar-1","grams":"5"}`, "grams", "not a number", "number"},
		{`{"kind":"drain","pump":"north","to":"jar-1","grams":5,"ml":5}`, "ml", "two amounts", "not both"},
		{`{"kind":"fill","pump":"north","from":"can-1","temp_c":5}`, "temp_c", "without a volume", "ml"},
		{`{"kind":"drain","pump":"north","to":"jar-1","at":"1969-12-31T23:00:00Z"}`, "at", "before 1970", "1970"},
		{`{"kind":"drain","pump":"north","to":"jar-1","at":"21:40"}`, "at", "RFC 3339", "offset"},
		{`{"kind":"inspect","vessel":"jar-1","colour":2.3}`, "colour", "multiple", "[0.5,8]"},
		{`{"kind":"inspect","vessel":"jar-1","particles":"13/16/19"}`, "particles", "cannot be so", "19/16/13"},
		{`{"kind":"weigh","vessel":"jar-1","grams":1,"gross_g":2}`, "grams", "2 amounts", "one of"},
		{`{"kind":"note","note":"` + strings.Repeat("x", 2001) + `"}`, "note", "longer", "2000"},
		{`{"kind":"pump","pump":"north","limits":{"air":2}}`, "limits", "air", "limits"},
		{`{"kind":"pump","pump":"north","limits":{"air_h":-2}}`, "limits.air_h", "out of range", "0 to"},
		{`[1]`, "", "not a JSON object", "object"},
		{`{"kind":"note","note":"x"} {}`, "", "after the entry", "one JSON"},
		{`{"kind":"note","note":"x"`, "", "not valid JSON", "JSON"},
		{"{\"kind\":\"note\",\"note\":\"\xff\"}", "note", "not valid JSON", "JSON"},
	} {
		t.Run(c.says+" "+c.field, func(t *testing.T) {
			_, err := Decode([]byte(c.line))
			var r *Rejection
			require.ErrorAs(t, err, &r)
			require.Equal(t, c.field, r.Field)
			require.Contains(t, r.Says, c.says)
			require.Contains(t, r.Hint, c.hint)
		})
	}
}

func TestSealedLineIsChecked(t *testing.T) {
	e, err := Decode([]byte(`{"id":"a","at":"2026-11-24T21:40:00+01:00","kind":"drain","pump":"north","to":"jar-1","grams":640.5,"note":"warm","by":"ana"}`))
	require.NoError(t, err)
	e = Seal(e, 1, time.Date(2026, 11, 24, 20, 41, 0, 0, time.UTC), ZeroHash)
	line := Encode(e)
	require.Equal(t, `{"seq":1,"id":"a","at":"2026-11-24T21:40:00+01:00","recorded":"2026-11-24T20:41:00Z","kind":"drain","pump":"north","to":"jar-1","grams":640.5,"note":"warm","by":"ana","prev":"`+ZeroHash+`","hash":"`+e.Hash+`"}`, string(line))
	require.NoError(t, CheckLine(line, ZeroHash))

	for i := range line {
		spoiled := append([]byte(nil), line...)
		spoiled[i] ^= 1
		require.Error(t, CheckLine(spoiled, ZeroHash), "byte %d", i)
	}
	require.Error(t, CheckLine(line, e.Hash))

	back, err := Decode(line)
	require.NoError(t, err)
	require.Equal(t, line, Encode(back))
	require.Equal(t, Content(e), Content(back))
}

func TestMachineEntriesAreKnownByTheirID(t *testing.T) {
	require.True(t, Entry{ID: "north/start/2026-11-24T20:00:00Z", Act: &StartAct{Pump: "north"}}.IsMachine())
	require.True(t, Entry{ID: "north/stop/x", Act: &StopAct{Pump: "north"}}.IsMachine())
	require.False(t, Entry{ID: "north/stop/x", Act: &StopAct{Pump: "south"}}.IsMachine())
	require.False(t, Entry{ID: "north/start/", Act: &StartAct{Pump: "north"}}.IsMachine())
	require.False(t, Entry{ID: "north/start/x", Act: &DrainAct{Pump: "north"}}.IsMachine())
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(`{"kind":"drain","pump":"north","to":"jar-1","grams":640}`))
	f.Add([]byte(`{"kind":"pump","pump":"north","charge_ml":700,"limits":{"air_h":2}}`))
	f.Add([]byte(`{"kind":"load","pump":"north","grams":1,"trays_g":[1,2.5]}`))
	f.Fuzz(func(t *testing.T, line []byte) {
		e, err := Decode(line)
		if err != nil {
			return
		}
		again, err := Decode(Encode(e))
		require.NoError(t, err)
		require.Equal(t, Encode(e), Encode(again))
	})
}

// An action's record may lack what only a person can tell; the same line as an entry is
// refused.
func TestADraftMayLackWhatAPersonTells(t *testing.T) {
	for _, line := range []string{`{}`, `{"kind":"fill","pump":"north"}`, `{"kind":"note","pump":"north"}`} {
		var draft Entry
		require.NoError(t, draft.UnmarshalJSON([]byte(line)))
		require.Equal(t, line, string(Encode(draft)))
		_, err := Decode([]byte(line))
		require.Error(t, err)
	}
	for _, line := range []string{`{"kind":"fill","pump":"North"}`, `{"kind":"fill","pimp":"north"}`, `[]`} {
		var draft Entry
		require.Error(t, draft.UnmarshalJSON([]byte(line)), line)
	}
}
