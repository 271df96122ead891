package session

import (
	"holdgap/capture"
	"holdgap/overlay/frame"
)

// directions follows the four direction buttons frame by frame.
type directions struct {
	mask  uint8 // down now
	seen  uint8 // under the latched rule: down at any instant of frame `at`
	at    frame.Frame
	dirty bool // frame `at` has not been settled
	num   uint8
	id    uint64
	done  frame.Frame // the newest frame whose edges have been settled
	any   bool        // there was one
}

const (
	dirUp = 1 << iota
	dirDown
	dirLeft
	dirRight
)

// direction takes an edge of a direction button, which frame k reads. Frames
// before it have been settled.
func (s *Session) direction(e capture.Edge, k frame.Frame) {
	d := &s.dirs
	bit := uint8(1) << (s.role[e.Button] - capture.Up)
	if !d.dirty || d.at != k {
		d.at, d.dirty, d.seen = k, true, d.mask
	}
	if e.Down {
		d.mask |= bit
		d.seen |= bit
	} else {
		d.mask &^= bit
	}
}

// settleDirection reports the direction of the last edge's frame, and of the
// frame after it, once they have been read.
func (s *Session) settleDirection(k frame.Frame) {
	d := &s.dirs
	if !d.dirty || k < d.at {
		return
	}
	if s.cfg.Rule == frame.Sampled {
		d.dirty = false
		s.setDirection(d.at, d.mask)
		return
	}
	s.setDirection(d.at, d.seen)
	d.at++
	d.seen = d.mask
	if k >= d.at {
		d.dirty = false
		s.setDirection(d.at, d.mask)
	}
}

func (s *Session) setDirection(at frame.Frame, mask uint8) {
	s.dirs.done, s.dirs.any = at, true
	n := numpad(mask)
	if n == s.dirs.num {
		return
	}
	s.dirs.num = n
	s.dirs.id++
	s.h.Direction(Direction{ID: s.dirs.id, First: at, Num: n})
}

// numpad returns the digit of numpad notation, facing right: 5 neutral, 6
// right, 8 up, 2 down. Opposites cancel.
func numpad(mask uint8) uint8 {
	x, y := 0, 0
	if mask&dirRight != 0 {
		x++
	}
	if mask&dirLeft != 0 {
		x--
	}
	if mask&dirUp != 0 {
		y++
	}
	if mask&dirDown != 0 {
		y--
	}
	return uint8(5 + x + 3*y)
}
