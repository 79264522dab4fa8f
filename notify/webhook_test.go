package notify

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/require"

	"sumpbook/maintenance"
)

const secret = "whsec_c3VtcGJvb2sgdGVzdCBzZWNyZXQgMDE="

func drainMessage(now time.Time) Message {
	a := drainAction()
	a.Why = []maintenance.Reason{{Rule: "drain_cycles", Value: 1, Limit: 1, Unit: "cycles", Source: "test"}}
	a.Record = maintenance.Entry{Act: &maintenance.DrainAct{Pump: "north", To: "jar-3", Amount: maintenance.Amount{Grams: ptr(640.0)}}}
	r := Reminder{Key: Key{a.ID, Opened, 0, "phone"}, Action: a, Since: a.Opens, Attempt: 1}
	return Voice{}.Compose(r, now)
}

func newWebhook(t *testing.T, url, secret string) *Webhook {
	w, err := NewWebhook("phone", url, secret)
	require.NoError(t, err)
	return w
}

func TestWebhookIsSignedAndShapedAsPromised(t *testing.T) {
	var header http.Header
	var body []byte
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		require.Equal(t, http.MethodPost, r.Method)
		header = r.Header
		body, _ = io.ReadAll(r.Body)
		fmt.Fprint(w, "thank\r\nyou")
	}))
	defer srv.Close()
	m := drainMessage(time.Now())
	said, err := newWebhook(t, srv.URL+"/hook", secret).Send(context.Background(), m)
	require.NoError(t, err)
	require.Equal(t, "200 OK thank you", said)

	verifier, err := standardwebhooks.NewWebhook(secret)
	require.NoError(t, err)
	require.NoError(t, verifier.Verify(body, header))
	require.Equal(t, m.Key.ID(), header.Get("webhook-id"))
	require.Equal(t, "application/json", header.Get("Content-Type"))

	var got map[string]any
	require.NoError(t, json.Unmarshal(body, &got))
	require.Equal(t, m.Key.ID(), got["id"])
	require.Equal(t, "opened", got["stage"])
	require.Equal(t, m.Text, got["text"])
	action := got["action"].(map[string]any)
	require.Equal(t, "drain/north/s1", action["id"])
	require.Equal(t, "2026-11-24T13:00:00Z", action["closes"])
	require.Equal(t, map[string]any{"kind": "drain", "pump": "north", "to": "jar-3", "grams": 640.0}, action["record"])
	require.Len(t, got, 4)
}

func TestWebhookWithoutSecretIsNotSigned(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		require.Empty(t, r.Header.Values("webhook-signature"))
		require.Equal(t, "1795694400", r.Header.Get("webhook-timestamp"))
		w.WriteHeader(http.StatusNoContent)
	}))
	defer srv.Close()
	_, err := newWebhook(t, srv.URL, "").Send(context.Background(), drainMessage(time.Unix(1795694400, 0)))
	require.NoError(t, err)
}

// TestWebhookOfWhatIsDone: an action that is gone has lists without members, and no entry.
func TestWebhookOfWhatIsDone(t *testing.T) {
	var body []byte
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ = io.ReadAll(r.Body)
	}))
	defer srv.Close()
	r := Reminder{Key: Key{"drain/north/s1", Done, 0, "phone"}, Action: lastSeen("drain/north/s1", &About{Pump: ptr("north"), Opens: noon, Due: noon})}
	_, err := newWebhook(t, srv.URL, "").Send(context.Background(), Voice{}.Compose(r, noon))
	require.NoError(t, err)
	require.JSONEq(t, `{"id":"`+r.Key.ID()+`","stage":"done","text":"No longer asked for: drain north.\nIt was recorded, set aside, or overtaken: sumpbook next shows what is to do now.\n",
		"action":{"id":"drain/north/s1","do":"drain","pump":"north","vessel":null,"opens":"2026-11-24T12:00:00Z",
		"due":"2026-11-24T12:00:00Z","closes":null,"state":"open","why":[],"record":{},"cautions":[]}}`, string(body))
}

func TestWebhookAnswers(t *testing.T) {
	for name, c := range map[string]struct {
		status    int
		header    string // Retry-After
		permanent bool
		wait      time.Duration
	}{
		"too many":               {429, "120", false, 2 * time.Minute},
		"too many, by date":      {429, "Tue, 24 Nov 2026 12:05:00 GMT", false, 5 * time.Minute},
		"unavailable for a year": {503, "31536000", false, MaxRetryAfter},
		"a date gone by":         {503, "Tue, 24 Nov 2020 12:00:00 GMT", false, 0},
		"server error":           {500, "", false, 0},
		"nonsense to wait":       {503, "soon", false, 0},
		"timeout":                {408, "", false, 0},
		"too early":              {425, "", false, 0},
		"bad request":            {400, "", true, 0},
		"gone":                   {410, "", true, 0},
		"not found, wait":        {404, "60", true, 0},
		"moved":                  {301, "", true, 0},
		"moved for good":         {308, "", true, 0},
		"a portal in between":    {302, "", false, 0},
	} {
		t.Run(name, func(t *testing.T) {
			srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				if c.header != "" {
					w.Header().Set("Retry-After", c.header)
				}
				w.WriteHeader(c.status)
			}))
			defer srv.Close()
			_, err := newWebhook(t, srv.URL, "").Send(context.Background(), drainMessage(noon))
			require.ErrorContains(t, err, fmt.Sprintf("answered %d", c.status))
			if c.permanent {
				require.ErrorIs(t, err, ErrPermanent)
				return
			}
			require.NotErrorIs(t, err, ErrPermanent)
			var after *RetryAfter
			if c.wait > 0 {
				require.ErrorAs(t, err, &after)
				require.Equal(t, c.wait, after.Wait)
			}
		})
	}
}

