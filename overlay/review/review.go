package review

import (
	"cmp"
	"slices"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
)

// MaxPatterns is the most patterns of multi-presses that are told apart.
const MaxPatterns = 512

// Review adds up a take. Make one with [New].
type Review struct {
	cfg      session.Config
	s        *session.Session
	tally    tally
	segments segments
	quiet    int64 // ns
	edges    int64
	unknown  int64 // edges of buttons that the layout does not have
	first    int64
	last     int64 // ns: what the newest edge counts for
}

// New returns a review by a session's settings.
func New(cfg session.Config) *Review {
	r := &Review{}
	r.tally.buttons = make([]button, min(len(cfg.Buttons), capture.MaxButtons))
	r.tally.patterns = make(map[patternKey]*Pattern)
	r.s = session.New(cfg, &r.tally)
	r.cfg = r.s.Config()
	r.quiet = quietNS(&r.cfg)
	r.segments.begin()
	return r
}

// Config returns what the take is judged by, with defaults filled in.
func (r *Review) Config() session.Config { return r.cfg }

// Edge takes the next edge of the take.
func (r *Review) Edge(e capture.Edge) {
	if int(e.Button) >= len(r.tally.buttons) {
		r.unknown++
		r.edges++
		return
	}
	switch {
	case len(r.segments.list) == 0:
		r.first = e.At
		r.tally.trend.begin(e.At)
		r.segments.add(Segment{Edge: r.edges, At: e.At})
		r.tally.seg = r.segments.last()
	case e.At-r.last > r.quiet:
		r.pause(e.At)
	}
	r.last = r.s.Edge(e)
	r.edges++
}

// pause begins a segment at the next edge, at a time, if nothing before it can
// matter any more.
func (r *Review) pause(at int64) {
	if r.edges-r.segments.last().Edge < r.segments.least {
		return
	}
	r.s.Advance(r.last + r.quiet)
	held := false
	r.s.Held(func(uint64, frame.Frame) { held = true })
	t := &r.tally
	if held || t.waiting {
		return
	}
	r.segments.add(Segment{Edge: r.edges, At: at, Presses: t.press, Multis: t.multi,
		Directions: t.direction, Outcomes: t.outcome,
		Hits: [2]int64{t.tries(), t.outcomes[window.Hit]}})
	t.seg = r.segments.last()
}

// Finish takes the time at which the take ends (ns), after its last edge. What
// was not decided by then stays undecided.
func (r *Review) Finish(at int64) {
	if r.edges == 0 || len(r.segments.list) == 0 {
		return
	}
	r.last = max(r.last, at)
	r.s.Advance(r.last)
	for i := range r.tally.buttons {
		r.tally.finishPress(i)
		r.tally.finishMulti(i)
	}
}

// Summary is what a take comes to.
type Summary struct {
	Edges   int64   `json:"edges"`
	Unknown int64   `json:"unknown_edges,omitempty"` // of buttons that the layout does not have
	From    int64   `json:"from_ns"`                 // first edge, on the edges' clock
	To      int64   `json:"to_ns"`                   // last edge, or the end
	Seconds float64 `json:"seconds"`                 // between the two

	Buttons []Button `json:"buttons"`
	// Multis are the multi-presses by button, spacings and verdict, the most frequent
	// first; MultisMore counts those of further patterns.
	Multis     []Pattern `json:"multi_presses"`
	MultisMore int64     `json:"multi_presses_more,omitempty"`
	// Verdicts are the rates of each verdict among the judged multi-presses.
	Verdicts []Rate `json:"verdicts"`
	// Outcomes are the rates of each outcome among the attempts with a press.
	Outcomes []Rate `json:"outcomes"`
	Nothing  int64  `json:"attempts_without_press"`
	Open     int64  `json:"attempts_undecided"` // when the take ended
	BestRun  int    `json:"best_run"`           // hits in a row
	Trend    Trend  `json:"trend"`
}

// Button is what one button did.
type Button struct {
	Label   string       `json:"label"`
	Role    capture.Role `json:"role"`
	Presses int64        `json:"presses"` // that a frame saw
	Unseen  int64        `json:"unseen"`  // physical presses that no frame saw
	Merged  int64        `json:"merged"`  // physical presses that were read as going on with one before
	Bounce  int64        `json:"bounce"`  // presses that may be switch bounce
	Hold    Dist         `json:"hold"`
	Gap     Dist         `json:"gap"`
	Spacing Dist         `json:"spacing"`
	// Quick holds the gaps inside multi-presses only.
	Quick Dist `json:"quick_gap"`
}

// Pattern is a kind of multi-press and how often it came.
type Pattern struct {
	Button   int           `json:"b"`
	Label    string        `json:"button"`
	Presses  int           `json:"presses"`
	Spacings []frame.Frame `json:"spacings"` // frames from press to press
	Verdict  string        `json:"verdict"`  // empty when it was not judged
	Covered  frame.Frame   `json:"covered"`  // starts, 0 when not judged
	Count    int64         `json:"count"`
	FirstNS  int64         `json:"first_ns"` // when the first one began, on the edges' clock
}

type patternKey struct {
	button, n uint8
	verdict   session.Verdict
	spacings  [session.MaxMulti - 1]uint8
}

// Summary returns what the edges so far come to; call [Review.Finish] first.
func (r *Review) Summary() Summary {
	t := &r.tally
	s := Summary{Edges: r.edges, Unknown: r.unknown, From: r.first, To: r.last,
		Buttons: []Button{}, Multis: []Pattern{}, MultisMore: t.more,
		Nothing: t.outcomes[window.NoPress], BestRun: r.s.Streak().Best, Trend: t.trend.report()}
	s.Seconds = float64(r.last-r.first) / 1e9
	if t.waiting {
		s.Open = 1
	}
	for i := range t.buttons {
		b := &t.buttons[i]
		s.Buttons = append(s.Buttons, Button{Label: r.cfg.Buttons[i].Label, Role: r.cfg.Buttons[i].Role,
			Presses: b.presses, Unseen: b.unseen, Merged: b.merged, Bounce: b.bounce,
			Hold: b.hold.report(), Gap: b.gap.report(), Spacing: b.spacing.report(), Quick: b.quick.report()})
	}
	for _, p := range t.patterns {
		q := *p
		q.Label = r.cfg.Buttons[q.Button].Label
		s.Multis = append(s.Multis, q)
	}
	slices.SortFunc(s.Multis, func(a, b Pattern) int {
		return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.FirstNS, b.FirstNS), cmp.Compare(a.Button, b.Button))
	})
	var judged int64
	for _, v := range verdicts {
		judged += t.verdicts[v]
	}
	for _, v := range verdicts {
		s.Verdicts = append(s.Verdicts, NewRate(v.String(), t.verdicts[v], judged))
	}
	tries := t.tries()
	for k := window.Hit; k <= window.Unheld; k++ {
		s.Outcomes = append(s.Outcomes, NewRate(k.String(), t.outcomes[k], tries))
	}
	return s
}

var verdicts = []session.Verdict{session.Covered, session.Holed, session.Single, session.Mashed}
