package live

import (
	"fmt"
	"slices"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
	"holdgap/web/wire"
)

// Setup is everything that decides how edges are read and judged.
type Setup struct {
	Rate     frame.Rate
	Rule     frame.ReadRule
	Phase    *int64      // p(0) in ns on the monotonic clock; nil when unknown
	Quick    frame.Frame // widest spacing inside a multi-press; 0 for the default
	BounceNS int64       // 0 for the default, negative for never
	Cleaning capture.Cleaning
	Layout   capture.Layout
	Target   session.Target
	Chords   []Chord // never changed in place
	Theme    string
	ThemeRev int
	// Strip holds options of the strip by their address parameters, for strips
	// whose address does not say otherwise. It is never changed in place.
	Strip map[string]string
}

// DefaultSetup returns 60 frames a second, sampled, phase unknown, every button
// by position, and a window of three frames.
func DefaultSetup() Setup {
	return Setup{
		Rate:   frame.Hz60,
		Layout: capture.DefaultLayout(),
		Target: session.Target{Window: 3, Wanted: session.AnyButton},
	}
}

// Check reports the first thing wrong with the setup.
func (s *Setup) Check() error {
	if s.Rate.IsZero() {
		return fmt.Errorf("the frame rate is not set: choose one, for example 60")
	}
	if err := s.Layout.Check(); err != nil {
		return err
	}
	if s.Target.Window != 0 {
		if err := window.ValidateFrames(s.Target.Window); err != nil {
			return err
		}
	}
	n := len(s.Layout.Buttons)
	if s.Target.Wanted != session.AnyButton && (s.Target.Wanted < 0 || s.Target.Wanted >= n) {
		return fmt.Errorf("target %q wants button %d, and there are %d: choose one of them", s.Target.Name, s.Target.Wanted, n)
	}
	if s.Target.Anchored && (s.Target.Starter < 0 || s.Target.Starter >= n) {
		return fmt.Errorf("target %q starts with button %d, and there are %d: choose one of them", s.Target.Name, s.Target.Starter, n)
	}
	for _, c := range s.Chords {
		if len(c.Buttons) < 2 || slices.Min(c.Buttons) < 0 || slices.Max(c.Buttons) >= n {
			return fmt.Errorf("the chord to %s has buttons %v: name two or more of the %d", c.Does, c.Buttons, n)
		}
	}
	return s.Target.Rules.Validate()
}

// Clock returns the frame grid; with an unknown phase it is drawn as if 0.
func (s *Setup) Clock() frame.Clock {
	if s.Phase == nil {
		return frame.NewClock(s.Rate, 0)
	}
	return frame.NewClock(s.Rate, *s.Phase)
}

func (s *Setup) session() session.Config {
	return session.Config{Clock: s.Clock(), Rule: s.Rule, BounceNS: s.BounceNS, Quick: s.Quick,
		Buttons: s.Layout.Buttons, Target: s.Target}
}

func (s *Setup) wire() *wire.Setup {
	w := &wire.Setup{
		Rate: s.Rate.String(), FrameMS: s.Rate.FrameNS() / 1e6, Read: s.Rule.String(),
		Window: int64(s.Target.Window), Target: s.Target.Name, Wanted: s.Target.Wanted,
		Theme: s.Theme, ThemeRev: s.ThemeRev, Strip: s.Strip,
	}
	if s.Phase != nil {
		ms := float64(*s.Phase) / 1e6
		w.Phase = &ms
	}
	for _, b := range s.Layout.Buttons {
		w.Buttons = append(w.Buttons, wire.Button{Label: b.Label, Role: b.Role.String(), Keys: len(b.Keys)})
	}
	return w
}
