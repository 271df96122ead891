package window

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/overlay/frame"
)

// oracle plays one attempt frame by frame, straight from the definitions of the
// trade: the game looks at the button each frame, and a press is a frame in which
// it is down and was not in the frame before. It shares nothing with the code it
// checks.
func oracle(w, from int, early string, reach, hold int, offsets, holds []int) bool {
	const lead, tail = 80, 200
	var down [lead + tail]bool
	for i, o := range offsets {
		for k := range holds[i] {
			down[lead+from+o+k] = true
		}
	}
	for f := -lead + 1; f < tail; f++ {
		if !down[lead+f] || down[lead+f-1] {
			continue // no press on this frame
		}
		if f < 0 {
			if early == "spoil" && (reach == 0 || f >= -reach) {
				return false
			}
			continue
		}
		if f >= w {
			return false // the first press that did not come early came late
		}
		length := 0
		for k := f; k < tail && down[lead+k]; k++ {
			length++
		}
		return length >= hold
	}
	return false
}

// checkStarts compares Evaluate and Judge with the oracle on every start that
// could be covered, and the summary with the set of those starts.
func checkStarts(t require.TestingT, w int, r Rules, offsets, holds []int) {
	early := "ignored"
	if r.Early == Spoil {
		early = "spoil"
	}
	at, length := toFrames(offsets), toFrames(holds)
	c := Evaluate(frame.Frame(w), r, at, length)
	last := offsets[len(offsets)-1]
	var starts []frame.Frame
	shifted := make([]frame.Frame, len(at))
	for f := -last - 3; f <= w+2; f++ {
		want := oracle(w, f, early, int(r.Reach), int(r.Hold), offsets, holds)
		if got := c.Contains(frame.Frame(f)); got != want {
			require.Failf(t, "cover", "w=%d %v offsets=%v holds=%v start %d: covered=%v, want %v", w, r, offsets, holds, f, got, want)
		}
		for i := range at {
			shifted[i] = at[i] + frame.Frame(f)
		}
		if got := Judge(frame.Frame(w), r, shifted, length).Kind == Hit; got != want {
			require.Failf(t, "judge", "w=%d %v starts=%v holds=%v: hit=%v, want %v", w, r, shifted, holds, got, want)
		}
		if want {
			starts = append(starts, frame.Frame(f))
		}
	}
	require.Equal(t, starts, c.AppendStarts(nil))
	require.EqualValues(t, len(starts), c.Size())
	var holes []Span
	for i := 1; i < len(starts); i++ {
		if starts[i] != starts[i-1]+1 {
			holes = append(holes, Span{starts[i-1] + 1, starts[i] - 1})
		}
	}
	require.Equal(t, holes, c.AppendHoles(nil))
	require.Equal(t, len(starts) > 0 && len(holes) == 0, c.Contiguous())
	require.Equal(t, c.Contiguous() && len(starts) > w, c.Widens(frame.Frame(w)))
	hole, ok := c.FirstHole()
	require.Equal(t, len(holes) > 0, ok)
	if ok {
		require.Equal(t, holes[0], hole)
	}
}

func toFrames(v []int) []frame.Frame {
	out := make([]frame.Frame, len(v))
	for i := range v {
		out[i] = frame.Frame(v[i])
	}
	return out
}

// TestBruteForceEqual runs every window to 12, up to 5 presses, every spacing to
// 12 and every rule, over all starts.
func TestBruteForceEqual(t *testing.T) {
	n := 0
	for w := 1; w <= 12; w++ {
		for presses := 1; presses <= 5; presses++ {
			for d := 2; d <= 12; d++ {
				if presses == 1 && d > 2 {
					break
				}
				for early := range 8 { // ignored, spoil, spoil:1 … spoil:6
					for hold := 0; hold <= 5; hold++ {
						r := Rules{Hold: frame.Frame(hold)}
						if early > 0 {
							r.Early, r.Reach = Spoil, frame.Frame(early-1)
						}
						// Taps of one frame, and presses as long as they can be.
						for _, length := range []int{1, d - 1} {
							offsets, holds := make([]int, presses), make([]int, presses)
							for i := range presses {
								offsets[i], holds[i] = i*d, length
							}
							holds[presses-1] = 30
							checkStarts(t, w, r, offsets, holds)
							n++
						}
					}
				}
			}
		}
	}
	t.Logf("%d plans", n)
}

// TestBruteForceBest compares the best spacing, closed form and search, with a
// walk over every spacing and every start.
func TestBruteForceBest(t *testing.T) {
	for w := 1; w <= 12; w++ {
		for presses := 1; presses <= 5; presses++ {
			for early := range 4 {
				for hold := 0; hold <= 6; hold++ {
					r := Rules{Hold: frame.Frame(hold)}
					if early > 0 {
						r.Early, r.Reach = Spoil, frame.Frame(early-1)
					}
					for _, given := range [][]int{nil, {1, 1, 1, 1, 1}, {3, 1}, {5}, {1, 6, 6, 6, 6}} {
						if len(given) > presses {
							continue
						}
						want := slowBest(w, presses, r, given)
						got := BestSpacing(frame.Frame(w), r, presses, toFrames(given))
						require.Equal(t, want, got, "w=%d presses=%d %v holds=%v", w, presses, r, given)
						why := Why(frame.Frame(w), r, presses, toFrames(given))
						require.Equal(t, want.Spacing > 0, why == Helps, "%v", why)
						if d := got.Spacing; d > 0 {
							p := Equal(presses, d)
							p.Holds = toFrames(given)
							require.NoError(t, p.Validate())
							c := p.Cover(frame.Frame(w), r)
							require.Equal(t, got.Covered, c.Size())
							require.True(t, c.Contiguous())
						}
					}
				}
			}
		}
	}
}

