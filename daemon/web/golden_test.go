package web

import (
	"flag"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

var update = flag.Bool("update", false, "write the golden pages anew")

var (
	freshKey   = regexp.MustCompile(`page-[A-Z2-7]{26}`)
	styleQuery = regexp.MustCompile(`style\.css\?v=[0-9a-f]+`)
)

// golden compares a page, without what differs each time, with the one kept on record.
func golden(t *testing.T, name, page string) {
	t.Helper()
	page = freshKey.ReplaceAllString(page, "KEY")
	page = styleQuery.ReplaceAllString(page, "style.css")
	path := filepath.Join("..", "..", "testdata", "golden", "web", name+".html")
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(page), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), page)
}

func running() View {
	v := drainOpen()
	v.State.Pumps[0].Running = true
	v.State.Pumps[0].Charge.WaterG, v.State.Pumps[0].Charge.WaterLowG, v.State.Pumps[0].Charge.WaterHighG = 0, 0, 0
	a := drainAction()
	opens, closes := now.Add(7*time.Hour), now.Add(8*time.Hour+16*time.Minute)
	a.State, a.Opens, a.Due, a.Closes = maintenance.Coming, opens, closes, &closes
	v.Actions = []maintenance.Action{a, decantAction()}
	v.Recent = v.Recent[1:]
	return v
}

func settled() View {
	v := drainOpen()
	v.State.Pumps[0].Open, v.State.Pumps[0].Charge = true, nil
	v.State.Pumps[0].Full = nil
	a := decantAction()
	a.State, a.Opens, a.Due = maintenance.Overdue, ago(2*time.Hour), ago(2*time.Hour)
	v.Actions = []maintenance.Action{a}
	jar := settlingJar("jar-3", -2*time.Hour)
	jar.Settled, jar.SettledLow, jar.SettledHigh = 0.97, 0.93, 0.99
	v.State.Vessels[1] = jar
	v.State.Vessels = append(v.State.Vessels, vessel("jar-7", maintenance.Residue, 120, 40), vessel("jar-8", maintenance.Freezing, 90, 30))
	return v
}

func TestPages(t *testing.T) {
	for name, page := range map[string]struct {
		view View
		path string
	}{
		"now-empty":        {View{Now: now, Zone: oslo}, "/"},
		"now-drain-open":   {drainOpen(), "/"},
		"now-running":      {running(), "/"},
		"now-settling":     {settled(), "/"},
		"action-drain":     {drainOpen(), drainPath()},
		"jars-settling":    {settled(), "/jars"},
		"history":          {drainOpen(), "/history"},
		"action-not-asked": {settled(), drainPath()},
	} {
		t.Run(name, func(t *testing.T) {
			s := newVisit(t, page.view)
			w := s.get(page.path)
			golden(t, name, w.Body.String())
			require.Less(t, w.Body.Len()+len(s.pages.style), 60_000, "the page is heavy")
			require.Empty(t, s.log.String())
		})
	}
}

func TestRejectedForm(t *testing.T) {
	s := newVisit(t, drainOpen())
	s.desk.refuse = &maintenance.Rejection{Field: "grams", Says: "north holds 668 g by the book, 900 g cannot leave it", Hint: "weigh the sump to set the book right",
		Offer: []maintenance.Entry{{Act: &maintenance.WeighAct{Pump: "north", Grams: num(900)}}}}
	f := s.form(drainPath(), "drain")
	f.Set("amount", "900")
	f.Set("to", "jar-5")
	f.Set("when", "20m ago")
	w := s.post(f)
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	golden(t, "rejected-drain", w.Body.String())
	require.Equal(t, f, s.formIn(w.Body.String(), "drain"), "the form keeps its key and what was typed")
}
