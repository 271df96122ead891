package session_test

import (
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/press"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
)

// log keeps the last report of every id.
type log struct {
	presses    map[uint64]press.Press
	multis     map[uint64]session.Multi
	directions []session.Direction
	outcomes   map[uint64]session.Outcome
}

func newLog() *log {
	return &log{map[uint64]press.Press{}, map[uint64]session.Multi{}, nil, map[uint64]session.Outcome{}}
}

func (l *log) Press(p *press.Press)          { l.presses[p.ID] = *p }
func (l *log) Multi(m *session.Multi)        { l.multis[m.ID] = *m }
func (l *log) Direction(d session.Direction) { l.directions = append(l.directions, d) }
func (l *log) Outcome(o *session.Outcome)    { l.outcomes[o.ID] = *o }

var layout = []capture.Button{
	{Label: "one"}, {Label: "two"},
	{Label: "up", Role: capture.Up}, {Label: "down", Role: capture.Down},
	{Label: "left", Role: capture.Left}, {Label: "right", Role: capture.Right},
}

const ms = 1_000_000

// fifty is a grid of 20 ms with p(k) at k·20 ms, so that times are easy to read.
func fifty(t require.TestingT) frame.Clock {
	r, err := frame.ParseRate("50")
	require.NoError(t, err)
	return frame.NewClock(r, 0)
}

// at returns a time (ns) that frame k reads, in the middle before p(k).
func at(k int64) int64 { return k*20*ms - 10*ms }

func tap(button uint8, from, to int64) []capture.Edge {
	return []capture.Edge{{At: at(from), Button: button, Down: true}, {At: at(to), Button: button}}
}

func play(cfg session.Config, edges []capture.Edge, end int64) (*log, *session.Session) {
	l := newLog()
	s := session.New(cfg, l)
	for _, e := range edges {
		s.Edge(e)
	}
	s.Advance(end)
	return l, s
}

func genEdges(t *rapid.T) []capture.Edge {
	var es []capture.Edge
	for b := range layout {
		keys := 1
		if layout[b].Role == capture.Action {
			keys = 2
		}
		for key := range keys {
			tm, down := rapid.Int64Range(0, 100*ms).Draw(t, "start"), true
			for range rapid.IntRange(0, 12).Draw(t, "n") {
				es = append(es, capture.Edge{At: tm, Button: uint8(b), Key: uint8(key), Down: down})
				down = !down
				tm += rapid.OneOf(rapid.Int64Range(0, 20*ms), rapid.Int64Range(1, 200*ms)).Draw(t, "span")
			}
		}
	}
	sort.SliceStable(es, func(i, j int) bool { return es[i].At < es[j].At })
	return es
}

func genTarget(t *rapid.T) session.Target {
	return session.Target{
		Window: frame.Frame(rapid.IntRange(0, 6).Draw(t, "window")),
		Rules: window.Rules{
			Early: window.Early(rapid.IntRange(0, 1).Draw(t, "early")),
			Reach: frame.Frame(rapid.IntRange(0, 3).Draw(t, "reach")),
			Hold:  frame.Frame(rapid.IntRange(0, 3).Draw(t, "hold")),
		},
		Wanted:   rapid.SampledFrom([]int{session.AnyButton, 0, 1}).Draw(t, "wanted"),
		Anchored: rapid.Bool().Draw(t, "anchored"),
		Starter:  rapid.IntRange(0, 1).Draw(t, "starter"),
		Opening:  frame.Frame(rapid.IntRange(1, 15).Draw(t, "opening")),
	}
}

