package window

import (
	"fmt"
	"strconv"
	"strings"

	"holdgap/overlay/frame"
)

// Early says what an early press does.
type Early uint8

const (
	// Ignored: a press before the window does nothing.
	Ignored Early = iota
	// Spoil: a press before the window comes out and ruins the attempt.
	Spoil
)

// Rules say when a press counts. The zero value is the common case: an early
// press does nothing and a press need not be held.
//
// From start f press i falls on frame f + oi of the window's count. The first
// press that falls on 0 … W−1 is the counting press. f is covered iff there is
// a counting press, no press spoils it, and it stays down long enough.
type Rules struct {
	// Early says what a press before the window does.
	Early Early
	// Reach limits Spoil to presses on the frames −Reach … −1; 0 lets every
	// early press spoil. It means nothing with Ignored.
	Reach frame.Frame
	// Hold is the number of frames that the counting press must stay down; 0
	// and 1 ask for nothing.
	Hold frame.Frame
}

// Held is the hold of a press that stays down for as long as wanted: the last
// one of a plan, or one that is still down.
const Held frame.Frame = 1 << 40

// maxHold bounds Rules.Hold, in frames.
const maxHold = MaxFrames

// ParseEarly reads "ignored", "spoil" or "spoil:E" into rules without a hold; E
// is the reach in frames, at least 1. The error is a [*FieldError].
func ParseEarly(s string) (Rules, error) {
	word, reach, limited := strings.Cut(s, ":")
	switch {
	case word == "ignored" && !limited:
		return Rules{}, nil
	case word == "spoil" && !limited:
		return Rules{Early: Spoil}, nil
	case word == "spoil":
		e, err := strconv.ParseInt(reach, 10, 64)
		if err != nil || e < 1 || frame.Frame(e) > MaxFrames {
			return Rules{}, fieldErrorf("early", "%q: the reach %q is not a whole number of frames from 1 to %d", s, reach, MaxFrames)
		}
		return Rules{Early: Spoil, Reach: frame.Frame(e)}, nil
	}
	return Rules{}, fieldErrorf("early", "%q is not known: write ignored, spoil, or spoil:E for a press within E frames before the window", s)
}

// Validate returns a [*FieldError] when a value is out of range: an unknown
// Early, a reach or hold that is negative or above [MaxFrames].
func (r Rules) Validate() error {
	switch {
	case r.Early > Spoil:
		return fieldErrorf("early", "rule number %d is not known", r.Early)
	case r.Reach < 0 || r.Reach > MaxFrames:
		return fieldErrorf("early", "a reach of %d frames is outside 0 to %d", r.Reach, MaxFrames)
	case r.Hold < 0:
		return fieldErrorf("hold", "%d frames is negative: give 0 when the button need not be held", r.Hold)
	case r.Hold > maxHold:
		return fieldErrorf("hold", "%d frames is above %d", r.Hold, maxHold)
	}
	return nil
}

// EarlyText returns the early rule as [ParseEarly] reads it.
func (r Rules) EarlyText() string {
	switch {
	case r.Early == Ignored:
		return "ignored"
	case r.Reach == 0:
		return "spoil"
	}
	return "spoil:" + strconv.FormatInt(int64(r.Reach), 10)
}

// String returns the rules in short, for example "early ignored" or "early
// spoil:3, hold 4".
func (r Rules) String() string {
	if r.Hold > 1 {
		return fmt.Sprintf("early %s, hold %d", r.EarlyText(), r.Hold)
	}
	return "early " + r.EarlyText()
}

// spoils reports whether a press on frame f, counted from the window's first,
// ruins the attempt.
func (r Rules) spoils(f frame.Frame) bool {
	return f < 0 && r.Early == Spoil && (r.Reach == 0 || f >= -r.Reach)
}

// holdOf returns how long press i is down: as given, else as long as the next
// press allows, and for the last one as long as wanted.
func holdOf(i int, at, holds []frame.Frame) frame.Frame {
	if i < len(holds) && holds[i] > 0 {
		return holds[i]
	}
	if i+1 < len(at) {
		return at[i+1] - at[i] - 1
	}
	return Held
}
