package window_test

import (
	"encoding/json"
	"fmt"

	"holdgap/overlay/frame"
	"holdgap/overlay/window"
)

func ExampleLink_Window() {
	fmt.Println(window.Link{Advantage: 10, Startup: 8}.Window())
	fmt.Println(window.Link{Advantage: 10, Startup: 7, ExcludesActive: true}.Window())
	fmt.Println(window.Link{Advantage: 8, Startup: 8, Buffer: 4}.Window())
	fmt.Println(window.Link{Advantage: 5, Startup: 8}.Window())
	// Output:
	// 3 0
	// 3 0
	// 5 0
	// 0 3
}

func ExampleLink_Validate() {
	fmt.Println(window.Link{Advantage: 4, Startup: 0}.Validate())
	// Output: startup: 0 frames is below 1, the least there can be in this way of counting
}

func ExampleValidateFrames() {
	fmt.Println(window.ValidateFrames(3), window.ValidateFrames(900))
	// Output: <nil> frames: a window of 900 frames is above 600: a link is a few frames long
}

func ExampleFieldError() {
	var err error = &window.FieldError{Field: "hold", Reason: "-1 frames is negative"}
	fmt.Println(err)
	// Output: hold: -1 frames is negative
}

func ExampleParseEarly() {
	r, err := window.ParseEarly("spoil:3")
	fmt.Println(r, r.EarlyText(), err)
	_, err = window.ParseEarly("spoil:0")
	fmt.Println(err)
	// Output:
	// early spoil:3 spoil:3 <nil>
	// early: "spoil:0": the reach "0" is not a whole number of frames from 1 to 600
}

func ExampleRules_Validate() {
	fmt.Println(window.Rules{Hold: -1}.Validate())
	// Output: hold: -1 frames is negative: give 0 when the button need not be held
}

func ExampleRules_String() {
	fmt.Println(window.Rules{Early: window.Spoil, Reach: 2, Hold: 4})
	// Output: early spoil:2, hold 4
}

func ExampleEvaluate() {
	// A double press with spacing 3 in a 2-frame window leaves a hole.
	c := window.Evaluate(2, window.Rules{}, []frame.Frame{0, 3}, nil)
	hole, ok := c.FirstHole()
	fmt.Println(c.AppendStarts(nil), c.Size(), c.Contiguous(), hole, ok)
	// Output: [-3 -2 0 1] 4 false -1 true
}

func ExampleEqual() {
	p := window.Equal(3, 4)
	c := p.Cover(4, window.Rules{})
	fmt.Println(p.Offsets, p.Validate(), c.Size(), c.Widens(4))
	// Output: [0 4 8] <nil> 12 true
}

func ExamplePlan_Validate() {
	fmt.Println(window.Plan{Offsets: []frame.Frame{0, 5, 3}}.Validate())
	// Output: offsets: 3 after 5 is not ascending
}

func ExamplePlan_Cover() {
	// The counting press must stay down 4 frames: only the last one does.
	p := window.Plan{Offsets: []frame.Frame{0, 2, 5}, Holds: []frame.Frame{1, 1, 4}}
	c := p.Cover(3, window.Rules{Hold: 4})
	fmt.Println(c.AppendStarts(nil))
	// Output: [-5 -4 -3]
}

func ExampleCover_Contains() {
	c := window.Evaluate(3, window.Rules{}, []frame.Frame{0, 3}, nil)
	fmt.Println(c.Contains(-3), c.Contains(3))
	// Output: true false
}

func ExampleCover_Run() {
	c := window.Evaluate(2, window.Rules{}, []frame.Frame{0, 5}, nil)
	for i := range c.Runs() {
		fmt.Println(c.Run(i), c.Run(i).Len())
	}
	fmt.Println(c.Holes(), c.Hole(0), c.AppendHoles(nil))
	// Output:
	// -5 … -4 2
	// 0 … 1 2
	// 1 -3 … -1 [-3 … -1]
}

func ExampleSpan_MarshalJSON() {
	b, err := json.Marshal([]window.Span{{First: -3, Last: -1}})
	fmt.Println(string(b), err)
	// Output: [[-3,-1]] <nil>
}

func ExampleBestSpacing() {
	fmt.Println(window.BestSpacing(5, window.Rules{}, 2, nil))
	fmt.Println(window.BestSpacing(5, window.Rules{Early: window.Spoil}, 2, nil))
	// Output:
	// {5 10}
	// {0 5}
}

func ExampleJudge() {
	r := window.Rules{}
	fmt.Println(window.Judge(3, r, []frame.Frame{-1, 1}, nil))
	fmt.Println(window.Judge(3, r, []frame.Frame{-7, -4}, nil))
	fmt.Println(window.Judge(3, r, []frame.Frame{5, 8}, nil))
	fmt.Println(window.Judge(1, r, []frame.Frame{-1, 1}, nil))
	r.Early = window.Spoil
	fmt.Println(window.Judge(3, r, []frame.Frame{-1, 1}, nil))
	// Output:
	// hit on press 2
	// early by 4
	// late by 3
	// straddled, early by 1 and late by 1
	// early by 1
}

func ExampleKind_MarshalText() {
	b, err := json.Marshal(window.Straddled)
	fmt.Println(string(b), err)
	// Output: "straddled" <nil>
}

func ExampleKind_UnmarshalText() {
	var k window.Kind
	fmt.Println(k.UnmarshalText([]byte("late")), k)
	// Output: <nil> late
}

func ExampleWhy() {
	fmt.Println(window.Why(1, window.Rules{}, 2, nil))
	fmt.Println(window.Why(4, window.Rules{Hold: 6}, 2, nil))
	fmt.Println(window.Why(4, window.Rules{Early: window.Spoil, Reach: 3}, 2, nil))
	fmt.Println(window.Why(4, window.Rules{}, 2, nil))
	// Output:
	// one-frame window
	// must be held
	// move must be delayed
	// extra presses help
}

func ExampleAdvise() {
	fmt.Println(window.Advise(3, window.Rules{}, window.Equal(2, 5)))
	// Output: This plan covers 6 starts but leaves 1 hole, the first at -2 … -1. The widest without a hole is spacing 3 (2 frames in between): 6 starts.
}

func ExampleFrames() {
	fmt.Println(window.Frames(1), window.Frames(3), window.Starts(6))
	// Output: 1 frame 3 frames 6 starts
}
