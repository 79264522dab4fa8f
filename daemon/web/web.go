// Package web is what a person sees in a browser: the next thing to do as a card with one
// wide button, the pumps, the jars and the newest entries, as plain HTML without script.
//
// Promises: a GET changes nothing; a form is one entry however often it is sent, since its
// hidden key is the entry's id; every text is escaped by html/template; a page is written
// whole or not at all. A form may only record what an action asks for, let an action wait
// or set it aside, or withdraw an entry that the page shows; all else is refused with a
// sentence. The daemon checks Host and origin around these handlers. Nothing here is kept
// on disk: after a crash, pages that are still open work as before.
package web

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"sumpbook/maintenance"
)

// A Desk is the book as the pages need it; the daemon implements it.
type Desk interface {
	// Look shows the book at one consistent moment.
	Look(ctx context.Context) (View, error)
	// Record adds one entry; one without At happened now. It returns what taking it means,
	// and whether the very same entry was on the book already. A *maintenance.Rejection is
	// a person's mistake.
	Record(ctx context.Context, e maintenance.Entry) (remarks []string, duplicate bool, err error)
}

// A View is the book at one moment.
type View struct {
	Now     time.Time
	Zone    *time.Location // nil is UTC
	Units   string         // metric or us
	State   maintenance.StateView
	Actions []maintenance.Action // most urgent first
	Recent  []maintenance.Entry  // newest first, at most 30
	Failing []string             // channels that fail now
	Demo    bool
	NoPush  func(*http.Request) string                      // why a phone that asks so cannot be pushed to, or empty; nil: nobody wants that
	Working func(action string) (maintenance.Working, bool) // nil: no working is shown
}

// Pages serves the pages of one Desk.
type Pages struct {
	desk      Desk
	links     Links
	log       *slog.Logger
	templates map[string]*template.Template
	style     []byte
	styleTag  string
	remarks   remarks
}

//go:embed page
var files embed.FS

// pageNames are the templates, each a file of page/ that fills the layout.
var pageNames = []string{"now", "action", "jars", "history", "message", "link"}

// New parses every template; one that is missing or wrong is an error here, not later.
func New(d Desk, l Links, log *slog.Logger) (*Pages, error) { return newPages(d, l, log, files) }

func newPages(d Desk, l Links, log *slog.Logger, from fs.FS) (*Pages, error) {
	p := &Pages{desk: d, links: l, log: log, templates: map[string]*template.Template{}}
	base, err := template.ParseFS(from, "page/layout.html", "page/parts.html")
	if err != nil {
		return nil, fmt.Errorf("parse the layout: %w", err)
	}
	for _, name := range pageNames {
		t := template.Must(base.Clone()) // never executed before: cannot fail
		if p.templates[name], err = t.ParseFS(from, "page/"+name+".html"); err != nil {
			return nil, fmt.Errorf("parse page %s: %w", name, err)
		}
	}
	if p.style, err = fs.ReadFile(from, "page/style.css"); err != nil {
		return nil, fmt.Errorf("read the style: %w", err)
	}
	sum := sha256.Sum256(p.style)
	p.styleTag = hex.EncodeToString(sum[:8])
	return p, nil
}

// A route is one pattern of the mux and what answers it.
type route struct {
	pattern string
	handle  http.HandlerFunc
}

func (p *Pages) routes() []route {
	return []route{
		{"GET /{$}", p.now},
		{"GET /actions/{id...}", p.action},
		{"GET /jars", p.jars},
		{"GET /history", p.history},
		{"GET /record", p.afterRecord},
		{"POST /record", p.record},
		{"GET /style.css", p.styleSheet},
		{"GET /a/{token}", p.link},
		{"POST /a/{token}", p.answerLink},
		{"GET /a/{token}/style.css", p.styleSheet},
	}
}

// Routes registers the pages.
func (p *Pages) Routes(mux *http.ServeMux) {
	for _, r := range p.routes() {
		mux.HandleFunc(r.pattern, guarded(r.handle))
	}
}

const policy = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'"

// guarded sets the headers that every answer carries.
func guarded(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Cache-Control", "no-store")
		next(w, r)
	}
}

