package notify

import (
	"context"
	"crypto/ecdh"
	"crypto/tls"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The values are those of RFC 8291, section 5 and appendix A.
func TestTheReceiverReadsThePublishedExample(t *testing.T) {
	private, err := ecdh.P256().NewPrivateKey(b64(t, "q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"))
	require.NoError(t, err)
	require.Equal(t, b64(t, "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"), private.PublicKey().Bytes())
	body := b64(t, "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN")
	auth := b64(t, "BTBZMqHH6r4Tts7J_aSIgg")
	plain, err := decrypted(body, private, auth)
	require.NoError(t, err)
	require.Equal(t, "When I grow up, I want to be a watermelon", string(plain))
	for i := range body {
		broken := append([]byte(nil), body...)
		broken[i] ^= 1
		if _, err := decrypted(broken, private, auth); i < 16 || i >= 20 { // the size of a record only bounds it
			require.Error(t, err, "byte %d", i)
		}
	}
}

func newWebPush(t *testing.T, s *pushService, phones ...Phone) (*WebPush, *drawer) {
	t.Helper()
	keys, err := NewPushKeys(nil)
	require.NoError(t, err)
	d := &drawer{keys: keys, phones: phones}
	o := PushOptions{Subject: "mailto:pump@example.org", LocalHosts: []string{"127.0.0.1"}, Store: d}
	if s != nil {
		o.Roots = s.roots()
	}
	w, err := NewWebPush("phones", o)
	require.NoError(t, err)
	return w, d
}

const pathToken = "gAAAAABinvented-subscription-0123456789"

func TestWebPushReachesAPhoneAsTheStandardsSay(t *testing.T) {
	s, b := openPushService(t, nil), newBrowser(t)
	w, d := newWebPush(t, s, b.phone(s.URL+"/wpush/"+pathToken))
	require.Equal(t, "phones", w.Name())
	m := drainMessage(noon)
	said, err := w.Send(t.Context(), m)
	require.NoError(t, err)
	require.Equal(t, "taken for 1 of 1 phones", said)
	require.Len(t, s.all(), 1)
	p := s.all()[0]
	require.Equal(t, "HTTP/2.0", p.proto)

	require.Equal(t, "/wpush/"+pathToken, p.path)
	require.Equal(t, "aes128gcm", p.header.Get("Content-Encoding"))
	require.Equal(t, fmt.Sprint(int(m.Action.Due.Sub(noon)/time.Second)), p.header.Get("TTL"), "RFC 8030, section 5.2")
	require.Equal(t, "high", p.header.Get("Urgency"), "section 5.3")
	require.Regexp(t, `^[A-Za-z0-9_-]{1,32}$`, p.header.Get("Topic"), "section 5.4")
	require.LessOrEqual(t, len(p.body), 4096, "section 7.2")

	plain, err := decrypted(p.body, b.private, b.auth)
	require.NoError(t, err)
	var got map[string]string
	require.NoError(t, json.Unmarshal(plain, &got))
	require.Equal(t, map[string]string{"id": m.ID, "stage": "opened", "tag": "drain/north/s1", "title": m.Subject, "text": m.below()}, got)
	requireVAPID(t, p.header.Get("Authorization"), s.URL, d.keys.Public, "mailto:pump@example.org")
}

// The stages of one action take each other's place while the phone is off, and what is
// pressing wakes it.
func TestWebPushTopicsAndUrgency(t *testing.T) {
	s, b := openPushService(t, nil), newBrowser(t)
	w, _ := newWebPush(t, s, b.phone(s.URL+"/"+pathToken))
	south := drainMessage(noon)
	south.Key.Action = "drain/south/s2"
	south.ID = south.Key.ID()
	late := drainAt(Overdue, noon.Add(48*time.Hour))
	for _, m := range []Message{drainMessage(noon), drainAt(Closing, noon), drainAt(Done, noon), south, late, severalAt(noon), severalAt(noon)} {
		_, err := w.Send(t.Context(), m)
		require.NoError(t, err)
	}
	var topics, urgencies, ttls []string
	for _, p := range s.all() {
		topics, urgencies, ttls = append(topics, p.header.Get("Topic")), append(urgencies, p.header.Get("Urgency")), append(ttls, p.header.Get("TTL"))
	}
	require.Equal(t, []string{"high", "high", "low", "high", "normal", "high", "high"}, urgencies)
	require.Equal(t, []string{topics[0], topics[0], topics[0], topics[3], topics[0], topics[5], topics[5]}, topics)
	require.NotEqual(t, topics[0], topics[3])
	require.NotContains(t, topics[:5], topics[5], "what speaks of several actions is replaced by the word of none of them")
	require.Equal(t, "86400", ttls[5], "and so is kept for longer than the first of them needs")
	require.Equal(t, "86400", ttls[2], "word that it is done is kept for a day")
	require.Equal(t, "86400", ttls[4], "and so is what is overdue")
}

func TestWebPushForgetsWhoHasGone(t *testing.T) {
	s := openPushService(t, func(w http.ResponseWriter, r *http.Request) {
		status := map[string]int{"/here": 201, "/expired": 404, "/gone": 410}[r.URL.Path]
		w.WriteHeader(status)
	})
	w, d := newWebPush(t, s)
	for _, path := range []string{"/expired", "/here", "/gone"} {
		d.phones = append(d.phones, newBrowser(t).phone(s.URL+path))
	}
	said, err := w.Send(t.Context(), drainMessage(noon))
	require.NoError(t, err)
	require.Equal(t, "taken for 1 of 3 phones; 2 no longer subscribed, removed", said)
	require.Len(t, d.phones, 1)
	require.Equal(t, s.URL+"/here", d.phones[0].Endpoint)

	d.phones = []Phone{newBrowser(t).phone(s.URL + "/gone")}
	_, err = w.Send(t.Context(), drainMessage(noon))
	require.EqualError(t, err, "push: 1 no longer subscribed, removed")
	require.NotErrorIs(t, err, ErrPermanent, "another phone may come")
	_, err = w.Send(t.Context(), drainMessage(noon))
	require.EqualError(t, err, "push: no phone has asked for reminders yet")
	require.NotErrorIs(t, err, ErrPermanent)
}

func TestWebPushAnswers(t *testing.T) {
	for status, c := range map[int]struct {
		permanent bool
		wait      time.Duration
	}{
		400: {true, 0}, 401: {true, 0}, 403: {true, 0}, 413: {true, 0}, 301: {true, 0}, 308: {true, 0},
		307: {false, 0}, 429: {false, 2 * time.Minute}, 500: {false, 2 * time.Minute}, 503: {false, 2 * time.Minute},
	} {
		s := openPushService(t, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Retry-After", "120")
			w.WriteHeader(status)
		})
		w, d := newWebPush(t, s, newBrowser(t).phone(s.URL+"/"+pathToken))
		_, err := w.Send(t.Context(), drainMessage(noon))
		require.ErrorContains(t, err, fmt.Sprintf("push: 127.0.0.1:%s: answered %d ", s.URL[strings.LastIndex(s.URL, ":")+1:], status))
		require.Equal(t, c.permanent, errors.Is(err, ErrPermanent), "%d", status)
		if c.wait > 0 {
			after := &RetryAfter{}
			require.ErrorAs(t, err, &after)
			require.Equal(t, c.wait, after.Wait)
		}
		require.Len(t, d.phones, 1)
	}
}

