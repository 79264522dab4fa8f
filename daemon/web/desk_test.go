package web

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// All names and numbers here are invented: a small kitchen that dries broth, mushrooms and
// curd, with one pump called north.

var oslo = func() *time.Location {
	zone, err := time.LoadLocation("Europe/Oslo")
	if err != nil {
		panic(err)
	}
	return zone
}()

// now is the moment at which the invented kitchen is looked at.
var now = time.Date(2026, 11, 24, 21, 4, 0, 0, oslo)

func ago(d time.Duration) time.Time { return now.Add(-d) }

func num(v float64) *float64 { return &v }

func ptr[T any](v T) *T { return &v }

// A desk is a book in memory: what it is asked to record it keeps under its id, as the real
// one does, and shows first among the newest.
type desk struct {
	view    View
	lookErr error
	refuse  error
	says    []string
	told    []maintenance.Entry
	looks   int
	before  func() // runs before each Record
}

func (d *desk) Look(context.Context) (View, error) {
	d.looks++
	return d.view, d.lookErr
}

func (d *desk) Record(_ context.Context, e maintenance.Entry) ([]string, bool, error) {
	if d.before != nil {
		d.before()
	}
	if i := slices.IndexFunc(d.view.Recent, func(k maintenance.Entry) bool { return k.ID == e.ID }); i >= 0 {
		known := d.view.Recent[i]
		if e.At.IsZero() {
			e.At = known.At
		}
		if maintenance.Content(e) != maintenance.Content(known) {
			return nil, false, &maintenance.Rejection{Entry: e.ID, Field: "id", Says: "entry " + e.ID + " says something else", Hint: "give it another id"}
		}
		return nil, true, nil
	}
	if d.refuse != nil {
		return nil, false, d.refuse
	}
	if e.At.IsZero() {
		e.At = d.view.Now
	}
	d.keep(e)
	return d.says, false, nil
}

func (d *desk) keep(e maintenance.Entry) {
	d.view.State.Seq++
	e = maintenance.Seal(e, d.view.State.Seq, d.view.Now, maintenance.ZeroHash)
	d.told = append(d.told, e)
	d.view.Recent = append([]maintenance.Entry{e}, d.view.Recent...)
}

func parcel(grams, water float64) maintenance.ParcelView {
	return maintenance.ParcelView{Grams: grams, OilG: grams - water, WaterG: water, WaterLowG: 0.6 * water, WaterHighG: 1.7 * water, OilHours: 312, Uses: 9}
}

func vessel(name string, stage maintenance.Stage, grams, water float64) maintenance.VesselView {
	v := maintenance.VesselView{Vessel: name, Since: ago(50 * time.Hour), ParcelView: parcel(grams, water)}
	if stage != maintenance.NoStage {
		v.Stage = &stage
	}
	return v
}

func settlingJar(name string, left time.Duration) maintenance.VesselView {
	v := vessel(name, maintenance.Drained, 655, 14)
	v.Settled, v.SettledLow, v.SettledHigh = 0.62, 0.41, 0.78
	v.ReadyAt, v.ReadyLow, v.ReadyHigh = ptr(now.Add(left)), ptr(now.Add(left-30*time.Hour)), ptr(now.Add(left+60*time.Hour))
	return v
}

func entry(id string, at time.Time, act maintenance.Act) maintenance.Entry {
	return maintenance.Seal(maintenance.Entry{ID: id, At: at, Act: act}, 1, at, maintenance.ZeroHash)
}

func drainAction() maintenance.Action {
	closes := now.Add(35 * time.Minute)
	return maintenance.Action{
		ID: "drain/north/n-start-9", Do: maintenance.DoDrain, Pump: ptr("north"), Vessel: ptr("jar-4"),
		Opens: ago(41 * time.Minute), Due: closes, Closes: &closes, State: maintenance.Open,
		Why: []maintenance.Reason{
			{Rule: "drain_cycles", Value: 1, Limit: 1, Unit: "cycles", Source: "common practice, no source: the maker's manual wins"},
			{Rule: "oil_c", Value: 57.6, Limit: 43.2, Unit: "C", Source: "Newton's law of cooling and viscosity by ASTM D341"},
			{Rule: "minutes_left", Value: 35, Limit: 76, Unit: "min", Source: "Newton's law of cooling and viscosity by ASTM D341"},
			{Rule: "drain_run_h", Value: 31.2, Limit: 40, Unit: "h", Source: "set in the configuration"},
		},
		Record:   maintenance.Entry{Act: &maintenance.DrainAct{Pump: "north", To: "jar-4", Amount: maintenance.Amount{Grams: num(640)}}},
		Cautions: []string{"hot oil burns: gloves, eye protection, a vessel that stands firm and bears heat", "switch off and unplug the pump before you open it; the maker's manual wins"},
	}
}

func decantAction() maintenance.Action {
	opens := now.Add(35 * time.Hour)
	return maintenance.Action{
		ID: "decant/jar-3/d-8", Do: maintenance.DoDecant, Vessel: ptr("jar-3"), Opens: opens, Due: opens, State: maintenance.Coming,
		Why:      []maintenance.Reason{{Rule: "settled", Value: 0.62, Limit: 0.97, Unit: "1", Source: "log-normal cloud of droplets"}},
		Record:   maintenance.Entry{Act: &maintenance.DecantAct{From: "jar-3", To: "jar-5", Amount: maintenance.Amount{Grams: num(590)}}},
		Cautions: []string{"label the vessel: pump oil, not for food"},
	}
}

