package striptest

import (
	"fmt"
	"testing"

	"holdgap/web/internal/chromium"
	"holdgap/web/wire"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// live opens a strip that follows the server.
func live(t testing.TB, s *server, query string) *chromium.Tab {
	tab := chromium.Start(t).Tab(t, chromium.View{W: 1280, H: 200})
	tab.Open(s.URL + "/strip?" + query)
	tab.Wait("holdgap.draws > 0")
	return tab
}

func press(n uint64, f float64, p wire.Press) wire.Update {
	p.Keys = []int{0}
	return wire.Update{V: wire.Version, N: n, F: f, Presses: []wire.Press{p}}
}

// A strip shows a press from when it goes down to when it is let go.
func TestLivePress(t *testing.T) {
	s := newServer(t, newPlay(3, action("west", 1)).at(100))
	tab := live(t, s, "")
	s.send(press(2, 100.5, wire.Press{ID: 1, Button: 0, State: wire.Pending, First: 101, Gap: -1}))
	tab.Wait("holdgap.scene.knots.n === 1")
	s.send(press(3, 101, wire.Press{ID: 1, Button: 0, State: wire.Down, First: 101, Hold: 1, Gap: -1}))
	tab.Wait(`holdgap.scene.beads.n === 1 && holdgap.scene.counts.items[0].text === "1"`)
	s.send(wire.Update{V: wire.Version, N: 4, F: 103, Held: []wire.Held{{1, 3}}})
	tab.Wait(`holdgap.scene.counts.items[0].text === "3"`)
	s.send(press(5, 104, wire.Press{ID: 1, Button: 0, State: wire.Closed, First: 101, Hold: 3, HoldSure: 0.5, Gap: -1}))
	tab.Wait(`holdgap.scene.counts.items[0].text === "~3" && holdgap.scene.beads.items[0].style === 1`)
	assert.Equal(t, 1, s.joins())
}

// When nothing happens the strip rests, and draws nothing: the last presses stay.
func TestLiveRests(t *testing.T) {
	p := newPlay(3, action("west", 1))
	p.hold(0, 90, 2)
	s := newServer(t, p.at(100))
	tab := live(t, s, "rest=4")
	tab.Wait("holdgap.scene.head === 96")
	frames := "(async () => { for (let i = 0; i < 30; i++) await new Promise(requestAnimationFrame); return holdgap.draws })()"
	before := chromium.Eval[int](tab, frames)
	assert.Equal(t, before, chromium.Eval[int](tab, frames), "redraws while it rests")
	assert.Equal(t, 1, chromium.Eval[int](tab, "holdgap.scene.beads.n"))
	s.send(press(2, 400, wire.Press{ID: 2, Button: 0, State: wire.Down, First: 400, Hold: 1, Gap: -1}))
	tab.Wait("holdgap.scene.beads.n === 2 && holdgap.scene.cuts.n === 2")
	assert.Greater(t, chromium.Eval[int](tab, frames), before)
}

// After a restart of the program, after a lost message and after nonsense the
// page is back by itself with a whole update.
func TestLiveResumes(t *testing.T) {
	s := newServer(t, newPlay(3, action("west", 1)).at(100))
	tab := live(t, s, "")
	p := newPlay(3, action("east", 1))
	p.hold(0, 200, 2)
	s.setFirst(p.at(210))
	s.drop()
	tab.Wait(`holdgap.state.setup.buttons[0].label === "east" && holdgap.state.presses.length === 1`)
	require.Equal(t, 2, s.joins())

	s.send(press(2, 220, wire.Press{ID: 2, Button: 0, State: wire.Closed, First: 219, Hold: 1, Gap: -1}))
	tab.Wait("holdgap.state.presses.length === 2")
	p.hold(0, 230, 2)
	p.hold(0, 235, 2)
	s.setFirst(p.at(240))
	s.send(press(9, 240, wire.Press{ID: 9, Button: 0, State: wire.Closed, First: 239, Hold: 1, Gap: -1})) // 3 to 8 are missing
	tab.Wait("holdgap.state.presses.length === 3 && holdgap.state.presses[2].id === 3")
	require.Equal(t, 3, s.joins())

	p.hold(0, 250, 2)
	s.setFirst(p.at(260))
	s.raw("{not JSON")
	tab.Wait("holdgap.state.presses.length === 4")
	require.Equal(t, 4, s.joins())
}

// A page of another version says so and asks for a reload, once.
func TestLiveOtherVersion(t *testing.T) {
	s := newServer(t, newPlay(3, action("west", 1)).at(100))
	tab := live(t, s, "")
	u := newPlay(3, action("west", 1)).at(100)
	u.V = wire.Version + 1
	s.setFirst(u)
	s.send(wire.Update{V: wire.Version + 1, N: 2, F: 101})
	// It reloads itself, meets the same again, and then stays as it is.
	tab.WaitAcross(`performance.getEntriesByType("navigation")[0].type === "reload" && window.holdgap !== undefined`)
	tab.Wait(`holdgap.notes().some((s) => s.includes("version 2"))`)
	assert.Equal(t, 2, s.joins())
}

// A hidden page lets the connection rest; shown again, it is up to date.
func TestLiveHidden(t *testing.T) {
	s := newServer(t, newPlay(3, action("west", 1)).at(100))
	tab := live(t, s, "")
	hide := `Object.defineProperty(document, "hidden", {value: %v, configurable: true}); document.dispatchEvent(new Event("visibilitychange"))`
	tab.Run(fmt.Sprintf(hide, true))
	p := newPlay(3, action("west", 1))
	p.hold(0, 200, 2)
	s.setFirst(p.at(210))
	s.drop()
	tab.Run("new Promise((r) => setTimeout(r, 700))") // longer than the first two attempts would wait
	assert.Equal(t, 1, s.joins(), "it stays away while it is hidden")
	tab.Run(fmt.Sprintf(hide, false))
	tab.Wait("holdgap.state.presses.length === 1")
	assert.Equal(t, 2, s.joins())
}

// The delay holds back everything by as much, and nothing less.
func TestLiveDelay(t *testing.T) {
	s := newServer(t, newPlay(3, action("west", 1)).at(100))
	tab := live(t, s, "delay=400")
	tab.Run("window.since = performance.now()")
	s.send(press(2, 100, wire.Press{ID: 1, Button: 0, State: wire.Closed, First: 99, Hold: 1, Gap: -1}))
	tab.Run(`new Promise((r) => { const look = () => holdgap.state.presses.length ? (window.took = performance.now() - window.since, r()) : requestAnimationFrame(look); look() })`)
	took := chromium.Eval[float64](tab, "window.took")
	assert.Greater(t, took, 200.0, "ms; the clock was set by the first update, a little before")
}

// A theme that is changed on disk, or on the desk, is worn at once; one that does
// not exist is told and the standard one worn.
func TestLiveTheme(t *testing.T) {
	s := newServer(t, newPlay(3, action("west", 1)).at(100))
	tab := live(t, s, "")
	setup := *newPlay(3, action("west", 1)).u.Setup
	setup.Theme, setup.ThemeRev = "jet", 2
	s.send(wire.Update{V: wire.Version, N: 2, F: 101, Setup: &setup})
	tab.Wait(`holdgap.theme().name === "jet"`)

	tab = chromium.Start(t).Tab(t, chromium.View{W: 1280, H: 200})
	tab.Allow("404")
	tab.Open(s.URL + "/strip?theme=nobody")
	tab.Wait(`holdgap.draws > 0 && holdgap.theme().name === "lantern" && holdgap.notes().some((s) => s.includes("theme=nobody: no theme named nobody"))`)
}

// Multi-presses that cover faster than flashes are allowed light up no more often
// than allowed; for who wants reduced motion they are outlined.
func TestLiveFlash(t *testing.T) {
	for _, c := range []struct {
		query   string
		reduced bool
		mark    int
	}{{"", false, 1}, {"", true, 2}, {"flash=outline", false, 2}, {"scale=4", false, 2}} {
		t.Run(fmt.Sprintf("%s reduced %v", c.query, c.reduced), func(t *testing.T) {
			p := newPlay(3, action("west", 1))
			s := newServer(t, p.at(100))
			tab := chromium.Start(t).Tab(t, chromium.View{W: 1920, H: 240 * 4, Reduced: c.reduced})
			tab.Open(s.URL + "/strip?frame=100&" + c.query)
			tab.Wait("document.documentElement.dataset.drawn === '100'")
			var n uint64 = 1
			f := int64(100)
			lit := map[float64]bool{}
			for i := 0; i < 40; i++ { // six a second
				p.hold(0, f, 1)
				p.hold(0, f+2, 1)
				m := *p.link(0, 2)
				m.Flash = true
				n++
				s.send(wire.Update{V: wire.Version, N: n, F: float64(f + 2), Presses: p.u.Presses[2*i : 2*i+2], Multis: []wire.Multi{m}})
				tab.Wait(fmt.Sprintf("holdgap.state.version === %d", n))
				tab.Run(fmt.Sprintf("holdgap.redraw(%d)", f+3))
				key := fmt.Sprintf("m%d.2", m.ID)
				marks := chromium.Eval[[]int](tab, fmt.Sprintf(`holdgap.scene.flashes.items.slice(0, holdgap.scene.flashes.n).filter((b) => b.key === %q).map((b) => b.mark)`, key))
				require.NotEmpty(t, marks)
				for _, k := range marks {
					require.Contains(t, []int{c.mark, 3}, k)
					if k == c.mark {
						lit[float64(f+2)] = true
					}
				}
				f += 10
			}
			for at := range lit {
				in := 0
				for other := range lit {
					if other >= at && other < at+60 {
						in++
					}
				}
				assert.LessOrEqual(t, in, 2, "flashes in the second after frame %g", at)
			}
			assert.GreaterOrEqual(t, len(lit), 12, "400 frames at two a second")
		})
	}
}

// Ten minutes of play leave the heap as they found it.
func TestHeapFlat(t *testing.T) {
	s := newServer(t)
	tab := chromium.Start(t).Tab(t, chromium.View{W: 1920, H: 400})
	tab.Open(s.URL + "/blank")
	type heap struct {
		Before float64 `json:"before"`
		After  float64 `json:"after"`
		Draw   float64 `json:"draw"`
		Beads  int     `json:"beads"`
	}
	h := chromium.Eval[heap](tab, with(layoutModules+" F=lib/flash.js", `
		const theme = await H.loadTheme("lantern", 1);
		const canvas = document.createElement("canvas");
		const painter = new D.Painter(canvas);
		painter.wear(theme);
		const state = T.createState(10);
		const scene = new S.Scene();
		const governor = new F.Governor();
		const o = O.readOptions("?direction=arrows&counts=holds,gaps,spacings,windows");
		const size = {w: 1920, h: 300, dpr: 1};
		const notes = [];
		const draw = (f) => { L.layout(scene, state, f, o, size, theme, painter.measure, notes); painter.draw(scene, theme, o, size, governor, 1000 / 60, state); };
		T.apply(state, {...X.SAMPLE, f: 0, presses: [], multis: [], directions: []});
		let id = 0, x = 1;
		const random = (n) => (x = (x * 16807) % 2147483647) % n;
		let beads = 0;
		const play = (from, to) => {
			for (let f = from; f < to; f++) {
				if (f % 8 === 0) {
					id++;
					const b = id % 2, press = {id, b, state: "up", first: f, hold: 1 + random(5), hold_sure: random(2), gap: id > 2 ? 1 + random(9) : -1, gap_sure: random(2), merged: random(2), keys: [random(2)]};
					T.apply(state, {v: 1, n: id, f, presses: [press]});
					T.apply(state, {v: 1, n: id, f, directions: [{id, first: f, num: 1 + random(9)}]});
					if (id > 3 && id % 3 === 0) T.apply(state, {v: 1, n: id, f, multis: [{id, b, presses: [id - 2, id], spacings: [16], first: f - 16, verdict: "covered", window: 3, covered: 6, spans: [[f - 18, f - 16], [f - 2, f]], holes: [[f - 15, f - 3]], sure: random(2), flash: true, words: "hole of " + random(20) + " frames"}]});
				}
				if (f % 6 === 0) { draw(f); beads += scene.beads.n; }
			}
		};
		const used = () => { gc(); gc(); return performance.memory.usedJSHeapSize; };
		play(0, 14000); // until every list is as long as it gets
		const before = used();
		play(14000, 50000);
		const after = used();
		// What a draw leaves for the collector, with nothing new.
		draw(50000);
		gc();
		const start = performance.memory.usedJSHeapSize;
		for (let i = 0; i < 400; i++) draw(50000);
		const left = (performance.memory.usedJSHeapSize - start) / 400;
		return {before, after, draw: left, beads};`))
	t.Logf("heap %.0f → %.0f bytes; a draw leaves %.0f bytes", h.Before, h.After, h.Draw)
	assert.Positive(t, h.Beads)
	assert.Less(t, h.After, h.Before*1.05+50_000, "bytes in use after ten minutes of play")
	// Boxes, texts and paths are kept; what is left are numbers that the engine puts
	// on the heap in passing, as it sees fit.
	assert.Less(t, h.Draw, 10_000.0, "bytes that a draw leaves behind")
}

// The page of options draws its sample and lists every option and theme.
func TestOptionsPage(t *testing.T) {
	s := newServer(t)
	b := chromium.Start(t)
	for _, dark := range []bool{false, true} {
		tab := b.Tab(t, chromium.View{W: 1000, H: 900, Dark: dark})
		tab.Open(s.URL + "/options")
		tab.Wait("document.documentElement.dataset.drawn === '1' && document.querySelectorAll('#theme-list li').length > 0")
		rows := chromium.Eval[int](tab, "document.querySelectorAll('#options tr').length")
		assert.Equal(t, chromium.Eval[int](tab, "import('/static/strip/options.js').then((m) => m.OPTIONS.length)"), rows)
		assert.Equal(t, len(builtin(t)), chromium.Eval[int](tab, "document.querySelectorAll('#theme-list li').length"))
		img := tab.Screenshot()
		lum := int(img.Pix[img.PixOffset(3, 3)])
		assert.Equal(t, dark, lum < 128, "background %d", lum)
	}
}
