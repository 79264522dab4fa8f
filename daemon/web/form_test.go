package web

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

func (s *visit) follow(to string) string {
	s.t.Helper()
	w := s.get(to)
	require.Equal(s.t, http.StatusOK, w.Code)
	return strings.ReplaceAll(w.Body.String(), "\u00a0", " ")
}

// redirected posts a form and gives the address it leads to.
func (s *visit) redirected(f url.Values) string {
	s.t.Helper()
	w := s.post(f)
	require.Equal(s.t, http.StatusSeeOther, w.Code, w.Body.String())
	return w.Header().Get("Location")
}

func TestOneTapRecordsWhatTheCardSays(t *testing.T) {
	s := newVisit(t, drainOpen())
	s.desk.says = []string{"4 g more than the book held were booked as found"}
	f := s.form("/", "drain")
	page := s.follow(s.redirected(f))
	require.Len(t, s.desk.told, 1)
	e := s.desk.told[0]
	require.Equal(t, f.Get("key"), e.ID)
	require.True(t, e.At.Equal(now))
	require.Equal(t, &maintenance.DrainAct{Pump: "north", To: "jar-4", Amount: maintenance.Amount{Grams: num(640)}}, e.Act)
	require.Contains(t, page, "Saved 21:04: north drained into jar-4, 640 g")
	require.Contains(t, page, "booked as found")
}

func TestTwoTapsAreOneEntry(t *testing.T) {
	for _, text := range []string{"now", "", "20m ago", "20:44", "2026-11-24 20:44"} {
		t.Run(text, func(t *testing.T) {
			s := newVisit(t, drainOpen())
			f := s.form("/", "drain")
			f.Set("when", text)
			s.redirected(f)
			s.desk.view.Actions = nil // the drain is no longer asked for
			s.desk.view.Now = now.Add(3 * time.Second)
			page := s.follow(s.redirected(f))
			require.Contains(t, page, "Already saved 21:04: north drained into jar-4, 640 g")
			require.Len(t, s.desk.told, 1)
		})
	}
}

func TestTwoTapsAtOnceAreOneEntry(t *testing.T) {
	s := newVisit(t, drainOpen())
	f := s.form("/", "drain")
	f.Set("when", "20m ago")
	first := maintenance.Entry{ID: f.Get("key"), At: ago(20*time.Minute + time.Second), Act: drainAction().Record.Act}
	s.desk.before = func() {
		s.desk.before = nil
		s.desk.keep(first) // the other tap, between this one's look and its record
	}
	require.Contains(t, s.redirected(f), "again=1")
	require.Len(t, s.desk.told, 1)
}

func TestChangedFormUnderAUsedKeyIsRefused(t *testing.T) {
	s := newVisit(t, drainOpen())
	f := s.form("/", "drain")
	s.redirected(f)
	f.Set("amount", "600")
	w := s.post(f)
	require.Equal(t, http.StatusConflict, w.Code)
	require.Contains(t, w.Body.String(), "saved before, with other values")
	require.Contains(t, strings.ReplaceAll(w.Body.String(), "\u00a0", " "), "north drained into jar-4, 640 g")
	f.Set("kind", "skip")
	f.Set("note", "no")
	for _, name := range []string{"amount", "unit", "to", "when"} {
		f.Del(name)
	}
	w = s.post(f)
	require.Equal(t, http.StatusConflict, w.Code)
	require.Contains(t, w.Body.String(), "used before, for something else")
	require.Len(t, s.desk.told, 1)
}

func TestUndo(t *testing.T) {
	s := newVisit(t, drainOpen())
	first := s.redirected(s.form("/", "drain"))
	undo := s.form(first, "void")
	page := s.follow(s.redirected(undo))
	require.Equal(t, &maintenance.VoidAct{Entry: s.desk.told[0].ID}, s.desk.told[1].Act)
	require.Contains(t, page, "Withdrawn: north drained into jar-4, 640 g")
	require.Contains(t, page, "<del>north drained into jar-4, 640 g</del>")
	require.NotContains(t, page, `value="`+s.desk.told[0].ID+`"`, "what is withdrawn offers no withdrawal")
	require.NotContains(t, page, `value="`+s.desk.told[1].ID+`"`, "a withdrawal offers none either")
	require.Contains(t, s.follow(first), "(withdrawn since)")
	s.redirected(undo)
	require.Len(t, s.desk.told, 2, "the same undo twice is one")
}

