// Package settings is what the player has chosen: profiles with their buttons,
// game and targets, the strip, takes, the chord. It is kept as one TOML file in
// the user's settings folder and changed from the desk or by hand.
package settings

import (
	"fmt"
	"strings"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
	"holdgap/web/live"
)

// Version is the version of the file that this program writes.
const Version = 1

// Settings is everything that is kept.
type Settings struct {
	Version int `toml:"version" json:"version"`
	// Profile is the name of the profile in force.
	Profile string `toml:"profile" json:"profile"`
	// FollowDevice chooses a profile by a controller's identity when it is plugged in.
	FollowDevice bool `toml:"follow_device" json:"follow_device"`

	Strip    Strip     `toml:"strip,omitempty" json:"strip"`
	Takes    Takes     `toml:"takes" json:"takes"`
	Chords   []Chord   `toml:"chord,omitempty" json:"chords"`
	Profiles []Profile `toml:"profile_for" json:"profiles"`
}

// Strip is how strips look whose address does not say otherwise.
type Strip struct {
	Theme string `toml:"theme,omitempty" json:"theme"`
	// Options are further options of the strip by their address parameters:
	// see /options.
	Options map[string]string `toml:"options,omitempty" json:"options"`
}

// Takes says what is recorded.
type Takes struct {
	Folder      string `toml:"folder,omitempty" json:"folder"`   // empty means the user's data folder
	RingMinutes int    `toml:"ring_minutes" json:"ring_minutes"` // always keep the last minutes; 0 keeps none
}

// Chord is a set of buttons that, held together for a second, does something
// and is not counted as play.
type Chord struct {
	Buttons []string `toml:"buttons" json:"buttons"` // labels, at least two
	Does    string   `toml:"does" json:"does"`       // "mark", "pause" or "take"
}

// Profile is a game on a controller.
type Profile struct {
	Name string `toml:"name" json:"name"`
	// Devices are the identities of the controllers it is for.
	Devices []string `toml:"devices,omitempty" json:"devices"`

	Rate     frame.Rate       `toml:"rate" json:"rate"`
	Read     frame.ReadRule   `toml:"read" json:"read"`
	PhaseMS  *float64         `toml:"phase_ms,omitempty" json:"phase_ms"` // absent when unknown
	Cleaning capture.Cleaning `toml:"opposites,omitempty" json:"opposites"`
	Quick    int64            `toml:"multi_press_spacing,omitempty" json:"multi_press_spacing"` // frames; 0 for the default
	BounceMS float64          `toml:"bounce_ms,omitempty" json:"bounce_ms"`                     // 0 for the default, negative for never

	Buttons []capture.Button `toml:"button,omitempty" json:"buttons"` // empty for every button by position
	Targets []Target         `toml:"target,omitempty" json:"targets"`
	Target  string           `toml:"aim,omitempty" json:"target"` // name of the target in force, or empty
	// Window is what multi-presses are judged by while no target is in force;
	// 0 judges nothing. Frames.
	Window int64 `toml:"window" json:"window"`
}

// Target is a window with its rules, as the player writes it.
type Target struct {
	Name string `toml:"name" json:"name"`
	// Frames is the window itself; when 0 it is worked out from Link.
	Frames int64 `toml:"frames,omitempty" json:"frames"`
	Link   *Link `toml:"link,omitempty" json:"link,omitempty"`

	Button  string `toml:"button,omitempty" json:"button"`   // label of the wanted button, empty for any
	Early   string `toml:"early,omitempty" json:"early"`     // "ignored" (also empty), "spoil" or "spoil:E"
	Hold    int64  `toml:"hold,omitempty" json:"hold"`       // frames the counting press must be held
	Presses int    `toml:"presses,omitempty" json:"presses"` // of the multi-press aimed at; 0 for none
	Spacing int64  `toml:"spacing,omitempty" json:"spacing"` // frames from press to press aimed at; 0 for none

	Starter string `toml:"starter,omitempty" json:"starter"` // label; with one, real attempts are judged
	// Opening is how many frames after the starter's press the window opens;
	// when 0 it is worked out from Move.
	Opening int64 `toml:"opening,omitempty" json:"opening"`
	Move    *Move `toml:"move,omitempty" json:"move,omitempty"`
}

