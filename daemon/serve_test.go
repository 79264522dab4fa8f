package daemon

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
)

func init() {
	roles["serve"], roles["command"], roles["hold"] = serveRole, commandRole, holdRole
}

const nameVariable = "SUMPBOOK_DAEMON_NAME"

func quickSettings(data string) Settings {
	c := config.Default()
	c.Timezone, c.Listen = time.UTC, "127.0.0.1:0"
	return Settings{Data: data, Config: c, Log: slog.New(slog.NewTextHandler(os.Stderr, nil))}
}

// serveRole is a daemon that says its address, and ends on SIGTERM.
func serveRole(data string) error {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	return Serve(ctx, quickSettings(data), func(addr string) { fmt.Println(addr) })
}

// commandRole is a command that records one note and says so.
func commandRole(data string) error {
	ctx := context.Background()
	c, err := Connect(ctx, quickSettings(data))
	if err != nil {
		return err
	}
	note := maintenance.Entry{ID: os.Getenv(nameVariable), Act: &maintenance.NoteAct{}, Note: "x"}
	if _, err := c.Record(ctx, []maintenance.Entry{note}, false); err != nil {
		return errors.Join(err, c.Close())
	}
	fmt.Println(note.ID)
	return c.Close()
}

// holdRole keeps the book until its input ends.
func holdRole(data string) error {
	b, err := OpenBook(BookPath(data), maintenance.DefaultRules())
	if err != nil {
		return err
	}
	fmt.Println("held")
	_, err = io.Copy(io.Discard, os.Stdin)
	return errors.Join(err, b.Close())
}

// A child is a process of ours and what it has said.
type child struct {
	*exec.Cmd
	says *bufio.Reader
	errs *safeBuffer
}

// start starts a child and waits for its first line.
func start(t *testing.T, role, data string) (c child, line string) {
	t.Helper()
	cmd := as(t, role, data)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	_, err = cmd.StdinPipe() // open until the child has ended
	require.NoError(t, err)
	c = child{cmd, bufio.NewReader(out), &safeBuffer{}}
	cmd.Stderr = c.errs
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	line, _ = c.says.ReadString('\n')
	return c, strings.TrimSpace(line)
}

// serving runs a daemon here until the test ends.
func serving(t *testing.T, s Settings) (addr string) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	ready, ended := make(chan string, 1), make(chan error, 1)
	go func() { ended <- Serve(ctx, s, func(a string) { ready <- a }) }()
	select {
	case addr = <-ready:
	case err := <-ended:
		require.NoError(t, err)
	}
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-ended)
	})
	return addr
}

func serveOnce(s Settings) error {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	return Serve(ctx, s, func(string) { cancel() })
}

func TestServeSaysWhatStopsIt(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	long := filepath.Join(t.TempDir(), strings.Repeat("x", 120))

	for name, c := range map[string]struct {
		change func(s *Settings)
		says   []string
	}{
		"PortTaken":     {func(s *Settings) { s.Config.Listen = taken.Addr().String() }, []string{"address already in use", taken.Addr().String()}},
		"LongPath":      {func(s *Settings) { s.Data = long }, []string{"too long", "at most " + strconv.Itoa(maxSocketPath), "shorter"}},
		"NoFolder":      {func(s *Settings) { s.Data = file }, []string{"make the data folder", "not a directory"}},
		"BelowAFile":    {func(s *Settings) { s.Data = filepath.Join(file, "x") }, []string{"make the data folder"}},
		"NotABook":      {func(s *Settings) { spoil(t, s.Data) }, []string{"open the book"}},
		"NotOurAddress": {func(s *Settings) { s.Config.Listen = "192.0.2.1:1" }, []string{"192.0.2.1"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := quickSettings(t.TempDir())
			s.Log = nil
			c.change(&s)
			err := serveOnce(s)
			for _, says := range c.says {
				require.ErrorContains(t, err, says)
			}
			if name == "NotABook" || strings.Contains(name, "File") || name == "NoFolder" {
				return
			}
			client, err := Connect(t.Context(), s) // the book is free again, and commands need no socket
			require.NoError(t, err)
			require.False(t, client.Daemon())
			require.NoError(t, client.Close())
		})
	}
}

