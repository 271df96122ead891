//go:build linux

package e2e

import (
	"fmt"
	"image"
	"testing"

	"github.com/stretchr/testify/require"

	"holdgap/web/internal/chromium"
)

// box is where the page drew something, in CSS px.
type box struct {
	X, Y, W, H float64
}

// The whole way: a press on a real kernel device inside the machine is a bead
// with its count on the strip in a browser outside.
func TestKernelPressIsSeenInTheBrowser(t *testing.T) {
	p := start(t)
	browser := chromium.Start(t)
	tab := browser.Tab(t, chromium.View{W: 1280, H: 240})
	tab.Open(p.BaseURL + "/strip?buttons=south&direction=off")
	tab.Wait(`window.holdgap?.draws > 0 && holdgap.state.status?.demo`)

	p.Do("plug pad")
	tab.Wait(`holdgap.state.status.demo === false`)
	want := readings(p.Edges("press south 100 50 70"))
	tab.Wait(`[...holdgap.state.presses.values()].filter(p => p.state === 'up').length === 2`)
	type press struct{ First, Hold, Gap int64 }
	got := chromium.Eval[[]press](tab, `[...holdgap.state.presses.values()].map(p => ({First: p.first, Hold: p.hold, Gap: p.gap}))`)
	require.Len(t, got, 2)
	for i, w := range want {
		require.Equal(t, [2]int64{w.first, w.hold}, [2]int64{got[i].First, got[i].Hold})
	}
	require.Equal(t, want[1].gap, got[1].Gap)

	// The frame that shows both, asked for by number: the beads are drawn, with
	// their counts in them.
	at := want[1].first + want[1].hold + 10
	still := browser.Tab(t, chromium.View{W: 1280, H: 240})
	still.Open(fmt.Sprintf("%s/strip?buttons=south&direction=off&frames=120&frame=%d", p.BaseURL, at))
	still.Wait(fmt.Sprintf(`document.documentElement.dataset.drawn === "%d"`, at))
	texts := chromium.Eval[[]string](still, `Object.values(holdgap.scene).filter(v => v?.items).flatMap(v => v.items.slice(0, v.n)).map(b => b.text.replace("~", ""))`)
	beads := chromium.Eval[[]box](still, `holdgap.scene.beads.items.slice(0, holdgap.scene.beads.n).map(b => ({X: b.x, Y: b.y, W: b.w, H: b.h}))`)
	require.Len(t, beads, 2)
	pic := still.Screenshot()
	for i, w := range want {
		require.Contains(t, texts, fmt.Sprint(w.hold))
		b := beads[i]
		inside := pic.SubImage(image.Rect(int(b.X), int(b.Y), int(b.X+b.W), int(b.Y+b.H))).(*image.NRGBA)
		require.Greater(t, opaque(inside)*2, inside.Bounds().Dx()*inside.Bounds().Dy(), "bead %d is drawn", i)
	}

	// The program ends and comes back: the page finds it by itself.
	for _, open := range []*chromium.Tab{tab, still} {
		open.Allow("WebSocket connection") // the browser reports each attempt that fails
	}
	p.Stop()
	p.Start()
	tab.Wait(`holdgap.state.status.devices.length === 1 && [...holdgap.state.presses.values()].length === 0`)
	want = readings(p.Edges("press south 80"))
	tab.Wait(fmt.Sprintf(`[...holdgap.state.presses.values()].some(p => p.state === 'up' && p.hold === %d)`, want[0].hold))
}

func opaque(m *image.NRGBA) (n int) {
	r := m.Bounds()
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			if m.NRGBAAt(x, y).A == 255 {
				n++
			}
		}
	}
	return n
}
