package web

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"

	"sumpbook/maintenance"
	"sumpbook/notify"
)

// Links are what the signed addresses in reminders lead to; the daemon implements them.
type Links interface {
	// Open reads a token and says what has become of it. One that was not made by this book
	// is notify.ErrForged; whether it has expired is for the page to say.
	Open(ctx context.Context, token string) (Link, error)
	// Answer records the entry that answers a link, or, where it has no act, that the
	// reminder was seen. ErrGone: its action is not asked for any more. Else it is as
	// Desk.Record.
	Answer(ctx context.Context, l Link, e maintenance.Entry) (remarks []string, duplicate bool, err error)
}

// ErrGone says that the action of a link is not asked for any more.
var ErrGone = errors.New("this is no longer asked for")

// A Link is a token that was opened, and what has become of it.
type Link struct {
	notify.Token
	By        string             // who answers by it
	ID        string             // of the entry that answering records
	Saved     *maintenance.Entry // what it has recorded; nil: nothing
	Withdrawn bool               // Saved was undone: ID is another, and the link is good again
	Heard     bool               // of seen and wake: it was told already
}

// used says whether the link has done what it was made for.
func (l Link) used() bool { return l.Heard || l.Saved != nil && !l.Withdrawn }

// undoID is the id of what withdraws the saved entry: pressed twice, it is one.
func (l Link) undoID() string { return l.Saved.ID + "-undo" }

// fits says whether the page has a form for the reply to an action.
func (l Link) fits(a maintenance.Action) bool {
	return l.Reply.Suits(a) && (l.Reply != notify.ReplyDone || inputs[a.Record.Act.Kind()] != nil)
}

// asked is the action that a link answers; a *refusal says why there is nothing to answer.
func (l Link) asked(v View) (maintenance.Action, error) {
	a, ok := v.action(l.Key.Action)
	switch {
	case !ok:
		return a, gone(v.standing(l.Key.Action))
	case !l.fits(a):
		return a, &refusal{http.StatusConflict, "This cannot be answered by a link.", "The page, or sumpbook next, shows what it takes."}
	}
	return a, nil
}

// base is what a form's inputs are laid over: what the link has saved, so that the book can
// say whether this is the same, else what the reply means now.
func (l Link) base(v View) (maintenance.Entry, error) {
	if l.used() {
		return *l.Saved, nil
	}
	a, err := l.asked(v)
	if err != nil {
		return maintenance.Entry{}, err
	}
	e, _ := l.Reply.Entry(a, v.Now, v.Zone)
	e.By = l.By
	return e, nil
}

const notAsked = "This is no longer asked for: it is done, was set aside, or no longer so."

func gone(says string) *refusal {
	return &refusal{http.StatusGone, says, "There is nothing to answer here."}
}

// standing says in a sentence where an action stands now, by whom and when.
func (v View) standing(action string) string {
	if _, ok := v.action(action); ok {
		return "It is still to do."
	}
	e, ok := v.settled(action)
	if !ok {
		return notAsked
	}
	return "Answered already: " + v.sentence(e) + ", " + v.clock(e.At) + byWhom(e) + "."
}

func byWhom(e maintenance.Entry) string {
	if e.By == "" {
		return ""
	}
	return ", by " + e.By
}

// opened opens a token and looks at the book. A *refusal says that the link is forged or
// expired.
func (p *Pages) opened(ctx context.Context, token string) (l Link, v View, err error) {
	l, err = p.links.Open(ctx, token)
	if errors.Is(err, notify.ErrForged) {
		return l, v, &refusal{http.StatusForbidden, "This link is not one of this book, or was cut short on its way.", "Open it from the reminder itself, whole."}
	}
	if err != nil {
		return l, v, fmt.Errorf("open a link: %w", err)
	}
	if v, err = p.view(ctx); err == nil && !l.used() {
		// Not older than the view: what was answered in between is gone because of that.
		l, err = p.links.Open(ctx, token)
	}
	if err != nil || v.Now.Before(l.Expires) {
		return l, v, err
	}
	now := v.standing(l.Key.Action)
	if l.Saved != nil {
		now = v.saved(*l.Saved, l.Withdrawn, false).Says + "."
	}
	return l, v, &refusal{http.StatusGone, "This link was good until " + v.clock(l.Expires) + ". " + now, "The newest reminder has links that are good."}
}

// An answer is what one telling through a link came to.
type answer struct {
	link  Link
	view  View
	form  form
	again bool // it was on the book already
}

