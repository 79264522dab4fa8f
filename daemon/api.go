package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"time"

	_ "embed"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
)

// Bounds of what is taken in one request.
const (
	maxBody   = 32 << 20 // bytes of a request's entries
	maxTold   = 100_000  // entries of a request
	maxSignal = 1 << 20  // bytes of a request's samples
	maxListed = 10_000   // entries or notices in one answer
	maxLines  = 16 << 20 // bytes of entries in one answer; it ends with the entry that goes over
	usualList = 1000
)

//go:embed openapi.json
var openAPI []byte

// api registers the HTTP interface of the contract.
func (k *Keeper) api(mux *http.ServeMux) {
	mux.HandleFunc("POST /api/v1/entries", limited(maxBody, answer(k.postEntries)))
	mux.HandleFunc("GET /api/v1/entries", k.getEntries)
	mux.HandleFunc("GET /api/v1/state", answer(func(r *http.Request) (any, error) { return asked(r, k.State) }))
	mux.HandleFunc("GET /api/v1/actions", answer(func(r *http.Request) (any, error) { return asked(r, k.Actions) }))
	mux.HandleFunc("GET /api/v1/audit/{pump}", answer(func(r *http.Request) (any, error) {
		return asked(r, func(m Moment) (maintenance.Audit, error) { return k.Audit(r.PathValue("pump"), m) })
	}))
	mux.HandleFunc("GET /api/v1/learn/{pump}", answer(func(r *http.Request) (any, error) {
		return asked(r, func(m Moment) (maintenance.LearnView, error) { return k.Learn(r.PathValue("pump"), m) })
	}))
	k.explain(mux)
	k.calendar(mux)
	k.push(mux)
	mux.HandleFunc("GET /api/v1/notices", answer(k.getNotices))
	mux.HandleFunc("POST /api/v1/signals/{pump}", limited(maxSignal, answer(k.postSignals)))
	mux.HandleFunc("GET /api/v1/openapi.json", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(openAPI)
	})
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "alive\n") })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, _ *http.Request) {
		if err := k.book.Ready(); err != nil {
			writeProblem(w, problem(http.StatusServiceUnavailable, err.Error(), "run sumpbook verify"))
			return
		}
		_, _ = io.WriteString(w, "ready\n")
	})
}

// answer turns a question into a handler: its answer as JSON, its error as a problem.
func answer(ask func(*http.Request) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v, err := ask(r)
		if err != nil {
			writeProblem(w, problemOf(err))
			return
		}
		var body bytes.Buffer
		if err := json.MarshalWrite(&body, v, json.Deterministic(true)); err != nil {
			writeProblem(w, problemOf(fmt.Errorf("write the answer: %w", err)))
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(body.Bytes())
	}
}

// asked answers a question of a moment.
func asked[T any](r *http.Request, ask func(Moment) (T, error)) (any, error) {
	var m Moment
	var err error
	if m.At, err = timeParam(r, "at"); err != nil {
		return nil, err
	}
	if m.KnownBy, err = timeParam(r, "known_by"); err != nil {
		return nil, err
	}
	return ask(m)
}

func timeParam(r *http.Request, name string) (time.Time, error) {
	text := r.URL.Query().Get(name)
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return t, problem(http.StatusBadRequest, fmt.Sprintf("%s: %q is not an RFC 3339 time", name, text), "write it as 2026-11-24T21:40:00Z, with + as %2B")
	}
	return t, nil
}

func numberParam(r *http.Request, name string, usual, most uint64) (uint64, error) {
	text := r.URL.Query().Get(name)
	if text == "" {
		return usual, nil
	}
	n, err := strconv.ParseUint(text, 10, 63)
	if err != nil || n > most {
		return 0, problem(http.StatusBadRequest, fmt.Sprintf("%s: %q is not a number up to %d", name, text, most), "")
	}
	return n, nil
}

// limited bounds a request's body. One that says that it is longer is not read at all.
func limited(most int64, next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if r.ContentLength > most {
			w.Header().Set("Connection", "close")
			writeProblem(w, tooLong(most))
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, most)
		next(w, r)
	}
}

func tooLong(most int64) *Problem {
	return problem(http.StatusRequestEntityTooLarge, fmt.Sprintf("a request has at most %d bytes", most), "send it in parts, or restore a backup")
}

