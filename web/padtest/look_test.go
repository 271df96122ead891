package padtest

import (
	"bytes"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/web/internal/chromium"
)

// states are the pages that a player can come to see.
var states = map[string]func(t *testing.T) *tab{
	"waiting": func(t *testing.T) *tab {
		b := open(t, start(t, "south").url+"/pad")
		b.says("Press any button on the gamepad")
		b.says("of a frame at 60 frames a second")
		return b
	},
	"playing": func(t *testing.T) *tab {
		_, b := plugged(t)
		for _, i := range []int{0, 1, 2, 4, 7, 13, 14} {
			b.do(fmt.Sprintf("set(0, %d, 1), wait(20)", i))
			if i < 13 {
				b.do(fmt.Sprintf("set(0, %d, 0), wait(20)", i))
			}
		}
		b.do("set(0, 2, 1), set(0, 1, 1)")
		b.until("document.getElementById('poll').textContent.startsWith('every')")
		b.says("±")
		return b
	},
	"own layout": func(t *testing.T) *tab {
		p := start(t, "button12", "axis2_plus", "key_j")
		b := open(t, p.url+"/pad")
		b.do("plug(0, '1234-5678-Invented Stick With A Very Long Name Of Its Own', ''), wait(50)")
		b.says("Reading Invented Stick")
		b.do("set(0, 12, 1), tilt(0, 2, 1)")
		b.says("buttons go by number")
		b.says("±")
		return b
	},
	"keyboard without focus": func(t *testing.T) *tab {
		b := open(t, start(t, "south", "key_j").url+"/pad")
		b.says("Reading the keyboard")
		b.do("window.dispatchEvent(new Event('blur'))")
		b.says("click on it")
		return b
	},
	"no gamepads here": func(t *testing.T) *tab {
		b := open(t, start(t, "south").url+"/pad")
		b.do("document.getElementById('stop').click(), delete navigator.getGamepads, Object.defineProperty(navigator, 'getGamepads', {value: undefined})")
		b.do("document.getElementById('stop').click()")
		b.says("This browser cannot read a gamepad")
		return b
	},
	"refused": func(t *testing.T) *tab {
		p := start(t)
		p.refuse = "this page may not play: open the address that the desk shows"
		b := open(t, p.url+"/pad")
		b.says("refused this page")
		return b
	},
	"lost": func(t *testing.T) *tab {
		p, b := plugged(t)
		b.Allow("WebSocket")
		b.do("(WebSocket = class { close() {} }, 1)") // no new connection comes to be
		p.hangUp()
		b.says("Connection lost")
		return b
	},
	"stopped": func(t *testing.T) *tab {
		_, b := plugged(t)
		b.do("document.getElementById('stop').click()")
		b.says("Read again")
		return b
	},
}

// Every state fits a small phone and a wide window without scrolling sideways,
// and breaks no rule of axe-core for WCAG 2.2 A and AA, light or dark.
// With HOLDGAP_PICTURES set to a folder, its pictures are put there to be looked at.
func TestEveryState(t *testing.T) {
	for name, make := range states {
		t.Run(name, func(t *testing.T) {
			b := make(t)
			t.Run("fits", func(t *testing.T) {
				for _, width := range []int{320, 360, 1280} {
					for _, dark := range []bool{false, true} {
						picture := b.shoot(width, dark)
						assert.LessOrEqual(t, js[int](b, "document.documentElement.scrollWidth"), width)
						if dir := os.Getenv("HOLDGAP_PICTURES"); dir != "" {
							var buf bytes.Buffer
							require.NoError(t, png.Encode(&buf, picture))
							file := filepath.Join(dir, fmt.Sprintf("pad-%s-%d-%v.png", name, width, dark))
							require.NoError(t, os.WriteFile(file, buf.Bytes(), 0o644))
						}
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
					b.shoot(360, dark)
					type violation struct{ ID, Help, HTML string }
					got := js[[]violation](b, `axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] })
						.then((r) => r.violations.map((v) => ({ ID: v.id, Help: v.help, HTML: v.nodes[0].html })))`)
					assert.Empty(t, got, "dark: %v", dark)
				}
			})
		})
	}
}
