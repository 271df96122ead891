//go:build unix

package takes

import (
	"errors"

	"golang.org/x/sys/unix"
)

// isFull reports whether a disk or a quota is full, or a file as long as it may be.
func isFull(err error) bool {
	return errors.Is(err, unix.ENOSPC) || errors.Is(err, unix.EDQUOT) || errors.Is(err, unix.EFBIG)
}
