package takes

import (
	"context"
	"fmt"
	"slices"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/review"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
	"holdgap/web/wire"
)

// Filter says which moments of a take are looked for.
type Filter struct {
	// What is "press", "multi", "outcome", or "miss": an attempt that did not hit,
	// or without an anchored target a multi-press that did not cover.
	What string
	// Button is the label of the button that was pressed; empty for any.
	Button string
	// Kinds are outcomes or verdicts in words; empty for all.
	Kinds []string
}

// Moment is something that happened in a take.
type Moment struct {
	Frame    int64   `json:"frame"`
	At       float64 `json:"at"`   // seconds from the take's first moment
	What     string  `json:"what"` // "press", "multi" or "outcome"
	Kind     string  `json:"kind"` // outcome or verdict
	Button   int     `json:"b"`    // that was pressed; −1 for none
	Words    string  `json:"words"`
	Sure     float64 `json:"sure"`
	Start    *int64  `json:"start,omitempty"` // of an attempt: first press from the window's first frame
	Spacings []int64 `json:"spacings,omitempty"`
	Hold     int64   `json:"hold,omitempty"`
}

// filter is a checked Filter.
type filter struct {
	what    string
	button  int // −1 for any
	kinds   uint8
	verdict uint8
}

func (j *Judged) filter(f Filter) (filter, error) {
	out := filter{what: f.What, button: -1, kinds: 0xff, verdict: 0xff}
	if f.Button != "" {
		if out.button = j.Setup.Layout.Index(f.Button); out.button < 0 {
			return out, fmt.Errorf("button %q: %w", f.Button, noButton(j.Setup.Layout))
		}
	}
	switch f.What {
	case "press":
	case "miss":
		if j.Setup.Target.Anchored {
			out.what = "outcome"
			out.kinds = 1<<window.TooEarly | 1<<window.TooLate | 1<<window.Straddled | 1<<window.Unheld
		} else {
			out.what = "multi"
			out.verdict = 1<<session.Holed | 1<<session.Single | 1<<session.Mashed
		}
	case "outcome":
		if len(f.Kinds) > 0 {
			out.kinds = 0
		}
		for _, w := range f.Kinds {
			var k window.Kind
			if w == "nothing" {
				w = "none"
			}
			if err := k.UnmarshalText([]byte(w)); err != nil {
				return out, err
			}
			out.kinds |= 1 << k
		}
	case "multi":
		if len(f.Kinds) > 0 {
			out.verdict = 0
		}
		for _, w := range f.Kinds {
			v := slices.Index([]string{wire.Covered, wire.Holed, wire.Single, wire.Mashed}, w)
			if v < 0 {
				return out, fmt.Errorf("verdict %q is not known: write covered, holed, none or mashed", w)
			}
			out.verdict |= 1 << []session.Verdict{session.Covered, session.Holed, session.Single, session.Mashed}[v]
		}
	default:
		return out, fmt.Errorf("looking for %q: write press, multi, outcome or miss", f.What)
	}
	return out, nil
}

// may reports whether a segment may hold what is looked for.
func (f *filter) may(g *review.Segment) bool {
	if f.button >= 0 && g.Buttons&(1<<f.button) == 0 {
		return false
	}
	switch f.what {
	case "outcome":
		return g.Kinds&f.kinds != 0
	case "multi":
		return g.Verdicts&f.verdict != 0
	}
	return g.Buttons != 0
}

