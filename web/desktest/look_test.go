package desktest

import (
	"bytes"
	"fmt"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/capture/monotime"
	"holdgap/web/internal/chromium"
	"holdgap/web/settings"
)

// noTakes records nothing and remembers what it was asked.
type noTakes struct{ asked []string }

func (n *noTakes) Start() error        { n.asked = append(n.asked, "start"); return nil }
func (n *noTakes) Stop() error         { n.asked = append(n.asked, "stop"); return nil }
func (n *noTakes) Mark(s string) error { n.asked = append(n.asked, "mark "+s); return nil }
func (n *noTakes) SaveRecent() error   { n.asked = append(n.asked, "recent"); return nil }

// shoot takes a picture of the whole page at a width, if pictures are wanted.
func (b *tab) shoot(width int, dark bool, dir, name string) {
	b.t.Helper()
	b.View(chromium.View{W: width, H: 900, Dark: dark})
	b.do("new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))")
	if dir == "" {
		return
	}
	height := chromium.Eval[int](b.Tab, "document.documentElement.scrollHeight")
	b.View(chromium.View{W: width, H: height, Dark: dark})
	b.do("new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))")
	save(b.t, dir, name, b.Screenshot())
}

// states are what a person comes to see.
var states = map[string]func(t *testing.T) *tab{
	"first start": func(t *testing.T) *tab {
		b := ready(t, start(t, options{}))
		b.says("First steps")
		return b
	},
	"binding": func(t *testing.T) *tab {
		p := filled(t)
		b := ready(t, p)
		b.click("#bind-1")
		b.says("Press what should be")
		press(p, "east")
		b.says("is bound to heavy already")
		return b
	},
	"set up": func(t *testing.T) *tab {
		p := filled(t)
		b := ready(t, p)
		p.engine.Input(capture.Input{At: monotime.Now(), Device: 1, Key: "south", Down: true})
		p.engine.Input(capture.Input{At: monotime.Now(), Device: 1, Key: "west", Down: true})
		b.says("light · medium")
		b.Run("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
		b.click("#show-view")
		b.until("document.querySelectorAll('img.qr').length === 2 && [...document.querySelectorAll('img.qr')].every((i) => i.complete && i.naturalWidth)")
		b.until("document.querySelector('#cover svg')")
		return b
	},
	"plain": func(t *testing.T) *tab {
		p := filled(t)
		b := ready(t, p)
		b.until("document.querySelector('#cover svg')")
		b.until("document.getElementById('live').contentWindow.holdgap?.draws > 0")
		return b
	},
	"wrong": func(t *testing.T) *tab {
		p := filled(t)
		b := ready(t, p)
		p.engine.Warn("access", "Invented Pad cannot be read: add yourself to the group input, log in again, and plug it in anew")
		p.engine.Pause(true)
		b.says("What is wrong right now")
		return b
	},
}

// filled is a program that somebody has set up.
func filled(t *testing.T) *program {
	p := start(t, options{lan: true, takes: &noTakes{}})
	_, err := p.store.Change(func(s *settings.Settings) error {
		c := s.Current()
		c.Name, s.Profile = "Lowland Duel, pad", "Lowland Duel, pad"
		c.Devices = []string{"0003:1234:5678"}
		c.Buttons = []capture.Button{
			{Label: "up", Role: capture.Up, Keys: []string{"up", "stick_up"}},
			{Label: "light", Keys: []string{"south", "tr"}},
			{Label: "medium", Keys: []string{"west"}},
			{Label: "heavy", Keys: []string{"east", "key_j"}},
		}
		c.Targets = []settings.Target{
			{Name: "low to heavy", Link: &settings.Link{Advantage: 5, Startup: 3}, Button: "heavy", Early: "ignored", Presses: 2, Spacing: 4,
				Starter: "light", Move: &settings.Move{Startup: 5, Active: 3, Recovery: 10}},
			{Name: "corner carry", Frames: 2, Presses: 3},
			{Name: "too slow", Link: &settings.Link{Advantage: 2, Startup: 6}},
		}
		c.Target = "low to heavy"
		s.Chords = []settings.Chord{{Buttons: []string{"light", "heavy"}, Does: settings.DoesPause}}
		return nil
	})
	require.NoError(t, err)
	p.engine.Attach(capture.Device{ID: 1, Name: "Invented Pad", Source: "evdev", Identity: "0003:1234:5678", Path: "/dev/input/event5", ReportMS: 4})
	return p
}

// press presses a key of the invented pad and lets it go.
func press(p *program, key string) {
	for _, down := range []bool{true, false} {
		p.engine.Input(capture.Input{At: monotime.Now(), Device: 1, Key: key, Down: down})
	}
}

// Every state fits a small phone and a wide window without scrolling sideways,
// and breaks no rule of axe-core for WCAG 2.2 A and AA, light or dark.
// With HOLDGAP_PICTURES set to a folder, its pictures are put there to be looked at.
func TestEveryState(t *testing.T) {
	for name, make := range states {
		t.Run(name, func(t *testing.T) {
			b := make(t)
			t.Run("fits", func(t *testing.T) {
				for _, width := range []int{320, 360, 1440} {
					for _, dark := range []bool{false, true} {
						b.shoot(width, dark, os.Getenv("HOLDGAP_PICTURES"), fmt.Sprintf("desk-%s-%d-%v.png", name, width, dark))
						assert.LessOrEqual(t, chromium.Eval[int](b.Tab, "document.documentElement.scrollWidth"), width)
					}
				}
			})
			t.Run("accessible", func(t *testing.T) {
				path := os.Getenv("HOLDGAP_AXE")
				if path == "" {
					chromium.LeftOut(t, "no axe-core: set HOLDGAP_AXE to the path of axe.min.js, as cmd/check does")
				}
				axe, err := os.ReadFile(path)
				require.NoError(t, err)
				b.Run(string(axe))
				for _, dark := range []bool{false, true} {
					b.shoot(360, dark, "", "")
					type violation struct{ ID, Help, HTML string }
					got := chromium.Eval[[]violation](b.Tab, `axe.run({ exclude: ['iframe'] }, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] })
						.then((r) => r.violations.map((v) => ({ ID: v.id, Help: v.help, HTML: v.nodes.map((n) => n.html).join('\n') })))`)
					assert.Empty(t, got, "dark: %v", dark)
				}
			})
		})
	}
}

func save(t testing.TB, dir, name string, picture image.Image) {
	var buf bytes.Buffer
	require.NoError(t, png.Encode(&buf, picture))
	require.NoError(t, os.MkdirAll(dir, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), buf.Bytes(), 0o644))
}
