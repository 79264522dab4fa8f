package notify

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"sumpbook/maintenance"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// golden compares with testdata/golden/NAME.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", "golden", name)
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

// kitchen is an invented book with one action of each kind, seen at noon in Oslo (13:00).
func kitchen() []maintenance.Action {
	grams := func(g float64) maintenance.Amount { return maintenance.Amount{Grams: &g} }
	entry := func(act maintenance.Act) maintenance.Entry { return maintenance.Entry{Act: act} }
	why := func(rule string, value, limit float64, unit string) maintenance.Reason {
		return maintenance.Reason{Rule: rule, Value: value, Limit: limit, Unit: unit, Source: "invented"}
	}
	hot := "The oil is at about 65 °C and burns the skin: wear gloves and eye protection"
	all := []maintenance.Action{
		{ID: "stop-pump/north/s7", Do: maintenance.DoStopPump, Pump: ptr("north"), Opens: noon, Due: noon,
			Record: entry(&maintenance.StopAct{Pump: "north"}), Cautions: []string{"Vent the chamber before the pump stands still"},
			Why: []maintenance.Reason{why("sump_oil_g", 18, 800, "g")}},
		{ID: "drain/north/north/stop/2026-11-24T12:00:00Z", Do: maintenance.DoDrain, Pump: ptr("north"), Vessel: ptr("jar-3"),
			Opens: noon, Due: after(42 * time.Minute), Closes: ptr(after(42 * time.Minute)),
			Record: entry(&maintenance.DrainAct{Pump: "north", To: "jar-3", Amount: grams(640)}), Cautions: []string{hot, "A cold glass jar can crack: warm it or use metal."},
			Why: []maintenance.Reason{why("drain_cycles", 1, 1, "cycles"), why("carry_over", 22.4, 0, "g"), why("drain_slow", 1.3, 3, "1"), why("never shown", 1, 1, "g")}},
		{ID: "fill/north/d7", Do: maintenance.DoFill, Pump: ptr("north"), Vessel: ptr("can-1"), Opens: noon, Due: after(22 * time.Hour),
			Record: entry(&maintenance.FillAct{Pump: "north", From: "can-1", Amount: maintenance.Amount{Ml: ptr(700.0)}}), Why: []maintenance.Reason{why("air_h", 2, 2, "h")}},
		{ID: "top-up/south/w2", Do: maintenance.DoTopUp, Pump: ptr("south"), Opens: noon, Due: noon,
			Record: entry(&maintenance.FillAct{Pump: "south", From: "can-1", Amount: grams(55.5)})},
		{ID: "replace/south/f3", Do: maintenance.DoReplace, Pump: ptr("south"), Opens: noon, Due: after(9 * 24 * time.Hour),
			Record: entry(&maintenance.DrainAct{Pump: "south"}), Cautions: []string{hot}, Why: []maintenance.Reason{why("replace_run_h", 612.25, 600, "h"), why("replace_uses", 14, 20, "charges")}},
		{ID: "decant/jar-2/d5", Do: maintenance.DoDecant, Vessel: ptr("jar-2"), Opens: noon, Due: noon,
			Record: entry(&maintenance.DecantAct{From: "jar-2", To: "can-2"}), Why: []maintenance.Reason{why("settle_min_h", 96.4, 24, "h")}},
		{ID: "separate/jar-4/z1", Do: maintenance.DoSeparate, Vessel: ptr("jar-4"), Opens: noon, Due: noon,
			Record: entry(&maintenance.SeparateAct{From: "jar-4", To: "jar-5"}), Cautions: []string{"Ice can have cracked the glass: look before you lift"}},
		{ID: "freeze/jar-6/c1", Do: maintenance.DoFreeze, Vessel: ptr("jar-6"), Opens: noon, Due: noon, Record: entry(&maintenance.FreezeAct{Vessel: "jar-6"}),
			Cautions: []string{"Sealed, labelled and apart from food, with room to expand"}},
		{ID: "filter/can-2/c9", Do: maintenance.DoFilter, Vessel: ptr("can-2"), Opens: noon, Due: noon,
			Record: entry(&maintenance.FilterAct{From: "can-2", To: "can-1", Medium: "paper-1"})},
		{ID: "change-medium/paper-1/m1", Do: maintenance.DoChangeMedium, Opens: noon, Due: noon, Record: entry(&maintenance.MediumAct{Medium: "paper-1"})},
		{ID: "check/north/s6", Do: maintenance.DoCheck, Pump: ptr("north"), Opens: noon, Due: noon, Record: maintenance.Entry{Act: &maintenance.NoteAct{Pump: "north"}, Note: "it's been looked at"},
			Why: []maintenance.Reason{{Rule: "unexplained", Value: 1, Unit: "1", Source: "the source fell silent in mid-cycle"}}},
		{ID: "care/gasket@north/c2", Do: maintenance.DoCare, Pump: ptr("north"), Opens: noon, Due: noon, Record: entry(&maintenance.CareAct{Task: "gasket", Pump: "north"})},
		{ID: "hand-in/can-9/w1", Do: maintenance.DoHandIn, Vessel: ptr("can-9"), Opens: noon, Due: noon,
			Record: entry(&maintenance.DiscardAct{From: "can-9", Where: "depot"}), Cautions: []string{"Used oil is regulated waste: the rules of your place hold"}},
		{ID: "buy-oil/vg68/p1", Do: maintenance.DoBuyOil, Opens: noon, Due: after(12 * 24 * time.Hour), Why: []maintenance.Reason{why("stock_g", 1250, 2100, "g")}},
	}
	for i := range all {
		all[i].State = maintenance.Open
	}
	return all
}

