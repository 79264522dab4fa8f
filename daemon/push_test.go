package daemon

import (
	"crypto/x509"
	"fmt"
	"io"
	"log"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/notify"
)

// A browser's keys: those of the user agent in RFC 8291, appendix A.
const (
	phoneKey  = "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"
	phoneAuth = "BTBZMqHH6r4Tts7J_aSIgg"
)

func quietLog() *log.Logger { return log.New(io.Discard, "", 0) }

func phoneAt(endpoint string) string {
	return fmt.Sprintf(`{"endpoint":%q,"expirationTime":null,"keys":{"p256dh":%q,"auth":%q}}`, endpoint, phoneKey, phoneAuth)
}

func pushing(names ...string) config.Config {
	c := config.Default()
	for _, name := range names {
		c.Channels = append(c.Channels, config.Channel{Name: name, Type: "webpush", Subject: "mailto:pump@example.org", LocalHosts: []string{"127.0.0.1"}})
	}
	return c
}

func asView[T any](t *testing.T, w *httptest.ResponseRecorder) (v T) {
	t.Helper()
	require.Equal(t, http.StatusOK, w.Code, w.Body)
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &v))
	return v
}

func TestAPhoneSubscribesAndLeaves(t *testing.T) {
	k, _ := newTestKeeper(t, pushing("phones"))
	h := page0(t, k)
	ask := func(method, target, body string) *httptest.ResponseRecorder {
		return send(h, method, "/api/v1/push"+target, body)
	}
	d := readDescription(t)
	requireFits(t, d, operations["GET /api/v1/push"], "", ask("GET", "", "").Body.Bytes())
	requireFits(t, d, operations["POST /api/v1/push"], phoneAt("https://push.example.org/a"), ask("POST", "", phoneAt("https://push.example.org/a")).Body.Bytes())
	requireFits(t, d, operations["DELETE /api/v1/push"], `{"endpoint":"https://push.example.org/a"}`, ask("DELETE", "", `{"endpoint":"https://push.example.org/a"}`).Body.Bytes())
	before := asView[PushView](t, ask("GET", "", ""))
	require.True(t, before.Offered)
	require.Equal(t, []string{"phones"}, before.Channels)
	require.Regexp(t, `^B[A-Za-z0-9_-]{86}$`, before.Key, "65 bytes of a point, which begins with 4")

	require.Equal(t, "no phone has asked for reminders yet", findingOf(t, k, "channel phones").Says)
	require.Equal(t, 1, asView[PhonesView](t, ask("POST", "", phoneAt("https://push.example.org/a"))).Phones)
	require.Equal(t, "no failure on record", findingOf(t, k, "channel phones").Says)
	require.Equal(t, 2, asView[PhonesView](t, ask("POST", "?channel=phones", phoneAt("https://push.example.org/b"))).Phones)
	require.Equal(t, 2, asView[PhonesView](t, ask("POST", "", phoneAt("https://push.example.org/a"))).Phones, "the same phone again")
	after := asView[PushView](t, ask("GET", "", ""))
	require.Equal(t, 2, after.Phones)
	require.Equal(t, before.Key, after.Key, "phones belong to the key they were shown")
	require.NotContains(t, ask("GET", "", "").Body.String(), "push.example.org", "a phone's address is nobody's business")
	for _, name := range []string{phonesFile, pushKey} {
		info, err := os.Stat(filepath.Join(k.settings.Data, name))
		require.NoError(t, err)
		require.Equal(t, os.FileMode(0o600), info.Mode().Perm(), name)
	}

	require.Equal(t, 1, asView[PhonesView](t, ask("DELETE", "", `{"endpoint":"https://push.example.org/a"}`)).Phones)
	require.Equal(t, 1, asView[PhonesView](t, ask("DELETE", "", `{"endpoint":"https://push.example.org/a"}`)).Phones)
	phones, err := k.phones.Phones("phones")
	require.NoError(t, err)
	require.Equal(t, []notify.Phone{{Endpoint: "https://push.example.org/b", P256dh: phoneKey, Auth: phoneAuth}}, phones)
	left, err := filepath.Glob(filepath.Join(k.settings.Data, ".push*"))
	require.NoError(t, err)
	require.Empty(t, left)
}

func findingOf(t *testing.T, k *Keeper, what string) Finding {
	t.Helper()
	all := k.Doctor(t.Context())
	i := slices.IndexFunc(all, func(f Finding) bool { return f.What == what })
	require.GreaterOrEqual(t, i, 0)
	return all[i]
}

