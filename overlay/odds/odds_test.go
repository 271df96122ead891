package odds

import (
	"errors"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/overlay/frame"
	"holdgap/overlay/window"
)

const ms = 1_000_000

func at60(phase int64) Model { return Model{Clock: frame.NewClock(frame.Hz60, phase)} }

// TestHold: a hold of x = h/T frames reads as ⌊x⌋ with probability 1 − frac(x),
// else as ⌊x⌋ + 1. Derivation: down at phase u of a frame, the polls in [u, u + x)
// are ⌊x⌋ unless one more lies in the last frac(x) of it, which it does for that
// share of the phases.
func TestHold(t *testing.T) {
	m := at60(0)
	// 20 ms at 60 Hz are 1.2 frames: one with 0.8, two with 0.2.
	assert.InDelta(t, 0.8, m.HoldProbability(0, 20*ms, 1), 1e-15)
	assert.InDelta(t, 0.2, m.HoldProbability(0, 20*ms, 2), 1e-15)
	assert.Zero(t, m.HoldProbability(0, 20*ms, 0))
	// 5 ms are 0.3 frames: unseen with 0.7.
	assert.InDelta(t, 0.7, m.HoldProbability(0, 5*ms, 0), 1e-15)
	// 50 ms are exactly three frames at 60 Hz, and sure.
	assert.Equal(t, 1.0, m.HoldProbability(7, 7+50*ms, 3))
	// At 60000/1001 they are 2.997002997… frames.
	n := Model{Clock: frame.NewClock(frame.NTSC60, 0)}
	assert.InDelta(t, 3-0.05*60000/1001, n.HoldProbability(0, 50*ms, 2), 1e-13)
	// Latched sees one frame more: any instant of a frame is enough.
	m.Rule = frame.Latched
	assert.InDelta(t, 0.8, m.HoldProbability(0, 20*ms, 2), 1e-15)
	assert.InDelta(t, 0.3, m.HoldProbability(0, 5*ms, 2), 1e-15)
	assert.Zero(t, m.HoldProbability(0, 5*ms, 0), "never unseen")
}

// TestMerged: down, up and down again with no frame that saw the button up is
// read as one hold (common practice, no source).
func TestMerged(t *testing.T) {
	// 40 ms down, 5 ms up, 40 ms down at 60 Hz: the gap is 0.3 frames.
	presses := []Press{{Down: 0, Up: 40 * ms}, {Down: 45 * ms, Up: 85 * ms}}
	list, err := at60(0).Patterns(presses)
	require.NoError(t, err)
	merged := 0.0
	for _, p := range list {
		assert.Len(t, p.Gaps, len(p.Holds)-1)
		if p.Merged == 1 {
			assert.Len(t, p.Holds, 1)
			merged += p.Probability
		}
	}
	assert.InDelta(t, 0.7, merged, 1e-12)
	assert.InDelta(t, 0.7, at60(0).GapProbability(40*ms, 45*ms, 0), 1e-12)
	// A latched game needs a whole frame up: it always merges them.
	m := at60(0)
	m.Rule = frame.Latched
	list, err = m.Patterns(presses)
	require.NoError(t, err)
	for _, p := range list {
		assert.Equal(t, 1, p.Merged)
	}
	assert.Equal(t, 1.0, m.GapProbability(40*ms, 45*ms, 0))
}

// TestPerfectDoublePress: down one frame, up one frame, down again, as exact
// frames of 60 Hz (common practice, no source). 1/60 s is not whole in ns, so the
// edges are put a third of a frame after the polls and read the same at that
// phase and over a third and two thirds of all phases.
func TestPerfectDoublePress(t *testing.T) {
	c := frame.NewClock(frame.Hz60, 0)
	edge := func(k frame.Frame) int64 { return c.Poll(k) + 5*ms }
	presses := []Press{{Down: edge(0), Up: edge(1)}, {Down: edge(2), Up: edge(3)}}
	p, err := at60(0).Reading(presses)
	require.NoError(t, err)
	assert.Equal(t, Pattern{Offsets: []frame.Frame{0, 2}, Holds: []frame.Frame{1, 1}, Gaps: []frame.Frame{1}, Probability: 1}, p)
	covered, err := at60(0).Covered(presses, 3, window.Rules{})
	require.NoError(t, err)
	assert.InDelta(t, 1, covered, 1e-6)
	covered, err = at60(0).Covered(presses, 1, window.Rules{})
	require.NoError(t, err)
	assert.Zero(t, covered, "a one-frame window is never covered by two presses")
}

