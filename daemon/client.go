package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"path/filepath"
	"strconv"
	"time"

	"github.com/go-json-experiment/json"

	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
)

// A Client asks the running daemon over the socket beside the data, or, where none runs,
// the same handler in this process on the book it has opened itself. Either way the same
// code answers.
type Client struct {
	http   *http.Client
	keeper *Keeper // nil with a daemon
}

// answerWithin is how long a daemon may take to say that it is there. Twice that and the
// second that a book's lock is waited for make two seconds: then a command knows whether it
// has the book, or says who holds it.
const answerWithin = 500 * time.Millisecond

// Connect finds the daemon of a data folder, or opens the book.
func Connect(ctx context.Context, s Settings) (*Client, error) {
	socket := filepath.Join(s.Data, socketFile)
	c := &Client{http: &http.Client{Transport: &http.Transport{
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, "unix", socket)
		},
	}}}
	if c.alive(ctx) {
		return c, nil
	}
	k, err := open(s)
	if errors.Is(err, journal.ErrLocked) && c.alive(ctx) { // it has started meanwhile
		return c, nil
	}
	if err != nil {
		return nil, err
	}
	c.keeper = k
	c.http.Transport = inProcess{k.socketHandler()}
	return c, nil
}

func (c *Client) alive(ctx context.Context) bool {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	r, err := c.do(ctx, http.MethodGet, "/healthz", nil, nil)
	if err != nil {
		return false
	}
	return r.Body.Close() == nil
}

// Close gives the book back, if it was opened here.
func (c *Client) Close() error {
	c.http.CloseIdleConnections()
	if c.keeper == nil {
		return nil
	}
	return c.keeper.book.Close()
}

// Daemon says whether a daemon answers; without one nobody is reminded.
func (c *Client) Daemon() bool { return c.keeper == nil }

// inProcess carries requests to a handler of this process. The answer is written into a
// pipe, so that an export of any length takes no more memory here than over the socket.
type inProcess struct{ handler http.Handler }

func (t inProcess) RoundTrip(r *http.Request) (*http.Response, error) {
	if r.Body == nil {
		r.Body = http.NoBody
	}
	pr, pw := io.Pipe()
	w := &pipeWriter{header: http.Header{}, body: pw, begun: make(chan struct{})}
	go func() {
		t.handler.ServeHTTP(w, r)
		w.WriteHeader(http.StatusOK)
		_ = pw.Close() // never fails
	}()
	<-w.begun
	return &http.Response{StatusCode: w.status, Header: w.header, Body: pr, Request: r, ProtoMajor: 1, ProtoMinor: 1, ContentLength: -1}, nil
}

type pipeWriter struct {
	header http.Header
	body   *io.PipeWriter
	status int
	begun  chan struct{}
}

func (w *pipeWriter) Header() http.Header { return w.header }

func (w *pipeWriter) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
		close(w.begun)
	}
}

func (w *pipeWriter) Write(b []byte) (int, error) {
	w.WriteHeader(http.StatusOK)
	return w.body.Write(b)
}

