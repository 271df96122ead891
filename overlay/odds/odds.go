// Package odds works out how presses given in nanoseconds read in frames when
// the game's phase is not known: every reading with its exact probability.
//
// The phase is uniform on [0, T), T being the length of a frame. A reading
// changes only where an edge meets a poll instant, so it is constant between
// neighbouring edge times mod T; the times mod T are kept as integers (units of
// 1/numerator of the rate, of a nanosecond), sorted, and the lengths between
// them added up. Nothing is sampled and no break is rounded. An edge exactly at a
// poll instant has happened by then.
//
// # Report interval
//
// A device that reports every r ns passes on the state it has at its report
// instants, so an edge stamped t happened somewhere in (t − r, t], and after the
// report before it that already showed the button's previous edge at t′: in
// (max(t − r, t′), t]. All edges of a device share the grid of its reports, and
// that grid is what the stamps show: given the stamps, what is left unknown is
// where in its own interval each edge fell. With nothing else known about the
// hands these are independent and uniform. That is the model here. Given the
// phase, the frame of each edge is then independent of the others with
// probabilities linear in the phase between breaks (each interval's two ends mod
// T), so the probability of a reading is the integral of a piecewise polynomial;
// Gauss–Legendre quadrature of matching order gives it exactly up to rounding.
// Take r = 0 where the game itself reads the same reports: then the stamps are
// what it sees.
//
// Start with a [Model]. [Model.Patterns] lists the readings, [Model.Covered] and
// [Model.Covers] hold them against a window, [Model.Outcomes] judges an attempt
// against a window that an anchor opens, and [Model.HoldProbability] and its
// siblings give the odds of one number at a constant cost for live use.
package odds

import (
	"errors"
	"fmt"
	"math"

	"holdgap/overlay/frame"
	"holdgap/overlay/window"
)

// SureAt is the probability from which on a number counts as sure.
const SureAt = 0.9

// Sure reports whether probability p is enough to show a number as sure.
func Sure(p float64) bool { return p >= SureAt }

// Open as the Up of a press says that it is still down.
const Open int64 = math.MaxInt64

// MaxPresses is the greatest number of presses in one pattern.
const MaxPresses = window.MaxPresses

// maxReport bounds the report interval (ns): no device for playing is slower.
const maxReport = 100_000_000

// Press is one physical press: a button going down and up, in ns on one clock.
type Press struct {
	Down, Up int64
	// Button tells buttons apart: presses of different buttons may overlap and
	// are never read as one.
	Button uint8
}

// Model is what is known about how the game reads the presses.
type Model struct {
	// Clock gives the rate, and the phase where Fixed is set.
	Clock frame.Clock
	// Fixed says that the phase is known and is the clock's. Otherwise it is
	// uniform over a frame.
	Fixed bool
	// Rule is the game's read rule.
	Rule frame.ReadRule
	// Report is the device's report interval in ns, 0 for none.
	Report int64
}

// ErrTooMany says that a report interval leaves more readings than are worth
// working out: over a quarter of a million.
var ErrTooMany = errors.New("too many readings to work out: give fewer presses or a shorter report interval")

// PressError says which press is wrong and why; Press is its index, or −1 when
// the error is about all of them.
type PressError struct {
	Press  int
	Reason string
}

// Error returns the press's number, counted from 1, and the reason.
func (e *PressError) Error() string {
	if e.Press < 0 {
		return e.Reason
	}
	return fmt.Sprintf("press %d %s", e.Press+1, e.Reason)
}

// Validate returns an error when the model has no rate or a report interval
// below 0 or above 100 ms.
func (m Model) Validate() error {
	if m.Clock.Rate().IsZero() {
		return errors.New("odds need a frame rate: make the clock with frame.NewClock")
	}
	if m.Report < 0 || m.Report > maxReport {
		return fmt.Errorf("a report interval of %s ms is outside 0 to %d ms", Milliseconds(m.Report), maxReport/1_000_000)
	}
	return nil
}

// ValidatePresses returns a [*PressError] unless there are 1 to [MaxPresses]
// presses in the order in which they went down, each going up after it went
// down, none going down while its button is still down.
func ValidatePresses(presses []Press) error {
	switch n := len(presses); {
	case n == 0:
		return &PressError{-1, "there is no press"}
	case n > MaxPresses:
		return &PressError{-1, fmt.Sprintf("%d presses are more than %d", n, MaxPresses)}
	}
	for i, p := range presses {
		if p.Up <= p.Down {
			return &PressError{i, fmt.Sprintf("goes up at %s ms, not after it goes down at %s ms", Milliseconds(p.Up), Milliseconds(p.Down))}
		}
		if i > 0 && p.Down < presses[i-1].Down {
			return &PressError{i, fmt.Sprintf("goes down at %s ms, before press %d at %s ms: give them in order", Milliseconds(p.Down), i, Milliseconds(presses[i-1].Down))}
		}
		for j := i - 1; j >= 0; j-- {
			if q := presses[j]; q.Button == p.Button {
				if q.Up == Open {
					return &PressError{i, fmt.Sprintf("goes down while press %d is still down", j+1)}
				}
				if p.Down < q.Up {
					return &PressError{i, fmt.Sprintf("goes down at %s ms and overlaps press %d, which goes up at %s ms", Milliseconds(p.Down), j+1, Milliseconds(q.Up))}
				}
				break
			}
		}
	}
	return nil
}

// Milliseconds returns ns nanoseconds as exact decimal milliseconds without
// trailing zeros, for example "16.683".
func Milliseconds(ns int64) string {
	sign, u := "", uint64(ns)
	if ns < 0 {
		sign, u = "-", -u
	}
	s := fmt.Sprintf("%s%d.%06d", sign, u/1_000_000, u%1_000_000)
	for s[len(s)-1] == '0' {
		s = s[:len(s)-1]
	}
	if s[len(s)-1] == '.' {
		s = s[:len(s)-1]
	}
	return s
}
