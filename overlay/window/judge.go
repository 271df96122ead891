package window

import (
	"fmt"

	"holdgap/overlay/frame"
)

// Kind says how an attempt came out.
type Kind uint8

const (
	// NoPress: there was no press to judge, or no window.
	NoPress Kind = iota
	// Hit: a press counted.
	Hit
	// TooEarly: every press came before the window, or one came out early and
	// spoiled it.
	TooEarly
	// TooLate: every press came after the window.
	TooLate
	// Straddled: presses on both sides of the window and none in it.
	Straddled
	// Unheld: a press fell into the window but was not held long enough.
	Unheld
)

var kindWords = [...]string{"none", "hit", "early", "late", "straddled", "unheld"}

// String returns the kind's word: none, hit, early, late, straddled or unheld.
func (k Kind) String() string {
	if int(k) < len(kindWords) {
		return kindWords[k]
	}
	return fmt.Sprintf("kind(%d)", uint8(k))
}

// MarshalText writes the kind's word.
func (k Kind) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// UnmarshalText reads the kind's word.
func (k *Kind) UnmarshalText(b []byte) error {
	for i, w := range kindWords {
		if w == string(b) {
			*k = Kind(i)
			return nil
		}
	}
	return fmt.Errorf("outcome %q is not known: it is one of none, hit, early, late, straddled and unheld", b)
}

// Outcome is how an attempt against a window came out. It can be compared with
// == and used as a map key.
type Outcome struct {
	Kind Kind
	// Press is the number of the deciding press, the first being 1: the one
	// that counted, spoiled, was let go too soon, or came nearest to the window
	// (for Straddled the last one before it). 0 with NoPress.
	Press int
	// Early is by how many frames the deciding press came before the window's
	// first frame; 0 unless TooEarly or Straddled.
	Early frame.Frame
	// Late is by how many frames the nearest press after the window's last frame
	// came after it; 0 unless TooLate or Straddled.
	Late frame.Frame
	// Short is how many frames of hold were missing; 0 unless Unheld.
	Short frame.Frame
}

// String returns the outcome in words, for example "hit on press 2", "early by
// 3", "straddled, early by 1 and late by 1".
func (o Outcome) String() string {
	switch o.Kind {
	case Hit:
		return fmt.Sprintf("hit on press %d", o.Press)
	case TooEarly:
		return fmt.Sprintf("early by %d", o.Early)
	case TooLate:
		return fmt.Sprintf("late by %d", o.Late)
	case Straddled:
		return fmt.Sprintf("straddled, early by %d and late by %d", o.Early, o.Late)
	case Unheld:
		return fmt.Sprintf("press %d let go %d too soon", o.Press, o.Short)
	}
	return "no press"
}

// Judge returns how an attempt came out against a window of w frames, by the
// rules. starts are the frames of the presses counted from the window's first
// frame, ascending; holds are their lengths in frames, a missing or zero one
// standing for as long as the next press allows, and for the last press as long
// as wanted. Where presses of several buttons are judged together a next press
// ends nothing: give every hold, [Held] for a press that is still down.
//
// The first press that spoils decides; else the first press in the window; else
// the nearest one outside it. An attempt whose first press is at start f is Hit
// exactly when [Evaluate] covers f. Judge does not allocate.
func Judge(w frame.Frame, r Rules, starts, holds []frame.Frame) Outcome {
	if w <= 0 || len(starts) == 0 {
		return Outcome{}
	}
	before, after := -1, -1 // the last press before the window, the first after it
	for i, f := range starts {
		switch {
		case r.spoils(f):
			return Outcome{Kind: TooEarly, Press: i + 1, Early: -f}
		case f < 0:
			before = i
		case f < w:
			if h := holdOf(i, starts, holds); r.Hold > 1 && h < r.Hold {
				return Outcome{Kind: Unheld, Press: i + 1, Short: r.Hold - h}
			}
			return Outcome{Kind: Hit, Press: i + 1}
		case after < 0:
			after = i
		}
	}
	switch {
	case after < 0:
		return Outcome{Kind: TooEarly, Press: before + 1, Early: -starts[before]}
	case before < 0:
		return Outcome{Kind: TooLate, Press: after + 1, Late: starts[after] - w + 1}
	}
	return Outcome{Kind: Straddled, Press: before + 1, Early: -starts[before], Late: starts[after] - w + 1}
}
