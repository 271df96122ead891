//go:build unix

package main

import (
	"time"

	"golang.org/x/sys/unix"
)

// processTime is the processor time that this process has used.
func processTime() time.Duration {
	var u unix.Rusage
	if unix.Getrusage(unix.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
