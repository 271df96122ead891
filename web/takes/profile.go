package takes

import (
	"bytes"
	"fmt"
	"math"

	"github.com/BurntSushi/toml"

	"holdgap/capture"
	"holdgap/capture/take"
	"holdgap/overlay/frame"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
	"holdgap/web/live"
	"holdgap/web/settings"
)

// ProfileName is the name of the settings in a take: a profile as TOML.
const ProfileName = "profile.toml"

// ProfileOf returns a profile that sets up s and nothing else, so that the take
// judges as live did. Frame data behind a target is already worked out in it.
func ProfileOf(name string, s live.Setup) settings.Profile {
	p := settings.Profile{Name: name, Rate: s.Rate, Read: s.Rule, Cleaning: s.Cleaning,
		Quick: int64(s.Quick), BounceMS: msOf(s.BounceNS), Buttons: s.Layout.Buttons}
	if s.Phase != nil {
		ms := msOf(*s.Phase)
		p.PhaseMS = &ms
	}
	t := s.Target
	plain := session.Target{Window: t.Window, Wanted: session.AnyButton}
	if t == plain {
		p.Window = int64(t.Window)
		return p
	}
	label := func(i int) string {
		if i < 0 || i >= len(s.Layout.Buttons) {
			return ""
		}
		return s.Layout.Buttons[i].Label
	}
	if t.Name == "" {
		t.Name = "target"
	}
	p.Target = t.Name
	out := settings.Target{Name: t.Name, Frames: int64(t.Window), Button: label(t.Wanted), Early: t.Rules.EarlyText(),
		Hold: int64(t.Rules.Hold), Presses: t.Presses, Spacing: int64(t.Spacing)}
	if t.Anchored {
		out.Starter, out.Opening = label(t.Starter), int64(t.Opening)
	}
	p.Targets = []settings.Target{out}
	return p
}

// msOf returns ns as ms that turn back into the same ns, as settings does it:
// by cutting off.
func msOf(ns int64) float64 {
	ms := float64(ns) / 1e6
	for range 4 {
		switch back := int64(ms * 1e6); {
		case back < ns:
			ms = math.Nextafter(ms, math.Inf(1))
		case back > ns:
			ms = math.Nextafter(ms, math.Inf(-1))
		default:
			return ms
		}
	}
	return ms
}

// SettingsNote returns a profile as a take keeps it, in force from a time (ns).
func SettingsNote(at int64, p settings.Profile) (take.Settings, error) {
	var b bytes.Buffer
	if err := toml.NewEncoder(&b).Encode(p); err != nil {
		return take.Settings{}, fmt.Errorf("writing profile %q into a take: %w", p.Name, err)
	}
	return take.Settings{At: at, Name: ProfileName, Text: b.Bytes()}, nil
}

// ParseProfile reads the text of a profile, and what it sets up.
func ParseProfile(text []byte) (settings.Profile, live.Setup, error) {
	var p settings.Profile
	if err := toml.Unmarshal(text, &p); err != nil {
		return p, live.DefaultSetup(), fmt.Errorf("reading the profile in the take: %w", err)
	}
	s, err := p.Setup()
	if err != nil {
		return p, live.DefaultSetup(), fmt.Errorf("reading the profile in the take: %w", err)
	}
	return p, s, nil
}

// Try is what to judge by instead of the take's own settings. Empty fields leave
// what the take has.
type Try struct {
	Rate   string // frames a second
	Read   string // read rule
	Phase  string // ms, or "unknown"
	Window string // frames; 0 judges nothing
	Early  string // rule for early presses
	Hold   string // frames
	// Target is the name of one of the profile's targets, or "none".
	Target  string
	Button  string // wanted, by label; "any" for any
	Starter string // by label; "none" for none
	Opening string // frames
}

// IsZero reports whether nothing is tried.
func (t Try) IsZero() bool { return t == Try{} }

