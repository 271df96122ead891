package window

import (
	"fmt"
	"strings"

	"holdgap/overlay/frame"
)

// Reason is why extra presses cannot widen a window without a hole.
type Reason uint8

const (
	// Helps: there is a spacing that widens the window without a hole.
	Helps Reason = iota
	// NoLink: there is no window.
	NoLink
	// OnePress: there is only one press.
	OnePress
	// OneFrame: the window is one frame, and two presses are at least two apart.
	OneFrame
	// SpoiledEarly: an early press comes out and ruins the attempt.
	SpoiledEarly
	// MustBeDelayed: the move can come out before it links, so a press within
	// reach before the window comes out too soon.
	MustBeDelayed
	// MustBeHeld: the press that counts must stay down longer than an earlier
	// press can be held.
	MustBeHeld
	// HoldsTooLong: the holds as given leave no room for a spacing that fits the
	// window.
	HoldsTooLong
)

// String returns the reason in a few words.
func (r Reason) String() string {
	switch r {
	case Helps:
		return "extra presses help"
	case NoLink:
		return "no link"
	case OnePress:
		return "one press only"
	case OneFrame:
		return "one-frame window"
	case SpoiledEarly:
		return "spoiled early"
	case MustBeDelayed:
		return "move must be delayed"
	case MustBeHeld:
		return "must be held"
	case HoldsTooLong:
		return "holds too long"
	}
	return fmt.Sprintf("reason(%d)", uint8(r))
}

// Why returns whether n presses can widen a window of w frames without a hole by
// some equal spacing, and if not, why not. holds are as in [BestSpacing].
func Why(w frame.Frame, r Rules, n int, holds []frame.Frame) Reason {
	best := BestSpacing(w, r, n, holds)
	switch {
	case w <= 0:
		return NoLink
	case n < 2:
		return OnePress
	case best.Spacing > 0:
		return Helps
	case r.Early == Spoil && r.Reach == 0:
		return SpoiledEarly
	case r.Early == Spoil:
		return MustBeDelayed
	case w == 1:
		return OneFrame
	case r.Hold > 1 && BestSpacing(w, Rules{}, n, holds).Spacing > 0:
		return MustBeHeld
	}
	return HoldsTooLong
}

// Advise returns, in one to three English sentences, what to say about a plan
// against a window of w frames (0 or below: no link): why extra presses cannot
// help, where the plan leaves holes, or which spacing would cover more. The plan
// must be valid.
func Advise(w frame.Frame, r Rules, p Plan) string {
	n := len(p.Offsets)
	if w <= 0 {
		return fmt.Sprintf("No link: %s short. No way of pressing makes it link.", Frames(1-w))
	}
	c := p.Cover(w, r)
	best := BestSpacing(w, r, n, p.Holds)
	var s []string
	switch Why(w, r, n, p.Holds) {
	case OnePress:
		return adviseOne(w, r, c)
	case OneFrame:
		s = append(s, "A one-frame window: the closest second press comes two frames after the first, so the start between them always misses.",
			"More presses give more starts that work, each with a hole beside it; one well-timed press is worth as much.")
		return strings.Join(s, " ")
	case SpoiledEarly:
		s = append(s, "Spoiled early: a press before the window comes out and ruins it, so only the first press can count and extra presses do not help.")
	case MustBeDelayed:
		s = append(s, fmt.Sprintf("The move must be delayed: a press in the %s before the window comes out too soon, so extra presses cannot widen it without a hole.", Frames(r.Reach)))
	case MustBeHeld:
		s = append(s, adviseHold(w, r, p))
	case HoldsTooLong:
		s = append(s, fmt.Sprintf("Presses held this long leave no spacing within a window of %s: let go sooner.", Frames(w)))
	}
	return strings.Join(append(s, advisePlan(w, r, p, c, best)...), " ")
}

func adviseHold(w frame.Frame, r Rules, p Plan) string {
	free := BestSpacing(w, r, len(p.Offsets), nil)
	if free.Spacing == 0 {
		return fmt.Sprintf("The button must be held %s, and with a spacing that fits the window an earlier press cannot be: only the last press can count, so extra presses do not help.", Frames(r.Hold))
	}
	return fmt.Sprintf("The button must be held %s, and presses let go sooner do not count: held that long, spacing %d would cover %s.", Frames(r.Hold), free.Spacing, Starts(free.Covered))
}

func adviseOne(w frame.Frame, r Rules, c Cover) string {
	if c.Size() == 0 {
		return fmt.Sprintf("One press held this short never counts: it must stay down %s.", Frames(r.Hold))
	}
	two := BestSpacing(w, r, 2, nil)
	if two.Spacing == 0 {
		return fmt.Sprintf("One press covers %s. A second one would not widen it without a hole (%s).", Starts(w), Why(w, r, 2, nil))
	}
	return fmt.Sprintf("One press covers %s; a double press with spacing %d (%s in between) covers %d.", Starts(w), two.Spacing, Frames(two.Spacing-1), two.Covered)
}

// advisePlan says how the plan itself does, against the best spacing there is.
func advisePlan(w frame.Frame, r Rules, p Plan, c Cover, best Best) []string {
	var s []string
	switch {
	case c.Size() == 0:
		s = append(s, "This plan covers nothing.")
	case c.Holes() > 0:
		hole, _ := c.FirstHole()
		s = append(s, fmt.Sprintf("This plan covers %s but leaves %s, the first at %s.", Starts(c.Size()), count(frame.Frame(c.Holes()), "hole"), hole))
	case best.Spacing > 0 && c.Size() >= best.Covered:
		return []string{fmt.Sprintf("No equal spacing covers more without a hole: these are %s, one press alone has %d.", Starts(c.Size()), w)}
	default:
		s = append(s, fmt.Sprintf("This plan covers %s without a hole.", Starts(c.Size())))
	}
	if best.Spacing > 0 {
		s = append(s, fmt.Sprintf("The widest without a hole is spacing %d (%s in between): %s.", best.Spacing, Frames(best.Spacing-1), Starts(best.Covered)))
		if !c.Contiguous() || c.Size() < best.Covered {
			s = append(s, shortHolds(r, p)...)
		}
	}
	return s
}

// shortHolds says when a press of the plan before the last is let go too soon to count.
func shortHolds(r Rules, p Plan) []string {
	for i := range p.Offsets {
		if h := holdOf(i, p.Offsets, p.Holds); h < r.Hold {
			return []string{fmt.Sprintf("Press %d is down %s here and must be held %d to count.", i+1, Frames(h), r.Hold)}
		}
	}
	return nil
}

// Frames returns "1 frame", "2 frames" and so on.
func Frames(n frame.Frame) string { return count(n, "frame") }

// Starts returns "1 start", "2 starts" and so on.
func Starts(n frame.Frame) string { return count(n, "start") }

func count(n frame.Frame, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}
