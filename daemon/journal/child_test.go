package journal

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/notify"
)

// The test binary runs itself in these roles, to be killed, starved or waited for.
var roles = map[string]func(path string) error{
	"create": func(path string) error {
		j, err := Open(path)
		if err != nil {
			return err
		}
		return j.Close()
	},
	"append once": func(path string) error { return appendSome(path, 1) },
	"append":      func(path string) error { return appendSome(path, 1<<30) },
	"hold":        hold,
	"backup":      func(path string) error { return backupTo(path, path+".copy") },
	"despite":     appendDespite,
}

// A child stays on one thread, on which strace counts its calls.
func init() {
	if os.Getenv("SUMPBOOK_JOURNAL_CHILD") != "" {
		runtime.LockOSThread()
	}
}

func child(role, path string) int {
	err := roles[role](path)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// as prepares a child.
func as(ctx context.Context, t testing.TB, role, path string, wrapped ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	words := append(wrapped, self)
	cmd := exec.CommandContext(ctx, words[0], words[1:]...)
	cmd.Env = append(os.Environ(), "SUMPBOOK_JOURNAL_CHILD="+role, "SUMPBOOK_JOURNAL_PATH="+path)
	return cmd
}

// appendSome appends batches of one to four entries, each with as many notices, and tells
// the head after each.
func appendSome(path string, batches int) error {
	j, err := Open(path)
	if err != nil {
		return err
	}
	defer j.Close()
	s := continuing(j)
	for i := range batches {
		n := 1 + (s.made+i)%4
		notices := make([]notify.Notice, n)
		for k := range notices {
			notices[k] = notice(s.made + k)
		}
		if err := j.Append(&Batch{Entries: s.notes(n), Notices: notices}); err != nil {
			return err
		}
		fmt.Println(s.seq)
	}
	return nil
}

// acknowledged reads the numbers that a child tells, to the end.
func acknowledged(r io.Reader, each func(uint64)) (last uint64) {
	for lines := bufio.NewScanner(r); lines.Scan(); {
		n, err := strconv.ParseUint(lines.Text(), 10, 64)
		if err != nil {
			continue
		}
		last = n
		if each != nil {
			each(n)
		}
	}
	return last
}

// hold keeps the file until its input ends.
func hold(path string) error {
	j, err := Open(path)
	if err != nil {
		return err
	}
	fmt.Println(1)
	_, err = io.Copy(io.Discard, os.Stdin)
	return errors.Join(err, j.Close())
}

func backupTo(path, to string) error {
	j, err := Open(path)
	if err != nil {
		return err
	}
	return errors.Join(j.Backup(context.Background(), to), j.Close())
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

// copied gives a copy of a file to spoil.
func copied(t testing.TB, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	to := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, os.WriteFile(to, b, 0o600))
	return to
}