func (p *Pages) now(w http.ResponseWriter, r *http.Request) {
	p.show(w, r, func(v View) (string, any) { return "now", p.nowPage(v, r) })
}

func (p *Pages) jars(w http.ResponseWriter, r *http.Request) {
	p.show(w, r, func(v View) (string, any) { return "jars", p.jarsPage(v) })
}

func (p *Pages) history(w http.ResponseWriter, r *http.Request) {
	p.show(w, r, func(v View) (string, any) { return "history", p.historyPage(v, r) })
}

// action shows one action; one that is not asked any more is not found, with what settled it.
func (p *Pages) action(w http.ResponseWriter, r *http.Request) {
	v, ok := p.look(w, r)
	if !ok {
		return
	}
	id := r.PathValue("id")
	a, ok := v.action(id)
	if !ok {
		p.write(w, r, http.StatusNotFound, "message", p.gonePage(v, id, "Nothing to do here now", notAsked))
		return
	}
	p.write(w, r, http.StatusOK, "action", p.actionPage(v, a, nil))
}

// afterRecord leads a browser that asks again for the address of a form back to the start.
func (p *Pages) afterRecord(w http.ResponseWriter, r *http.Request) {
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// styleSheet may be kept by the browser: a new style has a new address.
func (p *Pages) styleSheet(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Type", "text/css; charset=utf-8")
	h.Set("ETag", `"`+p.styleTag+`"`)
	h.Set("Cache-Control", "no-cache")
	if r.URL.Query().Get("v") == p.styleTag {
		h.Set("Cache-Control", "max-age=31536000, immutable")
	}
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(p.style))
}

// show answers with a page made of the book as it is.
func (p *Pages) show(w http.ResponseWriter, r *http.Request, page func(View) (name string, data any)) {
	v, ok := p.look(w, r)
	if !ok {
		return
	}
	name, data := page(v)
	p.write(w, r, http.StatusOK, name, data)
}

func (p *Pages) look(w http.ResponseWriter, r *http.Request) (View, bool) {
	v, err := p.view(r.Context())
	if err != nil {
		p.fault(w, r, err)
		return v, false
	}
	return v, true
}

func (p *Pages) view(ctx context.Context) (View, error) {
	v, err := p.desk.Look(ctx)
	if err != nil {
		return v, fmt.Errorf("look at the book: %w", err)
	}
	if v.Zone == nil {
		v.Zone = time.UTC
	}
	v.Now = v.Now.In(v.Zone)
	return v, nil
}

// write renders a whole page before it sends anything of it.
func (p *Pages) write(w http.ResponseWriter, r *http.Request, status int, name string, data any) {
	var page bytes.Buffer
	if err := p.templates[name].ExecuteTemplate(&page, "layout", data); err != nil {
		p.fault(w, r, fmt.Errorf("render page %s: %w", name, err))
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(page.Bytes()) // the other side is gone, or it is not
}

// fault answers for a mistake of ours: a line without detail, with an id under which the
// log has the rest.
func (p *Pages) fault(w http.ResponseWriter, r *http.Request, err error) {
	id := p.note(r, err)
	m := messagePage{frame: p.frame("Something went wrong", ""), Heading: "Something went wrong on our side",
		Says: "What you meant to do may or may not be done.", Hint: "Look at the start page, then send the form again if need be: the same form is taken once. The log tells more under " + id + "."}
	var page bytes.Buffer
	if err := p.templates["message"].ExecuteTemplate(&page, "layout", m); err != nil {
		http.Error(w, "something went wrong on our side: "+id, http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(http.StatusInternalServerError)
	_, _ = w.Write(page.Bytes())
}

// note logs a mistake of ours, unless it is only that the browser left, and gives the id of
// the line.
func (p *Pages) note(r *http.Request, err error) string {
	id := rand.Text()[:8]
	if !errors.Is(err, context.Canceled) {
		path := r.URL.Path
		if token := r.PathValue("token"); token != "" {
			path = strings.ReplaceAll(path, token, "…") // whoever has it can answer
		}
		p.log.ErrorContext(r.Context(), "page", "id", id, "method", r.Method, "path", path, "err", err)
	}
	return id
}
