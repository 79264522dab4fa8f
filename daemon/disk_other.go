//go:build !unix

package daemon

import "errors"

// maxSocketPath is how long the path of a Unix socket may be, in bytes.
const maxSocketPath = 107

// privately makes a file; whose it is, the folder says.
func privately[T any](create func() (T, error)) (T, error) { return create() }

func freeBytes(string) (uint64, error) {
	return 0, errors.New("this system does not tell how much room there is")
}
