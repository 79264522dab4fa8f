package daemon

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
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
)

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
