//go:build !linux

package monotime

// Now returns ns since the program started, on the monotonic clock.
func Now() int64 { return int64(sinceStart()) }
