//go:build unix

package daemon

import "syscall"

// maxSocketPath is how long the path of a Unix socket may be, in bytes; its last is a zero.
const maxSocketPath = len(syscall.RawSockaddrUnix{}.Path) - 1

// privately makes a file that from its first moment is its owner's alone.
func privately[T any](create func() (T, error)) (T, error) {
	defer syscall.Umask(syscall.Umask(0o177))
	return create()
}

// freeBytes is the room left for an ordinary user on the file system of a path.
func freeBytes(path string) (uint64, error) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(path, &st); err != nil {
		return 0, err
	}
	return uint64(st.Bavail) * uint64(st.Bsize), nil
}
