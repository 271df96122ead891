package settings_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
	"holdgap/web/live"
	"holdgap/web/settings"
)

// good returns settings with something of everything.
func good() settings.Settings {
	s := settings.Default()
	p := &s.Profiles[0]
	p.Devices = []string{"0003:1234:5678"}
	p.Buttons = []capture.Button{
		{Label: "left", Role: capture.Left, Keys: []string{"left"}}, {Label: "right", Role: capture.Right, Keys: []string{"right"}},
		{Label: "jab", Keys: []string{"south", "key_j"}}, {Label: "strong", Keys: []string{"east"}}}
	p.Targets = []settings.Target{{Name: "link", Link: &settings.Link{Advantage: 10, Startup: 8}, Button: "jab"}}
	p.Target = "link"
	s.Chords = []settings.Chord{{Buttons: []string{"jab", "strong"}, Does: "mark"}}
	s.Strip = settings.Strip{Theme: "jet", Options: map[string]string{"scale": "2"}}
	return s.Clone()
}

func TestCheck(t *testing.T) {
	s := good()
	require.NoError(t, s.Check())
	nan := math.NaN()
	for _, c := range []struct {
		path, says string
		spoil      func(s *settings.Settings, p *settings.Profile)
	}{
		{"version", "version 2", func(s *settings.Settings, _ *settings.Profile) { s.Version = 2 }},
		{"profile", `"nobody"`, func(s *settings.Settings, _ *settings.Profile) { s.Profile = "nobody" }},
		{"profile_for.1.name", `two profiles are named "everything"`, func(s *settings.Settings, p *settings.Profile) {
			s.Profiles = append(s.Profiles, *p)
			s.Profiles[1].Targets = nil
			s.Profiles[1].Target = ""
		}},
		{"profile_for.0.name", "has no name", func(s *settings.Settings, p *settings.Profile) { p.Name, s.Profile = " ", " " }},
		{"profile_for.0.name", "longer than 60", func(s *settings.Settings, p *settings.Profile) { p.Name = strings.Repeat("x", 61); s.Profile = p.Name }},
		{"profile_for.0.name", "control character", func(_ *settings.Settings, p *settings.Profile) { p.Name = "a\x1bb" }},
		{"profile_for.0.name", "not UTF-8", func(_ *settings.Settings, p *settings.Profile) { p.Name = "a\xffb" }},
		{"profile_for", "65 profiles", func(s *settings.Settings, _ *settings.Profile) {
			for i := range 64 {
				s.Profiles = append(s.Profiles, settings.DefaultProfile(fmt.Sprint("game ", i)))
			}
		}},
		{"profile_for.0.devices", "listed twice", func(_ *settings.Settings, p *settings.Profile) { p.Devices = []string{"0003:ABCD:1", "0003:abcd:1"} }},
		{"profile_for.0.bounce_ms", "bounce_ms 101", func(_ *settings.Settings, p *settings.Profile) { p.BounceMS = 101 }},
		{"profile_for.0.phase_ms", "NaN", func(_ *settings.Settings, p *settings.Profile) { p.PhaseMS = &nan }},
		{"profile_for.0.phase_ms", "one frame", func(_ *settings.Settings, p *settings.Profile) { ms := 16.7; p.PhaseMS = &ms }},
		{"profile_for.0.multi_press_spacing", "61", func(_ *settings.Settings, p *settings.Profile) { p.Quick = 61 }},
		{"profile_for.0.window", "601", func(_ *settings.Settings, p *settings.Profile) { p.Target, p.Window = "", 601 }},
		{"profile_for.0.aim", `"gone"`, func(_ *settings.Settings, p *settings.Profile) { p.Target = "gone" }},
		{"profile_for.0.button.3", `"jab" is used twice`, func(s *settings.Settings, p *settings.Profile) { p.Buttons[3].Label = "jab"; s.Chords = nil }},
		{"profile_for.0.button.3", `"south" is bound to both`, func(_ *settings.Settings, p *settings.Profile) { p.Buttons[3].Keys = []string{"south"} }},
		{"profile_for.0.button.2.keys", `did you mean "south"`, func(_ *settings.Settings, p *settings.Profile) { p.Buttons[2].Keys = []string{"BTN_SOUTH"} }},
		{"profile_for.0.target.0.button", `"kick" is not a button`, func(_ *settings.Settings, p *settings.Profile) { p.Targets[0].Button = "kick" }},
		{"profile_for.0.target.0.link", "does not link: 2 frames short", func(_ *settings.Settings, p *settings.Profile) { p.Targets[0].Link.Advantage = 6 }},
		{"profile_for.0.target.0.frames", "no window", func(_ *settings.Settings, p *settings.Profile) { p.Targets[0].Link = nil }},
		{"profile_for.0.target.0.frames", "frames -1", func(_ *settings.Settings, p *settings.Profile) { p.Targets[0].Frames = -1 }},
		{"profile_for.0.target.0.early", `"late"`, func(_ *settings.Settings, p *settings.Profile) { p.Targets[0].Early = "late" }},
		{"profile_for.0.target.0.spacing", "spacing 1", func(_ *settings.Settings, p *settings.Profile) { p.Targets[0].Spacing = 1 }},
		{"profile_for.0.target.0.presses", "presses 6", func(_ *settings.Settings, p *settings.Profile) { p.Targets[0].Presses = 6 }},
		{"profile_for.0.target.0.hold", "hold", func(_ *settings.Settings, p *settings.Profile) { p.Targets[0].Hold = -1 }},
		{"profile_for.0.target.0.starter", "must be 1 to 600", func(_ *settings.Settings, p *settings.Profile) { p.Targets[0].Starter = "jab" }},
		{"profile_for.0.target.0.move", "startup 0", func(_ *settings.Settings, p *settings.Profile) { p.Targets[0].Move = &settings.Move{} }},
		{"profile_for.0.target.1.name", "two targets", func(_ *settings.Settings, p *settings.Profile) { p.Targets = append(p.Targets, p.Targets[0]) }},
		{"chord.0.does", `"dance"`, func(s *settings.Settings, _ *settings.Profile) { s.Chords[0].Does = "dance" }},
		{"chord.0.buttons", "two buttons or more", func(s *settings.Settings, _ *settings.Profile) { s.Chords[0].Buttons = s.Chords[0].Buttons[:1] }},
		{"chord.0.buttons", "in it twice", func(s *settings.Settings, _ *settings.Profile) { s.Chords[0].Buttons = []string{"jab", "jab"} }},
		{"chord.0.buttons", `"kick" is missing`, func(s *settings.Settings, _ *settings.Profile) { s.Chords[0].Buttons = []string{"jab", "kick"} }},
		{"chord.0.buttons", "never held together", func(s *settings.Settings, _ *settings.Profile) { s.Chords[0].Buttons = []string{"left", "right"} }},
		{"chord.1.buttons", "same buttons", func(s *settings.Settings, _ *settings.Profile) {
			s.Chords = append(s.Chords, settings.Chord{Buttons: []string{"strong", "jab"}, Does: "take"})
		}},
		{"strip.theme", `"../x"`, func(s *settings.Settings, _ *settings.Profile) { s.Strip.Theme = "../x" }},
		{"strip.options.scale", "200 at most", func(s *settings.Settings, _ *settings.Profile) { s.Strip.Options["scale"] = strings.Repeat("x", 201) }},
		{"takes.ring_minutes", "ring_minutes -1", func(s *settings.Settings, _ *settings.Profile) { s.Takes.RingMinutes = -1 }},
		{"takes.folder", "longer than 1024", func(s *settings.Settings, _ *settings.Profile) { s.Takes.Folder = strings.Repeat("x", 1025) }},
	} {
		s := good()
		c.spoil(&s, &s.Profiles[0])
		list := settings.ProblemsOf(s.Check())
		require.Len(t, list, 1, "%s: %s", c.path, c.says)
		require.Equal(t, c.path, list[0].Path, list[0].Reason)
		require.Contains(t, list[0].Reason, c.says)
	}
}

