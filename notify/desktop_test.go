package notify

import (
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/godbus/dbus/v5"
	"github.com/stretchr/testify/require"
)

// startBus runs a real session bus of the test's own, with no service on it.
func startBus(t *testing.T) (address string, stop func()) {
	t.Helper()
	daemon, dir := program(t, "dbus-daemon"), t.TempDir()
	socket := filepath.Join(dir, "bus")
	config := filepath.Join(dir, "bus.conf")
	require.NoError(t, os.WriteFile(config, fmt.Appendf(nil, `<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN" "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>session</type><listen>unix:path=%s</listen><auth>EXTERNAL</auth>
<policy context="default"><allow send_destination="*"/><allow receive_sender="*"/><allow own="*"/></policy></busconfig>`, socket), 0o600))
	c := exec.Command(daemon, "--config-file="+config, "--nofork", "--nopidfile")
	require.NoError(t, c.Start())
	stop = sync.OnceFunc(func() { _ = c.Process.Kill(); _ = c.Wait() })
	t.Cleanup(stop)
	address = "unix:path=" + socket
	require.Eventually(t, func() bool {
		conn, err := dbus.Connect(address)
		if err == nil {
			_ = conn.Close()
		}
		return err == nil
	}, 10*time.Second, 20*time.Millisecond, "no bus at %s", address)
	return address, stop
}

// A posted is one notification as a service was asked to show it.
type posted struct {
	App, Icon, Summary, Body string
	Replaces                 uint32
	Actions                  []string
	Urgency                  any
	Expires                  int32
}

// A noticeBoard is a service that shows notifications on a bus.
type noticeBoard struct {
	able  []string
	no    *dbus.Error   // it refuses
	stuck chan struct{} // it waits until this is closed

	mu     sync.Mutex
	number uint32
	all    []posted
}

func (b *noticeBoard) GetCapabilities() ([]string, *dbus.Error) { return b.able, nil }

func (b *noticeBoard) Notify(app string, replaces uint32, icon, summary, body string, actions []string, hints map[string]dbus.Variant, expires int32) (uint32, *dbus.Error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.stuck != nil {
		<-b.stuck
	}
	if b.no != nil {
		return 0, b.no
	}
	b.all = append(b.all, posted{app, icon, summary, body, replaces, actions, hints["urgency"].Value(), expires})
	if replaces != 0 {
		return replaces, nil
	}
	b.number++
	return b.number, nil
}

// answers sets how it answers from now on.
func (b *noticeBoard) answers(no *dbus.Error, stuck chan struct{}) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.no, b.stuck = no, stuck
}

func (b *noticeBoard) last(t *testing.T) posted {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	require.NotEmpty(t, b.all)
	return b.all[len(b.all)-1]
}

// hangUp puts a notice board on a bus; takeDown removes it.
func hangUp(t *testing.T, address string, b *noticeBoard) (takeDown func()) {
	t.Helper()
	conn, err := dbus.Connect(address)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	require.NoError(t, conn.Export(b, "/org/freedesktop/Notifications", "org.freedesktop.Notifications"))
	reply, err := conn.RequestName("org.freedesktop.Notifications", dbus.NameFlagDoNotQueue)
	require.NoError(t, err)
	require.Equal(t, dbus.RequestNameReplyPrimaryOwner, reply)
	return func() {
		_, err := conn.ReleaseName("org.freedesktop.Notifications")
		require.NoError(t, err)
	}
}

func newDesktop(t *testing.T, bus string) *Desktop {
	t.Helper()
	d, err := NewDesktop("desk", bus)
	require.NoError(t, err)
	return d
}

// drainAt is the message of a stage of the drain.
func drainAt(stage Stage, now time.Time) Message {
	m := drainMessage(now)
	r := Reminder{Key: Key{m.Key.Action, stage, 0, "desk"}, Action: m.Action, Since: now, Attempt: 1}
	return Voice{}.Compose(r, now)
}

