// Package session is the whole of the analysis of one player's edges: presses
// of every button, directions, multi-presses with their verdict against a
// target, and attempts at an anchored target.
//
// A [Session] is a pure state machine: it takes explicit times, has no clock,
// does no I/O, starts no goroutine and allocates nothing per edge. What it
// reports depends on the edges alone: telling it more or less often how far
// the time has come ([Session.Advance]) only makes it report sooner. So a
// recorded take gives the same final results as the live session did.
//
// Results go to a [Handler] as they come about. An entry that changes is
// reported again under the same id; the last report of an id is the valid one.
package session

import (
	"math/bits"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/press"
)

// Defaults.
const (
	// DefaultBounceNS is the gap below which a press may be switch bounce: 6 ms.
	DefaultBounceNS = 6_000_000
	// DefaultQuick is the widest spacing inside a multi-press, in frames
	// (common practice, no source: slower presses are separate attempts).
	DefaultQuick = 8
	// LateNS is how late an edge may come and still count for its own time: 200 ms.
	// Where the target has a hold rule, an edge that comes after its frame was
	// taken as read can make another press the starter of the next attempt than
	// a replay finds; nothing else depends on it.
	LateNS = 200_000_000
	// MaxMulti is the most presses of a multi-press; more is mashing.
	MaxMulti = 5
)

// Config is what a session is judged by.
type Config struct {
	Clock    frame.Clock
	Rule     frame.ReadRule
	BounceNS int64       // 0 means DefaultBounceNS; negative means never
	Quick    frame.Frame // frames; 0 means DefaultQuick, or the target's window if that is wider
	Buttons  []capture.Button
	Target   Target
}

// Handler takes results. The pointers are valid during the call only.
type Handler interface {
	Press(*press.Press)
	Multi(*Multi)
	Direction(Direction)
	Outcome(*Outcome)
}

// Direction is a stretch of frames in which the direction stayed the same: from
// First until the next one's First.
type Direction struct {
	ID    uint64
	First frame.Frame
	Num   uint8 // numpad notation, facing right
}

// Session analyses one player. Make one with [New].
type Session struct {
	cfg      Config
	h        Handler
	machines []press.Machine
	chains   []chain
	role     []capture.Role
	pending  uint64      // buttons whose press no frame has read yet
	held     uint64      // buttons that are down
	now      int64       // ns: the time as told
	last     int64       // ns: no edge counts for an earlier time
	any      bool        // the two above mean something
	grace    frame.Frame // LateNS in frames, rounded up
	read     frame.Frame
	begun    bool   // read means something
	id       uint64 // newest press
	multis   uint64 // newest multi-press
	dirs     directions
	attempt  attempt
	streak   Streak
	late     uint64
}

// New returns a session that reports to h. Buttons beyond
// [capture.MaxButtons] are ignored.
func New(cfg Config, h Handler) *Session {
	if cfg.BounceNS == 0 {
		cfg.BounceNS = DefaultBounceNS
	}
	if cfg.Quick == 0 {
		cfg.Quick = max(DefaultQuick, cfg.Target.Window)
	}
	n := min(len(cfg.Buttons), capture.MaxButtons)
	s := &Session{cfg: cfg, h: h,
		machines: make([]press.Machine, n), chains: make([]chain, n), role: make([]capture.Role, n)}
	for i := range s.machines {
		s.machines[i] = press.Machine{Button: uint8(i), Config: press.Config{
			Rule: cfg.Rule, BounceNS: cfg.BounceNS}}
		s.role[i] = cfg.Buttons[i].Role
	}
	s.dirs.num = 5
	whole, _ := cfg.Clock.Length(LateNS)
	s.grace = whole + 1
	return s
}

// Config returns what the session is judged by, with defaults filled in.
func (s *Session) Config() Config { return s.cfg }

// Late returns how many edges came too late to count for their own time.
func (s *Session) Late() uint64 { return s.late }

