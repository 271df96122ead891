// Package stage lets tests look at the strip frame by frame: it records what a
// session says about a performance in made-up time, serves the strip, and has a
// page in Chromium draw one given frame after the other and hand over its pixels.
//
// Nothing here waits for a display: frame k is drawn from the updates that had
// come by frame k, so the same performance gives the same pictures.
package stage

import (
	"context"
	"encoding/json"
	"fmt"
	"image"
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"testing"
	"testing/synctest"
	"time"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"

	"holdgap/capture/performer"
	"holdgap/web"
	"holdgap/web/internal/chromium"
	"holdgap/web/live"
	"holdgap/web/wire"
)

// Performance is what the session said while the performer played.
type Performance struct {
	Setup   live.Setup
	Updates []wire.Update // as a viewer gets them, the first one whole
	Flashes int           // multi-presses that wanted to flash
}

// From returns the first frame of the performance.
func (p Performance) From() float64 { return p.Updates[0].F }

// Play records a performance of so many seconds. With mash the performer does
// its worst. The time is made up and costs none.
func Play(t *testing.T, seed uint64, seconds int, mash bool) Performance {
	t.Helper()
	p := Performance{Setup: live.DefaultSetup()}
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		now := func() int64 { return int64(time.Hour) + int64(time.Since(start)) }
		engine := live.New(live.Options{Setup: p.Setup, Now: now, Log: zerolog.Nop()})
		viewer, err := engine.Hub().Join()
		require.NoError(t, err)
		ctx, cancel := context.WithTimeout(t.Context(), time.Duration(seconds)*time.Second)
		defer cancel()
		done := make(chan error, 1)
		go func() {
			done <- engine.Run(ctx, live.Feed{Source: performer.NewSource(performer.SourceOptions{Seed: seed, IDs: engine.IDs(), Now: now, Mash: mash})})
		}()
		for m := range viewer.Queue() { // closed when the engine has ended
			var u wire.Update
			require.NoError(t, json.Unmarshal(m.Text, &u))
			p.Updates = append(p.Updates, u)
			for _, multi := range u.Multis {
				if multi.Flash {
					p.Flashes++
				}
			}
		}
		require.NoError(t, <-done)
		require.Zero(t, engine.Hub().Stats().Resyncs)
	})
	require.NotEmpty(t, p.Updates)
	require.True(t, p.Updates[0].Whole)
	return p
}

// Stage serves the strip and takes in the pixels of pages.
type Stage struct {
	*httptest.Server
	performance Performance
	frames      chan Frame
}

// Frame is what a page drew, not yet over any scene.
type Frame struct {
	F      float64      // in frames of the game
	Pix    *image.NRGBA // the pixels of the page's canvas
	Counts []Text       // the texts over the threads, where the page put them
}

// Text is a text on the strip: X and Y (CSS px) are its middle, Size is the
// size of its font (px). Whole says that the edge of the cloth cuts nothing off.
type Text struct {
	X, Y, Size float64
	Text       string
	Whole      bool
}

// New opens a stage for a performance; it closes with the test. Pages are those
// of the program, served by its server.
func New(t *testing.T, p Performance) *Stage {
	t.Helper()
	s := &Stage{performance: p, frames: make(chan Frame)}
	engine := live.New(live.Options{Setup: p.Setup, Now: func() int64 { return 0 }, Log: zerolog.Nop()})
	server := web.New(web.Options{
		Engine: engine,
		Now:    func() int64 { return 0 },
		Log:    zerolog.Nop(),
		Routes: s.routes(),
	})
	s.Server = httptest.NewServer(server.Handler())
	t.Cleanup(func() {
		server.Close()
		s.Server.Close()
	})
	return s
}

func (s *Stage) routes() map[string]http.Handler {
	return map[string]http.Handler{
		"GET /stage/updates": http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			_ = json.NewEncoder(w).Encode(s.performance.Updates)
		}),
		"GET /stage/blink": http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			_, _ = io.WriteString(w, blink)
		}),
		"POST /stage/frame": http.HandlerFunc(s.take),
	}
}

