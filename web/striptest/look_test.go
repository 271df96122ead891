package striptest

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"holdgap/web/internal/chromium"

	"github.com/stretchr/testify/require"
)

// over puts a picture with transparent parts over a scene of one colour.
func over(img *image.NRGBA, scene color.NRGBA) *image.NRGBA {
	out := image.NewNRGBA(img.Bounds())
	draw.Draw(out, out.Bounds(), image.NewUniform(scene), image.Point{}, draw.Src)
	draw.Draw(out, out.Bounds(), img, image.Point{}, draw.Over)
	return out
}

func save(t testing.TB, path string, img image.Image) {
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	f, err := os.Create(path)
	require.NoError(t, err)
	defer f.Close()
	require.NoError(t, png.Encode(f, img))
}

// picture opens the strip at a frame and takes a picture of it once it has had so
// many updates.
func picture(tab *chromium.Tab, s *server, query string, updates int) *image.NRGBA {
	tab.Open(s.URL + "/strip?" + query)
	tab.Wait(fmt.Sprintf(`document.documentElement.dataset.drawn !== undefined && holdgap.state.version >= %d`, updates))
	return tab.Screenshot()
}