func TestUndoThatTheBookRefuses(t *testing.T) {
	s := newVisit(t, drainOpen())
	f := s.form("/history", "void")
	s.desk.refuse = &maintenance.Rejection{Field: "at", Says: "it would make a later entry impossible, the drain d-9", Hint: "void the later entry first"}
	w := s.post(f)
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	require.Contains(t, w.Body.String(), "later entry impossible")
	require.Contains(t, w.Body.String(), "Void the later entry first.")
}

func TestOnlyShownEntriesAreWithdrawn(t *testing.T) {
	s := newVisit(t, drainOpen())
	void := entry("v-1", ago(time.Minute), &maintenance.VoidAct{Entry: "x-1"})
	s.desk.view.Recent = append(s.desk.view.Recent, void)
	for _, id := range []string{"long-ago", "v-1", ""} {
		w := s.post(url.Values{"kind": {"void"}, "key": {newKey()}, "entry": {id}})
		require.Equal(t, http.StatusConflict, w.Code, id)
	}
	require.Empty(t, s.desk.told)
}

func TestLater(t *testing.T) {
	s := newVisit(t, drainOpen())
	f := s.form("/", "snooze")
	require.Contains(t, s.follow(s.redirected(f)), "Saved 21:04: Asked to wait: Drain north")
	require.Contains(t, maintenance.Content(s.desk.told[0]), `"kind":"snooze","action":"drain/north/n-start-9","until":"2026-11-24T22:04:00+01:00"`)
	s.desk.view.Now = now.Add(time.Minute)
	require.Contains(t, s.redirected(f), "again=1")
}

func TestAPumpWithoutOilCannotWait(t *testing.T) {
	v := drainOpen()
	v.Actions[0].Do = maintenance.DoStopPump
	s := newVisit(t, v)
	require.NotContains(t, s.get("/").Body.String(), "Ask me in")
	w := s.post(url.Values{"kind": {"snooze"}, "key": {newKey()}, "action": {v.Actions[0].ID}})
	require.Equal(t, http.StatusConflict, w.Code)
	require.Contains(t, w.Body.String(), "cannot wait")
	require.Empty(t, s.desk.told)
}

func TestSetAsideNeedsAReason(t *testing.T) {
	s := newVisit(t, drainOpen())
	f := s.form("/", "skip")
	w := s.post(f)
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	require.Contains(t, w.Body.String(), "Not saved: this is needed.")
	f.Set("note", "the pump goes to the workshop")
	s.redirected(f)
	require.Equal(t, &maintenance.SkipAct{Action: drainAction().ID}, s.desk.told[0].Act)
	require.Equal(t, "the pump goes to the workshop", s.desk.told[0].Note)
}

func TestStaleForms(t *testing.T) {
	s := newVisit(t, drainOpen())
	f := s.form(drainPath(), "drain")
	s.desk.view.Actions = nil
	s.desk.view.Recent = append([]maintenance.Entry{{ID: "d-9", At: ago(2 * time.Minute), By: "ben", Act: &maintenance.DrainAct{Pump: "north", To: "jar-5"}}}, s.desk.view.Recent...)
	w := s.post(f)
	require.Equal(t, http.StatusConflict, w.Code)
	require.Contains(t, w.Body.String(), "no longer asked for")
	require.Contains(t, w.Body.String(), "north drained into jar-5", "both versions are shown")
	require.Contains(t, w.Body.String(), "<bdi>ben</bdi>")

	a := drainAction()
	a.Record = maintenance.Entry{Act: &maintenance.FillAct{Pump: "north", From: "can-1"}}
	s.desk.view.Actions = []maintenance.Action{a}
	w = s.post(f)
	require.Equal(t, http.StatusConflict, w.Code)
	require.Contains(t, w.Body.String(), "has changed since the page was drawn")
	require.Empty(t, s.desk.told)
}

