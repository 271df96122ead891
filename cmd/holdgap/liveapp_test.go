package main

import (
	"bytes"
	"context"
	"encoding/json"
	"net"
	"os"
	"path/filepath"
	"testing"

	"github.com/rs/zerolog"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/web/hub"
	"holdgap/web/live"
	"holdgap/web/settings"
	"holdgap/web/wire"
)

const gameSettings = `profile = "links"
[[profile_for]]
name = "links" # by hand
[[profile_for.target]]
name = "three frames"
frames = 3
[[profile_for]]
name = "other"
devices = ["0003:1234:5678"]
rate = "50"
[[profile_for.button]]
label = "jab"
keys = ["south", "key_j"]
[[profile_for.button]]
label = "strong"
keys = ["east"]
[[chord]]
buttons = ["jab", "strong"]
does = "pause"
`

// started runs the live program with flags on a settings file, and a viewer.
func started(t *testing.T, args ...string) (a *app, path string, v *hub.Viewer) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	path = filepath.Join(t.TempDir(), "mine.toml")
	require.NoError(t, os.WriteFile(path, []byte(gameSettings), 0o600))
	var f liveFlags
	fl := pflag.NewFlagSet("live", pflag.ContinueOnError)
	f.register(fl)
	require.NoError(t, fl.Parse(append(args, "--settings", path, "--source", "page")))
	p, err := f.plan()
	require.NoError(t, err)
	var logged bytes.Buffer
	a, err = newApp(f, p, zerolog.New(&logged).Level(zerolog.ErrorLevel))
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, a.serve(l, p.pages))
	v, err = a.engine.Hub().Join()
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- a.run(ctx) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-done)
		require.Empty(t, logged.String())
	})
	return a, path, v
}

// until reads what a strip is told until it is told what is looked for.
func until(t *testing.T, v *hub.Viewer, what string, ok func(wire.Update) bool) {
	t.Helper()
	for {
		select {
		case m := <-v.Queue():
			var u wire.Update
			require.NoError(t, json.Unmarshal(m.Text, &u))
			if ok(u) {
				return
			}
		case <-t.Context().Done():
			t.Fatal(what)
		}
	}
}

func TestSettingsReachTheStrip(t *testing.T) {
	a, path, v := started(t)
	until(t, v, "the file's profile", func(u wire.Update) bool {
		return u.Setup != nil && u.Setup.Rate == "60" && len(u.Setup.Buttons) > 10
	})
	// Edited by hand: half written, then whole.
	require.NoError(t, os.WriteFile(path, []byte(gameSettings+"[strip]\nthe"), 0o600))
	until(t, v, "the trouble", func(u wire.Update) bool {
		return u.Status != nil && len(u.Status.Troubles) == 1 && u.Status.Troubles[0].Key == settings.Trouble
	})
	require.NoError(t, os.WriteFile(path, []byte(gameSettings+"[strip]\ntheme = \"jet\"\n[strip.options]\nscale = \"2\"\n"), 0o600))
	until(t, v, "the edit", func(u wire.Update) bool {
		return u.Setup != nil && u.Setup.Theme == "jet" && u.Setup.Strip["scale"] == "2"
	})
	// A controller of another profile is plugged in.
	a.engine.Attach(capture.Device{ID: a.engine.IDs().Next(), Name: "pad", Source: "evdev", Identity: "0003:1234:5678"})
	until(t, v, "its profile", func(u wire.Update) bool {
		return u.Setup != nil && u.Setup.Rate == "50" && len(u.Setup.Buttons) == 2
	})
	require.Equal(t, []live.Chord{{Buttons: []int{0, 1}, Does: "pause"}}, a.engine.Setup().Chords)
	// A change from a desk, and the file.
	_, err := a.store.Change(func(s *settings.Settings) error {
		s.Profile = "links"
		s.Current().Target = "three frames"
		return nil
	})
	require.NoError(t, err)
	require.Equal(t, "three frames", a.engine.Setup().Target.Name, "in force when the change returns")
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Contains(t, string(text), "name = \"links\" # by hand\naim = \"three frames\"\n")
	require.Contains(t, string(text), "profile = \"links\"\n")
}

// Flags hold for the run, whatever is set, and are not kept.
func TestFlagsOverSettings(t *testing.T) {
	a, path, _ := started(t, "--rate", "120", "--target", "three frames")
	s := a.engine.Setup()
	require.Equal(t, "120", s.Rate.String())
	require.EqualValues(t, 3, s.Target.Window)
	_, err := a.store.Change(func(s *settings.Settings) error { s.Strip.Theme = "jet"; return nil })
	require.NoError(t, err)
	require.Equal(t, "jet", a.engine.Setup().Theme)
	require.Equal(t, "120", a.engine.Setup().Rate.String())
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NotContains(t, string(text), "120")
	require.NotContains(t, string(text), "aim")

	// What does not fit the flags is told; what was in force stays.
	_, err = a.store.Change(func(s *settings.Settings) error { s.Profile = "other"; return nil })
	require.NoError(t, err)
	require.Equal(t, "three frames", a.engine.Setup().Target.Name)
	require.Contains(t, a.engine.Status().Troubles[0].Text, `--target "three frames"`)
	_, err = a.store.Undo()
	require.NoError(t, err)
	require.Empty(t, a.engine.Status().Troubles)
}

// A profile that was named at the start stays, whatever is plugged in.
func TestNamedProfileStays(t *testing.T) {
	a, _, _ := started(t, "--profile", "other")
	require.Len(t, a.engine.Setup().Layout.Buttons, 2)
	a.engine.Attach(capture.Device{ID: a.engine.IDs().Next(), Source: "evdev", Identity: "0003:1234:5678"})
	require.Nil(t, a.follower, "nothing follows controllers, now or later")
	require.Equal(t, "links", a.store.Get().Settings.Profile)
}
