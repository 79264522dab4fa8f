package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/daemon/journal"
	"sumpbook/maintenance"
)

// The test binary runs itself in these roles, to be disturbed or killed.
var roles = map[string]func(data string) error{"tell despite": tellDespite}

const roleVariable, dataVariable = "SUMPBOOK_DAEMON_CHILD", "SUMPBOOK_DAEMON_DATA"

// A child stays on one thread, on which strace counts its calls.
func init() {
	if os.Getenv(roleVariable) != "" {
		runtime.LockOSThread()
	}
}

func TestMain(m *testing.M) {
	role := os.Getenv(roleVariable)
	if role == "" {
		os.Exit(m.Run())
	}
	if err := roles[role](os.Getenv(dataVariable)); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// as prepares a child in a role.
func as(t testing.TB, role, data string, wrapped ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	words := append(wrapped, self)
	cmd := exec.CommandContext(t.Context(), words[0], words[1:]...)
	cmd.Env = append(os.Environ(), roleVariable+"="+role, dataVariable+"="+data)
	return cmd
}

// tellDespite tells a book five entries, each again and again until it is acknowledged or
// the book has refused it ten times, and asks for the state meanwhile.
func tellDespite(data string) error {
	b, err := OpenBook(BookPath(data), maintenance.DefaultRules())
	if err != nil {
		return err
	}
	for i := range 5 {
		note := maintenance.Entry{ID: fmt.Sprintf("n%d", i), At: day0, Act: &maintenance.NoteAct{}, Note: "x"}
		for try := 0; try < 10; try++ {
			one := &telling{entries: []maintenance.Entry{note}, now: day0, answer: make(chan told, 1)}
			b.answer([]*telling{one}) // in this thread
			got := <-one.answer
			st, err := b.Stand(Moment{}, day0)
			if err != nil || st.State.Imbalance() != 0 {
				return fmt.Errorf("no state: %w", err)
			}
			switch {
			case got.err == nil:
				fmt.Println(note.ID, got.receipt.Entries[0].Seq, got.receipt.Duplicates)
				try = 10
			case errors.Is(got.err, errHalted):
				fmt.Println("halted", b.Ready() != nil)
			case errors.Is(got.err, journal.ErrUnknown):
				fmt.Println("unknown")
			case errors.Is(got.err, journal.ErrFull):
				fmt.Println("full")
			default:
				return fmt.Errorf("of no kind: %w", got.err)
			}
		}
	}
	return b.Close()
}

// Each write and each sync of the book fails once, or from then on for ever: whoever tells
// again gets the answer, once; the state is served throughout; and nothing acknowledged is
// missing.
func TestFailingDisk(t *testing.T) {
	t.Parallel()
	strace := needs(t, "strace")
	for _, c := range []struct{ call, errno, ever string }{
		{"fdatasync", "EIO", ""}, {"fdatasync", "EIO", "+"}, {"pwrite64", "ENOSPC", ""}, {"fdatasync", "ENOSPC", "+"},
	} {
		t.Run(c.call+" "+c.errno+c.ever, func(t *testing.T) {
			for n := 1; ; n++ {
				data := t.TempDir()
				b := openBook(t, BookPath(data))
				require.NoError(t, b.Close())
				cmd := as(t, "tell despite", data, strace, "-qq", "-o", os.DevNull, "-e", "trace="+c.call,
					"-e", fmt.Sprintf("inject=%s:error=%s:when=%d%s", c.call, c.errno, n, c.ever))
				var both bytes.Buffer
				cmd.Stdout, cmd.Stderr = &both, &both
				err := cmd.Run()
				says := both.String()
				if strings.Contains(says, "ptrace") {
					t.Skip("skipped: strace may not trace here")
				}
				undisturbed := !strings.Contains(says, "unknown") && !strings.Contains(says, "full") && !strings.Contains(says, "halted") && err == nil
				requireTold(t, data, says, c.ever == "" && !strings.Contains(says, "open the book"))
				if undisturbed && n > 1 {
					return
				}
				require.Less(t, n, 100, says)
			}
		})
	}
}

// requireTold checks a book against what a child says was acknowledged.
func requireTold(t *testing.T, data, says string, all bool) {
	t.Helper()
	require.NotContains(t, says, "of no kind")
	require.NotContains(t, says, "no state")
	require.NotContains(t, says, "panic")
	require.NotContains(t, says, "halted false")
	b := openBook(t, BookPath(data))
	defer func() { require.NoError(t, b.Close()) }()
	requireWhole(t, b)
	acknowledged := 0
	for line := range strings.Lines(says) {
		f := strings.Fields(line)
		if len(f) != 3 || f[0][0] != 'n' {
			continue
		}
		e, found, err := b.journal.Lookup(f[0])
		require.NoError(t, err)
		require.True(t, found, says)
		require.Equal(t, f[1], fmt.Sprint(e.Seq))
		acknowledged++
	}
	if all {
		require.Equal(t, 5, acknowledged, says)
		seq, _ := b.Head()
		require.Equal(t, uint64(5), seq, "each is there once")
	}
}

// smallDisk mounts a file system of a size that is soon full, or skips.
func smallDisk(t *testing.T, size string) (folder string) {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("skipped: no root to mount with")
	}
	folder = t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size="+size, "tmpfs", folder).CombinedOutput(); err != nil {
		t.Skipf("skipped: no tmpfs to mount: %v %s", err, out)
	}
	t.Cleanup(func() { require.NoError(t, exec.Command("umount", folder).Run()) })
	return folder
}

