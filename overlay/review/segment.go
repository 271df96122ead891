package review

import (
	"sort"

	"holdgap/overlay/frame"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
)

const (
	// MaxSegments is the most segments that a take is cut into.
	MaxSegments = 4096
	// QuietFrames is the least time without an edge before a segment, in frames:
	// a longer gap is counted on no page.
	QuietFrames = 100
	// firstEdges is the least number of edges of a segment to begin with.
	firstEdges = 128
)

// Segment is a part of a take that can be looked at by itself.
type Segment struct {
	Edge int64 // number of edges before it
	At   int64 // time of its first edge, ns
	// Presses, Multis, Directions and Outcomes are the last ids before it.
	Presses, Multis, Directions, Outcomes uint64

	Buttons  uint64   // bit i: button i was pressed in it
	Kinds    uint8    // bit k: an attempt came out as window.Kind k in it
	Verdicts uint8    // bit v: a multi-press got session.Verdict v in it
	Hits     [2]int64 // attempts with a press, and hits of them, before it
}

func (s *Segment) join(o *Segment) {
	s.Buttons |= o.Buttons
	s.Kinds |= o.Kinds
	s.Verdicts |= o.Verdicts
}

// HasKind reports whether an attempt of the segment came out so.
func (s *Segment) HasKind(k window.Kind) bool { return s.Kinds&(1<<k) != 0 }

// HasVerdict reports whether a multi-press of the segment got this verdict.
func (s *Segment) HasVerdict(v session.Verdict) bool { return s.Verdicts&(1<<v) != 0 }

type segments struct {
	list  []Segment
	least int64 // edges
}

func (g *segments) begin() {
	g.list = make([]Segment, 0, MaxSegments)
	g.least = firstEdges
}

func (g *segments) last() *Segment { return &g.list[len(g.list)-1] }

func (g *segments) add(s Segment) {
	if len(g.list) == MaxSegments {
		half := g.list[:0]
		for i := 0; i < MaxSegments; i += 2 {
			a := g.list[i]
			a.join(&g.list[i+1])
			half = append(half, a)
		}
		g.list = half
		g.least *= 2
	}
	g.list = append(g.list, s)
}

// Segment returns the last segment that begins at or before a time (ns), or the
// first.
func (r *Review) Segment(at int64) Segment {
	l := r.segments.list
	i := sort.Search(len(l), func(i int) bool { return l[i].At > at })
	if i == 0 {
		if len(l) == 0 {
			return Segment{}
		}
		return l[0]
	}
	return l[i-1]
}

// Segments returns the segments in order. The slice is the review's own.
func (r *Review) Segments() []Segment { return r.segments.list }

// quietNS is how long nothing must have happened before a segment.
func quietNS(cfg *session.Config) int64 {
	k := max(QuietFrames, cfg.Quick) + 2
	return cfg.Clock.Poll(frame.Frame(k)) - cfg.Clock.Poll(0)
}
