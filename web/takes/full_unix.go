//go:build unix

package takes

import (
	"errors"

	"golang.org/x/sys/unix"
)

// isFull reports whether a disk or a quota is full.
func isFull(err error) bool {
	return errors.Is(err, unix.ENOSPC) || errors.Is(err, unix.EDQUOT)
}
