package desktest

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/web"
	"holdgap/web/internal/chromium"
	"holdgap/web/settings"
)

// What is changed in the middle of a stream takes two clicks at most, and is live
// on a strip.
func TestMidStream(t *testing.T) {
	p := filled(t)
	b := ready(t, p)
	strip := open(t, b.browser, p.url+"/strip")
	strip.until("holdgap.theme()")

	b.click("#aim-1")
	strip.until("holdgap.state.setup.target === 'corner carry' && holdgap.state.setup.window === 2")
	b.click("#undo")
	strip.until("holdgap.state.setup.target === 'low to heavy'")
	b.click("#redo")
	strip.until("holdgap.state.setup.target === 'corner carry'")
	b.click("#theme-linen")
	strip.until("holdgap.theme().name === 'linen'")
	b.click("#pause")
	strip.until("holdgap.state.status.paused")
	b.says("Hands off: nothing is shown or recorded.")
	b.click("#pause")
	strip.until("!holdgap.state.status.paused")

	// A strip follows whose address does not say otherwise.
	fixed := open(t, b.browser, p.url+"/strip?scale=1.5&delay=0")
	fixed.until("holdgap.theme()")
	b.fill("#delay", "240")
	strip.until("holdgap.options.delay === 240")
	b.click("#options summary")
	b.fill("#o-scale", "2")
	strip.until("holdgap.options.scale === 2")
	fixed.until("holdgap.state.setup.strip.scale === '2'")
	require.Equal(t, []float64{0, 1.5}, chromium.Eval[[]float64](fixed.Tab, "[holdgap.options.delay, holdgap.options.scale]"))
	b.click("#o-counts-2")
	strip.until("holdgap.options.spacings && holdgap.options.holds && holdgap.options.gaps")
	b.click("#o-mirror")
	strip.until("holdgap.options.mirror")

	text, err := os.ReadFile(p.file)
	require.NoError(t, err)
	require.Contains(t, string(text), "corner carry", "and stored")

	// The address, as it is and with everything in it.
	b.until("document.getElementById('strip-address').textContent === '" + p.url + "/strip'")
	b.click("#pinned")
	b.until("document.getElementById('strip-address').textContent.includes('theme=linen')")
	address := chromium.Eval[string](b.Tab, "document.getElementById('strip-address').textContent")
	for _, part := range []string{"scale=2", "delay=240", "counts=holds,gaps,spacings,windows", "mirror=1"} {
		assert.Contains(t, address, part)
	}
	alone := open(t, b.browser, address)
	alone.until("holdgap.theme()?.name === 'linen' && holdgap.options.scale === 2")
	require.Empty(t, chromium.Eval[[]string](alone.Tab, "holdgap.options.wrong"))
}

// One change more on the desk is on the strip by the next frame that it draws.
func TestLiveWithinAFrame(t *testing.T) {
	p := filled(t)
	strip := open(t, chromium.Start(t), "about:blank")
	_, err := chromedp.Call(strip.Context(), page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: `
		window.drawn = new Promise((done) => {
			const Socket = window.WebSocket;
			window.WebSocket = class extends Socket {
				constructor(url) {
					super(url);
					this.addEventListener('message', (e) => {
						if (!e.data.includes('"scale":"3"')) return;
						const before = holdgap.draws;
						// When the next frame has run every callback.
						requestAnimationFrame(() => setTimeout(() => done(holdgap.draws > before && holdgap.options.scale === 3)));
					});
				}
			};
		});`})
	require.NoError(t, err)
	strip.Open(p.url + "/strip")
	strip.until("holdgap.theme()")
	_, err = p.store.Change(func(s *settings.Settings) error { s.Strip.Options = map[string]string{"scale": "3"}; return nil })
	require.NoError(t, err)
	require.True(t, chromium.Eval[bool](strip.Tab, "drawn"))
}