// TestEdgeOnPoll: an edge exactly at a poll instant has happened.
func TestEdgeOnPoll(t *testing.T) {
	r, err := frame.ParseRate("50") // T = 20 ms, whole
	require.NoError(t, err)
	for _, tt := range []struct {
		down, up int64
		rule     frame.ReadRule
		want     []frame.Frame // holds
	}{
		{20 * ms, 40 * ms, frame.Sampled, []frame.Frame{1}}, // seen at 20, up by 40
		{20*ms + 1, 40 * ms, frame.Sampled, []frame.Frame{}},
		{20 * ms, 40*ms + 1, frame.Sampled, []frame.Frame{2}},
		{20 * ms, 40 * ms, frame.Latched, []frame.Frame{2}}, // frames (0,20] and (20,40]
		{20*ms + 1, 40 * ms, frame.Latched, []frame.Frame{1}},
		{20 * ms, 40*ms + 1, frame.Latched, []frame.Frame{3}},
	} {
		p, err := Model{Clock: frame.NewClock(r, 0), Rule: tt.rule}.Reading([]Press{{Down: tt.down, Up: tt.up}})
		require.NoError(t, err)
		assert.Equal(t, tt.want, p.Holds, "%+v", tt)
	}
	// A free phase gives a single instant no weight: 20 ms is one frame surely.
	list, err := Model{Clock: frame.NewClock(r, 0)}.Patterns([]Press{{Down: 3, Up: 3 + 20*ms}})
	require.NoError(t, err)
	require.Len(t, list, 1)
	assert.Equal(t, 1.0, list[0].Probability)
}

// TestReportFromPoll: an edge stamped 28 ms by a device that reports every 8 ms
// came after 20 ms, so a poll at exactly 20 ms did not see it.
func TestReportFromPoll(t *testing.T) {
	r, err := frame.ParseRate("50")
	require.NoError(t, err)
	m := Model{Clock: frame.NewClock(r, 0), Fixed: true, Report: 8 * ms}
	list, err := m.Patterns([]Press{{Down: 28 * ms, Up: 79 * ms}})
	require.NoError(t, err)
	require.Len(t, list, 1)
	assert.Equal(t, []frame.Frame{2}, list[0].Holds)
	assert.InDelta(t, 1, list[0].Probability, 1e-15)
}

// TestFixedMatchesClock: the one reading is what frame.Clock.Span says, whole
// months away from the phase, and the odds' frames are the clock's.
func TestFixedMatchesClock(t *testing.T) {
	for _, rate := range rates {
		r, err := frame.ParseRate(rate)
		require.NoError(t, err)
		for _, rule := range []frame.ReadRule{frame.Sampled, frame.Latched} {
			for _, phase := range []int64{0, -123_456_789, 5_000_000_000_000_000} {
				c := frame.NewClock(r, phase)
				m := Model{Clock: c, Rule: rule, Fixed: true}
				for i := range int64(200) {
					down := i*7_654_321 - 500*ms
					up := down + 21*ms + i*100_003
					first, end := c.Span(rule, down, up)
					list, err := m.Patterns([]Press{{Down: down, Up: up}})
					require.NoError(t, err)
					require.Len(t, list, 1)
					if end > first {
						require.Equal(t, []frame.Frame{end - first}, list[0].Holds)
					} else {
						require.Equal(t, 1, list[0].Unseen)
					}
					require.Equal(t, 1.0, m.HoldProbability(down, up, max(end-first, 0)))
				}
			}
		}
	}
}

// TestCoversAddUp: the distribution of covers agrees with Covered and sums to 1.
func TestCoversAddUp(t *testing.T) {
	presses := []Press{{Down: 0, Up: 20 * ms}, {Down: 35 * ms, Up: 60 * ms}, {Down: 88 * ms, Up: 110 * ms}}
	for _, report := range []int64{0, 8 * ms} {
		for win := frame.Frame(1); win <= 6; win++ {
			for _, rules := range []window.Rules{{}, {Early: window.Spoil}, {Early: window.Spoil, Reach: 1}, {Hold: 2}} {
				m := at60(0)
				m.Report = report
				list, err := m.Covers(presses, win, rules)
				require.NoError(t, err)
				covered, err := m.Covered(presses, win, rules)
				require.NoError(t, err)
				sum, widens := 0.0, 0.0
				for _, c := range list {
					sum += c.Probability
					if c.Widens {
						widens += c.Probability
					}
				}
				assert.InDelta(t, 1, sum, 1e-12)
				assert.InDelta(t, covered, widens, 1e-12)
			}
		}
	}
	// One press alone covers the window where it is read at all.
	covered, err := at60(0).Covered([]Press{{Down: 0, Up: 5 * ms}}, 3, window.Rules{})
	require.NoError(t, err)
	assert.InDelta(t, 0.3, covered, 1e-15)
}