// severalAt is a message of the drain and of something else.
func severalAt(now time.Time) Message {
	of := func(action string) Reminder {
		a := drainMessage(now).Action
		a.ID = action
		return Reminder{Key: Key{action, Opened, 0, "desk"}, Action: a, Since: now, Attempt: 1}
	}
	r := of("drain/north/s1")
	r.With = []Reminder{of("drain/south/s2")}
	return Voice{}.Compose(r, now)
}

func TestDesktopShowsAndReplaces(t *testing.T) {
	address, _ := startBus(t)
	board := &noticeBoard{able: []string{"body", "actions"}}
	takeDown := hangUp(t, address, board)
	d := newDesktop(t, address)
	require.Equal(t, "desk", d.Name())
	send := func(m Message) posted {
		t.Helper()
		_, err := d.Send(t.Context(), m)
		require.NoError(t, err)
		return board.last(t)
	}
	m := drainAt(Opened, noon)
	require.Equal(t, posted{App: "sumpbook", Summary: m.Subject, Body: bodyFor(nil, m), Actions: []string{}, Urgency: byte(2), Expires: -1}, send(m))
	require.NotContains(t, board.last(t).Body, m.Subject, "said once")
	require.NotEmpty(t, board.last(t).Body)

	other := m
	other.Key.Action = "drain/south/s2"
	other.ID = other.Key.ID()
	require.Zero(t, send(other).Replaces, "another action is not replaced")
	require.Zero(t, send(severalAt(noon)).Replaces, "a message of several takes no place")
	require.EqualValues(t, 1, send(drainAt(Closing, noon)).Replaces, "the same action is")
	done := send(drainAt(Done, noon))
	require.EqualValues(t, 1, done.Replaces)
	require.Equal(t, byte(0), done.Urgency)
	require.Zero(t, send(m).Replaces, "what is over is forgotten")

	takeDown()
	fresh := &noticeBoard{}
	hangUp(t, address, fresh)
	_, err := d.Send(t.Context(), m)
	require.NoError(t, err)
	require.Zero(t, fresh.last(t).Replaces, "the numbers of one service are not those of another")
}

// Where the service reads markup, ours is shown and not read; where it does not, it is left
// as it is.
func TestDesktopEscapesItsBody(t *testing.T) {
	for able, want := range map[string]string{
		"body-markup": "Careful: &lt;b&gt;hot&lt;/b&gt; &amp; &#34;wet&#34;",
		"body":        `Careful: <b>hot</b> & "wet"`,
	} {
		address, _ := startBus(t)
		board := &noticeBoard{able: []string{able}}
		hangUp(t, address, board)
		m := drainAt(Opened, noon)
		m.Subject, m.Text = "a <i>\x1b\nb", "Careful: <b>hot</b> & \"wet\"\x00\xff\n"
		_, err := newDesktop(t, address).Send(t.Context(), m)
		require.NoError(t, err)
		require.Equal(t, want, board.last(t).Body)
		require.Equal(t, "a <i> b", board.last(t).Summary, "a summary has no markup")
	}
}

func TestDesktopFailures(t *testing.T) {
	address, stop := startBus(t)
	d := newDesktop(t, address)
	fails := func(says string, permanent bool) {
		t.Helper()
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		_, err := d.Send(ctx, drainAt(Opened, noon))
		require.ErrorContains(t, err, "notify the desktop: ")
		require.ErrorContains(t, err, says)
		if permanent {
			require.ErrorIs(t, err, ErrPermanent)
		} else {
			require.NotErrorIs(t, err, ErrPermanent)
		}
	}
	fails("org.freedesktop.DBus.Error.ServiceUnknown: The name org.freedesktop.Notifications was not provided", false)
	board := &noticeBoard{}
	hangUp(t, address, board)
	for name, permanent := range map[string]bool{
		"org.freedesktop.Notifications.MaxNotificationsExceeded": false, "org.freedesktop.DBus.Error.NoReply": false,
		"org.freedesktop.DBus.Error.AccessDenied": true, "org.freedesktop.DBus.Error.InvalidArgs": true,
	} {
		board.answers(dbus.NewError(name, []any{"too many\x1b\nat once"}), nil)
		fails(name+": too many at once", permanent)
	}
	stuck := make(chan struct{})
	board.answers(nil, stuck)
	fails("context deadline exceeded", false)
	close(stuck)
	stop()
	fails("session bus of user ", false)
}

