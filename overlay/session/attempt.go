package session

import (
	"holdgap/overlay/frame"
	"holdgap/overlay/press"
	"holdgap/overlay/window"
)

const (
	// LeadFrames is how long before the window a press still belongs to an
	// attempt, and LagFrames how long after it, in frames (common practice, no
	// source).
	LeadFrames = 20
	LagFrames  = 20
	// MaxAttempt is the most presses of one attempt that are judged.
	MaxAttempt = 16
	// MaxStreak is how many outcomes a streak remembers.
	MaxStreak = 20
)

// Outcome is an attempt at an anchored target.
type Outcome struct {
	ID     uint64
	Judged bool // until then the window is still to come or open
	Button int  // wanted button, or AnyButton
	Open   frame.Frame
	Window frame.Frame
	Rules  window.Rules
	Result window.Outcome // Kind is NoPress when nothing was pressed
	Anchor uint64         // id of the starter's press
	Down   int64          // when the starter went down, ns
	N      int            // presses
	Starts [MaxAttempt]frame.Frame
	Downs  [MaxAttempt]int64  // ns
	IDs    [MaxAttempt]uint64 // of the presses
	Of     [MaxAttempt]uint8  // their buttons
	holds  [MaxAttempt]frame.Frame
}

// Close returns the window's last frame.
func (o *Outcome) Close() frame.Frame { return o.Open + o.Window - 1 }

// Streak is the run of hits and the newest outcomes. An attempt without a press
// does not count.
type Streak struct {
	Run, Best, N int
	Last         [MaxStreak]window.Kind // oldest first, N of them
}

// Streak returns the streak so far.
func (s *Session) Streak() Streak { return s.streak }

func (k *Streak) add(r window.Kind) {
	if r == window.Hit {
		k.Run++
		k.Best = max(k.Best, k.Run)
	} else {
		k.Run = 0
	}
	if k.N == MaxStreak {
		copy(k.Last[:], k.Last[1:])
		k.N--
	}
	k.Last[k.N] = r
	k.N++
}

// attempt follows the newest attempt.
type attempt struct {
	o      Outcome
	active bool
	from   frame.Frame // frame of the starter's press
	id     uint64
}

// attemptPress takes a press that has become certain.
func (s *Session) attemptPress(p *press.Press) {
	t := &s.cfg.Target
	if !t.Anchored || t.Window <= 0 {
		return
	}
	a := &s.attempt
	if a.active && p.First > a.o.Close()+LagFrames {
		s.attemptJudge(p.First-1, true)
	}
	took := false
	if a.active && t.wants(p.Button) && p.First > a.from && p.First >= a.o.Open-LeadFrames {
		s.attemptTake(p)
		took = true
	}
	if int(p.Button) != t.Starter {
		return
	}
	switch {
	case !a.active:
		s.attemptBegin(p)
	case !took && a.o.N == 0 && p.First-a.from > s.cfg.Quick:
		// The starter came again and nothing followed: the first one missed.
		s.attemptBegin(p)
	}
}

func (s *Session) attemptBegin(p *press.Press) {
	t, a := &s.cfg.Target, &s.attempt
	a.id++
	a.active, a.from = true, p.First
	a.o = Outcome{ID: a.id, Button: t.Wanted, Open: p.First + t.Opening, Window: t.Window,
		Rules: t.Rules, Anchor: p.ID, Down: p.DownNS}
	s.h.Outcome(&a.o)
}

func (s *Session) attemptTake(p *press.Press) {
	o := &s.attempt.o
	if o.N == MaxAttempt {
		return
	}
	o.Starts[o.N] = p.First - o.Open
	o.Downs[o.N] = p.DownNS
	o.IDs[o.N] = p.ID
	o.Of[o.N] = p.Button
	o.N++
	s.attemptJudge(p.First, false)
}

// cut forgets the presses from number n (from 0) on: which of them have come
// about by now depends on how often the time is told.
func (o *Outcome) cut(n int) {
	for i := n; i < o.N; i++ {
		o.Starts[i], o.Downs[i], o.IDs[i], o.Of[i] = 0, 0, 0, 0
	}
	o.N = n
}

// settleAttempt judges what frame k, now read, has decided.
func (s *Session) settleAttempt(k frame.Frame) {
	a := &s.attempt
	for id := uint64(0); a.active && a.id != id; {
		// A hit may begin another attempt that has run out by now as well.
		id = a.id
		s.attemptJudge(k, k > a.o.Close()+LagFrames+s.grace)
	}
}

// attemptJudge judges the attempt as far as frame k has decided it, or for good
// when it is over.
func (s *Session) attemptJudge(k frame.Frame, over bool) {
	a := &s.attempt
	o := &a.o
	decided := over
	for i := 0; i < o.N; i++ {
		held, final := o.heldBy(i, k)
		f := o.Starts[i]
		switch {
		case f >= o.Window:
			decided = true
		case f >= 0:
			if !final && held >= o.Rules.Hold {
				s.machines[o.Of[i]].Rely(o.IDs[i], o.Open+f+o.Rules.Hold-1)
			}
			if final && held < o.Rules.Hold {
				s.machines[o.Of[i]].RelyUp(o.IDs[i])
			}
			decided = decided || o.Rules.Hold <= 1 || final || held >= o.Rules.Hold
		case o.Rules.Early == window.Spoil && (o.Rules.Reach == 0 || f >= -o.Rules.Reach):
			decided = true
		}
		if decided {
			break
		}
	}
	if !decided {
		return
	}
	for i := range o.N {
		if o.holds[i] == 0 { // still held: not as long as the next press allows
			o.holds[i] = window.Held
		}
	}
	o.Result = window.Judge(o.Window, o.Rules, o.Starts[:o.N], o.holds[:o.N])
	o.Judged = true
	if o.Result.Kind == window.Hit || o.Result.Kind == window.Unheld {
		o.cut(o.Result.Press)
	}
	o.holds = [MaxAttempt]frame.Frame{}
	a.active = false
	if o.N > 0 {
		s.streak.add(o.Result.Kind)
	}
	s.h.Outcome(o)
	if o.Result.Kind == window.Hit && s.cfg.Target.Starter == int(o.Of[o.Result.Press-1]) {
		// The move that linked is itself a starter.
		s.attemptFollow(o.Result.Press - 1)
	}
}

// attemptFollow begins the next attempt from press i of the one just judged.
func (s *Session) attemptFollow(i int) {
	a := s.attempt.o
	p := press.Press{ID: a.IDs[i], First: a.Open + a.Starts[i], DownNS: a.Downs[i]}
	s.attemptBegin(&p)
}

// attemptHold takes a press that was let go, or (hold 0) goes on after all since
// a further physical press was merged into it.
func (s *Session) attemptHold(id uint64, hold frame.Frame) {
	o := &s.attempt.o
	if !s.attempt.active {
		return
	}
	for i := o.N - 1; i >= 0; i-- {
		if o.IDs[i] == id {
			o.holds[i] = hold
			return
		}
	}
}

// heldBy returns how many of the frames up to k press i was down, and whether
// that is final.
func (o *Outcome) heldBy(i int, k frame.Frame) (held frame.Frame, final bool) {
	first := o.Open + o.Starts[i]
	if end := first + o.holds[i]; o.holds[i] > 0 && k >= end {
		return o.holds[i], true
	}
	return k - first + 1, false
}
