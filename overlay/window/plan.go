package window

import "holdgap/overlay/frame"

// Plan is a multi-press: when its presses come and how long they are held.
type Plan struct {
	// Offsets are the frames of the presses from the first one: 0, then
	// ascending by at least [MinSpacing].
	Offsets []frame.Frame
	// Holds are the presses' lengths in frames. A missing or zero one stands
	// for as long as the next press allows (spacing − 1), and for the last press
	// as long as wanted.
	Holds []frame.Frame
}

// Equal returns the plan of n presses with equal spacing d, in frames, held as
// long as they allow. It does not validate.
func Equal(n int, d frame.Frame) Plan {
	p := Plan{Offsets: make([]frame.Frame, max(n, 0))}
	for i := range p.Offsets {
		p.Offsets[i] = frame.Frame(i) * d
	}
	return p
}

// Validate returns a [*FieldError] when the plan cannot be pressed: no press or
// more than [MaxPresses], a first offset other than 0, offsets that do not
// ascend, a spacing below [MinSpacing] or above [MaxSpacing], a negative hold,
// more holds than presses, or a press held into the next one.
func (p Plan) Validate() error {
	n := len(p.Offsets)
	switch {
	case n == 0:
		return fieldErrorf("offsets", "there is no press: the first offset is 0")
	case n > MaxPresses:
		return fieldErrorf("presses", "%d presses are more than %d", n, MaxPresses)
	case p.Offsets[0] != 0:
		return fieldErrorf("offsets", "the first is %d, but offsets count from the first press: begin with 0", p.Offsets[0])
	case len(p.Holds) > n:
		return fieldErrorf("holds", "there are %d holds for %d presses", len(p.Holds), n)
	}
	for i := 1; i < n; i++ {
		a, b := p.Offsets[i-1], p.Offsets[i]
		switch {
		case b <= a:
			return fieldErrorf("offsets", "%d after %d is not ascending", b, a)
		case b-a < MinSpacing:
			return fieldErrorf("offsets", "%d after %d is a spacing of %d, below %d: a press needs one frame down and one frame up before the next", b, a, b-a, MinSpacing)
		case b-a > MaxSpacing:
			return fieldErrorf("offsets", "%d after %d is a spacing of %d, above %d", b, a, b-a, MaxSpacing)
		}
	}
	for i, h := range p.Holds {
		switch {
		case h < 0:
			return fieldErrorf("holds", "%d frames for press %d is negative", h, i+1)
		case i+1 < n && h > p.Offsets[i+1]-p.Offsets[i]-1:
			return fieldErrorf("holds", "press %d held %d frames overlaps press %d, which comes %d frames after it: %d is the longest that leaves a frame up in between",
				i+1, h, i+2, p.Offsets[i+1]-p.Offsets[i], p.Offsets[i+1]-p.Offsets[i]-1)
		}
	}
	return nil
}

// Cover returns [Evaluate] for the plan.
func (p Plan) Cover(w frame.Frame, r Rules) Cover { return Evaluate(w, r, p.Offsets, p.Holds) }

// Best is the equal spacing that covers the most starts without a hole.
type Best struct {
	// Spacing is in frames; 0 when no spacing covers more starts without a hole
	// than one press alone.
	Spacing frame.Frame
	// Covered is the number of starts it covers, or those of one press alone.
	Covered frame.Frame
}

// BestSpacing returns the equal spacing with which n presses (at most
// [MaxPresses]) cover the most starts of a window of w frames without a hole,
// the smallest of them if several do. holds are as in [Plan]: given ones are
// kept and rule out the spacings that they overlap.
//
// With early presses ignored and no hold asked for there is a closed form:
// neighbouring presses cover runs of min(w, d) starts, d apart, which touch iff
// d ≤ w, so d = w is the widest and covers n·w; w = 1 has none, d being at least
// 2. In the other cases the spacings are searched.
func BestSpacing(w frame.Frame, r Rules, n int, holds []frame.Frame) Best {
	if w <= 0 || n < 1 {
		return Best{}
	}
	n = min(n, MaxPresses)
	least := MinSpacing
	for i, h := range holds {
		if i < n-1 {
			least = max(least, h+1)
		}
	}
	if r.Early == Ignored && r.Hold <= 1 {
		if n == 1 || w < least {
			return Best{Covered: w}
		}
		return Best{Spacing: w, Covered: frame.Frame(n) * w}
	}
	// One press alone may be held as long as wanted, unless its hold is given.
	best := Best{}
	if n > 1 || r.Hold <= 1 || holdOf(0, []frame.Frame{0}, holds) >= r.Hold {
		best.Covered = w
	}
	if n == 1 || r.Early == Spoil && r.Reach == 0 {
		return best
	}
	// Runs of neighbouring presses that both count touch only up to d = w, and
	// further apart nothing closes a hole again.
	var at [MaxPresses]frame.Frame
	for d := least; d <= w; d++ {
		for i := range n {
			at[i] = frame.Frame(i) * d
		}
		c := Evaluate(w, r, at[:n], holds)
		if c.Contiguous() && c.Size() > best.Covered {
			best = Best{Spacing: d, Covered: c.Size()}
		}
	}
	return best
}
