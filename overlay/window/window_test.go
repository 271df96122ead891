package window

import (
	"encoding/json"
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/overlay/frame"
)

// TestTradeValues holds what players of these games work with: common practice,
// no source.
func TestTradeValues(t *testing.T) {
	t.Run("+10 into an 8-frame startup is a 3-frame link", func(t *testing.T) {
		w, short := Link{Advantage: 10, Startup: 8}.Window()
		assert.EqualValues(t, 3, w)
		assert.Zero(t, short)
	})
	t.Run("the other convention: s = S − 1 gives W = A − s", func(t *testing.T) {
		// Derivation: W = A − S + 1 = A − (S − 1) = A − s.
		for a := frame.Frame(-20); a <= 40; a++ {
			for s := frame.Frame(1); s <= 30; s++ {
				w1, short1 := Link{Advantage: a, Startup: s}.Window()
				w2, short2 := Link{Advantage: a, Startup: s - 1, ExcludesActive: true}.Window()
				require.Equal(t, w1, w2)
				require.Equal(t, short1, short2)
			}
		}
	})
	t.Run("a buffer of B turns a 1-frame link into B+1 frames", func(t *testing.T) {
		for b := range frame.Frame(12) {
			w, short := Link{Advantage: 8, Startup: 8, Buffer: b}.Window()
			assert.Equal(t, b+1, w)
			assert.Zero(t, short)
		}
	})
	t.Run("three frames from first to second press of a perfect double press", func(t *testing.T) {
		// Down one frame, up one frame, down again: frames 0, 1, 2 are three, the
		// spacing is 2.
		p := Equal(2, MinSpacing)
		require.NoError(t, p.Validate())
		assert.EqualValues(t, 3, p.Offsets[1]-p.Offsets[0]+1)
		assert.EqualValues(t, 1, holdOf(0, p.Offsets, nil))
	})
	for _, tt := range []struct {
		w, d    frame.Frame
		covered []frame.Frame
		holes   []Span
	}{
		{3, 2, []frame.Frame{-2, -1, 0, 1, 2}, nil},
		{3, 3, []frame.Frame{-3, -2, -1, 0, 1, 2}, nil},
		{2, 2, []frame.Frame{-2, -1, 0, 1}, nil},
		{2, 3, []frame.Frame{-3, -2, 0, 1}, []Span{{-1, -1}}},
		{1, 2, []frame.Frame{-2, 0}, []Span{{-1, -1}}}, // two early, on time; the one between misses
	} {
		p := Equal(2, tt.d)
		c := p.Cover(tt.w, Rules{})
		assert.Equal(t, tt.covered, c.AppendStarts(nil), "W=%d spacing %d", tt.w, tt.d)
		assert.Equal(t, tt.holes, c.AppendHoles(nil), "W=%d spacing %d", tt.w, tt.d)
	}
	t.Run("the widest is spacing W, W − 1 in between; W=5: four in between", func(t *testing.T) {
		for w := frame.Frame(2); w <= MaxFrames; w++ {
			require.Equal(t, Best{w, 2 * w}, BestSpacing(w, Rules{}, 2, nil))
		}
		assert.EqualValues(t, 4, BestSpacing(5, Rules{}, 2, nil).Spacing-1)
	})
	t.Run("no help where an early press comes out anyway, or the button must be held", func(t *testing.T) {
		assert.Equal(t, SpoiledEarly, Why(3, Rules{Early: Spoil}, 2, nil))
		assert.Equal(t, MustBeDelayed, Why(3, Rules{Early: Spoil, Reach: 2}, 2, nil))
		assert.Equal(t, MustBeHeld, Why(3, Rules{Hold: 3}, 2, nil))
		assert.Equal(t, OneFrame, Why(1, Rules{}, 2, nil))
	})
	t.Run("the first press's hold and the gap count, the last may be held for any time", func(t *testing.T) {
		for _, last := range []frame.Frame{1, 7, 500, Held} {
			p := Plan{[]frame.Frame{0, 3}, []frame.Frame{2, last}}
			require.NoError(t, p.Validate())
			c := p.Cover(3, Rules{})
			assert.EqualValues(t, 6, c.Size())
		}
	})
}

