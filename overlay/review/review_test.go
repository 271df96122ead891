package review_test

import (
	"fmt"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/odds"
	"holdgap/overlay/press"
	"holdgap/overlay/review"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
)

const ms = 1_000_000

var layout = []capture.Button{
	{Label: "one"}, {Label: "two"}, {Label: "three"},
	{Label: "up", Role: capture.Up}, {Label: "right", Role: capture.Right},
}

// finals keeps the last report of every id, as a page does.
type finals struct {
	presses    map[uint64]press.Press
	multis     map[uint64]session.Multi
	outcomes   map[uint64]session.Outcome
	directions []session.Direction
}

func newFinals() *finals {
	return &finals{presses: map[uint64]press.Press{}, multis: map[uint64]session.Multi{}, outcomes: map[uint64]session.Outcome{}}
}

func (f *finals) Press(p *press.Press)          { f.presses[p.ID] = *p }
func (f *finals) Multi(m *session.Multi)        { f.multis[m.ID] = *m }
func (f *finals) Direction(d session.Direction) { f.directions = append(f.directions, d) }
func (f *finals) Outcome(o *session.Outcome)    { f.outcomes[o.ID] = *o }

// taken keeps what a log handed out.
type taken struct {
	rows     []review.Row
	multis   []session.Multi
	outcomes []session.Outcome
	dirs     []session.Direction
	sures    []float64
}

func (k *taken) Row(r *review.Row)             { k.rows = append(k.rows, *r) }
func (k *taken) Direction(d session.Direction) { k.dirs = append(k.dirs, d) }
func (k *taken) Multi(m *session.Multi, s float64) {
	k.multis = append(k.multis, *m)
	k.sures = append(k.sures, s)
}
func (k *taken) Outcome(o *session.Outcome, s float64) {
	k.outcomes = append(k.outcomes, *o)
	k.sures = append(k.sures, s)
}

// edges draws a take with bursts of presses, unseen ones, rests and several keys
// to a button.
func edges(t *rapid.T, bursts int) []capture.Edge {
	var es []capture.Edge
	at := rapid.Int64Range(0, 1000*ms).Draw(t, "start")
	for range rapid.IntRange(1, bursts).Draw(t, "bursts") {
		end := at
		for b := range layout {
			for key := range rapid.IntRange(0, 2).Draw(t, "keys") {
				tm, down := at+rapid.Int64Range(0, 60*ms).Draw(t, "begin"), true
				for range 2 * rapid.IntRange(0, 7).Draw(t, "presses") {
					es = append(es, capture.Edge{At: tm, Button: uint8(b), Key: uint8(key), Down: down})
					end, down = max(end, tm), !down
					tm += rapid.OneOf(rapid.Int64Range(0, 20*ms), rapid.Int64Range(1, 150*ms)).Draw(t, "span")
				}
			}
		}
		at = end + rapid.OneOf(rapid.Int64Range(1, 300*ms), rapid.Int64Range(1700*ms, 9000*ms)).Draw(t, "rest")
	}
	sort.SliceStable(es, func(i, j int) bool { return es[i].At < es[j].At })
	return es
}

func config(t *rapid.T) session.Config {
	rate, err := frame.ParseRate(rapid.SampledFrom([]string{"60", "60000/1001", "50", "120"}).Draw(t, "rate"))
	require.NoError(t, err)
	return session.Config{
		Clock: frame.NewClock(rate, rapid.Int64Range(0, 20*ms).Draw(t, "phase")),
		Rule:  frame.ReadRule(rapid.IntRange(0, 1).Draw(t, "rule")), Buttons: layout,
		Quick: frame.Frame(rapid.SampledFrom([]int{0, 3, 12}).Draw(t, "quick")),
		Target: session.Target{
			Window: frame.Frame(rapid.IntRange(0, 6).Draw(t, "window")),
			Rules: window.Rules{Early: window.Early(rapid.IntRange(0, 1).Draw(t, "early")),
				Hold: frame.Frame(rapid.IntRange(0, 3).Draw(t, "hold"))},
			Wanted:   rapid.SampledFrom([]int{session.AnyButton, 0, 1}).Draw(t, "wanted"),
			Anchored: rapid.Bool().Draw(t, "anchored"), Starter: rapid.IntRange(0, 1).Draw(t, "starter"),
			Opening: frame.Frame(rapid.IntRange(1, 15).Draw(t, "opening")),
		},
	}
}