// TestAttackedForms changes one thing of a good form at a time.
func TestAttackedForms(t *testing.T) {
	long := strings.Repeat("a", maxForm)
	for name, attack := range map[string]struct {
		status int
		change func(url.Values)
	}{
		"no kind":             {400, func(f url.Values) { f.Del("kind") }},
		"kind twice":          {400, func(f url.Values) { f.Add("kind", "drain") }},
		"kind not asked for":  {400, func(f url.Values) { f.Set("kind", "weigh") }},
		"kind pump":           {400, func(f url.Values) { f.Set("kind", "pump") }},
		"kind of others":      {409, func(f url.Values) { f.Set("kind", "fill"); f.Del("to"); f.Set("from", "can-1") }},
		"kind in capitals":    {400, func(f url.Values) { f.Set("kind", "DRAIN") }},
		"no key":              {400, func(f url.Values) { f.Del("key") }},
		"key of a machine":    {400, func(f url.Values) { f.Set("key", "north/stop/2026-11-24T20:23:00Z") }},
		"key with more":       {400, func(f url.Values) { f.Set("key", f.Get("key")+"A") }},
		"key with a line":     {400, func(f url.Values) { f.Set("key", f.Get("key")+"\n") }},
		"key twice":           {400, func(f url.Values) { f.Add("key", newKey()) }},
		"action unknown":      {409, func(f url.Values) { f.Set("action", "drain/south/x") }},
		"action none":         {409, func(f url.Values) { f.Del("action") }},
		"action with markup":  {409, func(f url.Values) { f.Set("action", "<script>") }},
		"entry of a drain":    {400, func(f url.Values) { f.Set("entry", "n-stop-9") }},
		"pump of others":      {400, func(f url.Values) { f.Set("pump", "south") }},
		"unknown field":       {400, func(f url.Values) { f.Set("recorded", "2020-01-01T00:00:00Z") }},
		"grams behind amount": {400, func(f url.Values) { f.Set("grams", "1") }},
		"to twice":            {400, func(f url.Values) { f.Add("to", "jar-5") }},
		"to nowhere":          {422, func(f url.Values) { f.Set("to", "jar-99") }},
		"to a path":           {422, func(f url.Values) { f.Set("to", "../../etc/passwd") }},
		"to nothing":          {422, func(f url.Values) { f.Set("to", "") }},
		"amount below":        {422, func(f url.Values) { f.Set("amount", "-5") }},
		"amount none":         {422, func(f url.Values) { f.Set("amount", "0") }},
		"amount endless":      {422, func(f url.Values) { f.Set("amount", "1e999") }},
		"amount vast":         {422, func(f url.Values) { f.Set("amount", "99999999") }},
		"amount words":        {422, func(f url.Values) { f.Set("amount", "NaN") }},
		"amount in degrees":   {422, func(f url.Values) { f.Set("amount", "40 F") }},
		"amount long":         {422, func(f url.Values) { f.Set("amount", long[:5000]) }},
		"unit unknown":        {422, func(f url.Values) { f.Set("unit", "stone") }},
		"unit a temperature":  {422, func(f url.Values) { f.Set("unit", "C") }},
		"when nonsense":       {422, func(f url.Values) { f.Set("when", "<b>soon</b>") }},
		"when before books":   {422, func(f url.Values) { f.Set("when", "1969-01-01 00:00") }},
		"bad text":            {400, func(f url.Values) { f.Set("when", "\xff\xfe") }},
		"name is bad text":    {400, func(f url.Values) { f.Set("\xff", "") }},
		"too long":            {413, func(f url.Values) { f.Set("when", long) }},
	} {
		t.Run(name, func(t *testing.T) {
			s := newVisit(t, drainOpen())
			f := s.form(drainPath(), "drain")
			attack.change(f)
			w := s.post(f)
			require.Equal(t, attack.status, w.Code, w.Body.String())
			require.Contains(t, w.Body.String(), "Not saved")
			require.Empty(t, s.desk.told)
			require.Empty(t, s.log.String(), "a person's mistake is not logged as ours")
			requireWhole(t, w.Body.String())
		})
	}
}

