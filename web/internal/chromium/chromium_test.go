package chromium_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"

	"holdgap/web/internal/chromium"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTab(t *testing.T) {
	b := chromium.Start(t)
	assert.Contains(t, b.Version, "Chrome/")
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprint(w, `<!doctype html><link rel=icon href=data:,><body style="margin:0"><div style="width:10px;height:10px;background:#0f0"></div>
<script>console.error("caused by the test"); document.body.dataset.ready = "1"</script>`)
	}))
	defer s.Close()
	tab := b.Tab(t, chromium.View{W: 40, H: 20, DPR: 2, Dark: true, Reduced: true})
	tab.Allow("caused by the test")
	tab.Open(s.URL)
	tab.Wait(`document.body.dataset.ready === "1"`)
	assert.Equal(t, 2.0, chromium.Eval[float64](tab, "Promise.resolve(devicePixelRatio)"))
	assert.True(t, chromium.Eval[bool](tab, `matchMedia("(prefers-reduced-motion: reduce)").matches && matchMedia("(prefers-color-scheme: dark)").matches`))
	img := tab.Screenshot()
	require.Equal(t, 80, img.Bounds().Dx())
	require.Equal(t, 40, img.Bounds().Dy())
	assert.Equal(t, []uint8{0, 255, 0, 255}, img.Pix[img.PixOffset(5, 5):img.PixOffset(5, 5)+4])
	assert.Equal(t, []uint8{0, 0, 0, 0}, img.Pix[img.PixOffset(60, 30):img.PixOffset(60, 30)+4], "no background must be transparent")
	require.Len(t, tab.Errors(), 1)
	assert.Contains(t, tab.Errors()[0], "caused by the test")
}
