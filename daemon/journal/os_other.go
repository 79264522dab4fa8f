//go:build !unix

package journal

import (
	"os"
	"syscall"

	berrors "go.etcd.io/bbolt/errors"
)

// Elsewhere bbolt's own lock has to do, and folders cannot be synced.

func lock(*os.File, bool) error         { return nil }
func release(file *os.File) error       { return file.Close() }
func lockFolder(string) (func(), error) { return func() {}, nil }
func syncFolder(string) error           { return nil }

var fullErrors = []error{syscall.ENOSPC, berrors.ErrMaxSizeReached}