// A target in the making may have no window yet, as long as it is not aimed at.
func TestTargetWithoutAWindow(t *testing.T) {
	s := good()
	s.Profiles[0].Targets[0].Link.Advantage = 6
	s.Profiles[0].Target = ""
	require.NoError(t, s.Check())
	require.ErrorIs(t, s.Profiles[0].Targets[0].Check(s.Profiles[0].Layout()), settings.ErrNoLink)
}

// The window of +10 into a startup of 8 is three frames (common practice, no
// source), and it opens in the frame in which the starter has recovered: after
// startup 5, active 3 and recovery 9 with a hit stop of 10, that is 5−1+3+9+10 = 26
// frames after its press (computed from the definitions); a buffer of 2 opens it
// that much earlier.
func TestTargetsBecomeSetups(t *testing.T) {
	s := good()
	p := &s.Profiles[0]
	p.Targets[0].Starter = "strong"
	p.Targets[0].Move = &settings.Move{Startup: 5, Active: 3, Recovery: 9, HitStop: 10}
	p.Targets[0].Early = "spoil:3"
	p.Targets[0].Hold = 4
	require.NoError(t, s.Check())
	setup, err := p.Setup()
	require.NoError(t, err)
	require.Equal(t, session.Target{Name: "link", Window: 3, Wanted: 2, Anchored: true, Starter: 3, Opening: 26,
		Rules: window.Rules{Early: window.Spoil, Reach: 3, Hold: 4}}, setup.Target)
	p.Targets[0].Link.Buffer = 2
	setup, err = p.Setup()
	require.NoError(t, err)
	require.EqualValues(t, 5, setup.Target.Window)
	require.EqualValues(t, 24, setup.Target.Opening)
	require.Equal(t, []live.Chord{{Buttons: []int{2, 3}, Does: "mark"}}, s.LiveChords(setup.Layout))
	require.Empty(t, s.LiveChords(capture.Layout{Buttons: p.Buttons[:3]}), "a chord that lacks a button here does nothing")
}

// Every problem of a file is told at once, with its line.
func TestProblemsHaveLines(t *testing.T) {
	_, err := settings.Parse("s.toml", []byte(`profile_for = [
  { name = "a", window = "x" },
]
takes.ring_minutes = true
follow_device = 1
strip = { theme = 2026-01-02, options = { a = 1 } }
`))
	require.EqualError(t, err, `s.toml:1: "profile_for = [": window must be a whole number, not the text "x"
s.toml:4: "takes.ring_minutes = true": ring_minutes must be a whole number, not true
s.toml:5: "follow_device = 1": follow_device must be true or false, not 1
s.toml:6: "strip = { theme = 2026-01-02, options = { a = 1 } }": theme must be a text in quotes, not a date or a time
s.toml:6: "strip = { theme = 2026-01-02, options = { a = 1 } }": a must be a text in quotes, not 1`)
	_, err = settings.Parse("s.toml", []byte("x = '"+strings.Repeat("x", settings.MaxSize)+"'"))
	require.ErrorContains(t, err, "262144 at most")
	_, err = settings.Parse("s.toml", []byte(strings.Repeat("[", settings.MaxSize)))
	require.Error(t, err)
	_, err = settings.Parse("s.toml", []byte("x = "+strings.Repeat("[", 100_000)))
	require.Error(t, err)
}
