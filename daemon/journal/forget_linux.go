package journal

import (
	"syscall"

	"go.etcd.io/bbolt"
)

// forget gives back the mapped pages that a long walk has touched: they would count as
// this process's memory until the kernel needs it. They stay in the kernel's cache. Inside
// a transaction the map cannot move.
func forget(tx *bbolt.Tx) {
	// Advice: nothing depends on its being taken.
	_, _, _ = syscall.Syscall(syscall.SYS_MADVISE, tx.DB().Info().Data, uintptr(tx.Size()), syscall.MADV_DONTNEED)
}
