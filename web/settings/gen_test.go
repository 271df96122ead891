package settings_test

import (
	"fmt"

	"pgregory.net/rapid"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/web/settings"
)

// names draws distinct names, some of them awkward in TOML.
func names(t *rapid.T, what string, least, most int) []string {
	return rapid.SliceOfNDistinct(rapid.OneOf(
		rapid.StringMatching(`[a-z]{1,6}`),
		rapid.SampledFrom([]string{"a.b", `q"uote`, `back\slash`, "näher 三", "# no comment", "[x]", "it's", "a = 1", "''' \"\"\""}),
	), least, most, rapid.ID[string]).Draw(t, what)
}

// drawSettings draws settings that pass Check.
func drawSettings(t *rapid.T) settings.Settings {
	s := settings.Default()
	s.FollowDevice = rapid.Bool().Draw(t, "follow")
	s.Takes = settings.Takes{RingMinutes: rapid.IntRange(0, 120).Draw(t, "ring"), Folder: rapid.SampledFrom([]string{"", `C:\takes`, "/t"}).Draw(t, "folder")}
	s.Strip.Theme = rapid.SampledFrom([]string{"", "jet"}).Draw(t, "theme")
	s.Strip.Options = rapid.MapOfN(rapid.SampledFrom([]string{"scale", "odd key", "x.y"}), rapid.StringMatching(`[a-z0-9 "]{0,5}`), 0, 3).Draw(t, "options")
	s.Profiles = nil
	for _, name := range names(t, "profiles", 1, 3) {
		p := settings.DefaultProfile(name)
		p.Devices = rapid.SliceOfNDistinct(rapid.StringMatching(`000[0-9]:[0-9a-f]{4}`), 0, 2, rapid.ID[string]).Draw(t, "devices")
		p.Rate = rapid.SampledFrom([]frame.Rate{frame.Hz60, frame.NTSC60}).Draw(t, "rate")
		p.Read = frame.ReadRule(rapid.IntRange(0, 1).Draw(t, "read"))
		p.Cleaning = capture.Cleaning(rapid.IntRange(0, 3).Draw(t, "cleaning"))
		p.Quick = rapid.Int64Range(0, 60).Draw(t, "quick")
		p.Window = rapid.Int64Range(0, 600).Draw(t, "window")
		p.BounceMS = rapid.Float64Range(-1, 100).Draw(t, "bounce")
		if rapid.Bool().Draw(t, "phase") {
			ms := rapid.Float64Range(0, 16).Draw(t, "phase_ms")
			p.PhaseMS = &ms
		}
		labels := names(t, "labels", 0, 4)
		for i, l := range labels {
			keys := []string{}
			for k := range rapid.IntRange(0, 2).Draw(t, "keys") {
				keys = append(keys, fmt.Sprintf("button%d", 10*i+k))
			}
			p.Buttons = append(p.Buttons, capture.Button{Label: l, Role: capture.Role(rapid.IntRange(0, 4).Draw(t, "role")), Keys: keys})
		}
		for _, name := range names(t, "targets", 0, 3) {
			tg := settings.Target{Name: name, Early: rapid.SampledFrom([]string{"", "ignored", "spoil", "spoil:3"}).Draw(t, "early")}
			if rapid.Bool().Draw(t, "link") {
				tg.Link = &settings.Link{Advantage: rapid.Int64Range(8, 20).Draw(t, "advantage"), Startup: rapid.Int64Range(1, 8).Draw(t, "startup"), Buffer: rapid.Int64Range(0, 4).Draw(t, "buffer")}
			} else {
				tg.Frames = rapid.Int64Range(1, 600).Draw(t, "frames")
			}
			if len(labels) > 0 && rapid.Bool().Draw(t, "anchored") {
				tg.Starter = rapid.SampledFrom(labels).Draw(t, "starter")
				tg.Move = &settings.Move{Startup: rapid.Int64Range(5, 9).Draw(t, "startup"), Active: 2, Recovery: rapid.Int64Range(4, 9).Draw(t, "recovery")}
			}
			p.Targets = append(p.Targets, tg)
		}
		if len(p.Targets) > 0 && rapid.Bool().Draw(t, "aims") {
			p.Target = p.Targets[0].Name
		}
		s.Profiles = append(s.Profiles, p)
	}
	s.Profile = s.Profiles[len(s.Profiles)-1].Name
	if b := s.Profiles[0].Buttons; len(b) >= 2 && b[0].Role == capture.Action && b[1].Role == capture.Action {
		s.Chords = []settings.Chord{{Buttons: []string{b[0].Label, b[1].Label}, Does: "mark"}}
	}
	return s.Clone()
}

// change draws settings that differ from s in a few things, as a desk changes them.
func change(t *rapid.T, s settings.Settings) settings.Settings {
	s = s.Clone()
	for range rapid.IntRange(1, 4).Draw(t, "changes") {
		p := &s.Profiles[rapid.IntRange(0, len(s.Profiles)-1).Draw(t, "profile")]
		switch rapid.IntRange(0, 9).Draw(t, "change") {
		case 0:
			s.Takes.RingMinutes = 7
		case 1:
			s.Strip = settings.Strip{Theme: "lantern", Options: map[string]string{"scale": "2"}}
		case 2:
			s.Profiles = append(s.Profiles, settings.DefaultProfile(fmt.Sprintf("new %d", len(s.Profiles))))
		case 3:
			if len(s.Profiles) > 1 && s.Profile != s.Profiles[0].Name {
				s.Profiles, s.Chords = s.Profiles[1:], nil
			}
		case 4:
			if s.Profile == p.Name {
				s.Profile = "renamed"
			}
			p.Name = "renamed"
		case 5:
			s.Profiles[0], s.Profiles[len(s.Profiles)-1] = s.Profiles[len(s.Profiles)-1], s.Profiles[0]
		case 6:
			p.Targets = append(p.Targets, settings.Target{Name: "added", Link: &settings.Link{Advantage: 10, Startup: 8}})
		case 7:
			p.Targets, p.Target = nil, ""
		case 8:
			if n := len(p.Buttons); n > 1 {
				p.Buttons[0], p.Buttons[n-1] = p.Buttons[n-1], p.Buttons[0]
			}
		case 9:
			p.PhaseMS, p.BounceMS, p.Rate = nil, 0, frame.NTSC60
		}
	}
	return s.Clone()
}