// Find returns up to limit moments after frame at, in order, or with back the ones
// before it, the nearest first.
func (j *Judged) Find(ctx context.Context, at frame.Frame, back bool, what Filter, limit int) ([]Moment, error) {
	f, err := j.filter(what)
	if err != nil {
		return nil, err
	}
	at = j.near(at)
	segs := j.Review.Segments()
	// A moment may stand a little before the segment's own time, never after the next.
	g := j.Review.Segment(j.Setup.Clock().Poll(at))
	i := slices.IndexFunc(segs, func(s review.Segment) bool { return s.Edge == g.Edge })
	out := []Moment{}
	for ; i >= 0 && i < len(segs) && len(out) < limit; i = step(i, back) {
		if !f.may(&segs[i]) {
			continue
		}
		t := &findTaker{j: j, f: f, keep: func(m Moment) bool {
			if back {
				return m.Frame < int64(at)
			}
			return m.Frame > int64(at)
		}}
		if !back {
			t.limit = limit - len(out)
		}
		var stop func(int64) bool
		end := int64(1<<63 - 1)
		if i+1 < len(segs) {
			end = segs[i+1].At
		}
		stop = func(now int64) bool {
			return now >= end || ctx.Err() != nil || t.limit > 0 && len(t.out) >= t.limit
		}
		if err := j.Log(ctx, segs[i], t, stop); err != nil {
			return nil, err
		}
		if back {
			slices.Reverse(t.out)
		}
		out = append(out, t.out[:min(len(t.out), limit-len(out))]...)
	}
	return out, ctx.Err()
}

func step(i int, back bool) int {
	if back {
		return i - 1
	}
	return i + 1
}

// maxFound bounds what is kept of one segment.
const maxFound = 20_000

type findTaker struct {
	j     *Judged
	f     filter
	keep  func(Moment) bool
	limit int
	out   []Moment
}

func (t *findTaker) put(m Moment, atNS int64) {
	m.At = float64(atNS-t.j.Zero()) / 1e9
	if !t.keep(m) || t.f.button >= 0 && m.Button != t.f.button {
		return
	}
	if t.limit == 0 && len(t.out) == maxFound { // looking back: the nearest are wanted
		t.out = t.out[:copy(t.out, t.out[maxFound/2:])]
	}
	t.out = append(t.out, m)
}

func (t *findTaker) Row(r *review.Row) {
	if t.f.what == "press" && r.State.String() != wire.Pending {
		kind := ""
		if r.State.String() == wire.Unseen {
			kind = wire.Unseen
		}
		t.put(Moment{Frame: int64(r.First), What: "press", Kind: kind, Button: int(r.Button), Sure: r.HoldSure, Hold: int64(r.Hold)}, r.DownNS)
	}
}

func (t *findTaker) Multi(m *session.Multi, sure float64) {
	if t.f.what != "multi" || t.f.verdict&(1<<m.Verdict) == 0 {
		return
	}
	w := wire.OfMulti(m, sure)
	t.put(Moment{Frame: w.First, What: "multi", Kind: w.Verdict, Button: w.Button, Words: w.Words, Sure: sure, Spacings: w.Spacings}, m.Times[0][0])
}

func (t *findTaker) Outcome(o *session.Outcome, sure float64) {
	if t.f.what != "outcome" || !o.Judged || t.f.kinds&(1<<o.Result.Kind) == 0 {
		return
	}
	w := wire.OfOutcome(o, sure)
	m := Moment{Frame: w.Open, What: "outcome", Kind: w.Kind, Button: -1, Words: w.Words, Sure: sure}
	at := o.Down
	if o.N > 0 {
		n := max(o.Result.Press-1, 0)
		m.Frame, m.Button, at = int64(o.Open+o.Starts[0]), int(o.Of[n]), o.Downs[0]
		s := int64(o.Starts[0])
		m.Start = &s
		for i := 1; i < o.N; i++ {
			m.Spacings = append(m.Spacings, int64(o.Starts[i]-o.Starts[i-1]))
		}
	}
	t.put(m, at)
}

func (*findTaker) Direction(session.Direction) {}

// pressed are the buttons that did anything in the take.
func pressed(s *review.Summary) []int {
	var out []int
	for i, b := range s.Buttons {
		if b.Presses+b.Unseen > 0 && i < capture.MaxButtons {
			out = append(out, i)
		}
	}
	return out
}
