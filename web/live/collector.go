package live

import (
	"slices"

	"holdgap/overlay/frame"
	"holdgap/overlay/odds"
	"holdgap/overlay/press"
	"holdgap/overlay/session"
	"holdgap/web/wire"
)

// keepPresses is how many of the newest presses are kept for odds.
const keepPresses = 1024

// collector takes what a session reports and turns it into an update.
type collector struct {
	sure  *session.Certainty
	grain int64 // report interval of the devices, ns

	presses    []uint64 // ids that changed
	multis     []session.Multi
	directions []session.Direction
	outcomes   []session.Outcome
	flashed    uint64 // newest multi-press that has flashed
	held       []wire.Held
}

func newCollector(s *Setup) *collector {
	model := odds.Model{Clock: s.Clock(), Fixed: s.Phase != nil, Rule: s.Rule}
	return &collector{sure: session.NewCertainty(model, keepPresses)}
}

// Press, Multi, Direction and Outcome make it a session.Handler.

func (c *collector) Press(p *press.Press) {
	c.sure.Put(p)
	if !slices.Contains(c.presses, p.ID) {
		c.presses = append(c.presses, p.ID)
	}
}

func (c *collector) Multi(m *session.Multi) {
	for i := range c.multis {
		if c.multis[i].ID == m.ID {
			c.multis[i] = *m
			return
		}
	}
	c.multis = append(c.multis, *m)
}

func (c *collector) Direction(d session.Direction) { c.directions = append(c.directions, d) }

func (c *collector) Outcome(o *session.Outcome) {
	for i := range c.outcomes {
		if c.outcomes[i].ID == o.ID {
			c.outcomes[i] = *o
			return
		}
	}
	c.outcomes = append(c.outcomes, *o)
}

// take moves what came about into u and reports whether there was any. flash
// says that it happens now, so that what covers may flash.
func (c *collector) take(u *wire.Update, flash bool) bool {
	c.sure.Model.Report = c.grain
	for _, id := range c.presses {
		if p := c.sure.Get(id); p != nil {
			u.Presses = append(u.Presses, wire.OfPress(p, c.sure.Hold(p), c.sure.Gap(p)))
		}
	}
	for i := range c.multis {
		m := wire.OfMulti(&c.multis[i], c.sure.Multi(&c.multis[i]))
		if m.Verdict == wire.Covered && m.ID > c.flashed {
			c.flashed = m.ID
			m.Flash = flash
		}
		u.Multis = append(u.Multis, m)
	}
	for _, d := range c.directions {
		u.Directions = append(u.Directions, wire.OfDirection(d))
	}
	for i := range c.outcomes {
		o := wire.OfOutcome(&c.outcomes[i], c.sure.Outcome(&c.outcomes[i]))
		o.Flash = flash && o.Kind == "hit"
		u.Outcomes = append(u.Outcomes, o)
	}
	some := len(c.presses)+len(c.multis)+len(c.directions)+len(c.outcomes) > 0
	c.presses, c.multis, c.directions, c.outcomes = c.presses[:0], c.multis[:0], c.directions[:0], c.outcomes[:0]
	return some
}

// heldNow returns the counts so far of what is down, or nil when nothing is or
// they are as they were.
func (c *collector) heldNow(s *session.Session) []wire.Held {
	var held []wire.Held
	s.Held(func(id uint64, n frame.Frame) { held = append(held, wire.Held{id, uint64(n)}) })
	if slices.Equal(held, c.held) {
		return nil
	}
	c.held = held
	return held
}
