package live

import (
	"cmp"
	"slices"

	"holdgap/overlay/frame"
	"holdgap/overlay/odds"
	"holdgap/overlay/press"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
	"holdgap/web/wire"
)

// ringSize is how many of the newest presses are kept for odds, a power of two.
const ringSize = 1024

// collector takes what a session reports and turns it into an update. Its
// certainties come from the times of the edges and the exact odds over the
// phase; the session itself only reads frames.
type collector struct {
	model odds.Model
	grain int64 // report interval of the devices, ns
	ring  [ringSize]press.Press

	presses    []uint64 // ids that changed
	multis     []session.Multi
	directions []session.Direction
	outcomes   []session.Outcome
	flashed    uint64 // newest multi-press that has flashed
	held       []wire.Held
}

func newCollector(s *Setup) *collector {
	return &collector{model: odds.Model{Clock: s.Clock(), Fixed: s.Phase != nil, Rule: s.Rule}}
}

// Press, Multi, Direction and Outcome make it a session.Handler.

func (c *collector) Press(p *press.Press) {
	c.ring[p.ID%ringSize] = *p
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
	model := c.model
	model.Report = c.grain
	for _, id := range c.presses {
		if p := &c.ring[id%ringSize]; p.ID == id {
			u.Presses = append(u.Presses, c.press(&model, p))
		}
	}
	for i := range c.multis {
		m := c.multi(&model, &c.multis[i])
		if m.Verdict == wire.Covered && m.ID > c.flashed {
			c.flashed = m.ID
			m.Flash = flash
		}
		u.Multis = append(u.Multis, m)
	}
	for _, d := range c.directions {
		u.Directions = append(u.Directions, wire.Direction{ID: d.ID, First: int64(d.First), Num: int(d.Num)})
	}
	for i := range c.outcomes {
		o := c.outcome(&model, &c.outcomes[i])
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

// near is the widest gap (frames) that is worth counting on the strip.
const near = 40

func (c *collector) press(m *odds.Model, p *press.Press) wire.Press {
	w := wire.Press{ID: p.ID, Button: int(p.Button), State: p.State.String(), First: int64(p.First),
		Hold: int64(p.Hold), Gap: -1, Merged: int(p.Merged), Bounce: p.Bounce, Keys: []int{}}
	for _, k := range p.Order[:p.NOrder] {
		w.Keys = append(w.Keys, int(k))
	}
	if p.State == press.Closed {
		w.HoldSure = m.HoldProbability(p.DownNS, p.UpNS, p.Hold)
		// It may also read as two, if another phase sees a gap inside.
		for _, g := range p.Inner[:p.NInner] {
			w.HoldSure *= m.GapProbability(g.From, g.To, 0)
		}
	}
	if p.Gap != press.NoGap && p.Gap <= near {
		w.Gap = int64(p.Gap)
		w.GapSure = m.GapProbability(p.LastNS, p.DownNS, p.Gap)
	}
	return w
}

// physical appends the physical presses behind the press records from first to
// last of one button, unseen ones too, since another phase may read them apart.
func (c *collector) physical(dst []odds.Press, button uint8, first, last uint64) []odds.Press {
	for id := first; id <= last && len(dst) < odds.MaxPresses-1; id++ {
		p := &c.ring[id%ringSize]
		if p.ID != id || p.Button != button {
			continue
		}
		up := p.UpNS
		if p.State == press.Pending || p.State == press.Down {
			up = odds.Open
		}
		down := p.DownNS
		for _, g := range p.Inner[:p.NInner] {
			if g.From > down && len(dst) < odds.MaxPresses-1 {
				dst = append(dst, odds.Press{Down: down, Up: g.From, Button: button})
			}
			down = g.To
		}
		if up > down && len(dst) < odds.MaxPresses-1 {
			dst = append(dst, odds.Press{Down: down, Up: up, Button: button})
		}
	}
	return dst
}

func (c *collector) multi(model *odds.Model, m *session.Multi) wire.Multi {
	kept := m.Kept()
	w := wire.Multi{ID: m.ID, Button: int(m.Button), First: int64(m.First), Window: int64(m.Window),
		Words: m.Words(), Verdict: verdictWord(m.Verdict)}
	for i := range kept {
		w.Presses = append(w.Presses, m.Presses[i])
		if i > 0 {
			w.Spacings = append(w.Spacings, int64(m.Offsets[i]-m.Offsets[i-1]))
		}
	}
	if m.Verdict != session.Covered && m.Verdict != session.Holed && m.Verdict != session.Single {
		return w
	}
	w.Covered = int64(m.Cover.Size())
	// A start is the frame of the first press counted from the window's first
	// frame, so a run of starts is a run of frames, the other way round, on
	// which the window may have opened.
	open := func(s window.Span) [2]int64 {
		return [2]int64{int64(m.First - s.Last), int64(m.First - s.First)}
	}
	for i := m.Cover.Runs() - 1; i >= 0; i-- {
		w.Spans = append(w.Spans, open(m.Cover.Run(i)))
	}
	for i := m.Cover.Holes() - 1; i >= 0; i-- {
		w.Holes = append(w.Holes, open(m.Cover.Hole(i)))
	}
	var buf [odds.MaxPresses]odds.Press
	list, err := model.Covers(c.physical(buf[:0], m.Button, m.Presses[0], m.Presses[kept-1]), m.Window, m.Rules)
	if err != nil {
		return w // too many readings to work out: not sure
	}
	for _, o := range list {
		if o.Covered == m.Cover.Size() && o.Holes == m.Cover.Holes() {
			w.Sure += o.Probability
		}
	}
	return w
}

func verdictWord(v session.Verdict) string {
	switch v {
	case session.Covered:
		return wire.Covered
	case session.Holed:
		return wire.Holed
	case session.Mashed:
		return wire.Mashed
	case session.Single:
		return wire.Single
	}
	return ""
}

func (c *collector) outcome(model *odds.Model, o *session.Outcome) wire.Outcome {
	w := wire.Outcome{ID: o.ID, Kind: "waiting", Open: int64(o.Open), Close: int64(o.Close()), Button: o.Button}
	if !o.Judged {
		return w
	}
	r := o.Result
	w.Kind, w.Press, w.Words = r.Kind.String(), r.Press, r.String()
	w.Frames = int64(max(r.Early, r.Late, r.Short))
	if r.Kind == window.NoPress {
		w.Kind = "nothing"
		return w
	}
	anchor := odds.Press{Down: o.Down, Up: odds.Open}
	if p := &c.ring[o.Anchor%ringSize]; p.ID == o.Anchor {
		anchor.Button = p.Button
		if p.State == press.Closed && p.UpNS > p.DownNS {
			anchor.Up = p.UpNS
		}
	}
	var buf [odds.MaxPresses]odds.Press
	presses := buf[:0]
	for i := range o.N {
		if o.Of[i] == anchor.Button && anchor.Up == odds.Open {
			return w // the starter is still held; nothing can be said yet
		}
		presses = c.physical(presses, o.Of[i], o.IDs[i], o.IDs[i])
	}
	slices.SortStableFunc(presses, func(a, b odds.Press) int { return cmp.Compare(a.Down, b.Down) })
	var out [64]odds.OutcomeOdds
	list, err := model.Outcomes(out[:0], anchor, o.Open-c.model.Clock.At(o.Down), presses, o.Window, o.Rules)
	if err != nil {
		return w
	}
	for _, l := range list {
		if l.Outcome == r || r.Kind == window.Hit && l.Kind == window.Hit && l.Press == r.Press {
			w.Sure += l.Probability
		}
	}
	return w
}

func wireStreak(s *session.Streak) *wire.Streak {
	w := &wire.Streak{Run: s.Run, Best: s.Best, Last: []string{}}
	for _, k := range s.Last[:s.N] {
		w.Last = append(w.Last, k.String())
	}
	return w
}