// drainOpen is the kitchen just after a cycle, with the drain window open.
func drainOpen() View {
	charge := &maintenance.ChargeView{ID: "f-8", Since: ago(33 * time.Hour), ParcelView: parcel(668, 12.4), RunHours: 31.2, Cycles: 1}
	return View{
		Now: now, Zone: oslo, Units: "metric",
		State: maintenance.StateView{At: now, Seq: 40, Pumps: []maintenance.PumpView{{
			Pump: "north", RunHours: 498, Cycles: 17, Charge: charge,
			Full: &maintenance.FullView{At: ago(23 * 24 * time.Hour), Entry: "f-1", FreshFraction: 0.97, RunHours: 498, Cycles: 17},
		}}, Vessels: []maintenance.VesselView{
			vessel("can-1", maintenance.New, 3200, 0), settlingJar("jar-3", 35*time.Hour), vessel("jar-4", maintenance.NoStage, 0, 0),
			vessel("jar-5", maintenance.NoStage, 0, 0), vessel("jar-6", maintenance.Filtered, 710, 0.4),
		}},
		Actions: []maintenance.Action{drainAction(), decantAction()}, Working: worked,
		Recent: []maintenance.Entry{
			entry("n-stop-9", ago(41*time.Minute), &maintenance.StopAct{Pump: "north", HotC: num(68)}),
			entry("n-start-9", ago(32*time.Hour), &maintenance.StartAct{Pump: "north", Ballast: "shut"}),
			entry("f-8", ago(33*time.Hour), &maintenance.FillAct{Pump: "north", From: "jar-6", Amount: maintenance.Amount{Grams: num(650)}}),
		},
	}
}

// worked is a working with every part that one may have.
func worked(id string) (maintenance.Working, bool) {
	return maintenance.Working{Action: drainAction(), Steps: []maintenance.Step{
		{Name: "water carried past the trap", Formula: "drawn × speed × p_ice(trap) × M × t / (R × T)", Source: "ideal gas saturated over ice", Result: 12.4, Unit: "g", Low: num(7.4), High: num(21.1), Inputs: []maintenance.Input{
			{Name: "speed_m3_h", Value: 7, Unit: "m3/h", From: "assumed until told"},
			{Name: "trap_width", Value: 8, Unit: "K", From: "rule"},
			{Name: "hours", Value: 31.2, Unit: "h", From: "booked", Entry: "n-stop-9", AgeH: num(0.7)},
			{Name: "oil_g", Value: 655, Unit: "g", From: "booked", Entry: "long-ago", AgeH: num(900)},
		}},
		{Name: "drain_cycles", Formula: "what is, held against the limit", Source: "common practice", Result: 1, Unit: "cycles", Limit: num(1)},
	}}, id == drainAction().ID
}

// A visit is one browser before the pages.
type visit struct {
	t     *testing.T
	desk  *desk
	pages *Pages
	mux   *http.ServeMux
	log   *strings.Builder
}

func newVisit(t *testing.T, v View) *visit {
	t.Helper()
	var log strings.Builder
	d := &desk{view: v}
	p, err := New(d, &links{desk: d}, slog.New(slog.NewTextHandler(&log, nil)))
	require.NoError(t, err)
	mux := http.NewServeMux()
	p.Routes(mux)
	return &visit{t, d, p, mux, &log}
}

func (s *visit) get(path string) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	s.mux.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
	return w
}

func (s *visit) post(fields url.Values) *httptest.ResponseRecorder {
	return s.send(strings.NewReader(fields.Encode()), "application/x-www-form-urlencoded")
}

func (s *visit) send(body *strings.Reader, kind string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, "/record", body)
	r.Header.Set("Content-Type", kind)
	w := httptest.NewRecorder()
	s.mux.ServeHTTP(w, r)
	return w
}

var (
	formTag  = regexp.MustCompile(`(?s)<form method="post" action="/record".*?</form>`)
	inputTag = regexp.MustCompile(`<input [^>]*?name="([a-z_]+)"[^>]*?value="([^"]*)"`)
	selected = regexp.MustCompile(`(?s)<select[^>]*?name="([a-z_]+)".*?</select>`)
	textarea = regexp.MustCompile(`(?s)<textarea[^>]*?name="([a-z_]+)"[^>]*>(.*?)</textarea>`)
	chosen   = regexp.MustCompile(`<option( value="[^"]*")? selected>([^<]*)<`)
)

// form reads the form of a kind off a page, as a browser would send it unchanged.
func (s *visit) form(path, kind string) url.Values {
	s.t.Helper()
	return s.formIn(s.get(path).Body.String(), kind)
}

func sent(text string) url.Values {
	fields := url.Values{}
	for _, m := range inputTag.FindAllStringSubmatch(text, -1) {
		fields.Set(m[1], m[2])
	}
	for _, m := range selected.FindAllStringSubmatch(text, -1) {
		if o := chosen.FindStringSubmatch(m[0]); o != nil {
			fields.Set(m[1], o[2])
			if value, ok := strings.CutPrefix(o[1], ` value="`); ok {
				fields.Set(m[1], strings.TrimSuffix(value, `"`))
			}
		}
	}
	if m := textarea.FindStringSubmatch(text); m != nil {
		fields.Set(m[1], m[2])
	}
	return fields
}

func drainPath() string { return href(drainAction().ID) }

// formIn is form for a page already there.
func (s *visit) formIn(page, kind string) url.Values {
	s.t.Helper()
	for _, text := range formTag.FindAllString(page, -1) {
		if strings.Contains(text, fmt.Sprintf(`name="kind" value="%s"`, kind)) {
			return sent(text)
		}
	}
	require.FailNow(s.t, "no such form", "%s", kind)
	return nil
}
