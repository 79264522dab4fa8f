package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A linkPage is the one thing that a link is for: a form with one button, or what it saved.
type linkPage struct {
	frame
	Saved *saved
	Card  card
	Says  string // what the button does, beside its own words
	Form  *sheet // nil: the link has done what it was made for
}

// link shows what a link is for, or what it has saved.
func (p *Pages) link(w http.ResponseWriter, r *http.Request) {
	l, v, err := p.opened(r.Context(), r.PathValue("token"))
	if err == nil && !l.used() {
		_, err = l.asked(v)
	}
	if err != nil {
		p.linkRefused(w, r, answer{link: l, view: v}, err)
		return
	}
	page := p.linkPage(v, l, r.URL.Query().Has("again"), nil)
	p.showLink(w, r, http.StatusOK, v, page, page.title())
}

// showLink puts a page at its address, which its forms lead back to.
func (p *Pages) showLink(w http.ResponseWriter, r *http.Request, status int, v View, page linkPage, title string) {
	page.frame = p.bare(v, r, title)
	to := url.PathEscape(r.PathValue("token")) // relative, so that it is right behind a proxy too
	if page.Form != nil {
		page.Form.To = to
	}
	if page.Saved != nil && page.Saved.Undo != nil {
		page.Saved.Undo.To = to
	}
	p.write(w, r, status, "link", page)
}

// answerLink takes the form of a link's page, and leads back to it.
func (p *Pages) answerLink(w http.ResponseWriter, r *http.Request) {
	token := r.PathValue("token")
	l, v, err := p.opened(r.Context(), token)
	a := answer{link: l, view: v}
	var sent url.Values
	if err == nil {
		sent, err = readFields(w, r)
	}
	if err == nil {
		a, err = p.answer(r.Context(), token, func(l Link, _ View) (form, error) { return l.readLink(sent) })
	}
	if err != nil {
		p.linkRefused(w, r, a, err)
		return
	}
	to := url.PathEscape(token)
	if a.again {
		to += "?again=1"
	}
	w.Header().Set("Location", to)
	w.WriteHeader(http.StatusSeeOther)
}

// linkRefused tells why a link did nothing: a person's mistake on the form itself; what is
// no mistake in one sentence; the rest is ours.
func (p *Pages) linkRefused(w http.ResponseWriter, r *http.Request, a answer, err error) {
	var no *refusal
	var wrong *maintenance.Rejection
	switch {
	case errors.As(err, &no):
	case errors.Is(err, ErrGone):
		no = gone(notAsked)
	case rejectsKey(err):
		no = &refusal{http.StatusConflict, "Not saved: this link was used before, with other values.", "Open it again: it shows what it saved, and can undo it."}
	case errors.As(err, &wrong):
	case a.form.key == "":
		p.fault(w, r, err)
		return
	default:
		wrong = p.unsaved(r, fmt.Errorf("record a %s: %w", a.form.kind, err))
		p.linkForm(w, r, http.StatusInternalServerError, a, wrong)
		return
	}
	if no == nil {
		p.linkForm(w, r, http.StatusUnprocessableEntity, a, wrong)
		return
	}
	heading := "This link does nothing now"
	if r.Method == http.MethodPost {
		heading = "Not saved"
	}
	p.write(w, r, no.status, "message", messagePage{frame: p.bare(a.view, r, heading), Heading: heading, Says: no.says, Hint: no.hint})
}

// linkForm shows the form again with what is wrong; what has none, in words.
func (p *Pages) linkForm(w http.ResponseWriter, r *http.Request, status int, a answer, wrong *maintenance.Rejection) {
	if a.form.kind == "void" || a.link.used() {
		m := messagePage{frame: p.bare(a.view, r, "Not saved"), Heading: "Not saved", Says: sentenceOf(wrong.Says), Hint: sentenceOf(wrong.Hint)}
		p.write(w, r, status, "message", m)
		return
	}
	page := p.linkPage(a.view, a.link, false, &failure{a.form, wrong, a.view.offers(wrong)})
	p.showLink(w, r, status, a.view, page, "Not saved: "+page.title())
}

// bare is the frame of a page that leads nowhere else. Its addresses are relative to its
// own: whoever may see the one may see the other.
func (p *Pages) bare(v View, r *http.Request, title string) frame {
	f := p.frame(title, "")
	f.Bare, f.Demo, f.Style = true, v.Demo, url.PathEscape(r.PathValue("token"))+"/style.css?v="+p.styleTag
	return f
}

func (l linkPage) title() string {
	if l.Form == nil {
		return l.Saved.Says
	}
	return l.Card.Title
}

// linkPage is without its frame.
func (p *Pages) linkPage(v View, l Link, again bool, failed *failure) (page linkPage) {
	switch {
	case l.Heard:
		page.Saved = &saved{Says: heardWords[l.Reply]}
	case l.Saved != nil:
		page.Saved = v.saved(*l.Saved, l.Withdrawn, again)
		page.Saved.Remarks = p.remarks.of(l.Saved.ID)
	}
	if l.used() {
		if l.Saved != nil {
			page.Saved.Undo = &sheet{Kind: "void", Key: l.undoID(), About: l.Saved.ID}
		}
		return page
	}
	a, err := l.asked(v)
	if err != nil {
		return page
	}
	page.Card = v.card(a, true)
	page.Form, page.Says = v.linkSheet(l, a, page.Card)
	if failed != nil {
		failed.onto(page.Form)
		page.Card.Offer = failed.offer
	}
	return page
}

var heardWords = map[notify.Reply]string{
	notify.ReplySeen: "Seen: this reminder is not repeated",
	notify.ReplyWake: "You will be woken this night",
}

// linkSheet is the form of a link, with the one button that names what it does.
func (v View) linkSheet(l Link, a maintenance.Action, c card) (*sheet, string) {
	s, says := &sheet{Kind: string(l.Reply), About: a.ID}, ""
	e, _ := l.Reply.Entry(a, v.Now, v.Zone)
	switch l.Reply {
	case notify.ReplyDone:
		s = c.Form
	case notify.ReplyHour:
		s.Button, says = "Ask me in 1 h", v.waiting(e, a)
	case notify.ReplyTonight:
		s.Button, says = "Ask me "+v.clock(e.Act.(*maintenance.SnoozeAct).Until), v.waiting(e, a)
	case notify.ReplySkip:
		s.Button, s.Fields, says = "Set it aside", v.fields("skip", e), "It is not asked for again."
	case notify.ReplySeen:
		s.Button, says = "I have seen it", "The reminder is not repeated. What it asks for stays to do."
		if l.Key.Count < 0 { // word ahead of a night
			s.Button, says = "Leave it", "Quiet hours hold the reminder until they end."
		}
	case notify.ReplyWake:
		s.Button, says = "Wake me", "This night, quiet hours do not hold this reminder."
	}
	if e.Act != nil {
		s.Kind = e.Act.Kind()
	}
	s.Key = l.ID
	return s, says
}

// waiting says what it means to wait for an action whose window closes.
func (v View) waiting(e maintenance.Entry, a maintenance.Action) string {
	until := e.Act.(*maintenance.SnoozeAct).Until
	if a.Closes == nil || !v.Now.Before(*a.Closes) || until.Before(*a.Closes) {
		return ""
	}
	return "The window closes before that, " + v.clock(*a.Closes) + "."
}

// Words are those of the page's task.
func (l linkPage) Words() []string { return strings.Fields(l.Card.Title) }
