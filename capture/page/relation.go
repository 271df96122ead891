package page

import "math"

// Figures of the relation. Drift covers two crystals that each keep 50 ppm (from
// memory: the usual grade), over the age of a ping.
const (
	maxDrift   = 100e-6          // by how much the two clocks' rates may differ
	keepPings  = 64              // pings looked at
	keepFor    = 30 * 1000000000 // ns: pings older than this are forgotten
	maxSlew    = 2e-3            // by how much the estimate is moved while keys are in use
	idleAfter  = 1000000000      // ns without an edge after which it may jump
	broken     = 8000000         // ns outside what is possible: a clock was set, so it jumps at once
	coarse     = 1000000         // ns: grain of performance.now() where it gives whole ms
	fine       = 100000          // ns: its grain elsewhere (W3C High Resolution Time: 100 µs unless isolated)
	nsPerMilli = 1e6
)

// Relation relates a pad's clock (performance.now(), ms) to the server's
// monotonic clock (ns). The zero value is ready. It is pure: all times are given.
//
// A pad that answers a ping with its clock at c did so between sent and
// received, so the difference of the clocks lies in [sent − c, received − c].
// Every ping of the last half minute gives such an interval, widened by the
// drift since; their intersection, of which the ping of least round trip gives
// most, holds the true difference. The estimate is its middle.
// The error is therefore at most half the least round trip, and the drift since
// and the grain of the pad's clock on top: [Relation.Bound] gives it.
//
// A better estimate that comes in the middle of a press would change its length,
// and lengths matter more here than where they lie. So while keys are in use the
// estimate moves by at most 2 ms a second; Bound takes account of it.
type Relation struct {
	pings   [keepPings]ping
	n       int  // pings in use, oldest first
	precise bool // a pong's clock had a fraction of a millisecond

	offset int64 // ns to add to the pad's clock, as in use
	known  bool
	used   int64 // ns on the server's clock: when it was last used
}

type ping struct {
	at     int64 // ns: when the answer came
	lo, hi int64 // ns: bounds of server − pad
	rtt    int64
}

// Known reports whether any ping has been answered.
func (r *Relation) Known() bool { return r.n > 0 }

// Observe takes an answered ping: sent and received in ns on the server's clock,
// c the pad's clock in ms. A ping that was received before it was sent is ignored.
func (r *Relation) Observe(sent, received int64, c float64) {
	if received < sent {
		return
	}
	if _, frac := math.Modf(c); frac != 0 {
		r.precise = true
	}
	cn := int64(c * nsPerMilli)
	if r.n == keepPings {
		r.drop(1)
	}
	r.pings[r.n] = ping{at: received, lo: sent - cn, hi: received - cn, rtt: received - sent}
	r.n++
	old := 0
	for old < r.n-1 && received-r.pings[old].at > keepFor {
		old++
	}
	r.drop(old)
	// Pings that contradict the newest are from before one of the clocks was
	// set or stood still (a machine that slept).
	for r.n > 1 {
		if lo, hi := r.interval(received); lo <= hi {
			break
		}
		r.drop(1)
	}
}

func (r *Relation) drop(n int) {
	copy(r.pings[:], r.pings[n:r.n])
	r.n -= n
}

func (r *Relation) grain() int64 {
	if r.precise {
		return fine
	}
	return coarse
}

// interval returns the bounds of server − pad at time now. Both an edge's clock
// and a pong's are rounded down by up to the grain; the difference is that of
// the rounded clocks on the mean, so half a grain is added to either side.
func (r *Relation) interval(now int64) (lo, hi int64) {
	lo, hi = math.MinInt64, math.MaxInt64
	half := r.grain() / 2
	for _, p := range r.pings[:r.n] {
		slack := half
		if age := now - p.at; age > 0 {
			slack += int64(float64(age) * maxDrift)
		}
		lo, hi = max(lo, p.lo-slack), min(hi, p.hi+slack)
	}
	return lo, hi
}

// At returns the time in ns on the server's clock of the pad's clock c (ms), as
// seen at now: never later than now. Before any ping was answered it is now.
func (r *Relation) At(c float64, now int64) int64 {
	if r.n == 0 {
		return now
	}
	r.steer(now)
	return min(int64(c*nsPerMilli)+r.offset, now)
}

// steer moves the offset in use towards the best estimate.
func (r *Relation) steer(now int64) {
	lo, hi := r.interval(now)
	best := lo + (hi-lo)/2
	since := now - r.used
	switch {
	case !r.known || since >= idleAfter:
		r.offset = best
	default:
		step := int64(float64(since) * maxSlew)
		r.offset += max(-step, min(step, best-r.offset))
		if r.offset < lo-broken || r.offset > hi+broken {
			r.offset = best
		}
	}
	r.known, r.used = true, max(r.used, now)
}

// Bound returns the greatest error in ns of a time that At gives at now, under
// the assumptions of the type. It is 0 before any ping was answered.
func (r *Relation) Bound(now int64) int64 {
	if r.n == 0 {
		return 0
	}
	lo, hi := r.interval(now)
	b := (hi - lo + 1) / 2
	if r.known && now-r.used < idleAfter {
		b = max(hi-r.offset, r.offset-lo)
	}
	return b + r.grain()/2
}

// RTT returns the least round trip in ns of the pings in use, 0 without any.
func (r *Relation) RTT() int64 {
	if r.n == 0 {
		return 0
	}
	least := int64(math.MaxInt64)
	for _, p := range r.pings[:r.n] {
		least = min(least, p.rtt)
	}
	return least
}
