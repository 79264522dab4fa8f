package daemon

import (
	"errors"
	"net/http"

	"github.com/go-json-experiment/json"

	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
)

// A Problem is an error as the HTTP interface tells it (RFC 9457). Field, Line, Hint,
// Blocks and Offer are those of a rejection.
type Problem struct {
	Type   string              `json:"type"`
	Title  string              `json:"title"`
	Status int                 `json:"status"`
	Detail string              `json:"detail,omitzero"`
	Field  string              `json:"field,omitzero"`
	Line   int                 `json:"line,omitzero"`
	Entry  string              `json:"entry,omitzero"`
	Hint   string              `json:"hint,omitzero"`
	Blocks string              `json:"blocks,omitzero"`
	Offer  []maintenance.Entry `json:"offer,omitzero"`
}

// Error gives the detail, or the title where there is none.
func (p *Problem) Error() string {
	if p.Detail != "" {
		return p.Detail
	}
	return p.Title
}

// rejection reads a problem back into the mistake it tells.
func (p *Problem) rejection() *maintenance.Rejection {
	return &maintenance.Rejection{Line: p.Line, Entry: p.Entry, Field: p.Field, Says: p.Detail, Hint: p.Hint, Blocks: p.Blocks, Offer: p.Offer}
}

const problemRejected = "about:blank#rejected"

func problem(status int, detail, hint string) *Problem {
	return &Problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Detail: detail, Hint: hint}
}

// problemOf is the one table from errors to what the other side is told.
func problemOf(err error) *Problem {
	var p *Problem
	var r *maintenance.Rejection
	switch {
	case errors.As(err, &p):
		return p
	case errors.As(err, &r):
		return &Problem{Type: problemRejected, Title: "The book cannot take this", Status: http.StatusUnprocessableEntity,
			Detail: r.Says, Field: r.Field, Line: r.Line, Entry: r.Entry, Hint: r.Hint, Blocks: r.Blocks, Offer: r.Offer}
	case errors.Is(err, errReadOnly):
		return problem(http.StatusServiceUnavailable, err.Error(), "give this user the right to write there, or write from where there is one")
	case errors.Is(err, errHalted):
		return problem(http.StatusServiceUnavailable, err.Error(), "nothing of this request was kept; look at the disk, then tell it again")
	case errors.Is(err, journal.ErrUnknown):
		return problem(http.StatusServiceUnavailable, "it is not known whether this was kept: "+err.Error(), "tell it again under the same id")
	case errors.Is(err, journal.ErrFull):
		return problem(http.StatusInsufficientStorage, err.Error(), "make room on the disk; nothing of this request was kept")
	case errors.Is(err, journal.ErrDamaged):
		return problem(http.StatusInternalServerError, err.Error(), "run sumpbook verify, and restore a backup")
	}
	return problem(http.StatusInternalServerError, err.Error(), "")
}

func writeProblem(w http.ResponseWriter, p *Problem) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(p.Status)
	_ = json.MarshalWrite(w, p) // the other side is gone, or it is not
}

// orProblem serves a mux; what it does not know, or not by this method, is a problem too.
func orProblem(mux *http.ServeMux) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		own, pattern := mux.Handler(r)
		if pattern != "" {
			mux.ServeHTTP(w, r)
			return
		}
		var said unheard
		own.ServeHTTP(&said, r)
		if said.status == http.StatusMethodNotAllowed {
			allowed := said.Header().Get("Allow")
			w.Header().Set("Allow", allowed)
			writeProblem(w, problem(said.status, r.Method+" is not for this address", "it takes "+allowed))
			return
		}
		writeProblem(w, nothingHere())
	})
}

func nothingHere() *Problem {
	return problem(http.StatusNotFound, "there is nothing at this address", "what there is stands in /api/v1/openapi.json")
}

// unheard takes an answer for its status and header.
type unheard struct {
	status int
	header http.Header
}

func (u *unheard) Header() http.Header {
	if u.header == nil {
		u.header = http.Header{}
	}
	return u.header
}

func (u *unheard) WriteHeader(status int) { u.status = status }

func (u *unheard) Write(b []byte) (int, error) { return len(b), nil }
