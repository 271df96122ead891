package padtest

import (
	"image"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"holdgap/web/internal/chromium"
)

// fakePads stands in for the Gamepad API: pads[i] is what a browser would show,
// with the timestamp of its last change.
const fakePads = `
window.pads = [null, null, null, null];
navigator.getGamepads = () => window.pads.slice();
window.plug = (i, id, mapping, buttons = 17, axes = 4) => {
  const values = new Array(buttons).fill(0);
  const sides = new Array(axes).fill(0);
  window.pads[i] = {
    id, index: i, connected: true, mapping, timestamp: performance.now(),
    get buttons() { return values.map((v) => ({ value: v, pressed: v > 0.1, touched: v > 0 })); },
    get axes() { return sides.slice(); },
    values, sides,
  };
};
window.unplug = (i) => { window.pads[i] = null; };
window.set = (i, button, v) => {
  const p = window.pads[i];
  p.values[button] = v;
  p.timestamp = performance.now();
  return p.timestamp;
};
window.tilt = (i, axis, v) => {
  const p = window.pads[i];
  p.sides[axis] = v;
  p.timestamp = performance.now();
};
window.wait = (ms) => new Promise((done) => setTimeout(done, ms));
`

// tab is a page of a browser, with the fake pads in place.
type tab struct {
	*chromium.Tab
	t testing.TB
}

func open(t testing.TB, url string) *tab {
	t.Helper()
	b := &tab{chromium.Start(t).Tab(t, chromium.View{W: 1000, H: 900}), t}
	_, err := chromedp.Call(b.Context(), emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
	require.NoError(t, err)
	_, err = chromedp.Call(b.Context(), page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: fakePads})
	require.NoError(t, err)
	b.Open(url)
	return b
}

// js runs an expression in the page, awaits it and returns its value.
func js[T any](b *tab, expr string) T {
	b.t.Helper()
	return chromium.Eval[T](b.Tab, expr)
}

func (b *tab) do(expr string) {
	b.t.Helper()
	b.Run("(async () => { await (" + expr + "); })()")
}

// until waits until an expression is true, and shows the page when it never is.
func (b *tab) until(expr string) {
	b.t.Helper()
	ok := js[bool](b, `(async () => {
		for (const end = performance.now() + 15000; performance.now() < end; await wait(10)) if (`+expr+`) return true;
		return false;
	})()`)
	if !ok {
		b.t.Fatalf("the page never came to: %s\nIt shows:\n%s", expr, js[string](b, "document.body.innerText"))
	}
}

func (b *tab) says(text string) {
	b.t.Helper()
	b.until("document.body.innerText.includes(" + quoteJS(text) + ")")
}

func quoteJS(s string) string {
	return "`" + strings.NewReplacer("`", "\\`", "\\", "\\\\").Replace(s) + "`"
}

// key sends a real key event through the browser's input pipeline.
func (b *tab) key(kind input.DispatchKeyEventType, code, key string, repeat bool) {
	b.t.Helper()
	p := input.DispatchKeyEventParams{Type: kind, Code: code, Key: key}
	if repeat {
		p.AutoRepeat = &repeat
	}
	_, err := chromedp.Call(b.Context(), input.DispatchKeyEvent, p)
	require.NoError(b.t, err)
}

// shoot takes a picture of the whole page at a width.
func (b *tab) shoot(width int, dark bool) *image.NRGBA {
	b.t.Helper()
	b.View(chromium.View{W: width, H: 800, Dark: dark})
	height := js[int](b, "document.documentElement.scrollHeight")
	b.View(chromium.View{W: width, H: height, Dark: dark})
	b.do("new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))")
	return b.Screenshot()
}
