package web

import (
	"errors"
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

func (s *visit) request(method, path, body string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	s.mux.ServeHTTP(w, r)
	return w
}

// requireWhole checks what every page owes its reader.
func requireWhole(t *testing.T, page string) {
	t.Helper()
	require.True(t, strings.HasPrefix(page, "<!doctype html>\n<html lang=\"en\">"), page)
	require.True(t, strings.HasSuffix(page, "</html>\n"), "the page breaks off")
	require.Equal(t, 1, strings.Count(page, "<h1"), "one h1")
	require.Regexp(t, `<title>[^<]+ · sumpbook</title>`, page)
	require.NotContains(t, page, "<script")
	require.NotRegexp(t, `<[^>]* style=`, page, "the policy lets no inline style through")
	ids := map[string]bool{}
	for _, m := range regexp.MustCompile(` id="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		require.False(t, ids[m[1]], "id %s twice", m[1])
		ids[m[1]] = true
	}
	for _, m := range regexp.MustCompile(` (?:for|aria-describedby|aria-labelledby)="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		for _, id := range strings.Fields(m[1]) {
			require.True(t, ids[id], "nothing has the id %s", id)
		}
	}
}

// examples give a path for each route, so that a new route needs a line here.
var examples = map[string]string{
	"GET /{$}": "/", "GET /actions/{id...}": drainPath(), "GET /jars": "/jars", "GET /history": "/history",
	"GET /record": "/record", "POST /record": "/record", "GET /style.css": "/style.css",
	"GET /a/{token}": "/a/done", "POST /a/{token}": "/a/done", "GET /a/{token}/style.css": "/a/done/style.css",
}

func TestEveryRoute(t *testing.T) {
	s := newVisit(t, drainOpen())
	for _, r := range s.pages.routes() {
		path, ok := examples[r.pattern]
		require.True(t, ok, "no example for %s", r.pattern)
		method, _, _ := strings.Cut(r.pattern, " ")
		for _, m := range []string{http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions} {
			if m == http.MethodPost && (path == "/record" || path == "/a/done") {
				continue
			}
			w := s.request(m, path+"?kind=drain&saved=x&"+s.form("/", "drain").Encode(), "")
			if m != http.MethodGet && m != http.MethodHead {
				require.Equal(t, http.StatusMethodNotAllowed, w.Code, "%s %s", m, path)
			}
		}
		w := s.request(method, path, "")
		h := w.Header()
		require.Contains(t, h.Get("Content-Security-Policy"), "default-src 'self'", r.pattern)
		require.Contains(t, h.Get("Content-Security-Policy"), "frame-ancestors 'none'")
		require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"))
		require.Equal(t, "same-origin", h.Get("Referrer-Policy"))
		if !strings.HasSuffix(r.pattern, "/style.css") {
			require.Equal(t, "no-store", h.Get("Cache-Control"))
		}
	}
	require.Empty(t, s.desk.told, "asking changes nothing")
	require.Equal(t, drainOpen().Recent, s.desk.view.Recent)
}

func TestEveryPageIsWhole(t *testing.T) {
	for name, v := range map[string]View{"empty": {Now: now}, "open": drainOpen(), "running": running(), "settled": settled()} {
		v.Demo, v.Failing = true, []string{"phone", "mail"}
		s := newVisit(t, v)
		for _, path := range []string{"/", "/jars", "/history", drainPath(), "/actions/none", "/?saved=n-stop-9"} {
			t.Run(name+path, func(t *testing.T) {
				page := s.get(path).Body.String()
				requireWhole(t, page)
				require.Contains(t, page, "DEMO: invented data")
				require.Contains(t, page, "phone, mail")
			})
		}
	}
}

func TestActionLinksAsTheyMayArrive(t *testing.T) {
	v := drainOpen()
	for _, id := range []string{"drain/north/n-start-9", "drain/north/north/start/2026-11-23T13:04:00Z", "drain/north/a%20b?c=d&e#f", "drain/north/x//y/../z", `drain/north/"><b>`} {
		v.Actions[0].ID = id
		s := newVisit(t, v)
		w := s.get(href(id))
		require.Equal(t, http.StatusOK, w.Code, id)
		require.Contains(t, w.Body.String(), "Drain north")
		require.Equal(t, id, strings.ReplaceAll(unescape(s.form(href(id), "drain").Get("action")), "&#43;", "+"))
	}
	require.Equal(t, http.StatusOK, newVisit(t, drainOpen()).get("/actions/drain/north/n-start-9").Code, "slashes left as they are")
}

var unescape = strings.NewReplacer("&amp;", "&", "&#34;", `"`, "&lt;", "<", "&gt;", ">").Replace