// Apply returns the setup with what is tried in place. The profile's targets may
// be chosen by name; nil for none.
func (t Try) Apply(s live.Setup, p *settings.Profile) (live.Setup, error) {
	fail := func(what, value string, err error) (live.Setup, error) {
		return s, fmt.Errorf("%s %q: %w", what, value, err)
	}
	var err error
	if t.Rate != "" {
		if s.Rate, err = frame.ParseRate(t.Rate); err != nil {
			return fail("rate", t.Rate, err)
		}
	}
	if t.Read != "" {
		if s.Rule, err = frame.ParseReadRule(t.Read); err != nil {
			return fail("read", t.Read, err)
		}
	}
	switch t.Phase {
	case "":
	case "unknown":
		s.Phase = nil
	default:
		ms, err := number(t.Phase, 0, s.Rate.FrameNS()/1e6)
		if err != nil {
			return fail("phase", t.Phase, fmt.Errorf("write unknown, or ms from 0 to below one frame (%.3f ms)", s.Rate.FrameNS()/1e6))
		}
		ns := int64(ms * 1e6)
		s.Phase = &ns
	}
	if s.Phase != nil && float64(*s.Phase) >= s.Rate.FrameNS() {
		s.Phase = nil // of another rate
	}
	switch t.Target {
	case "":
	case "none":
		s.Target = session.Target{Window: s.Target.Window, Wanted: session.AnyButton}
	default:
		found := false
		for i := range targets(p) {
			if p.Targets[i].Name == t.Target {
				found = true
				if s.Target, err = p.Targets[i].Resolve(s.Layout); err != nil {
					return fail("target", t.Target, err)
				}
			}
		}
		if !found {
			return fail("target", t.Target, fmt.Errorf("the take's profile has no target of that name"))
		}
	}
	if t.Window != "" {
		w, err := whole(t.Window, 0, int64(window.MaxFrames))
		if err != nil {
			return fail("window", t.Window, err)
		}
		s.Target.Window = frame.Frame(w)
	}
	if t.Early != "" {
		r, err := window.ParseEarly(t.Early)
		if err != nil {
			return fail("early", t.Early, err)
		}
		s.Target.Rules.Early, s.Target.Rules.Reach = r.Early, r.Reach
	}
	if t.Hold != "" {
		h, err := whole(t.Hold, 0, 600)
		if err != nil {
			return fail("hold", t.Hold, err)
		}
		s.Target.Rules.Hold = frame.Frame(h)
	}
	switch t.Button {
	case "":
	case "any":
		s.Target.Wanted = session.AnyButton
	default:
		if s.Target.Wanted = s.Layout.Index(t.Button); s.Target.Wanted < 0 {
			return fail("button", t.Button, noButton(s.Layout))
		}
	}
	switch t.Starter {
	case "":
	case "none":
		s.Target.Anchored, s.Target.Starter, s.Target.Opening = false, 0, 0
	default:
		if s.Target.Starter = s.Layout.Index(t.Starter); s.Target.Starter < 0 {
			return fail("starter", t.Starter, noButton(s.Layout))
		}
		s.Target.Anchored = true
	}
	if t.Opening != "" {
		o, err := whole(t.Opening, 1, int64(window.MaxFrames))
		if err != nil {
			return fail("opening", t.Opening, err)
		}
		s.Target.Opening = frame.Frame(o)
	}
	if s.Target.Anchored && s.Target.Opening < 1 {
		return s, fmt.Errorf("starter %q: give the opening too, in frames from the starter's press to the window's first frame", t.Starter)
	}
	return s, s.Check()
}

func targets(p *settings.Profile) []settings.Target {
	if p == nil {
		return nil
	}
	return p.Targets
}

func noButton(l capture.Layout) error {
	names := make([]string, len(l.Buttons))
	for i, b := range l.Buttons {
		names[i] = b.Label
	}
	return fmt.Errorf("no button of the take has this label; it has %q", names)
}
