package flash

import "holdgap/overlay/colour"

// rounding of 32-bit sums must not hide a change of exactly the threshold.
const rounding = 1e-6

const (
	leastChange = 0.1 - rounding  // of relative luminance
	darkBelow   = 0.80 + rounding // relative luminance of the darker state
	redShare    = 0.8 - rounding  // of R in R+G+B
	redChange   = 0.2             // in u′v′
)

// state is what matters of a colour.
type state struct {
	light float32 // relative luminance
	u, v  float32 // u′v′
	green float32 // distance from the red primary in u′v′, squared
	red   bool    // saturated
}

var redU, redV = colour.Linear{R: 1}.UV()

// look returns the state of a colour given in sRGB bytes.
func look(r, g, b byte) state {
	c := colour.RGB(r, g, b)
	u, v := c.UV()
	sum := c.R + c.G + c.B
	return state{
		light: float32(c.Luminance()),
		u:     float32(u),
		v:     float32(v),
		green: float32((u-redU)*(u-redU) + (v-redV)*(v-redV)),
		red:   sum > 0 && c.R >= redShare*sum,
	}
}

// lightTracker follows each pixel's luminance from turning point to turning point.
type lightTracker struct {
	// After an upward change only hi counts, the peak so far; after a downward
	// one only lo, the valley so far; before the first change both.
	lo, hi []float32
	dir    []int8 // of the last change; 0 before the first
}

func newLightTracker(n int) lightTracker {
	return lightTracker{lo: make([]float32, n), hi: make([]float32, n), dir: make([]int8, n)}
}

func (t *lightTracker) begin(i int, s state) { t.lo[i], t.hi[i] = s.light, s.light }

// step moves pixel i on and reports a change that became complete.
func (t *lightTracker) step(i int, s state) (up, changed bool) {
	l, dir := s.light, t.dir[i]
	if dir <= 0 {
		if l < t.lo[i] {
			t.lo[i] = l
		} else if l-t.lo[i] >= leastChange && t.lo[i] < darkBelow {
			t.dir[i], t.hi[i] = 1, l
			return true, true
		}
	}
	if dir >= 0 {
		if l > t.hi[i] {
			t.hi[i] = l
		} else if t.hi[i]-l >= leastChange && l < darkBelow {
			t.dir[i], t.lo[i] = -1, l
			return false, true
		}
	}
	return false, false
}

// redTracker follows each pixel into saturated red and out of it.
type redTracker struct {
	in    []bool
	since []chroma // the state since the last change that is nearest to the red primary (in), or farthest from it (out)
}

type chroma struct{ u, v, green float32 }

func newRedTracker(n int) redTracker {
	return redTracker{in: make([]bool, n), since: make([]chroma, n)}
}

func (t *redTracker) begin(i int, s state) {
	t.in[i], t.since[i] = s.red, chroma{s.u, s.v, s.green}
}

// step moves pixel i on and reports whether it went into red or out of it. Two
// saturated reds are never more than 0.2 apart, so one of the two states of
// each change is none.
func (t *redTracker) step(i int, s state) (in, changed bool) {
	o := &t.since[i]
	far := (s.u-o.u)*(s.u-o.u)+(s.v-o.v)*(s.v-o.v) > redChange*redChange
	switch {
	case far && (t.in[i] || s.red):
		t.in[i] = !t.in[i]
		*o = chroma{s.u, s.v, s.green}
		return t.in[i], true
	case (s.green < o.green) == t.in[i]:
		*o = chroma{s.u, s.v, s.green}
	}
	return false, false
}
