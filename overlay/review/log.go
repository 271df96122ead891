package review

import (
	"cmp"
	"slices"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/odds"
	"holdgap/overlay/press"
	"holdgap/overlay/session"
)

// MaxPending is how many entries wait at most for one press that goes on and on;
// then it is handed out as it stands, still held.
const MaxPending = 1 << 16

// Row is one press as it came out in the end.
type Row struct {
	press.Press
	// Place is its place in a multi-press, from 1, or 0 if it is alone.
	Place int
	// HoldSure and GapSure are the probabilities, over the unknown phase, that the
	// game counts the same; 0 where there is nothing to count.
	HoldSure, GapSure float64
}

// Taker takes what a [Log] hands out. The pointers are valid during the call only.
type Taker interface {
	// Row takes a press, in the order of ids.
	Row(*Row)
	// Multi takes a multi-press after all of its presses; sure is the probability
	// of its verdict.
	Multi(m *session.Multi, sure float64)
	Direction(session.Direction)
	// Outcome takes an attempt after all of its presses; sure is the probability
	// that it came out so, 0 when it is undecided or cannot be worked out.
	Outcome(o *session.Outcome, sure float64)
}

// keepPresses is how many of the newest presses a log keeps for its certainties.
const keepPresses = 4096

// Log hands out every press, multi-press, direction and attempt of a take, each
// once and final, in the order of their ids. It keeps only what is not final
// yet, and the newest presses.
type Log struct {
	s     *session.Session
	cfg   session.Config
	take  Taker
	sure  *session.Certainty
	edges int64

	rows     []Row // those not handed out, in order of id, from head on
	head     int
	multis   []session.Multi
	outcomes []session.Outcome
	dirs     []session.Direction
	chains   []chain // of each button
	done     bool
}

// chain follows one button's presses in quick succession.
type chain struct {
	now, before step   // with the newest press, and without it, should it turn out unseen
	id          uint64 // newest press
	multi       uint64 // newest multi-press
	out         uint64 // newest multi-press that was handed out
}

type step struct {
	place int         // of the newest press
	press uint64      // its id
	first frame.Frame // its frame
	multi bool        // the newest multi-press may go on
}

// NewLog returns a log by a session's settings. The model says what is known of
// the phase and the device; its clock and rule must be the session's.
func NewLog(cfg session.Config, model odds.Model, t Taker) *Log {
	l := &Log{take: t}
	n := min(len(cfg.Buttons), capture.MaxButtons)
	l.chains = make([]chain, n)
	l.s = session.New(cfg, (*logHandler)(l))
	l.cfg = l.s.Config()
	l.sure = session.NewCertainty(model, keepPresses)
	return l
}

// Edge takes the next edge and hands out what became final.
func (l *Log) Edge(e capture.Edge) {
	at := l.s.Edge(e)
	if l.edges++; l.edges%8 == 0 || len(l.rows)-l.head > 64 {
		l.flush(l.cfg.Clock.At(at))
	}
}

// Until tells that nothing happened before a time (ns), and hands out what became
// final by then.
func (l *Log) Until(at int64) {
	l.s.Advance(at)
	l.flush(l.cfg.Clock.At(at))
}

// Finish takes the time at which the take ends (ns) and hands out the rest as it
// stands.
func (l *Log) Finish(at int64) {
	l.s.Advance(at)
	l.done = true
	l.flush(l.cfg.Clock.At(at))
}

// final reports whether nothing can change a press any more, frame k being read.
func (l *Log) final(r *Row, k frame.Frame) bool {
	switch r.State {
	case press.Unseen:
		return true
	case press.Closed:
		return k > r.First+max(r.Hold, l.cfg.Quick)
	}
	return false
}

