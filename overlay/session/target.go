package session

import (
	"fmt"

	"holdgap/overlay/frame"
	"holdgap/overlay/window"
)

// AnyButton as a target's wanted button lets a press of any button count.
const AnyButton = -1

// Target is what presses are judged against.
type Target struct {
	Name   string
	Window frame.Frame // frames; 0 judges nothing
	Rules  window.Rules
	Wanted int // index of the button that makes the move, or AnyButton

	// Presses and Spacing are the multi-press aimed at; 0 when none is. They
	// are shown beside what was done and change no verdict.
	Presses int
	Spacing frame.Frame

	// Anchored says that the window opens Opening frames after the press of
	// button Starter, so that real attempts are judged.
	Anchored bool
	Starter  int
	Opening  frame.Frame
}

// wants reports whether the target is about this button.
func (t *Target) wants(button uint8) bool {
	return t.Window > 0 && (t.Wanted == AnyButton || t.Wanted == int(button))
}

// Verdict of a multi-press in its own right, without an anchor.
type Verdict uint8

const (
	// Unjudged: there is no window to judge by, or it is about another button.
	Unjudged Verdict = iota
	// Covered: the presses widened the window without a hole.
	Covered
	// Holed: covered starts with uncovered ones between them.
	Holed
	// Single: under the rules the extra presses do not help.
	Single
	// Mashed: more than MaxMulti presses; no plan to judge.
	Mashed
)

// String returns the verdict's word: covered, holed, none (the extra presses do
// not help), mashed, or nothing when it was not judged.
func (v Verdict) String() string {
	switch v {
	case Covered:
		return "covered"
	case Holed:
		return "holed"
	case Single:
		return "none"
	case Mashed:
		return "mashed"
	}
	return ""
}

// Multi is a multi-press: presses of one button in quick succession. Its Cover
// means nothing unless the verdict is Covered, Holed or Single.
type Multi struct {
	ID      uint64
	Button  uint8
	Verdict Verdict
	N       int // presses so far; only the first MaxMulti are kept
	Presses [MaxMulti]uint64
	Offsets [MaxMulti]frame.Frame // frames from the first press
	Holds   [MaxMulti]frame.Frame // frames; 0 while it is down
	Times   [MaxMulti][2]int64    // down and up in ns; up is 0 while it is down
	First   frame.Frame           // frame of the first press
	Window  frame.Frame           // frames it was judged against
	Rules   window.Rules
	Cover   window.Cover
}

// Kept returns how many presses are kept in the arrays.
func (m *Multi) Kept() int { return min(m.N, MaxMulti) }

// judge fills in the verdict.
func (m *Multi) judge(t *Target) {
	m.Window, m.Rules = t.Window, t.Rules
	if !t.wants(m.Button) {
		m.Verdict, m.Window = Unjudged, 0
		return
	}
	if m.N > MaxMulti {
		m.Verdict = Mashed
		return
	}
	m.Cover = window.Evaluate(t.Window, t.Rules, m.Offsets[:m.N], m.Holds[:m.N])
	switch {
	case m.Cover.Widens(t.Window):
		m.Verdict = Covered
	case m.Cover.Runs() > 1:
		m.Verdict = Holed
	default:
		m.Verdict = Single
	}
}

// Words returns the verdict in a few words, for a strip or a list.
func (m *Multi) Words() string {
	switch m.Verdict {
	case Covered:
		return fmt.Sprintf("%d to %d frames", m.Window, m.Cover.Size())
	case Holed:
		h, _ := m.Cover.FirstHole()
		if n := int(m.Cover.Holes()); n > 1 {
			return fmt.Sprintf("%d holes, the first %s wide", n, frames(h.Len()))
		}
		return fmt.Sprintf("hole of %s", frames(h.Len()))
	case Single:
		return "extra presses do not help"
	case Mashed:
		return fmt.Sprintf("mashed ×%d", m.N)
	}
	return ""
}

func frames(n frame.Frame) string {
	if n == 1 {
		return "1 frame"
	}
	return fmt.Sprintf("%d frames", n)
}
