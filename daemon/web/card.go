package web

import (
	"cmp"
	"net/url"
	"strings"

	"sumpbook/maintenance"
	"sumpbook/maintenance/units"
	"sumpbook/notify"
)

// A card is one action with all it takes to answer it.
type card struct {
	Title, Window, Href string
	Mark                mark
	Why                 []fact
	Cautions            []string
	Form                *sheet // nil: nothing to record
	Snooze              *sheet // nil: this cannot wait
	Skip                sheet
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
	To                       string // relative address that takes it; empty: /record
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
	if canWait(a) {
		c.Snooze = &sheet{Kind: "snooze", Key: newKey(), About: a.ID}
	}
	c.Skip = sheet{Kind: "skip", Key: newKey(), About: a.ID, Fields: v.fields("skip", maintenance.Entry{Act: &maintenance.SkipAct{Action: a.ID}})}
	return c
}

// canWait is false where "ask me later", tapped in haste, would cost the pump.
func canWait(a maintenance.Action) bool { return a.Do != maintenance.DoStopPump }

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

var unchosen = option{"", "choose a vessel", true}

// vesselOptions are the vessels a form may name, each with what it holds.
func (v View) vesselOptions(from, chosen, name string) []option {
	out := []option{}
	if chosen == "" {
		out = append(out, unchosen)
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

// Target is the address that takes the form.
func (s sheet) Target() string { return cmp.Or(s.To, "/record") }

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

// Words are a title in pieces that a narrow screen keeps whole: a name breaks at its hyphen
// only where it fits no line.
func (c card) Words() []string { return strings.Fields(c.Title) }

// Words are those of the line's title.
func (l line) Words() []string { return strings.Fields(l.Title) }

// Words are those of the button.
func (s sheet) Words() []string { return strings.Fields(s.Button) }