func TestPhonesThatAreRefused(t *testing.T) {
	k, _ := newTestKeeper(t, pushing("phones", "tablets"))
	h := page0(t, k)
	for name, c := range map[string]struct {
		method, target, body string
		status               int
		says                 string
	}{
		"in the clear":        {"POST", "?channel=phones", phoneAt("http://push.example.org/secret-path"), 422, "endpoint is not an https address"},
		"without keys":        {"POST", "?channel=phones", `{"endpoint":"https://push.example.org/secret-path","keys":{}}`, 422, "p256dh"},
		"a key of its own":    {"POST", "?channel=phones", `{"endpoint":"https://push.example.org/secret-path","kyes":{}}`, 400, "PushSubscription"},
		"told twice":          {"POST", "?channel=phones", `{"endpoint":"a","endpoint":"https://push.example.org/secret-path"}`, 400, "PushSubscription"},
		"no JSON":             {"POST", "?channel=phones", `secret-path`, 400, "PushSubscription"},
		"nothing":             {"POST", "?channel=phones", ``, 400, "PushSubscription"},
		"no JSON to remove":   {"DELETE", "?channel=phones", `secret-path`, 400, "PushSubscription"},
		"which channel":       {"POST", "", phoneAt("https://push.example.org/a"), 404, `"" is no channel that pushes`},
		"another channel":     {"POST", "?channel=mail", phoneAt("https://push.example.org/a"), 404, `"mail" is no channel that pushes`},
		"from which channel":  {"DELETE", "", `{"endpoint":"a"}`, 404, `"" is no channel that pushes`},
		"too long":            {"POST", "?channel=phones", phoneAt("https://push.example.org/" + strings.Repeat("a", maxPhone)), 413, "at most"},
		"too long an address": {"POST", "?channel=phones", phoneAt("https://push.example.org/" + strings.Repeat("a", 4<<10)), 422, "at most 2048 bytes"},
	} {
		p := asProblem(t, send(h, c.method, "/api/v1/push"+c.target, c.body), c.status)
		require.Contains(t, p.Detail, c.says, name)
		require.NotContains(t, p.Detail+p.Hint, "secret-path", name)
	}
	require.NoFileExists(t, filepath.Join(k.settings.Data, phonesFile))
	for i := range maxPhones {
		require.Equal(t, http.StatusOK, send(h, "POST", "/api/v1/push?channel=phones", phoneAt(fmt.Sprintf("https://push.example.org/%d", i))).Code)
	}
	asProblem(t, send(h, "POST", "/api/v1/push?channel=phones", phoneAt("https://push.example.org/more")), http.StatusConflict)
	require.Equal(t, http.StatusOK, send(h, "POST", "/api/v1/push?channel=phones", phoneAt("https://push.example.org/7")).Code, "one that is there already")
	require.Equal(t, http.StatusOK, send(h, "POST", "/api/v1/push?channel=tablets", phoneAt("https://push.example.org/more")).Code, "another channel has room")

	none, _ := newTestKeeper(t, config.Default())
	asProblem(t, send(page0(t, none), "POST", "/api/v1/push", phoneAt("https://push.example.org/a")), http.StatusNotFound)
}

func TestWhereThePageCanOfferPush(t *testing.T) {
	c := pushing("phones")
	c.Listen, c.BaseURL = "192.0.2.7:8417", "https://book.example.org"
	for host, why := range map[string]string{
		"127.0.0.1:8417": "", "localhost:8417": "", "[::1]:8417": "", "localhost": "", "book.example.org": "", "BOOK.example.org:443": "", "192.0.2.7:8417": "over https",
	} {
		k, _ := newTestKeeper(t, c)
		v := asView[PushView](t, send(page0(t, k), "GET", "/api/v1/push", "", "Host", host))
		require.Equal(t, why == "", v.Offered, host)
		require.Contains(t, v.Why, why, host)
		page := send(page0(t, k), "GET", "/", "", "Host", host).Body.String()
		require.Equal(t, why != "", strings.Contains(page, "Push is offered only over https"), "the page says why it offers none: %s", host)
	}
	c.BaseURL = "http://book.example.org"
	k, _ := newTestKeeper(t, c)
	v := asView[PushView](t, send(page0(t, k), "GET", "/api/v1/push", "", "Host", "book.example.org"))
	require.Equal(t, "Push is offered only over https, or from this machine itself: elsewhere no browser takes it.", v.Why)

	none, _ := newTestKeeper(t, config.Default())
	v = asView[PushView](t, send(page0(t, none), "GET", "/api/v1/push", ""))
	require.Equal(t, PushView{Why: "Push is not set up: there is no channel of type webpush in the configuration.", Channels: []string{}}, v)
	require.NoFileExists(t, filepath.Join(none.settings.Data, pushKey))
}