// Edge takes an edge and returns the time it counts for. That is its own, unless
// it comes before the edge before, more than [LateNS] behind the session's time,
// or contradicts what was already reported for certain: then it counts for the
// earliest time that does not. Whoever records a
// take records the returned time, so that replaying gives the same result. An
// edge of an unknown button is ignored.
func (s *Session) Edge(e capture.Edge) int64 {
	if int(e.Button) >= len(s.machines) {
		return e.At
	}
	m := &s.machines[e.Button]
	k := s.cfg.Clock.At(e.At)
	if t := s.earliest(m, e, k); e.At < t {
		e.At, k = t, s.cfg.Clock.At(t)
		s.late++
	}
	s.last, s.any = e.At, true
	s.readPending(k - 1)
	if s.role[e.Button] != capture.Action {
		s.direction(e, k)
	}
	bit := uint64(1) << e.Button
	var c press.Change
	if e.Down {
		c = m.Down(e.At, k, e.Key, s.id+1)
	} else {
		c = m.Up(e.At, k, e.Key, s.id+1)
	}
	switch c {
	case press.Nothing:
		return e.At
	case press.Began:
		s.id++
		s.pending |= bit
	case press.Reverted:
		s.id++
	}
	s.held &^= bit
	if m.IsDown() {
		s.held |= bit
	}
	p := m.Current()
	if !e.Down && s.pending&bit != 0 {
		s.pending &^= bit
		if p.State == press.Closed {
			// Latched: every press is sure to be read, so those that began
			// before this one come first.
			for s.pending != 0 && s.nextPending().Current().ID < p.ID {
				s.certain(s.nextPending())
			}
			s.join(p)
		}
	}
	s.h.Press(p)
	if c == press.Reverted {
		s.h.Press(m.Lost())
	}
	if c != press.Began && p.State != press.Unseen {
		s.changed(p)
	}
	return e.At
}

// earliest returns the earliest time for which an edge can count that frame k
// would read.
func (s *Session) earliest(m *press.Machine, e capture.Edge, k frame.Frame) int64 {
	if !s.any {
		return e.At
	}
	t := max(s.last, s.now-LateNS)
	after := func(f frame.Frame) { // the edge must come after frame f was read
		if k <= f {
			t = max(t, s.cfg.Clock.Poll(f)+1)
		}
	}
	if e.Down {
		if f, ok := m.Ended(); ok {
			after(f)
		}
	} else if f, ok := m.Relied(e.Key); ok {
		if s.cfg.Rule == frame.Latched {
			f--
		}
		after(f)
	}
	if s.dirs.any && s.role[e.Button] != capture.Action {
		after(s.dirs.done)
	}
	return t
}

// Advance tells that the time is now (ns) and that the edges before it have been
// taken, apart from late ones. It reports presses that have become certain, and
// attempts that have run out. A frame whose poll instant is now itself may still
// see an edge, so it waits.
func (s *Session) Advance(now int64) {
	s.now, s.any = max(s.now, now), true
	s.last = max(s.last, s.now-LateNS)
	s.readPending(s.cfg.Clock.At(now) - 1)
}

// readPending tells that every frame up to k has been read.
func (s *Session) readPending(k frame.Frame) {
	for s.pending != 0 {
		m := s.nextPending()
		f, _ := m.PendingFrame()
		if f > k {
			break
		}
		s.settle(f - 1)
		s.certain(m)
	}
	if k > s.read || !s.begun {
		s.read, s.begun = k, true
	}
	s.settle(k)
}

// nextPending returns the machine of the press that began first among those that
// no frame has read: since edges come in the order of time, its frame is the
// earliest, and results do not depend on how often the session is told the time.
func (s *Session) nextPending() *press.Machine {
	var next *press.Machine
	for b := s.pending; b != 0; b &= b - 1 {
		if m := &s.machines[bits.TrailingZeros64(b)]; next == nil || m.Current().ID < next.Current().ID {
			next = m
		}
	}
	return next
}

// certain tells that the pending press of m is read.
func (s *Session) certain(m *press.Machine) {
	m.Read()
	s.pending &^= 1 << m.Button
	s.join(m.Current())
	s.h.Press(m.Current())
}

// settle reports what is certain once frame k has been read, apart from presses.
func (s *Session) settle(k frame.Frame) {
	if s.dirs.dirty {
		s.settleDirection(k)
	}
	if s.attempt.active {
		s.settleAttempt(k)
	}
}

// Held calls f for each press that is down, with its frames so far, in the
// order of buttons.
func (s *Session) Held(f func(id uint64, frames frame.Frame)) {
	for b := s.held &^ s.pending; b != 0; b &= b - 1 {
		m := &s.machines[bits.TrailingZeros64(b)]
		f(m.Current().ID, m.SoFar(s.read))
	}
}
