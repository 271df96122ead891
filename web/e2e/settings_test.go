//go:build linux

package e2e

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"holdgap/web/wire"
)

// gameSettings has a profile of its own for the test pad, and a chord.
const gameSettings = `version = 1
profile = "everything"
follow_device = true

[[chord]]
buttons = ["select", "start"]
does = "pause"

[[profile_for]]
name = "everything"
rate = "60"
window = 3

[[profile_for]]
name = "loom hall"
devices = ["0003:1209:0001"]
rate = "50"
window = 4
`

// The profile follows the controller, and a chord pauses without being counted
// as play.
func TestProfileAndChordOnAKernelDevice(t *testing.T) {
	file := filepath.Join(t.TempDir(), "settings.toml")
	require.NoError(t, os.WriteFile(file, []byte(gameSettings), 0o600))
	p := startWith(t, map[string]string{"/etc/holdgap/settings.toml": file}, "--settings", "/etc/holdgap/settings.toml")
	w := watch(t, p)
	u := w.until("the performer", func(u wire.Update) bool { return u.Status.Demo })
	require.Equal(t, "60", u.Setup.Rate)

	p.Do("plug pad")
	u = w.until("the pad's profile", func(u wire.Update) bool { return device(u) && u.Setup.Rate == "50" })
	require.EqualValues(t, 4, u.Setup.Window)

	p.Edges("press west 60")
	w.until("west", func(u wire.Update) bool { return len(closed(u, "west")) == 1 })
	p.Edges("down select start")
	u = w.until("the pause", func(u wire.Update) bool { return u.Status.Paused })
	for _, q := range u.Presses {
		require.NotContains(t, []string{"select", "start"}, label(u, q), "a chord is not play")
	}
	require.Len(t, closed(u, "west"), 1, "what was played before stays")
	p.Edges("up select start")
	p.Edges("press south 60") // hands off: neither shown nor recorded
	p.Edges("down select start")
	u = w.until("the end of the pause", func(u wire.Update) bool { return !u.Status.Paused })
	p.Edges("up select start")
	p.Edges("press east 60")
	u = w.until("east", func(u wire.Update) bool { return len(closed(u, "east")) == 1 })
	require.Empty(t, closed(u, "south"))
	for _, q := range u.Presses {
		require.NotContains(t, []string{"select", "start"}, label(u, q), "a chord is not play")
	}
}
