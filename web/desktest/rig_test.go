package desktest

import (
	"context"
	"encoding/json"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"

	"holdgap/capture/monotime"
	"holdgap/themes"
	"holdgap/web"
	"holdgap/web/desk"
	"holdgap/web/internal/chromium"
	"holdgap/web/live"
	"holdgap/web/settings"
)

// program is what a desk talks to.
type program struct {
	t      testing.TB
	engine *live.Engine
	store  *settings.Store
	lan    *web.LAN
	file   string // of the settings
	url    string
}

type options struct {
	lan   bool
	takes desk.Takes
}

func start(t testing.TB, o options) *program {
	t.Helper()
	dir := t.TempDir()
	p := &program{t: t, file: filepath.Join(dir, "settings.toml")}
	p.engine = live.New(live.Options{Setup: live.DefaultSetup(), Now: monotime.Now, Log: zerolog.Nop()})
	p.store = settings.Open(settings.Options{Path: p.file, Warn: p.engine.Warn, Log: zerolog.Nop()})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	guard := web.Guard{}
	if o.lan {
		p.lan, err = web.NewLAN(web.LANOptions{
			File: filepath.Join(dir, "tokens.toml"),
			// An address for documentation (RFC 5737), for the pictures.
			Addrs: func() ([]net.Addr, error) {
				return []net.Addr{&net.IPNet{IP: net.ParseIP("192.0.2.7"), Mask: net.CIDRMask(24, 32)}}, nil
			},
			Hostname: func() (string, error) { return "loom", nil },
			Log:      zerolog.Nop(),
		})
		require.NoError(t, err)
		guard.LAN = p.lan
	}
	worn := themes.NewStore("")
	var server *web.Server
	d := desk.New(desk.Options{Engine: p.engine, Store: p.store, Takes: o.takes, Themes: worn, LAN: p.lan,
		Addr: l.Addr().String(), Pads: true, Log: zerolog.Nop(),
		Learn: func(on bool) { server.Rebind(p.engine.Setup().Layout.Keys(), on) }})
	server = web.New(web.Options{Engine: p.engine, Pads: true, Themes: worn, Guard: guard, Routes: d.Routes(),
		Now: monotime.Now, Log: zerolog.Nop()})
	endApply := p.store.Subscribe(func(s settings.Snapshot) {
		setup, err := s.Settings.Current().Setup()
		require.NoError(t, err)
		setup.Theme, setup.Strip, setup.ThemeRev = s.Settings.Strip.Theme, s.Settings.Strip.Options, worn.Rev()
		setup.Chords = s.Settings.LiveChords(setup.Layout)
		require.NoError(t, p.engine.Change(setup))
		server.Rebind(setup.Layout.Keys(), p.engine.Learning())
	})
	ctx, cancel := context.WithCancel(context.Background())
	served, ran := make(chan error, 1), make(chan error, 1)
	go func() { served <- server.Serve(ctx, l) }()
	go func() { ran <- p.engine.Run(ctx) }()
	p.url = "http://" + l.Addr().String()
	t.Cleanup(func() {
		cancel()
		d.Close()
		endApply()
		require.NoError(t, <-ran)
		require.NoError(t, <-served)
		http.DefaultClient.CloseIdleConnections()
	})
	return p
}

// state asks for the desk's state as a page gets it.
func (p *program) state() desk.State {
	p.t.Helper()
	resp, err := http.Get(p.url + "/desk/state")
	require.NoError(p.t, err)
	defer resp.Body.Close()
	var s desk.State
	require.NoError(p.t, json.NewDecoder(resp.Body).Decode(&s))
	return s
}

// fakePads stands in for the Gamepad API: pads[i] is what a browser would show.
const fakePads = `
window.pads = [null, null, null, null];
navigator.getGamepads = () => window.pads.slice();
window.plug = (i, id, mapping) => {
  const values = new Array(17).fill(0);
  window.pads[i] = {
    id, index: i, connected: true, mapping, timestamp: performance.now(), axes: [0, 0, 0, 0],
    get buttons() { return values.map((v) => ({ value: v, pressed: v > 0.1, touched: v > 0 })); },
    values,
  };
};
window.unplug = (i) => { window.pads[i] = null; };
window.set = (i, button, v) => {
  window.pads[i].values[button] = v;
  window.pads[i].timestamp = performance.now();
};
window.wait = (ms) => new Promise((done) => setTimeout(done, ms));
window.tap = async (i, button) => { set(i, button, 1); await wait(60); set(i, button, 0); await wait(60); };
`

// tab is a desk in a browser, with the fake pads in place.
type tab struct {
	*chromium.Tab
	t       testing.TB
	browser *chromium.Browser
}

func open(t testing.TB, b *chromium.Browser, url string) *tab {
	t.Helper()
	v := &tab{b.Tab(t, chromium.View{W: 1280, H: 900}), t, b}
	_, err := chromedp.Call(v.Context(), emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
	require.NoError(t, err)
	_, err = chromedp.Call(v.Context(), page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: fakePads})
	require.NoError(t, err)
	v.Open(url)
	return v
}

func (b *tab) do(expr string) {
	b.t.Helper()
	b.Run("(async () => { await (" + expr + "); })()")
}

