package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"sumpbook/maintenance"
	"sumpbook/maintenance/units"
	"sumpbook/notify"
)

// A frame is what every page has.
type frame struct {
	Title, Tab, Style, At, Failing string
	Demo, Refresh                  bool
}

func (p *Pages) frame(title, tab string) frame {
	return frame{Title: title + " · sumpbook", Tab: tab, Style: "/style.css?v=" + p.styleTag}
}

func (p *Pages) frameOf(v View, title, tab string) frame {
	f := p.frame(title, tab)
	f.At, f.Demo, f.Failing = v.Now.Format("15:04"), v.Demo, strings.Join(v.Failing, ", ")
	return f
}

type nowPage struct {
	frame
	Saved *saved
	Card  *card // nil: nothing is due
	Next  *line // what comes when nothing is due
	Empty bool
	Then  []line
	Pumps []pump
	Jars  []jar
}

type actionPage struct {
	frame
	Card  card
	Steps []step
}

type jarsPage struct {
	frame
	Jars []jar
}

type historyPage struct {
	frame
	Saved *saved
	Lines []told
}

type messagePage struct {
	frame
	Heading, Says, Hint string
	Told                *told
	Offer               []string
}

// A card is one action with all it takes to answer it.
type card struct {
	Title, Window, Href string
	Mark                mark
	Why                 []fact
	Cautions            []string
	Form                *sheet // nil: nothing to record
	Snooze, Skip        sheet
	Offer               []string // commands that would make a refused form possible
}

// A line is one action in a list.
type line struct {
	Title, Window, Href string
	Mark                mark
}

// A sheet is one form as it stands on the page.
type sheet struct {
	Kind, Key, About, Button string
	Ghost                    bool
	Fields                   []field
	Says, Hint               string // what is wrong with the form as a whole
	Open                     bool   // shown unfolded
}

// A field is one input of a sheet.
type field struct {
	ID, Name, Label, Value, Unit, Hint, Says, Fix string
	Sort                                          sort
	Must, Hidden                                  bool
	Options, Units                                []option
}

type option struct {
	Value, Text string
	Chosen      bool
}

type pump struct {
	Name  string
	Mark  mark
	Facts []fact
}

type jar struct {
	Name, Look, Line string
	Mark             mark
	Facts            []fact
	Do               *line
}

// A told is one entry in the history.
type told struct {
	Day, Clock, Says, Note, By, Late string
	Gone                             bool
	Void                             *sheet
}

// A saved says what the form before this page did.
type saved struct {
	Says    string
	Remarks []string
	Undo    *sheet
}

func (p *Pages) nowPage(v View, r *http.Request) nowPage {
	n := nowPage{Saved: p.saved(v, r), Empty: len(v.State.Pumps)+len(v.State.Vessels) == 0, Pumps: v.pumps(), Jars: v.fullJars()}
	open, rest := split(v.Actions)
	title := "Nothing to do now"
	switch {
	case open != nil:
		c := v.card(*open, true)
		n.Card, title = &c, c.Title
	case n.Empty:
		title = "The book is empty"
	case len(rest) > 0:
		next := v.line(rest[0])
		n.Next, rest = &next, rest[1:]
	}
	for _, a := range rest {
		n.Then = append(n.Then, v.line(a))
	}
	n.frame = p.frameOf(v, title, "now")
	n.Refresh = n.Card == nil // a page that reloads itself would wipe what is being typed
	return n
}

// split takes the most urgent action off, if it is one to do now.
func split(actions []maintenance.Action) (*maintenance.Action, []maintenance.Action) {
	if len(actions) == 0 || actions[0].State == maintenance.Coming {
		return nil, actions
	}
	return &actions[0], actions[1:]
}

func (p *Pages) actionPage(v View, a maintenance.Action, failed *failure) actionPage {
	c := v.card(a, false)
	title := c.Title
	if failed != nil {
		failed.mark(&c)
		title = "Not saved: " + title
	}
	return actionPage{p.frameOf(v, title, "now"), c, v.steps(a.ID)}
}

func (v View) card(a maintenance.Action, brief bool) card {
	c := card{Title: notify.Task(a), Href: href(a.ID), Cautions: a.Cautions}
	c.Mark, c.Window = v.window(a)
	for _, r := range a.Why {
		c.Why = append(c.Why, v.fact(r))
	}
	if brief {
		c.Why = c.Why[:min(len(c.Why), 3)]
	}
	if a.Record.Act != nil && inputs[a.Record.Act.Kind()] != nil {
		s := v.sheet(a, brief)
		c.Form = &s
	}
	c.Snooze = sheet{Kind: "snooze", Key: newKey(), About: a.ID}
	c.Skip = sheet{Kind: "skip", Key: newKey(), About: a.ID, Fields: v.fields("skip", maintenance.Entry{Act: &maintenance.SkipAct{Action: a.ID}})}
	return c
}

