package daemon

import (
	"bytes"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	ical "github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// drainDue is a book whose pump has just stopped: its drain is open.
func drainDue(t *testing.T, c config.Config) (*Keeper, *time.Time) {
	t.Helper()
	k, now := newTestKeeper(t, c)
	*now = day0.Add(14 * time.Hour)
	tell(t, k, *now, oneCycle(t, *now)...)
	return k, now
}

func oneCycle(t *testing.T, stop time.Time) []maintenance.Entry {
	return append(opening(t),
		entry(t, day0.Add(10*time.Minute), `{"id":"s","kind":"start","pump":"north"}`),
		entry(t, stop, `{"id":"e","kind":"stop","pump":"north","hot_c":65}`))
}

func tell(t *testing.T, k *Keeper, now time.Time, entries ...maintenance.Entry) {
	t.Helper()
	_, err := k.book.Record(t.Context(), now, entries)
	require.NoError(t, err)
	newBeat(k, notify.NewCourier(k.carrier, nil)).once(t.Context())
}

// drainOf gives the drain of a feed, as another reader reads it.
func drainOf(t *testing.T, h http.Handler, path string, headers ...string) *ical.Component {
	t.Helper()
	w := send(h, "GET", path, "", headers...)
	require.Equal(t, http.StatusOK, w.Code, w.Body)
	cal, err := ical.NewDecoder(bytes.NewReader(w.Body.Bytes())).Decode()
	require.NoError(t, err)
	for _, c := range cal.Children {
		if strings.HasPrefix(c.Props.Get("UID").Value, "action-drain/") {
			return c
		}
	}
	t.Fatal("no drain in the feed:\n" + w.Body.String())
	return nil
}

func TestTheFeedFollowsTheBook(t *testing.T) {
	k, now := drainDue(t, config.Default())
	h := page0(t, k)
	drain := drainOf(t, h, "/calendar.ics")
	require.Equal(t, "action-drain/north/s@"+k.book.journal.ID(), drain.Props.Get("UID").Value)
	require.Equal(t, "0", drain.Props.Get("SEQUENCE").Value)
	require.Equal(t, "CONFIRMED", drain.Props.Get("STATUS").Value)
	require.Equal(t, now.Format("20060102T150405Z"), drain.Props.Get("DTSTAMP").Value)
	require.Equal(t, "http://127.0.0.1:8417/actions/drain%2Fnorth%2Fs", drain.Props.Get("URL").Value)
	require.Contains(t, drain.Props.Get("DESCRIPTION").Value, "hot oil burns")
	first := send(h, "GET", "/calendar.ics", "").Body.String()
	*now = now.Add(5 * time.Minute)
	tell(t, k, *now, entry(t, *now, `{"id":"n","kind":"note","note":"nothing about the pump"}`))
	require.Equal(t, first, send(h, "GET", "/calendar.ics", "").Body.String(), "time that passes is no news")
	*now = now.Add(time.Minute)
	tell(t, k, *now, entry(t, *now, `{"id":"d","kind":"drain","pump":"north","to":"jar-1","grams":580}`))
	drain = drainOf(t, h, "/calendar.ics")
	require.Equal(t, "1", drain.Props.Get("SEQUENCE").Value)
	require.Equal(t, "CANCELLED", drain.Props.Get("STATUS").Value)
	require.Equal(t, now.Format("20060102T150405Z"), drain.Props.Get("LAST-MODIFIED").Value)
	*now = now.Add(time.Minute)
	tell(t, k, *now, entry(t, *now, `{"id":"v","kind":"void","entry":"d"}`))
	drain = drainOf(t, h, "/calendar.ics")
	require.Equal(t, "2", drain.Props.Get("SEQUENCE").Value, "withdrawn, it is asked for again under its name")
	require.Equal(t, "CONFIRMED", drain.Props.Get("STATUS").Value)
}

func TestTheFeedAsAWebResource(t *testing.T) {
	k, now := drainDue(t, config.Default())
	h := page0(t, k)
	*now = now.Add(time.Hour)
	w := send(h, "GET", "/calendar.ics", "")
	require.Equal(t, "text/calendar; charset=utf-8", w.Header().Get("Content-Type"))
	require.Contains(t, w.Header().Get("Content-Disposition"), `filename="sumpbook.ics"`)
	require.NotContains(t, w.Header().Get("Cache-Control"), "no-store", "else nobody may keep what a 304 speaks of")
	require.Equal(t, now.Add(-time.Hour).Format(http.TimeFormat), w.Header().Get("Last-Modified"))
	tag, modified := w.Header().Get("ETag"), w.Header().Get("Last-Modified")
	require.Regexp(t, `^"[0-9a-f]{32}"$`, tag)
	for _, headers := range [][]string{{"If-None-Match", tag}, {"If-None-Match", `"other", W/` + tag}, {"If-Modified-Since", modified}} {
		same := send(h, "GET", "/calendar.ics", "", headers...)
		require.Equal(t, http.StatusNotModified, same.Code, headers)
		require.Empty(t, same.Body.String())
		require.Equal(t, tag, same.Header().Get("ETag"))
	}
	for _, headers := range [][]string{{"If-None-Match", `"other"`}, {"If-None-Match", `"other"`, "If-Modified-Since", modified}} {
		require.Equal(t, http.StatusOK, send(h, "GET", "/calendar.ics", "", headers...).Code, headers)
	}
	head := send(h, "HEAD", "/calendar.ics", "")
	require.Equal(t, http.StatusOK, head.Code)
	require.Empty(t, head.Body.String())
	require.Equal(t, w.Header(), head.Header())
	require.Equal(t, "VTODO", drainOf(t, h, "/calendar.ics?as=todo").Name)
	require.NotEqual(t, tag, send(h, "GET", "/calendar.ics?as=todo", "").Header().Get("ETag"))
	require.Len(t, drainOf(t, h, "/calendar.ics?alarms=1").Children, 1)
	require.Empty(t, drainOf(t, h, "/calendar.ics?alarms=0&as=event").Children)
	for _, query := range []string{"?as=journal", "?alarms=yes"} {
		asProblem(t, send(h, "GET", "/calendar.ics"+query, ""), http.StatusBadRequest)
	}
	*now = now.Add(-2 * time.Hour) // the clock is set back
	require.Equal(t, now.Format(http.TimeFormat), send(h, "GET", "/calendar.ics", "").Header().Get("Last-Modified"), "nothing was changed in the future")
}

func TestTheFeedOutlivesRestartAndRestore(t *testing.T) {
	k, now := drainDue(t, config.Default())
	before := send(page0(t, k), "GET", "/calendar.ics", "")
	copied := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, k.book.journal.Backup(t.Context(), copied))
	require.NoError(t, k.book.Close())
	fresh := t.TempDir()
	_, err := Restore(t.Context(), copied, fresh)
	require.NoError(t, err)
	for _, data := range []string{k.settings.Data, fresh} {
		s := k.settings
		s.Data = data
		again, err := open(s)
		require.NoError(t, err)
		h := page0(t, again)
		after := send(h, "GET", "/calendar.ics", "")
		require.Equal(t, before.Body.String(), after.Body.String())
		require.Equal(t, before.Header().Get("ETag"), after.Header().Get("ETag"))
		*now = now.Add(time.Minute)
		tell(t, again, *now, entry(t, *now, `{"id":"d","kind":"drain","pump":"north","to":"jar-1","grams":580}`))
		require.Equal(t, "1", drainOf(t, h, "/calendar.ics").Props.Get("SEQUENCE").Value, "it goes on counting")
		require.NoError(t, again.book.Close())
	}
}

