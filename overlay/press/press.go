// Package press turns the edges of one button into presses as a game reads
// them: when each began, how many frames it was held, how many frames the gap
// before it was, which physical presses were merged into one hold or never
// seen, and which gaps are too short for fingers.
//
// A [Machine] is a pure state machine: it takes explicit times, has no clock
// and allocates nothing. Edges come in the order of time. Whether a press was
// seen is certain once its frame has been read, so a press is [Pending] from
// its edge until then, and the machine is told so by [Machine.Read].
package press

import (
	"math"
	"math/bits"

	"holdgap/overlay/frame"
)

// State of a press.
type State uint8

const (
	// Pending: the button went down and no frame has read it yet.
	Pending State = iota
	// Down: a frame has read it and it is still held.
	Down
	// Closed: it was read and let go.
	Closed
	// Unseen: it was let go before any frame saw it.
	Unseen
)

var stateWords = [...]string{"pending", "down", "up", "unseen"}

// String returns the state's word on the wire.
func (s State) String() string { return stateWords[s%State(len(stateWords))] }

// NoGap is the gap and the spacing of the first press of a button.
const NoGap frame.Frame = -1

// unread is before any frame.
const unread frame.Frame = math.MinInt64

// MaxOrder is how many keys of a press are remembered in order, and MaxInner
// how many of its inner gaps.
const (
	MaxOrder = 6
	MaxInner = 3
)

// Interval is a stretch of time in ns, [From, To).
type Interval struct{ From, To int64 }

// Press is one hold of a button as the game reads it.
type Press struct {
	ID      uint64
	Button  uint8
	State   State
	Bounce  bool        // the gap before, or one inside, is too short for fingers
	NOrder  uint8       // keys in Order
	NInner  uint8       // gaps in Inner
	Merged  uint16      // further physical presses inside this hold
	First   frame.Frame // frame that reads it
	Hold    frame.Frame // frames: final when Closed, 0 when Pending or Unseen, else see [Machine.SoFar]
	Gap     frame.Frame // up frames since the press before of this button, or NoGap
	Spacing frame.Frame // frames from the press before to this one, or NoGap
	DownNS  int64       // when it went down, ns
	UpNS    int64       // when it was let go, ns; meaningless while it is held
	LastNS  int64       // when the press before was let go, ns; meaningful with a Gap
	Keys    uint64      // bit i: key i of the button took part
	Order   [MaxOrder]uint8
	Inner   [MaxInner]Interval // gaps inside that no frame saw, ns
}

// Config is what a machine needs to know.
type Config struct {
	Rule     frame.ReadRule
	BounceNS int64 // a gap of one key below this is marked as possible switch bounce
}

// Machine reads one button. The zero value with a Config is ready.
type Machine struct {
	Config
	Button uint8

	keys   uint64      // physical keys that are down
	s      frame.Frame // first frame that can read the current physical press
	joined bool        // it goes on with the hold before it
	saved  Press       // that hold as it was before
	relied frame.Frame // see Rely
	ended  bool        // see RelyUp
	used   uint64      // keys that took part in the current physical press
	cur    Press
	lost   Press

	seen      bool // a press was read before; the next three describe the last
	lastFirst frame.Frame
	lastEnd   frame.Frame // first frame that saw it up
	lastUp    int64

	keyUp   int64 // when a key was last let go, for bounce
	keyLast uint8
	anyUp   bool
}

// IsDown reports whether any physical key holds the button down.
func (m *Machine) IsDown() bool { return m.keys != 0 }

// Current returns the press that the last edge began or changed.
func (m *Machine) Current() *Press { return &m.cur }

// PendingFrame returns the frame that will read the current press, and whether
// there is one that no frame has read yet.
func (m *Machine) PendingFrame() (frame.Frame, bool) {
	return m.s, m.keys != 0 && m.cur.State == Pending
}

// Change says what an edge did to the machine's presses.
type Change uint8

const (
	// Nothing changed: a repeated edge, or a key of several let go.
	Nothing Change = iota
	// Began: Current is a new press.
	Began
	// Changed: Current is a known press with other content.
	Changed
	// Reverted: Current is a known press, back as it was before a physical
	// press that turned out unseen; [Machine.Lost] is that unseen press.
	Reverted
)

