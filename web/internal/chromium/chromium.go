// Package chromium runs the pages in a real browser for the tests: Debian's
// Chromium, headless, with a folder of its own that is gone afterwards.
//
// A test calls [Start] once and opens a [Tab] for each page. Whatever a page
// writes to its console as an error, and every exception that it does not catch,
// fails the test. Where there is no Chromium the test is skipped with a text that
// begins "left out:"; with HOLDGAP_STRICT=1 in the environment it fails instead.
package chromium

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// Patience is how long a step on a page may take.
const Patience = 30 * time.Second

// Browser is a running Chromium.
type Browser struct {
	ctx     context.Context
	Version string // "Chrome/156.0.8078.79"
}

// LeftOut skips the test for want of something, or fails it under
// HOLDGAP_STRICT=1.
func LeftOut(t testing.TB, format string, a ...any) {
	t.Helper()
	text := "left out: " + fmt.Sprintf(format, a...)
	if os.Getenv("HOLDGAP_STRICT") == "1" {
		t.Fatal(text)
	}
	t.Skip(text)
}

// find returns the path of Chromium.
func find() (string, error) {
	var last error
	for _, name := range []string{"chromium", "chromium-browser"} {
		p, err := exec.LookPath(name)
		if err == nil {
			return p, nil
		}
		last = err
	}
	return "", last
}

// Start starts a browser that ends with the test.
func Start(t testing.TB) *Browser {
	t.Helper()
	path, err := find()
	if err != nil {
		LeftOut(t, "no Chromium (Debian: apt-get install chromium): %v", err)
	}
	allocator, endAllocator := chromedp.NewExecAllocator(context.Background(),
		chromedp.ExecPath(path),
		chromedp.UserDataDir(t.TempDir()),
		chromedp.Headless,
		chromedp.NoSandbox,
		chromedp.DisableGPU,
		chromedp.NoFirstRun,
		chromedp.NoDefaultBrowserCheck,
		chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true),
		chromedp.Flag("disable-default-apps", true),
		chromedp.Flag("disable-extensions", true),
		chromedp.Flag("disable-breakpad", true),
		chromedp.Flag("disable-dev-shm-usage", true),
		chromedp.Flag("disable-background-timer-throttling", true),
		chromedp.Flag("disable-backgrounding-occluded-windows", true),
		chromedp.Flag("disable-renderer-backgrounding", true),
		chromedp.Flag("disable-lcd-text", true),
		chromedp.Flag("font-render-hinting", "none"),
		chromedp.Flag("force-color-profile", "srgb"),
		chromedp.Flag("force-device-scale-factor", "1"),
		chromedp.Flag("enable-precise-memory-info", true),
		chromedp.Flag("js-flags", "--expose-gc"),
		chromedp.Flag("password-store", "basic"),
	)
	ctx, endBrowser := chromedp.NewContext(allocator)
	t.Cleanup(func() {
		endBrowser()
		endAllocator()
	})
	// The first step starts the browser; its context must be the long-lived one.
	v, err := chromedp.CallBrowser(ctx, browser.GetVersion, cdp.Empty{})
	if err != nil {
		t.Fatalf("starting Chromium: %v", err)
	}
	return &Browser{ctx: ctx, Version: v.Product}
}

// View is the size and the preferences that a page sees.
type View struct {
	W, H    int     // CSS px
	DPR     float64 // device pixels to a CSS pixel; 0 means 1
	Dark    bool    // prefers a dark colour scheme
	Reduced bool    // prefers reduced motion
}

// Tab is one page. Its methods fail the test on error.
type Tab struct {
	t      testing.TB
	ctx    context.Context
	cancel context.CancelFunc
	done   chan struct{}

	mu     sync.Mutex
	errors []string
	allow  []string
}

// Tab opens an empty page that closes with the test.
func (b *Browser) Tab(t testing.TB, v View) *Tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(b.ctx)
	tab := &Tab{t: t, ctx: ctx, cancel: cancel, done: make(chan struct{})}
	messages := chromedp.Console(ctx)
	go func() {
		defer close(tab.done)
		for m, err := range messages {
			if err != nil {
				return
			}
			if m.IsException() || m.Type == "error" {
				tab.mu.Lock()
				tab.errors = append(tab.errors, fmt.Sprintf("%s (%s:%d)", m.Text, m.URL, m.Line))
				tab.mu.Unlock()
			}
		}
	}()
	t.Cleanup(tab.close)
	tab.View(v)
	return tab
}

// Allow lets console errors pass that contain a text, for tests that cause them.
func (tab *Tab) Allow(text string) {
	tab.mu.Lock()
	defer tab.mu.Unlock()
	tab.allow = append(tab.allow, text)
}

// Errors returns what the page has written to its console as errors so far.
func (tab *Tab) Errors() []string {
	tab.mu.Lock()
	defer tab.mu.Unlock()
	return append([]string(nil), tab.errors...)
}

func (tab *Tab) close() {
	tab.cancel()
	<-tab.done
	for _, e := range tab.wrong() {
		tab.t.Errorf("the page's console: %s", e)
	}
}