// answer takes what was told through a token. The same, sent at the same moment, may have
// been saved since the link was opened: then the book is asked once more.
func (p *Pages) answer(ctx context.Context, token string, read func(Link, View) (form, error)) (a answer, err error) {
	for range 2 {
		if a.link, a.view, err = p.opened(ctx, token); err != nil {
			return a, err
		}
		if a.form, err = read(a.link, a.view); err != nil {
			return a, err
		}
		a.again, err = p.tellLink(ctx, a.link, a.view, a.form)
		if !rejectsKey(err) && !errors.Is(err, ErrGone) {
			return a, err
		}
	}
	return a, err
}

func (p *Pages) tellLink(ctx context.Context, l Link, v View, f form) (again bool, err error) {
	var e maintenance.Entry
	switch {
	case f.kind == "void" && l.Withdrawn, f.kind != "void" && l.Heard:
		return true, nil
	case f.kind == "void":
		e = maintenance.Entry{ID: l.undoID(), By: l.By, Act: &maintenance.VoidAct{Entry: l.Saved.ID}}
	case !l.Reply.Records():
		_, err = l.asked(v)
	default:
		if e, err = l.base(v); err == nil && e.Act.Kind() != f.kind {
			err = stale("what is asked for has changed since the page was drawn")
		}
		if err == nil {
			e, err = f.over(e, v)
		}
	}
	if err != nil {
		return false, err
	}
	remarks, again, err := p.links.Answer(ctx, l, e)
	if err == nil && !again {
		p.remarks.keep(e.ID, remarks)
	}
	return again, err
}

// Answer records what a token stands for. Typed are inputs of the form as they are written
// there; those that are missing stay as prefilled. Said is one sentence for a person: what
// was saved, the same when it is told again, or, with an error, why nothing was.
func (p *Pages) Answer(ctx context.Context, token string, typed map[string]string) (said string, err error) {
	_, err = p.answer(ctx, token, func(l Link, v View) (form, error) { return l.unseen(v, typed) })
	var l Link
	var v View
	if err == nil {
		l, v, err = p.opened(ctx, token)
	}
	if err != nil {
		return p.plainly(ctx, err), err
	}
	return p.linkPage(v, l, false, nil).Saved.Says, nil
}

// unseen is the form that was sent without a page. What was undone on one is not recorded
// again by a message that comes twice.
func (l Link) unseen(v View, typed map[string]string) (form, error) {
	f := form{kind: string(l.Reply), key: l.ID, about: l.Key.Action, typed: typed, partial: true}
	if l.Withdrawn {
		return f, &refusal{http.StatusConflict, v.saved(*l.Saved, true, false).Says + ".", "The next reminder has links that are good."}
	}
	if !l.Reply.Records() {
		return f, nil
	}
	base, err := l.base(v)
	if err != nil {
		return f, err
	}
	f.kind = base.Act.Kind()
	for _, name := range slices.Sorted(maps.Keys(typed)) {
		if !slices.ContainsFunc(inputs[f.kind], func(in input) bool { return in.name == name || in.sort == sortAmount && name == "unit" }) {
			return f, mistake(name, "this reply has none", "leave it out")
		}
	}
	return f, nil
}

// plainly is what went wrong as one sentence without a page; what is ours is logged.
func (p *Pages) plainly(ctx context.Context, err error) string {
	var no *refusal
	var wrong *maintenance.Rejection
	switch {
	case errors.As(err, &no):
		return no.says + " " + no.hint
	case errors.Is(err, ErrGone):
		return notAsked
	case rejectsKey(err):
		return "Not saved: this was answered before, with other values."
	case errors.As(err, &wrong):
		return "Not saved: " + wrong.Error() + ". " + sentenceOf(wrong.Hint)
	}
	id := rand.Text()[:8]
	p.log.ErrorContext(ctx, "answer", "id", id, "err", err)
	return "Something went wrong on our side, and it is not known whether this was kept. Send it again: the same answer is taken once. The log tells more under " + id + "."
}

// readLink takes the form of a link's page.
func (l Link) readLink(sent url.Values) (f form, err error) {
	if f, err = l.decode(sent); err != nil {
		return f, err
	}
	switch {
	case f.kind == "void" && (l.Saved == nil || f.about != l.Saved.ID):
		return f, stale("the link has saved something else since, or nothing")
	case f.kind != "void" && f.key != l.ID:
		return f, stale("the page is older than what was answered since")
	}
	return f, nil
}

func (l Link) decode(sent url.Values) (form, error) {
	if kind := sent.Get("kind"); l.Reply.Records() || kind != string(l.Reply) {
		return decodeFields(sent)
	}
	if len(sent) > 3 {
		return form{}, broken(http.StatusBadRequest, "it has a field that this form does not have")
	}
	return form{kind: sent.Get("kind"), key: sent.Get("key"), about: sent.Get("action")}, nil
}
