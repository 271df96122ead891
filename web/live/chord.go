package live

import (
	"math/bits"
	"time"

	"holdgap/capture"
)

const (
	// ChordHold is how long the buttons of a chord are held together, in ns.
	ChordHold = int64(time.Second)
	// ChordSpread is how far apart the first and the last button of a chord may
	// go down, in ns. What is recorded waits that long while it may become a
	// chord, so it is short.
	ChordSpread = int64(time.Second / 2)
)

// Chord is buttons that, held together for [ChordHold], do something and are
// not play. Buttons are places in the layout, two or more.
type Chord struct {
	Buttons []int
	Does    string // "mark", "pause" or "take"
}

func (c *Chord) mask() (m uint64) {
	for _, b := range c.Buttons {
		m |= 1 << b
	}
	return m
}

// waiting is an edge that is held back until it is clear that it is play.
type waiting struct {
	edge capture.Edge
	n    uint64 // number of the edge
	taps int    // newest tap there was when it came
}

// chords tells chords from play. It is a pure state machine: it takes explicit
// times and has no clock.
//
// It knows every edge twice over: the strip shows an edge at once, but what is
// recorded waits while the edge may belong to a chord. A hold is open while it
// may: for ChordSpread after its button went down, and longer once all buttons of
// a chord are down. Edges wait behind the first edge of an open hold, so that
// what is recorded is in order.
type chords struct {
	list    []Chord
	masks   []uint64
	members uint64 // buttons of any chord

	keys   [capture.MaxButtons]uint64 // physical keys that are down, a bit each
	downAt [capture.MaxButtons]int64  // ns: when the hold began
	first  [capture.MaxButtons]uint64 // number of the hold's first edge
	edges  [capture.MaxButtons]int    // edges of the hold so far
	held   uint64                     // buttons that are down
	open   uint64                     // of them, those that may yet be of a chord
	spent  uint64                     // of them, those of a chord that was; they are no play until let go

	queue []waiting
	n     uint64 // edges so far
}

func newChords(list []Chord) *chords {
	c := &chords{list: list}
	for i := range list {
		m := list[i].mask()
		c.masks = append(c.masks, m)
		c.members |= m
	}
	return c
}

// formed is a chord that came about.
type formed struct {
	does  string
	at    int64                   // ns: when it was complete
	mask  uint64                  // its buttons
	edges [capture.MaxButtons]int // how many of a button's newest edges were the chord's
}

// advance tells that the time is now (ns) and returns a chord that came about,
// until there is none.
func (c *chords) advance(now int64) (f formed, ok bool) {
	best := -1
	for i, m := range c.masks {
		if at, armed := c.armed(m); !armed || now < at+ChordHold {
			continue
		}
		if c.within(m, i) {
			continue // a larger one may come about yet
		}
		if best < 0 || bits.OnesCount64(m) > bits.OnesCount64(c.masks[best]) {
			best = i
		}
	}
	if best < 0 {
		c.settle(now)
		return f, false
	}
	m := c.masks[best]
	at, _ := c.armed(m)
	f = formed{does: c.list[best].Does, at: at + ChordHold, mask: m}
	kept := c.queue[:0]
	for _, w := range c.queue {
		if m&(1<<w.edge.Button) == 0 || w.n < c.first[w.edge.Button] {
			kept = append(kept, w)
		}
	}
	c.queue = kept
	for b := m; b != 0; b &= b - 1 {
		i := bits.TrailingZeros64(b)
		f.edges[i] = c.edges[i]
	}
	c.spent |= m
	c.open &^= m
	return f, true
}

// armed reports whether all buttons of a chord are down and may be it, and when
// the last of them went down.
func (c *chords) armed(m uint64) (last int64, ok bool) {
	if c.open&m != m {
		return 0, false
	}
	first := int64(0)
	for b := m; b != 0; b &= b - 1 {
		at := c.downAt[bits.TrailingZeros64(b)]
		if b == m {
			first, last = at, at
		}
		first, last = min(first, at), max(last, at)
	}
	return last, last-first <= ChordSpread
}

// within reports whether a larger chord that contains m is armed.
func (c *chords) within(m uint64, i int) bool {
	for j, o := range c.masks {
		if j != i && o != m && o&m == m {
			if _, ok := c.armed(o); ok {
				return true
			}
		}
	}
	return false
}

// settle closes the holds that can be of no chord any more.
func (c *chords) settle(now int64) {
	var armed uint64
	for _, m := range c.masks {
		if _, ok := c.armed(m); ok {
			armed |= m
		}
	}
	for b := c.open &^ armed; b != 0; b &= b - 1 {
		if i := bits.TrailingZeros64(b); now-c.downAt[i] > ChordSpread {
			c.open &^= 1 << i
		}
	}
}

// swallow takes an edge of a button that is still down from a chord that was,
// and reports whether it did: such an edge is no play.
func (c *chords) swallow(e capture.Edge) bool {
	bit := uint64(1) << e.Button
	if c.spent&bit == 0 {
		return false
	}
	c.note(e)
	return true
}

// take takes an edge that is play as far as is known. taps is kept beside it.
func (c *chords) take(e capture.Edge, taps int) {
	c.n++
	c.note(e)
	c.queue = append(c.queue, waiting{e, c.n, taps})
	c.settle(e.At)
}

// note keeps count of what is down.
func (c *chords) note(e capture.Edge) {
	b, bit, key := e.Button, uint64(1)<<e.Button, uint64(1)<<e.Key
	if e.Down {
		if c.keys[b] == 0 {
			c.downAt[b], c.first[b], c.edges[b] = e.At, c.n, 0
			c.held |= bit
			c.open |= bit & c.members
		}
		c.keys[b] |= key
		c.edges[b]++
		return
	}
	c.keys[b] &^= key
	c.edges[b]++
	if c.keys[b] == 0 {
		c.held &^= bit
		c.open &^= bit
		c.spent &^= bit
	}
}

// next returns the oldest edge if it is sure to be play.
func (c *chords) next() (w waiting, ok bool) {
	if len(c.queue) == 0 {
		return w, false
	}
	w = c.queue[0]
	if c.open&(1<<w.edge.Button) != 0 && w.n >= c.first[w.edge.Button] {
		return w, false
	}
	c.pop()
	return w, true
}

// flush returns the oldest edge whatever it is.
func (c *chords) flush() (w waiting, ok bool) {
	if len(c.queue) == 0 {
		return w, false
	}
	w = c.queue[0]
	c.pop()
	c.open = 0 // what has been given out cannot be of a chord
	return w, true
}

func (c *chords) pop() {
	n := copy(c.queue, c.queue[1:])
	c.queue = c.queue[:n]
}

// waiting calls f for what is held back, apart from the holds of a chord that
// only has to be held on.
func (c *chords) waiting(f func(waiting)) {
	var armed uint64
	for _, m := range c.masks {
		if _, ok := c.armed(m); ok {
			armed |= m
		}
	}
	for _, w := range c.queue {
		if armed&(1<<w.edge.Button) == 0 || w.n < c.first[w.edge.Button] {
			f(w)
		}
	}
}
