//go:build unix

package web

import (
	"errors"
	"syscall"
)

func isInUse(err error) bool { return errors.Is(err, syscall.EADDRINUSE) }
