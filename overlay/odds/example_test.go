package odds_test

import (
	"fmt"

	"holdgap/overlay/frame"
	"holdgap/overlay/odds"
	"holdgap/overlay/window"
)

var (
	free   = odds.Model{Clock: frame.NewClock(frame.Hz60, 0)} // 60 Hz, phase unknown
	double = []odds.Press{{Down: 0, Up: 20_000_000}, {Down: 35_000_000, Up: 60_000_000}}
)

func ExampleModel_Patterns() {
	list, err := free.Patterns(double)
	for _, p := range list {
		fmt.Printf("holds %v gaps %v unseen %d merged %d: %.2f\n", p.Holds, p.Gaps, p.Unseen, p.Merged, p.Probability)
	}
	fmt.Println(err)
	// Output:
	// holds [1 1] gaps [1] unseen 0 merged 0: 0.40
	// holds [1 2] gaps [1] unseen 0 merged 0: 0.40
	// holds [2 1] gaps [1] unseen 0 merged 0: 0.10
	// holds [4] gaps [] unseen 0 merged 1: 0.10
	// <nil>
}

func ExampleModel_Reading() {
	p, err := free.Reading(double)
	fmt.Println(p.Offsets, p.Holds, p.Gaps, err)
	// Output: [0 3] [2 1] [1] <nil>
}

func ExampleModel_Covered() {
	p, err := free.Covered(double, 3, window.Rules{})
	fmt.Printf("%.2f %v\n", p, err)
	// Output: 0.90 <nil>
}

func ExampleModel_Covers() {
	list, err := free.Covers(double, 2, window.Rules{})
	for _, c := range list {
		fmt.Printf("%d starts, %d holes: %.2f\n", c.Covered, c.Holes, c.Probability)
	}
	fmt.Println(err)
	// Output:
	// 4 starts, 0 holes: 0.80
	// 4 starts, 1 holes: 0.10
	// 2 starts, 0 holes: 0.10
	// <nil>
}

func ExampleModel_Outcomes() {
	// The window of 2 frames opens 6 frames after the starter's press.
	starter := odds.Press{Down: 0, Up: 30_000_000, Button: 1}
	list, err := free.Outcomes(nil, starter, 6, []odds.Press{{Down: 95_000_000, Up: 120_000_000}}, 2, window.Rules{})
	for _, o := range list {
		fmt.Printf("%v: %.2f\n", o.Outcome, o.Probability)
	}
	fmt.Printf("%.2f %v\n", odds.HitProbability(list), err)
	// Output:
	// hit on press 1: 0.70
	// early by 1: 0.30
	// 0.70 <nil>
}

func ExampleHitProbability() {
	fmt.Println(odds.HitProbability([]odds.OutcomeOdds{
		{Outcome: window.Outcome{Kind: window.Hit, Press: 1}, Probability: 0.5},
		{Outcome: window.Outcome{Kind: window.Hit, Press: 2}, Probability: 0.25},
		{Outcome: window.Outcome{Kind: window.TooLate, Press: 1, Late: 1}, Probability: 0.25},
	}))
	// Output: 0.75
}

func ExampleModel_HoldProbability() {
	// 20 ms are 1.2 frames at 60 Hz.
	fmt.Printf("%.2f %.2f\n", free.HoldProbability(0, 20_000_000, 1), free.HoldProbability(0, 20_000_000, 2))
	// A device that reports every 8 ms makes it less sure.
	m := free
	m.Report = 8_000_000
	fmt.Printf("%.2f %.2f\n", m.HoldProbability(0, 20_000_000, 1), m.HoldProbability(0, 20_000_000, 2))
	// Output:
	// 0.80 0.20
	// 0.77 0.22
}

func ExampleModel_GapProbability() {
	// 5 ms up are 0.3 frames: mostly no frame sees them.
	fmt.Printf("%.2f %.2f\n", free.GapProbability(20_000_000, 25_000_000, 0), free.GapProbability(20_000_000, 25_000_000, 1))
	// Output: 0.70 0.30
}

func ExampleModel_SpacingProbability() {
	fmt.Printf("%.2f %.2f\n", free.SpacingProbability(0, 35_000_000, 2), free.SpacingProbability(0, 35_000_000, 3))
	// Output: 0.90 0.10
}

func ExampleModel_Validate() {
	fmt.Println(odds.Model{}.Validate())
	// Output: odds need a frame rate: make the clock with frame.NewClock
}

func ExampleValidatePresses() {
	fmt.Println(odds.ValidatePresses([]odds.Press{{Down: 0, Up: 20_000_000}, {Down: 15_000_000, Up: 30_000_000}}))
	// Output: press 2 goes down at 15 ms and overlaps press 1, which goes up at 20 ms
}

func ExamplePressError() {
	var err error = &odds.PressError{Press: 0, Reason: "goes up before it goes down"}
	fmt.Println(err)
	// Output: press 1 goes up before it goes down
}

func ExampleSure() {
	fmt.Println(odds.Sure(0.95), odds.Sure(0.8))
	// Output: true false
}

func ExampleMilliseconds() {
	fmt.Println(odds.Milliseconds(16_683_333), odds.Milliseconds(20_000_000))
	// Output: 16.683333 20
}