func TestDesktopEndsWithItsContext(t *testing.T) {
	for name, treat := range map[string]func(net.Conn){
		"hangs":              hang,
		"hangs up":           func(net.Conn) {},
		"is no bus":          func(c net.Conn) { _, _ = io.WriteString(c, "220 post office\r\n"); hang(c) },
		"talks without end":  func(c net.Conn) { talk(c, "", "REJECTED ") },
		"lets nobody in":     func(c net.Conn) { answerConnect(c, []byte("REJECTED ANONYMOUS\r\n")); hang(c) },
		"greets, then hangs": func(c net.Conn) { greet(c); hang(c) },
		"greets, then raves": func(c net.Conn) { greet(c); talk(c, "", "oil ") },
		"greets, and leaves": greet,
		"greets, says a word": func(c net.Conn) {
			greet(c)
			_, _ = io.WriteString(c, "l\x02\x01\x01\xff\xff\xff\xff\x01\x00\x00\x00")
			hang(c)
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			socket := filepath.Join(t.TempDir(), "bus")
			l, err := net.Listen("unix", socket)
			require.NoError(t, err)
			defer l.Close()
			go func() {
				for {
					c, err := l.Accept()
					if err != nil {
						return
					}
					go func() { defer c.Close(); treat(c) }()
				}
			}()
			ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
			defer cancel()
			began := time.Now()
			_, err = newDesktop(t, "unix:path="+socket).Send(ctx, drainAt(Opened, noon))
			require.Less(t, time.Since(began), 5*time.Second)
			require.ErrorContains(t, err, "notify the desktop: ")
			require.NotErrorIs(t, err, ErrPermanent)
			require.LessOrEqual(t, len(err.Error()), maxDetail+60)
		})
	}
}

// greet lets a client in, as a bus does.
func greet(c net.Conn) {
	for _, answer := range []string{"REJECTED EXTERNAL\r\n", "OK 0123456789abcdef0123456789abcdef\r\n", "ERROR\r\n", ""} {
		answerConnect(c, []byte(answer))
	}
}

func TestDesktopFindsTheSession(t *testing.T) {
	address, _ := startBus(t)
	board := &noticeBoard{}
	takeDown := hangUp(t, address, board)
	d := newDesktop(t, "")
	t.Setenv("DBUS_SESSION_BUS_ADDRESS", address+",guid=0123456789abcdef0123456789abcdef")
	_, err := d.Send(t.Context(), drainAt(Opened, noon))
	require.NoError(t, err)
	takeDown()
	board = &noticeBoard{}
	hangUp(t, address, board)
	t.Setenv("DBUS_SESSION_BUS_ADDRESS", "autolaunch:")
	t.Setenv("XDG_RUNTIME_DIR", filepath.Dir(address[len("unix:path="):]))
	_, err = d.Send(t.Context(), drainAt(Opened, noon))
	require.NoError(t, err, "a bus that would have to be started is left alone")
	require.Contains(t, board.last(t).Summary, "Drain north")
	t.Setenv("XDG_RUNTIME_DIR", t.TempDir())
	_, err = d.Send(t.Context(), drainAt(Opened, noon))
	require.ErrorContains(t, err, "no such file or directory")
}

func TestDesktopConfiguration(t *testing.T) {
	for _, bus := range []string{"/run/user/1000/bus", "tcp:host=127.0.0.1,port=1", "unixexec:path=/bin/sh", "autolaunch:", "unix:path=bus", "unix:path=/a;tcp:host=x"} {
		_, err := NewDesktop("desk", bus)
		require.EqualError(t, err, "channel desk: bus is not unix:path=/… or unix:abstract=…", bus)
	}
}
