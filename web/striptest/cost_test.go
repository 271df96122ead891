package striptest

import (
	"fmt"
	"testing"

	"holdgap/web/internal/chromium"
)

// costs times full redraws of a strip of 1920×240 px with 300 beads and 100
// counts against a bare canvas with 300 rectangles and 100 texts, in turns in
// the same page. One pixel is read back after each redraw, so that all of it has
// been painted.
const costs = `(async (rounds) => {
  const [{Scene}, {Painter}, {layout}, {readOptions}, {createState, apply}, {loadTheme}, {Governor}] = await Promise.all([
    import("/static/strip/scene.js"), import("/static/strip/draw.js"), import("/static/strip/layout.js"),
    import("/static/strip/options.js"), import("/static/lib/state.js"), import("/static/lib/theme.js"), import("/static/lib/flash.js")]);
  const theme = await loadTheme("lantern", 1);
  const make = () => { const c = document.createElement("canvas"); c.width = 1920; c.height = 240; document.body.append(c); return c; };
  const size = {w: 1920, h: 240, dpr: 1};
  const options = readOptions("?rest=0&frames=200&motion=scroll&direction=off&fingers=off", false);
  options.guard = false;
  const state = createState(options.rest);
  const buttons = ["west", "south", "east", "north", "tr", "tl"].map((label) => ({label, role: "action", keys: 1}));
  const presses = [];
  for (let i = 0; presses.length < 300; i++) {
    for (let b = 0; b < 6 && presses.length < 300; b++) {
      presses.push({id: presses.length + 1, b, state: "up", first: 4 * i + 1, hold: 2, hold_sure: 1, gap: b === 0 && i > 0 || b === 1 && i > 0 ? 2 : -1, gap_sure: 1, keys: [0]});
    }
  }
  apply(state, {v: 1, n: 1, f: 200, whole: true, setup: {rate: "60", frame_ms: 1000 / 60, read: "sampled", window: 0, wanted: -1, buttons, theme: "", theme_rev: 1}, presses});
  const strip = make();
  const painter = new Painter(strip);
  painter.wear(theme);
  const scene = new Scene();
  const governor = new Governor();
  options.holds = false; // 100 counts: those of the gaps
  const draw = () => {
    layout(scene, state, 200, options, size, theme, painter.measure, []);
    painter.draw(scene, theme, options, size, governor, 1000 / 60, state);
    painter.ctx.getImageData(0, 0, 1, 1);
  };
  const bare = make().getContext("2d");
  const base = () => {
    bare.clearRect(0, 0, 1920, 240);
    bare.fillStyle = "#f6e4b6";
    for (let i = 0; i < 300; i++) bare.fillRect(60 + (i % 50) * 37, 20 + Math.floor(i / 50) * 36, 18, 26);
    bare.fillStyle = "#fff4dc";
    bare.font = "700 " + scene.digit + "px '" + theme.font.family + "'";
    bare.textAlign = "center";
    for (let i = 0; i < 100; i++) bare.fillText(String(i % 10), 70 + (i % 50) * 37, 30 + Math.floor(i / 50) * 36);
    bare.getImageData(0, 0, 1, 1);
  };
  const time = (f, n) => { const t = performance.now(); for (let i = 0; i < n; i++) f(); return (performance.now() - t) / n; };
  time(draw, 50); time(base, 50);
  const a = [], b = [];
  for (let r = 0; r < rounds; r++) { a.push(time(draw, 60)); b.push(time(base, 60)); }
  const mid = (x) => Math.min(...x); // the least disturbed round
  const laid = []; for (let r = 0; r < rounds; r++) laid.push(time(() => layout(scene, state, 200, options, size, theme, painter.measure, []), 20));
  return {strip: mid(a), bare: mid(b), layout: mid(laid), beads: scene.beads.n, texts: scene.texts.n};
})`

// cost is in milliseconds a redraw.
type cost struct {
	Strip  float64 `json:"strip"`
	Bare   float64 `json:"bare"`
	Layout float64 `json:"layout"`
	Beads  int     `json:"beads"`
	Texts  int     `json:"texts"`
}

func BenchmarkRedraw(b *testing.B) {
	browser := chromium.Start(b)
	s := newServer(b)
	tab := browser.Tab(b, chromium.View{W: 1920, H: 700})
	tab.Open(s.URL + "/blank")
	for b.Loop() {
		c := chromium.Eval[cost](tab, fmt.Sprintf("%s(%d)", costs, 15))
		b.ReportMetric(c.Strip, "strip-ms")
		b.ReportMetric(c.Bare, "bare-ms")
		b.ReportMetric(c.Layout, "layout-ms")
		b.ReportMetric(c.Strip/c.Bare, "ratio")
		b.ReportMetric(float64(c.Beads), "beads")
		b.ReportMetric(float64(c.Texts), "counts")
		b.ReportMetric(0, "ns/op")
	}
}