// On a full disk a write is refused with the cause, reading goes on, and once there is room
// writing does, without a restart.
func TestAFullDisk(t *testing.T) {
	data := smallDisk(t, "2M")
	now := day0.Add(time.Hour)
	k, err := open(Settings{Data: data, Config: config.Default(), Clock: func() time.Time { return now }})
	require.NoError(t, err)
	defer func() { require.NoError(t, k.book.Close()) }()
	h := page0(t, k)
	_, err = k.book.Record(context.Background(), now, opening(t))
	require.NoError(t, err)
	filler := filepath.Join(data, "filler")
	for round := range 3 {
		free, err := freeBytes(data)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filler, make([]byte, free), 0o600))
		refused, kept := 0, 0
		for i := 0; refused < 3 && i < 5000; i++ {
			w := send(h, "POST", "/api/v1/entries", fmt.Sprintf(`{"id":"r%d-%d","kind":"note","note":%q}`, round, i, strings.Repeat("x", 1900)))
			if w.Code == http.StatusOK {
				kept++
				continue
			}
			p := asProblem(t, w, http.StatusInsufficientStorage)
			require.Contains(t, p.Hint, "room")
			refused++
		}
		require.Equal(t, 3, refused)
		require.Equal(t, "bad", k.lookAtDisk().State)
		require.Equal(t, 200, send(h, "GET", "/api/v1/state", "").Code)
		require.Equal(t, 200, send(h, "GET", "/api/v1/entries?limit=5", "").Code)
		require.Equal(t, 200, send(h, "GET", "/api/v1/actions", "").Code)
		require.NoError(t, os.Remove(filler))
		require.Equal(t, 200, send(h, "POST", "/api/v1/entries", fmt.Sprintf(`{"id":"r%d","kind":"note","note":"x"}`, round)).Code)
	}
	requireWhole(t, k.book)
}

func init() { roles["write slowly"] = writeSlowly }

// writeSlowly has eight writers tell three notes each, and reads meanwhile; it says how long
// the writing took and the slowest reading, in ms.
func writeSlowly(data string) error {
	b, err := OpenBook(BookPath(data), maintenance.DefaultRules())
	if err != nil {
		return err
	}
	ctx, began := context.Background(), time.Now()
	var writers sync.WaitGroup
	for w := range 8 {
		writers.Go(func() {
			for i := range 3 {
				note := maintenance.Entry{ID: fmt.Sprintf("n%d-%d", w, i), At: day0, Act: &maintenance.NoteAct{}, Note: "x"}
				if _, err := b.Record(ctx, day0, []maintenance.Entry{note}); err != nil {
					fmt.Println("not told:", err)
				}
			}
		})
	}
	done := make(chan struct{})
	go func() { writers.Wait(); close(done) }()
	slowest, each := time.Duration(0), time.NewTicker(5*time.Millisecond)
	for {
		select {
		case <-done:
			fmt.Println(time.Since(began).Milliseconds(), slowest.Milliseconds())
			return b.Close()
		case <-each.C:
		}
		asked := time.Now()
		_, err1 := b.Stand(Moment{}, day0)
		err2 := b.journal.Lines(0, func(uint64, []byte) error { return nil })
		if err := errors.Join(err1, err2); err != nil {
			return err
		}
		slowest = max(slowest, time.Since(asked))
	}
}

// Each sync takes a fifth of a second: writers share it, and reading does not wait for it.
func TestASlowDisk(t *testing.T) {
	t.Parallel()
	strace, data := needs(t, "strace"), t.TempDir()
	require.NoError(t, openBook(t, BookPath(data)).Close())
	cmd := as(t, "write slowly", data, strace, "-f", "-qq", "-o", os.DevNull, "-e", "trace=fdatasync", "-e", "inject=fdatasync:delay_enter=200000")
	out, err := cmd.CombinedOutput()
	if strings.Contains(string(out), "ptrace") {
		t.Skip("skipped: strace may not trace here")
	}
	require.NoError(t, err, string(out))
	var took, slowest int
	_, err = fmt.Sscan(string(out), &took, &slowest)
	require.NoError(t, err, string(out))
	require.Greater(t, took, 400, "the disk was slow")
	require.Less(t, took, 6000, "24 commits of two syncs each would take 9.6 s")
	require.Less(t, slowest, 150, "a sync would be 200 ms")
	b := openBook(t, BookPath(data))
	defer func() { require.NoError(t, b.Close()) }()
	seq, _ := b.Head()
	require.Equal(t, uint64(24), seq)
}