// Two desks at once: the later change wins, and the earlier desk shows it.
func TestTwoDesks(t *testing.T) {
	p := filled(t)
	a := ready(t, p)
	b := open(t, a.browser, p.url+"/desk")
	b.until("document.body.dataset.revision")
	a.fill("#t-advantage", "6")
	b.says("Changed on another desk: Targets.")
	b.until("document.getElementById('t-advantage').value === '6'")
	b.fill("#t-advantage", "8")
	a.says("Changed on another desk: Targets.")
	a.until("document.getElementById('t-advantage').value === '8'")
	a.says("Window 6 frames.")
	require.EqualValues(t, 8, p.current().Targets[0].Link.Advantage)
	// What somebody is writing is not taken from them.
	a.click("#label-1")
	a.key("KeyX", "x", "x")
	b.fill("#label-2", "middle")
	a.until("document.getElementById('label-2').value === 'middle'")
	require.True(t, chromium.Eval[bool](a.Tab, "document.activeElement.id === 'label-1' && document.getElementById('label-1').value.includes('x')"))
	_, err := p.store.Change(func(s *settings.Settings) error { s.FollowDevice = !s.FollowDevice; return nil })
	require.NoError(t, err)
	a.says("Changed outside of the desks")
}

func TestBindingConflictAndLoss(t *testing.T) {
	p := filled(t)
	b := ready(t, p)
	b.click("#bind-1")
	b.says("Press what should be “light”")
	press(p, "east")
	b.says("east is bound to heavy already.")
	b.click("#bind-move")
	b.says("east is bound to light.")
	require.Equal(t, []string{"south", "tr", "east"}, p.current().Buttons[1].Keys)
	require.Equal(t, []string{"key_j"}, p.current().Buttons[3].Keys)

	b.click("#bind-2")
	b.says("Press what should be “medium”")
	p.engine.Detach(1, 0)
	b.says("Invented Pad is gone: unplugged")
	p.engine.Attach(capture.Device{ID: 1, Name: "Invented Pad", Source: "evdev"})
	b.says("Invented Pad is there.")
	b.click("#bind-key")
	b.key("KeyK", "k", "k")
	b.says("key k is bound to medium.")
	require.Equal(t, []string{"west", "key_k"}, p.current().Buttons[2].Keys)
	require.False(t, p.engine.Learning())

	// What else is typed on the desk is bound to nothing and sent nowhere.
	b.Run("window.sent = []; const f = window.fetch; window.fetch = (u, o) => { window.sent.push(u + ' ' + (o?.body ?? '')); return f(u, o); }")
	b.click("#profiles summary")
	b.click("#profile-name")
	for _, k := range "qwer" {
		b.key("Key"+strings.ToUpper(string(k)), string(k), string(k))
	}
	require.Empty(t, chromium.Eval[[]string](b.Tab, "window.sent"))

	b.click("#bind-2")
	b.says("Press what should be “medium”")
	b.key("Escape", "Escape", "")
	b.until("!document.getElementById('bind').open")
	require.False(t, p.engine.Learning())
}

// A click that begins while what was written before it is being stored is not lost.
func TestClickAfterWriting(t *testing.T) {
	p := filled(t)
	b := ready(t, p)
	b.click("#label-1")
	b.key("KeyX", "x", "x")
	x, y := b.point("#bind-2") // the field keeps the focus
	b.mouse(input.DispatchMouseEventTypeMousePressed, x, y)
	b.until("document.body.dataset.revision > 2") // the new label has come back
	b.mouse(input.DispatchMouseEventTypeMouseReleased, x, y)
	b.says("Press what should be “medium”")
	b.until("document.getElementById('label-1').getAttribute('value').includes('x')")
}

