package daemon

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
)

// A registered route, with its names filled in.
type registered struct{ method, path string }

var routeText = regexp.MustCompile(`"(GET|POST|PUT|DELETE|PATCH) (/[^"]*)"`)

// allRoutes reads the routes from where they are registered, so that none is missed.
func allRoutes(t *testing.T) (all []registered) {
	t.Helper()
	fill := strings.NewReplacer("{$}", "", "{pump}", "north", "{kind}", "drain", "{file}", "x.ics", "{id...}", "drain/north/s1", "{token}", "AAAA")
	for _, folder := range []string{".", "web"} {
		files, err := filepath.Glob(filepath.Join(folder, "*.go"))
		require.NoError(t, err)
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			source, err := os.ReadFile(name)
			require.NoError(t, err)
			for _, m := range routeText.FindAllStringSubmatch(string(source), -1) {
				require.NotContains(t, fill.Replace(m[2]), "{", "fill in the names of this route")
				all = append(all, registered{m[1], fill.Replace(m[2])})
			}
		}
	}
	require.Greater(t, len(all), 20)
	return all
}

func requireSecured(t *testing.T, h http.Header, what string) {
	t.Helper()
	for _, name := range []string{"Content-Security-Policy", "X-Content-Type-Options", "Referrer-Policy", "X-Frame-Options", "Cache-Control"} {
		require.NotEmpty(t, h.Get(name), "%s: %s", what, name)
	}
}

func TestEveryRouteIsGuarded(t *testing.T) {
	c := config.Default()
	c.Timezone = time.UTC
	k, now := newTestKeeper(t, c)
	_, err := k.book.Record(context.Background(), *now, opening(t))
	require.NoError(t, err)
	h := page0(t, k)
	stored := func() string {
		b, err := os.ReadFile(BookPath(k.settings.Data))
		require.NoError(t, err)
		return string(b)
	}
	before := stored()
	for _, r := range allRoutes(t) {
		what := r.method + " " + r.path
		if strings.HasPrefix(r.path, "/control/") { // over the socket alone
			require.Equal(t, 404, send(h, r.method, r.path, "{}").Code, what)
			continue
		}
		for _, headers := range [][]string{
			{"Host", "evil.example"}, {"Host", "127.0.0.1.evil.example"}, {"Host", ""}, {"Origin", "http://evil.example"}, {"Origin", "null"},
		} {
			w := send(h, r.method, r.path, "{}", headers...)
			asProblem(t, w, http.StatusForbidden)
			requireSecured(t, w.Header(), what)
		}
		w := send(h, r.method, r.path, "{}", "From", "192.0.2.9:5")
		switch {
		case strings.HasPrefix(r.path, "/a/"): // links let in by themselves, and say on a page that they are no good
			require.Contains(t, []int{http.StatusForbidden, http.StatusOK}, w.Code, what)
			require.NotContains(t, w.Body.String(), "north", what)
		case r.path == "/calendar/x.ics": // its address is the token, and this is not it
			asProblem(t, w, http.StatusNotFound)
		default:
			asProblem(t, w, http.StatusUnauthorized)
		}
		requireSecured(t, w.Header(), what)
		if r.method != "GET" {
			for _, headers := range [][]string{
				{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "http://127.0.0.1:1"},
			} {
				asProblem(t, send(h, r.method, r.path, "{}", headers...), http.StatusForbidden)
			}
		} else {
			w := send(h, r.method, r.path, "")
			require.Less(t, w.Code, 500, what)
			requireSecured(t, w.Header(), what)
			require.NotEqual(t, http.StatusMethodNotAllowed, w.Code, what)
		}
		w = send(h, "PATCH", r.path, "")
		require.Contains(t, asProblem(t, w, http.StatusMethodNotAllowed).Hint, r.method)
		require.Contains(t, w.Header().Get("Allow"), r.method, what)
		requireSecured(t, w.Header(), what)
	}
	for _, path := range []string{"/nothing", "/api", "/api/v1/", "/api/v2/state", "/..%2f..%2fetc/passwd", "/style.css/x", "/%00", "/jars%2f..%2f", `/\..\book.db`, "/book.db", "/token"} {
		w := send(h, "GET", path, "")
		asProblem(t, w, http.StatusNotFound)
		requireSecured(t, w.Header(), path)
	}
	require.Equal(t, before, stored(), "a GET, and what is refused, changes nothing")
}

