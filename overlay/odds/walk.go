package odds

import (
	"math/bits"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"

	"holdgap/overlay/frame"
)

const (
	maxEdges = 2 * (MaxPresses + 1) // the presses' and the anchor's
	// maxLeaves bounds the combinations of frames that one walk visits. A walk
	// that long takes about a tenth of a second.
	maxLeaves = 1 << 18
	// maxFree follows from maxLeaves: an edge that is not sure has at least two
	// frames to fall on.
	maxFree  = 18
	maxGauss = maxFree/2 + 1
)

// gauss[g] holds the nodes and weights of the quadrature with g points on [0, 1],
// exact for polynomials up to degree 2g − 1.
var gauss = func() (rule [maxGauss + 1]struct{ at, weight [maxGauss]float64 }) {
	for g := 1; g <= maxGauss; g++ {
		quad.Legendre{}.FixedLocations(rule[g].at[:g], rule[g].weight[:g], 0, 1)
	}
	return rule
}()

// edge is where one edge may lie: in (lower, upper], or exactly at upper when
// both are equal. A time is quotient·T + residue, the residue in [0, unit), both
// exact; T is unit long.
type edge struct {
	upQ, loQ int64
	upR, loR uint64
	width    float64 // upper − lower in units
}

// walk goes through every piece of the phase on which nothing changes and, within
// it, every combination of frames that the edges may fall on. Each step gives the
// frames of all edges and the probability of the combination.
//
// It is an iterator without closures so that it stays on the stack.
type walk struct {
	unit  uint64
	edges [maxEdges]edge
	n     int
	cuts  [2*maxEdges + 2]uint64 // bounds of the pieces, ascending, without doubles
	ncut  int
	fixed bool

	piece  int
	inside bool
	from   uint64 // where the piece begins

	first, last [maxEdges]int64 // frames an edge may fall on
	free        [maxFree]int    // edges with more than one
	nfree       int
	points      int
	theta       [maxGauss]float64              // the nodes, from the piece's beginning
	prefix      [maxFree + 1][maxGauss]float64 // weights times the factors of the free edges before

	// Of the current step:
	frames [maxEdges]int64
	count  uint64  // length of the piece when no edge was free: exact
	p      float64 // else the probability
}

// begin sets the walk up for a model.
func (w *walk) begin(m *Model) {
	rate := m.Clock.Rate()
	w.unit = uint64(rate.Den()) * 1_000_000_000
	w.fixed = m.Fixed
}

// add appends an edge stamped t, which happened after t − smear; both in ns
// from the same instant (the phase, when it is fixed).
func (w *walk) add(m *Model, t, smear int64) {
	num := uint64(m.Clock.Rate().Num())
	e := &w.edges[w.n]
	w.n++
	e.upQ, e.upR = split(t, num, w.unit)
	e.loQ, e.loR = e.upQ, e.upR
	if smear > 0 {
		e.loQ, e.loR = split(t-smear, num, w.unit)
		e.width = float64(smear) * float64(num)
	}
}

// split returns t·num divided by unit, rounded down, and the remainder.
func split(t int64, num, unit uint64) (q int64, r uint64) {
	if t >= 0 {
		hi, lo := bits.Mul64(uint64(t), num)
		u, r := bits.Div64(hi, lo, unit)
		return int64(u), r
	}
	hi, lo := bits.Mul64(-uint64(t), num)
	u, r := bits.Div64(hi, lo, unit)
	if r == 0 {
		return -int64(u), 0
	}
	return -int64(u) - 1, unit - r
}

// start sorts the breaks. It reports false when there would be more than
// maxLeaves steps.
func (w *walk) start() bool {
	w.ncut = 1 // cuts[0] is 0
	if w.fixed {
		w.piece = -1
		return w.countLeaves(0) <= maxLeaves
	}
	for i := range w.n {
		e := &w.edges[i]
		w.cuts[w.ncut] = e.upR
		w.ncut++
		if e.width > 0 {
			w.cuts[w.ncut] = e.loR
			w.ncut++
		}
	}
	slices.Sort(w.cuts[:w.ncut])
	k := 1
	for _, c := range w.cuts[1:w.ncut] {
		if c != w.cuts[k-1] {
			w.cuts[k] = c
			k++
		}
	}
	w.cuts[k] = w.unit
	w.ncut = k + 1
	w.piece = -1
	leaves := 0
	for _, c := range w.cuts[:k] {
		if leaves += w.countLeaves(c); leaves > maxLeaves {
			return false
		}
	}
	return true
}