func spoil(t *testing.T, data string) {
	t.Helper()
	require.NoError(t, os.WriteFile(BookPath(data), bytes.Repeat([]byte("no book "), 4096), 0o600))
}

func TestAReadOnlyFolderIsRead(t *testing.T) {
	data := smallDisk(t, "2M")
	ctx := context.Background()
	s := quickSettings(data)
	k, err := open(s)
	require.NoError(t, err)
	_, err = k.book.Record(ctx, day0.Add(time.Hour), opening(t))
	require.NoError(t, err)
	require.NoError(t, k.book.Close())
	require.NoError(t, exec.Command("mount", "-o", "remount,ro", data).Run())

	require.ErrorContains(t, serveOnce(s), "cannot be written")
	c, err := Connect(ctx, s)
	require.NoError(t, err)
	v, err := c.State(ctx, Moment{})
	require.NoError(t, err)
	require.Len(t, v.Pumps, 1)
	_, err = c.Record(ctx, []maintenance.Entry{entry(t, day0, `{"kind":"note","note":"x"}`)}, true)
	require.NoError(t, err)
	_, err = c.Record(ctx, []maintenance.Entry{entry(t, day0, `{"kind":"note","note":"x"}`)}, false)
	var p *Problem
	require.ErrorAs(t, err, &p)
	require.Equal(t, http.StatusServiceUnavailable, p.Status)
	require.Contains(t, p.Detail, "cannot be written")
	verdict, err := c.Verify(ctx)
	require.NoError(t, err)
	require.True(t, verdict.OK)
	require.NoError(t, c.Close())

	other := quickSettings(filepath.Join(data, "none"))
	_, err = Connect(ctx, other)
	require.ErrorIs(t, err, syscall.EROFS)
}

// A command finds the daemon, or has the book, or knows within two seconds who has it.
func TestConnect(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	t.Run("Daemon", func(t *testing.T) {
		s := quickSettings(t.TempDir())
		s.Log = nil
		serving(t, s)
		c, err := Connect(ctx, s)
		require.NoError(t, err)
		require.True(t, c.Daemon())
		_, err = c.Record(ctx, opening(t), false)
		require.NoError(t, err)
		require.NoError(t, c.Close())
		info, err := os.Stat(filepath.Join(s.Data, socketFile))
		require.NoError(t, err)
		require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
		err = serveOnce(s)
		require.ErrorIs(t, err, journal.ErrLocked)
		require.ErrorContains(t, err, strconv.Itoa(os.Getpid()))
	})
	t.Run("StaleSocket", func(t *testing.T) {
		s := quickSettings(t.TempDir())
		s.Log = nil
		l, err := net.Listen("unix", filepath.Join(s.Data, socketFile))
		require.NoError(t, err)
		l.(*net.UnixListener).SetUnlinkOnClose(false)
		require.NoError(t, l.Close())
		c, err := Connect(ctx, s)
		require.NoError(t, err)
		require.False(t, c.Daemon())
		require.NoError(t, c.Close())
		require.NoError(t, serveOnce(s))
	})
	t.Run("HeldByAnother", func(t *testing.T) {
		s := quickSettings(t.TempDir())
		holder, _ := start(t, "hold", s.Data)
		began := time.Now()
		_, err := Connect(ctx, s)
		require.ErrorIs(t, err, journal.ErrLocked)
		require.ErrorContains(t, err, fmt.Sprint("process ", holder.Process.Pid))
		require.Less(t, time.Since(began), 2*time.Second)
	})
	t.Run("HeldByOneThatHangs", func(t *testing.T) {
		s := quickSettings(t.TempDir())
		holder, _ := start(t, "serve", s.Data)
		require.NoError(t, holder.Process.Signal(syscall.SIGSTOP))
		require.Eventually(t, func() bool {
			b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", holder.Process.Pid))
			return err == nil && strings.Contains(string(b), ") T ")
		}, 5*time.Second, time.Millisecond)
		began := time.Now()
		_, err := Connect(ctx, s)
		require.ErrorContains(t, err, fmt.Sprint("process ", holder.Process.Pid))
		require.Less(t, time.Since(began), 2500*time.Millisecond)
		require.NoError(t, holder.Process.Signal(syscall.SIGCONT))
		c, err := Connect(ctx, s)
		require.NoError(t, err)
		require.True(t, c.Daemon())
	})
	t.Run("WhileItStarts", func(t *testing.T) {
		s := quickSettings(t.TempDir())
		for range 5 {
			d, _ := start(t, "serve", s.Data)
			for {
				c, err := Connect(ctx, s)
				require.NoError(t, err)
				if c.Daemon() {
					break
				}
				require.NoError(t, c.Close())
			}
			require.NoError(t, d.Process.Signal(syscall.SIGTERM))
			c, err := Connect(ctx, s) // while it ends
			if err == nil {
				require.NoError(t, c.Close())
			} else {
				require.ErrorContains(t, err, "process")
			}
			require.NoError(t, d.Wait(), d.errs.String())
		}
	})
}