func run(cfg session.Config, es []capture.Edge, end int64) (*review.Review, *finals, *taken) {
	r := review.New(cfg)
	f := newFinals()
	s := session.New(cfg, f)
	k := &taken{}
	l := review.NewLog(cfg, odds.Model{Clock: cfg.Clock, Rule: cfg.Rule}, k)
	for _, e := range es {
		r.Edge(e)
		s.Edge(e)
		l.Edge(e)
	}
	r.Finish(end)
	s.Advance(end)
	l.Finish(end)
	return r, f, k
}

// A review adds up, and a log hands out, exactly what the session says in the
// end, counted here from the last report of every id.
func TestReviewAndLogAgreeWithTheSession(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg, es := config(t), edges(t, 4)
		if len(es) == 0 {
			return
		}
		end := es[len(es)-1].At + rapid.Int64Range(0, 1000*ms).Draw(t, "after")
		r, f, k := run(cfg, es, end)
		sum := r.Summary()
		require.EqualValues(t, len(es), sum.Edges)
		require.EqualValues(t, end, sum.To)

		type count struct{ presses, unseen, merged, bounce int64 }
		want := make([]count, len(layout))
		holds, gaps := make([]map[frame.Frame]uint32, len(layout)), make([]map[frame.Frame]uint32, len(layout))
		for b := range layout {
			holds[b], gaps[b] = map[frame.Frame]uint32{}, map[frame.Frame]uint32{}
		}
		for _, p := range f.presses {
			w := &want[p.Button]
			switch p.State {
			case press.Unseen:
				w.unseen++
				continue
			case press.Pending:
				continue
			}
			w.presses++
			w.merged += int64(p.Merged)
			if p.Bounce {
				w.bounce++
			}
			if p.State == press.Closed {
				holds[p.Button][min(p.Hold, over)]++
			}
			if p.Gap != press.NoGap {
				gaps[p.Button][min(p.Gap, over)]++
			}
		}
		for b, w := range want {
			got := sum.Buttons[b]
			require.Equal(t, w.presses, got.Presses, "button %d", b)
			require.Equal(t, w.unseen, got.Unseen, "button %d", b)
			require.Equal(t, w.bounce, got.Bounce, "button %d", b)
			require.Equal(t, holds[b], bins(got.Hold), "button %d", b)
			require.Equal(t, gaps[b], bins(got.Gap), "button %d", b)
		}
		kinds := map[string]int64{}
		tries := int64(0)
		for _, o := range f.outcomes {
			if o.Judged {
				kinds[o.Result.Kind.String()]++
				if o.Result.Kind != window.NoPress {
					tries++
				}
			}
		}
		for _, o := range sum.Outcomes {
			require.Equal(t, kinds[o.Kind], o.Count, o.Kind)
			require.Equal(t, tries, o.Of)
		}
		require.Equal(t, kinds["none"], sum.Nothing)
		verdicts := map[string]int64{}
		patterns := map[string]int64{}
		for _, m := range f.multis {
			verdicts[m.Verdict.String()]++
			var sp []frame.Frame
			for i := 1; i < m.Kept(); i++ {
				sp = append(sp, m.Offsets[i]-m.Offsets[i-1])
			}
			patterns[fmt.Sprint(m.Button, min(m.N, 6), sp, m.Verdict.String())]++
		}
		for _, v := range sum.Verdicts {
			require.Equal(t, verdicts[v.Kind], v.Count, v.Kind)
		}
		got := map[string]int64{}
		for _, p := range sum.Multis {
			sp := p.Spacings
			if len(sp) == 0 {
				sp = nil
			}
			got[fmt.Sprint(p.Button, min(p.Presses, 6), sp, p.Verdict)] += p.Count
		}
		require.Equal(t, patterns, got)
		var presses, hits int64
		for _, s := range sum.Trend.Slots {
			presses += s.Presses
			hits += s.Hits
		}
		require.Equal(t, kinds["hit"], hits)
		for _, w := range want {
			presses -= w.presses
		}
		require.Zero(t, presses)

		// The log: every entry once, final, in order.
		require.Len(t, k.rows, len(f.presses))
		for i, row := range k.rows {
			require.Equal(t, f.presses[row.ID], row.Press)
			if i > 0 {
				require.Less(t, k.rows[i-1].ID, row.ID)
			}
		}
		require.Len(t, k.multis, len(f.multis))
		for _, m := range k.multis {
			require.Equal(t, f.multis[m.ID], m)
			for i := range m.Kept() {
				for _, row := range k.rows {
					if row.ID == m.Presses[i] {
						require.Equal(t, i+1, row.Place)
					}
				}
			}
		}
		inMulti := map[uint64]bool{}
		for _, m := range k.multis {
			for i := range m.Kept() {
				inMulti[m.Presses[i]] = true
			}
		}
		for _, row := range k.rows {
			if !inMulti[row.ID] && row.Place > 0 && row.State != press.Pending {
				require.Greater(t, row.Place, session.MaxMulti)
			}
		}
		require.Equal(t, f.directions, k.dirs)
		for _, o := range k.outcomes {
			require.Equal(t, f.outcomes[o.ID], o)
		}
		for _, s := range k.sures {
			require.True(t, s >= 0 && s <= 1+1e-9, s)
		}
	})
}

