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

// links is double presses of growing spacing against a window of three frames.
func links() *play {
	p := newPlay(3, action("west", 1), action("south", 1))
	at := int64(300)
	for s := int64(2); s <= 7; s++ {
		p.hold(1, at, 1)
		p.hold(1, at+s, 2)
		p.link(1, 2)
		at += s + 12
	}
	return p
}

// target is three attempts at an anchored target, and a fourth on its way.
func target() *play {
	p := newPlay(4, action("west", 1), action("south", 2))
	p.u.Setup.Target, p.u.Setup.Wanted = "rising step into low sweep", 1
	p.u.Streak = &wire.Streak{Run: 1, Best: 6, Last: []string{"hit", "hit", "early", "late", "straddled", "nothing", "hit", "hit", "hit", "hit", "hit", "hit", "early", "hit", "late", "late", "hit", "early", "straddled", "hit"}}
	try := func(at int64, kind, words string, presses ...int64) {
		p.hold(0, at, 3)
		for i, f := range presses {
			p.hold(1, at+f, 2).Keys = []int{i % 2}
		}
		if len(presses) > 1 {
			p.link(1, len(presses))
		}
		p.outcome(kind, at+9, at+12, words)
	}
	try(520, "early", "2 early", 6, 7+1)
	try(545, "hit", "hit, press 2", 7, 10)
	try(568, "late", "1 late", 13)
	try(590, "waiting", "")
	return p
}

// crowd is many buttons in quick use.
func crowd() *play {
	var b []wire.Button
	for _, l := range []string{"west", "north", "tr", "tl", "south", "east", "tr2", "tl2"} {
		b = append(b, action(l, 1))
	}
	p := newPlay(3, b...)
	for f := int64(100); f < 298; f += 3 {
		i := int(f * 7 % 8)
		if l, ok := p.last[i]; ok && l.First+l.Hold >= f-1 {
			continue
		}
		q := p.hold(i, f, 1+f%4)
		if f%11 == 0 {
			q.HoldSure = 0.5
		}
	}
	return p
}

// mash is more presses than there is a plan for.
func mash() *play {
	p := newPlay(2, action("west", 1), action("south", 2), action("east", 1))
	for i := int64(0); i < 9; i++ {
		p.hold(1, 210+5*i, 2+i%2).Keys = []int{int(i % 2)}
	}
	p.link(1, 9)
	p.hold(0, 262, 2)
	p.hold(0, 265, 1)
	q := p.link(0, 2)
	q.Verdict, q.Spans, q.Holes, q.Words, q.Covered = wire.Single, [][2]int64{{264, 265}}, nil, "extra presses do not help", 2
	return p
}

// whole is the one update that a play makes.
func whole(u wire.Update) []wire.Update { return []wire.Update{u} }

// lit is a double press of button b that flashes at frame f.
func lit(b int, f float64) []wire.Update {
	p := newPlay(3, action("west", 1), action("south", 1), action("east", 1))
	p.hold(0, 80, 4)
	p.hold(1, 86, 2)
	p.hold(b, 96, 2)
	p.hold(b, 99, 2)
	m := *p.link(b, 2)
	u := p.at(f - 0.1)
	u.Multis = nil
	m.Flash = true
	return []wire.Update{u, {V: wire.Version, N: 2, F: f, Multis: []wire.Multi{m}}}
}

// long is a hold that began before the strip's old end, and an older one.
func long() *play {
	p := newPlay(3, action("west", 1), action("south", 1))
	p.u.Status.Replay = true
	p.hold(1, 340, 20)
	q := p.hold(0, 300, 101)
	q.State = wire.Down
	p.hold(1, 390, 5)
	return p
}
