package notify

import (
	"fmt"
	"math"
	"net/url"
	"strconv"
	"strings"
	"time"

	"sumpbook/maintenance"
)

// A Voice words reminders for one household: its zone, the address of its page and its units.
type Voice struct {
	Zone    *time.Location                          // nil is UTC
	BaseURL string                                  // empty: no link
	Signer  *Signer                                 // nil: links are not signed, and ask for a login
	Amount  func(value float64, unit string) string // nil: as it is
}

// lateAfter is how much later than due a reminder says that it is late.
const lateAfter = 10 * time.Minute

// Compose words a reminder: what and which first, then until when, why, what to beware of,
// and how to answer. The text is enough without the link.
func (v Voice) Compose(r Reminder, now time.Time) Message {
	m := Message{ID: r.ID(), Key: r.Key, Action: r.Action, Test: r.Test, SentAt: now}
	switch {
	case len(r.With) > 0:
		m.Subject, m.Text = v.together(r, now)
	case r.Test:
		m.Subject, m.Text = testWords()
	case r.Key.Stage == Daily:
		m.Subject, m.Text = v.digest(r.Agenda, now)
	case r.Key.Stage == Weekly:
		m.Subject, m.Text = v.weekly(r, now)
	case r.Wakes():
		m.Subject, m.Text = v.aheadWords(r, now)
	case r.Key.Stage == Done:
		// Why it is gone is not known here: an act told, a skip, or something more urgent.
		m.Subject = "No longer asked for: " + lowered(Task(r.Action))
		m.Text = m.Subject + ".\nIt was recorded, set aside, or overtaken: sumpbook next shows what is to do now.\n"
	default:
		m.Subject = v.headline(r, now)
		m.Text = v.body(r, m.Subject, now)
	}
	m.Links = v.Links(r, now)
	return m
}

func testWords() (subject, text string) {
	return "TEST from sumpbook", "TEST from sumpbook.\nReminders reach you here. Nothing has to be done.\n"
}

func (v Voice) headline(r Reminder, now time.Time) string {
	a := r.Action
	switch {
	case now.Before(a.Opens):
		return Task(a) + ": opens " + v.When(a.Opens, now)
	case r.Key.Stage == Overdue:
		return Task(a) + ": overdue since " + v.When(a.Due, now)
	case r.Key.Stage == Closing && a.Closes != nil && now.Before(*a.Closes):
		return Task(a) + ": only " + Span(a.Closes.Sub(now)) + " left"
	case r.Key.Stage == Again:
		return Task(a) + ": still to do"
	}
	return v.urge(a, now)
}

// urge is the task with the one word that makes it urgent or easy.
func (v Voice) urge(a maintenance.Action, now time.Time) string {
	switch a.Do {
	case maintenance.DoStopPump:
		return Task(a) + " now: it runs without oil on the book"
	case maintenance.DoDrain:
		if a.Closes != nil && now.Before(*a.Closes) {
			return Task(a) + " now, while the oil is hot"
		}
		return Task(a) + ": warm the pump first"
	case maintenance.DoFill:
		return Task(a) + " before the next start"
	case maintenance.DoDecant:
		return Task(a) + ": the clear oil is on top"
	}
	return Task(a)
}

func (v Voice) body(r Reminder, headline string, now time.Time) string {
	a := r.Action
	var b strings.Builder
	b.WriteString(headline + ".\n")
	if r.Silent > 0 {
		b.WriteString(v.silentWords(r))
	}
	if line := v.until(a, now); line != "" {
		b.WriteString(line + "\n")
	}
	if (r.Key.Stage == Opened || r.Key.Stage == Closing) && r.Silent == 0 && now.Sub(r.Since) >= lateAfter {
		b.WriteString("This reminder is late: it fell due " + v.When(r.Since, now) + ".\n")
	}
	if why := v.why(a.Why); why != "" {
		b.WriteString("Why: " + why + ".\n")
	}
	writeCautions(&b, a.Cautions, "")
	if command := Command(a.Record); command != "" {
		b.WriteString("When done: " + command + "\n")
	}
	if link := v.link(a.ID); link != "" && v.Signer == nil {
		b.WriteString("Answer: " + link + "\n")
	}
	return b.String()
}

func writeCautions(b *strings.Builder, cautions []string, indent string) {
	for _, c := range cautions {
		b.WriteString(indent + "Careful: " + strings.TrimSuffix(oneLine(c), ".") + ".\n")
	}
}

func (v Voice) until(a maintenance.Action, now time.Time) string {
	switch {
	case a.Closes != nil && now.Before(a.Opens):
		return "It closes " + v.When(*a.Closes, now) + ", in your quiet hours: no other reminder comes before that."
	case a.Closes != nil && now.Before(*a.Closes):
		return "Until " + v.When(*a.Closes, now) + " (" + Span(a.Closes.Sub(now)) + ")."
	case now.Before(a.Due) && a.Due.After(a.Opens):
		return "By " + v.When(a.Due, now) + "."
	}
	return ""
}

// why gives at most three of the numbers an action rests on.
func (v Voice) why(reasons []maintenance.Reason) string {
	var all []string
	for _, r := range reasons[:min(len(reasons), 3)] {
		all = append(all, v.reason(r))
	}
	return strings.Join(all, "; ")
}

func (v Voice) reason(r maintenance.Reason) string {
	if r.Rule == "unexplained" || r.Rule == "declared" { // counts of one: the words are the source's
		return strings.TrimPrefix(oneLine(r.Source), "the book: ")
	}
	text := ruleWords(r.Rule) + ": " + v.amount(r.Value, r.Unit)
	if r.Limit != 0 {
		text += ", limit " + v.amount(r.Limit, r.Unit)
	}
	return text
}

