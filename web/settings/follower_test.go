package settings

import (
	"context"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/require"

	"holdgap/capture"
)

func profiles() Settings {
	s := Default()
	s.Profiles = nil
	for _, p := range []struct {
		name    string
		devices []string
	}{{"pad game", []string{"0003:aaaa:0001", "0003:bbbb:0002"}}, {"box game", []string{"0003:bbbb:0002"}}, {"page game", []string{"pad of a browser"}}, {"none", nil}} {
		q := DefaultProfile(p.name)
		q.Devices = p.devices
		s.Profiles = append(s.Profiles, q)
	}
	s.Profile = "none"
	return s.Clone()
}

func TestProfileFor(t *testing.T) {
	s := profiles()
	for _, c := range []struct{ inForce, identity, want string }{
		{"none", "0003:AAAA:0001", "pad game"},
		{"none", "0003:bbbb:0002", "pad game"},     // the first that lists it
		{"box game", "0003:bbbb:0002", "box game"}, // the one in force if it lists it
		{"none", "pad of a browser", "page game"},
		{"none", "0003:cccc:0003", ""},
		{"none", "", ""},
	} {
		s.Profile = c.inForce
		got, ok := s.ProfileFor(c.identity)
		require.Equal(t, c.want, got)
		require.Equal(t, c.want != "", ok)
	}
}

func TestFollower(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := Open(Options{})
		set := func(f func(*Settings)) {
			t.Helper()
			_, err := s.Change(func(s *Settings) error { f(s); return nil })
			require.NoError(t, err)
		}
		set(func(s *Settings) { *s = profiles() })
		f := NewFollower(s)
		pad := capture.Device{ID: 1, Source: "evdev", Identity: "0003:aaaa:0001"}
		box := capture.Device{ID: 2, Source: "evdev", Identity: "0003:BBBB:0002"}
		page := capture.Device{ID: 3, Source: "page", Identity: "pad of a browser"}
		f.Device(pad, true) // before it runs
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { f.Run(ctx); close(done) }()
		in := func(want, why string) {
			t.Helper()
			synctest.Wait()
			require.Equal(t, want, s.Get().Settings.Profile, why)
		}
		in("pad game", "plugged in")
		require.Equal(t, ByDevice, s.Get().By)
		set(func(s *Settings) { s.Profile = "none" })
		pad.ReportMS = 8
		f.Device(pad, true)
		in("none", "a new description is no plugging in")
		f.Device(pad, false)
		f.Device(pad, true)
		in("none", "what was chosen by hand stays when the controller drops out")
		f.Device(page, true)
		in("page game", "another controller chooses")
		f.Device(pad, false)
		f.Device(pad, true)
		in("pad game", "and then the first may again")
		f.Device(capture.Device{ID: 9, Source: "demo", Identity: "pad of a browser"}, true)
		f.Device(capture.Device{ID: 10, Source: "evdev"}, true)
		f.Device(capture.Device{ID: 11, Source: "evdev", Identity: "0003:cccc:0003"}, true)
		in("pad game", "the demo and unknown ones choose nothing")
		set(func(s *Settings) { s.FollowDevice, s.Profile = false, "box game" })
		f.Device(page, false)
		f.Device(page, true)
		in("box game", "not asked to follow")
		set(func(s *Settings) { s.FollowDevice = true })
		f.Device(box, true)
		in("box game", "the one in force lists it too")
		_, err := s.Undo()
		require.NoError(t, err)
		cancel()
		<-done
	})
}