func (v View) line(a maintenance.Action) line {
	l := line{Title: notify.Task(a), Href: href(a.ID)}
	l.Mark, l.Window = v.window(a)
	return l
}

func href(action string) string { return "/actions/" + url.PathEscape(action) }

// sheet is the form that records what an action asks for. On the brief card the vessel is
// settled and the button names it; where it can be chosen, the button cannot.
func (v View) sheet(a maintenance.Action, brief bool) sheet {
	kind := a.Record.Act.Kind()
	s := sheet{Kind: kind, Key: newKey(), About: a.ID, Ghost: a.State == maintenance.Coming, Fields: v.fields(kind, a.Record)}
	members, _ := membersOf(a.Record) // our own encoding reads back
	button, whole := fillIn(words[kind].button, members)
	s.Button = button
	if open := words[kind].open; open != "" && (!brief || !whole) {
		s.Button = open
		return s
	}
	for i := range s.Fields {
		s.Fields[i].Hidden = brief && s.Fields[i].Sort == sortVessel
	}
	return s
}

func (v View) fields(kind string, e maintenance.Entry) []field {
	members, _ := membersOf(e)
	var out []field
	for _, in := range inputs[kind] {
		f := field{ID: kind + "-" + in.name, Name: in.name, Label: in.label, Sort: in.sort, Must: in.must, Hint: in.hint, Value: plain(members[in.name])}
		switch in.sort {
		case sortAmount:
			v.prefillAmount(&f, e)
		case sortVessel:
			f.Options = v.vesselOptions(plain(members["from"]), f.Value, in.name)
		case sortNumber:
			f.Unit = shown(in.shownIn(v))
			if n, ok := numberOf(members[in.name]); ok {
				f.Value = v.typed(n, in.unit, in.shownIn(v))
			}
		case sortWhen:
			f.Value = "now"
		}
		out = append(out, f)
	}
	return out
}

// prefillAmount shows the amount of an entry in the person's unit of its sort, rounded to
// what a kitchen scale or a jug tells.
func (v View) prefillAmount(f *field, e maintenance.Entry) {
	mass, volume := amountUnits(units.System(v.Units))[0], amountUnits(units.System(v.Units))[1]
	chosen := mass
	members, _ := membersOf(e)
	if n, ok := numberOf(members["grams"]); ok {
		f.Value = v.typed(n, units.Gram, mass)
	}
	if n, ok := numberOf(members["ml"]); ok {
		f.Value, chosen = v.typed(n, units.Millilitre, volume), volume
	}
	for _, u := range amountUnits(units.System(v.Units)) {
		f.Units = append(f.Units, option{string(u), string(u), u == chosen})
	}
}

// vesselOptions are the vessels a form may name, each with what it holds.
func (v View) vesselOptions(from, chosen, name string) []option {
	out := []option{}
	if chosen == "" {
		out = append(out, option{"", "choose a vessel", true})
	}
	for _, w := range v.State.Vessels {
		if w.Vessel == from && name == "to" || w.Grams == 0 && name == "from" && w.Vessel != chosen {
			continue
		}
		text := w.Vessel + ", empty"
		if w.Stage != nil {
			text = w.Vessel + ", " + v.quantity(w.Grams, "g") + " " + string(*w.Stage)
		}
		out = append(out, option{w.Vessel, text, w.Vessel == chosen})
	}
	return out
}

// steps are the working behind an action, where the desk shows it.
func (v View) steps(action string) []step { return nil }

type step struct{}

func (p *Pages) jarsPage(v View) jarsPage {
	return jarsPage{p.frameOf(v, "Jars", "jars"), v.jars()}
}

func (p *Pages) historyPage(v View, r *http.Request) historyPage {
	h := historyPage{frame: p.frameOf(v, "History", "history"), Saved: p.saved(v, r)}
	day := ""
	for _, e := range v.Recent {
		t := v.told(e)
		if t.Day == day {
			t.Day = ""
		} else {
			day = t.Day
		}
		h.Lines = append(h.Lines, t)
	}
	return h
}

// lateTold is how long after the fact an entry is said to have been told late.
const lateTold = 10 * time.Minute

