// Package window works out links: how wide the window is in which a press makes
// the next move link, which starts a multi-press covers, where the holes are,
// which spacing is best, and how a real attempt against a window came out.
//
// All times are whole frames ([frame.Frame]). A window is the frames 0 … W−1 in
// which a press makes the next move link, W being its length. A start is the
// frame of the first press, counted from the window's first frame, so a negative
// start is early. A multi-press is given by the offsets of its presses from the
// first one, 0 = o1 < o2 < …, each at least [MinSpacing] after the one before,
// since a press needs a frame down and a frame up before the next.
//
// [Link] turns frame data into a window, [Evaluate] gives the starts that a
// multi-press covers, [BestSpacing] the widest spacing without a hole, [Judge]
// the outcome of one attempt and [Advise] what to say about a plan. [Evaluate]
// and [Judge] are meant for live use: they allocate nothing.
//
// The arithmetic follows from the definitions in [Rules]; the tests compare it
// with a frame-by-frame simulation.
package window

import (
	"fmt"

	"holdgap/overlay/frame"
)

// Limits.
const (
	// MaxFrames is the longest window, in frames: ten seconds at 60 frames a
	// second, far beyond any link.
	MaxFrames frame.Frame = 600
	// MaxPresses is the greatest number of presses in a multi-press.
	MaxPresses = 16
	// MinSpacing is the closest that a game can read two presses of one button:
	// one frame down, one frame up.
	MinSpacing frame.Frame = 2
	// MaxSpacing is the longest spacing, in frames, between two presses that a
	// plan may have.
	MaxSpacing frame.Frame = 600
)

// FieldError says which value of a link, plan or rule is wrong and why. Field
// is one of frames, advantage, startup, buffer, presses, spacing, offsets,
// holds, early and hold.
type FieldError struct {
	Field  string
	Reason string
}

// Error returns the field and the reason.
func (e *FieldError) Error() string { return e.Field + ": " + e.Reason }

func fieldErrorf(field, format string, args ...any) error {
	return &FieldError{Field: field, Reason: fmt.Sprintf(format, args...)}
}

// Link is the frame data of two moves in a row. All values are frames.
type Link struct {
	// Advantage is the first move's frame advantage on hit; it may be negative.
	Advantage frame.Frame
	// Startup is the second move's startup, counting its first active frame
	// unless ExcludesActive is set.
	Startup frame.Frame
	// Buffer is the number of frames before the first possible one in which the
	// game keeps a press and plays it as soon as it can. It extends the window
	// on its early side.
	Buffer frame.Frame
	// ExcludesActive says that Startup does not count the first active frame.
	ExcludesActive bool
}

// Validate returns a [*FieldError] when a value cannot be frame data: a startup
// below 1 (below 0 with ExcludesActive), a negative buffer, a value or a window
// above [MaxFrames]. A link that is too short is no error.
func (l Link) Validate() error {
	least := frame.Frame(1)
	if l.ExcludesActive {
		least = 0
	}
	switch {
	case l.Advantage < -MaxFrames || l.Advantage > MaxFrames:
		return fieldErrorf("advantage", "%d frames is outside −%d to %d", l.Advantage, MaxFrames, MaxFrames)
	case l.Startup < least:
		return fieldErrorf("startup", "%d frames is below %d, the least there can be in this way of counting", l.Startup, least)
	case l.Startup > MaxFrames:
		return fieldErrorf("startup", "%d frames is above %d", l.Startup, MaxFrames)
	case l.Buffer < 0:
		return fieldErrorf("buffer", "%d frames is negative: give 0 for a game without a buffer", l.Buffer)
	case l.Buffer > MaxFrames:
		return fieldErrorf("buffer", "%d frames is above %d", l.Buffer, MaxFrames)
	}
	if w, _ := l.Window(); w > MaxFrames {
		return fieldErrorf("advantage", "the window comes to %d frames, above %d", w, MaxFrames)
	}
	return nil
}

// Window returns the window's length in frames, and by how many frames of
// advantage the link falls short: one of the two is 0.
//
// Without a buffer W = Advantage − Startup + 1, or Advantage − Startup when
// Startup excludes the first active frame: the opponent is still reeling for
// Advantage frames after the player can act, and the move hits on the last of
// them at the latest. W ≤ 0 is no link, 1 − W frames short. The buffer adds to a
// window that is there; it cannot make one, because a kept press comes out on
// the first possible frame, which in that case is already too late.
func (l Link) Window() (w, short frame.Frame) {
	w = l.Advantage - l.Startup
	if !l.ExcludesActive {
		w++
	}
	if w <= 0 {
		return 0, 1 - w
	}
	return w + l.Buffer, 0
}

// ValidateFrames returns a [*FieldError] for a window above [MaxFrames]. A
// length of 0 or below is no error: it is no link.
func ValidateFrames(w frame.Frame) error {
	if w > MaxFrames {
		return fieldErrorf("frames", "a window of %d frames is above %d: a link is a few frames long", w, MaxFrames)
	}
	return nil
}
