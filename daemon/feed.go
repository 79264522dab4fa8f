package daemon

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"sumpbook/daemon/calendar"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// A feed is the calendar as it was when it last changed. It is brought up to date by the
// beat alone: asking for it changes nothing, and costs no look at the book.
type feed struct {
	book  *Book
	voice notify.Voice

	mu     sync.Mutex // held while it is read or changes
	ledger calendar.Ledger
	now    atomic.Pointer[shownFeed] // nil until it is read
}

// A shownFeed is what is served. Nobody writes to it.
type shownFeed struct {
	records []calendar.Record
	changed time.Time
}

// shown is the feed as it is; it is read when first asked for, since most commands never do.
func (f *feed) shown() (*shownFeed, error) {
	if s := f.now.Load(); s != nil {
		return s, nil
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.read(); err != nil {
		return nil, err
	}
	return f.now.Load(), nil
}

func (f *feed) read() error {
	if f.now.Load() != nil {
		return nil
	}
	kept, err := f.book.journal.Calendar()
	if err != nil {
		return fmt.Errorf("read the calendar: %w", err)
	}
	f.ledger = calendar.Ledger{}
	for _, stored := range kept {
		r, err := calendar.Decode(stored)
		if err != nil {
			return fmt.Errorf("read the calendar: %w", err)
		}
		f.ledger.Put([]calendar.Record{r})
	}
	f.publish()
	return nil
}

func (f *feed) publish() {
	records, changed := f.ledger.Shown()
	f.now.Store(&shownFeed{records, changed})
}

// update keeps what is news. While the clock is behind the book, nothing is.
func (f *feed) update(ctx context.Context, now time.Time) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.read(); err != nil {
		return err
	}
	s := f.book.now.Load()
	if now.Before(s.last.Add(-futureSlack)) {
		return nil
	}
	changed := f.ledger.Changes(calendar.Events(maintenance.Next(s.state, f.book.rules, now), f.voice), now)
	if len(changed) == 0 {
		return nil
	}
	records := map[string][]byte{}
	for _, r := range changed {
		b, err := r.Encode()
		if err != nil {
			return err
		}
		records[r.ID] = b
	}
	if err := f.book.KeepCalendar(ctx, records); err != nil {
		return fmt.Errorf("keep the calendar: %w", err)
	}
	f.ledger.Put(changed)
	f.publish()
	return nil
}

// calendar registers the feed: for this machine and those who show the token, and at an
// address that is itself the secret, since a calendar program can show nothing else.
func (k *Keeper) calendar(mux *http.ServeMux) {
	mux.HandleFunc("GET /calendar.ics", k.getCalendar)
	mux.HandleFunc("GET /calendar/{file}", func(w http.ResponseWriter, r *http.Request) {
		if !k.isFeedFile(r.PathValue("file")) {
			writeProblem(w, nothingHere())
			return
		}
		k.getCalendar(w, r)
	})
}

func (k *Keeper) getCalendar(w http.ResponseWriter, r *http.Request) {
	o := calendar.Options{Installation: k.book.journal.ID(), Name: "Pump oil", Base: k.baseURL(), Zone: k.settings.Config.Timezone}
	if k.settings.Demo {
		o.Name = "Pump oil (invented)"
	}
	var err1, err2 error
	o.Todo, err1 = choice(r, "as", "event", "todo")
	o.Alarms, err2 = choice(r, "alarms", "0", "1")
	if err := errors.Join(err1, err2); err != nil {
		writeProblem(w, problemOf(err))
		return
	}
	shown, err := k.feed.shown()
	if err != nil {
		writeProblem(w, problemOf(err))
		return
	}
	body := calendar.Render(shown.records, o)
	sum := sha256.Sum256(body)
	h := w.Header()
	h.Set("Content-Type", "text/calendar; charset=utf-8")
	h.Set("Content-Disposition", `inline; filename="sumpbook.ics"`)
	h.Set("Cache-Control", "private, no-cache") // it may be kept by who asks, and asked about again
	h.Set("ETag", `"`+hex.EncodeToString(sum[:16])+`"`)
	http.ServeContent(w, r, "", k.feedModified(shown.changed), bytes.NewReader(body))
}

// feedModified is when the feed last changed: its events, or, by a restart, the program and
// the configuration they are written with; not after now (RFC 9110 8.8.2.1).
func (k *Keeper) feedModified(changed time.Time) time.Time {
	at, now := changed, k.clock()
	if k.started.After(at) {
		at = k.started
	}
	if at.After(now) {
		at = now
	}
	return at
}

// choice reads a parameter that has two values, of which the first is usual.
func choice(r *http.Request, name, usual, other string) (bool, error) {
	switch value := r.URL.Query().Get(name); value {
	case "", usual:
		return false, nil
	case other:
		return true, nil
	default:
		return false, problem(http.StatusBadRequest, fmt.Sprintf("%s: %q is neither %s nor %s", name, value, usual, other), "")
	}
}

// baseURL is the address that others know the page by, empty if that cannot be told.
func (k *Keeper) baseURL() string {
	c := k.settings.Config
	if c.BaseURL != "" {
		return c.BaseURL
	}
	listen := c.Listen
	if k.addr != "" {
		listen = k.addr
	}
	host, port, err := net.SplitHostPort(listen)
	if ip := net.ParseIP(host); err != nil || host == "" || port == "0" || ip != nil && ip.IsUnspecified() {
		return ""
	}
	return "http://" + net.JoinHostPort(host, port)
}