// TestCoveredByHand: 0–20 and 35–60 ms at 60 Hz, window 3. The spacing of 35 ms is
// 2.1 frames and the gap of 15 ms 0.9: for a tenth of the phases no poll falls into
// the gap and the two merge; both holds are over a frame, so they are always
// seen; spacing 2 and 3 both cover without a hole.
func TestCoveredByHand(t *testing.T) {
	presses := []Press{{Down: 0, Up: 20 * ms}, {Down: 35 * ms, Up: 60 * ms}}
	covered, err := at60(0).Covered(presses, 3, window.Rules{})
	require.NoError(t, err)
	assert.InDelta(t, 0.9, covered, 1e-12)
	// For a window of 2 the tenth that reads as spacing 3 leaves a hole.
	covered, err = at60(0).Covered(presses, 2, window.Rules{})
	require.NoError(t, err)
	assert.InDelta(t, 0.8, covered, 1e-12)
}

func TestStillDown(t *testing.T) {
	presses := []Press{{Down: 0, Up: 20 * ms}, {Down: 40 * ms, Up: Open}}
	list, err := at60(0).Patterns(presses)
	require.NoError(t, err)
	for _, p := range list {
		assert.Equal(t, window.Held, p.Holds[len(p.Holds)-1])
	}
	covered, err := at60(0).Covered(presses, 3, window.Rules{})
	require.NoError(t, err)
	assert.InDelta(t, 1, covered, 1e-12)
	assert.ErrorContains(t, ValidatePresses([]Press{{Down: 0, Up: Open}, {Down: 5, Up: 9}}), "still down")
}

func TestOutcomes(t *testing.T) {
	// The window opens 6 frames (100 ms) after the starter: a press 91.67 ms after
	// it is 5.5 frames after it, half the time 5 (early by 1) and half 6 (a hit).
	list, err := at60(0).Outcomes(nil, Press{Down: 0, Up: 30 * ms, Button: 1}, 6,
		[]Press{{Down: 91_666_667, Up: 120 * ms}}, 2, window.Rules{})
	require.NoError(t, err)
	require.Len(t, list, 2)
	assert.InDelta(t, 0.5, list[0].Probability, 1e-6)
	assert.InDelta(t, 0.5, HitProbability(list), 1e-6)
	kinds := []window.Kind{list[0].Kind, list[1].Kind}
	slices.Sort(kinds)
	assert.Equal(t, []window.Kind{window.Hit, window.TooEarly}, kinds)

	// A starter that is not read opens no window.
	list, err = at60(0).Outcomes(nil, Press{Down: 0, Up: 5 * ms, Button: 1}, 0, []Press{{Down: 1, Up: 90 * ms}}, 600, window.Rules{})
	require.NoError(t, err)
	for _, o := range list {
		if o.Kind == window.NoPress {
			assert.InDelta(t, 0.7, o.Probability, 1e-6)
		}
	}
}

func TestErrors(t *testing.T) {
	ok := []Press{{Down: 0, Up: 20 * ms}}
	for _, tt := range []struct {
		presses []Press
		index   int
		says    string
	}{
		{nil, -1, "no press"},
		{make([]Press, 17), -1, "17 presses are more than 16"},
		{[]Press{{Down: 5, Up: 5}}, 0, "not after"},
		{[]Press{{Down: 0, Up: 20 * ms}, {Down: 15 * ms, Up: 30 * ms}}, 1, "press 2 goes down at 15 ms and overlaps press 1, which goes up at 20 ms"},
		{[]Press{{Down: 9, Up: 20 * ms}, {Down: 5, Up: 8, Button: 1}}, 1, "in order"},
	} {
		var pe *PressError
		require.True(t, errors.As(ValidatePresses(tt.presses), &pe))
		assert.Equal(t, tt.index, pe.Press)
		assert.Contains(t, pe.Error(), tt.says)
	}
	_, err := Model{}.Patterns(ok)
	assert.ErrorContains(t, err, "frame rate")
	m := at60(0)
	m.Report = -1
	_, err = m.Patterns(ok)
	assert.ErrorContains(t, err, "report interval")
	assert.Zero(t, m.HoldProbability(0, 5, 0))
	m.Report = 0
	_, err = m.Covered(ok, 601, window.Rules{})
	assert.ErrorContains(t, err, "600")
	_, err = m.Covered(ok, 3, window.Rules{Hold: -1})
	assert.ErrorContains(t, err, "negative")
	_, err = m.Patterns([]Press{{Down: 0, Up: 20 * ms}, {Down: 5, Up: 30 * ms, Button: 1}})
	assert.ErrorContains(t, err, "another button")
	_, err = m.Covers([]Press{{Down: 0, Up: 20 * ms}, {Down: 5, Up: 30 * ms, Button: 1}}, 3, window.Rules{})
	assert.ErrorContains(t, err, "another button")
	_, err = m.Outcomes(nil, ok[0], 3, make([]Press, 16), 3, window.Rules{})
	assert.ErrorContains(t, err, "15")
	_, err = m.Outcomes(nil, ok[0], 3, nil, 900, window.Rules{})
	assert.ErrorContains(t, err, "600")
	_, err = m.Outcomes(nil, ok[0], 3, nil, 3, window.Rules{Hold: -1})
	assert.ErrorContains(t, err, "negative")
	var many []Press
	for i := range int64(16) {
		many = append(many, Press{Down: i * 40 * ms, Up: i*40*ms + 20*ms})
	}
	m.Report = 16 * ms
	_, err = m.Patterns(many)
	assert.ErrorIs(t, err, ErrTooMany)
	m.Report = 0
	list, err := m.Patterns(many)
	require.NoError(t, err)
	assert.NotEmpty(t, list)
}