func TestBodiesThatAreNoForm(t *testing.T) {
	s := newVisit(t, drainOpen())
	good := s.form("/", "drain").Encode()
	for _, c := range []struct {
		kind, body string
		status     int
	}{
		{"application/json", `{"kind":"drain"}`, 415}, {"multipart/form-data; boundary=x", good, 415}, {"text/plain", good, 415}, {"", good, 415},
		{"application/x-www-form-urlencoded", "kind=drain&%zz", 400}, {"application/x-www-form-urlencoded", "", 400},
		{"application/x-www-form-urlencoded", "a;b", 400}, {"application/x-www-form-urlencoded", strings.Repeat("a=&", 40_000), 413},
	} {
		w := s.send(strings.NewReader(c.body), c.kind)
		require.Equal(t, c.status, w.Code, "%s %.40s", c.kind, c.body)
	}
	require.Empty(t, s.desk.told)
}

func TestFieldsInTheAddressAreRefused(t *testing.T) {
	s := newVisit(t, drainOpen())
	f := s.form("/", "drain")
	w := s.request(http.MethodPost, "/record?to=jar-5", f.Encode())
	require.Equal(t, http.StatusBadRequest, w.Code)
	require.Empty(t, s.desk.told)
}

func TestOurFaultKeepsTheForm(t *testing.T) {
	s := newVisit(t, drainOpen())
	f := s.form(drainPath(), "drain")
	f.Set("amount", "655")
	s.desk.refuse = errors.New("append to the journal: input/output error at /secret/place")
	w := s.post(f)
	require.Equal(t, http.StatusInternalServerError, w.Code)
	require.NotContains(t, w.Body.String(), "secret")
	require.Equal(t, f, s.formIn(w.Body.String(), "drain"))
	require.Equal(t, 1, strings.Count(s.log.String(), "/secret/place"), "logged once")
	s.desk.refuse = nil
	s.redirected(f)
	require.Len(t, s.desk.told, 1)
}

func TestAmountsAsPeopleTypeThem(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		grams, ml  *float64
	}{
		{"640", "g", num(640), nil}, {"640.5", "g", num(640.5), nil}, {"640,5", "g", num(640.5), nil}, {"640", "ml", nil, num(640)},
		{"22.6", "oz", num(640.699), nil}, {"24", "fl oz", nil, num(709.765)}, {"0.7 l", "g", nil, num(700)}, {"1.4 lb", "ml", num(635.029), nil},
		{"8 oz", "fl oz", nil, num(236.588)}, {"8 oz", "oz", num(226.796), nil}, {"", "g", nil, nil}, {" 1 qt ", "g", nil, num(946.353)},
	} {
		s := newVisit(t, drainOpen())
		f := s.form(drainPath(), "drain")
		f.Set("amount", c.text)
		f.Set("unit", c.unit)
		s.redirected(f)
		act := s.desk.told[0].Act.(*maintenance.DrainAct)
		require.Equal(t, maintenance.Amount{Grams: c.grams, Ml: c.ml}, act.Amount, "%q %s", c.text, c.unit)
	}
}

func TestUSUnits(t *testing.T) {
	v := drainOpen()
	v.Units = "us"
	stop := maintenance.Action{ID: "stop-pump/south/s-1", Do: maintenance.DoStopPump, Pump: ptr("south"), Opens: now, Due: now, State: maintenance.Open, Record: maintenance.Entry{Act: &maintenance.StopAct{Pump: "south"}}}
	v.Actions = append(v.Actions, stop)
	s := newVisit(t, v)
	f := s.form("/", "drain")
	require.Equal(t, "22.6", f.Get("amount"))
	require.Equal(t, "oz", f.Get("unit"))
	page := s.follow("/")
	require.Contains(t, page, "136 °F")
	require.Contains(t, page, "1 lb 7.6 oz")
	f = s.form(href(stop.ID), "stop")
	f.Set("hot_c", "154")
	s.redirected(f)
	require.InDelta(t, 67.778, *s.desk.told[0].Act.(*maintenance.StopAct).HotC, 0.001)
}

func TestRemarksAreBounded(t *testing.T) {
	var m remarks
	for i := range 10 * maxRemarks {
		m.keep(strings.Repeat("x", i), []string{"said"})
	}
	require.Len(t, m.texts, maxRemarks)
	require.Empty(t, m.of(""))
	require.Equal(t, []string{"said"}, m.of(strings.Repeat("x", 10*maxRemarks-1)))
}
