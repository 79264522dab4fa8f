package web

import (
	"crypto/rand"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"sumpbook/maintenance"
)

// maxForm bounds the body of a form, in bytes.
const maxForm = 64 << 10

// snoozeFor is how long "ask me later" lets an action wait.
const snoozeFor = time.Hour

// A form is what a browser sent: the kind of entry, the key that becomes its id, the action
// (or, of a void, the entry) it is about, and the inputs of its kind as they were typed.
type form struct {
	kind, key, about string
	typed            map[string]string
	partial          bool // inputs that are not among the typed stay as they are
}

// A refusal is a form that no entry can be made of, as the page tells it.
type refusal struct {
	status     int
	says, hint string
}

func (r *refusal) Error() string { return r.says }

func broken(status int, format string, args ...any) *refusal {
	return &refusal{status, "The form was refused: " + fmt.Sprintf(format, args...) + ".", "Nothing was saved. Go back to the page, reload it and send the form from there."}
}

// newKey makes the key of a fresh form. The prefix keeps it apart from the ids that machine
// signals have.
func newKey() string { return "page-" + rand.Text() }

var keyForm = regexp.MustCompile(`^page-[A-Z2-7]{26}$`)

// readForm reads a request's form, strictly.
func readForm(w http.ResponseWriter, r *http.Request) (form, error) {
	sent, err := readFields(w, r)
	if err != nil {
		return form{}, err
	}
	return decodeForm(sent)
}

// readFields reads the fields of a request's form.
func readFields(w http.ResponseWriter, r *http.Request) (url.Values, error) {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/x-www-form-urlencoded" {
		return nil, broken(http.StatusUnsupportedMediaType, "it is not a form of this page")
	}
	if r.URL.RawQuery != "" {
		return nil, broken(http.StatusBadRequest, "its address carries fields")
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	if err := r.ParseForm(); err != nil {
		if e := (*http.MaxBytesError)(nil); errors.As(err, &e) {
			return nil, broken(http.StatusRequestEntityTooLarge, "it is longer than %d bytes", maxForm)
		}
		return nil, broken(http.StatusBadRequest, "it cannot be read")
	}
	return r.PostForm, nil
}

// decodeForm takes a form that this page gave out.
func decodeForm(sent url.Values) (form, error) {
	f, err := decodeFields(sent)
	if err == nil && !keyForm.MatchString(f.key) {
		return f, broken(http.StatusBadRequest, "its key is not one that this page gives out")
	}
	return f, err
}

// decodeFields takes each field that a form of its kind has, once, and no other.
func decodeFields(sent url.Values) (form, error) {
	f := form{kind: sent.Get("kind"), key: sent.Get("key"), typed: map[string]string{}}
	all, ok := inputs[f.kind]
	if !ok {
		return f, broken(http.StatusBadRequest, "it is of no kind that this page records")
	}
	about := "action"
	if f.kind == "void" {
		about = "entry"
	}
	f.about = sent.Get(about)
	for name, values := range sent {
		i := slices.IndexFunc(all, func(in input) bool { return in.name == name || in.sort == sortAmount && name == "unit" })
		switch {
		case len(values) != 1:
			return f, broken(http.StatusBadRequest, "a field came twice")
		case !utf8.ValidString(values[0]):
			return f, broken(http.StatusBadRequest, "a field is not text")
		case name == "kind" || name == "key" || name == about:
		case i < 0:
			return f, broken(http.StatusBadRequest, "it has a field that this form does not have")
		default:
			f.typed[name] = strings.TrimSpace(strings.ReplaceAll(values[0], "\r\n", "\n"))
		}
	}
	return f, nil
}

// entry makes the entry that a form means, on the book as it is. A *refusal is a form that
// does not fit the book any more, a *maintenance.Rejection one that a person can mend.
func (f form) entry(v View) (maintenance.Entry, error) {
	base, err := f.base(v)
	if err != nil {
		return base, err
	}
	return f.over(base, v)
}

// base is what the form's inputs are laid over: the entry on the book under its key, if it
// was sent before (so that the book can say whether it is the same), else what is asked for.
func (f form) base(v View) (maintenance.Entry, error) {
	if known, ok := v.entry(f.key); ok {
		return known, f.matches(known)
	}
	if f.kind == "void" {
		target, ok := v.entry(f.about)
		if !ok || target.Act.Kind() == "void" {
			return target, &refusal{http.StatusConflict, "Not withdrawn: the newest entries do not hold this one.", "The history shows what can be withdrawn here; older entries are withdrawn with sumpbook undo."}
		}
		return maintenance.Entry{Act: &maintenance.VoidAct{Entry: target.ID}}, nil
	}
	a, ok := v.action(f.about)
	switch {
	case !ok:
		return a.Record, stale("this is no longer asked for")
	case f.kind == "snooze" && !canWait(a):
		return a.Record, stale("a pump that runs without oil cannot wait")
	case f.kind == "snooze":
		return maintenance.Entry{Act: &maintenance.SnoozeAct{Action: a.ID, Until: v.Now.Add(snoozeFor).Truncate(time.Second)}}, nil
	case f.kind == "skip":
		return maintenance.Entry{Act: &maintenance.SkipAct{Action: a.ID}}, nil
	case a.Record.Act == nil || a.Record.Act.Kind() != f.kind:
		return a.Record, stale("what is asked for has changed since the page was drawn")
	}
	return a.Record, nil
}

func stale(why string) *refusal {
	return &refusal{http.StatusConflict, "Not saved: " + why + ".", "The start page shows what is to do now."}
}

// matches says whether the entry already saved under the form's key can be this form's.
func (f form) matches(known maintenance.Entry) error {
	same := known.Act.Kind() == f.kind
	switch a := known.Act.(type) {
	case *maintenance.SnoozeAct:
		same = same && a.Action == f.about
	case *maintenance.SkipAct:
		same = same && a.Action == f.about
	case *maintenance.VoidAct:
		same = same && a.Entry == f.about
	}
	if !same {
		return errUsed
	}
	return nil
}

var errUsed = &refusal{http.StatusConflict, "Not saved: this form was used before, for something else.", "What it saved then is shown here. Reload the page for a fresh form."}

// action finds an action that is asked for now.
func (v View) action(id string) (maintenance.Action, bool) {
	i := slices.IndexFunc(v.Actions, func(a maintenance.Action) bool { return a.ID == id })
	if i < 0 {
		return maintenance.Action{}, false
	}
	return v.Actions[i], true
}

// entry finds one of the newest entries.
func (v View) entry(id string) (maintenance.Entry, bool) {
	i := slices.IndexFunc(v.Recent, func(e maintenance.Entry) bool { return e.ID == id })
	if i < 0 {
		return maintenance.Entry{}, false
	}
	return v.Recent[i], true
}

// withdrawn says whether one of the newest entries voids id.
func (v View) withdrawn(id string) bool {
	return slices.ContainsFunc(v.Recent, func(e maintenance.Entry) bool {
		void, ok := e.Act.(*maintenance.VoidAct)
		return ok && void.Entry == id
	})
}