// TestClosedForm: with equal spacing d and W ≥ 2 the cover is contiguous iff
// d ≤ W, of size W + (n−1)·d. Derivation: press i covers the starts −i·d …
// W−1−i·d, so neighbouring runs are d apart; up to d = W they overlap or touch and
// the whole is −(n−1)·d … W−1; beyond, W starts are covered and d − W are not.
func TestClosedForm(t *testing.T) {
	for w := frame.Frame(2); w <= 40; w++ {
		for n := 1; n <= MaxPresses; n++ {
			for d := MinSpacing; d <= 50; d++ {
				p := Equal(n, d)
				c := p.Cover(w, Rules{})
				k := frame.Frame(n - 1)
				if d <= w {
					require.True(t, c.Contiguous())
					require.Equal(t, w+k*d, c.Size())
					continue
				}
				require.Equal(t, frame.Frame(n)*w, c.Size())
				require.Equal(t, n-1, c.Holes())
				for i := range c.Holes() {
					require.Equal(t, d-w, c.Hole(i).Len())
				}
			}
		}
	}
}

func TestLinkShort(t *testing.T) {
	for _, tt := range []struct {
		l        Link
		w, short frame.Frame
	}{
		{Link{Advantage: 7, Startup: 8}, 0, 1},
		{Link{Advantage: 5, Startup: 8}, 0, 3},
		{Link{Advantage: -3, Startup: 4}, 0, 7},
		{Link{Advantage: 8, Startup: 8}, 1, 0},
		// A buffered press comes out on the first possible frame, which is too late.
		{Link{Advantage: 7, Startup: 8, Buffer: 5}, 0, 1},
		{Link{Advantage: 10, Startup: 8, Buffer: 4}, 7, 0},
	} {
		w, short := tt.l.Window()
		assert.Equal(t, tt.w, w, "%+v", tt.l)
		assert.Equal(t, tt.short, short, "%+v", tt.l)
		assert.NoError(t, tt.l.Validate())
	}
	var none Cover
	assert.Equal(t, none, Evaluate(0, Rules{}, []frame.Frame{0, 2}, nil))
	assert.False(t, none.Contiguous(), "nothing covered is not a whole cover")
	assert.Equal(t, Outcome{}, Judge(0, Rules{}, []frame.Frame{0}, nil))
	assert.Equal(t, Best{}, BestSpacing(-2, Rules{}, 2, nil))
}

func TestJudge(t *testing.T) {
	spoil := Rules{Early: Spoil}
	for _, tt := range []struct {
		name          string
		w             frame.Frame
		r             Rules
		starts, holds []frame.Frame
		want          Outcome
		words         string
	}{
		{"on press 1", 3, Rules{}, []frame.Frame{2, 5}, nil, Outcome{Kind: Hit, Press: 1}, "hit on press 1"},
		{"on press 2", 3, Rules{}, []frame.Frame{-1, 1}, nil, Outcome{Kind: Hit, Press: 2}, "hit on press 2"},
		{"early", 3, Rules{}, []frame.Frame{-6, -3}, nil, Outcome{Kind: TooEarly, Press: 2, Early: 3}, "early by 3"},
		{"late", 3, Rules{}, []frame.Frame{4, 7}, nil, Outcome{Kind: TooLate, Press: 1, Late: 2}, "late by 2"},
		{"straddled", 1, Rules{}, []frame.Frame{-1, 1}, nil, Outcome{Kind: Straddled, Press: 1, Early: 1, Late: 1}, "straddled, early by 1 and late by 1"},
		{"spoiled though a later one fits", 3, spoil, []frame.Frame{-2, 0}, nil, Outcome{Kind: TooEarly, Press: 1, Early: 2}, "early by 2"},
		{"out of reach", 3, Rules{Early: Spoil, Reach: 1}, []frame.Frame{-2, 0}, nil, Outcome{Kind: Hit, Press: 2}, "hit on press 2"},
		{"second press within reach", 3, Rules{Early: Spoil, Reach: 1}, []frame.Frame{-3, -1, 1}, nil, Outcome{Kind: TooEarly, Press: 2, Early: 1}, "early by 1"},
		{"let go too soon", 3, Rules{Hold: 4}, []frame.Frame{0, 2}, []frame.Frame{1, 9}, Outcome{Kind: Unheld, Press: 1, Short: 3}, "press 1 let go 3 too soon"},
		{"last one still down", 3, Rules{Hold: 4}, []frame.Frame{-2, 0}, []frame.Frame{1, Held}, Outcome{Kind: Hit, Press: 2}, "hit on press 2"},
		{"nothing", 3, Rules{}, nil, nil, Outcome{}, "no press"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := Judge(tt.w, tt.r, tt.starts, tt.holds)
			assert.Equal(t, tt.want, got)
			assert.Equal(t, tt.words, got.String())
		})
	}
}