func oslo(t require.TestingT) Voice {
	return Voice{Zone: zone(t, "Europe/Oslo"), BaseURL: "http://192.0.2.7:8417/"}
}

func shown(m Message) string { return "Subject: " + m.Subject + "\n\n" + m.Text + "----\n" }

func TestGoldenRemindersOfEachKind(t *testing.T) {
	var all strings.Builder
	for _, a := range kitchen() {
		r := Reminder{Key: Key{a.ID, Opened, 0, "mail"}, Action: a, Since: a.Opens, Attempt: 1}
		all.WriteString(shown(oslo(t).Compose(r, after(2*time.Minute))))
	}
	golden(t, "opened.txt", all.String())
}

func TestGoldenStages(t *testing.T) {
	v, drain := oslo(t), kitchen()[1]
	coming := drain
	coming.Opens, coming.Due, coming.Closes, coming.State = after(14*time.Hour), after(15*time.Hour), ptr(after(15*time.Hour)), maintenance.Coming
	var all strings.Builder
	for _, c := range []struct {
		stage  Stage
		action maintenance.Action
		since  time.Time
		now    time.Time
	}{
		{Opened, coming, after(8*time.Hour + 30*time.Minute), after(8*time.Hour + 30*time.Minute)},
		{Closing, drain, after(28 * time.Minute), after(28 * time.Minute)},
		{Overdue, drain, drain.Due, drain.Due},
		{Overdue, drain, drain.Due, after(19 * time.Hour)},
		{Again, kitchen()[5], noon, after(30 * time.Hour)},
		{Done, lastSeen(drain.ID, &About{Pump: ptr("north")}), noon, after(time.Hour)},
	} {
		r := Reminder{Key: Key{c.action.ID, c.stage, 0, "mail"}, Action: c.action, Since: c.since, Attempt: 1}
		all.WriteString(shown(v.Compose(r, c.now)))
	}
	all.WriteString(shown(v.Compose(TestReminder("mail", noon), noon)))
	golden(t, "stages.txt", all.String())
}

func TestGoldenDigest(t *testing.T) {
	v, agenda := oslo(t), kitchen()[1:4]
	agenda[2].Opens, agenda[2].Due, agenda[2].State = after(40*time.Hour), after(40*time.Hour), maintenance.Coming
	r := Reminder{Key: Key{digestAction, Daily, 1, "mail"}, Agenda: agenda}
	text := shown(v.Compose(r, noon)) + shown(v.Compose(r, after(20*time.Hour)))
	r.Agenda = nil
	golden(t, "digest.txt", text+shown(v.Compose(r, noon)))
}

// The morning after a night, after a gap, an evening, a week, and a step of escalation.
func TestGoldenTogether(t *testing.T) {
	v, night := oslo(t), kitchen()
	part := func(a maintenance.Action, stage Stage) Reminder {
		return Reminder{Key: Key{a.ID, stage, 0, "mail"}, Action: a, Since: a.Opens, Attempt: 1, Held: true}
	}
	r := part(night[1], Overdue)
	r.With = []Reminder{part(night[2], Opened), part(lastSeen(night[5].ID, &About{Vessel: ptr("jar-2")}), Done)}
	text := shown(v.Compose(r, after(morning)))
	for i := range r.With {
		r.With[i].Held = false
	}
	text += shown(v.Compose(r, after(morning)))
	off := Stretch{noon, after(morning)}
	r = part(night[5], Opened)
	r.Off, r.With = off, []Reminder{part(night[6], Opened)}
	r.With[0].Off = off
	text += shown(v.Compose(r, after(morning)))
	ahead := part(comingDrain(), Opened)
	ahead.Until, ahead.Key.Count = after(17*time.Hour+30*time.Minute), -1
	text += shown(v.Compose(ahead, after(evening)))
	text += shown(v.Compose(Reminder{Key: Key{weeklyAction, Weekly, 1, "mail"}, Runs: 5}, noon))
	step := part(longDrain(), Opened)
	step.Silent = 45 * time.Minute
	golden(t, "together.txt", text+shown(v.Compose(step, after(45*time.Minute))))
}

