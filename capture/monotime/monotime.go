// Package monotime reads the monotonic clock that stamps every edge. It is the
// one place where the program asks for the time of an input.
package monotime

import "time"

// start anchors the clock where the system's own cannot be read as a number.
var start = time.Now()

func sinceStart() time.Duration { return time.Since(start) }