// do asks; an answer that is a problem comes back as its error. What stands in the path is
// escaped already.
func (c *Client) do(ctx context.Context, method, path string, query url.Values, body []byte) (*http.Response, error) {
	u, err := url.Parse("http://sumpbook" + path)
	if err != nil {
		return nil, err
	}
	u.RawQuery = query.Encode()
	r, err := http.NewRequestWithContext(ctx, method, u.String(), bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	answer, err := c.http.Do(r)
	if err != nil {
		return nil, unanswered(method, err)
	}
	if answer.StatusCode < 300 {
		return answer, nil
	}
	defer answer.Body.Close()
	return nil, problemIn(answer)
}

// unanswered is what a question without an answer means. What was to be written may be
// written: the same ids are taken once.
func unanswered(method string, err error) error {
	if u := (*url.Error)(nil); errors.As(err, &u) {
		err = u.Err // its address is none of a person's
	}
	if method == http.MethodPost {
		return fmt.Errorf("the daemon went away before it answered, and may have kept this or not: %w", err)
	}
	return fmt.Errorf("the daemon went away before it answered: %w", err)
}

func problemIn(answer *http.Response) error {
	b, err := io.ReadAll(io.LimitReader(answer.Body, 1<<20))
	var p Problem
	if err = errors.Join(err, json.Unmarshal(b, &p)); err != nil {
		return fmt.Errorf("the daemon answered %s", answer.Status)
	}
	if p.Type == problemRejected {
		return p.rejection()
	}
	return &p
}

func get[T any](ctx context.Context, c *Client, path string, query url.Values) (T, error) {
	return ask[T](ctx, c, http.MethodGet, path, query, nil)
}

func ask[T any](ctx context.Context, c *Client, method, path string, query url.Values, body []byte) (v T, err error) {
	answer, err := c.do(ctx, method, path, query, body)
	if err != nil {
		return v, err
	}
	defer answer.Body.Close()
	if err := json.UnmarshalRead(answer.Body, &v); err != nil {
		return v, fmt.Errorf("read the daemon's answer: %w", err)
	}
	return v, nil
}

func (m Moment) query() url.Values {
	q := url.Values{}
	if !m.At.IsZero() {
		q.Set("at", m.At.Format(time.RFC3339Nano))
	}
	if !m.KnownBy.IsZero() {
		q.Set("known_by", m.KnownBy.Format(time.RFC3339Nano))
	}
	return q
}

// Record tells entries as one request; dry only judges them.
func (c *Client) Record(ctx context.Context, entries []maintenance.Entry, dry bool) (Receipt, error) {
	b, err := json.Marshal(entries)
	if err != nil {
		return Receipt{}, fmt.Errorf("write the entries: %w", err)
	}
	if len(entries) == 1 { // so that a mistake in it is not one of line 1
		b = maintenance.Encode(entries[0])
	}
	q := url.Values{}
	if dry {
		q.Set("dry", "1")
	}
	return ask[Receipt](ctx, c, http.MethodPost, "/api/v1/entries", q, b)
}

// Entries lists stored entries by number.
func (c *Client) Entries(ctx context.Context, after uint64, limit int) ([]maintenance.Entry, error) {
	return get[[]maintenance.Entry](ctx, c, "/api/v1/entries", page(after, limit))
}

func page(after uint64, limit int) url.Values {
	return url.Values{"after": {strconv.FormatUint(after, 10)}, "limit": {strconv.Itoa(limit)}}
}

// Export writes the journal as JSON Lines.
func (c *Client) Export(ctx context.Context, w io.Writer) error {
	for after := uint64(0); ; {
		entries, err := c.Entries(ctx, after, usualList)
		if err != nil || len(entries) == 0 {
			return err
		}
		for _, e := range entries {
			if _, err := w.Write(append(maintenance.Encode(e), '\n')); err != nil {
				return fmt.Errorf("write the export: %w", err)
			}
		}
		after = entries[len(entries)-1].Seq
	}
}

// State asks where every gram is.
func (c *Client) State(ctx context.Context, m Moment) (maintenance.StateView, error) {
	return get[maintenance.StateView](ctx, c, "/api/v1/state", m.query())
}

// Actions asks what is to be done.
func (c *Client) Actions(ctx context.Context, m Moment) (ActionsView, error) {
	return get[ActionsView](ctx, c, "/api/v1/actions", m.query())
}

// Learn asks for what a pump has shown of itself.
func (c *Client) Learn(ctx context.Context, pump string, m Moment) (maintenance.LearnView, error) {
	return get[maintenance.LearnView](ctx, c, "/api/v1/learn/"+url.PathEscape(pump), m.query())
}

// Audit asks for the history of a pump's oil.
func (c *Client) Audit(ctx context.Context, pump string, m Moment) (maintenance.Audit, error) {
	return get[maintenance.Audit](ctx, c, "/api/v1/audit/"+url.PathEscape(pump), m.query())
}

// Notices asks for the newest reminders and what became of them.
func (c *Client) Notices(ctx context.Context, limit int) (NoticesView, error) {
	return get[NoticesView](ctx, c, "/api/v1/notices", url.Values{"limit": {strconv.Itoa(limit)}})
}

// Undo voids an entry and what rests on it; dry only says which.
func (c *Client) Undo(ctx context.Context, id, by string, dry bool) (UndoPlan, error) {
	return post[UndoPlan](ctx, c, "/control/undo", undoRequest{id, by, dry})
}

// NotifyTest sends a test reminder over one channel, or over all.
func (c *Client) NotifyTest(ctx context.Context, channel string) ([]TestResult, error) {
	return post[[]TestResult](ctx, c, "/control/notify-test", testRequest{channel})
}

// Backup copies the book, while it is in use, to a file that must not exist.
func (c *Client) Backup(ctx context.Context, path string) (BackupView, error) {
	full, err := filepath.Abs(path)
	if err != nil {
		return BackupView{}, fmt.Errorf("find %s: %w", path, err)
	}
	return post[BackupView](ctx, c, "/control/backup", backupRequest{full})
}

// Verify asks for the verdict on the whole book.
func (c *Client) Verify(ctx context.Context) (VerifyView, error) {
	return get[VerifyView](ctx, c, "/control/verify", nil)
}

// Doctor asks what is wrong and what to do.
func (c *Client) Doctor(ctx context.Context) ([]Finding, error) {
	return get[[]Finding](ctx, c, "/control/doctor", nil)
}

func post[T any](ctx context.Context, c *Client, path string, body any) (T, error) {
	b, err := json.Marshal(body)
	if err != nil {
		var none T
		return none, fmt.Errorf("write the question: %w", err)
	}
	return ask[T](ctx, c, http.MethodPost, path, nil, b)
}