// Commands at once, with a daemon, with two, with none, some killed: each entry that was
// acknowledged is there once.
func TestCommandsAtOnce(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	var kept sync.Map
	n := atomic.Int64{}
	commands := func(t *testing.T) (failed int64) {
		var all sync.WaitGroup
		var bad atomic.Int64
		for range 8 {
			all.Go(func() {
				name := fmt.Sprintf("n%d", n.Add(1))
				cmd := as(t, "command", data)
				cmd.Env = append(cmd.Env, nameVariable+"="+name)
				var errs bytes.Buffer
				cmd.Stderr = &errs
				began := time.Now()
				out, err := cmd.Output()
				if strings.TrimSpace(string(out)) == name {
					kept.Store(name, true)
				}
				if err != nil {
					bad.Add(1)
					if !strings.Contains(errs.String(), "process") && !strings.Contains(errs.String(), "went away") {
						t.Errorf("it failed without a reason: %s", errs.String())
					}
				}
				if took := time.Since(began); took > 6*time.Second {
					t.Errorf("it took %v", took)
				}
			})
		}
		all.Wait()
		return bad.Load()
	}
	t.Run("NoDaemon", func(t *testing.T) { commands(t) })
	t.Run("OneDaemon", func(t *testing.T) {
		d, addr := start(t, "serve", data)
		require.NotEmpty(t, addr, d.errs.String())
		require.Zero(t, commands(t))
		require.NoError(t, d.Process.Signal(syscall.SIGTERM))
		require.NoError(t, d.Wait())
	})
	t.Run("KilledAtRandom", func(t *testing.T) {
		for range rounds(t, 2) {
			d, _ := start(t, "serve", data)
			second, line := start(t, "serve", data)
			require.Empty(t, line)
			require.Error(t, second.Wait())
			require.Contains(t, second.errs.String(), "held by another process")
			time.AfterFunc(time.Duration(rand.IntN(60))*time.Millisecond, func() { _ = d.Process.Kill() })
			commands(t)
			_ = d.Wait()
		}
	})
	b := openBook(t, BookPath(data))
	defer func() { require.NoError(t, b.Close()) }()
	requireWhole(t, b)
	_, err := b.journal.Verify(t.Context(), nil)
	require.NoError(t, err)
	count := 0
	kept.Range(func(name, _ any) bool {
		count++
		_, found, err := b.journal.Lookup(name.(string))
		require.NoError(t, err)
		require.True(t, found, "%s was acknowledged", name)
		return true
	})
	require.GreaterOrEqual(t, count, 10)
}