func TestSettledActionShowsWhatWasSaved(t *testing.T) {
	v := drainOpen()
	v.Actions = nil
	v.Recent = append([]maintenance.Entry{entry("d-9", ago(2*time.Minute), &maintenance.DrainAct{Pump: "north", To: "jar-4"})}, v.Recent...)
	w := newVisit(t, v).get(drainPath())
	require.Equal(t, http.StatusNotFound, w.Code)
	require.Contains(t, w.Body.String(), "north drained into jar-4")
	v.Recent = append([]maintenance.Entry{entry("v-1", ago(time.Minute), &maintenance.VoidAct{Entry: "d-9"})}, v.Recent...)
	require.NotContains(t, newVisit(t, v).get(drainPath()).Body.String(), "north drained")
}

// evil is markup and control characters, which must show as text wherever they stand.
const evil = "\"><script>alert(1)</script><!--'&\x1b[31m\u202e"

func TestMarkupShowsAsText(t *testing.T) {
	v := drainOpen()
	a := drainAction()
	a.Pump, a.Vessel, a.Cautions = ptr(evil), ptr(evil), []string{evil}
	a.Why = []maintenance.Reason{{Rule: evil, Unit: evil, Source: evil, Value: 1, Limit: 2}}
	a.Record = maintenance.Entry{Note: evil, Act: &maintenance.DrainAct{Pump: evil, To: evil}}
	check := a
	check.ID, check.Do = "check/"+evil+"/x", maintenance.DoCheck
	check.Record = maintenance.Entry{Note: evil, Act: &maintenance.NoteAct{Pump: evil}}
	v.Actions = []maintenance.Action{a, check}
	v.Failing = []string{evil}
	v.Working = func(string) (maintenance.Working, bool) {
		step := maintenance.Step{Name: evil, Formula: evil, Source: evil, Unit: evil, Inputs: []maintenance.Input{{Name: evil, Unit: evil, From: evil, Entry: evil}}}
		return maintenance.Working{Steps: []maintenance.Step{step}}, true
	}
	v.State.Pumps[0].Pump = evil
	for i := range v.State.Vessels {
		v.State.Vessels[i].Vessel = evil
		v.State.Vessels[i].Stage = ptr(maintenance.Stage(evil))
	}
	for _, kind := range maintenance.Kinds() {
		v.Recent = append(v.Recent, evilEntry(t, kind))
	}
	s := newVisit(t, v)
	for _, path := range []string{"/", "/jars", "/history", drainPath(), href(check.ID), "/?saved=" + url.QueryEscape("id-note"), "/actions/" + url.PathEscape(evil)} {
		page := s.get(path).Body.String()
		requireWhole(t, page)
		require.NotContains(t, page, "<!--")
		require.NotContains(t, page, `""`+">", "an attribute was closed")
	}
	require.Contains(t, s.get("/history").Body.String(), "&lt;script&gt;alert(1)")
}

// evilEntry has markup in every text of its kind.
func evilEntry(t *testing.T, kind string) maintenance.Entry {
	act, ok := maintenance.NewAct(kind)
	require.True(t, ok)
	e := maintenance.Entry{ID: "id-" + kind, At: now, Recorded: now, Act: act, Note: evil, By: evil}
	switch a := act.(type) {
	case *maintenance.PumpAct:
		a.Pump, a.Name = evil, evil
	case *maintenance.VesselAct:
		a.Vessel, a.Name = evil, evil
	case *maintenance.LotAct:
		a.Lot, a.Vessel, a.Grade, a.Currency, a.Name = evil, evil, evil, evil, evil
	case *maintenance.DrainAct:
		a.Pump, a.To = evil, evil
	case *maintenance.DiscardAct:
		a.From, a.Where = evil, evil
	case *maintenance.SkipAct:
		a.Action = evil
	case *maintenance.VoidAct:
		a.Entry = evil
	case *maintenance.CareAct:
		a.Task, a.Pump = evil, evil
	case *maintenance.InspectAct:
		a.Vessel, a.Look, a.Particles = evil, evil, evil
	}
	return e
}

func TestTypedMarkupComesBackAsText(t *testing.T) {
	for kind, all := range inputs {
		for _, in := range all {
			t.Run(kind+" "+in.name, func(t *testing.T) {
				v := drainOpen()
				v.Actions[0].Record = asked(t, kind)
				s := newVisit(t, v)
				f := s.form(drainPath(), kind)
				for name := range f {
					if f.Get(name) == "" {
						f.Set(name, "1")
					}
				}
				f.Set(in.name, evil)
				w := s.post(f)
				page := w.Body.String()
				if w.Code == http.StatusSeeOther { // words are taken as they are
					page = s.get("/history").Body.String()
				} else {
					require.Equal(t, http.StatusUnprocessableEntity, w.Code)
				}
				requireWhole(t, page)
				if in.sort == sortVessel {
					require.Contains(t, page, `<option value="" selected>choose a vessel</option>`, "no vessel is chosen for the person")
					return
				}
				require.Contains(t, page, "&lt;script&gt;")
			})
		}
	}
}

