package striptest

import (
	"fmt"

	"holdgap/web/wire"
)

// play makes the updates of an invented player, with the numbers that the
// program would have computed: a press is read by frame first, brackets are the
// frames on which the window may have opened.
type play struct {
	u     wire.Update
	press uint64
	multi uint64
	dir   uint64
	out   uint64
	last  map[int]wire.Press
}

func newPlay(window int64, buttons ...wire.Button) *play {
	for _, r := range []string{"up", "down", "left", "right"} {
		buttons = append(buttons, wire.Button{Label: r, Role: r, Keys: 2})
	}
	return &play{
		u: wire.Update{
			V: wire.Version, N: 1, Whole: true,
			Setup: &wire.Setup{Rate: "60", FrameMS: 1000.0 / 60, Read: "sampled", Window: window, Wanted: -1,
				Buttons: buttons, Theme: "lantern", ThemeRev: 1},
			Status: &wire.Status{Devices: []wire.Device{}, Troubles: []wire.Trouble{}},
		},
		last: map[int]wire.Press{},
	}
}

func action(label string, keys int) wire.Button {
	return wire.Button{Label: label, Role: "action", Keys: keys}
}

// hold adds a press of a button and returns it, to be changed before the next.
func (p *play) hold(b int, first, hold int64) *wire.Press {
	p.press++
	gap := int64(-1)
	if l, ok := p.last[b]; ok && first-l.First-l.Hold <= 20 {
		gap = first - l.First - l.Hold
	}
	w := wire.Press{ID: p.press, Button: b, State: wire.Closed, First: first, Hold: hold, HoldSure: 1, Gap: gap, GapSure: 1, Keys: []int{0}}
	p.last[b] = w
	p.u.Presses = append(p.u.Presses, w)
	return &p.u.Presses[len(p.u.Presses)-1]
}

// link judges the last n presses of a button as one multi-press.
func (p *play) link(b int, n int) *wire.Multi {
	p.multi++
	var of []wire.Press
	for i := len(p.u.Presses) - 1; i >= 0 && len(of) < n; i-- {
		if p.u.Presses[i].Button == b {
			of = append([]wire.Press{p.u.Presses[i]}, of...)
		}
	}
	w := p.u.Setup.Window
	m := wire.Multi{ID: p.multi, Button: b, First: of[0].First, Window: w, Sure: 1, Verdict: wire.Covered}
	for i, q := range of {
		m.Presses = append(m.Presses, q.ID)
		if i > 0 {
			m.Spacings = append(m.Spacings, q.First-of[i-1].First)
		}
		lo, hi := q.First-w+1, q.First
		if k := len(m.Spans) - 1; k >= 0 && lo <= m.Spans[k][1]+1 {
			m.Spans[k][1] = hi
		} else {
			if k >= 0 {
				m.Holes = append(m.Holes, [2]int64{m.Spans[k][1] + 1, lo - 1})
				m.Verdict = wire.Holed
			}
			m.Spans = append(m.Spans, [2]int64{lo, hi})
		}
	}
	for _, s := range m.Spans {
		m.Covered += s[1] - s[0] + 1
	}
	m.Words = fmt.Sprintf("%d → %d frames", w, m.Covered)
	if m.Verdict == wire.Holed {
		m.Words = fmt.Sprintf("hole of %d frames", m.Holes[0][1]-m.Holes[0][0]+1)
	}
	if len(of) > 5 {
		m.Verdict, m.Spans, m.Holes, m.Words = wire.Mashed, nil, nil, fmt.Sprintf("mashed ×%d", n)
	}
	p.u.Multis = append(p.u.Multis, m)
	return &p.u.Multis[len(p.u.Multis)-1]
}

func (p *play) turn(first int64, num int) {
	p.dir++
	p.u.Directions = append(p.u.Directions, wire.Direction{ID: p.dir, First: first, Num: num})
}

func (p *play) outcome(kind string, open, shut int64, words string) {
	p.out++
	p.u.Outcomes = append(p.u.Outcomes, wire.Outcome{ID: p.out, Kind: kind, Open: open, Close: shut, Button: -1, Words: words, Sure: 1})
}

// at returns the whole update as of frame f.
func (p *play) at(f float64) wire.Update {
	u := p.u
	u.F = f
	return u
}

// exchange is a little of everything that a strip can show, ending at frame 1000.
func exchange() *play {
	p := newPlay(3, action("west", 1), action("south", 2), action("east", 1))
	p.u.Status.Demo = true
	p.turn(905, 5)
	p.turn(915, 2)
	p.turn(919, 3)
	p.turn(923, 6)
	p.turn(930, 5)
	// A double press with spacing 3, which covers 6.
	p.hold(1, 926, 2)
	p.hold(1, 929, 2).Keys = []int{1}
	p.link(1, 2)
	// One with a hole.
	p.hold(0, 944, 3)
	p.hold(0, 950, 2)
	p.link(0, 2)
	// Numbers that are not sure, a merged hold and a bounce.
	p.turn(958, 4)
	q := p.hold(2, 960, 2)
	q.HoldSure = 0.62
	q = p.hold(2, 964, 4)
	q.GapSure = 0.55
	q.Merged = 1
	m := p.link(2, 2)
	m.Sure = 0.6
	p.turn(972, 5)
	q = p.hold(0, 975, 3)
	p.last[0] = *q
	q = p.hold(0, 979, 1)
	q.Bounce = true
	q.Gap = 1
	// A triple press with two fingers, and a press that no frame saw.
	p.hold(1, 986, 1)
	p.hold(1, 988, 1).Keys = []int{1}
	p.hold(1, 990, 2)
	p.link(1, 3)
	q = p.hold(2, 992, 1)
	q.State, q.Hold, q.Gap = wire.Unseen, 0, -1
	// One that is still held, and one that no frame has read yet.
	q = p.hold(0, 991, 10)
	q.State, q.Gap, q.HoldSure = wire.Down, -1, 0
	q = p.hold(2, 1001, 0)
	q.State, q.Gap, q.Hold = wire.Pending, -1, 0
	return p
}