// What holds live, review and report together: how often the time is told
// changes nothing in the end.
func TestReplayEqualsLive(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate, err := frame.ParseRate(rapid.SampledFrom([]string{"60", "60000/1001", "50", "120"}).Draw(t, "rate"))
		require.NoError(t, err)
		cfg := session.Config{
			Clock:   frame.NewClock(rate, rapid.Int64Range(0, 20*ms).Draw(t, "phase")),
			Rule:    frame.ReadRule(rapid.IntRange(0, 1).Draw(t, "rule")),
			Buttons: layout, Target: genTarget(t),
		}
		es := genEdges(t)
		if len(es) == 0 {
			return
		}
		end := es[len(es)-1].At + 2000*ms
		replay, rs := play(cfg, es, end)
		live := newLog()
		s := session.New(cfg, live)
		now := int64(0)
		for _, e := range es {
			for range rapid.IntRange(0, 3).Draw(t, "ticks") {
				if step := e.At - now; step > 0 {
					now += rapid.Int64Range(0, step).Draw(t, "step")
					s.Advance(now)
					s.Held(func(uint64, frame.Frame) {})
				}
			}
			require.Equal(t, e.At, s.Edge(e))
			now = e.At
		}
		for now < end {
			now += rapid.Int64Range(1, 500*ms).Draw(t, "tail")
			s.Advance(min(now, end))
		}
		require.Equal(t, replay, live)
		require.Equal(t, rs.Streak(), s.Streak())
		require.Zero(t, s.Late())
	})
}

// Directions against an oracle that looks at every poll instant (sampled).
func TestDirectionsAgainstEveryPollInstant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := frame.NewClock(frame.NTSC60, rapid.Int64Range(0, 20*ms).Draw(t, "phase"))
		es := genEdges(t)
		if len(es) == 0 {
			return
		}
		end := es[len(es)-1].At + 100*ms
		l, _ := play(session.Config{Clock: c, Buttons: layout}, es, end)
		num, i := uint8(5), 0
		for k := c.At(es[0].At) - 1; k < c.At(end); k++ {
			x, y := 0, 0
			for b, d := range [][2]int{2: {0, 1}, 3: {0, -1}, 4: {-1, 0}, 5: {1, 0}} {
				down := false
				for _, e := range es {
					if int(e.Button) == b && e.At <= c.Poll(k) {
						down = e.Down
					}
				}
				if down && b >= 2 {
					x, y = x+d[0], y+d[1]
				}
			}
			// Numpad notation, facing right: published glossaries of the trade.
			if n := uint8([3][3]int{{1, 2, 3}, {4, 5, 6}, {7, 8, 9}}[y+1][x+1]); n != num {
				num = n
				require.Less(t, i, len(l.directions))
				require.Equal(t, session.Direction{ID: uint64(i + 1), First: k, Num: n}, l.directions[i])
				i++
			}
		}
		require.Len(t, l.directions, i)
	})
}

// Common practice, no source: W=3 with spacing 2 covers 5 starts, with 3 covers
// 6, with 4 leaves a hole of one frame; W=1 with spacing 2 misses the start
// between two covered ones.
func TestVerdicts(t *testing.T) {
	for _, c := range []struct {
		w, spacing frame.Frame
		verdict    session.Verdict
		size       frame.Frame
		words      string
	}{
		{3, 2, session.Covered, 5, "3 to 5 frames"},
		{3, 3, session.Covered, 6, "3 to 6 frames"},
		{3, 4, session.Holed, 6, "hole of 1 frame"},
		{1, 2, session.Holed, 2, "hole of 1 frame"},
		{2, 2, session.Covered, 4, "2 to 4 frames"},
	} {
		es := append(tap(0, 10, 11), tap(0, 10+int64(c.spacing), 20)...)
		l, _ := play(session.Config{Clock: fifty(t), Buttons: layout,
			Target: session.Target{Window: c.w, Wanted: session.AnyButton}}, es, at(100))
		require.Len(t, l.multis, 1)
		m := l.multis[1]
		require.Equal(t, c.verdict, m.Verdict, "%+v", c)
		require.Equal(t, c.size, m.Cover.Size(), "%+v", c)
		require.Equal(t, c.words, m.Words())
		require.Equal(t, [2]uint64{1, 2}, [2]uint64(m.Presses[:2]))
	}
}

// More than five presses are mashing; a slow press is another attempt.
func TestMashingAndSlowPresses(t *testing.T) {
	var es []capture.Edge
	for i := int64(0); i < 7; i++ {
		es = append(es, tap(0, 10+3*i, 11+3*i)...)
	}
	es = append(es, tap(0, 60, 61)...)
	l, _ := play(session.Config{Clock: fifty(t), Buttons: layout,
		Target: session.Target{Window: 3, Wanted: session.AnyButton}}, es, at(100))
	require.Len(t, l.multis, 1)
	require.Equal(t, session.Mashed, l.multis[1].Verdict)
	m := l.multis[1]
	require.Equal(t, "mashed ×7", m.Words())
}

