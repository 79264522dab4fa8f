package journal

import (
	"syscall"

	"go.etcd.io/bbolt"
)

// forget gives mapped pages back; they stay in the kernel's cache. Inside a transaction
// the map cannot move.
func forget(tx *bbolt.Tx) {
	// Advice: nothing depends on its being taken.
	_, _, _ = syscall.Syscall(syscall.SYS_MADVISE, tx.DB().Info().Data, uintptr(tx.Size()), syscall.MADV_DONTNEED)
}