// One phone's service is down: the others are not rung again by the tries for it, and what
// is refused for good keeps nobody from being served.
func TestWebPushRingsEachPhoneOnce(t *testing.T) {
	var down sync.Map
	down.Store("/down", true)
	s := openPushService(t, func(w http.ResponseWriter, r *http.Request) {
		switch _, is := down.Load(r.URL.Path); {
		case is:
			w.WriteHeader(http.StatusServiceUnavailable)
		case r.URL.Path == "/never":
			w.WriteHeader(http.StatusForbidden)
		default:
			w.WriteHeader(http.StatusCreated)
		}
	})
	w, d := newWebPush(t, s)
	for _, path := range []string{"/well", "/down", "/never"} {
		d.phones = append(d.phones, newBrowser(t).phone(s.URL+path))
	}
	m := drainMessage(noon)
	for range 3 {
		_, err := w.Send(t.Context(), m)
		require.ErrorContains(t, err, "taken for 1 of 3 phones")
		require.NotErrorIs(t, err, ErrPermanent)
	}
	down.Delete("/down")
	said, err := w.Send(t.Context(), m)
	require.NoError(t, err)
	require.Contains(t, said, "taken for 2 of 3 phones")
	require.Contains(t, said, "answered 403")
	rings := map[string]int{}
	for _, p := range s.all() {
		rings[p.path]++
	}
	require.Equal(t, map[string]int{"/well": 1, "/down": 4, "/never": 4}, rings)
	_, err = w.Send(t.Context(), m)
	require.NoError(t, err)
	require.Len(t, s.all(), 12, "what is over is forgotten: sent again, it rings again")
}

func TestWebPushFollowsNobodyElsewhere(t *testing.T) {
	other := openPushService(t, nil)
	for _, status := range []int{301, 302, 303, 307, 308} {
		s := openPushService(t, http.RedirectHandler(other.URL+"/stolen", status).ServeHTTP)
		w, _ := newWebPush(t, s, newBrowser(t).phone(s.URL+"/"+pathToken))
		_, err := w.Send(t.Context(), drainMessage(noon))
		require.Error(t, err)
		require.NotContains(t, err.Error(), other.URL)
	}
	require.Empty(t, other.all())
}