// countLeaves returns the number of combinations in the piece that begins at y,
// or something above maxLeaves.
func (w *walk) countLeaves(y uint64) int {
	leaves := 1
	for i := range w.n {
		first, last := w.edges[i].span(y, w.fixed)
		if last > first {
			if last-first >= maxLeaves {
				return maxLeaves + 1
			}
			if leaves *= int(last - first + 1); leaves > maxLeaves {
				return maxLeaves + 1
			}
		}
	}
	return leaves
}

// span returns the frames that the edge may fall on, inside the piece that begins
// with phase y, or at just that phase when it is fixed. An edge at time x falls on
// the first frame whose poll instant y + k·unit is not before it: x's quotient,
// and one more if the phase is below its residue. The lower end itself is
// excluded, so at a fixed phase on its residue that one is one more, too.
func (e *edge) span(y uint64, fixed bool) (first, last int64) {
	last = e.upQ
	if y < e.upR {
		last++
	}
	if e.width == 0 {
		return last, last
	}
	first = e.loQ
	if y < e.loR || fixed && y == e.loR {
		first++
	}
	return first, last
}

// next goes to the next step and reports false when there is none.
func (w *walk) next() bool {
	if w.inside && w.advance() {
		return true
	}
	w.piece++
	if w.fixed {
		if w.piece > 0 {
			return false
		}
		w.enter(0, 1)
		return true
	}
	if w.piece+1 >= w.ncut {
		return false
	}
	w.enter(w.cuts[w.piece], w.cuts[w.piece+1]-w.cuts[w.piece])
	return true
}

// enter begins the piece [y, y + length).
func (w *walk) enter(y, length uint64) {
	w.from, w.nfree = y, 0
	for i := range w.n {
		e := &w.edges[i]
		first, last := e.span(y, w.fixed)
		w.first[i], w.last[i], w.frames[i] = first, last, first
		if first < last {
			w.free[w.nfree] = i
			w.nfree++
		}
	}
	w.inside = w.nfree > 0
	if w.nfree == 0 {
		w.count, w.p = length, 0
		return
	}
	w.count = 0
	w.points = 1
	share := 1.0
	if w.fixed {
		w.theta[0], w.prefix[0][0] = 0, 1
	} else {
		w.points = w.nfree/2 + 1
		share = float64(length) / float64(w.unit)
		g := &gauss[w.points]
		for j := range w.points {
			w.theta[j] = g.at[j] * float64(length)
			w.prefix[0][j] = g.weight[j] * share
		}
	}
	w.multiply(0)
}

// advance goes to the next combination of the piece.
func (w *walk) advance() bool {
	for d := w.nfree - 1; d >= 0; d-- {
		i := w.free[d]
		if w.frames[i] < w.last[i] {
			w.frames[i]++
			w.multiply(d)
			return true
		}
		w.frames[i] = w.first[i]
	}
	w.inside = false
	return false
}

// multiply recomputes the products from free edge d on, and the probability.
func (w *walk) multiply(d int) {
	for ; d < w.nfree; d++ {
		i := w.free[d]
		base, slope := w.edges[i].share(w.frames[i], w.first[i], w.last[i], w.from, w.unit)
		for j := range w.points {
			w.prefix[d+1][j] = w.prefix[d][j] * (base + slope*w.theta[j])
		}
	}
	w.p = 0
	for _, x := range w.prefix[w.nfree][:w.points] {
		w.p += x
	}
}

// share returns the probability that the edge falls on frame k, one of several
// from first to last, as base + slope·θ for the phase y + θ: the part of
// (lower, upper] that lies in (y + θ + (k−1)·unit, y + θ + k·unit].
func (e *edge) share(k, first, last int64, y, unit uint64) (base, slope float64) {
	switch k {
	case first: // from lower to frame k's poll
		return (float64(int64(y)-int64(e.loR)) + float64(k-e.loQ)*float64(unit)) / e.width, 1 / e.width
	case last: // from the poll before to upper
		return (float64(int64(e.upR)-int64(y)) + float64(e.upQ-k+1)*float64(unit)) / e.width, -1 / e.width
	}
	return float64(unit) / e.width, 0
}

// probability returns the current step's.
func (w *walk) probability() float64 {
	if w.count == 0 {
		return w.p
	}
	if w.fixed {
		return 1
	}
	return float64(w.count) / float64(w.unit)
}

// frame returns the frame of edge i in the current step.
func (w *walk) frame(i int) frame.Frame { return frame.Frame(w.frames[i]) }