// A board without a clock of its own starts in 1970: nothing is moved there.
func TestAClockBehindTheBookChangesNoEvent(t *testing.T) {
	k, now := drainDue(t, config.Default())
	before := send(page0(t, k), "GET", "/calendar.ics", "").Body.String()
	require.NoError(t, k.feed.update(t.Context(), time.Unix(60, 0)))
	require.Equal(t, before, send(page0(t, k), "GET", "/calendar.ics", "").Body.String())
	require.NoError(t, k.feed.update(t.Context(), now.Add(48*time.Hour)))
	require.NotEqual(t, before, send(page0(t, k), "GET", "/calendar.ics", "").Body.String())
}

// A calendar that cannot be read locks nobody out of the book.
func TestASpoiledCalendarStopsTheCalendarAlone(t *testing.T) {
	k, now := drainDue(t, config.Default())
	require.NoError(t, k.book.KeepCalendar(t.Context(), map[string][]byte{"drain/north/s": []byte("{")}))
	require.NoError(t, k.book.Close())
	again, err := open(k.settings)
	require.NoError(t, err)
	h := page0(t, again)
	require.Contains(t, asProblem(t, send(h, "GET", "/calendar.ics", ""), 500).Detail, "read the calendar")
	tell(t, again, *now, entry(t, *now, `{"id":"d","kind":"drain","pump":"north","to":"jar-1","grams":580}`))
	require.Equal(t, 200, send(h, "GET", "/api/v1/actions", "").Code)
	require.NoError(t, again.book.Close())
}