func TestKindText(t *testing.T) {
	for k := NoPress; k <= Unheld; k++ {
		b, err := k.MarshalText()
		require.NoError(t, err)
		var back Kind
		require.NoError(t, back.UnmarshalText(b))
		assert.Equal(t, k, back)
	}
	var k Kind
	assert.ErrorContains(t, k.UnmarshalText([]byte("perfect")), `"perfect"`)
	assert.Equal(t, "kind(99)", Kind(99).String())
	b, err := json.Marshal(Span{-3, 2})
	require.NoError(t, err)
	assert.JSONEq(t, `[-3,2]`, string(b))
}

func TestEarlyText(t *testing.T) {
	for _, s := range []string{"ignored", "spoil", "spoil:1", "spoil:600"} {
		r, err := ParseEarly(s)
		require.NoError(t, err)
		require.NoError(t, r.Validate())
		assert.Equal(t, s, r.EarlyText())
	}
	for _, s := range []string{"", "Spoil", "spoil:", "spoil:0", "spoil:-1", "spoil:601", "spoil:x", "ignored:2", "spoil:1:2"} {
		_, err := ParseEarly(s)
		assert.Error(t, err, s)
	}
}

func TestBadInput(t *testing.T) {
	for _, tt := range []struct {
		err   error
		field string
		says  string
	}{
		{Plan{}.Validate(), "offsets", "no press"},
		{Equal(17, 2).Validate(), "presses", "17"},
		{Equal(2, 1).Validate(), "offsets", "below 2"},
		{Equal(2, 601).Validate(), "offsets", "above 600"},
		{Plan{Offsets: []frame.Frame{1, 4}}.Validate(), "offsets", "begin with 0"},
		{Plan{Offsets: []frame.Frame{0, 5, 3}}.Validate(), "offsets", "not ascending"},
		{Plan{Offsets: []frame.Frame{0, 0}}.Validate(), "offsets", "not ascending"},
		{Plan{[]frame.Frame{0, 3}, []frame.Frame{-1, 1}}.Validate(), "holds", "negative"},
		{Plan{[]frame.Frame{0, 3}, []frame.Frame{3, 1}}.Validate(), "holds", "overlaps"},
		{Plan{[]frame.Frame{0, 3}, []frame.Frame{1, 1, 4}}.Validate(), "holds", "3 holds for 2"},
		{Rules{Hold: -1}.Validate(), "hold", "negative"},
		{Rules{Hold: 601}.Validate(), "hold", "above 600"},
		{Rules{Early: 7}.Validate(), "early", "7"},
		{Rules{Early: Spoil, Reach: -1}.Validate(), "early", "reach"},
		{ValidateFrames(601), "frames", "above 600"},
		{Link{Advantage: 601, Startup: 1}.Validate(), "advantage", "outside"},
		{Link{Advantage: 4, Startup: 0}.Validate(), "startup", "below 1"},
		{Link{Advantage: 4, Startup: -1, ExcludesActive: true}.Validate(), "startup", "below 0"},
		{Link{Advantage: 4, Startup: 601}.Validate(), "startup", "above 600"},
		{Link{Advantage: 4, Startup: 2, Buffer: -1}.Validate(), "buffer", "negative"},
		{Link{Advantage: 4, Startup: 2, Buffer: 601}.Validate(), "buffer", "above"},
		{Link{Advantage: 599, Startup: 1, Buffer: 9}.Validate(), "advantage", "608"},
	} {
		var fe *FieldError
		require.True(t, errors.As(tt.err, &fe), "%v", tt.err)
		assert.Equal(t, tt.field, fe.Field)
		assert.Contains(t, fe.Error(), tt.says)
	}
	assert.NoError(t, ValidateFrames(600))
	assert.NoError(t, ValidateFrames(-4))
	assert.NoError(t, Link{Advantage: 4, Startup: 0, ExcludesActive: true}.Validate())
}

