package notify

import (
	"bufio"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/godbus/dbus/v5"
	"github.com/stretchr/testify/require"
)

// started runs a program until the test ends.
func started(t *testing.T, c *exec.Cmd) {
	t.Helper()
	require.NoError(t, c.Start())
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
}

// startScreen shows notifications on a screen that nobody sees, by a server of others.
func startScreen(t *testing.T, bus string) (conn *dbus.Conn) {
	t.Helper()
	server, screen := program(t, "dunst"), exec.Command(program(t, "Xvfb"), "-displayfd", "3", "-screen", "0", "800x600x24", "-nolisten", "tcp")
	number, tell, err := os.Pipe()
	require.NoError(t, err)
	defer number.Close()
	screen.ExtraFiles = []*os.File{tell}
	started(t, screen)
	require.NoError(t, tell.Close())
	display, err := bufio.NewReader(number).ReadString('\n') // told when it is ready
	require.NoError(t, err)

	shows := exec.Command(server)
	shows.Env = append(os.Environ(), "DISPLAY=:"+strings.TrimSpace(display), "DBUS_SESSION_BUS_ADDRESS="+bus, "HOME="+t.TempDir())
	started(t, shows)
	conn, err = dbus.Connect(bus)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	require.Eventually(t, func() (up bool) {
		err := conn.BusObject().Call("org.freedesktop.DBus.NameHasOwner", 0, "org.freedesktop.Notifications").Store(&up)
		return err == nil && up
	}, 10*time.Second, 20*time.Millisecond, "the server does not come to the bus")
	return conn
}

func TestDesktopOnAServerOfOthers(t *testing.T) {
	bus, _ := startBus(t)
	conn := startScreen(t, bus)
	d := newDesktop(t, bus)
	other := drainAt(Opened, noon)
	other.Key.Action, other.Subject, other.Text = "drain/south/s2", "Drain south", "Careful: <b>hot</b> & wet"
	other.ID = other.Key.ID()
	for _, m := range []Message{drainAt(Opened, noon), other, drainAt(Closing, noon)} {
		_, err := d.Send(t.Context(), m)
		require.NoError(t, err)
	}
	server := conn.Object("org.freedesktop.Notifications", "/org/freedesktop/Notifications")
	count, err := server.GetProperty("org.dunstproject.cmd0.displayedLength")
	require.NoError(t, err)
	require.EqualValues(t, 2, count.Value(), "the drain's second stage took the place of its first")

	require.NoError(t, server.Call("org.dunstproject.cmd0.NotificationCloseAll", 0).Err)
	var closed []map[string]dbus.Variant
	require.Eventually(t, func() bool {
		err := server.Call("org.dunstproject.cmd0.NotificationListHistory", 0).Store(&closed)
		return err == nil && len(closed) == 2
	}, 10*time.Second, 20*time.Millisecond)
	read := map[any]any{}
	for _, one := range closed {
		read[one["summary"].Value()] = one["message"].Value()
	}
	closing := drainAt(Closing, noon)
	require.Equal(t, map[any]any{
		closing.Subject: "<b>" + closing.Subject + "</b>\n" + closing.below(),
		"Drain south":   "<b>Drain south</b>\nCareful: &lt;b&gt;hot&lt;/b&gt; &amp; wet",
	}, read, "this server reads markup, and finds none of ours")
}
