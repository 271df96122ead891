package legibletest

import (
	"image"
	"image/color"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/overlay/colour"
	"holdgap/themes"
	"holdgap/web/flashtest/stage"
	"holdgap/web/internal/chromium"
)

// Everything on the strip has a casing of the theme's halo colour, or stands on a
// plate that has one: so the scene behind never touches anything that has to be
// told apart, and the contrasts that the theme's own test looks at are all there
// are. In a picture with a transparent background, each half transparent px is
// the rim of something: it must have the halo's colour, but for two in a hundred,
// where the blunt end of a stroke or a corner shares a px with its casing.
func TestEverythingHasACasing(t *testing.T) {
	b := chromium.Start(t)
	for _, mash := range []bool{false, true} {
		p := stage.Play(t, 6, 8, mash)
		s := stage.New(t, p)
		for _, name := range themes.Names() {
			theme, err := themes.Load(themes.Builtin(), name)
			require.NoError(t, err)
			halo, err := colour.Parse(theme.Colour.Halo)
			require.NoError(t, err)
			note, err := colour.Parse(theme.Colour.Note)
			require.NoError(t, err)
			tab := b.Tab(t, chromium.View{W: 1280, H: 240})
			// Without flashes, which are meant to be seen through.
			s.Film(tab, "flash=off&counts=holds,gaps,spacings,windows&theme="+name, p.From()+120, 17, 15, func(i int, f stage.Frame) {
				rims, bare := uncased(f.Pix, halo, note)
				assert.Greater(t, rims, 100, "%s, frame %d: next to nothing was drawn", name, i)
				assert.LessOrEqual(t, bare, rims/50, "%s, frame %d: of %d px at rims, so many are not of the halo's colour %v", name, i, rims, halo)
				if i == 0 { // who finds nothing wrong with another colour finds nothing at all
					_, bare := uncased(f.Pix, color.NRGBA{R: 255 - halo.R, G: 255 - halo.G, B: 255 - halo.B, A: 255})
					assert.Greater(t, bare, rims/2)
				}
			})
		}
	}
}

// uncased counts the px that are clearly half transparent, and those of them that
// have none of the colours that casings may have.
func uncased(img *image.NRGBA, casings ...color.NRGBA) (rims, bare int) {
	const slack = 64 // of 255
	for k := 0; k < len(img.Pix); k += 4 {
		q := img.Pix[k : k+4]
		if q[3] < 16 || q[3] > 208 {
			continue
		}
		rims++
		if !slices.ContainsFunc(casings, func(c color.NRGBA) bool { return near(q, c.R, c.G, c.B, slack) }) {
			bare++
		}
	}
	return rims, bare
}

func near(q []byte, r, g, b byte, slack int) bool {
	for i, want := range []byte{r, g, b} {
		if d := int(q[i]) - int(want); d > slack || d < -slack {
			return false
		}
	}
	return true
}