// A phone cannot make the daemon knock at doors of its own network.
func TestWebPushStaysOutOfTheHouse(t *testing.T) {
	s := openPushService(t, nil)
	w, _ := newWebPush(t, s, newBrowser(t).phone(s.URL+"/"+pathToken))
	w.options.LocalHosts = []string{"localhost"}
	_, err := w.Send(t.Context(), drainMessage(noon))
	require.ErrorIs(t, err, ErrPermanent)
	require.ErrorContains(t, err, "name the host under local_hosts")
	require.Empty(t, s.all())
	for text, world := range map[string]bool{
		"192.0.2.7": true, "2001:db8::1": true, "8.8.8.8": true, "127.0.0.1": false, "::1": false, "10.1.2.3": false, "172.16.0.1": false, "192.168.1.1": false,
		"169.254.169.254": false, "fe80::1": false, "fd00::1": false, "0.0.0.0": false, "::": false, "100.64.0.1": false, "224.0.0.1": false, "::ffff:127.0.0.1": false,
	} {
		require.Equal(t, world, isOfTheWorld(netip.MustParseAddr(text).Unmap()), text)
	}
}

func TestWebPushNeverAcceptsBadTLS(t *testing.T) {
	s := openPushService(t, nil)
	w, _ := newWebPush(t, nil, newBrowser(t).phone(s.URL+"/"+pathToken))
	_, err := w.Send(t.Context(), drainMessage(noon))
	require.ErrorContains(t, err, "certificate")
	require.Empty(t, s.all())
}

func TestWebPushKeepsItsSecrets(t *testing.T) {
	var answers atomic.Int32
	s := openPushService(t, func(w http.ResponseWriter, r *http.Request) {
		w.WriteHeader(http.StatusForbidden)
		fmt.Fprint(w, []string{r.URL.RequestURI(), "no " + pathToken, strings.TrimPrefix(r.Header.Get("Authorization"), "vapid t=")}[answers.Add(1)%3])
	})
	phone := newBrowser(t).phone(s.URL + "/wpush/" + pathToken + "?auth=" + pathToken)
	w, d := newWebPush(t, s, phone)
	var refused [3]error
	for i := range refused {
		_, refused[i] = w.Send(t.Context(), drainMessage(noon))
		require.ErrorContains(t, refused[i], "answered 403")
	}
	jws := strings.TrimPrefix(strings.Split(s.all()[0].header.Get("Authorization"), ",")[0], "vapid t=")
	s.Close()
	_, unreached := w.Send(t.Context(), drainMessage(noon))
	d.phones[0].Auth = "short"
	_, unread := w.Send(t.Context(), drainMessage(noon))
	require.ErrorContains(t, unread, "subscription cannot be read")
	for _, err := range append(refused[:], unreached, unread) {
		require.Error(t, err)
		for _, hidden := range []string{pathToken, phone.Auth, phone.P256dh, d.keys.private, jws[:40], "/wpush/"} {
			require.NotContains(t, err.Error(), hidden)
		}
	}
}

func TestWebPushEndsWithItsContext(t *testing.T) {
	cert, pool := certificate(t, time.Now().Add(time.Hour))
	protected := func(treat func(net.Conn)) func(net.Conn) {
		return func(c net.Conn) {
			secure := tls.Server(c, &tls.Config{Certificates: []tls.Certificate{cert}})
			if secure.Handshake() == nil {
				treat(secure)
			}
		}
	}
	well := openPushService(t, nil)
	pool.AddCert(well.Certificate())
	for name, treat := range map[string]func(net.Conn){
		"hangs": hang, "resets": reset, "hangs behind TLS": protected(hang),
		"answers without end": protected(asked(func(c net.Conn) { talk(c, "HTTP/1.1 201 Created\r\n", "X-Oil: hot\r\n") })),
		"is no web server":    protected(func(c net.Conn) { _, _ = io.WriteString(c, "220 post office\r\n"); hang(c) }),
	} {
		t.Run(name, func(t *testing.T) {
			ctx, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
			defer cancel()
			w, _ := newWebPush(t, nil, newBrowser(t).phone("https://"+faulty(t, treat)+"/"+pathToken), newBrowser(t).phone(well.URL+"/well"))
			w.client.Transport.(*http.Transport).TLSClientConfig.RootCAs = pool
			began := time.Now()
			_, err := w.Send(ctx, drainMessage(noon))
			require.Less(t, time.Since(began), 5*time.Second)
			require.ErrorContains(t, err, "taken for 1 of 2 phones; 127.0.0.1:", "it delays no other phone")
			require.NotErrorIs(t, err, ErrPermanent)
		})
	}
}

