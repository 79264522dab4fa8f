package journal

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// injected runs a child under strace, which spoils one of its system calls: as in
// fdatasync:error=EIO:when=3. It skips where that cannot be done.
func injected(t *testing.T, role, path, what string) (out string, err error) {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("skipped: no strace")
	}
	call, _, _ := strings.Cut(what, ":")
	cmd := as(t.Context(), t, role, path, strace, "-qq", "-o", os.DevNull, "-e", "trace="+call, "-e", "inject="+what)
	var both bytes.Buffer
	cmd.Stdout, cmd.Stderr = &both, &both
	err = cmd.Run()
	if strings.Contains(both.String(), "ptrace") {
		t.Skipf("skipped: strace may not trace here: %s", both.String())
	}
	return both.String(), err
}

// eachKill kills a child at its first such call, its second and so on, until one runs
// through, and looks after each.
func eachKill(t *testing.T, role, call string, path func() string, look func(path, told string, whole bool)) {
	for n := 1; ; n++ {
		at := path()
		told, err := injected(t, role, at, fmt.Sprintf("%s:signal=KILL:when=%d", call, n))
		look(at, told, err == nil)
		if err == nil {
			t.Logf("%s: %d calls of %s", role, n-1, call)
			return
		}
		require.Less(t, n, 200, told)
	}
}

