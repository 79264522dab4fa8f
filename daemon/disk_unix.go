//go:build unix

package daemon

import "syscall"

// freeBytes is the room left for an ordinary user on the file system of a path.
func freeBytes(path string) (uint64, error) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(path, &st); err != nil {
		return 0, err
	}
	return uint64(st.Bavail) * uint64(st.Bsize), nil
}
