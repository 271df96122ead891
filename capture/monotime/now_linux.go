package monotime

import "golang.org/x/sys/unix"

// Now returns ns on CLOCK_MONOTONIC, the clock that the kernel stamps input
// events with once it was asked to (EVIOCSCLOCKID).
func Now() int64 {
	var t unix.Timespec
	if unix.ClockGettime(unix.CLOCK_MONOTONIC, &t) != nil {
		return int64(sinceStart())
	}
	return t.Nano()
}
