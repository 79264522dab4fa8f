package daemon

import (
	"errors"
	"syscall"
)

// isReadOnly says whether an error comes from a file system that takes no writing.
func isReadOnly(err error) bool { return errors.Is(err, syscall.EROFS) }