// asked is an entry of a kind, as an action asks for it.
func asked(t *testing.T, kind string) maintenance.Entry {
	text := map[string]string{
		"stop": `"pump":"north"`, "drain": `"pump":"north","to":"jar-4","grams":640`, "fill": `"pump":"north","from":"jar-6","grams":650`,
		"decant": `"from":"jar-3","to":"jar-4","grams":590`, "filter": `"from":"jar-3","to":"jar-4","medium":"paper"`, "freeze": `"vessel":"jar-3"`,
		"separate": `"from":"jar-3","to":"jar-4","water_g":12`, "medium": `"medium":"paper"`, "discard": `"from":"jar-3","where":"collection point"`,
		"lot": `"lot":"lot-2","vessel":"can-2","ml":700`, "note": `"pump":"north","note":"looked at it"`, "care": `"task":"gasket","pump":"north"`,
		"skip": `"action":"a","note":"b"`, "snooze": `"action":"a","until":"2026-11-24T22:04:00+01:00"`, "void": `"entry":"e"`,
	}[kind]
	e, err := maintenance.Decode([]byte(`{"kind":"` + kind + `",` + text + "}"))
	require.NoError(t, err)
	return e
}

func TestEveryKindRecordsWhatWasAskedFor(t *testing.T) {
	for kind := range inputs {
		if kind == "skip" || kind == "snooze" || kind == "void" {
			continue // asked for by no action
		}
		t.Run(kind, func(t *testing.T) {
			v := drainOpen()
			want := asked(t, kind)
			v.Actions[0].Record = want
			s := newVisit(t, v)
			for _, path := range []string{"/", drainPath()} {
				s.redirected(s.form(path, kind))
			}
			require.Len(t, s.desk.told, 2)
			for _, e := range s.desk.told {
				require.Equal(t, want.Act, e.Act, "sent unchanged it is what was asked for")
				require.Equal(t, want.Note, e.Note)
			}
		})
	}
}

func TestEveryKindHasItsWords(t *testing.T) {
	for _, kind := range maintenance.Kinds() {
		require.NotEmpty(t, words[kind].past, kind)
	}
	for kind, all := range inputs {
		require.Contains(t, maintenance.Kinds(), kind)
		if kind != "snooze" && kind != "skip" && kind != "void" {
			require.NotEmpty(t, words[kind].button, kind)
		}
		for _, in := range all {
			if in.sort == sortAmount || in.sort == sortWhen || in.name == "note" {
				continue
			}
			require.True(t, hasField(kind, in.name), "%s has no %s", kind, in.name)
		}
	}
	for do, kinds := range settling {
		for _, kind := range kinds {
			require.Contains(t, inputs, kind, do)
		}
	}
}

func hasField(kind, name string) bool {
	for _, f := range maintenance.FieldsOf(kind) {
		if f.Name == name {
			return true
		}
	}
	return false
}

func TestOurFaultIsANeutralLine(t *testing.T) {
	s := newVisit(t, drainOpen())
	s.desk.lookErr = errors.New("read /secret/place: broken")
	for _, path := range []string{"/", "/jars", "/history", drainPath()} {
		s.log.Reset()
		w := s.get(path)
		require.Equal(t, http.StatusInternalServerError, w.Code)
		requireWhole(t, w.Body.String())
		require.NotContains(t, w.Body.String(), "secret")
		require.Equal(t, 1, strings.Count(s.log.String(), "\n"), "logged once")
		id := regexp.MustCompile(`id=([A-Z2-7]{8})`).FindStringSubmatch(s.log.String())
		require.NotNil(t, id)
		require.Contains(t, w.Body.String(), id[1])
	}
}

func TestStyleIsKeptByTheBrowser(t *testing.T) {
	s := newVisit(t, drainOpen())
	address := regexp.MustCompile(`href="(/style\.css\?v=[^"]+)"`).FindStringSubmatch(s.get("/").Body.String())[1]
	w := s.get(address)
	require.Equal(t, "text/css; charset=utf-8", w.Header().Get("Content-Type"))
	require.Contains(t, w.Header().Get("Cache-Control"), "immutable")
	require.Equal(t, "no-cache", s.get("/style.css").Header().Get("Cache-Control"))
	r := httptest.NewRequest(http.MethodGet, address, nil)
	r.Header.Set("If-None-Match", w.Header().Get("ETag"))
	again := httptest.NewRecorder()
	s.mux.ServeHTTP(again, r)
	require.Equal(t, http.StatusNotModified, again.Code)
}

func TestMissingTemplateIsAnErrorAtTheStart(t *testing.T) {
	require.NoError(t, fs.WalkDir(files, "page", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		_, err = newPages(&desk{}, &links{}, slog.New(slog.DiscardHandler), without(t, path))
		require.Error(t, err, "without %s", path)
		return nil
	}))
}

func without(t *testing.T, missing string) fstest.MapFS {
	out := fstest.MapFS{}
	require.NoError(t, fs.WalkDir(files, "page", func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && path != missing {
			f, err := files.Open(path)
			require.NoError(t, err)
			b, err := io.ReadAll(f)
			require.NoError(t, err)
			out[path] = &fstest.MapFile{Data: b}
		}
		return err
	}))
	return out
}
