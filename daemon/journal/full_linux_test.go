package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// untilFull appends until it fails, and gives the error.
func untilFull(j *Journal) error {
	for range 10_000 {
		if err := j.Append(&Batch{Entries: continuing(j).notes(16)}); err != nil {
			return err
		}
	}
	return errors.New("it never got full")
}

// stillServed checks a journal that is full: it says so, has kept what it had, and is read.
func stillServed(j *Journal, err error) error {
	if !errors.Is(err, ErrFull) || errors.Is(err, ErrUnknown) {
		return fmt.Errorf("not ErrFull: %w", err)
	}
	before, _ := j.Head()
	if err := j.Append(&Batch{Entries: continuing(j).notes(64)}); !errors.Is(err, ErrFull) {
		return fmt.Errorf("again, not ErrFull: %w", err)
	}
	if seq, _ := j.Head(); seq != before {
		return fmt.Errorf("the head moved from %d to %d", before, seq)
	}
	if _, ok, err := j.At(before); !ok || err != nil {
		return fmt.Errorf("entry %d is not there: %w", before, err)
	}
	r, err := j.Verify(context.Background(), nil)
	if err == nil && r.Seq != before {
		err = fmt.Errorf("it holds %d entries of %d", r.Seq, before)
	}
	return err
}

// starve sets the limit on the size of files to grow no more, or below what there is, and
// then lifts it: writing goes on.
func starve(path string) error {
	j, err := Open(path)
	if err != nil {
		return err
	}
	defer j.Close()
	var usual syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &usual); err != nil {
		return err
	}
	for range 3 {
		if err := j.Append(&Batch{Entries: continuing(j).notes(64)}); err != nil {
			return err
		}
		info, err := os.Stat(path)
		if err != nil {
			return err
		}
		for _, limit := range []int64{info.Size(), info.Size() / 8} {
			tight := syscall.Rlimit{Cur: uint64(limit), Max: usual.Max}
			if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &tight); err != nil {
				return err
			}
			if err := stillServed(j, untilFull(j)); err != nil {
				return fmt.Errorf("limit %d: %w", limit, err)
			}
			if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &usual); err != nil {
				return err
			}
			if err := j.Append(&Batch{Entries: continuing(j).notes(1)}); err != nil {
				return fmt.Errorf("after limit %d: %w", limit, err)
			}
		}
	}
	return nil
}

func TestFullByLimit(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "book.db")
	out, err := as(t.Context(), t, "starve", path).CombinedOutput()
	require.NoError(t, err, string(out))
	verified(t, opened(t, path))
}

// fileSystem mounts a small file system, or skips.
func fileSystem(t *testing.T, kind, size string) (folder string) {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("skipped: no root to mount with")
	}
	folder = t.TempDir()
	args := []string{"-t", kind, "-o", "size=" + size, kind, folder}
	if kind == "ext4" {
		image := filepath.Join(t.TempDir(), "image")
		if out, err := exec.Command("mkfs.ext4", "-q", image, size).CombinedOutput(); err != nil {
			t.Skipf("skipped: no mkfs.ext4: %v %s", err, out)
		}
		args = []string{"-o", "loop", image, folder}
	}
	if out, err := exec.Command("mount", args...).CombinedOutput(); err != nil {
		t.Skipf("skipped: no %s to mount: %v %s", kind, err, out)
	}
	t.Cleanup(func() { require.NoError(t, exec.Command("umount", folder).Run()) })
	return folder
}

// Not beside tests that start children: between fork and exec those hold the file deleted
// here, and with it its space.
func TestFullFileSystem(t *testing.T) {
	for kind, size := range map[string]string{"tmpfs": "768k", "ext4": "4M"} {
		t.Run(kind, func(t *testing.T) {
			folder := fileSystem(t, kind, size)
			j, err := Open(filepath.Join(folder, "book.db"))
			require.NoError(t, err)
			defer func() { require.NoError(t, j.Close()) }()
			filler := filepath.Join(folder, "filler")
			for range rounds(t, 3) {
				require.NoError(t, os.WriteFile(filler, make([]byte, 256<<10), 0o600))
				require.NoError(t, stillServed(j, untilFull(j)))
				require.NoError(t, os.Remove(filler))
				appended(t, j, continuing(j).notes(16)...)
				verified(t, j)
				require.NoError(t, j.Close())
				require.NoError(t, os.Remove(j.Path()))
				j, err = Open(j.Path())
				require.NoError(t, err)
			}
		})
	}
}

func TestReadOnlyFileSystem(t *testing.T) {
	folder := fileSystem(t, "tmpfs", "1M")
	path := filepath.Join(folder, "book.db")
	j, err := Open(path)
	require.NoError(t, err)
	appended(t, j, continuing(j).notes(3)...)
	require.NoError(t, j.Close())
	require.NoError(t, exec.Command("mount", "-o", "remount,ro", folder).Run())

	_, err = Open(path)
	require.ErrorIs(t, err, syscall.EROFS)
	_, err = Open(path + "2")
	require.ErrorIs(t, err, syscall.EROFS)
	j, err = OpenReadOnly(path)
	require.NoError(t, err)
	require.Len(t, export(t, j), 3)
	verified(t, j)
	require.NoError(t, j.Close())
}

func init() { roles["starve"] = starve }
