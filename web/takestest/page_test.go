package takestest

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

	"holdgap/web/internal/chromium"
)

// open opens the page at a place and waits until all of it has come.
func open(t testing.TB, url string, v chromium.View) *chromium.Tab {
	t.Helper()
	tab := chromium.Start(t).Tab(t, v)
	tab.Open(url)
	tab.Wait(`window.holdgapTakes?.ready`)
	return tab
}

const settled = `holdgapTakes.panes.every(p => p.scrub.ready && p.scrub.theme && p.sum)`

// shoot takes a picture of the whole page at a width.
func shoot(tab *chromium.Tab, width int, dark bool) *image.NRGBA {
	tab.View(chromium.View{W: width, H: 900, Dark: dark})
	tab.Run(`new Promise((r) => setTimeout(r, 300))`)
	height := chromium.Eval[int](tab, `document.documentElement.scrollHeight`)
	tab.View(chromium.View{W: width, H: height, Dark: dark})
	tab.Wait(settled)
	tab.Run(`new Promise((r) => setTimeout(() => requestAnimationFrame(() => requestAnimationFrame(r)), 300))`)
	return tab.Screenshot()
}

func keep(t testing.TB, name string, m *image.NRGBA) {
	dir := os.Getenv("HOLDGAP_PICTURES")
	if dir == "" {
		return
	}
	var buf bytes.Buffer
	require.NoError(t, png.Encode(&buf, m))
	require.NoError(t, os.WriteFile(filepath.Join(dir, name+".png"), buf.Bytes(), 0o644))
}

// states are what one comes to see on the page.
var states = map[string]struct {
	place string
	do    string
}{
	"empty":  {"", ""},
	"shelf":  {"/takes", ""},
	"one":    {"/takes#take=evening+two&at=300800", ""},
	"two":    {"/takes#take=evening+one&at=300500&beside=evening+two&beside_at=300800", ""},
	"judged": {"/takes#take=evening+two&at=300800", `holdgapTakes.panes[0].trial.judge({read: 'latched', window: '2', starter: 'none'})`},
}

// Every state fits a small phone and a wide window without scrolling sideways, and
// breaks no rule of axe-core for WCAG 2.2 A and AA, light or dark. With
// HOLDGAP_PICTURES set to a folder, its pictures are put there to be looked at.
func TestEveryState(t *testing.T) {
	dir := shelf(t)
	for name, s := range states {
		t.Run(name, func(t *testing.T) {
			url := serve(t, dir) + s.place
			if name == "empty" {
				url = serve(t, t.TempDir()) + "/takes"
			}
			tab := open(t, url, chromium.View{W: 1280, H: 900})
			if s.do != "" {
				tab.Run(s.do)
			}
			tab.Wait(settled)
			for _, width := range []int{360, 1280, 1900} {
				for _, dark := range []bool{false, true} {
					m := shoot(tab, width, dark)
					assert.LessOrEqual(t, chromium.Eval[int](tab, "document.documentElement.scrollWidth"), width, "width %d", width)
					keep(t, fmt.Sprintf("takes-%s-%d-%v", name, width, dark), m)
				}
			}
			accessible(t, tab)
		})
	}
}

func accessible(t *testing.T, tab *chromium.Tab) {
	t.Helper()
	tab.View(chromium.View{W: 900, H: 900})
	tab.Wait(settled)
	axeOnly(t, tab)
}

// axeOnly asks axe-core, light and dark.
func axeOnly(t *testing.T, tab *chromium.Tab) {
	t.Helper()
	path := os.Getenv("HOLDGAP_AXE")
	if path == "" {
		chromium.LeftOut(t, "no axe-core: set HOLDGAP_AXE to the path of axe.min.js, as cmd/check does")
	}
	axe, err := os.ReadFile(path)
	require.NoError(t, err)
	tab.Run(string(axe))
	for _, dark := range []bool{false, true} {
		tab.View(chromium.View{W: 900, H: 900, Dark: dark})
		type violation struct{ ID, Help, HTML string }
		got := chromium.Eval[[]violation](tab, `axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] })
			.then((r) => r.violations.map((v) => ({ ID: v.id, Help: v.help, HTML: v.nodes.map((n) => n.html).join(' | ') })))`)
		assert.Empty(t, got, "dark: %v", dark)
	}
}
