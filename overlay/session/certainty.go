package session

import (
	"cmp"
	"slices"

	"holdgap/overlay/odds"
	"holdgap/overlay/press"
	"holdgap/overlay/window"
)

// Certainty works out how sure what a session reported is: the probability,
// over what the model leaves unknown, that the game reads the same. A session
// itself only reads frames; this looks at the times of the edges behind them.
type Certainty struct {
	Model odds.Model
	ring  []press.Press
	room  [2 * odds.MaxPresses]odds.Press
}

// NewCertainty returns one that keeps the newest presses, at least keep of them:
// as many as can pass between a press and the last report about it.
func NewCertainty(m odds.Model, keep int) *Certainty {
	n := 1
	for n < keep {
		n *= 2
	}
	return &Certainty{Model: m, ring: make([]press.Press, n)}
}

// Put keeps a press as it was reported last.
func (c *Certainty) Put(p *press.Press) { *c.at(p.ID) = *p }

// Get returns a press as it was put last, or nil when it is kept no more.
func (c *Certainty) Get(id uint64) *press.Press {
	if p := c.at(id); p.ID == id {
		return p
	}
	return nil
}

func (c *Certainty) at(id uint64) *press.Press { return &c.ring[id&uint64(len(c.ring)-1)] }

// Hold returns the probability that the game counts the same hold, 0 while the
// button is down.
func (c *Certainty) Hold(p *press.Press) float64 {
	if p.State != press.Closed {
		return 0
	}
	sure := c.Model.HoldProbability(p.DownNS, p.UpNS, p.Hold)
	// It may also read as two, if another phase sees a gap inside.
	for _, g := range p.Inner[:p.NInner] {
		sure *= c.Model.GapProbability(g.From, g.To, 0)
	}
	return sure
}

// Gap returns the probability that the game counts the same gap before a press,
// 0 when there is none.
func (c *Certainty) Gap(p *press.Press) float64 {
	if p.Gap == press.NoGap {
		return 0
	}
	return c.Model.GapProbability(p.LastNS, p.DownNS, p.Gap)
}

// Multi returns the probability that a multi-press covers as many starts with as
// many holes; 0 when it was not judged, or when there are too many readings to
// work out.
func (c *Certainty) Multi(m *Multi) (sure float64) {
	if m.Verdict == Unjudged || m.Verdict == Mashed {
		return 0
	}
	presses := c.physical(c.room[:0], m.Button, m.Presses[0], m.Presses[m.Kept()-1])
	list, err := c.Model.Covers(presses, m.Window, m.Rules)
	if err != nil {
		return 0
	}
	for _, o := range list {
		if o.Covered == m.Cover.Size() && o.Holes == m.Cover.Holes() {
			sure += o.Probability
		}
	}
	return sure
}

// Outcome returns the probability of an attempt's outcome; 0 until it is judged,
// without a press, while a starter that makes the move itself is still held, or
// when there are too many readings to work out.
func (c *Certainty) Outcome(o *Outcome) (sure float64) {
	r := o.Result
	if !o.Judged || r.Kind == window.NoPress {
		return 0
	}
	anchor := odds.Press{Down: o.Down, Up: odds.Open}
	if p := c.Get(o.Anchor); p != nil {
		anchor.Button = p.Button
		if p.State == press.Closed && p.UpNS > p.DownNS {
			anchor.Up = p.UpNS
		}
	}
	presses := c.room[:0]
	for i := range o.N {
		if o.Of[i] == anchor.Button && anchor.Up == odds.Open {
			return 0
		}
		presses = c.physical(presses, o.Of[i], o.IDs[i], o.IDs[i])
	}
	slices.SortStableFunc(presses, func(a, b odds.Press) int { return cmp.Compare(a.Down, b.Down) })
	var room [64]odds.OutcomeOdds
	list, err := c.Model.Outcomes(room[:0], anchor, o.Open-c.Model.Clock.At(o.Down), presses, o.Window, o.Rules)
	if err != nil {
		return 0
	}
	for _, l := range list {
		if l.Outcome == r || r.Kind == window.Hit && l.Kind == window.Hit && l.Press == r.Press {
			sure += l.Probability
		}
	}
	return sure
}

// physical appends the physical presses behind the presses from first to last of
// one button, unseen ones too, since another phase may read them apart.
func (c *Certainty) physical(dst []odds.Press, button uint8, first, last uint64) []odds.Press {
	add := func(down, up int64) {
		if up > down && len(dst) < odds.MaxPresses-1 {
			dst = append(dst, odds.Press{Down: down, Up: up, Button: button})
		}
	}
	for id := first; id <= last && len(dst) < odds.MaxPresses-1; id++ {
		p := c.Get(id)
		if p == nil || p.Button != button {
			continue
		}
		down, up := p.DownNS, p.UpNS
		if p.State == press.Pending || p.State == press.Down {
			up = odds.Open
		}
		for _, g := range p.Inner[:p.NInner] {
			add(down, g.From)
			down = g.To
		}
		add(down, up)
	}
	return dst
}