// until waits until an expression is true, and shows the page when it never is.
func (b *tab) until(expr string) {
	b.t.Helper()
	ok := chromium.Eval[bool](b.Tab, `(async () => {
		for (const end = performance.now() + 15000; performance.now() < end; await wait(10)) { try { if (`+expr+`) return true; } catch (e) {} }
		return false;
	})()`)
	if !ok {
		b.t.Fatalf("the page never came to: %s\nIt shows:\n%s", expr, chromium.Eval[string](b.Tab, "document.body.innerText"))
	}
}

func (b *tab) says(text string) {
	b.t.Helper()
	b.until("document.body.innerText.includes(" + quote(text) + ")")
}

func quote(s string) string {
	return "`" + strings.NewReplacer("`", "\\`", "\\", "\\\\").Replace(s) + "`"
}

// click clicks the middle of what a selector finds, as a person does, scrolling
// to it first. It fails when something else is in the way.
func (b *tab) click(selector string) {
	b.t.Helper()
	b.until("document.querySelector(" + quote(selector) + ") && !document.querySelector(" + quote(selector) + ").disabled")
	x, y := b.point(selector)
	b.mouse(input.DispatchMouseEventTypeMousePressed, x, y)
	b.mouse(input.DispatchMouseEventTypeMouseReleased, x, y)
}

// point scrolls to what a selector finds and returns its middle, once the page
// stands still and nothing is in the way.
func (b *tab) point(selector string) (x, y float64) {
	b.t.Helper()
	at := chromium.Eval[[]float64](b.Tab, `(async () => {
		for (let n = 0, last = ''; n < 100; n++) {
			document.querySelector(`+quote(selector)+`)?.scrollIntoView({ block: 'center', behavior: 'instant' });
			await wait(50);
			const e = document.querySelector(`+quote(selector)+`);
			if (!e) continue;
			const r = e.getBoundingClientRect();
			const x = r.left + r.width / 2, y = r.top + r.height / 2;
			const hit = document.elementFromPoint(x, y);
			const now = x + ' ' + (y + scrollY);
			if (now === last && hit && (e.contains(hit) || hit.contains(e) || hit.closest('label')?.contains(e))) return [x, y];
			last = now;
		}
		return [];
	})()`)
	if len(at) != 2 {
		b.t.Fatalf("something is in the way of %s", selector)
	}
	return at[0], at[1]
}

func (b *tab) mouse(kind input.DispatchMouseEventType, x, y float64) {
	b.t.Helper()
	_, err := chromedp.Call(b.Context(), input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: kind, X: x, Y: y, Button: input.MouseButtonLeft, ClickCount: 1})
	require.NoError(b.t, err)
}

// clickText clicks the button of this text.
func (b *tab) clickText(text string) {
	b.t.Helper()
	b.until("[...document.querySelectorAll('button')].some((e) => e.textContent === " + quote(text) + " && e.offsetParent)")
	b.Run("document.querySelectorAll('[data-test]').forEach((e) => delete e.dataset.test); [...document.querySelectorAll('button')].find((e) => e.textContent === " + quote(text) + " && e.offsetParent).dataset.test = '1'")
	b.click("[data-test]")
}

// key sends a real key through the browser's input pipeline.
func (b *tab) key(code, key, text string) {
	b.t.Helper()
	for _, kind := range []input.DispatchKeyEventType{input.DispatchKeyEventTypeKeyDown, input.DispatchKeyEventTypeKeyUp} {
		p := input.DispatchKeyEventParams{Type: kind, Code: code, Key: key, WindowsVirtualKeyCode: codes[code]}
		if kind == input.DispatchKeyEventTypeKeyDown && text != "" {
			p.Text = text
		}
		_, err := chromedp.Call(b.Context(), input.DispatchKeyEvent, p)
		require.NoError(b.t, err)
	}
}

// codes are the virtual key codes that make keys do something in a page.
var codes = map[string]int64{"Tab": 9, "Enter": 13, "Space": 32, "Escape": 27,
	"ArrowUp": 38, "ArrowDown": 40, "ArrowRight": 39, "Backspace": 8}

// fill writes over what a field holds, key by key, and leaves it.
func (b *tab) fill(selector, text string) {
	b.t.Helper()
	b.click(selector)
	b.Run("document.querySelector(" + quote(selector) + ").select()")
	_, err := chromedp.Call(b.Context(), input.InsertText, input.InsertTextParams{Text: text})
	require.NoError(b.t, err)
	b.key("Tab", "Tab", "")
}

// choose takes a choice of a list.
func (b *tab) choose(selector, value string) {
	b.t.Helper()
	b.until("document.querySelector(" + quote(selector) + ")")
	b.Run(`(() => { const e = document.querySelector(` + quote(selector) + `); e.value = ` + quote(value) + `; e.dispatchEvent(new Event('change', { bubbles: true })); })()`)
}

func ready(t testing.TB, p *program) *tab {
	b := open(t, chromium.Start(t), p.url+"/desk")
	b.until("document.body.dataset.link === 'up' && document.body.dataset.revision")
	return b
}

// current returns the profile in force.
func (p *program) current() *settings.Profile {
	s := p.state().Settings
	return s.Current()
}