// What cannot be kept is not shown: else a restart would count backwards.
func TestWhatIsNotKeptIsNotShown(t *testing.T) {
	k, now := drainDue(t, config.Default())
	before := send(page0(t, k), "GET", "/calendar.ics", "").Body.String()
	require.NoError(t, k.book.Close())
	require.ErrorIs(t, k.feed.update(t.Context(), now.Add(48*time.Hour)), os.ErrClosed)
	require.Equal(t, before, send(page0(t, k), "GET", "/calendar.ics", "").Body.String())
}

func TestTheSecretAddress(t *testing.T) {
	c := config.Default()
	c.Listen, c.BaseURL = "192.0.2.7:8417", "http://192.0.2.7:8417"
	k, _ := drainDue(t, c)
	h := page0(t, k)
	beyond := []string{"Host", "192.0.2.7:8417", "From", "192.0.2.9:5"}
	status := func(method, path string, headers ...string) int {
		return send(h, method, path, "", append(beyond, headers...)...).Code
	}
	require.Equal(t, 404, status("GET", "/calendar/.ics"), "before there is one, nothing is one")
	v, err := within(k).Calendar(t.Context(), false)
	require.NoError(t, err)
	require.Contains(t, v.Reach, "http://192.0.2.7:8417")
	path, found := strings.CutPrefix(v.Address, "http://192.0.2.7:8417")
	require.True(t, found)
	require.Regexp(t, `^/calendar/[A-Z2-7]{26}\.ics$`, path)
	info, err := os.Stat(filepath.Join(k.settings.Data, "calendar-token"))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	again, err := within(k).Calendar(t.Context(), false)
	require.NoError(t, err)
	require.Equal(t, v, again, "asking twice makes no other")

	require.Equal(t, "VEVENT", drainOf(t, h, path, beyond...).Name)
	require.Equal(t, 200, status("HEAD", path))
	require.Equal(t, 304, status("GET", path, "If-None-Match", send(h, "GET", path, "").Header().Get("ETag")))
	token := strings.TrimSuffix(strings.TrimPrefix(path, "/calendar/"), ".ics")
	for path, want := range map[string]int{
		"/calendar/" + token: 401, "/calendar/" + token[1:] + ".ics": 404, "/calendar/" + token + "A.ics": 404, "/calendar/" + strings.ToLower(token) + ".ics": 404,
		"/calendar/.ics": 404, "/calendar/x/" + token + ".ics": 401, "/calendar/..%2f" + token + ".ics": 401, "/calendar.ics": 401, "/calendar/": 401, "/api/v1/state": 401,
		"/calendar/../api/v1/state": 401, "/calendar/%2e%2e%2fapi%2fv1%2fstate.ics": 401, "//calendar/" + token + ".ics": 401,
	} {
		require.Equal(t, want, status("GET", path), path)
	}
	for _, method := range []string{"POST", "PUT", "DELETE"} {
		require.Equal(t, 401, status(method, path), method)
	}
	require.Equal(t, 403, send(h, "GET", path, "", "Host", "evil.example", "From", "192.0.2.9:5").Code)
	require.Equal(t, 403, status("GET", path, "Origin", "http://evil.example"))
	bearer, err := tokenIn(k.settings.Data)
	require.NoError(t, err)
	require.NotEqual(t, bearer, token)
	require.Equal(t, 200, status("GET", "/calendar.ics", "Authorization", "Bearer "+bearer))
	require.Equal(t, 401, status("GET", "/calendar.ics", "Authorization", "Bearer "+token), "who may read the calendar may not read the book")
	require.Equal(t, 404, status("GET", "/calendar/"+bearer+".ics"))

	fresh, err := within(k).Calendar(t.Context(), true)
	require.NoError(t, err)
	require.NotEqual(t, v.Address, fresh.Address)
	gone := send(h, "GET", path, "", beyond...)
	require.Equal(t, asProblem(t, send(h, "GET", "/nothing", ""), 404), asProblem(t, gone, 404), "revoked, it is as if it had never been")
	require.Equal(t, 200, status("GET", strings.TrimPrefix(fresh.Address, "http://192.0.2.7:8417")))
	require.NoError(t, os.WriteFile(k.feedTokenPath(), []byte("\n"), 0o600))
	require.Equal(t, 404, status("GET", "/calendar/.ics"), "a spoiled file lets nobody in")
	_, err = within(k).Calendar(t.Context(), false)
	require.ErrorContains(t, err, "remove it")
	left, err := filepath.Glob(filepath.Join(k.settings.Data, ".calendar-token*"))
	require.NoError(t, err)
	require.Empty(t, left)
}