func TestAdvice(t *testing.T) {
	two := func(d frame.Frame) Plan { return Equal(2, d) }
	for _, tt := range []struct {
		w    frame.Frame
		r    Rules
		p    Plan
		says []string
	}{
		{-1, Rules{}, two(2), []string{"No link: 2 frames short"}},
		{1, Rules{}, two(2), []string{"one-frame window"}},
		{3, Rules{Early: Spoil}, two(2), []string{"Spoiled early"}},
		{3, Rules{Early: Spoil, Reach: 4}, two(2), []string{"must be delayed", "4 frames before the window"}},
		{3, Rules{Hold: 3}, two(3), []string{"must be held 3 frames", "do not help"}},
		{5, Rules{Hold: 4}, Plan{[]frame.Frame{0, 2, 4}, []frame.Frame{1, 1, 4}}, []string{"must be held 4 frames", "spacing 5 would cover 15 starts"}},
		{3, Rules{Hold: 2}, two(2), []string{"spacing 3", "Press 1 is down 1 frame here and must be held 2"}},
		{3, Rules{}, two(5), []string{"leaves 1 hole", "-2 … -1", "spacing 3 (2 frames in between): 6 starts"}},
		{3, Rules{}, two(3), []string{"No equal spacing covers more", "these are 6 starts, one press alone has 3"}},
		{3, Rules{}, two(2), []string{"5 starts without a hole", "spacing 3"}},
		{3, Rules{}, Plan{[]frame.Frame{0, 9}, []frame.Frame{8, 1}}, []string{"let go sooner"}},
		{3, Rules{}, Equal(1, 2), []string{"One press covers 3 starts", "double press with spacing 3"}},
		{1, Rules{}, Equal(1, 2), []string{"1 start.", "one-frame window"}},
		{3, Rules{Hold: 4}, Plan{[]frame.Frame{0}, []frame.Frame{2}}, []string{"never counts", "4 frames"}},
		{3, Rules{Hold: 4}, Plan{[]frame.Frame{0, 3}, []frame.Frame{1, 2}}, []string{"covers nothing"}},
	} {
		got := Advise(tt.w, tt.r, tt.p)
		for _, s := range tt.says {
			assert.Contains(t, got, s)
		}
	}
	for r := Helps; r <= HoldsTooLong; r++ {
		assert.NotContains(t, r.String(), "reason(")
	}
}

// TestNoAllocation: what the live verdict calls once an edge must not make garbage.
func TestNoAllocation(t *testing.T) {
	offsets, holds := []frame.Frame{0, 3, 6, 9, 12}, []frame.Frame{1, 1, 1, 1, Held}
	var size frame.Frame
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		c := Evaluate(3, Rules{Early: Spoil, Reach: 2, Hold: 1}, offsets, holds)
		_, ok := c.FirstHole()
		if ok && !c.Contiguous() {
			size += c.Size()
		}
		size += BestSpacing(6, Rules{Hold: 3}, 5, nil).Covered
		size += Judge(3, Rules{}, offsets, holds).Early
	}))
}

func BenchmarkEvaluate(b *testing.B) {
	for _, bb := range []struct {
		name string
		r    Rules
	}{{"ignored", Rules{}}, {"spoil2-hold3", Rules{Early: Spoil, Reach: 2, Hold: 3}}} {
		offsets := []frame.Frame{0, 5, 11, 16, 22}
		b.Run(bb.name, func(b *testing.B) {
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				c := Evaluate(5, bb.r, offsets, nil)
				n += int(c.Size()) + c.Holes()
			}
		})
	}
}

func BenchmarkJudge(b *testing.B) {
	starts := []frame.Frame{-9, -6, -3, 4, 7}
	b.ReportAllocs()
	for b.Loop() {
		_ = Judge(3, Rules{}, starts, nil)
	}
}
