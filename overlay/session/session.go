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
	pending  uint64 // buttons whose press no frame has read yet
	held     uint64 // buttons that are down
	now      int64  // ns; no earlier edge is taken
	read     frame.Frame
	id       uint64 // newest press
	multis   uint64 // newest multi-press
	dirs     directions
	attempt  attempt
	streak   Streak
	late     uint64
	started  bool
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
			Clock: cfg.Clock, Rule: cfg.Rule, BounceNS: cfg.BounceNS}}
		s.role[i] = cfg.Buttons[i].Role
	}
	s.dirs.num = 5
	return s
}

// Config returns what the session is judged by, with defaults filled in.
func (s *Session) Config() Config { return s.cfg }

// Now returns the time (ns) up to which the session has come. An edge before
// it is taken as if it came then: see [Session.Edge].
func (s *Session) Now() int64 { return s.now }

// Late returns how many edges came behind the session's time.
func (s *Session) Late() uint64 { return s.late }

// Edge takes an edge and returns the time it counts for: its own, or the
// session's if it came late. Whoever records a take records the returned time,
// so that replaying gives the same result. An edge of an unknown button is
// ignored.
func (s *Session) Edge(e capture.Edge) int64 {
	if int(e.Button) >= len(s.machines) {
		return e.At
	}
	if e.At < s.now && s.started {
		e.At = s.now
		s.late++
	}
	s.advance(e.At)
	if s.role[e.Button] != capture.Action {
		s.direction(e)
	}
	m := &s.machines[e.Button]
	bit := uint64(1) << e.Button
	var c press.Change
	if e.Down {
		c = m.Down(e.At, e.Key, s.id+1)
	} else {
		c = m.Up(e.At, e.Key, s.id+1)
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

// Advance tells that the time is now (ns) and that every edge before it has
// been taken. It reports presses that have become certain, and attempts that
// have run out.
func (s *Session) Advance(now int64) {
	if now > s.now || !s.started {
		s.advance(now)
	}
}

// advance reads every frame before t. A frame whose poll instant is t itself
// may still see an edge at t, so it waits.
func (s *Session) advance(t int64) {
	k := s.cfg.Clock.At(t) - 1
	s.now = t
	if s.started && k <= s.read {
		return
	}
	s.started = true
	s.read = k
	for s.pending != 0 {
		// The earliest frame first, so that results do not depend on how
		// often the session is told the time.
		best, at := -1, frame.Frame(0)
		for b := s.pending; b != 0; b &= b - 1 {
			i := bits.TrailingZeros64(b)
			if f, ok := s.machines[i].PendingFrame(); ok && f <= k && (best < 0 || f < at) {
				best, at = i, f
			}
		}
		if best < 0 {
			break
		}
		s.settle(at - 1)
		m := &s.machines[best]
		m.Read()
		s.pending &^= 1 << best
		s.join(m.Current())
		s.h.Press(m.Current())
	}
	s.settle(k)
}

// settle reports what is certain once frame k has been read, apart from presses.
func (s *Session) settle(k frame.Frame) {
	s.settleDirection(k)
	s.settleAttempt(k)
}

// Held calls f for each press that is down, with its frames so far, in the
// order of buttons.
func (s *Session) Held(f func(id uint64, frames frame.Frame)) {
	for b := s.held &^ s.pending; b != 0; b &= b - 1 {
		m := &s.machines[bits.TrailingZeros64(b)]
		f(m.Current().ID, m.SoFar(s.read))
	}
}