// over stands for every length that has no bin.
const over = review.MaxFrames + 1

func bins(d review.Dist) map[frame.Frame]uint32 {
	m := map[frame.Frame]uint32{}
	for k, n := range d.Frames {
		if n > 0 {
			m[frame.Frame(k)] = n
		}
	}
	if d.OverFrames > 0 {
		m[over] = uint32(d.OverFrames)
	}
	return m
}

// A session that begins at a segment finds what one from the beginning finds.
func TestSegmentsStandAlone(t *testing.T) {
	met := 0
	rapid.Check(t, func(t *rapid.T) {
		cfg := config(t)
		es := edges(t, 12)
		if len(es) == 0 {
			return
		}
		end := es[len(es)-1].At + 2000*ms
		r, f, _ := run(cfg, es, end)
		segs := r.Segments()
		for i, g := range segs {
			if i > 0 {
				met++
				require.Equal(t, es[g.Edge].At, g.At)
			}
			part := newFinals()
			s := session.New(cfg, part)
			upTo := end
			stop := int64(len(es))
			if i+1 < len(segs) {
				stop, upTo = segs[i+1].Edge, segs[i+1].At-1
			}
			for _, e := range es[g.Edge:stop] {
				s.Edge(e)
			}
			s.Advance(upTo)
			var kinds, verdicts uint8
			for id, p := range part.presses {
				q := f.presses[id+g.Presses]
				if p.Gap == press.NoGap { // a longer gap is counted on no page
					require.True(t, q.Gap == press.NoGap || q.Gap >= review.QuietFrames, q.Gap)
					p.Gap, p.Spacing, p.LastNS = q.Gap, q.Spacing, q.LastNS
				}
				p.ID = q.ID
				require.Equal(t, q, p)
				require.NotZero(t, g.Buttons&(1<<p.Button)|b2u(p.State == press.Unseen))
			}
			for id, m := range part.multis {
				q := f.multis[id+g.Multis]
				require.Equal(t, q.Offsets, m.Offsets)
				require.Equal(t, q.Verdict, m.Verdict)
				verdicts |= 1 << m.Verdict
			}
			require.Equal(t, verdicts, g.Verdicts&verdicts)
			for id, o := range part.outcomes {
				q := f.outcomes[id+g.Outcomes]
				require.Equal(t, q.Result, o.Result)
				require.Equal(t, q.Open, o.Open)
				if o.Judged {
					kinds |= 1 << o.Result.Kind
				}
			}
			require.Equal(t, kinds, g.Kinds)
		}
	})
	require.Positive(t, met, "no take had a second segment")
}

func b2u(b bool) uint64 {
	if b {
		return 1
	}
	return 0
}

// NIST/SEMATECH e-Handbook 7.2.4.1 and Newcombe 1998 (cases checked in package
// stat); 8 of 10 computed.
func TestRate(t *testing.T) {
	r := review.NewRate("hit", 81, 263)
	require.InDelta(t, .2553, r.Low, 5e-5)
	require.InDelta(t, .3662, r.High, 5e-5)
	require.InDelta(t, 81./263, r.Rate, 1e-12)
	require.Equal(t, review.Rate{Kind: "hit", High: 1}, review.NewRate("hit", 0, 0))
}