func TestTheTokenLetsInFromBeyond(t *testing.T) {
	c := config.Default()
	c.Listen, c.BaseURL = "192.0.2.7:8417", "http://192.0.2.7:8417"
	k, _ := newTestKeeper(t, c)
	h := page0(t, k)
	token, err := tokenIn(k.settings.Data)
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(token), shortestToken)
	info, err := os.Stat(filepath.Join(k.settings.Data, "token"))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	from := []string{"Host", "192.0.2.7:8417", "From", "192.0.2.9:5"}
	for given, status := range map[string]int{
		"": 401, "Bearer": 401, "Bearer ": 401, "Bearer " + token[1:]: 401, "Basic " + token: 401, token: 401, "Bearer " + token: 200,
	} {
		require.Equal(t, status, send(h, "GET", "/api/v1/state", "", append(from, "Authorization", given)...).Code, given)
	}
	require.NoError(t, os.WriteFile(filepath.Join(k.settings.Data, "token"), []byte("short\n"), 0o600))
	_, err = tokenIn(k.settings.Data)
	require.ErrorContains(t, err, "remove it", "one that a person chose is not replaced in silence")
}

// What is built to fill a memory is refused, and costs little.
func TestBodiesThatAreBombs(t *testing.T) {
	k, _ := newTestKeeper(t, config.Default())
	h := page0(t, k)
	names := &strings.Builder{}
	for i := range 1_000_000 {
		fmt.Fprintf(names, `"%d":0,`, i)
	}
	for name, c := range map[string]struct {
		body   string
		status int
	}{
		"Deep":            {strings.Repeat("[", 100_000), 400},
		"DeepInside":      {`[{"kind":` + strings.Repeat("[", 5_000) + strings.Repeat("]", 5_000) + `}]`, 422},
		"AMillionNames":   {`[{` + names.String() + `"kind":"note"}]`, 422},
		"OneObject":       {`{` + names.String() + `"kind":"note"}`, 422},
		"TooManyEntries":  {`[` + strings.Repeat(`{"kind":"note","note":"x"},`, maxTold) + `{"kind":"note","note":"x"}]`, 413},
		"NameTwice":       {`[{"kind":"note","note":"x","note":"y"}]`, 422},
		"OtherCase":       {`{"kind":"note","Note":"x"}`, 422},
		"EndlessNumber":   {`{"kind":"vacuum","pump":"north","pa":1e999}`, 422},
		"LongNumber":      {`{"kind":"vacuum","pump":"north","pa":` + strings.Repeat("9", 10_000) + `}`, 422},
		"NUL":             {"{\"kind\":\"note\",\"note\":\"\x00\"}", 422},
		"BadUTF8":         {"{\"kind\":\"note\",\"note\":\"\xff\"}", 422},
		"HalfASurrogate":  {`{"kind":"note","note":"\ud800"}`, 422},
		"GzipIsNotOpened": {"\x1f\x8b\x08\x00\x00\x00\x00\x00", 422},
	} {
		t.Run(name, func(t *testing.T) {
			var at, was runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&was)
			asProblem(t, send(h, "POST", "/api/v1/entries", c.body), c.status)
			runtime.GC()
			runtime.ReadMemStats(&at)
			require.Less(t, int64(at.HeapAlloc)-int64(was.HeapAlloc), int64(16<<20))
		})
	}
	seq, _ := k.book.Head()
	require.Zero(t, seq)
}

