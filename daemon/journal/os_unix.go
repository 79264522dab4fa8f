//go:build unix

package journal

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	berrors "go.etcd.io/bbolt/errors"
)

const (
	lockTries = 20
	lockPause = 50 * time.Millisecond
)

// lock takes the file for this process, or for reading if shared, within a second. It
// comes before the pages are looked at, so that no writer changes them meanwhile; bbolt
// takes the same lock on the same open file again, which changes nothing.
func lock(file *os.File, shared bool) error {
	how := syscall.LOCK_EX
	if shared {
		how = syscall.LOCK_SH
	}
	for try := 1; ; try++ {
		err := syscall.Flock(int(file.Fd()), how|syscall.LOCK_NB)
		if !errors.Is(err, syscall.EWOULDBLOCK) {
			return err
		}
		if try == lockTries {
			return fmt.Errorf("%w%s", ErrLocked, holder(file))
		}
		time.Sleep(lockPause)
	}
}

// release unlocks and closes. Closing alone would leave the lock to a map that bbolt has
// left behind.
func release(file *os.File) error {
	return errors.Join(syscall.Flock(int(file.Fd()), syscall.LOCK_UN), file.Close())
}

// holder names the process that holds the file, where the kernel tells.
func holder(file *os.File) string {
	info, err := file.Stat()
	if err != nil {
		return ""
	}
	inode := fmt.Sprintf(":%d", info.Sys().(*syscall.Stat_t).Ino)
	locks, err := os.Open("/proc/locks")
	if err != nil {
		return ""
	}
	defer locks.Close()
	for lines := bufio.NewScanner(locks); lines.Scan(); {
		// 1: FLOCK  ADVISORY  WRITE 1234 fe:00:567 0 EOF
		f := strings.Fields(lines.Text())
		if len(f) == 8 && f[1] == "FLOCK" && strings.HasSuffix(f[5], inode) {
			return fmt.Sprintf(": process %s has it", f[4])
		}
	}
	return ""
}

// lockFolder keeps two processes from creating one journal at once. Where folders cannot
// be locked (some network file systems) it does without.
func lockFolder(path string) (unlock func(), err error) {
	folder, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	if err := lock(folder, false); errors.Is(err, ErrLocked) {
		folder.Close()
		return nil, err
	}
	return func() { folder.Close() }, nil
}

// syncFolder makes a new name in the folder outlive a power cut, and where it may, the
// folder's own name too.
func syncFolder(path string) error {
	if above, err := os.Open(filepath.Dir(filepath.Clean(path))); err == nil {
		_ = above.Sync()
		above.Close()
	}
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	defer folder.Close()
	return folder.Sync()
}

var fullErrors = []error{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG, syscall.EROFS, berrors.ErrMaxSizeReached}
