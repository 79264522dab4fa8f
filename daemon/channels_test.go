package daemon

import (
	"fmt"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/godbus/dbus/v5"
	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/notify"
)

// A board shows notifications on a desktop's bus.
type board struct {
	mu   sync.Mutex
	says []string
}

func (b *board) GetCapabilities() ([]string, *dbus.Error) { return []string{"body"}, nil }

func (b *board) Notify(_ string, _ uint32, _, summary, _ string, _ []string, _ map[string]dbus.Variant, _ int32) (uint32, *dbus.Error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.says = append(b.says, summary)
	return uint32(len(b.says)), nil
}

func (b *board) shows(text string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return strings.Contains(strings.Join(b.says, "\n"), text)
}

// startDesktop is a session bus of the test's own with a board on it.
func startDesktop(t *testing.T) (address string, b *board) {
	t.Helper()
	daemon, dir := needs(t, "dbus-daemon"), t.TempDir()
	socket, conf := filepath.Join(dir, "bus"), filepath.Join(dir, "bus.conf")
	require.NoError(t, os.WriteFile(conf, fmt.Appendf(nil, `<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN" "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>session</type><listen>unix:path=%s</listen><auth>EXTERNAL</auth>
<policy context="default"><allow send_destination="*"/><allow receive_sender="*"/><allow own="*"/></policy></busconfig>`, socket), 0o600))
	run(t, daemon, "--config-file="+conf, "--nofork", "--nopidfile")
	address, b = "unix:path="+socket, &board{}
	var conn *dbus.Conn
	require.Eventually(t, func() (up bool) {
		var err error
		conn, err = dbus.Connect(address)
		return err == nil
	}, 10*time.Second, 20*time.Millisecond, "no bus at %s", address)
	t.Cleanup(func() { _ = conn.Close() })
	require.NoError(t, conn.Export(b, "/org/freedesktop/Notifications", "org.freedesktop.Notifications"))
	_, err := conn.RequestName("org.freedesktop.Notifications", dbus.NameFlagDoNotQueue)
	require.NoError(t, err)
	return address, b
}

// A reminder goes out on a channel of each type at once, each with its real other end; so
// does a test.
func TestAChannelOfEachType(t *testing.T) {
	hook := &receiver{}
	server := httptest.NewServer(hook)
	defer server.Close()
	broker := startBroker(t)
	port, letters := startMail(t)
	bus, screen := startDesktop(t)
	rung := filepath.Join(t.TempDir(), "rung")
	s := quickSettings(t.TempDir())
	s.Log = nil
	s.Config.Channels = []config.Channel{
		{Name: "hook", Type: "webhook", URL: server.URL},
		{Name: "mail", Type: "smtp", Host: "127.0.0.1", Port: port, From: "pump@example.org", To: []string{"me@example.org"}, TLS: notify.Opportunistic},
		{Name: "shed", Type: "mqtt", Broker: "mqtt://" + broker, Topic: "shed/reminders"},
		{Name: "bell", Type: "program", Command: []string{"/usr/bin/tee", "-a", rung}},
		{Name: "desk", Type: "desktop", Bus: bus},
		{Name: "phones", Type: "webpush", Subject: "mailto:pump@example.org"},
	}
	stopped(t, s.Data) // a pump that has just stopped: the drain is asked for
	serving(t, s)
	client, err := Connect(t.Context(), s)
	require.NoError(t, err)
	results, err := client.NotifyTest(t.Context(), "")
	require.NoError(t, err)
	require.Len(t, results, len(s.Config.Channels))
	for _, r := range results {
		require.Equal(t, r.Channel != "phones", r.OK, "%s: %s", r.Channel, r.Said)
	}
	require.Equal(t, "push: no phone has asked for reminders yet", results[5].Said)
	require.True(t, hook.has("TEST"))
	require.True(t, screen.shows("TEST from sumpbook"))

	const asked = `"stage":"opened","text":"Drain north`
	require.Eventually(t, func() bool {
		rang, _ := os.ReadFile(rung)
		posted, _ := filepath.Glob(filepath.Join(letters, "new", "*"))
		return hook.has(asked) && strings.Contains(string(rang), asked) && len(posted) > 1 && screen.shows("Drain north")
	}, 20*time.Second, 20*time.Millisecond)
	require.Eventually(t, func() bool {
		v, err := client.Notices(t.Context(), 1000)
		require.NoError(t, err)
		for _, n := range v.Notices {
			if n.Key.Channel == "shed" && n.Outcome == notify.Delivered && !n.Test && strings.HasPrefix(n.Key.Action, "drain/") {
				return strings.HasPrefix(n.Detail, "taken")
			}
		}
		return false
	}, 20*time.Second, 20*time.Millisecond)
}