// Everything can be done with the keyboard alone, and what has the focus shows it.
func TestKeyboardOnly(t *testing.T) {
	p := filled(t)
	b := ready(t, p)
	b.Allow("422")
	focus := func() string {
		return chromium.Eval[string](b.Tab, "document.activeElement === document.body ? 'BODY' : document.activeElement.id || document.activeElement.tagName + ' ' + document.activeElement.textContent")
	}
	b.until("document.querySelector('#cover svg')")
	// Each thing that can be used comes up, in the order of the page, with an outline.
	want := chromium.Eval[[]string](b.Tab, `[...document.querySelectorAll('a[href], button, input, select, summary, iframe, [tabindex="0"]')]
		.filter((e) => !e.disabled && e.checkVisibility() && !(e.type === 'radio' && !e.checked))
		.map((e) => e.id || e.tagName + ' ' + e.textContent)`)
	var got []string
	for range len(want) + 5 {
		b.key("Tab", "Tab", "")
		id := focus()
		if id == "BODY" || len(got) > 0 && id == got[0] {
			break
		}
		got = append(got, id)
		style := chromium.Eval[string](b.Tab, `(() => { const e = document.activeElement;
			const s = getComputedStyle(e); const l = getComputedStyle(e.closest('label, .file') ?? e);
			const n = e.nextElementSibling ? getComputedStyle(e.nextElementSibling) : s;
			return [s, l, n].some((x) => x.outlineStyle !== 'none' && parseFloat(x.outlineWidth) >= 2) ? '' : 'no outline'; })()`)
		if !strings.HasPrefix(id, "live") { // the strip in the preview has nothing to use
			require.Empty(t, style, id)
		}
	}
	require.Subset(t, got, want)

	// The order of the buttons, up and down; the focus goes along.
	b.Run("document.getElementById('down-1').focus()")
	b.key("Enter", "Enter", "\r")
	b.until("document.getElementById('label-2').value === 'light' && document.activeElement.id === 'down-2'")
	b.key("Enter", "Enter", "\r")
	b.until("document.getElementById('label-3').value === 'light' && document.activeElement.id === 'bind-3'")
	require.Equal(t, "light", p.current().Buttons[3].Label)
	b.Run("document.getElementById('unkey-3-1').focus()")
	b.key("Space", " ", " ")
	b.until("!document.getElementById('unkey-3-1')")
	require.Equal(t, []string{"south"}, p.current().Buttons[3].Keys)
	require.NotEqual(t, "BODY", focus(), "the focus is not lost with what had it")
	b.Run("document.getElementById('remove-2').focus()")
	b.key("Enter", "Enter", "\r")
	b.until("document.getElementById('remove-2').textContent === 'Really?'")
	b.key("Enter", "Enter", "\r")
	b.says("target \"low to heavy\" speaks of button \"heavy\"")
}

// The picture behind the preview stays in the page.
func TestOwnPictureIsNotUploaded(t *testing.T) {
	p := filled(t)
	b := ready(t, p)
	b.Run(`window.sent = 0; for (const w of [window]) { const f = w.fetch; w.fetch = (...a) => { window.sent++; return f(...a); }; }`)
	b.Run(`(async () => {
		const c = new OffscreenCanvas(8, 8);
		c.getContext('2d').fillRect(0, 0, 8, 8);
		const t = new DataTransfer();
		t.items.add(new File([await c.convertToBlob()], 'own.png', { type: 'image/png' }));
		const e = document.getElementById('scene-file');
		e.files = t.files;
		e.dispatchEvent(new Event('change'));
	})()`)
	b.until("document.getElementById('stage').dataset.scene === 'own' && getComputedStyle(document.getElementById('stage')).backgroundImage.startsWith('url(\"blob:')")
	require.Zero(t, chromium.Eval[int](b.Tab, "window.sent"))
	b.click("#scene-bright")
	b.until("document.getElementById('stage').style.backgroundImage === ''")
}

