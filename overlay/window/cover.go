package window

import (
	"strconv"

	"holdgap/overlay/frame"
)

// Span is a run of frames or starts, both ends included.
type Span struct{ First, Last frame.Frame }

// Len returns the number of frames in the span.
func (s Span) Len() frame.Frame { return s.Last - s.First + 1 }

// String returns "first … last", or one number when both are the same.
func (s Span) String() string {
	first := strconv.FormatInt(int64(s.First), 10)
	if s.First == s.Last {
		return first
	}
	return first + " … " + strconv.FormatInt(int64(s.Last), 10)
}

// MarshalJSON writes the span as [first,last].
func (s Span) MarshalJSON() ([]byte, error) {
	b := append([]byte{'['}, strconv.FormatInt(int64(s.First), 10)...)
	b = append(b, ',')
	b = strconv.AppendInt(b, int64(s.Last), 10)
	return append(b, ']'), nil
}

// Cover is the set of covered starts of a multi-press, as runs in ascending
// order. It is a plain value of fixed size. The zero value covers nothing.
type Cover struct {
	runs [MaxPresses]Span
	n    int
	size frame.Frame
}

// Evaluate returns the starts from which presses at the given offsets put a
// counting press into a window of w frames (nothing when w ≤ 0), by the rules.
//
// Offsets are frames from the first press, ascending. Holds are frames per
// press; a missing or zero hold stands for as long as the next press allows
// (spacing − 1), and for the last press as long as wanted. Only the first
// [MaxPresses] presses are looked at. Evaluate does not validate (see
// [Plan.Validate]), does not allocate and keeps no reference to its arguments.
func Evaluate(w frame.Frame, r Rules, offsets, holds []frame.Frame) Cover {
	var c Cover
	if w <= 0 {
		return c
	}
	if len(offsets) > MaxPresses {
		// A seventeenth press still ends the hold of the sixteenth, but that
		// one is then the last that counts: it may be held as wanted.
		offsets = offsets[:MaxPresses]
	}
	// Press i counts from the starts that put it into the window and every
	// earlier press before it: one run a press, and the later the press, the
	// earlier the run. Spoiling takes the starts from the run's late end that
	// put the press before within reach; nothing else can spoil, since the
	// others are earlier still.
	for i := len(offsets) - 1; i >= 0; i-- {
		first := -offsets[i]
		last := first + w - 1
		if i > 0 {
			if r.Early == Spoil && r.Reach == 0 {
				continue
			}
			before := -offsets[i-1] - 1
			if r.Early == Spoil {
				before -= r.Reach
			}
			last = min(last, before)
		}
		if last < first || r.Hold > 1 && holdOf(i, offsets, holds) < r.Hold {
			continue
		}
		c.size += last - first + 1
		if c.n > 0 && c.runs[c.n-1].Last == first-1 {
			c.runs[c.n-1].Last = last
			continue
		}
		c.runs[c.n] = Span{first, last}
		c.n++
	}
	return c
}

// Size returns the number of covered starts, in frames.
func (c *Cover) Size() frame.Frame { return c.size }

// Runs returns how many runs of covered starts there are.
func (c *Cover) Runs() int { return c.n }

// Run returns run i of the covered starts, 0 ≤ i < [Cover.Runs], earliest
// first. It panics outside that range.
func (c *Cover) Run(i int) Span { return c.runs[:c.n][i] }

// Contiguous reports whether something is covered and there is no hole in it.
func (c *Cover) Contiguous() bool { return c.n == 1 }

// Widens reports whether the cover has no hole and holds more starts than one
// press alone covers in a window of w frames: whether the extra presses helped.
func (c *Cover) Widens(w frame.Frame) bool { return c.n == 1 && c.size > w }

// Holes returns how many holes there are: runs of starts between two covered
// ones that are not covered.
func (c *Cover) Holes() int { return max(c.n-1, 0) }

// Hole returns hole i, 0 ≤ i < [Cover.Holes], earliest first. It panics outside
// that range.
func (c *Cover) Hole(i int) Span {
	r := c.runs[:c.n]
	return Span{r[i].Last + 1, r[i+1].First - 1}
}

// FirstHole returns the earliest hole, and false when there is none.
func (c *Cover) FirstHole() (Span, bool) {
	if c.n < 2 {
		return Span{}, false
	}
	return c.Hole(0), true
}

// Contains reports whether start f is covered.
func (c *Cover) Contains(f frame.Frame) bool {
	for _, r := range c.runs[:c.n] {
		if f <= r.Last {
			return f >= r.First
		}
	}
	return false
}

// AppendStarts appends every covered start to dst in ascending order.
func (c *Cover) AppendStarts(dst []frame.Frame) []frame.Frame {
	for _, r := range c.runs[:c.n] {
		for f := r.First; f <= r.Last; f++ {
			dst = append(dst, f)
		}
	}
	return dst
}

// AppendHoles appends every hole to dst in ascending order.
func (c *Cover) AppendHoles(dst []Span) []Span {
	for i := range c.Holes() {
		dst = append(dst, c.Hole(i))
	}
	return dst
}
