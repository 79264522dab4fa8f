package web

import (
	"net/http"
	"strings"

	"sumpbook/maintenance"
)

// A frame is what every page has.
type frame struct {
	Title, Tab, Style, At, Failing string
	Demo, Refresh                  bool
	Bare                           bool // without the ways to other pages
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
	Push  string // why this phone cannot be pushed to
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

type messagePage struct {
	frame
	Heading, Says, Hint string
	Told                *told
	Offer               []string
}

type pump struct {
	Name  string
	Mark  mark
	Facts []fact
}

type jar struct {
	Name, Look, Line, Ready string
	Mark                    mark
	Facts                   []fact
	Do                      *line
}

func (p *Pages) nowPage(v View, r *http.Request) nowPage {
	n := nowPage{Saved: p.saved(v, r), Empty: len(v.State.Pumps)+len(v.State.Vessels) == 0, Pumps: v.pumps(), Jars: v.fullJars()}
	if v.NoPush != nil {
		n.Push = v.NoPush(r)
	}
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

func (p *Pages) jarsPage(v View) jarsPage {
	return jarsPage{p.frameOf(v, "Jars", "jars"), v.jars()}
}
