package desktest

import (
	"flag"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/capture/monotime"
	"holdgap/web/internal/chromium"
)

var update = flag.Bool("update", false, "take the README's pictures of the desk anew, into testdata")

// The desk as it is shown in the README: its head, and its targets, on a phone and
// on a wide window. Every one of them has something down, a drawn cover and a strip.
func TestPictures(t *testing.T) {
	p := filled(t)
	b := ready(t, p)
	b.Run("localStorage.setItem('holdgap-guide', 'away')")
	b.Open(p.url + "/desk")
	b.until("document.querySelector('#cover svg')")
	p.engine.Input(capture.Input{At: monotime.Now(), Device: 1, Key: "west", Down: true})
	b.says("medium")
	for _, c := range []struct {
		width, height int
		dark          bool
		part          string
	}{{1440, 900, false, "now"}, {1440, 900, true, "targets"}, {360, 780, false, "buttons"}, {360, 780, true, "targets"}} {
		b.View(chromium.View{W: c.width, H: c.height, Dark: c.dark})
		b.Run(fmt.Sprintf("document.getElementById(%q).scrollIntoView({ behavior: 'instant' })", c.part))
		b.do("wait(200)")
		picture := b.Screenshot()
		require.Equal(t, c.width, picture.Bounds().Dx())
		require.Equal(t, c.height, picture.Bounds().Dy())
		require.True(t, chromium.Eval[bool](b.Tab, fmt.Sprintf("document.getElementById(%q).getBoundingClientRect().top >= 0", c.part)), "the heading is in sight, not under the bar")
		if *update {
			save(t, "testdata", fmt.Sprintf("desk-%s-%d.png", c.part, c.width), picture)
		}
	}
}