// wrong returns the errors of the page that are not allowed.
func (tab *Tab) wrong() []string {
	tab.mu.Lock()
	defer tab.mu.Unlock()
	var wrong []string
next:
	for _, e := range tab.errors {
		for _, a := range tab.allow {
			if strings.Contains(e, a) {
				continue next
			}
		}
		wrong = append(wrong, e)
	}
	return wrong
}

// step runs one thing with a limit on its time.
func (tab *Tab) step(what string, f func(ctx context.Context) error) {
	tab.t.Helper()
	ctx, cancel := context.WithTimeout(tab.ctx, Patience)
	defer cancel()
	if err := f(ctx); err != nil {
		tab.t.Fatalf("%s: %v; the page's console: %q", what, err, tab.Errors())
	}
}

// clearColour keeps the zero of an alpha, which the library.s own type would
// leave out, to an opaque background.
type (
	clearColour struct {
		Color map[string]float64 `json:"color"`
	}
)

var setBackground = cdp.Command[clearColour, cdp.Empty]{Method: emulation.CommandSetDefaultBackgroundColorOverride}

// View changes size and preferences.
func (tab *Tab) View(v View) {
	tab.t.Helper()
	if v.DPR == 0 {
		v.DPR = 1
	}
	scheme, motion := "light", "no-preference"
	if v.Dark {
		scheme = "dark"
	}
	if v.Reduced {
		motion = "reduce"
	}
	tab.step("setting the view", func(ctx context.Context) error {
		if _, err := chromedp.Call(tab.ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{
			Width: int64(v.W), Height: int64(v.H), DeviceScaleFactor: v.DPR,
		}); err != nil {
			return err
		}
		if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{
				{Name: "prefers-color-scheme", Value: scheme},
				{Name: "prefers-reduced-motion", Value: motion},
			},
		}); err != nil {
			return err
		}
		_, err := chromedp.Call(ctx, setBackground, clearColour{map[string]float64{"r": 0, "g": 0, "b": 0, "a": 0}})
		return err
	})
}

// Open goes to an address and waits until it has loaded.
func (tab *Tab) Open(url string) {
	tab.t.Helper()
	tab.step("opening "+url, func(ctx context.Context) error { return chromedp.Do(ctx, chromedp.Navigate(url)) })
}

// Run evaluates JavaScript (a promise is awaited) and drops its value.
func (tab *Tab) Run(js string) {
	tab.t.Helper()
	tab.step("running "+js, func(ctx context.Context) error {
		return chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](js, chromedp.EvalAwaitPromise))
	})
}

// Eval evaluates JavaScript (a promise is awaited) to a value.
func Eval[T any](tab *Tab, js string) T {
	tab.t.Helper()
	var v T
	tab.step("evaluating "+js, func(ctx context.Context) error {
		raw, err := chromedp.Run(ctx, chromedp.Evaluate[[]byte](js, chromedp.EvalAwaitPromise))
		if err != nil {
			return err
		}
		return json.Unmarshal(raw, &v)
	})
	return v
}

// Wait waits until JavaScript yields something true. It gives up as soon as the
// page has written an error that is not allowed.
func (tab *Tab) Wait(js string) {
	tab.t.Helper()
	tab.wait(js, false)
}

// WaitAcross is Wait for a page that may load anew meanwhile.
func (tab *Tab) WaitAcross(js string) {
	tab.t.Helper()
	tab.wait(js, true)
}

func (tab *Tab) wait(js string, across bool) {
	tab.t.Helper()
	tab.step("waiting for "+js, func(ctx context.Context) error {
		for {
			_, err := chromedp.Run(ctx, chromedp.Poll[bool]("Boolean("+js+")", chromedp.WithPollingInterval(10*time.Millisecond), chromedp.WithPollingTimeout(time.Second)))
			switch {
			case err == nil || ctx.Err() != nil:
				return err
			case !across && !errors.Is(err, chromedp.ErrPollingTimeout):
				return err
			case len(tab.wrong()) > 0:
				return errors.New("the page failed meanwhile")
			}
		}
	})
}

// Do runs chromedp's own actions, such as clicks.
func (tab *Tab) Do(actions ...chromedp.Action[chromedp.Void]) {
	tab.t.Helper()
	tab.step("acting on the page", func(ctx context.Context) error { return chromedp.Do(ctx, actions...) })
}

// Screenshot takes a picture; where the page has no background it is transparent.
func (tab *Tab) Screenshot() *image.NRGBA {
	tab.t.Helper()
	var out *image.NRGBA
	tab.step("taking a picture", func(ctx context.Context) error {
		yes := true
		r, err := chromedp.Call(ctx, page.CaptureScreenshot, page.CaptureScreenshotParams{
			Format: page.CaptureScreenshotFormatPng, FromSurface: &yes,
		})
		if err != nil {
			return err
		}
		img, err := png.Decode(bytes.NewReader(r.Data))
		if err != nil {
			return err
		}
		n, ok := img.(*image.NRGBA)
		if !ok {
			n = image.NewNRGBA(img.Bounds())
			draw.Draw(n, n.Bounds(), img, img.Bounds().Min, draw.Src)
		}
		out = n
		return nil
	})
	return out
}

// Context is the tab's chromedp context, for protocol commands of other kinds.
func (tab *Tab) Context() context.Context { return tab.ctx }