// take receives one frame of a page: sizes in the query, then its texts as JSON,
// then RGBA, not multiplied by opacity.
func (s *Stage) take(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	width, err1 := strconv.Atoi(q.Get("w"))
	height, err2 := strconv.Atoi(q.Get("h"))
	f, err3 := strconv.ParseFloat(q.Get("f"), 64)
	texts, err4 := strconv.Atoi(q.Get("texts"))
	if err1 != nil || err4 != nil || texts < 0 || texts > 1<<20 || err2 != nil || err3 != nil || width < 1 || height < 1 || width > 4096 || height > 4096 {
		http.Error(w, fmt.Sprintf("no frame: %q", r.URL.RawQuery), http.StatusBadRequest)
		return
	}
	frame := Frame{F: f, Pix: image.NewNRGBA(image.Rect(0, 0, width, height))}
	text := make([]byte, texts)
	_, err := io.ReadFull(r.Body, text)
	if err == nil {
		err = json.Unmarshal(text, &frame.Counts)
	}
	if err == nil {
		_, err = io.ReadFull(r.Body, frame.Pix.Pix)
	}
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	select {
	case s.frames <- frame:
	case <-r.Context().Done():
	}
}

// blink is a page whose canvas changes between black and white; the query gives
// flashes a second (hz) and the canvas's size.
const blink = `<!doctype html><html lang="en"><meta charset="utf-8"><title>blink</title><link rel="icon" href="data:,">
<style>body{margin:0}canvas{display:block}</style><canvas id="cloth"></canvas><script>
const q = new URLSearchParams(location.search), hz = Number(q.get('hz'));
const canvas = document.getElementById('cloth'), ctx = canvas.getContext('2d');
canvas.width = innerWidth; canvas.height = innerHeight;
window.holdgap = { state: {}, scene: { texts: { items: [], n: 0 }, clip: {} }, redraw(f) {
  ctx.fillStyle = (f / 60 * hz) % 1 < 0.5 ? 'black' : 'white';
  ctx.fillRect(0, 0, canvas.width, canvas.height);
} };
document.documentElement.dataset.drawn = '';
</script>`

// Film has a tab draw count frames from the performance's frame from on, step
// frames of the game apart, and calls each with every one in order. The query is
// that of the strip's address. The image is each's to keep.
func (s *Stage) Film(tab *chromium.Tab, query string, from, step float64, count int, each func(i int, f Frame)) {
	s.open(tab, "/strip?frame="+strconv.FormatFloat(from, 'f', -1, 64)+"&"+query, from, step, count, each)
}

// FilmBlink is Film for a page that flashes so many times a second.
func (s *Stage) FilmBlink(tab *chromium.Tab, hz float64, count int, each func(i int, f Frame)) {
	s.open(tab, fmt.Sprintf("/stage/blink?hz=%v", hz), 0, 1, count, each)
}

func (s *Stage) open(tab *chromium.Tab, address string, from, step float64, count int, each func(i int, f Frame)) {
	tab.Open(s.URL + address)
	tab.Wait(`document.documentElement.dataset.drawn !== undefined`)
	tab.Run(`(async () => {
		const { apply } = await import('/static/lib/state.js');
		const updates = await (await fetch('/stage/updates')).json();
		const canvas = document.getElementById('cloth');
		let next = 0;
		window.stage = async (f) => {
			while (next < updates.length && updates[next].f <= f) apply(holdgap.state, updates[next++]);
			holdgap.redraw(f);
			const { width, height } = canvas;
			// As a blob, since the driver is told of every other body as text.
			const { data } = canvas.getContext('2d').getImageData(0, 0, width, height);
			const { texts, clip } = holdgap.scene;
			const list = texts.items.slice(0, texts.n).map((b) => ({ X: b.x, Y: b.y, Size: b.r, Text: b.text,
				Whole: b.x - b.w / 2 >= clip.x && b.x + b.w / 2 <= clip.x + clip.w && b.y - b.h / 2 >= clip.y && b.y + b.h / 2 <= clip.y + clip.h }));
			const head = new TextEncoder().encode(JSON.stringify(list));
			const r = await fetch('/stage/frame?' + new URLSearchParams({ w: width, h: height, f, texts: head.length }), { method: 'POST', body: new Blob([head, data]) });
			if (!r.ok) throw new Error(await r.text());
		};
	})()`)
	tab.Run(fmt.Sprintf(`window.filming = (async () => { for (let i = 0; i < %d; i++) await stage(%v + i * %v); })(); filming.catch((e) => console.error(String(e))); 0`, count, from, step))
	for i := range count {
		select {
		case f := <-s.frames:
			each(i, f)
		case <-time.After(chromium.Patience):
			tab.Run(`filming`) // fails with what went wrong
			panic("a page stopped sending frames")
		}
	}
	tab.Run(`filming`)
}
