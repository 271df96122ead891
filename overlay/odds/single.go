package odds

import (
	"math/bits"

	"holdgap/overlay/frame"
)

// HoldProbability returns the probability that a press from down to up (ns,
// down ≤ up) reads as k frames; k = 0 under sampled is an unseen press.
//
// Without a report interval and with a free phase a hold of x = h/T frames reads
// under sampled as ⌊x⌋ with probability 1 − frac(x), else as ⌊x⌋ + 1, and under
// latched as one more. It allocates nothing and takes the same time whatever the
// times are.
func (m Model) HoldProbability(down, up int64, k frame.Frame) float64 {
	if m.Rule == frame.Latched {
		k--
	}
	return m.between(down, up, k)
}

// GapProbability returns the probability that k frames see the button up
// between going up at up and down again at down (ns, up ≤ down); k = 0 is the
// probability that the two presses merge. As [Model.HoldProbability] otherwise;
// under latched a gap reads one frame shorter.
func (m Model) GapProbability(up, down int64, k frame.Frame) float64 {
	if m.Rule != frame.Latched {
		return m.between(up, down, k)
	}
	p := m.between(up, down, k+1)
	if k == 0 {
		// Both edges in one frame: it saw the button down throughout.
		p += m.between(up, down, 0)
	}
	return min(p, 1)
}

// SpacingProbability returns the probability that presses that go down at first
// and second (ns, first ≤ second) are k frames apart, the same under both rules.
// Whether they merge or go unseen is not looked at: see [Model.GapProbability]
// and [Model.HoldProbability].
func (m Model) SpacingProbability(first, second int64, k frame.Frame) float64 {
	return m.between(first, second, k)
}

// between returns the probability that the frames of two edges are k apart.
func (m *Model) between(a, b int64, k frame.Frame) float64 {
	rate := m.Clock.Rate()
	if m.Validate() != nil || b < a || k < 0 {
		return 0
	}
	if m.Report <= 0 {
		if m.Fixed {
			if m.Clock.At(b)-m.Clock.At(a) == k {
				return 1
			}
			return 0
		}
		unit := uint64(rate.Den()) * 1_000_000_000
		hi, lo := bits.Mul64(uint64(b-a), uint64(rate.Num()))
		q, r := bits.Div64(hi, lo, unit)
		switch k {
		case frame.Frame(q):
			return float64(unit-r) / float64(unit)
		case frame.Frame(q) + 1:
			return float64(r) / float64(unit)
		}
		return 0
	}
	var w walk
	w.begin(m)
	base := a
	if m.Fixed {
		base = m.Clock.Phase()
	}
	w.add(m, a-base, m.Report)
	w.add(m, b-base, min(m.Report, b-a))
	if !w.start() {
		return 0 // cannot be with two edges and a report interval up to maxReport
	}
	var t tally
	for w.next() {
		if w.frame(1)-w.frame(0) == k {
			t.add(&w)
		}
	}
	return t.probability(&w)
}