// rounds is how often a random test is tried: SUMPBOOK_ROUNDS before a release.
func rounds(t testing.TB, everyday int) int {
	if s := os.Getenv("SUMPBOOK_ROUNDS"); s != "" {
		n, err := strconv.Atoi(s)
		require.NoError(t, err)
		return n
	}
	return everyday
}

// Told to end under eight writers, with a client that says nothing, the daemon ends well
// within five seconds; every writer has an answer or a refusal, and what was acknowledged
// is there.
func TestSIGTERMUnderWriters(t *testing.T) {
	t.Parallel()
	for range rounds(t, 2) {
		data := t.TempDir()
		d, addr := start(t, "serve", data)
		require.NotEmpty(t, addr, d.errs.String())
		silent, err := net.Dial("tcp", addr)
		require.NoError(t, err)
		defer silent.Close()
		var kept sync.Map
		var writers sync.WaitGroup
		var first sync.Once
		going := make(chan struct{})
		for w := range 8 {
			writers.Go(func() {
				c, err := Connect(t.Context(), quickSettings(data))
				if err != nil {
					t.Error(err)
					return
				}
				for i := 0; ; i++ {
					note := maintenance.Entry{ID: fmt.Sprintf("w%d-%d", w, i), Act: &maintenance.NoteAct{}, Note: "x"}
					if _, err := c.Record(t.Context(), []maintenance.Entry{note}, false); err != nil {
						return
					}
					kept.Store(note.ID, true)
					if i == 20 {
						first.Do(func() { close(going) })
					}
				}
			})
		}
		<-going
		began := time.Now()
		require.NoError(t, d.Process.Signal(syscall.SIGTERM))
		require.NoError(t, d.Wait(), d.errs.String())
		require.Less(t, time.Since(began), stopWithin-time.Second, "the silent one is not waited for")
		writers.Wait()
		b := openBook(t, BookPath(data))
		kept.Range(func(id, _ any) bool {
			_, found, err := b.journal.Lookup(id.(string))
			require.NoError(t, err)
			require.True(t, found, "%s was acknowledged", id)
			return true
		})
		require.NoError(t, b.Close())
	}
}

// A broker that never answers and a receiver that hangs do not keep the daemon from ending.
func TestTheDaemonEndsAmongThoseThatHang(t *testing.T) {
	t.Parallel()
	broker, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer broker.Close()
	hook, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer hook.Close()
	reached := make(chan net.Conn, 100)
	for _, l := range []net.Listener{broker, hook} {
		go func() {
			for {
				c, err := l.Accept()
				if err != nil {
					return
				}
				reached <- c // and never a word
			}
		}()
	}
	watts := "/w"
	s := quickSettings(t.TempDir())
	s.Log = nil
	s.Config.Channels = []config.Channel{{Name: "phone", Type: "webhook", URL: "http://" + hook.Addr().String()}}
	s.Config.Sources = []config.Source{{Pump: "north", Type: "mqtt", Broker: "mqtt://" + broker.Addr().String(), Topic: "shed/north", Power: &watts, Signals: s.Config.Signals}}
	stopped(t, s.Data)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- Serve(ctx, s, func(string) {}) }()
	<-reached
	<-reached
	began := time.Now()
	cancel()
	require.NoError(t, <-ended)
	require.Less(t, time.Since(began), 5*time.Second)
}

// stopped makes a book whose pump has just stopped: the drain is due.
func stopped(t *testing.T, data string) {
	t.Helper()
	b, now := openBook(t, BookPath(data)), time.Now()
	all := opening(t)
	for i := range all {
		all[i].At = now.Add(-30 * time.Hour)
	}
	all = append(all, entry(t, now.Add(-25*time.Hour), `{"id":"s1","kind":"start","pump":"north"}`),
		entry(t, now.Add(-time.Minute), `{"id":"s2","kind":"stop","pump":"north","hot_c":66}`))
	_, err := b.Record(t.Context(), now, all)
	require.NoError(t, err)
	require.NoError(t, b.Close())
}