// An anchored target judges the real attempt.
func TestAttempts(t *testing.T) {
	target := session.Target{Window: 3, Wanted: 1, Anchored: true, Starter: 0, Opening: 20}
	hold := target
	hold.Rules.Hold = 4
	spoil := target
	spoil.Rules.Early = window.Spoil
	for name, c := range map[string]struct {
		target session.Target
		edges  []capture.Edge
		want   window.Outcome
	}{
		"hit on the first press":  {target, tap(1, 30, 31), window.Outcome{Kind: window.Hit, Press: 1}},
		"hit on the second press": {target, append(tap(1, 28, 29), tap(1, 31, 32)...), window.Outcome{Kind: window.Hit, Press: 2}},
		"early by two":            {target, tap(1, 28, 29), window.Outcome{Kind: window.TooEarly, Press: 1, Early: 2}},
		"late by one":             {target, tap(1, 33, 34), window.Outcome{Kind: window.TooLate, Press: 1, Late: 1}},
		"straddled":               {target, append(tap(1, 29, 30), tap(1, 33, 34)...), window.Outcome{Kind: window.Straddled, Press: 1, Early: 1, Late: 1}},
		"nothing pressed":         {target, nil, window.Outcome{}},
		"spoiled":                 {spoil, append(tap(1, 28, 29), tap(1, 31, 32)...), window.Outcome{Kind: window.TooEarly, Press: 1, Early: 2}},
		"held long enough":        {hold, tap(1, 30, 34), window.Outcome{Kind: window.Hit, Press: 1}},
		"let go too soon":         {hold, tap(1, 30, 33), window.Outcome{Kind: window.Unheld, Press: 1, Short: 1}},
	} {
		t.Run(name, func(t *testing.T) {
			l, s := play(session.Config{Clock: fifty(t), Buttons: layout, Target: c.target},
				append(tap(0, 10, 12), c.edges...), at(100))
			require.Len(t, l.outcomes, 1)
			o := l.outcomes[1]
			require.True(t, o.Judged)
			require.EqualValues(t, 30, o.Open)
			require.EqualValues(t, 32, o.Close())
			require.Equal(t, c.want, o.Result)
			if c.want.Kind == window.NoPress {
				require.Zero(t, s.Streak().N)
				return
			}
			require.Equal(t, 1, s.Streak().N)
		})
	}
}

// A move that links into itself starts the next attempt.
func TestChainOfLinks(t *testing.T) {
	target := session.Target{Window: 2, Wanted: 0, Anchored: true, Starter: 0, Opening: 10}
	var es []capture.Edge
	for i := int64(0); i < 4; i++ {
		es = append(es, tap(0, 10+10*i, 12+10*i)...)
	}
	l, s := play(session.Config{Clock: fifty(t), Buttons: layout, Target: target}, es, at(100))
	require.Len(t, l.outcomes, 4)
	require.Equal(t, 3, s.Streak().Run)
	require.Equal(t, 3, s.Streak().Best)
	require.Equal(t, window.NoPress, l.outcomes[4].Result.Kind)
}

// A gap of one key under 6 ms is perhaps switch bounce; two keys may be that fast.
func TestBounce(t *testing.T) {
	edges := func(key uint8) []capture.Edge {
		return []capture.Edge{
			{At: 15 * ms, Button: 0, Down: true}, {At: 39 * ms, Button: 0},
			{At: 42 * ms, Button: 0, Key: key, Down: true}, {At: 95 * ms, Button: 0, Key: key},
		}
	}
	cfg := session.Config{Clock: fifty(t), Buttons: layout}
	l, _ := play(cfg, edges(0), at(10))
	require.True(t, l.presses[2].Bounce)
	l, _ = play(cfg, edges(1), at(10))
	require.False(t, l.presses[2].Bounce)
	require.EqualValues(t, 1, l.presses[2].Gap)
}