// Down tells that physical key went down at t (ns), which frame k reads
// (Clock.At). id is the number that a new press gets.
func (m *Machine) Down(t int64, k frame.Frame, key uint8, id uint64) Change {
	bit := uint64(1) << key
	if m.keys&bit != 0 {
		return Nothing
	}
	if m.keys != 0 {
		m.keys |= bit
		m.cur.Merged++
		m.addKey(key)
		return Changed
	}
	m.keys, m.used, m.ended = bit, 0, false
	m.s = k
	bounce := m.anyUp && m.keyLast == key && t-m.keyUp < m.BounceNS
	if m.seen && m.s <= m.lastEnd {
		m.joined = true
		m.saved = m.cur
		m.cur.Merged++
		m.cur.State = Down
		m.cur.Bounce = m.cur.Bounce || bounce
		if m.cur.NInner < MaxInner {
			m.cur.Inner[m.cur.NInner] = Interval{m.lastUp, t}
			m.cur.NInner++
		}
		m.addKey(key)
		return Changed
	}
	m.joined, m.relied = false, unread
	m.cur = Press{ID: id, Button: m.Button, First: m.s, Gap: NoGap, Spacing: NoGap, DownNS: t, Bounce: bounce}
	if m.seen {
		m.cur.Gap = m.s - m.lastEnd
		m.cur.Spacing = m.s - m.lastFirst
		m.cur.LastNS = m.lastUp
	}
	m.addKey(key)
	return Began
}

// Up tells that physical key was let go at t (ns), which frame k reads. id is the
// number for an unseen press that has to be told apart from the hold before it.
func (m *Machine) Up(t int64, k frame.Frame, key uint8, id uint64) Change {
	bit := uint64(1) << key
	if m.keys&bit == 0 {
		return Nothing
	}
	m.keys &^= bit
	m.keyUp, m.keyLast, m.anyUp = t, key, true
	if m.keys != 0 {
		return Nothing
	}
	end := k
	if m.Rule == frame.Latched {
		end++
	}
	if end > m.s {
		m.cur.State = Closed
		m.cur.Hold = end - m.cur.First
		m.cur.UpNS = t
		m.seen, m.lastFirst, m.lastEnd, m.lastUp = true, m.cur.First, end, t
		return Changed
	}
	if !m.joined {
		m.cur.State = Unseen
		m.cur.UpNS = t
		return Changed
	}
	down := m.cur.Inner[max(m.cur.NInner, 1)-1].To
	if m.cur.NInner == m.saved.NInner { // no room was left for this gap
		down = t
	}
	m.lost = Press{ID: id, Button: m.Button, State: Unseen, First: m.s, Gap: NoGap, Spacing: NoGap,
		DownNS: down, UpNS: t, Merged: m.cur.Merged - m.saved.Merged - 1}
	m.lost.addKeys(m.used)
	m.cur = m.saved
	return Reverted
}

// Lost returns the unseen press of the last [Reverted].
func (m *Machine) Lost() *Press { return &m.lost }

// Rely tells that something was reported for certain because press id was held
// in frame k.
func (m *Machine) Rely(id uint64, k frame.Frame) {
	if m.cur.ID == id && m.keys != 0 {
		m.relied = max(m.relied, k)
	}
}

// RelyUp tells that something was reported for certain because press id had
// ended.
func (m *Machine) RelyUp(id uint64) {
	m.ended = m.ended || m.cur.ID == id && m.keys == 0
}

// Ended returns the frame in which the button must have been up for what was
// reported of the current press to stay true.
func (m *Machine) Ended() (frame.Frame, bool) { return m.lastEnd, m.ended && m.keys == 0 }

// Relied returns the last frame in which the current press must have been held
// for what was reported of it to stay true, if letting go of key ends it.
func (m *Machine) Relied(key uint8) (frame.Frame, bool) {
	from := m.s
	if m.joined {
		from = m.lastEnd // the hold before it stays true by itself
	}
	return m.relied, m.keys == 1<<key && m.cur.State == Down && m.relied >= from
}

// Read tells that the game has read the frame of the current press while it was
// held, which makes a [Pending] press certain.
func (m *Machine) Read() {
	m.cur.State = Down
	m.cur.Hold = 1
	m.relied = m.cur.First
}

// SoFar returns how many of the frames up to k the current press was down.
func (m *Machine) SoFar(k frame.Frame) frame.Frame {
	if m.keys == 0 {
		return m.cur.Hold
	}
	return max(k-m.cur.First+1, 0)
}

func (m *Machine) addKey(key uint8) {
	m.used |= 1 << key
	m.cur.addKeys(1 << key)
}

// addKeys notes keys that took part, new ones last.
func (p *Press) addKeys(keys uint64) {
	for b := keys &^ p.Keys; b != 0 && p.NOrder < MaxOrder; b &= b - 1 {
		p.Order[p.NOrder] = uint8(bits.TrailingZeros64(b))
		p.NOrder++
	}
	p.Keys |= keys
}
