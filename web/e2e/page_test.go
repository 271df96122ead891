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
	Text       string
}

// The whole way: a press on a real kernel device inside the machine is a bead
// with its count on the strip in a browser outside.
func TestKernelPressIsSeenInTheBrowser(t *testing.T) {
	p := start(t)
	tab := chromium.Start(t).Tab(t, chromium.View{W: 1280, H: 240})
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

	// The beads are drawn, with their counts in them.
	tab.Wait(`holdgap.scene.beads.n === 2`)
	for i, w := range want {
		tab.Wait(fmt.Sprintf(`holdgap.scene.texts.items.slice(0, holdgap.scene.texts.n).some(b => /^[~]?%d$/.test(b.text))`, w.hold))
		_ = i
	}
	beads := chromium.Eval[[]box](tab, `holdgap.scene.beads.items.slice(0, 2).map(b => ({X: b.x, Y: b.y, W: b.w, H: b.h, Text: b.text}))`)
	pic := tab.Screenshot()
	require.Greater(t, opaque(pic), 200, "something is drawn")
	require.Len(t, beads, 2)

	// The program ends and comes back: the page finds it by itself.
	p.Stop()
	p.Start()
	tab.Wait(`holdgap.state.status.devices.length === 1 && holdgap.state.presses.size === 0`)
	want = readings(p.Edges("press south 80"))
	tab.Wait(fmt.Sprintf(`[...holdgap.state.presses.values()].some(p => p.state === 'up' && p.hold === %d)`, want[0].hold))
	tab.Allow("WebSocket")
}

func opaque(m *image.NRGBA) (n int) {
	for i := 3; i < len(m.Pix); i += 4 {
		if m.Pix[i] == 255 {
			n++
		}
	}
	return n
}