// amount leaves out units that the rule's words say already.
func (v Voice) amount(value float64, unit string) string {
	if unit == "cycles" || unit == "charges" || unit == "passes" {
		unit = "1"
	}
	if v.Amount != nil {
		return v.Amount(value, unit)
	}
	digits := 3
	if size := math.Abs(value); size >= 100 {
		digits = int(math.Log10(size)) + 1
	}
	text := strconv.FormatFloat(value, 'g', digits, 64)
	return strings.TrimSuffix(text+" "+unit, " 1")
}

// ruleNames word the limits' keys and the names of computations.
var ruleNames = map[string]string{
	"drain_cycles": "cycles since the change", "drain_run_h": "run hours since the change",
	"drain_water_g": "water since the change", "air_h": "open to air", "drain_slow": "viscosity against warm running",
	"settle_um": "droplet", "settle_min_h": "settled", "filter_passes": "filter passes",
	"fill_free_water_g": "free water", "replace_run_h": "run hours of the oil", "replace_uses": "charges served",
	"replace_water_g": "water taken up in all", "thermal_h": "thermal hours", "colour_rise": "colour against new oil",
	"acid_rise_mg_g": "acid number against new oil", "blank_off_factor": "blank-off pressure against new oil",
	"medium_slow": "filtering time against fresh", "waste_full": "share of the vessel", "full_fraction": "share of new oil",
	"oil_c": "oil temperature", "minutes_left": "time left", "sump_oil_g": "oil in the sump", "sump_ml": "oil in the sump",
	"run_h": "running for", "exhaust_g_h": "oil lost by the exhaust", "free_water_g": "free water", "frozen_h": "in the cold for",
	"settled_h": "settling for", "settled": "share settled", "ready_oil_g": "oil ready for the pump",
	"new_oil_ml": "new oil in stock", "wait_h": "until oil is ready",
}

func ruleWords(rule string) string {
	if words, ok := ruleNames[rule]; ok {
		return words
	}
	return strings.NewReplacer("_", " ", "-", " ").Replace(rule)
}

// link is where a person who is let in answers.
func (v Voice) link(action string) string {
	if v.BaseURL == "" {
		return ""
	}
	return strings.TrimSuffix(v.BaseURL, "/") + "/actions/" + url.PathEscape(action)
}

// linkLines are links as a letter shows them, under their action where there are several.
func linkLines(links []Link) string {
	if len(links) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString("\nAnswer by a link; each opens a page with one button.\n")
	several := links[0].Action != links[len(links)-1].Action
	for i, l := range links {
		if several && (i == 0 || links[i-1].Action != l.Action) {
			b.WriteString("\n" + capitalized(actionWords(l.Action)) + "\n")
		}
		b.WriteString(l.Label + ": " + l.URL + "\n")
	}
	return b.String()
}

// When writes an instant as the clock on the wall shows it, with as much of the date as it
// takes to tell it from now.
func (v Voice) When(t, now time.Time) string {
	zone := v.Zone
	if zone == nil {
		zone = time.UTC
	}
	t, now = t.In(zone), now.In(zone)
	days := t.Sub(now).Abs()
	switch {
	case t.YearDay() == now.YearDay() && t.Year() == now.Year():
		return t.Format("15:04")
	case days < 6*24*time.Hour:
		return t.Format("Mon 15:04")
	case t.Year() == now.Year() || days < 180*24*time.Hour:
		return t.Format("2 Jan 15:04")
	}
	return t.Format("2 Jan 2006")
}

// Span writes a length of time for people, to the minute.
func Span(d time.Duration) string {
	minutes := int(d.Abs().Round(time.Minute) / time.Minute)
	switch {
	case minutes < 60:
		return fmt.Sprintf("%d min", minutes)
	case minutes < 48*60 && minutes%60 == 0:
		return fmt.Sprintf("%d h", minutes/60)
	case minutes < 48*60:
		return fmt.Sprintf("%d h %d min", minutes/60, minutes%60)
	}
	return fmt.Sprintf("%d days", minutes/(24*60))
}

// digest is the day's plan in a few lines.
func (v Voice) digest(agenda []maintenance.Action, now time.Time) (subject, text string) {
	var open, coming strings.Builder
	var opens, comes int
	for _, a := range agenda {
		if a.State == maintenance.Coming {
			comes++
			coming.WriteString("- " + Task(a) + ": opens " + v.When(a.Opens, now) + "\n")
			continue
		}
		opens++
		open.WriteString("- " + v.agendaLine(a, now) + "\n")
		writeCautions(&open, a.Cautions, "  ")
	}
	day := now
	if v.Zone != nil {
		day = now.In(v.Zone)
	}
	subject = fmt.Sprintf("Oil on %s: %d to do, %d coming", day.Format("Mon 2 Jan"), opens, comes)
	if len(agenda) == 0 {
		subject = "Oil on " + day.Format("Mon 2 Jan") + ": nothing to do"
	}
	text = subject + ".\n"
	if opens > 0 {
		text += "\nTo do:\n" + open.String()
	}
	if comes > 0 {
		text += "\nComing:\n" + coming.String()
	}
	return subject, text
}

func (v Voice) agendaLine(a maintenance.Action, now time.Time) string {
	switch {
	case a.Due.After(a.Opens) && !now.Before(a.Due):
		return Task(a) + ": overdue since " + v.When(a.Due, now)
	case a.Closes != nil && now.Before(*a.Closes):
		return Task(a) + ": until " + v.When(*a.Closes, now)
	case now.Before(a.Due):
		return Task(a) + ": by " + v.When(a.Due, now)
	}
	return Task(a)
}