func (v View) told(e maintenance.Entry) told {
	at := e.At.In(v.Zone)
	t := told{Day: at.Format("Mon 2 Jan 2006"), Clock: at.Format("15:04"), Says: v.sentence(e), Note: e.Note, By: e.By, Gone: v.withdrawn(e.ID)}
	if e.Recorded.Sub(e.At) > lateTold {
		t.Late = "told " + v.clock(e.Recorded)
	}
	if e.Act.Kind() != "void" && !t.Gone {
		t.Void = &sheet{Kind: "void", Key: newKey(), About: e.ID}
	}
	return t
}

// gonePage says that an action is not asked for, and shows the entry that settled it.
func (p *Pages) gonePage(v View, action, heading, says string) messagePage {
	m := messagePage{frame: p.frameOf(v, heading, ""), Heading: heading, Says: says, Hint: "The start page shows what is to do now."}
	if e, ok := v.settled(action); ok {
		t := v.told(e)
		t.Void = nil
		m.Told = &t
	}
	return m
}

// settling are the kinds of entry that settle an action.
var settling = map[string][]string{
	"stop-pump": {"stop"}, "drain": {"drain"}, "fill": {"fill"}, "top-up": {"fill"}, "replace": {"fill", "drain"}, "decant": {"decant"}, "separate": {"separate"},
	"freeze": {"freeze"}, "filter": {"filter"}, "change-medium": {"medium"}, "check": {"note"}, "care": {"care"}, "hand-in": {"discard"}, "buy-oil": {"lot"},
}

// settled is the newest entry that answers an action: of a kind that settles it, on its
// pump or vessel; or one that let it wait or set it aside.
func (v View) settled(action string) (maintenance.Entry, bool) {
	do, rest, _ := strings.Cut(action, "/")
	subject, _, _ := strings.Cut(rest, "/")
	for _, e := range v.Recent {
		members, err := membersOf(e)
		if err != nil || v.withdrawn(e.ID) {
			continue
		}
		if plain(members["action"]) == action {
			return e, true
		}
		for _, name := range []string{"pump", "vessel", "from", "task", "medium"} {
			if slices.Contains(settling[do], e.Act.Kind()) && subject != "" && plain(members[name]) == subject {
				return e, true
			}
		}
	}
	return maintenance.Entry{}, false
}

// saved is what the form that led here did, as the book shows it.
func (p *Pages) saved(v View, r *http.Request) *saved {
	e, ok := v.entry(r.URL.Query().Get("saved"))
	if !ok {
		return nil
	}
	word, says := "Saved ", v.sentence(e)
	if r.URL.Query().Has("again") {
		word = "Already saved "
	}
	s := &saved{Says: word + v.clock(e.Recorded) + ": " + says, Remarks: p.remarks.of(e.ID)}
	switch {
	case v.withdrawn(e.ID):
		s.Says += " (withdrawn since)"
	case e.Act.Kind() != "void":
		s.Undo = &sheet{Kind: "void", Key: newKey(), About: e.ID}
	}
	return s
}

// remarks keeps what taking the newest entries meant until the page that follows the form
// shows it. It is bounded, and losing it loses no entry.
type remarks struct {
	sync.Mutex
	ids   []string
	texts map[string][]string
}

const maxRemarks = 64

func (m *remarks) keep(id string, texts []string) {
	if len(texts) == 0 {
		return
	}
	m.Lock()
	defer m.Unlock()
	if m.texts == nil {
		m.texts = map[string][]string{}
	}
	if _, ok := m.texts[id]; !ok {
		m.ids = append(m.ids, id)
	}
	m.texts[id] = texts
	if len(m.ids) > maxRemarks {
		delete(m.texts, m.ids[0])
		m.ids = slices.Clone(m.ids[1:])
	}
}

func (m *remarks) of(id string) []string {
	m.Lock()
	defer m.Unlock()
	return m.texts[id]
}

// sentenceOf makes a hint of the book a sentence of the page.
func sentenceOf(hint string) string {
	if hint == "" {
		return ""
	}
	return strings.ToUpper(hint[:1]) + hint[1:] + "."
}

// AboutName is the form's field for what it is about.
func (s sheet) AboutName() string {
	if s.Kind == "void" {
		return "entry"
	}
	return "action"
}

// IsDecimal says that a phone should show its number keys.
func (f field) IsDecimal() bool { return f.Sort == sortAmount || f.Sort == sortNumber }

// DescribedBy names what a screen reader reads after the label.
func (f field) DescribedBy() string {
	var ids []string
	if f.Says != "" {
		ids = append(ids, f.ID+"-says")
	}
	if f.Hint != "" {
		ids = append(ids, f.ID+"-hint")
	}
	return strings.Join(ids, " ")
}
