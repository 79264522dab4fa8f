package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// record takes a form: it becomes one entry and leads to the page that shows what was
// saved, or is shown again with what is wrong beside the field.
func (p *Pages) record(w http.ResponseWriter, r *http.Request) {
	f, err := readForm(w, r)
	if err != nil {
		p.refused(w, r, View{}, f, err)
		return
	}
	v, ok := p.look(w, r)
	if !ok {
		return
	}
	done, err := p.tell(r.Context(), f, v)
	if rejectsKey(err) {
		// The same form, sent twice, may have been saved since the book was looked at.
		if v, ok = p.look(w, r); !ok {
			return
		}
		done, err = p.tell(r.Context(), f, v)
	}
	if err != nil {
		p.refused(w, r, v, f, err)
		return
	}
	http.Redirect(w, r, done, http.StatusSeeOther)
}

func rejectsKey(err error) bool {
	r := (*maintenance.Rejection)(nil)
	return errors.As(err, &r) && r.Field == "id"
}

// tell records what a form means and gives the address that shows it.
func (p *Pages) tell(ctx context.Context, f form, v View) (string, error) {
	e, err := f.entry(v)
	if err != nil {
		return "", err
	}
	remarks, duplicate, err := p.desk.Record(ctx, e)
	if err != nil {
		return "", err
	}
	to := "/"
	if f.kind == "void" {
		to = "/history"
	}
	to += "?saved=" + url.QueryEscape(f.key)
	if duplicate {
		return to + "&again=1", nil
	}
	p.remarks.keep(f.key, remarks)
	return to, nil
}

// refused tells why a form was not saved: a person's mistake on the form itself, with what
// they typed kept; a form that does not fit on a page of its own; the rest is ours.
func (p *Pages) refused(w http.ResponseWriter, r *http.Request, v View, f form, err error) {
	var no *refusal
	var wrong *maintenance.Rejection
	switch {
	case errors.As(err, &no) && v.Now.IsZero():
		p.write(w, r, no.status, "message", messagePage{frame: p.frame("Not saved", ""), Heading: "Not saved", Says: no.says, Hint: no.hint})
	case errors.As(err, &no):
		p.write(w, r, no.status, "message", p.unfit(v, f, no))
	case errors.As(err, &wrong):
		p.rejected(w, r, v, f, wrong)
	default:
		p.unsure(w, r, v, f, fmt.Errorf("record a %s: %w", f.kind, err))
	}
}

// unsure shows a form again whose entry may or may not be on the book: with its key kept,
// sending it again is safe.
func (p *Pages) unsure(w http.ResponseWriter, r *http.Request, v View, f form, err error) {
	a, ok := v.action(f.about)
	if !ok {
		p.fault(w, r, err)
		return
	}
	p.write(w, r, http.StatusInternalServerError, "action", p.actionPage(v, a, &failure{form: f, wrong: p.unsaved(r, err)}))
}

// unsaved words a mistake of ours for the form that it came to.
func (p *Pages) unsaved(r *http.Request, err error) *maintenance.Rejection {
	return &maintenance.Rejection{Says: "something went wrong on our side, and it is not known whether this was kept",
		Hint: "send it again: the same form is taken once. The log tells more under " + p.note(r, err)}
}

// unfit shows a form that no longer fits the book beside what was done meanwhile.
func (p *Pages) unfit(v View, f form, no *refusal) messagePage {
	m := p.gonePage(v, f.about, "Not saved", no.says)
	m.Hint = no.hint
	if known, ok := v.entry(f.key); ok {
		t := v.told(known)
		m.Told = &t
	}
	return m
}

func (p *Pages) rejected(w http.ResponseWriter, r *http.Request, v View, f form, wrong *maintenance.Rejection) {
	if wrong.Field == "id" {
		no := &refusal{http.StatusConflict, "Not saved: this form was saved before, with other values.", "What is on the book is shown here. To change it, withdraw it first and then record it anew."}
		p.write(w, r, no.status, "message", p.unfit(v, f, no))
		return
	}
	if a, ok := v.action(f.about); ok {
		p.write(w, r, http.StatusUnprocessableEntity, "action", p.actionPage(v, a, &failure{f, wrong, v.offers(wrong)}))
		return
	}
	m := messagePage{frame: p.frameOf(v, "Not saved", ""), Heading: "Not saved", Says: sentenceOf(wrong.Says), Hint: sentenceOf(wrong.Hint), Offer: v.offers(wrong)}
	p.write(w, r, http.StatusUnprocessableEntity, "message", m)
}

// offers are the entries that would make a refused one possible, as commands too: a page
// records only what is asked for.
func (v View) offers(wrong *maintenance.Rejection) []string {
	var out []string
	for _, e := range wrong.Offer {
		out = append(out, notify.Command(e))
	}
	return out
}

// A failure is a form that a person can mend.
type failure struct {
	form  form
	wrong *maintenance.Rejection
	offer []string
}

// inputOf names the input that a field of the entry is typed in.
func inputOf(field string) string {
	switch field {
	case "grams", "ml", "temp_c":
		return "amount"
	case "at":
		return "when"
	}
	return field
}

// mark puts what was typed back into the form it came from, and the message beside the
// field that is wrong, or over the form if it is none of them.
func (f *failure) mark(c *card) {
	s := &c.Skip
	switch {
	case f.form.kind == "snooze" && c.Snooze != nil:
		s = c.Snooze
	case c.Form != nil && c.Form.Kind == f.form.kind:
		s = c.Form
	}
	f.onto(s)
	c.Offer = f.offer
}

// onto marks one form.
func (f *failure) onto(s *sheet) {
	s.Key, s.Open = f.form.key, true
	s.Says, s.Hint = f.wrong.Says, sentenceOf(f.wrong.Hint)
	for i := range s.Fields {
		in := &s.Fields[i]
		in.Value, in.Hidden = f.form.typed[in.Name], false
		if in.Sort == sortVessel && !choose(in.Options, in.Value) {
			in.Options = append([]option{unchosen}, in.Options...) // or the browser would choose the first
		}
		choose(in.Units, f.form.typed["unit"])
		if in.Name == inputOf(f.wrong.Field) {
			in.Says, in.Fix = s.Says, s.Hint
			s.Says, s.Hint = "", ""
		}
	}
}

// choose says whether one of the options is the value.
func choose(from []option, value string) (found bool) {
	for i := range from {
		from[i].Chosen = from[i].Value == value
		found = found || from[i].Chosen
	}
	return found
}