func TestWebPushWithoutItsStore(t *testing.T) {
	w, d := newWebPush(t, nil)
	d.err = errors.New("the disk is gone")
	_, err := w.Send(t.Context(), drainMessage(noon))
	require.ErrorContains(t, err, "push: the disk is gone")
	require.NotErrorIs(t, err, ErrPermanent)
}

// Whatever the text, it fits, and is cut where nothing breaks.
func TestLawWhatIsPushedFits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drainMessage(noon)
		unit := rapid.SampledFrom([]string{"x", "é", "\"", "\n", "🛢", "\u2028", "<b>", "\\"}).Draw(t, "unit")
		m.Text = strings.Repeat(unit, rapid.IntRange(0, 6000).Draw(t, "length"))
		body, err := m.forPhones()
		require.NoError(t, err)
		require.LessOrEqual(t, len(body), maxPushed)
		var got map[string]string
		require.NoError(t, json.Unmarshal(body, &got))
		require.True(t, strings.HasPrefix(m.below(), strings.TrimSuffix(got["text"], "…")))
		whole := len(body) - jsonLength(t, got["text"]) + jsonLength(t, m.below())
		require.Equal(t, whole <= maxPushed, got["text"] == m.below(), "it is cut if it must be, and only then")
	})
}

// jsonLength is the length of a text in JSON.
func jsonLength(t *rapid.T, text string) int {
	b, err := jsontext.AppendQuote(nil, text)
	require.NoError(t, err)
	return len(b)
}

func TestPushKeysComeBack(t *testing.T) {
	made, err := NewPushKeys(nil)
	require.NoError(t, err)
	again, err := NewPushKeys(made.Seed())
	require.NoError(t, err)
	require.Equal(t, made, again)
	for _, seed := range [][]byte{{1}, make([]byte, 32), make([]byte, 33)} {
		_, err := NewPushKeys(seed)
		require.Error(t, err)
	}
	// RFC 8291, appendix A: a private key and its public one.
	known, err := NewPushKeys(b64(t, "yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw"))
	require.NoError(t, err)
	require.Equal(t, "BP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A8", known.Public)
}

func TestPhonesAreChecked(t *testing.T) {
	good := newBrowser(t).phone("https://push.example.org/" + pathToken)
	require.NoError(t, good.Check())
	padded := good
	padded.P256dh, padded.Auth = good.P256dh+"=", good.Auth+"=="
	require.NoError(t, padded.Check())
	for name, spoil := range map[string]func(*Phone){
		"no endpoint": func(p *Phone) { p.Endpoint = "" }, "in the clear": func(p *Phone) { p.Endpoint = "http://push.example.org/" + pathToken },
		"another scheme": func(p *Phone) { p.Endpoint = "file:///etc/passwd" }, "with a login": func(p *Phone) { p.Endpoint = "https://me:" + pathToken + "@push.example.org/" },
		"no host": func(p *Phone) { p.Endpoint = "https:///" + pathToken }, "too long": func(p *Phone) { p.Endpoint += strings.Repeat("a", maxEndpoint) },
		"no URL": func(p *Phone) { p.Endpoint = "https://%zz" + pathToken }, "no key": func(p *Phone) { p.P256dh = "" },
		"a point that is not on the curve": func(p *Phone) {
			p.P256dh = base64.RawURLEncoding.EncodeToString(append([]byte{4}, make([]byte, 64)...))
		},
		"a key that is no base64url": func(p *Phone) { p.P256dh = "+" + p.P256dh[1:] }, "no secret": func(p *Phone) { p.Auth = "" },
		"a short secret": func(p *Phone) { p.Auth = p.Auth[:20] }, "a long secret": func(p *Phone) { p.Auth = good.P256dh },
	} {
		p := good
		spoil(&p)
		err := p.Check()
		require.Error(t, err, name)
		require.NotContains(t, err.Error(), pathToken, name)
	}
}

func TestWebPushConfiguration(t *testing.T) {
	for _, subject := range []string{"", "mailto:", "mailto:nobody", "pump@example.org", "http://example.org", "https://", "ftp://example.org", "%zz"} {
		_, err := NewWebPush("phones", PushOptions{Subject: subject})
		require.EqualError(t, err, "channel phones: subject is not mailto:ADDRESS or an https address", subject)
	}
	w, d := newWebPush(t, nil)
	w.options.Subject = "https://example.org/pump"
	s := openPushService(t, nil)
	w.client.Transport.(*http.Transport).TLSClientConfig.RootCAs = s.roots()
	d.phones = []Phone{newBrowser(t).phone(s.URL + "/" + url.PathEscape(pathToken))}
	_, err := w.Send(t.Context(), drainMessage(noon))
	require.NoError(t, err)
	requireVAPID(t, s.all()[0].header.Get("Authorization"), s.URL, d.keys.Public, "https://example.org/pump")
}
