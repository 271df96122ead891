// Package frame turns times into frames: exact rates, the poll instants of a
// game, and the two rules by which a game reads a button.
//
// Times are int64 nanoseconds on one monotonic clock. Frame k is what the game
// reads at its poll instant p(k) = phase + k·T, with T = 1/rate exactly (a
// fraction of a nanosecond is kept, so there is no drift). The package has no
// clock, does no I/O and allocates nothing.
//
// Start with [ParseRate], make a [Clock], then ask [Clock.At] which frame reads
// an edge, or [Clock.Span] which frames see a button down.
package frame

import (
	"fmt"
	"math/bits"
)

// Frame is the index of one step of the game; a difference of two is a length
// in frames. Frame 0 is read at the clock's phase.
type Frame int64

// nsPerSecond is the number of nanoseconds in a second.
const nsPerSecond = 1_000_000_000

// ReadRule says when a game takes a button to be down in a frame.
type ReadRule uint8

const (
	// Sampled: down in frame k iff down at p(k). An edge exactly at p(k) has
	// happened by then.
	Sampled ReadRule = iota
	// Latched: down in frame k iff down at any instant in (p(k−1), p(k)].
	Latched
)

// ParseReadRule reads "sampled" or "latched".
func ParseReadRule(s string) (ReadRule, error) {
	switch s {
	case "sampled":
		return Sampled, nil
	case "latched":
		return Latched, nil
	}
	return Sampled, fmt.Errorf("read rule %q is not known: write sampled (looks at the poll instant) or latched (remembers any press since the last one)", s)
}

// String returns the word that [ParseReadRule] reads.
func (r ReadRule) String() string {
	if r == Latched {
		return "latched"
	}
	return "sampled"
}

// MarshalText writes the rule as its word.
func (r ReadRule) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText reads the rule from its word.
func (r *ReadRule) UnmarshalText(b []byte) error {
	v, err := ParseReadRule(string(b))
	if err == nil {
		*r = v
	}
	return err
}

// Clock is a game's frame grid. The zero value is not usable: make one with
// [NewClock].
type Clock struct {
	rate  Rate
	phase int64
	unit  uint64 // den·1e9: p(k) − phase is k·unit/num nanoseconds
	num   uint64
}

// NewClock returns the grid p(k) = phase + k/rate; phase is in nanoseconds on
// the monotonic clock that also stamps the edges. The rate must be valid (any
// that [ParseRate] or [NewRate] returned is).
func NewClock(r Rate, phase int64) Clock {
	return Clock{rate: r, phase: phase, unit: uint64(r.den) * nsPerSecond, num: uint64(r.num)}
}

// Rate returns the frames per second.
func (c Clock) Rate() Rate { return c.rate }

// Phase returns p(0) in nanoseconds.
func (c Clock) Phase() int64 { return c.phase }

// At returns the first frame that reads an edge at t (ns): the smallest k with
// t ≤ p(k). An edge exactly at p(k) has happened by then, so it belongs to k.
func (c Clock) At(t int64) Frame {
	d := t - c.phase
	if d >= 0 {
		hi, lo := bits.Mul64(uint64(d), c.num)
		q, r := bits.Div64(hi, lo, c.unit)
		if r != 0 {
			q++
		}
		return Frame(q)
	}
	hi, lo := bits.Mul64(uint64(-d), c.num)
	q, _ := bits.Div64(hi, lo, c.unit)
	return -Frame(q)
}

// Poll returns the last whole nanosecond that frame k reads: p(k) rounded down.
// For every t in ns, At(t) ≤ k iff t ≤ Poll(k).
func (c Clock) Poll(k Frame) int64 {
	if k >= 0 {
		hi, lo := bits.Mul64(uint64(k), c.unit)
		q, _ := bits.Div64(hi, lo, c.num)
		return c.phase + int64(q)
	}
	hi, lo := bits.Mul64(uint64(-k), c.unit)
	q, r := bits.Div64(hi, lo, c.num)
	if r != 0 {
		q++
	}
	return c.phase - int64(q)
}

// Span returns the frames [first, end) that see a button down which went down
// at down and up at up (ns, down ≤ up). When end ≤ first no frame saw it: the
// press is unseen. Under Latched a press is always seen.
func (c Clock) Span(rule ReadRule, down, up int64) (first, end Frame) {
	first, end = c.At(down), c.At(up)
	if rule == Latched {
		end++
	}
	return first, end
}

// Length returns a duration of ns nanoseconds (≥ 0) as whole frames and the
// fraction of a frame left over, in [0, 1).
func (c Clock) Length(ns int64) (whole Frame, frac float64) {
	hi, lo := bits.Mul64(uint64(ns), c.num)
	q, r := bits.Div64(hi, lo, c.unit)
	return Frame(q), float64(r) / float64(c.unit)
}

// Position returns where t (ns) lies on the grid in frames, as a float for
// drawing only: p(k) is at k.0. Error below 1e-6 frames for a month from phase.
func (c Clock) Position(t int64) float64 {
	k := c.At(t)
	p := c.Poll(k)
	return float64(k) - float64(p-t)*float64(c.num)/float64(c.unit)
}
