package web

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

// A realDesk is a desk over the real book-keeping, in memory.
type realDesk struct {
	state  *maintenance.State
	recent []maintenance.Entry
	now    time.Time
}

func (d *realDesk) Look(context.Context) (View, error) {
	r := maintenance.DefaultRules()
	return View{
		Now: d.now, Zone: oslo, Units: "metric", State: d.state.View(r, d.now, d.state.Seq, ""),
		Actions: maintenance.Next(d.state, r, d.now), Recent: d.recent,
		Working: func(id string) (maintenance.Working, bool) { return maintenance.Why(d.state, r, d.now, id) },
	}, nil
}

func (d *realDesk) Record(_ context.Context, e maintenance.Entry) ([]string, bool, error) {
	if e.At.IsZero() {
		e.At = d.now
	}
	e = maintenance.Seal(e, d.state.Seq+1, d.now, maintenance.ZeroHash)
	said, err := d.state.Apply(maintenance.DefaultRules(), e)
	if err == nil {
		d.recent = append([]maintenance.Entry{e}, d.recent...)
	}
	return said, false, err
}

// TestTheWholeCircuit does nothing but what the page asks for, sending each form as it
// stands, while the pump runs a cycle whenever it may.
func TestTheWholeCircuit(t *testing.T) {
	d := &realDesk{state: maintenance.NewState(), now: now.AddDate(0, -1, 0)}
	p, err := New(d, &links{}, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	s := &visit{t: t, pages: p, mux: http.NewServeMux()}
	p.Routes(s.mux)
	tell := func(act maintenance.Act) {
		_, _, err := d.Record(context.Background(), maintenance.Entry{ID: fmt.Sprint("told-", d.state.Seq), Act: act})
		require.NoError(t, err)
	}
	tell(&maintenance.PumpAct{Pump: "north", ChargeMl: num(750)})
	tell(&maintenance.MediumAct{Medium: "paper"})
	for i := range 10 {
		tell(&maintenance.VesselAct{Vessel: fmt.Sprintf("jar-%d", i+1), CapacityMl: num(1500)})
	}
	tell(&maintenance.LotAct{Lot: "lot-1", Vessel: "can-1", Amount: maintenance.Amount{Ml: num(3000)}})
	done := map[string]bool{}
	for range 100 {
		d.now = d.now.Add(4 * time.Hour)
		view, err := d.Look(t.Context())
		require.NoError(t, err)
		north := d.state.Pumps["north"]
		switch f, ok := s.firstWholeForm(view); {
		case ok:
			done[f.Get("kind")] = true
			s.redirected(f)
		case north.Run != nil:
			tell(&maintenance.StopAct{Pump: "north"})
		case !north.Open:
			tell(&maintenance.StartAct{Pump: "north"})
		}
		for _, path := range []string{"/", "/jars", "/history"} {
			requireWhole(t, s.get(path).Body.String())
		}
		for _, a := range view.Actions {
			if s.get(href(a.ID)).Code == http.StatusOK {
				page := s.get(href(a.ID)).Body.String()
				requireWhole(t, page)
				require.Contains(t, page, "How this was worked out", a.ID)
			}
		}
	}
	for _, kind := range []string{"fill", "drain", "decant", "filter", "freeze", "separate"} {
		require.True(t, done[kind], "no %s was ever asked for", kind)
	}
}

// firstWholeForm is the form of the most urgent thing to do now that finds its vessels.
func (s *visit) firstWholeForm(v View) (url.Values, bool) {
	for _, a := range v.Actions {
		if a.State == maintenance.Coming || a.Do == maintenance.DoBuyOil || a.Do == maintenance.DoTopUp {
			continue
		}
		f := s.form(href(a.ID), a.Record.Act.Kind())
		if (!f.Has("from") || f.Get("from") != "") && (!f.Has("to") || f.Get("to") != "") {
			return f, true
		}
	}
	return nil, false
}
