package daemon

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
	"sumpbook/notify"
)

// Everything is run once with secrets set, against other ends that refuse, repeat what they
// were sent, or are not there: no secret comes to light in what is logged, kept, answered
// or backed up.
func TestNoSecretComesToLight(t *testing.T) {
	key := "whsec_" + base64.StdEncoding.EncodeToString([]byte("0123456789abcdef-signing-key"))
	secrets := []string{key, key[len("whsec_"):], "path-secret-1", "query-secret-2", "mail-secret-3", "broker-secret-4", "topic-secret-5", "push-secret-6-invented", phoneAuth}
	echo := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.WriteHeader(http.StatusInternalServerError)
		fmt.Fprintf(w, "no: %s %v", r.URL, r.Header)
	}))
	defer echo.Close()
	gone := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	watts := "/w"

	s := quickSettings(t.TempDir())
	var log safeBuffer
	s.Log = slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	s.Config.Listen = "127.0.0.1:0"
	hook := func(name, host string) config.Channel {
		return config.Channel{Name: name, Type: "webhook", URL: "http://" + host + "/path-secret-1?token=query-secret-2", Secret: config.Secret(key)}
	}
	s.Config.Channels = []config.Channel{
		hook("echo", echo.Listener.Addr().String()), hook("gone", gone),
		{Name: "mail", Type: "smtp", Host: "127.0.0.1", Port: rudeMail(t), From: "pump@example.org", To: []string{"me@example.org"}, User: "pump", Password: "mail-secret-3", TLS: notify.StartTLS},
		{Name: "shed", Type: "mqtt", Broker: "mqtt://" + gone, Topic: "shed/reminders", Username: "pump", Password: "topic-secret-5"},
		{Name: "phones", Type: "webpush", Subject: "mailto:pump@example.org", LocalHosts: []string{"127.0.0.1"}},
		{Name: "bell", Type: "program", Command: []string{"/bin/sh", "-c", "env; exit 3"}},
	}
	s.Config.Sources = []config.Source{{Pump: "north", Type: "mqtt", Broker: "mqtt://" + gone, Topic: "shed/north", Power: &watts, Username: "pump", Password: "broker-secret-4", Signals: s.Config.Signals}}
	stopped(t, s.Data)
	t.Setenv("SUMPBOOK_SECRET", "topic-secret-5")
	secure := httptest.NewUnstartedServer(http.NotFoundHandler())
	secure.Config.ErrorLog = quietLog()
	secure.StartTLS()
	defer secure.Close()
	phone := fmt.Sprintf(`{"endpoint":"https://%s/push-secret-6-invented","keys":{"p256dh":%q,"auth":%q}}`, secure.Listener.Addr(), phoneKey, phoneAuth)
	addr := serving(t, s)
	subscribed, err := http.Post("http://"+addr+"/api/v1/push", "application/json", strings.NewReader(phone))
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, subscribed.StatusCode)
	require.NoError(t, subscribed.Body.Close())
	kept, err := os.ReadFile(filepath.Join(s.Data, pushKey))
	require.NoError(t, err)
	secrets = append(secrets, strings.TrimSpace(string(kept)))

	ctx := t.Context()
	c, err := Connect(ctx, s)
	require.NoError(t, err)
	var seen bytes.Buffer
	result := func(v any, err error) {
		b, _ := json.Marshal(v)
		fmt.Fprintf(&seen, "%s %v\n", b, err)
	}
	tests, err := c.NotifyTest(ctx, "")
	require.NoError(t, err)
	require.Len(t, tests, 6)
	for _, one := range tests {
		require.False(t, one.OK, one.Said)
	}
	result(tests, nil)
	require.Eventually(t, func() bool { // the drain of a book that has just stopped is told to each
		v, err := c.Notices(ctx, 1000)
		require.NoError(t, err)
		failed := map[string]bool{}
		for _, n := range v.Notices {
			if !n.Test && n.Outcome != notify.Attempted {
				failed[n.Key.Channel] = true
			}
		}
		return len(failed) == 6
	}, 20*time.Second, 20*time.Millisecond)
	v, err := c.Notices(ctx, 1000)
	result(v, err)
	findings, err := c.Doctor(ctx)
	result(findings, err)
	_, err = c.Record(ctx, []maintenance.Entry{entry(t, time.Time{}, `{"kind":"fill","pump":"west","from":"can-1"}`)}, false)
	result(nil, err)
	_, err = c.Undo(ctx, "nothing", "me", false)
	result(nil, err)
	_, err = c.NotifyTest(ctx, "pager")
	result(nil, err)
	why, err := c.WhyNot(ctx, "fill", Moment{})
	result(why, err)
	backup := filepath.Join(t.TempDir(), "copy.db")
	b, err := c.Backup(ctx, backup)
	result(b, err)
	require.NoError(t, c.Export(ctx, &seen))
	for _, r := range allRoutes(t) {
		if r.method == "GET" && !strings.HasPrefix(r.path, "/control/") {
			answer, err := http.Get("http://" + addr + r.path)
			require.NoError(t, err)
			_, err = io.Copy(&seen, answer.Body)
			require.NoError(t, err)
			require.NoError(t, answer.Body.Close())
		}
	}
	seen.WriteString(log.String())
	for _, path := range []string{backup, BookPath(s.Data)} {
		stored, err := os.ReadFile(path)
		require.NoError(t, err)
		seen.Write(stored)
	}
	fmt.Fprintf(&seen, "%v %+v", s.Config.Channels[0].Secret, s.Config.Sources)
	for _, says := range []string{"500", "connection refused", "not connected to", "STARTTLS", "certificate", "exit status 3"} {
		require.Contains(t, seen.String(), says, "what went wrong is told")
	}
	for _, secret := range secrets {
		for _, form := range []string{secret, url.QueryEscape(secret), base64.StdEncoding.EncodeToString([]byte(secret)), base64.StdEncoding.EncodeToString([]byte("\x00pump\x00" + secret))} {
			if text := seen.String(); strings.Contains(text, form) {
				i := strings.Index(text, form)
				t.Errorf("%s: …%q…", secret, text[max(0, i-200):min(len(text), i+100)])
			}
		}
	}
	require.NotContains(t, log.String()+seen.String(), "whsec_")
}

// rudeMail is a mail server that repeats what it is told and refuses it.
func rudeMail(t *testing.T) (port int) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go refuseMail(c)
		}
	}()
	return l.Addr().(*net.TCPAddr).Port
}

func refuseMail(c net.Conn) {
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(20 * time.Second))
	fmt.Fprint(c, "220 here\r\n")
	buf := make([]byte, 4096)
	for {
		n, err := c.Read(buf)
		if err != nil {
			return
		}
		said := strings.TrimSpace(string(buf[:n]))
		switch {
		case strings.HasPrefix(said, "EHLO"):
			fmt.Fprint(c, "250-here\r\n250 AUTH PLAIN LOGIN\r\n")
		case strings.HasPrefix(said, "QUIT"):
			fmt.Fprint(c, "221 bye\r\n")
			return
		default:
			fmt.Fprintf(c, "535 not with %s\r\n", said)
		}
	}
}