// Whatever address is asked for from beyond, without a secret nobody sees anything.
func FuzzNobodyPassesWithoutASecret(f *testing.F) {
	c := config.Default()
	c.Listen = "192.0.2.7:8417"
	k, _ := newTestKeeper(f, c)
	h := page0(f, k)
	_, err := k.Calendar(false)
	require.NoError(f, err)
	for _, path := range []string{"/calendar/x.ics", "/calendar/../calendar.ics", "/calendar//x.ics", "/calendar/%2e%2e/calendar.ics", "/./calendar/.ics", "/calendar/%00.ics", "/calendar/..", "/api/v1/state?/calendar/x.ics", "//calendar/x.ics", "/calendar/x.ics/"} {
		f.Add(path, "GET")
		f.Add(path, "HEAD")
	}
	f.Fuzz(func(t *testing.T, path, method string) {
		u, err := url.ParseRequestURI(path)
		if err != nil || u.Path == "" || u.Path[0] != '/' || method == "" {
			return
		}
		r := &http.Request{Method: method, URL: u, Host: "192.0.2.7:8417", RemoteAddr: "192.0.2.9:5", Header: http.Header{}, Body: http.NoBody, RequestURI: path}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		require.GreaterOrEqual(t, w.Code, 300, path)
		require.NotContains(t, w.Body.String(), "VCALENDAR")
	})
}

func TestWhereTheFeedIs(t *testing.T) {
	for _, c := range []struct{ listen, base, addr, want, reach string }{
		{"127.0.0.1:8417", "", "", "http://127.0.0.1:8417", "this machine alone"},
		{"127.0.0.1:0", "", "127.0.0.1:40123", "http://127.0.0.1:40123", "this machine alone"},
		{"127.0.0.1:0", "", "", "", "this machine alone"},
		{"127.0.0.1:8417", "https://oil.example", "", "https://oil.example", "what a proxy here lets in"},
		{"0.0.0.0:8417", "", "0.0.0.0:8417", "", "set base_url"},
		{":8417", "", "[::]:8417", "", "set base_url"},
		{"192.0.2.7:8417", "", "", "http://192.0.2.7:8417", "whoever reaches http://192.0.2.7:8417"},
		{"[2001:db8::7]:8417", "", "", "http://[2001:db8::7]:8417", "whoever reaches"},
		{":8417", "http://192.0.2.7:8417", "", "http://192.0.2.7:8417", "whoever reaches"},
	} {
		k := &Keeper{addr: c.addr}
		k.settings.Config.Listen, k.settings.Config.BaseURL = c.listen, c.base
		require.Equal(t, c.want, k.baseURL(), c)
		require.Contains(t, k.reach(), c.reach, c)
	}
}

// Without a daemon the command brings the calendar up to date itself.
func TestTheCalendarAsAFile(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	*now = day0.Add(14 * time.Hour)
	_, err := k.book.Record(t.Context(), *now, oneCycle(t, *now))
	require.NoError(t, err)
	c := within(k)
	var file bytes.Buffer
	require.NoError(t, c.ExportCalendar(t.Context(), true, true, &file))
	require.Regexp(t, regexp.MustCompile(`(?s)^BEGIN:VCALENDAR\r\n.*BEGIN:VTODO\r\n.*BEGIN:VALARM\r\n.*END:VCALENDAR\r\n$`), file.String())
}