func TestAmountsInThePersonsUnits(t *testing.T) {
	v := Voice{Amount: func(value float64, unit string) string {
		return fmt.Sprintf("%.2f pounds of %s", value/453.59237, unit)
	}}
	a := kitchen()[13]
	m := v.Compose(Reminder{Key: Key{a.ID, Opened, 0, "mail"}, Action: a, Since: noon}, noon)
	require.Contains(t, m.Text, "Why: stock g: 2.76 pounds of g, limit 4.63 pounds of g.")
}

func TestPlainAmounts(t *testing.T) {
	for want, value := range map[string]float64{"0 g": 0, "22.4 g": 22.4, "612 g": 612.25, "1250 g": 1250, "1234567 g": 1234567.4, "-5 g": -5, "0.00123 g": 0.0012345} {
		require.Equal(t, want, Voice{}.amount(value, "g"))
	}
	require.Equal(t, "1.3", Voice{}.amount(1.3, "1"))
}

func TestLinkEscapesTheAction(t *testing.T) {
	m := oslo(t).Compose(Reminder{Key: Key{"drain/north/a b?c#d", Opened, 0, "mail"}, Action: maintenance.Action{ID: "drain/north/a b?c#d"}}, noon)
	require.Contains(t, m.Text, "Answer: http://192.0.2.7:8417/actions/drain%2Fnorth%2Fa%20b%3Fc%23d\n")
	require.NotContains(t, Voice{}.Compose(Reminder{}, noon).Text, "Answer")
}

func TestWhenSaysAsMuchAsItTakes(t *testing.T) {
	v := oslo(t)
	for want, when := range map[string]time.Time{
		"13:00": noon, "23:59": after(10*time.Hour + 59*time.Minute), "Wed 00:30": after(11*time.Hour + 30*time.Minute),
		"Sun 13:00": after(5 * 24 * time.Hour), "1 Dec 13:00": after(7 * 24 * time.Hour), "3 Jan 13:00": after(40 * 24 * time.Hour),
		"24 Nov 2027": noon.AddDate(1, 0, 0),
	} {
		require.Equal(t, want, v.When(when, noon))
	}
}

func TestSpan(t *testing.T) {
	for want, d := range map[string]time.Duration{
		"0 min": 29 * time.Second, "1 min": 31 * time.Second, "59 min": 59 * time.Minute, "1 h": 3600 * time.Second,
		"31 h 12 min": 31*time.Hour + 12*time.Minute, "2 days": 48 * time.Hour, "9 days": 9 * 24 * time.Hour,
	} {
		require.Equal(t, want, Span(d))
	}
}

func TestCommandIsWhatAShellTakes(t *testing.T) {
	for want, e := range map[string]maintenance.Entry{
		"":                                  {},
		"sumpbook drain north jar-3 640g":   {Act: &maintenance.DrainAct{Pump: "north", To: "jar-3", Amount: maintenance.Amount{Grams: ptr(640.0)}}},
		"sumpbook fill can-1 north 700.5ml": {Act: &maintenance.FillAct{Pump: "north", From: "can-1", Amount: maintenance.Amount{Ml: ptr(700.5)}}},
		"sumpbook drain north VESSEL":       {Act: &maintenance.DrainAct{Pump: "north"}},
		"sumpbook separate jar-4 VESSEL water_g=GRAMS":                   {Act: &maintenance.SeparateAct{From: "jar-4"}},
		`sumpbook discard can-9 where='the depot; $(rm) & '\''sons'\'''`: {Act: &maintenance.DiscardAct{From: "can-9", Where: "the depot; $(rm) & 'sons'"}},
		"sumpbook add care task=gasket pump=north":                       {Act: &maintenance.CareAct{Task: "gasket", Pump: "north"}},
		"sumpbook add note pump=north note='two words'":                  {Act: &maintenance.NoteAct{Pump: "north"}, Note: "two words"},
	} {
		require.Equal(t, want, Command(e))
	}
}

// TestLawTextsStayShortAndPlain: whatever the facts hold, a reminder is a few plain lines.
func TestLawTextsStayShortAndPlain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.SampledFrom(kitchen()).Draw(t, "action")
		a.Cautions = []string{rapid.StringN(0, 100, -1).Draw(t, "caution")}
		r := Reminder{Key: Key{a.ID, rapid.SampledFrom([]Stage{Opened, Again, Closing, Overdue, Done}).Draw(t, "stage"), 0, "mail"}, Action: a, Since: noon}
		now := after(time.Duration(rapid.IntRange(-1e5, 1e5).Draw(t, "minutes")) * time.Minute)
		m := oslo(t).Compose(r, now)
		require.LessOrEqual(t, utf8.RuneCountInString(m.Subject), 70)
		require.True(t, strings.HasPrefix(m.Text, m.Subject+".\n"), "the text is enough by itself")
		require.LessOrEqual(t, strings.Count(m.Text, "\n"), 9)
		require.NotContains(t, m.Subject, "%!")
		require.Equal(t, m.Subject, oneLine(m.Subject))
	})
}