// Link is frame data: what makes the window.
type Link struct {
	Advantage      int64 `toml:"advantage" json:"advantage"`     // frames, on hit
	Startup        int64 `toml:"startup" json:"startup"`         // frames, counting the first active one
	Buffer         int64 `toml:"buffer,omitempty" json:"buffer"` // frames
	ExcludesActive bool  `toml:"startup_excludes_active,omitempty" json:"startup_excludes_active"`
}

// Move is the starter's frame data: what puts the window in its place. The
// starter recovers Startup − 1 + Active + Recovery + HitStop frames after the
// press that the game reads, when startup counts the first active frame.
type Move struct {
	Startup  int64 `toml:"startup" json:"startup"`
	Active   int64 `toml:"active" json:"active"`
	Recovery int64 `toml:"recovery" json:"recovery"`
	HitStop  int64 `toml:"hit_stop,omitempty" json:"hit_stop"`
}

// DefaultRingMinutes is how many of the last minutes are kept unless said otherwise.
const DefaultRingMinutes = 10

// Default returns settings for a start without a file.
func Default() Settings {
	return Settings{
		Version: Version, Profile: "everything", FollowDevice: true,
		Takes:    Takes{RingMinutes: DefaultRingMinutes},
		Profiles: []Profile{DefaultProfile("everything")},
	}
}

// DefaultProfile returns a profile with every button by position at 60 frames.
func DefaultProfile(name string) Profile {
	return Profile{Name: name, Rate: frame.Hz60, Window: 3}
}

// defaults fills in what a profile in a file need not say.
func (p *Profile) defaults() { *p = DefaultProfile("") }

// defaults fills in what a file need not say.
func (s *Settings) defaults() {
	*s = Settings{Version: Version, FollowDevice: true, Takes: Takes{RingMinutes: DefaultRingMinutes}}
}

// defaults fills in what a table of takes need not say.
func (t *Takes) defaults() { t.RingMinutes = DefaultRingMinutes }

// Current returns the profile in force.
func (s *Settings) Current() *Profile {
	for i := range s.Profiles {
		if s.Profiles[i].Name == s.Profile {
			return &s.Profiles[i]
		}
	}
	return nil
}

// Layout returns the profile's buttons.
func (p *Profile) Layout() capture.Layout {
	if len(p.Buttons) == 0 {
		return capture.DefaultLayout()
	}
	return capture.Layout{Buttons: p.Buttons}
}

// Setup returns what the engine judges by, or says which value is wrong.
func (p *Profile) Setup() (live.Setup, error) {
	s := live.DefaultSetup()
	s.Layout = p.Layout()
	s.Rule, s.Cleaning = p.Read, p.Cleaning
	s.Quick, s.BounceNS = frame.Frame(p.Quick), int64(p.BounceMS*1e6)
	if !p.Rate.IsZero() {
		s.Rate = p.Rate
	}
	if p.PhaseMS != nil {
		if t := s.Rate.FrameNS() / 1e6; !(*p.PhaseMS >= 0 && *p.PhaseMS < t) {
			return s, fmt.Errorf("profile %q: phase_ms %v is not from 0 to below one frame (%.3f ms)", p.Name, *p.PhaseMS, t)
		}
		ns := int64(*p.PhaseMS * 1e6)
		s.Phase = &ns
	}
	if p.Quick < 0 || p.Quick > 60 {
		return s, fmt.Errorf("profile %q: multi_press_spacing %d is outside 0 to 60 frames", p.Name, p.Quick)
	}
	s.Target = session.Target{Window: frame.Frame(p.Window), Wanted: session.AnyButton}
	if p.Window < 0 || p.Window > int64(window.MaxFrames) {
		return s, fmt.Errorf("profile %q: window %d is outside 0 to %d frames", p.Name, p.Window, window.MaxFrames)
	}
	if p.Target != "" {
		t := p.target(p.Target)
		if t == nil {
			return s, fmt.Errorf("profile %q aims at target %q, and there is none of that name", p.Name, p.Target)
		}
		var err error
		if s.Target, err = t.Resolve(s.Layout); err != nil {
			return s, fmt.Errorf("profile %q: %w", p.Name, err)
		}
	}
	if err := s.Check(); err != nil {
		return s, fmt.Errorf("profile %q: %w", p.Name, err)
	}
	return s, nil
}