// body reads the whole body of a limited request.
func body(r *http.Request) ([]byte, error) {
	b, err := io.ReadAll(r.Body)
	var over *http.MaxBytesError
	if errors.As(err, &over) {
		return nil, tooLong(over.Limit)
	}
	if err != nil {
		return nil, problem(http.StatusBadRequest, "the request broke off: "+err.Error(), "send it again; the same ids are taken once")
	}
	return b, nil
}

func (k *Keeper) postEntries(r *http.Request) (any, error) {
	b, err := body(r)
	if err != nil {
		return nil, err
	}
	entries, err := decodeEntries(b)
	if err != nil {
		return nil, err
	}
	if r.URL.Query().Get("dry") == "1" {
		return k.book.Judge(r.Context(), k.clock(), entries)
	}
	receipt, err := k.book.Record(r.Context(), k.clock(), entries)
	if err == nil {
		k.logEntries(r.Context(), receipt)
	}
	return receipt, err
}

// logEntries writes one line an entry; of a long request, one line in all.
func (k *Keeper) logEntries(ctx context.Context, receipt Receipt) {
	if receipt.Accepted > 20 {
		k.log.InfoContext(ctx, "entries", "accepted", receipt.Accepted, "duplicates", receipt.Duplicates)
		return
	}
	for _, e := range receipt.Entries {
		if !e.Duplicate {
			k.log.InfoContext(ctx, "entry", "seq", e.Seq, "id", e.ID, "kind", e.kind, "at", e.At)
		}
	}
}

// decodeEntries reads one entry or a non-empty array of them.
func decodeEntries(b []byte) ([]maintenance.Entry, error) {
	b = bytes.TrimSpace(b)
	if len(b) == 0 || b[0] != '[' {
		e, err := maintenance.Decode(b)
		return []maintenance.Entry{e}, err
	}
	// Names are told apart where each entry is read, which is short; here a single object
	// of a million names would fill the memory.
	d := jsontext.NewDecoder(bytes.NewReader(b), jsontext.AllowDuplicateNames(true))
	if _, err := d.ReadToken(); err != nil {
		return nil, notJSON(err)
	}
	var entries []maintenance.Entry
	for d.PeekKind() != ']' {
		raw, err := d.ReadValue()
		if err != nil {
			return nil, notJSON(err)
		}
		e, err := maintenance.Decode(raw)
		if r := (*maintenance.Rejection)(nil); errors.As(err, &r) {
			r.Line = len(entries) + 1
		}
		if err != nil {
			return nil, err
		}
		if entries = append(entries, e); len(entries) > maxTold {
			return nil, problem(http.StatusRequestEntityTooLarge, fmt.Sprintf("a request has at most %d entries", maxTold), "send it in parts, or restore a backup")
		}
	}
	if _, err := d.ReadToken(); err != nil {
		return nil, notJSON(err)
	}
	if len(bytes.TrimSpace(b[d.InputOffset():])) > 0 {
		return nil, problem(http.StatusBadRequest, "something stands after the array", "send one array")
	}
	if len(entries) == 0 {
		return nil, problem(http.StatusBadRequest, "the array is empty", "send at least one entry")
	}
	return entries, nil
}

func notJSON(err error) error {
	return problem(http.StatusBadRequest, "not valid JSON: "+err.Error(), "send one entry or an array of entries")
}

// getEntries gives stored lines as an array, the very bytes of the export.
func (k *Keeper) getEntries(w http.ResponseWriter, r *http.Request) {
	after, err1 := numberParam(r, "after", 0, 1<<62)
	limit, err2 := numberParam(r, "limit", usualList, maxListed)
	if err := errors.Join(err1, err2); err != nil {
		writeProblem(w, problemOf(err))
		return
	}
	lines, err := k.linesAfter(after, int(limit))
	if err != nil {
		writeProblem(w, problemOf(err))
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(append(append([]byte{'['}, bytes.Join(lines, []byte{','})...), ']'))
}

func (k *Keeper) linesAfter(after uint64, limit int) (lines [][]byte, err error) {
	if limit == 0 {
		return nil, nil
	}
	size := 0
	err = k.book.journal.Lines(after, func(_ uint64, line []byte) error {
		lines = append(lines, line)
		if size += len(line); len(lines) == limit || size > maxLines {
			return journal.ErrStop
		}
		return nil
	})
	return lines, err
}
