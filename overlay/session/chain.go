package session

import (
	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/press"
)

// chain collects one button's presses in quick succession.
type chain struct {
	m    Multi
	last frame.Frame // first frame of the newest press
	open bool
}

// join takes a press that has become certain: a frame has read it, or is sure to.
func (s *Session) join(p *press.Press) {
	if s.role[p.Button] != capture.Action {
		return
	}
	c := &s.chains[p.Button]
	if !c.open || p.First-c.last > s.cfg.Quick {
		// Field by field: the cover, by far the largest, is made by judging.
		c.m.ID, c.m.N, c.m.Verdict = 0, 0, Unjudged
		c.m.Button, c.m.First = p.Button, p.First
		c.m.Presses, c.m.Offsets = [MaxMulti]uint64{}, [MaxMulti]frame.Frame{}
		c.m.Holds, c.m.Times = [MaxMulti]frame.Frame{}, [MaxMulti][2]int64{}
		c.open = true
	}
	if i := c.m.N; i < MaxMulti {
		c.m.Presses[i] = p.ID
		c.m.Offsets[i] = p.First - c.m.First
		c.m.Holds[i] = 0
		c.m.Times[i] = [2]int64{p.DownNS, 0}
	}
	c.m.N++
	c.last = p.First
	if c.m.N == 2 {
		s.multis++
		c.m.ID = s.multis
	}
	if c.m.N >= 2 {
		c.m.judge(&s.cfg.Target)
		s.h.Multi(&c.m)
	}
	s.attemptPress(p)
}

// changed takes a press that was let go, or goes on after all: a rule about
// holds may now judge otherwise.
func (s *Session) changed(p *press.Press) {
	hold, up := p.Hold, p.UpNS
	if p.State != press.Closed {
		hold, up = 0, 0
	}
	s.attemptHold(p.ID, hold)
	c := &s.chains[p.Button]
	if !c.open {
		return
	}
	for i := c.m.Kept() - 1; i >= 0; i-- {
		if c.m.Presses[i] != p.ID {
			continue
		}
		if c.m.Holds[i] == hold && c.m.Times[i][1] == up {
			return
		}
		c.m.Holds[i], c.m.Times[i][1] = hold, up
		if c.m.N >= 2 {
			if s.cfg.Target.Rules.Hold > 1 {
				c.m.judge(&s.cfg.Target)
			}
			s.h.Multi(&c.m)
		}
		return
	}
}
