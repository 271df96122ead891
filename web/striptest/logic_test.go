package striptest

import (
	"fmt"
	"strings"
	"testing"

	"holdgap/web/internal/chromium"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// page is a tab in which the modules can be called, without a strip.
func page(t testing.TB) *chromium.Tab {
	b := chromium.Start(t)
	s := newServer(t)
	tab := b.Tab(t, chromium.View{W: 800, H: 200})
	tab.Open(s.URL + "/blank")
	return tab
}

// with evaluates a function body in which modules are bound to names:
// "options=strip/options.js".
func with(modules, body string) string {
	var imports strings.Builder
	for _, m := range strings.Fields(modules) {
		name, path, _ := strings.Cut(m, "=")
		fmt.Fprintf(&imports, "const %s = await import('/static/%s');\n", name, path)
	}
	return "(async () => {" + imports.String() + body + "})()"
}

func TestOptions(t *testing.T) {
	tab := page(t)
	type read struct {
		Frames  float64  `json:"frames"`
		Delay   float64  `json:"delay"`
		Scale   float64  `json:"scale"`
		Motion  string   `json:"motion"`
		Flash   string   `json:"flash"`
		Holds   bool     `json:"holds"`
		Spaces  bool     `json:"spacings"`
		Back    string   `json:"background"`
		Buttons []string `json:"buttons"`
		Wrong   []string `json:"wrong"`
	}
	get := func(query string, reduced bool) read {
		return chromium.Eval[read](tab, with("m=strip/options.js", fmt.Sprintf("return m.readOptions(%q, %v);", query, reduced)))
	}
	o := get("", false)
	assert.Empty(t, o.Wrong)
	assert.Equal(t, "pull", o.Motion)
	assert.Equal(t, "fill", o.Flash)
	assert.Nil(t, o.Buttons)
	assert.True(t, o.Holds)
	assert.False(t, o.Spaces)

	o = get("?frames=72&delay=5000&scale=1.5&buttons=east,%20my%20kick&background=10201C&counts=spacings&motion=still", false)
	assert.Empty(t, o.Wrong)
	assert.Equal(t, read{Frames: 72, Delay: 5000, Scale: 1.5, Motion: "still", Flash: "fill", Spaces: true, Back: "#10201C", Buttons: []string{"east", "my kick"}, Wrong: []string{}}, o)

	// Who asks for reduced motion gets it, unless the address is explicit.
	o = get("", true)
	assert.Equal(t, "still", o.Motion)
	assert.Equal(t, "outline", o.Flash)
	assert.Equal(t, "pull", get("?motion=pull", true).Motion)
	assert.Equal(t, "outline", get("?flash=fill", true).Flash)
	assert.Equal(t, "off", get("?flash=off", true).Flash)

	for query, want := range map[string]string{
		"frames=7":                           "frames=7: must be auto or a whole number from 36 to 240; using auto",
		"frames=":                            "frames=: must be auto or a whole number",
		"frames=22.5":                        "must be auto or a whole number",
		"delay=5001":                         "delay=5001: must be a number from 0 to 5000; using 0",
		"delay=-1":                           "delay=-1: must be a number from 0 to 5000",
		"scale=NaN":                          "scale=NaN: must be a number from 0.5 to 4; using 1",
		"scale=1e999":                        "must be a number from 0.5 to 4",
		"mirror=yes":                         "mirror=yes: must be 0 or 1; using 0",
		"motion=fast":                        "motion=fast: must be pull, scroll or still; using pull",
		"counts=holds,hops":                  "hops is not one of holds, gaps, spacings or windows",
		"counts=,":                           "name at least one, or write none",
		"buttons=":                           "buttons=: name at least one; using auto",
		"background=blue":                    "background=blue: must be transparent, theme or a colour such as 10201c",
		"theme=../x":                         "theme=../x: must be the name of a theme, in small letters; using the desk’s",
		"shine=1":                            "shine: no such option; see /options",
		"delay=1&delay=2":                    "delay: given twice; using the first",
		"motion=" + strings.Repeat("x", 300): "motion=xxxxxxxxxxxxxxxxxxxxxxx…: must be",
	} {
		o := get("?"+query, false)
		if assert.Len(t, o.Wrong, 1, query) {
			assert.Contains(t, o.Wrong[0], want)
		}
	}
	// Every option's usual value is one that it takes, and has words of help.
	assert.Empty(t, chromium.Eval[[]string](tab, with("m=strip/options.js", `
		return m.OPTIONS.filter((o) => m.readOptions("?" + o.name + "=" + o.normal).wrong.length > 0 && o.normal !== "" || o.help.length < 20).map((o) => o.name);`)))
}

// A message that was delayed can only make the clock late, never early; the
// least delayed of the last seconds wins, and a slower one does after them.
func TestClock(t *testing.T) {
	tab := page(t)
	got := chromium.Eval[[]float64](tab, with("m=lib/clock.js", `
		const c = new m.Clock(1000 / 60);
		const truth = (ms) => 1e9 + ms * 60 / 1000;
		const worst = [0, 0, 0];
		let seed = 1;
		const random = () => (seed = (seed * 16807) % 2147483647) / 2147483647;
		for (let ms = 0; ms < 60000; ms += 8) {
			const delay = 2 + 30 * random() ** 2;
			c.observe(truth(ms), ms + delay);
			if (ms < 2000) continue;
			const off = c.frame(ms + delay) - truth(ms + delay);
			worst[0] = Math.max(worst[0], off);    // ahead
			worst[1] = Math.min(worst[1], off);    // behind
		}
		// The way gets longer by 50 ms: after 8 s the clock has followed.
		for (let ms = 60000; ms < 70000; ms += 8) c.observe(truth(ms), ms + 52);
		worst[2] = c.frame(70000) - truth(70000);
		return worst;`))
	assert.LessOrEqual(t, got[0], 1e-3, "ahead, frames")
	assert.GreaterOrEqual(t, got[1], -2.3*60/1000, "behind, frames: the least delay and a little")
	assert.InDelta(t, -52.0*60/1000, got[2], 1e-3)
}

func TestState(t *testing.T) {
	tab := page(t)
	bad := chromium.Eval[[]string](tab, with("m=lib/state.js", `
		const bad = [];
		const is = (ok, what) => { if (!ok) bad.push(what); };
		const press = (id, b, first, hold, state = "up") => ({id, b, state, first, hold, gap: -1, keys: []});
		const whole = (f, more) => ({v: 1, n: 1, f, whole: true, setup: {frame_ms: 16, buttons: []}, status: {}, ...more});
		const s = m.createState(10);
		m.apply(s, whole(100, {presses: [press(1, 0, 90, 3), press(2, 0, 96, 2)]}));
		is(s.presses.length === 2, "whole");
		m.apply(s, {v: 1, n: 2, f: 101, presses: [press(3, 1, 101, 0, "pending")]});
		is(s.open === 1 && s.seen[1] && s.presses.length === 3, "pending");
		m.apply(s, {v: 1, n: 3, f: 103, presses: [press(3, 1, 101, 1, "down")], held: [[3, 2], [1, 9]]});
		is(m.find(s.presses, 3).hold === 2, "held");
		is(m.find(s.presses, 1).hold === 3, "a count so far does not belie a hold that is over");
		m.apply(s, {v: 1, n: 4, f: 104, presses: [press(3, 1, 101, 3)]});
		is(s.open === 0 && m.find(s.presses, 3).state === "up" && s.presses.length === 3, "replaced by id");
		m.apply(s, {v: 1, n: 5, f: 104, presses: [press(5, 1, 120, 3)]});
		m.apply(s, {v: 1, n: 6, f: 104, presses: [press(4, 1, 110, 3)]});
		is(s.presses.map((p) => p.id).join() === "1,2,3,4,5", "in order of ids");
		m.apply(s, {v: 1, n: 7, f: 130, multis: [{id: 1, b: 1, presses: [4, 5], spacings: [10], first: 110, verdict: "covered", window: 3, covered: 6, spans: [[108, 110]], sure: 1, flash: true, words: ""}]});
		is(s.flashes.length === 1 && s.flashes[0].f === 130, "flash at its time");
		m.apply(s, whole(1000, {presses: null, multis: null, directions: null, outcomes: null}));
		is(s.presses.length === 0 && s.flashes.length === 0 && s.rests.length === 0 && s.open === 0 && !s.seen[1], "whole replaces all");
		for (let i = 1; i < 5000; i++) m.apply(s, {v: 1, n: i, f: 1000 + i, presses: [press(i, 0, 1000 + i * 30, 2)], directions: [{id: i, first: 1000 + i * 30, num: 5}], outcomes: [{id: i, open: 1000 + i * 30, close: 1001 + i * 30}]});
		is(s.presses.length <= 500 && s.directions.length <= 500 && s.outcomes.length <= 500 && s.rests.length <= 501, "bounded");
		is(m.find(s.presses, 4999) !== undefined && m.find(s.presses, 1) === undefined, "the newest stay");
		return bad;`))
	assert.Empty(t, bad)
}

// What is woven grows with the frames, never by more than they do, without a
// jump; and a whole update of the same entries gives the same lengths between
// any two frames as the single messages did.
func TestWoven(t *testing.T) {
	tab := page(t)
	bad := chromium.Eval[[]string](tab, with("m=lib/state.js", `
		const bad = [];
		for (let seed = 1; seed <= 60; seed++) {
			let x = seed;
			const random = (n) => (x = (x * 16807) % 2147483647) % n;
			const live = m.createState(1 + random(30));
			const base = {v: 1, n: 1, f: 0, whole: true, setup: {frame_ms: 16, buttons: []}, status: {}};
			m.apply(live, base);
			const presses = [], directions = [];
			let f = 50;
			for (let i = 1; i <= 80; i++) {
				f += random(5) === 0 ? random(200) : random(12);
				const hold = random(20);
				if (random(3) === 0) {
					const d = {id: directions.length + 1, first: f, num: 1 + random(9)};
					directions.push(d);
					m.apply(live, {v: 1, n: i, f, directions: [d]});
				} else {
					const p = {id: presses.length + 1, b: random(3), state: "up", first: f, hold, gap: -1, keys: []};
					presses.push(p);
					m.apply(live, {v: 1, n: i, f: f - 0.5, presses: [{...p, state: "pending", hold: 0}]});
					m.apply(live, {v: 1, n: i, f: f + hold, presses: [p]});
				}
			}
			const whole = m.createState(live.rest);
			m.apply(whole, {...base, f, presses, directions});
			let last = m.woven(live, 0);
			for (let k = 0.25; k < f + 40; k += 0.25) {
				const w = m.woven(live, k);
				if (w < last - 1e-9 || w > last + 0.25 + 1e-9) { bad.push("seed " + seed + ": woven(" + k + ") = " + w + " after " + last); break; }
				last = w;
			}
			const k0 = Math.min(...presses.map((p) => p.first), ...directions.map((d) => d.first));
			for (let k = k0; k < f; k += 7) {
				const a = m.woven(live, k) - m.woven(live, k0), b = m.woven(whole, k) - m.woven(whole, k0);
				if (Math.abs(a - b) > 1e-6) { bad.push("seed " + seed + ": live " + a + ", whole " + b + " at " + k); break; }
			}
			for (const p of presses) {
				if (Math.abs(m.woven(live, p.first + p.hold - 1) - m.woven(live, p.first - 1) - p.hold) > 1e-9) { bad.push("seed " + seed + ": a hold was cut"); break; }
			}
		}
		return bad;`))
	assert.Empty(t, bad)
}

// At most so many flashes lie in any second, whatever asks, in whatever order;
// what was let through once stays so.
func TestGovernor(t *testing.T) {
	tab := page(t)
	bad := chromium.Eval[[]string](tab, with("m=lib/flash.js", `
		const bad = [];
		const is = (ok, what) => { if (!ok) bad.push(what); };
		for (const most of [1, 2, 3, 9]) {
			const g = new m.Governor({perSecond: most});
			const lit = [];
			let x = 7 + most, at = 0;
			for (let i = 0; i < 5000; i++) {
				x = (x * 16807) % 2147483647;
				at += x % 400;
				const leave = g.ask("k" + i, at - (x % 60), 1000, "#ffdf6b");
				if (leave !== "none") lit.push(at - (x % 60));
				is(g.ask("k" + i, at, 1e9, "#ff0000") === leave, "an answer changed");
			}
			lit.sort((a, b) => a - b);
			const cap = Math.min(most, 3);
			let full = 0;
			for (let i = 0; i < lit.length; i++) {
				const n = lit.filter((t) => t >= lit[i] && t < lit[i] + 1000).length;
				is(n <= cap, most + " a second: " + n + " at " + lit[i]);
				if (n === cap) full++;
			}
			is(full > 100, "the limit was never reached, so nothing was tested");
		}
		is(new m.Governor({perSecond: 2}).ask("a", 0, m.AREA, "#ffffff") === "fill", "at the limit of area");
		is(new m.Governor({perSecond: 2}).ask("a", 0, m.AREA + 1, "#ffffff") === "outline", "above the limit of area");
		is(new m.Governor({perSecond: 2}).ask("a", 0, 10, "#ff0000") === "outline", "saturated red");
		is(new m.Governor({perSecond: 2}).ask("a", 0, 10, "#ff2020") === "outline", "nearly saturated red");
		is(!m.saturatedRed("#ffb48c") && !m.saturatedRed("#000000") && m.saturatedRed("#330000"), "what is saturated red");
		is(new m.Governor({style: "outline"}).ask("a", 0, 10, "#ffffff") === "outline", "outline by setting");
		is(new m.Governor({style: "off"}).ask("a", 0, 10, "#ffffff") === "none", "off");
		// WCAG 2.2, relative luminance: white 1, black 0; #767676 on white has contrast 4.54.
		is(Math.abs(1.05 / (m.luminance("#767676") + 0.05) - 4.542) < 0.001, "luminance");
		return bad;`))
	assert.Empty(t, bad)
}

// layoutPrelude makes a layout of the canned exchange in the page.
const layoutModules = "L=strip/layout.js S=strip/scene.js O=strip/options.js T=lib/state.js H=lib/theme.js D=strip/draw.js X=options/sample.js"

// Layout is a pure function: the same state and frame give the same boxes,
// whatever was laid out before and between, and the state is not touched.
func TestLayoutPure(t *testing.T) {
	tab := page(t)
	bad := chromium.Eval[[]string](tab, with(layoutModules, `
		const bad = [];
		const theme = await H.loadTheme("lantern", 1);
		const painter = new D.Painter(document.createElement("canvas"));
		painter.wear(theme);
		const state = T.createState(10);
		T.apply(state, X.SAMPLE);
		const boxes = (scene) => JSON.stringify(Object.entries(scene).map(([k, v]) => [k, v && v.items ? v.items.slice(0, v.n) : v]));
		const queries = ["", "?axis=vertical", "?mirror=1", "?motion=scroll&rest=0", "?motion=still", "?scale=2&frames=30", "?counts=holds,gaps,spacings,windows&streak=1&direction=arrows"];
		const sizes = [{w: 1920, h: 240, dpr: 1}, {w: 333, h: 777, dpr: 2.5}];
		const first = new Map();
		const before = JSON.stringify(state);
		const used = new S.Scene();
		for (let round = 0; round < 2; round++) {
			for (const q of queries) for (const size of sizes) for (let f = 20; f < 70; f += 3.3) {
				const key = [q, size.w, f].join();
				L.layout(used, state, f, O.readOptions(q), size, theme, painter.measure, ["a note"]);
				const got = boxes(used);
				if (round === 0) first.set(key, got);
				else if (first.get(key) !== got) bad.push("changed: " + key);
			}
			first.size < 100 && bad.push("too few layouts");
		}
		if (JSON.stringify(state) !== before) bad.push("the state was touched");
		return bad;`))
	assert.Empty(t, bad)
}

// Everything lies within the strip or is cut off at its clip; edges lie on whole
// device pixels; a mirrored strip is the other one's mirror image.
func TestLayoutPlaces(t *testing.T) {
	tab := page(t)
	bad := chromium.Eval[[]string](tab, with(layoutModules, `
		const bad = [];
		const theme = await H.loadTheme("lantern", 1);
		const painter = new D.Painter(document.createElement("canvas"));
		painter.wear(theme);
		const state = T.createState(10);
		T.apply(state, X.SAMPLE);
		const lay = (q, size) => { const s = new S.Scene(); L.layout(s, state, 60.4, O.readOptions(q), size, theme, painter.measure, []); return s; };
		const list = (b) => b.items.slice(0, b.n);
		for (const size of [{w: 1280, h: 200, dpr: 1}, {w: 1280, h: 200, dpr: 1.5}, {w: 1920, h: 400, dpr: 2}]) {
			const plain = lay("", size), mirror = lay("?mirror=1", size);
			for (const kind of ["beads", "brackets", "texts", "labels", "ticks"]) {
				const a = list(plain[kind]), b = list(mirror[kind]);
				if (a.length === 0 || a.length !== b.length) { bad.push(kind + ": " + a.length + " and " + b.length); continue; }
				a.forEach((x, i) => {
					const centred = kind === "texts" || kind === "labels";
					const want = centred ? size.w - x.x : size.w - x.x - x.w;
					if (Math.abs(b[i].x - want) > 1.01 / size.dpr) bad.push(kind + " " + i + ": mirrored to " + b[i].x + ", not " + want);
					for (const v of [x.x, x.y]) if (Math.abs(v * size.dpr - Math.round(v * size.dpr)) > 1e-6) bad.push(kind + " off the pixels: " + v);
					const low = x.y + (centred ? x.h / 2 : x.h), high = x.y - (centred ? x.h / 2 : 0);
					if (high < -0.5 || low > size.h + 0.5) bad.push(kind + " " + i + " is cut off: " + high + " to " + low);
				});
			}
			for (const l of list(plain.labels)) if (l.x - l.w / 2 < -1 || l.x + l.w / 2 > plain.clip.x + 1) bad.push("label " + l.text + " is cut off");
		}
		return bad;`))
	assert.Empty(t, bad)
}

// While the cloth is not pulled, nothing on it moves; it is pulled at most twice a
// second, so that no spot changes often.
func TestLayoutPull(t *testing.T) {
	tab := page(t)
	type result struct {
		Moves int     `json:"moves"`
		Least float64 `json:"least"`
		Drawn int     `json:"drawn"`
	}
	body := `
		const theme = await H.loadTheme("lantern", 1);
		const painter = new D.Painter(document.createElement("canvas"));
		painter.wear(theme);
		const state = T.createState(10);
		const presses = [];
		for (let i = 0; i < 120; i++) presses.push({id: i + 1, b: 0, state: "up", first: 100 + 7 * i, hold: 2, hold_sure: 1, gap: i ? 5 : -1, gap_sure: 1, keys: []});
		T.apply(state, {...X.SAMPLE, f: 100, presses, directions: [], multis: []});
		const scene = new S.Scene();
		const o = O.readOptions("?motion=MOTION&frames=60");
		let moves = 0, least = Infinity, last = -Infinity, before = new Map(), drawn = 0;
		for (let f = 140; f < 690; f += 0.25) {
			L.layout(scene, state, f, o, {w: 1920, h: 200, dpr: 1}, theme, painter.measure, []);
			const now = new Map();
			// Beads come every seven frames, so a pull by thirty puts none in another's place.
			let moved = false;
			for (let i = 0; i < scene.beads.n; i++) now.set(scene.beads.items[i].x, true);
			drawn += scene.beads.n;
			if (before.size > 0 && now.size > 0) { let kept = 0; for (const x of before.keys()) if (now.has(x)) kept++; moved = kept === 0; }
			if (moved) { moves++; least = Math.min(least, f - last); last = f; }
			before = now;
		}
		return {moves, least: Math.min(least, 1e6), drawn};`
	pull := chromium.Eval[result](tab, with(layoutModules, strings.Replace(body, "MOTION", "pull", 1)))
	assert.InDelta(t, 550.0/30, pull.Moves, 1, "550 frames, pulled every 30")
	assert.GreaterOrEqual(t, pull.Least, 29.5)
	assert.Positive(t, pull.Drawn)
	still := chromium.Eval[result](tab, with(layoutModules, strings.Replace(body, "MOTION", "still", 1)))
	assert.InDelta(t, 550/53, still.Moves, 1)
	// Presses every seven frames are too thick to run past: scrolling is pulled too.
	scroll := chromium.Eval[result](tab, with(layoutModules, strings.Replace(body, "MOTION", "scroll", 1)))
	assert.Equal(t, pull.Moves, scroll.Moves)
}

// A count stays readable: on any strip a one-frame bead is wide enough for its
// digit, or the digits are made smaller.
func TestLayoutReadable(t *testing.T) {
	tab := page(t)
	type row struct {
		Query string
		W, H  int
		Digit float64
		Per   float64
	}
	rows := chromium.Eval[[]row](tab, with(layoutModules, `
		const theme = await H.loadTheme("lantern", 1);
		const painter = new D.Painter(document.createElement("canvas"));
		painter.wear(theme);
		const state = T.createState(10);
		T.apply(state, X.SAMPLE);
		const out = [];
		for (const [w, h] of [[1920, 240], [1280, 200], [960, 160], [640, 120], [320, 80]]) for (const q of ["", "?frames=90", "?frames=240", "?scale=2", "?axis=vertical"]) {
			const s = new S.Scene();
			L.layout(s, state, 60.4, O.readOptions(q), {w, h, dpr: 1}, theme, painter.measure, []);
			out.push({Query: q, W: w, H: h, Digit: s.digit, Per: s.perFrame});
		}
		return out;`))
	require.Len(t, rows, 25)
	for _, r := range rows {
		assert.LessOrEqual(t, 0.63*r.Digit, r.Per, "%+v", r) // a digit is 0.632 em wide
		if r.Query == "" && r.W >= 1280 {
			assert.GreaterOrEqual(t, r.Digit, 24.0, "%+v", r)
		}
	}
}

// Digits are of one width in the browser, so that a growing count stands still.
func TestTabularDigits(t *testing.T) {
	tab := page(t)
	w := chromium.Eval[[]float64](tab, with("H=lib/theme.js D=strip/draw.js", `
		const theme = await H.loadTheme("lantern", 1);
		const painter = new D.Painter(document.createElement("canvas"));
		painter.wear(theme);
		return [..."0123456789"].map((d) => painter.measure(d));`))
	for _, x := range w {
		assert.Equal(t, w[0], x)
	}
	assert.InDelta(t, 0.632, w[0], 0.001)
}

// Where there is no room for every thread, threads do not take each other's
// places while they are in use: rows that swap would flicker.
func TestLayoutKeepsRows(t *testing.T) {
	tab := page(t)
	got := chromium.Eval[[]string](tab, with(layoutModules, `
		const theme = await H.loadTheme("lantern", 1);
		const painter = new D.Painter(document.createElement("canvas"));
		painter.wear(theme);
		const buttons = [..."abcdefgh"].map((label) => ({label, role: "action", keys: 1}));
		const presses = [];
		// Eight buttons in turn for five seconds, then only the last two for twenty.
		for (let i = 0; i < 200; i++) presses.push({id: i + 1, b: i < 75 ? i % 8 : 6 + i % 2, state: "up", first: 100 + (i < 75 ? 4 * i : 300 + 10 * (i - 75)), hold: 2, gap: -1, keys: []});
		const state = T.createState(10);
		T.apply(state, {...X.SAMPLE, setup: {...X.SAMPLE.setup, buttons}, f: 100, presses, directions: [], multis: []});
		const scene = new S.Scene();
		const o = O.readOptions("");
		const seen = [];
		for (let f = 150; f < 1700; f += 5) {
			L.layout(scene, state, f, o, {w: 1280, h: 120, dpr: 1}, theme, painter.measure, []);
			const rows = scene.rows.map((b) => buttons[b].label).join("") + "+" + scene.left;
			if (seen[seen.length - 1] !== rows) seen.push(rows);
		}
		return seen;`))
	// First as they came; then, ten seconds after its last press, each of two gives way.
	require.Len(t, got, 3, "%v", got)
	assert.Regexp(t, `^abc\w*\+[1-9]$`, got[0])
	assert.Contains(t, got[2], "gh+")
}
