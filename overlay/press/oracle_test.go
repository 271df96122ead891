package press_test

import (
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/overlay/frame"
	"holdgap/overlay/press"
)

// edge is one physical key of the button going down or up.
type edge struct {
	t    int64
	key  uint8
	down bool
}

// genEdges draws alternating edges for up to three keys, in the order of time,
// with spans from far below to far above a frame.
func genEdges(t *rapid.T) []edge {
	var es []edge
	for key := range rapid.IntRange(1, 3).Draw(t, "keys") {
		at := rapid.Int64Range(-50_000_000, 50_000_000).Draw(t, "start")
		down := true
		for range rapid.IntRange(1, 14).Draw(t, "edges") {
			es = append(es, edge{at, uint8(key), down})
			down = !down
			at += rapid.OneOf(rapid.Int64Range(0, 5_000_000), rapid.Int64Range(1, 70_000_000)).Draw(t, "span")
		}
	}
	sort.SliceStable(es, func(i, j int) bool { return es[i].t < es[j].t })
	return es
}

func genClock(t *rapid.T) frame.Clock {
	rates := []frame.Rate{frame.Hz60, frame.NTSC60}
	for _, s := range []string{"59.637405", "50", "120", "54.70684", "30"} {
		r, err := frame.ParseRate(s)
		if err != nil {
			t.Fatal(err)
		}
		rates = append(rates, r)
	}
	return frame.NewClock(rapid.SampledFrom(rates).Draw(t, "rate"), rapid.Int64Range(-1e9, 1e9).Draw(t, "phase"))
}

type run struct{ first, hold frame.Frame }

// oracle looks at every poll instant, straight from the definitions of the two
// read rules, and returns the runs of down frames.
func oracle(c frame.Clock, rule frame.ReadRule, es []edge) []run {
	from, to := c.At(es[0].t)-2, c.At(es[len(es)-1].t)+3
	downAt := func(t int64) bool { // after every edge up to and at t
		var keys [3]bool
		for _, e := range es {
			if e.t <= t {
				keys[e.key] = e.down
			}
		}
		return keys[0] || keys[1] || keys[2]
	}
	var runs []run
	prev := false
	for k := from; k <= to; k++ {
		d := downAt(c.Poll(k))
		if rule == frame.Latched {
			d = d || downAt(c.Poll(k-1)) // and so at the instants just after
			for _, e := range es {       // an edge inside (p(k−1), p(k)] that leaves it down
				if e.t > c.Poll(k-1) && e.t <= c.Poll(k) && e.down {
					d = true
				}
			}
		}
		switch {
		case d && !prev:
			runs = append(runs, run{k, 1})
		case d:
			runs[len(runs)-1].hold++
		}
		prev = d
	}
	return runs
}

// machineRuns feeds the machine and collects the last state of every press.
func machineRuns(c frame.Clock, rule frame.ReadRule, es []edge, advance bool) (runs []run, unseen, merged int, all map[uint64]press.Press) {
	m := press.Machine{Config: press.Config{Rule: rule, BounceNS: 6_000_000}}
	all = map[uint64]press.Press{}
	var id uint64
	for _, e := range es {
		if advance {
			if k, ok := m.PendingFrame(); ok && k < c.At(e.t) {
				m.Read()
			}
		}
		var ch press.Change
		if e.down {
			ch = m.Down(e.t, c.At(e.t), e.key, id+1)
		} else {
			ch = m.Up(e.t, c.At(e.t), e.key, id+1)
		}
		switch ch {
		case press.Began:
			id++
		case press.Reverted:
			id++
			all[id] = *m.Lost()
		}
		if id > 0 {
			all[m.Current().ID] = *m.Current()
		}
	}
	for i := uint64(1); i <= id; i++ {
		p := all[i]
		if p.State == press.Unseen {
			unseen += 1 + int(p.Merged)
			continue
		}
		merged += int(p.Merged)
		runs = append(runs, run{p.First, p.Hold})
	}
	return runs, unseen, merged, all
}

// Random edges, rates, phases and read rules against an oracle that looks at
// every poll instant.
func TestPressesAgainstEveryPollInstant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, rule := genClock(t), frame.ReadRule(rapid.IntRange(0, 1).Draw(t, "rule"))
		es := genEdges(t)
		// Let go of everything at the end, so that every hold is closed.
		last := es[len(es)-1].t + 1_000_000
		var down [3]bool
		for _, e := range es {
			down[e.key] = e.down
		}
		for k, d := range down {
			if d {
				es = append(es, edge{last, uint8(k), false})
			}
		}
		physical := 0
		for _, e := range es {
			if e.down {
				physical++
			}
		}
		got, unseen, merged, all := machineRuns(c, rule, es, rapid.Bool().Draw(t, "advance"))
		want := oracle(c, rule, es)
		require.Equal(t, want, got)
		// Every physical press is a press, merged into one, or unseen.
		require.Equal(t, physical, len(got)+unseen+merged)
		if rule == frame.Latched {
			require.Zero(t, unseen)
		}
		var before *run
		for id := uint64(1); id <= uint64(len(all)); id++ {
			p := all[id]
			if p.State == press.Unseen {
				continue
			}
			if before == nil {
				require.Equal(t, press.NoGap, p.Gap)
			} else {
				require.Equal(t, p.First-before.first-before.hold, p.Gap)
				require.Equal(t, p.First-before.first, p.Spacing)
				require.GreaterOrEqual(t, p.Spacing, frame.Frame(2))
			}
			before = &run{p.First, p.Hold}
		}
	})
}