func (l *Log) flush(k frame.Frame) {
	for l.head < len(l.rows) {
		r := &l.rows[l.head]
		if !l.done && !l.final(r, k) && len(l.rows)-l.head <= MaxPending {
			break
		}
		r.HoldSure, r.GapSure = l.sure.Hold(&r.Press), l.sure.Gap(&r.Press)
		l.take.Row(r)
		l.head++
	}
	if l.head > 1024 && 2*l.head > len(l.rows) || l.head == len(l.rows) {
		l.rows = l.rows[:copy(l.rows, l.rows[l.head:])]
		l.head = 0
	}
	next := uint64(1<<64 - 1)
	if l.head < len(l.rows) {
		next = l.rows[l.head].ID
	}
	for _, d := range l.dirs {
		l.take.Direction(d)
	}
	l.dirs = l.dirs[:0]
	n := 0
	for n < len(l.multis) && (l.done || l.over(&l.multis[n], next, k)) {
		m := &l.multis[n]
		l.take.Multi(m, l.sure.Multi(m))
		l.chains[m.Button].out = m.ID
		n++
	}
	l.multis = slices.Delete(l.multis, 0, n)
	n = 0
	for n < len(l.outcomes) && (l.done || l.outcomes[n].Judged && lastID(&l.outcomes[n]) < next) {
		l.take.Outcome(&l.outcomes[n], l.sure.Outcome(&l.outcomes[n]))
		n++
	}
	// An attempt whose starter came again is never judged: the next one stands
	// for it.
	l.outcomes = slices.Delete(l.outcomes, 0, n)
}

// over reports whether nothing can change a multi-press any more: its presses
// are final, and no further one can join.
func (l *Log) over(m *session.Multi, next uint64, k frame.Frame) bool {
	c := &l.chains[m.Button]
	return m.Presses[m.Kept()-1] < next && (c.multi != m.ID || !c.now.multi || k > c.now.first+l.cfg.Quick)
}

func lastID(o *session.Outcome) uint64 {
	id := o.Anchor
	for _, i := range o.IDs[:o.N] {
		id = max(id, i)
	}
	return id
}

// logHandler keeps the session's handler out of the log's own methods.
type logHandler Log

func (l *logHandler) Press(p *press.Press) {
	l.sure.Put(p)
	if n := len(l.rows); n == l.head || p.ID > l.rows[n-1].ID {
		r := Row{Press: *p}
		if p.State != press.Unseen {
			l.join(&r)
		}
		l.rows = append(l.rows, r)
		return
	}
	i := l.find(p.ID)
	if i < 0 {
		return
	}
	r := &l.rows[i]
	r.Press = *p
	if c := &l.chains[p.Button]; p.State == press.Unseen && c.id == p.ID {
		if c.before.place == 0 && r.Place == 2 {
			if j := l.find(c.before.press); j >= 0 {
				l.rows[j].Place = 0
			}
		}
		r.Place, c.now = 0, c.before
	}
}

// join gives a new press its place among the presses of its button in quick
// succession.
func (l *logHandler) join(r *Row) {
	if l.cfg.Buttons[r.Button].Role != capture.Action {
		return
	}
	c := &l.chains[r.Button]
	c.before, c.id = c.now, r.ID
	c.now = step{press: r.ID, first: r.First}
	if r.Spacing == press.NoGap || r.Spacing > l.cfg.Quick {
		return
	}
	c.now.multi = c.before.multi
	c.now.place = max(c.before.place, 1) + 1
	if c.before.place == 0 {
		if i := l.find(c.before.press); i >= 0 {
			l.rows[i].Place = 1
		}
	}
	r.Place = c.now.place
}

func (l *logHandler) find(id uint64) int {
	i, ok := slices.BinarySearchFunc(l.rows[l.head:], id, func(r Row, id uint64) int { return cmp.Compare(r.ID, id) })
	if !ok {
		return -1
	}
	return l.head + i
}

func (l *logHandler) Multi(m *session.Multi) {
	c := &l.chains[m.Button]
	if m.ID <= c.out {
		return // handed out as it stood
	}
	if c.multi != m.ID {
		c.multi, c.now.multi, c.before.multi = m.ID, true, true
	}
	for i := len(l.multis) - 1; i >= 0; i-- {
		if l.multis[i].ID == m.ID {
			l.multis[i] = *m
			return
		}
	}
	l.multis = append(l.multis, *m)
}

func (l *logHandler) Direction(d session.Direction) { l.dirs = append(l.dirs, d) }

func (l *logHandler) Outcome(o *session.Outcome) {
	n := len(l.outcomes)
	switch {
	case n > 0 && l.outcomes[n-1].ID == o.ID:
		l.outcomes[n-1] = *o
	case n > 0 && !l.outcomes[n-1].Judged:
		l.outcomes[n-1] = *o // the starter came again
	default:
		l.outcomes = append(l.outcomes, *o)
	}
}
