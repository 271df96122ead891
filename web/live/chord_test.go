package live

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/capture"
)

const msec = int64(1_000_000)

// hold is one press of a button from down to up, in ms.
type hold struct{ button, down, up int64 }

func edgesOf(holds []hold) []capture.Edge {
	var edges []capture.Edge
	for _, h := range holds {
		edges = append(edges,
			capture.Edge{At: h.down * msec, Button: uint8(h.button), Down: true},
			capture.Edge{At: h.up * msec, Button: uint8(h.button)})
	}
	slices.SortStableFunc(edges, func(a, b capture.Edge) int { return int(a.At - b.At) })
	return edges
}

// run feeds edges as the engine does, with ticks in between, and returns what is
// recorded and the chords that came about. late is the longest that an edge was
// held back, in ns.
func run(c *chords, edges []capture.Edge, tick int64) (recorded []capture.Edge, done []formed, late int64) {
	now := int64(0)
	until := func(at int64) {
		now = at
		for f, ok := c.advance(at); ok; f, ok = c.advance(at) {
			done = append(done, f)
		}
		for w, ok := c.next(); ok; w, ok = c.next() {
			recorded = append(recorded, w.edge)
			late = max(late, now-w.edge.At)
		}
	}
	for _, e := range edges {
		for t := now + tick; t < e.At; t += tick {
			until(t)
		}
		until(e.At)
		if !c.swallow(e) {
			c.take(e, 0)
		}
		until(e.At)
	}
	for t := now; t < now+5*ChordHold; t += max(tick, 50*msec) {
		if len(c.queue) == 0 {
			break
		}
		until(t)
	}
	return recorded, done, late
}

// The definition, looked at from outside: two holds are a chord iff their downs
// are at most ChordSpread apart and neither is let go until ChordHold after the
// later one.
func TestChordsAgainstDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var holds []hold
		free := [3]int64{1, 1, 1} // when each button is up: two of a chord, and one beside
		add := func(b, down, up int64) {
			if down > free[b] {
				holds = append(holds, hold{b, down, up})
				free[b] = up
			}
		}
		for range rapid.IntRange(1, 5).Draw(t, "attempts") {
			at := max(free[0], free[1]) - rapid.Int64Range(-300, 300).Draw(t, "pause")
			near := func(name string, most int64) int64 { return rapid.Int64Range(1, most).Draw(t, name) }
			first, second := at+near("first", 300), at+near("second", 300)
			if rapid.Bool().Draw(t, "apart") {
				second = first + ChordSpread/msec + rapid.Int64Range(-100, 2).Draw(t, "by")
			}
			end := max(first, second) + 1000
			for b, down := range []int64{first, second} {
				up := end + rapid.SampledFrom([]int64{-400, -1, 0, 1, 30, 700}).Draw(t, "let go")
				if rapid.IntRange(0, 3).Draw(t, "short") == 0 {
					up = down + near("length", 200)
				}
				add(int64(b), down, up)
			}
			beside := at + near("beside", 1500)
			add(2, beside, beside+near("long", 600))
		}
		seen := map[int64]bool{}
		for _, h := range holds { // edges at one instant have no order to compare
			if seen[h.down] || seen[h.up] {
				return
			}
			seen[h.down], seen[h.up] = true, true
		}
		var play []hold
		chord := map[hold]bool{}
		var want []int64
		for _, a := range holds {
			for _, b := range holds {
				if a.button != 0 || b.button != 1 {
					continue
				}
				first, last := min(a.down, b.down), max(a.down, b.down)
				if (last-first)*msec <= ChordSpread && min(a.up, b.up)*msec >= last*msec+ChordHold {
					chord[a], chord[b] = true, true
					want = append(want, last*msec+ChordHold)
				}
			}
		}
		for _, h := range holds {
			if !chord[h] {
				play = append(play, h)
			}
		}
		slices.Sort(want)
		c := newChords([]Chord{{Buttons: []int{0, 1}, Does: "mark"}})
		got, done, late := run(c, edgesOf(holds), rapid.SampledFrom([]int64{7 * msec, 16_683_333, 400 * msec}).Draw(t, "tick"))
		require.Equal(t, edgesOf(play), got, "every other edge is recorded once, in order")
		var at []int64
		for _, f := range done {
			require.Equal(t, "mark", f.does)
			at = append(at, f.at)
		}
		require.Equal(t, want, at)
		require.LessOrEqual(t, late, ChordSpread+ChordHold+400*msec, "nothing waits longer than a chord takes")
	})
}

func TestChordCases(t *testing.T) {
	two := []Chord{{[]int{0, 1}, "mark"}}
	three := []Chord{{[]int{0, 1}, "mark"}, {[]int{2, 1, 0}, "take"}}
	for _, c := range []struct {
		name  string
		list  []Chord
		holds []hold
		does  []string
		play  []hold
	}{
		{"held just long enough", two, []hold{{0, 0, 1500}, {1, 400, 1400}}, []string{"mark"}, nil},
		{"let go a millisecond early", two, []hold{{0, 0, 1500}, {1, 400, 1399}}, nil, []hold{{0, 0, 1500}, {1, 400, 1399}}},
		{"too far apart", two, []hold{{0, 0, 3000}, {1, 501, 3000}}, nil, []hold{{0, 0, 3000}, {1, 501, 3000}}},
		{"the larger wins", three, []hold{{0, 0, 2000}, {1, 0, 2000}, {2, 300, 2000}}, []string{"take"}, nil},
		{"the larger is broken off", three, []hold{{0, 0, 2000}, {1, 0, 2000}, {2, 300, 1200}}, []string{"mark"}, []hold{{2, 300, 1200}}},
		{"let go and held again", two, []hold{{0, 0, 1200}, {1, 0, 1200}, {0, 1300, 2500}, {1, 1310, 2500}}, []string{"mark", "mark"}, nil},
		{"one held on and the other again", two, []hold{{0, 0, 4000}, {1, 0, 1200}, {1, 1300, 3000}}, []string{"mark"}, []hold{{1, 1300, 3000}}},
		{"play before and beside", two, []hold{{0, 0, 50}, {0, 100, 1300}, {1, 110, 1300}, {3, 600, 650}}, []string{"mark"}, []hold{{0, 0, 50}, {3, 600, 650}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, done, _ := run(newChords(c.list), edgesOf(c.holds), 16*msec)
			require.Equal(t, edgesOf(c.play), got)
			var does []string
			for _, f := range done {
				does = append(does, f.does)
			}
			require.Equal(t, c.does, does)
		})
	}
}

// Several keys on one button: the chord's hold is one, with all its edges.
func TestChordWithTwoKeysOnAButton(t *testing.T) {
	edge := func(ms int64, button, key uint8, down bool) capture.Edge {
		return capture.Edge{At: ms * msec, Button: button, Key: key, Down: down}
	}
	edges := []capture.Edge{
		edge(0, 0, 0, true), edge(20, 0, 1, true), edge(30, 1, 0, true), edge(200, 0, 0, false),
		edge(1100, 0, 0, true), edge(1200, 0, 1, false), edge(1300, 0, 0, false), edge(1400, 1, 0, false),
		edge(1500, 0, 0, true), edge(1550, 0, 0, false),
	}
	got, done, _ := run(newChords([]Chord{{[]int{0, 1}, "pause"}}), edges, 16*msec)
	require.Len(t, done, 1)
	require.Equal(t, [2]int{3, 1}, [2]int{done[0].edges[0], done[0].edges[1]})
	require.Equal(t, edges[8:], got)
}