// Killed at any step of the first creation, it leaves no file that is taken for a journal
// and is not one, and the next start succeeds.
func TestFirstCreationKilledAtEachStep(t *testing.T) {
	t.Parallel()
	for _, call := range []string{"openat", "pwrite64", "fdatasync", "fsync", "ftruncate", "renameat"} {
		t.Run(call, func(t *testing.T) {
			eachKill(t, "create", call, func() string { return filepath.Join(t.TempDir(), "book.db") },
				func(path, _ string, whole bool) {
					require.True(t, !whole || exists(path))
					j, err := Open(path)
					require.NoError(t, err)
					appended(t, j, continuing(j).notes(2)...)
					require.EqualValues(t, 2, verified(t, j).Seq)
					require.NoError(t, j.Close())
				})
		})
	}
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

func TestAppendKilledAtEachStep(t *testing.T) {
	t.Parallel()
	original := sample(t)
	for _, call := range []string{"pwrite64", "fdatasync", "ftruncate"} {
		t.Run(call, func(t *testing.T) {
			eachKill(t, "append once", call, func() string { return copied(t, original) }, func(path, told string, _ bool) {
				r := verified(t, opened(t, path))
				require.Contains(t, []uint64{10, 13}, r.Seq, "all of the batch or nothing")
				require.Equal(t, r.Seq-10, r.Notices-3)
				if strings.Contains(told, "13") {
					require.EqualValues(t, 13, r.Seq)
				}
			})
		})
	}
}

func TestBackupKilledAtEachStep(t *testing.T) {
	t.Parallel()
	original := sample(t)
	for _, call := range []string{"write", "fsync", "renameat"} {
		t.Run(call, func(t *testing.T) {
			eachKill(t, "backup", call, func() string { return copied(t, original) }, func(path, _ string, whole bool) {
				verified(t, opened(t, path))
				if exists(path + ".copy") {
					require.EqualValues(t, 10, verified(t, opened(t, path+".copy")).Seq)
				}
				require.True(t, !whole || exists(path+".copy"))
			})
		})
	}
}

// appendDespite goes on after errors as a careful caller does, and tells what was
// acknowledged. If reopening does not help it gives up.
func appendDespite(path string) error {
	j, err := Open(path)
	if err != nil {
		return err
	}
	defer j.Close()
	for range 4 {
		before, _ := j.Head()
		err := j.Append(&Batch{Entries: continuing(j).notes(2)})
		switch {
		case err == nil:
			seq, _ := j.Head()
			fmt.Println(seq)
		case errors.Is(err, ErrFull):
			fmt.Println("full")
			if seq, _ := j.Head(); seq != before {
				return fmt.Errorf("of no kind: written after all: %w", err)
			}
		case errors.Is(err, ErrUnknown):
			fmt.Println("unknown")
			if err := haltedUntilReopened(j); err != nil {
				return err
			}
		default:
			return fmt.Errorf("of no kind: %w", err)
		}
	}
	return nil
}

func haltedUntilReopened(j *Journal) error {
	seq, _ := j.Head()
	if err := j.Append(&Batch{Entries: continuing(j).notes(1)}); !errors.Is(err, ErrUnknown) {
		return fmt.Errorf("it was not halted: %w", err)
	}
	if _, ok, err := j.At(seq); !ok || err != nil {
		return fmt.Errorf("entry %d cannot be read: %w", seq, err)
	}
	if err := j.Reopen(); err != nil {
		fmt.Println("gave up")
		return err
	}
	return nil
}

// Each write and each sync fails once, or from then on for ever: nothing acknowledged is
// missing, nothing is written after a failure until the file has been reopened, and a full
// disk is told apart from a sick one.
func TestFailingCalls(t *testing.T) {
	t.Parallel()
	original := sample(t)
	for _, call := range []string{"fdatasync", "pwrite64", "fsync"} {
		for _, errno := range []string{"EIO", "ENOSPC"} {
			for _, ever := range []string{"", "+"} {
				t.Run(call+" "+errno+ever, func(t *testing.T) {
					failEach(t, original, call, errno, ever)
				})
			}
		}
	}
}

func failEach(t *testing.T, original, call, errno, ever string) {
	for n := 1; ; n += 1 + n/(4*rounds(t, 1)) {
		path := copied(t, original)
		told, err := injected(t, "despite", path, fmt.Sprintf("%s:error=%s:when=%d%s", call, errno, n, ever))
		require.NotContains(t, told, "of no kind")
		require.NotContains(t, told, "it was not halted")
		require.NotContains(t, told, "cannot be read")
		last := acknowledged(strings.NewReader(told), nil)
		r := verified(t, opened(t, path))
		require.GreaterOrEqual(t, r.Seq, last, told)
		if ever == "" && call != "fsync" {
			require.NoError(t, err, "it goes on: %s", told)
		}
		if errno == "EIO" {
			require.NotContains(t, told, "full")
		}
		if strings.Count(told, "\n") == 4 && !strings.Contains(told, "full") && !strings.Contains(told, "unknown") {
			require.Greater(t, n, 1, "nothing was injected: %s", told)
			return
		}
		require.Less(t, n, 500)
	}
}

// calls are the writes and syncs of a child, in order, as w, s, r (rename) and ack.
func calls(t *testing.T, role, path string, more ...string) string {
	t.Helper()
	if _, err := exec.LookPath("strace"); err != nil {
		t.Skip("skipped: no strace")
	}
	log := filepath.Join(t.TempDir(), "log")
	strace := append([]string{"strace", "-qq", "-o", log, "-e", "trace=pwrite64,fdatasync,fsync,renameat,write"}, more...)
	cmd := as(t.Context(), t, role, path, strace...)
	out, err := cmd.CombinedOutput()
	if strings.Contains(string(out), "ptrace") {
		t.Skipf("skipped: strace may not trace here: %s", out)
	}
	require.NoError(t, err, string(out))
	b, err := os.ReadFile(log)
	require.NoError(t, err)
	var all strings.Builder
	for line := range strings.Lines(string(b)) {
		call, rest, _ := strings.Cut(line, "(")
		if call == "write" && !strings.HasPrefix(rest, "1, ") {
			call = "pwrite64"
		}
		all.WriteString(map[string]string{"pwrite64": "w", "fdatasync": "s", "fsync": "s", "renameat": "r", "write": "a"}[call])
	}
	return all.String()
}

// A kill cannot show a sync that is missing; the order of the calls does. Data is synced
// before the head page that vouches for it, and that before the acknowledgement; a file is
// synced before it is renamed, and the folder (and the one above) after.
func TestSyncedBeforeAcknowledged(t *testing.T) {
	require.Regexp(t, `^s(w+s){2}a$`, calls(t, "append once", sample(t)))
	require.Regexp(t, `^(w+s+)+rsss$`, calls(t, "create", filepath.Join(t.TempDir(), "book.db")))
	require.Regexp(t, `^sw+srss$`, calls(t, "backup", sample(t)))
}

// When the last sync of a commit fails, the entries are there but nobody knows whether
// they stay: after reopening, another commit vouches for them before anything is told.
func TestDoubtIsSettledOnReopening(t *testing.T) {
	const commit, open = `w+sws`, `s`
	all := calls(t, "despite", sample(t), "-e", "inject=fdatasync:error=EIO:when=2")
	require.Regexp(t, "^"+open+commit+"a"+open+commit+commit+"a", all)
	all = calls(t, "despite", sample(t), "-e", "inject=fdatasync:error=EIO:when=1")
	require.Regexp(t, "^"+open+"w+s"+"a"+open+commit+"a", all, "and where there is no doubt, none does")
	all = calls(t, "despite", sample(t), "-e", "inject=fdatasync:error=ENOSPC:when=2")
	require.Regexp(t, "^"+open+commit+open+commit+"a", all, "for want of room, at once")
}