// A tap of x ms, by hand: 60 presses held 40 ms and 20 held 60 ms, 100 ms apart.
func TestDistributions(t *testing.T) {
	rate, err := frame.ParseRate("50")
	require.NoError(t, err)
	cfg := session.Config{Clock: frame.NewClock(rate, 0), Buttons: layout}
	r := review.New(cfg)
	at := int64(5 * ms)
	for i := range 80 {
		hold := int64(40 * ms)
		if i%4 == 3 {
			hold = 60 * ms
		}
		r.Edge(capture.Edge{At: at, Down: true})
		r.Edge(capture.Edge{At: at + hold})
		at += hold + 200*ms
	}
	r.Finish(at)
	b := r.Summary().Buttons[0]
	require.EqualValues(t, 80, b.Presses)
	// 20 ms a frame: 40 ms are two frames, 60 ms three, a gap of 200 ms ten.
	require.Equal(t, map[frame.Frame]uint32{2: 60, 3: 20}, bins(b.Hold))
	require.Equal(t, map[frame.Frame]uint32{10: 79}, bins(b.Gap))
	require.Equal(t, map[frame.Frame]uint32{12: 60, 13: 19}, bins(b.Spacing))
	require.InDelta(t, 45, b.Hold.MeanMS, 1e-9)
	// 60 values 5 below and 20 values 15 above the mean: variance 6000/79.
	require.InDelta(t, 8.7150, b.Hold.SDMS, 1e-3)
	require.EqualValues(t, 2, b.Hold.MedianFrames)
	require.EqualValues(t, 60, b.Hold.MS[40])
}

// Memory is bounded by the view: a take ten times as long keeps no more.
func TestBounded(t *testing.T) {
	cfg := session.Config{Clock: frame.NewClock(frame.Hz60, 0), Buttons: layout,
		Target: session.Target{Window: 3, Wanted: 0, Anchored: true, Starter: 1, Opening: 20}}
	r := review.New(cfg)
	feed := feeder()
	for range 2_000_000 {
		r.Edge(feed())
	}
	allocs := testing.AllocsPerRun(5, func() {
		for range 100_000 {
			r.Edge(feed())
		}
	})
	require.Less(t, allocs, 1.0, "allocations for 100,000 edges")
	require.LessOrEqual(t, len(r.Segments()), review.MaxSegments)
	require.Greater(t, len(r.Segments()), review.MaxSegments/8)
	s := r.Summary()
	require.LessOrEqual(t, len(s.Trend.Slots), review.MaxSlots)
	require.Greater(t, len(s.Trend.Slots), review.MaxSlots/4)
}

// feeder yields a player's edges for ever: a starter, a double press, a rest now
// and then.
func feeder() func() capture.Edge {
	script := []struct {
		wait   int64
		button uint8
		down   bool
	}{{600, 1, true}, {45, 1, false}, {280, 0, true}, {31, 0, false}, {24, 0, true}, {60, 0, false},
		{90, 3, true}, {70, 3, false}, {33, 4, true}, {120, 4, false}}
	at, i, n := int64(0), 0, 0
	return func() capture.Edge {
		if i == len(script) {
			i = 0
			if n++; n%8 == 0 {
				at += 3000 * ms
			}
		}
		s := script[i]
		i++
		at += s.wait*ms + int64(n%7)*713_000
		return capture.Edge{At: at, Button: s.button, Down: s.down}
	}
}

// Times as no clock ever gives them, as a damaged or made-up file may hold, break
// nothing.
func TestAnyTimes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := config(t)
		var es []capture.Edge
		for range rapid.IntRange(1, 40).Draw(t, "n") {
			es = append(es, capture.Edge{At: rapid.OneOf(rapid.Int64(), rapid.Int64Range(-1<<63, -1<<63+1e10), rapid.Int64Range(1<<63-1e10, 1<<63-1), rapid.Int64Range(0, 1e10)).Draw(t, "at"),
				Button: uint8(rapid.IntRange(0, 6).Draw(t, "button")), Down: rapid.Bool().Draw(t, "down")})
		}
		if rapid.Bool().Draw(t, "in order") {
			sort.Slice(es, func(i, j int) bool { return es[i].At < es[j].At })
		}
		r, _, _ := run(cfg, es, rapid.Int64().Draw(t, "end"))
		r.Summary()
	})
}