// A late edge counts for its own time as long as that contradicts nothing that
// was reported for certain.
func TestLateEdge(t *testing.T) {
	l := newLog()
	s := session.New(session.Config{Clock: fifty(t), Buttons: layout}, l)
	s.Advance(130 * ms)
	require.EqualValues(t, 50*ms, s.Edge(capture.Edge{At: 50 * ms, Button: 0, Down: true}))
	require.EqualValues(t, 3, l.presses[1].First)
	s.Advance(140 * ms)
	require.Equal(t, press.Down, l.presses[1].State)
	require.EqualValues(t, 60*ms+1, s.Edge(capture.Edge{At: 55 * ms, Button: 0}), "frame 3 was reported as read")
	require.EqualValues(t, 1, l.presses[1].Hold)
	require.EqualValues(t, 60*ms+1, s.Edge(capture.Edge{At: 52 * ms, Button: 1, Down: true}), "edges stay in order")
	s.Advance(1000 * ms)
	require.EqualValues(t, 800*ms, s.Edge(capture.Edge{At: 100 * ms, Button: 1}), "too late")
	require.EqualValues(t, 3, s.Late())
	require.EqualValues(t, 7, s.Edge(capture.Edge{At: 7, Button: 63}), "an unknown button is ignored")
}

// Edges that come up to LateNS late, some of them after their frame was read:
// the recorded times replay to the same results.
func TestReplayEqualsLiveWithLateEdges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := session.Config{
			Clock:   frame.NewClock(frame.NTSC60, rapid.Int64Range(0, 20*ms).Draw(t, "phase")),
			Rule:    frame.ReadRule(rapid.IntRange(0, 1).Draw(t, "rule")),
			Buttons: layout, Target: genTarget(t),
		}
		cfg.Target.Rules.Hold = 0 // see LateNS
		es := genEdges(t)
		if len(es) == 0 {
			return
		}
		live := newLog()
		s := session.New(cfg, live)
		var taken []capture.Edge
		for _, e := range es {
			s.Advance(e.At + rapid.OneOf(rapid.Just(-20*int64(ms)), rapid.Int64Range(-10*ms, 250*ms)).Draw(t, "late"))
			e.At = s.Edge(e)
			taken = append(taken, e)
		}
		end := taken[len(taken)-1].At + 3000*ms
		s.Advance(end)
		replay, rs := play(cfg, taken, end)
		require.Equal(t, replay, live)
		require.Equal(t, rs.Streak(), s.Streak())
		require.Zero(t, rs.Late())
	})
}

type nothing struct{}

func (nothing) Press(*press.Press)          {}
func (nothing) Multi(*session.Multi)        {}
func (nothing) Direction(session.Direction) {}
func (nothing) Outcome(*session.Outcome)    {}

func busyEdges() []capture.Edge {
	var es []capture.Edge
	for i := int64(0); i < 4096; i++ {
		t := i * 37 * ms
		es = append(es, capture.Edge{At: t, Button: uint8(i % 2), Key: uint8(i % 3), Down: true},
			capture.Edge{At: t + 20*ms + i%7*ms, Button: uint8(i % 2), Key: uint8(i % 3)})
	}
	return es
}

func TestNoAllocationPerEdge(t *testing.T) {
	s := session.New(session.Config{Clock: fifty(t), Buttons: layout,
		Target: session.Target{Window: 3, Wanted: 1, Anchored: true, Opening: 2}}, nothing{})
	es, shift := busyEdges(), int64(0)
	require.Zero(t, testing.AllocsPerRun(5, func() {
		for _, e := range es {
			e.At += shift
			s.Edge(e)
		}
		shift += es[len(es)-1].At + 100*ms
	}))
}

// Against the bare baseline in the same run: the frame clock alone.
func BenchmarkEdge(b *testing.B) {
	es := busyEdges()
	span := es[len(es)-1].At + 100*ms
	for name, target := range map[string]session.Target{
		"plain":    {Window: 3, Wanted: session.AnyButton},
		"anchored": {Window: 3, Wanted: 1, Anchored: true, Opening: 2},
	} {
		b.Run(name, func(b *testing.B) {
			s := session.New(session.Config{Clock: frame.NewClock(frame.Hz60, 0), Buttons: layout, Target: target}, nothing{})
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				e := es[i%len(es)]
				e.At += int64(i/len(es)) * span
				s.Edge(e)
			}
		})
	}
	b.Run("bare", func(b *testing.B) {
		c := frame.NewClock(frame.Hz60, 0)
		var sum frame.Frame
		for i := 0; b.Loop(); i++ {
			e := es[i%len(es)]
			sum += c.At(e.At + int64(i/len(es))*span)
		}
		_ = sum
	})
}