func slowBest(w, presses int, r Rules, given []int) Best {
	early := "ignored"
	if r.Early == Spoil {
		early = "spoil"
	}
	cover := func(n, d int) (size int, whole, ok bool) {
		offsets, holds := make([]int, n), make([]int, n)
		for i := range n {
			offsets[i], holds[i] = i*d, d-1
			if i == n-1 {
				holds[i] = 30
			}
			if i < len(given) && given[i] > 0 {
				holds[i] = given[i]
			}
			if i < n-1 && holds[i] > d-1 {
				return 0, false, false
			}
		}
		first, last := 0, 0
		for f := -offsets[n-1] - 3; f < w+3; f++ {
			if oracle(w, f, early, int(r.Reach), int(r.Hold), offsets, holds) {
				if size == 0 {
					first = f
				}
				size, last = size+1, f
			}
		}
		return size, size > 0 && last-first+1 == size, true
	}
	var best Best
	if presses > 1 {
		best.Covered = frame.Frame(w) // one press, held as wanted
	} else if size, _, ok := cover(1, 2); ok {
		best.Covered = frame.Frame(size)
	}
	for d := 2; presses > 1 && d <= 14; d++ {
		if size, whole, ok := cover(presses, d); ok && whole && frame.Frame(size) > best.Covered {
			best = Best{frame.Frame(d), frame.Frame(size)}
		}
	}
	return best
}

// TestUnequal lets rapid draw unequal spacings, holds and rules.
func TestUnequal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "presses")
		offsets, holds := make([]int, n), make([]int, n)
		for i := range n {
			d := rapid.IntRange(2, 9).Draw(t, "spacing")
			if i > 0 {
				offsets[i] = offsets[i-1] + d
				holds[i-1] = rapid.IntRange(1, d-1).Draw(t, "hold")
			}
		}
		holds[n-1] = rapid.IntRange(1, 12).Draw(t, "last hold")
		r := Rules{
			Early: rapid.SampledFrom([]Early{Ignored, Spoil}).Draw(t, "early"),
			Reach: frame.Frame(rapid.IntRange(0, 9).Draw(t, "reach")),
			Hold:  frame.Frame(rapid.IntRange(0, 8).Draw(t, "H")),
		}
		checkStarts(t, rapid.IntRange(1, 20).Draw(t, "window"), r, offsets, holds)
	})
}

// TestJudgeMisses pins the distances of a miss: recounted here over all starts
// by walking the frames outwards from the window.
func TestJudgeMisses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := rapid.IntRange(1, 6).Draw(t, "window")
		f := rapid.IntRange(-30, 12).Draw(t, "start")
		var starts []frame.Frame
		pressed := map[int]bool{}
		for range rapid.IntRange(1, 5).Draw(t, "presses") {
			starts = append(starts, frame.Frame(f))
			pressed[f] = true
			f += rapid.IntRange(2, 9).Draw(t, "spacing")
		}
		o := Judge(frame.Frame(w), Rules{}, starts, nil)
		early, late, in := 0, 0, false
		for k := 60; k > 0; k-- {
			if pressed[-k] {
				early = k
			}
			if pressed[w-1+k] {
				late = k
			}
		}
		for k := range w {
			in = in || pressed[k]
		}
		switch {
		case in:
			require.Equal(t, Hit, o.Kind)
		case early > 0 && late > 0:
			require.Equal(t, Outcome{Kind: Straddled, Press: o.Press, Early: frame.Frame(early), Late: frame.Frame(late)}, o)
		case early > 0:
			require.Equal(t, Outcome{Kind: TooEarly, Press: len(starts), Early: frame.Frame(early)}, o)
		default:
			require.Equal(t, Outcome{Kind: TooLate, Press: 1, Late: frame.Frame(late)}, o)
		}
	})
}

func TestFuzzedNeverPanics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		any := rapid.SliceOfN(rapid.Map(rapid.Int32(), func(v int32) frame.Frame { return frame.Frame(v) }), 0, 40)
		r := Rules{Early: Early(rapid.Uint8().Draw(t, "early")), Reach: frame.Frame(rapid.Int16().Draw(t, "reach")), Hold: frame.Frame(rapid.Int16().Draw(t, "hold"))}
		w := frame.Frame(rapid.Int32Range(-10, 700).Draw(t, "w"))
		offsets, holds := any.Draw(t, "offsets"), any.Draw(t, "holds")
		c := Evaluate(w, r, offsets, holds)
		_ = fmt.Sprint(Judge(w, r, offsets, holds), c.AppendHoles(nil))
		p := Plan{offsets, holds}
		if p.Validate() == nil && r.Validate() == nil {
			require.NotEmpty(t, Advise(w, r, p))
		}
	})
}