const (
	feedFolder = "/calendar/"
	feedEnd    = ".ics"
)

// isFeedPath says whether a request has the form of one for the feed's secret address. What
// answers it looks at the secret.
func isFeedPath(r *http.Request) bool {
	file, inside := strings.CutPrefix(r.URL.Path, feedFolder)
	return inside && strings.HasSuffix(file, feedEnd) && !strings.Contains(file, "/") && (r.Method == http.MethodGet || r.Method == http.MethodHead)
}

// isFeedFile says whether a file's name is the secret. The file in the data folder is read
// each time: what it holds now is what counts.
func (k *Keeper) isFeedFile(file string) bool {
	given, isFeed := strings.CutSuffix(file, feedEnd)
	token, err := readToken(k.feedTokenPath())
	if err != nil {
		k.log.Error("calendar", "error", err)
		return false
	}
	return isFeed && token != "" && subtle.ConstantTimeCompare([]byte(given), []byte(token)) == 1
}

func (k *Keeper) feedTokenPath() string {
	return filepath.Join(k.settings.Data, "calendar-token")
}

// readToken reads a token's file; empty if there is none.
func readToken(path string) (string, error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", fmt.Errorf("read the token: %w", err)
	}
	token := strings.TrimSpace(string(b))
	if len(token) < shortestToken {
		return "", fmt.Errorf("read the token: %s holds fewer than %d characters; remove it and one is made", path, shortestToken)
	}
	return token, nil
}

// makeToken puts a new token in the place of the one before, whole or not at all.
func makeToken(path string) (string, error) {
	token := rand.Text()
	file, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*") // mode 0600
	if err != nil {
		return "", fmt.Errorf("write the token: %w", err)
	}
	defer os.Remove(file.Name()) // renamed, if all went well
	_, err = file.WriteString(token + "\n")
	err = errors.Join(err, file.Sync(), file.Close())
	if err == nil {
		err = os.Rename(file.Name(), path)
	}
	if err != nil {
		return "", fmt.Errorf("write the token: %w", err)
	}
	return token, nil
}

// A CalendarView is where the feed is, who can get at it, and which programs can fetch it.
type CalendarView struct {
	Address string       `json:"address"` // without a host if that is not known
	Reach   string       `json:"reach"`
	Clients []FeedClient `json:"clients"`
}

// A FeedClient is a kind of program that shows calendars.
type FeedClient struct {
	Kind  string `json:"kind"`
	Works bool   `json:"works"`
	Why   string `json:"why"`
}

var feedClients = []FeedClient{
	{"a calendar program on a phone or a PC that fetches the address itself", true, "if it is in the same network when it does"},
	{"a calendar server of your own in the same network", true, "it fetches in the place of phones that are out"},
	{"a calendar service on the internet", false, "it fetches from there, and cannot reach an address of this network"},
}

type calendarRequest struct {
	Revoke bool `json:"revoke"`
}

func (k *Keeper) postCalendar(r *http.Request) (any, error) {
	var ask calendarRequest
	if err := readControl(r, &ask); err != nil {
		return nil, err
	}
	return k.Calendar(ask.Revoke)
}

// Calendar gives the feed's secret address, making one if there is none yet or if the one
// before is revoked.
func (k *Keeper) Calendar(revoke bool) (CalendarView, error) {
	token, err := readToken(k.feedTokenPath())
	if revoke || err == nil && token == "" {
		token, err = makeToken(k.feedTokenPath())
		k.log.Info("calendar", "new_address", err == nil, "revoked", revoke)
	}
	if err != nil {
		return CalendarView{}, err
	}
	return CalendarView{Address: k.baseURL() + feedFolder + token + feedEnd, Reach: k.reach(), Clients: feedClients}, nil
}

func (k *Keeper) reach() string {
	c := k.settings.Config
	switch {
	case loopbackOnly(c.Listen):
		return fmt.Sprintf("this machine alone, since listen is %s, and what a proxy here lets in", c.Listen)
	case k.baseURL() == "":
		return fmt.Sprintf("this network, since listen is %s; set base_url to the address that phones use, which is not known", c.Listen)
	}
	return "whoever reaches " + k.baseURL()
}

// Calendar asks for the feed's secret address; revoke makes a new one in its place.
func (c *Client) Calendar(ctx context.Context, revoke bool) (CalendarView, error) {
	return post[CalendarView](ctx, c, "/control/calendar", calendarRequest{revoke})
}

// ExportCalendar writes the feed as a file; todo and alarms are its two options.
func (c *Client) ExportCalendar(ctx context.Context, todo, alarms bool, w io.Writer) error {
	if c.keeper != nil { // there is no beat that does it
		if err := c.keeper.feed.update(ctx, c.keeper.clock()); err != nil && !errors.Is(err, errReadOnly) {
			return err
		}
	}
	q := url.Values{}
	if todo {
		q.Set("as", "todo")
	}
	if alarms {
		q.Set("alarms", "1")
	}
	answer, err := c.do(ctx, http.MethodGet, "/calendar.ics", q, nil)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	if _, err := io.Copy(w, answer.Body); err != nil {
		return fmt.Errorf("write the calendar: %w", err)
	}
	return nil
}