// TestManyPatterns: a list too long to search goes through the index and still
// sums to 1 with no pattern twice.
func TestManyPatterns(t *testing.T) {
	m := at60(0)
	m.Report = 12 * ms
	var presses []Press
	for i := range int64(5) {
		presses = append(presses, Press{Down: i * 41 * ms, Up: i*41*ms + 22*ms})
	}
	list, err := m.Patterns(presses)
	require.NoError(t, err)
	assert.Greater(t, len(list), 100)
	sum, seen := 0.0, map[string]bool{}
	for _, p := range list {
		sum += p.Probability
		assert.False(t, seen[text(p)])
		seen[text(p)] = true
	}
	assert.InDelta(t, 1, sum, 1e-9)
}

func TestMilliseconds(t *testing.T) {
	for ns, want := range map[int64]string{0: "0", 1: "0.000001", 16_683_333: "16.683333", 20 * ms: "20", -1_500_000: "-1.5", math.MinInt64: "-9223372036854.775808"} {
		assert.Equal(t, want, Milliseconds(ns))
	}
}

func TestNoAllocation(t *testing.T) {
	m := at60(0)
	presses := []Press{{Down: 0, Up: 20 * ms}, {Down: 35 * ms, Up: 60 * ms}}
	dst := make([]OutcomeOdds, 0, 32)
	for _, report := range []int64{0, 8 * ms} {
		m.Report = report
		assert.Zero(t, testing.AllocsPerRun(100, func() {
			_ = m.HoldProbability(0, 20*ms, 1) + m.GapProbability(20*ms, 35*ms, 1) + m.SpacingProbability(0, 35*ms, 2)
			_, _ = m.Covered(presses, 3, window.Rules{})
			_, _ = m.Outcomes(dst, Press{Down: -100 * ms, Up: -60 * ms, Button: 1}, 6, presses, 3, window.Rules{})
		}), "report %d", report)
	}
}

func pattern(n int) []Press {
	var out []Press
	at := int64(0)
	for i := range int64(n) {
		out = append(out, Press{Down: at, Up: at + 21*ms + i*777_777})
		at += 45*ms + i*1_234_567
	}
	return out
}

// BenchmarkBaseline does the least that exact odds can do: take the ten edges of a
// quintuple press mod T, sort them and add up the lengths.
func BenchmarkBaseline(b *testing.B) {
	presses := pattern(5)
	var x [10]int64
	b.ReportAllocs()
	for b.Loop() {
		for i, p := range presses {
			x[2*i], x[2*i+1] = p.Down*60%1_000_000_000, p.Up*60%1_000_000_000
		}
		slices.Sort(x[:])
		sum := 1_000_000_000 - x[9]
		for i := 1; i < len(x); i++ {
			sum += x[i] - x[i-1]
		}
		if sum < 0 {
			b.Fatal()
		}
	}
}

func BenchmarkPatterns(b *testing.B) {
	for _, bb := range []struct {
		name   string
		n      int
		report int64
	}{{"double", 2, 0}, {"quintuple", 5, 0}, {"double-1ms", 2, ms}, {"double-8ms", 2, 8 * ms}, {"triple-8ms", 3, 8 * ms}, {"quintuple-1ms", 5, ms}, {"quintuple-8ms", 5, 8 * ms}} {
		b.Run(bb.name, func(b *testing.B) {
			m := at60(0)
			m.Report = bb.report
			presses := pattern(bb.n)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := m.Patterns(presses); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkLive(b *testing.B) {
	presses := pattern(2)
	dst := make([]OutcomeOdds, 0, 32)
	for _, bb := range []struct {
		name   string
		report int64
	}{{"", 0}, {"-8ms", 8 * ms}} {
		m := at60(0)
		m.Report = bb.report
		b.Run("hold"+bb.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				m.HoldProbability(0, 20*ms, 1)
			}
		})
		b.Run("covered"+bb.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				_, _ = m.Covered(presses, 3, window.Rules{})
			}
		})
		b.Run("outcomes"+bb.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				_, _ = m.Outcomes(dst, Press{Down: -100 * ms, Up: -60 * ms, Button: 1}, 6, presses, 3, window.Rules{})
			}
		})
	}
}