func TestWebhookFollowsNobodyElsewhere(t *testing.T) {
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		t.Error("the other host was asked")
	}))
	defer other.Close()
	for _, status := range []int{301, 302, 303, 307, 308} {
		srv := httptest.NewServer(http.RedirectHandler(other.URL, status))
		_, err := newWebhook(t, srv.URL, secret).Send(context.Background(), drainMessage(noon))
		require.Error(t, err)
		require.NotContains(t, err.Error(), other.URL)
		srv.Close()
	}
}

// faulty listens and treats each connection badly.
func faulty(t *testing.T, treat func(net.Conn)) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			t.Cleanup(func() { c.Close() })
			go func() {
				defer c.Close()
				treat(c)
			}()
		}
	}()
	return l.Addr().String()
}

func hang(c net.Conn) { _, _ = io.Copy(io.Discard, c) }

func reset(c net.Conn) { _ = c.(*net.TCPConn).SetLinger(0) }

func talk(c net.Conn, begin, more string) {
	if _, err := io.WriteString(c, begin); err != nil {
		return
	}
	more = strings.Repeat(more, 1024)
	for sent := 0; sent < 10<<30; sent += len(more) {
		if _, err := io.WriteString(c, more); err != nil {
			return
		}
	}
}

// asked reads the request before it treats the connection badly.
func asked(treat func(net.Conn)) func(net.Conn) {
	return func(c net.Conn) {
		if r, err := http.ReadRequest(bufio.NewReader(c)); err == nil {
			_, _ = io.Copy(io.Discard, r.Body)
			treat(c)
		}
	}
}

func TestWebhookBoundsWhatItReads(t *testing.T) {
	const late = 9 * time.Second // less than the client's own
	head := "HTTP/1.1 200 OK\r\nContent-Length: 10737418240\r\n\r\n"
	for name, c := range map[string]struct {
		treat func(net.Conn)
		want  string // in the error; empty: delivered
	}{
		"resets":           {asked(reset), "post to 127.0.0.1"},
		"answers 10 GiB":   {asked(func(c net.Conn) { talk(c, head, "oil ") }), ""},
		"endless headers":  {asked(func(c net.Conn) { talk(c, "HTTP/1.1 200 OK\r\n", "X-Oil: hot\r\n") }), "exceeded 65536 bytes"},
		"is no web server": {asked(func(c net.Conn) { io.WriteString(c, "220 post office\r\n") }), "malformed HTTP"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWebhook(t, "http://"+faulty(t, c.treat)+"/hook", "")
			began := time.Now()
			said, err := w.Send(context.Background(), drainMessage(noon))
			require.Less(t, time.Since(began), late)
			require.LessOrEqual(t, len(said), maxDetail+len("…"))
			if c.want == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, c.want)
			require.NotErrorIs(t, err, ErrPermanent)
		})
	}
}

func TestWebhookRefusedConnection(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	l.Close()
	_, err = newWebhook(t, "http://"+l.Addr().String(), "").Send(context.Background(), drainMessage(noon))
	require.ErrorContains(t, err, "connection refused")
	require.True(t, strings.HasPrefix(err.Error(), "post to 127.0.0.1:"), err)
	require.NotContains(t, err.Error(), "Post")
	require.NotErrorIs(t, err, ErrPermanent)
}

func TestWebhookNeverAcceptsBadTLS(t *testing.T) {
	srv := httptest.NewUnstartedServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		t.Error("the reminder was handed to a stranger")
	}))
	srv.Config.ErrorLog = quietLog()
	srv.StartTLS()
	defer srv.Close()
	_, err := newWebhook(t, srv.URL, secret).Send(context.Background(), drainMessage(noon))
	require.ErrorContains(t, err, "certificate")
}

func TestWebhookKeepsItsSecrets(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		user, pass, _ := r.BasicAuth()
		w.WriteHeader(http.StatusForbidden)
		fmt.Fprintf(w, "no %s for %s %s, %s", r.URL.RequestURI(), user, pass, secret)
	}))
	address := strings.Replace(srv.URL, "http://", "http://me:hunter2@", 1) + "/topic/s3cret?key=k3y"
	w := newWebhook(t, address, secret)
	_, refused := w.Send(context.Background(), drainMessage(noon))
	srv.Close()
	_, unreached := w.Send(context.Background(), drainMessage(noon))
	for _, err := range []error{refused, unreached} {
		require.Error(t, err)
		for _, hidden := range []string{"hunter2", "s3cret", "k3y", "c3VtcGJvb2s"} {
			require.NotContains(t, err.Error(), hidden)
		}
	}
	require.ErrorContains(t, refused, "answered 403")
}

func TestWebhookConfiguration(t *testing.T) {
	for address, secret := range map[string]string{
		"": "", "ftp://host/x": "", "http://": "", "host:8080/hook": "", "http://host\x7f/": "", "http://host/": "whsec_%%%",
	} {
		_, err := NewWebhook("phone", address, secret)
		require.ErrorContains(t, err, "channel phone: ", address)
		require.NotContains(t, err.Error(), "%%%")
	}
}