func (p *Profile) target(name string) *Target {
	for i := range p.Targets {
		if p.Targets[i].Name == name {
			return &p.Targets[i]
		}
	}
	return nil
}

// WindowFrames returns the target's window in frames (0 when there is no link)
// and by how many frames it falls short.
func (t *Target) WindowFrames() (w, short frame.Frame, err error) {
	if t.Frames != 0 || t.Link == nil {
		w = frame.Frame(t.Frames)
		return w, 0, window.ValidateFrames(w)
	}
	l := window.Link{Advantage: frame.Frame(t.Link.Advantage), Startup: frame.Frame(t.Link.Startup),
		Buffer: frame.Frame(t.Link.Buffer), ExcludesActive: t.Link.ExcludesActive}
	if err := l.Validate(); err != nil {
		return 0, 0, err
	}
	w, short = l.Window()
	return w, short, nil
}

// OpeningFrames returns how many frames after the starter's press the window
// opens: as given, or from the starter's frame data. The first frame on which
// the next move can come out is the one after the last of recovery; a buffer
// opens the window that much earlier.
func (t *Target) OpeningFrames() frame.Frame {
	if t.Opening != 0 || t.Move == nil {
		return frame.Frame(t.Opening)
	}
	m := t.Move
	open := m.Startup - 1 + m.Active + m.Recovery + m.HitStop
	if t.Link != nil {
		open -= t.Link.Buffer
	}
	return frame.Frame(open)
}

// Resolve turns labels into buttons of a layout and frame data into frames.
func (t *Target) Resolve(l capture.Layout) (session.Target, error) {
	out := session.Target{Name: t.Name, Wanted: session.AnyButton, Presses: t.Presses, Spacing: frame.Frame(t.Spacing)}
	fail := func(err error) (session.Target, error) {
		return out, fmt.Errorf("target %q: %w", t.Name, err)
	}
	w, short, err := t.WindowFrames()
	if err != nil {
		return fail(err)
	}
	if w <= 0 {
		return fail(fmt.Errorf("%w: %s short", ErrNoLink, window.Frames(short)))
	}
	out.Window = w
	if t.Early != "" {
		if out.Rules, err = window.ParseEarly(t.Early); err != nil {
			return fail(err)
		}
	}
	out.Rules.Hold = frame.Frame(t.Hold)
	if err := out.Rules.Validate(); err != nil {
		return fail(err)
	}
	find := func(what, label string) (int, error) {
		if i := l.Index(label); i >= 0 {
			return i, nil
		}
		return 0, fmt.Errorf("%s %q is not a button of the profile: it has %s", what, label, strings.Join(labels(l), ", "))
	}
	if t.Button != "" {
		if out.Wanted, err = find("button", t.Button); err != nil {
			return fail(err)
		}
	}
	if t.Spacing != 0 && t.Spacing < 2 {
		return fail(fmt.Errorf("spacing %d is below 2: a press, a frame up, a press", t.Spacing))
	}
	if t.Presses < 0 || t.Presses > session.MaxMulti {
		return fail(fmt.Errorf("presses %d is outside 0 to %d", t.Presses, session.MaxMulti))
	}
	if t.Starter != "" {
		out.Anchored = true
		if out.Starter, err = find("starter", t.Starter); err != nil {
			return fail(err)
		}
		if out.Opening = t.OpeningFrames(); out.Opening < 1 || out.Opening > window.MaxFrames {
			return fail(fmt.Errorf("the window opens %d frames after the starter: it must be 1 to %d", out.Opening, window.MaxFrames))
		}
	}
	return out, nil
}

func labels(l capture.Layout) []string {
	var out []string
	for _, b := range l.Buttons {
		out = append(out, b.Label)
	}
	return out
}