// A push goes out to each phone of the channel; the one that has gone is struck off the list
// on disk.
func TestAPhoneThatHasGoneIsStruckOff(t *testing.T) {
	var mu sync.Mutex
	rings := map[string]int{}
	service := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		defer mu.Unlock()
		rings[r.URL.Path]++
		w.WriteHeader(map[string]int{"/here": 201, "/gone": 410}[r.URL.Path])
	}))
	defer service.Close()
	k, _ := newTestKeeper(t, pushing("phones", "tablets"))
	h := page0(t, k)
	for _, at := range []string{"?channel=phones /here", "?channel=phones /gone", "?channel=tablets /other"} {
		channel, path, _ := strings.Cut(at, " ")
		require.Equal(t, http.StatusOK, send(h, "POST", "/api/v1/push"+channel, phoneAt(service.URL+path)).Code)
	}
	roots := x509.NewCertPool()
	roots.AddCert(service.Certificate())
	var err error
	k.channels[0], err = notify.NewWebPush("phones", notify.PushOptions{Subject: "mailto:pump@example.org", LocalHosts: []string{"127.0.0.1"}, Roots: roots, Store: k.phones})
	require.NoError(t, err)
	results, err := within(k).NotifyTest(t.Context(), "phones")
	require.NoError(t, err)
	require.True(t, results[0].OK, results[0].Said)
	require.Equal(t, "taken for 1 of 2 phones; 1 no longer subscribed, removed", results[0].Said)
	require.Equal(t, map[string]int{"/here": 1, "/gone": 1}, rings)
	stored, err := os.ReadFile(filepath.Join(k.settings.Data, phonesFile))
	require.NoError(t, err)
	require.NotContains(t, string(stored), "/gone")
	require.Contains(t, string(stored), "/here")
	require.Contains(t, string(stored), "/other")
}

// A list or a key that was spoilt is told, and neither lost nor made anew.
func TestSpoiltPhonesAreLeftAlone(t *testing.T) {
	k, _ := newTestKeeper(t, pushing("phones"))
	h := page0(t, k)
	path := filepath.Join(k.settings.Data, phonesFile)
	require.Equal(t, http.StatusOK, send(h, "POST", "/api/v1/push", phoneAt("https://push.example.org/secret-path")).Code)
	good, err := os.ReadFile(path)
	require.NoError(t, err)
	for name, spoilt := range map[string]string{
		"cut short": string(good[:len(good)/2]), "another key": strings.Replace(string(good), "since", "until", 1), "no address": strings.Replace(string(good), "https", "http", 1),
		"too long": strings.Repeat(" ", maxListing) + string(good), "no list": `"secret-path"`,
	} {
		require.NoError(t, os.WriteFile(path, []byte(spoilt), 0o600))
		p := asProblem(t, send(h, "POST", "/api/v1/push", phoneAt("https://push.example.org/b")), http.StatusInternalServerError)
		require.Contains(t, p.Detail, "read the phones: "+path, name)
		require.NotContains(t, p.Detail, "secret-path", name)
		results, err := within(k).NotifyTest(t.Context(), "phones")
		require.NoError(t, err)
		require.False(t, results[0].OK)
		require.Contains(t, results[0].Said, "push: read the phones", name)
		stored, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, spoilt, string(stored), name)
		require.Equal(t, "bad", findingOf(t, k, "channel phones").State)
	}
	for _, spoilt := range []string{"", "\n", "secret path", "AAAA", strings.Repeat("A", 43)} {
		require.NoError(t, os.WriteFile(filepath.Join(k.settings.Data, pushKey), []byte(spoilt), 0o600))
		_, err := k.phones.Keys()
		require.ErrorContains(t, err, "remove it and one is made", spoilt)
		s := k.settings
		s.Data = t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(s.Data, pushKey), []byte(spoilt), 0o600))
		require.ErrorContains(t, serveOnce(s), "read the push key: ")
	}
}

// Whatever is in the files: an answer or an error, and never a phone that cannot be pushed to.
func FuzzPhones(f *testing.F) {
	f.Add([]byte(`{"phones":[{"channel":"phones","endpoint":"https://push.example.org/a","p256dh":"`+phoneKey+`","auth":"`+phoneAuth+`","since":"2026-11-24T21:40:00Z"}]}`), []byte("yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw\n"))
	f.Add([]byte(`{}`), []byte(""))
	b := &phoneBook{folder: f.TempDir()}
	f.Fuzz(func(t *testing.T, list, key []byte) {
		require.NoError(t, os.WriteFile(filepath.Join(b.folder, phonesFile), list, 0o600))
		require.NoError(t, os.WriteFile(filepath.Join(b.folder, pushKey), key, 0o600))
		phones, err := b.Phones("phones")
		for _, p := range phones {
			require.NoError(t, p.Check())
		}
		require.True(t, err == nil || phones == nil)
		if keys, err := b.Keys(); err == nil {
			require.Len(t, keys.Seed(), 32)
		}
	})
}