func TestALongAnswerIsGivenInParts(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	for i := range 3 {
		var all []string
		for j := range 3000 {
			all = append(all, fmt.Sprintf(`{"id":"n%d-%d","kind":"note","note":%q}`, i, j, strings.Repeat("x", 1999)))
		}
		require.Equal(t, 200, send(page0(t, k), "POST", "/api/v1/entries", "["+strings.Join(all, ",")+"]").Code)
	}
	*now = now.Add(time.Hour)
	w := send(page0(t, k), "GET", "/api/v1/entries?limit=10000", "")
	require.Less(t, w.Body.Len(), maxLines+32<<10)
	require.Greater(t, w.Body.Len(), maxLines)
	c := within(k)
	count := &lineCounter{}
	require.NoError(t, c.Export(context.Background(), count))
	require.Equal(t, 9000, count.lines)
}

type lineCounter struct{ lines int }

func (c *lineCounter) Write(b []byte) (int, error) {
	c.lines += strings.Count(string(b), "\n")
	return len(b), nil
}

// Clients that send their header or their body a byte now and then, or nothing, are cut at
// their timeout; another is served at once meanwhile.
func TestSlowClientsHoldUpNobody(t *testing.T) {
	k, _ := newTestKeeper(t, config.Default())
	srv := newServer(page0(t, k))
	for _, limit := range []time.Duration{srv.ReadHeaderTimeout, srv.ReadTimeout, srv.WriteTimeout, srv.IdleTimeout} {
		require.Positive(t, limit)
		require.LessOrEqual(t, limit, 2*time.Minute)
	}
	srv.ReadHeaderTimeout, srv.ReadTimeout = 300*time.Millisecond, 600*time.Millisecond
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	var parts sync.WaitGroup
	parts.Go(func() { _ = srv.Serve(l) })
	defer parts.Wait()
	defer srv.Close()
	const header = "POST /api/v1/entries HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 100\r\n"
	cut := make(chan time.Duration, 300)
	for i := range 300 {
		go func() {
			c, err := net.Dial("tcp", l.Addr().String())
			if err != nil {
				cut <- time.Hour
				return
			}
			defer c.Close()
			began := time.Now()
			_, _ = io.WriteString(c, []string{"", header, header + "\r\n{"}[i%3])
			_ = c.SetReadDeadline(began.Add(10 * time.Second))
			_, _ = io.Copy(io.Discard, c) // until it is cut
			cut <- time.Since(began)
		}()
	}
	client := &http.Client{}
	for range 20 {
		began := time.Now()
		answer, err := client.Get("http://" + l.Addr().String() + "/healthz")
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		require.Equal(t, 200, answer.StatusCode)
		require.Less(t, time.Since(began), time.Second)
	}
	for range 300 {
		require.Less(t, <-cut, 8*time.Second)
	}
}

// A body without an end is refused where the bound is, and hardly more of it is read.
func TestAnEndlessBodyIsCut(t *testing.T) {
	k, now := newTestKeeper(t, config.Default())
	_, err := k.book.Record(context.Background(), *now, opening(t))
	require.NoError(t, err)
	srv := newServer(page0(t, k))
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	var parts sync.WaitGroup
	parts.Go(func() { _ = srv.Serve(l) })
	defer parts.Wait()
	defer srv.Close()
	c, err := net.Dial("tcp", l.Addr().String())
	require.NoError(t, err)
	defer c.Close()
	require.NoError(t, c.SetDeadline(time.Now().Add(20*time.Second)))
	_, err = io.WriteString(c, "POST /api/v1/signals/north HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\n")
	require.NoError(t, err)
	chunk := fmt.Sprintf("%x\r\n%s\r\n", 4096, strings.Repeat(" ", 4096))
	sent := make(chan int, 1)
	go func() {
		n := 0
		for ; n < 64<<20; n += 4096 {
			if _, err := io.WriteString(c, chunk); err != nil {
				break
			}
		}
		sent <- n
	}()
	answer, err := http.ReadResponse(bufio.NewReader(c), nil)
	require.NoError(t, err)
	require.Equal(t, http.StatusRequestEntityTooLarge, answer.StatusCode)
	require.Less(t, <-sent, maxSignal+8<<20, "what the kernel holds on the way included")
}
