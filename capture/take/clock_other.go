//go:build !linux

package take

import "time"

// Monotonic is a monotonic clock that begins with the program.
type Monotonic struct{}

var began = time.Now()

// Now returns ns on the monotonic clock.
func (Monotonic) Now() int64 { return int64(time.Since(began)) + 1 }
