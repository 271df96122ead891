package padtest

import (
	"context"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// leftOut skips a test for want of something on this machine, or fails it where
// nothing may be left out.
func leftOut(t testing.TB, why string) {
	t.Helper()
	if os.Getenv("HOLDGAP_STRICT") == "1" {
		t.Fatalf("left out: %s", why)
	}
	t.Skipf("left out: %s", why)
}

var (
	browserOnce sync.Once
	browserPath string
	browserCtx  context.Context
	browserErr  error
	browserEnd  = func() {}
)

func TestMain(m *testing.M) {
	code := m.Run()
	browserEnd()
	os.Exit(code)
}

// browser returns the one browser that all tests of the package share.
func browser(t testing.TB) context.Context {
	t.Helper()
	browserOnce.Do(func() {
		for _, name := range []string{os.Getenv("HOLDGAP_CHROMIUM"), "chromium", "chromium-browser", "google-chrome"} {
			if name == "" {
				continue
			}
			if path, err := exec.LookPath(name); err == nil {
				browserPath = path
				break
			}
		}
		if browserPath == "" {
			return
		}
		opts := append(chromedp.DefaultExecAllocatorOptions[:],
			chromedp.ExecPath(browserPath), chromedp.NoSandbox, chromedp.WindowSize(1000, 900))
		alloc, endAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
		ctx, end := chromedp.NewContext(alloc)
		browserCtx, browserEnd = ctx, func() { end(); endAlloc() }
		browserErr = chromedp.Do(ctx)
	})
	if browserPath == "" {
		leftOut(t, "no chromium on this machine: install it (Debian: apt-get install chromium)")
	}
	require.NoError(t, browserErr, "start the browser")
	return browserCtx
}

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

// tab is a tab of the browser with the fake pads in place.
type tab struct {
	t   testing.TB
	ctx context.Context
}

func open(t testing.TB, url string) *tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser(t))
	t.Cleanup(cancel)
	ctx, stop := context.WithTimeout(ctx, time.Minute)
	t.Cleanup(stop)
	b := &tab{t, ctx}
	require.NoError(t, chromedp.Do(ctx))
	_, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
	require.NoError(t, err)
	_, err = chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: fakePads})
	require.NoError(t, err)
	b.navigate(url)
	return b
}

func (b *tab) navigate(url string) {
	b.t.Helper()
	require.NoError(b.t, chromedp.Do(b.ctx, chromedp.Navigate(url)))
}

// js runs an expression in the page, awaits it and returns its value.
func js[T any](b *tab, expr string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expr, chromedp.EvalAwaitPromise))
	require.NoError(b.t, err, expr)
	return v
}

func (b *tab) do(expr string) {
	b.t.Helper()
	js[any](b, "(async () => { await ("+expr+"); return null; })()")
}

// until waits, frame by frame of the page, until an expression is true.
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
	_, err := chromedp.Call(b.ctx, input.DispatchKeyEvent, p)
	require.NoError(b.t, err)
}

func (b *tab) shoot(width, height int64, dark bool) []byte {
	b.t.Helper()
	require.NoError(b.t, chromedp.Do(b.ctx, chromedp.EmulateViewport(width, height)))
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
	})
	require.NoError(b.t, err)
	b.do("new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))")
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	require.NoError(b.t, err)
	return png
}