// Codes for other machines are shown only when asked for, and a renewed token is a
// new address.
func TestOtherMachines(t *testing.T) {
	p := filled(t)
	b := ready(t, p)
	require.NotContains(t, chromium.Eval[string](b.Tab, "document.body.innerText"), p.lan.Token(web.Control))
	b.click("#show-control")
	b.until("document.querySelector('#others img.qr')?.naturalWidth > 0")
	old := p.lan.Token(web.Control)
	b.says("/desk?k=" + old)
	b.click("#renew-control")
	require.Equal(t, old, p.lan.Token(web.Control), "asks once")
	b.click("#renew-control")
	b.until("!document.body.innerText.includes(" + quote(old) + ")")
	require.NotEqual(t, old, p.lan.Token(web.Control))
	b.says("/desk?k=" + p.lan.Token(web.Control))
}

// A bad value is refused in words, and the field shows what is in force.
func TestRefusedValue(t *testing.T) {
	p := filled(t)
	b := ready(t, p)
	b.Allow("422")
	b.choose("#rate", "other")
	b.fill("#rate-other", "fast")
	b.says("frame rate \"fast\"")
	b.until("document.getElementById('rate').value === '60'")
	b.fill("#label-1", "heavy")
	b.says("used twice")
	b.until("document.getElementById('label-1').value === 'light'")
	b.fill("#t-startup", "9")
	b.says("No link")
	b.says("The target stays as it was until these numbers link.")
	require.EqualValues(t, 3, p.current().Targets[0].Link.Startup, "the target in force has to link")
	b.fill("#t-advantage", "10")
	b.says("Window 2 frames.")
	b.until("document.body.innerText.includes('until these numbers link') === false")
	require.EqualValues(t, 9, p.current().Targets[0].Link.Startup, "and numbers are given one after another")
}

// Attempts to control from another origin, by a rebound host, and by a page that
// cannot send JSON are refused.
func TestRefusals(t *testing.T) {
	p := start(t, options{})
	ask := func(change func(*http.Request)) int {
		r, err := http.NewRequest(http.MethodPost, p.url+"/desk/do", strings.NewReader(`{"do":"pause","on":true}`))
		require.NoError(t, err)
		r.Header.Set("Content-Type", "application/json")
		change(r)
		resp, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		resp.Body.Close()
		return resp.StatusCode
	}
	require.Equal(t, http.StatusForbidden, ask(func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") }))
	require.Equal(t, http.StatusForbidden, ask(func(r *http.Request) { r.Header.Set("Origin", "null") }))
	require.Equal(t, http.StatusForbidden, ask(func(r *http.Request) { r.Host = "evil.example" }))
	require.Equal(t, http.StatusForbidden, ask(func(r *http.Request) { r.Host = "localhost.evil.example" }))
	require.Equal(t, http.StatusForbidden, ask(func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") }))
	require.Equal(t, http.StatusUnsupportedMediaType, ask(func(r *http.Request) { r.Header.Set("Content-Type", "application/x-www-form-urlencoded") }))
	require.False(t, p.engine.Status().Paused)
	require.Equal(t, http.StatusOK, ask(func(*http.Request) {}))
	require.True(t, p.engine.Status().Paused)

	l := start(t, options{lan: true})
	head := http.Header{"Host": {"192.0.2.7"}}
	r, err := http.NewRequest(http.MethodPost, l.url+"/desk/do", strings.NewReader(`{"do":"pause","on":true}`))
	require.NoError(t, err)
	r.Host = head.Get("Host")
	r.Header.Set("Content-Type", "application/json")
	resp, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	resp.Body.Close()
	require.Equal(t, http.StatusUnauthorized, resp.StatusCode, "without the token")
	require.False(t, l.engine.Status().Paused)
	require.Equal(t, os.FileMode(0o600), mode(t, filepath.Join(filepath.Dir(l.file), "tokens.toml")))
}

func mode(t *testing.T, file string) os.FileMode {
	info, err := os.Stat(file)
	require.NoError(t, err)
	return info.Mode().Perm()
}
