package flashtest

import (
	"fmt"
	"image"
	"image/color"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/overlay/flash"
	"holdgap/themes"
	"holdgap/web/flashtest/stage"
	"holdgap/web/internal/chromium"
)

// scenes lie behind the strip while it is looked at.
var scenes = []scene{
	{"black", color.NRGBA{A: 255}},
	{"mid grey", color.NRGBA{R: 128, G: 128, B: 128, A: 255}},
	{"white", color.NRGBA{R: 255, G: 255, B: 255, A: 255}},
}

type scene struct {
	name   string
	colour color.NRGBA
}

// over lays a picture over one colour, mixing bytes as browsers do.
func over(img *image.NRGBA, c color.NRGBA, out []byte) []byte {
	out = out[:0]
	for i := 0; i < len(img.Pix); i += 4 {
		p := img.Pix[i : i+4 : i+4]
		switch a := uint32(p[3]); a {
		case 0:
			out = append(out, c.R, c.G, c.B, 255)
		case 255:
			out = append(out, p[0], p[1], p[2], 255)
		default:
			mix := func(top, under uint8) uint8 { return uint8((uint32(top)*a + uint32(under)*(255-a) + 127) / 255) }
			out = append(out, mix(p[0], c.R), mix(p[1], c.G), mix(p[2], c.B), 255)
		}
	}
	return out
}

// watch looks at the frames that film yields over every scene, one goroutine a
// scene, at 60 frames a second.
func watch(t *testing.T, film func(each func(int, stage.Frame))) []flash.Report {
	t.Helper()
	reports := make([]flash.Report, len(scenes))
	errs := make([]error, len(scenes))
	queues := make([]chan *image.NRGBA, len(scenes))
	var watchers sync.WaitGroup
	for s := range scenes {
		queues[s] = make(chan *image.NRGBA, 8)
		watchers.Go(func() {
			var a *flash.Analyser
			var pix []byte
			n := 0
			for img := range queues[s] {
				if a == nil && errs[s] == nil {
					a, errs[s] = flash.New(img.Rect.Dx(), img.Rect.Dy(), 1)
				}
				if errs[s] != nil {
					continue // whoever films must not be stopped
				}
				pix = over(img, scenes[s].colour, pix)
				errs[s] = a.Add(int64(n)*1_000_000_000/60, pix)
				n++
			}
			if errs[s] == nil {
				reports[s], errs[s] = a.Report()
			}
		})
	}
	film(func(_ int, f stage.Frame) {
		for _, q := range queues {
			q <- f.Pix
		}
	})
	for _, q := range queues {
		close(q)
	}
	watchers.Wait()
	for s := range scenes {
		require.NoError(t, errs[s], scenes[s].name)
	}
	return reports
}

const (
	seconds = 5
	warm    = 120 // frames until the strip is full
	filmed  = 150 // frames looked at
)

func show(t *testing.T, s *stage.Stage, p stage.Performance, b *chromium.Browser, view chromium.View, query string) []flash.Report {
	t.Helper()
	tab := b.Tab(t, view)
	reports := watch(t, func(each func(int, stage.Frame)) {
		s.Film(tab, query, p.From()+warm, 1, filmed, each)
	})
	lit := chromium.Eval[int](tab, `holdgap.state.flashes.length`)
	assert.Positive(t, lit, "%s: nothing was there to flash", query)
	for i, r := range reports {
		t.Logf("%s over %s: %v", query, scenes[i].name, r)
		assert.True(t, r.Pass(), "%s over %s: %v", query, scenes[i].name, r)
	}
	return reports
}

// Every theme stays below the thresholds of WCAG 2.2, success criterion 2.3.1,
// while the performer does its worst.
func TestNoThemeFlashesTooOften(t *testing.T) {
	b := chromium.Start(t)
	p := stage.Play(t, 7, seconds, true)
	require.Greater(t, p.Flashes, 4*seconds, "the performance must want to flash more often than is allowed")
	s := stage.New(t, p)
	for _, name := range themes.Names() {
		t.Run(name, func(t *testing.T) {
			show(t, s, p, b, chromium.View{W: 960, H: 200}, "theme="+name)
		})
	}
}

// So does each way of moving, and the largest and busiest strip that can be had.
func TestNoSettingFlashesTooOften(t *testing.T) {
	b := chromium.Start(t)
	p := stage.Play(t, 11, seconds, true)
	s := stage.New(t, p)
	wide, tall := chromium.View{W: 960, H: 200}, chromium.View{W: 300, H: 720}
	for _, c := range []struct {
		view  chromium.View
		query string
	}{
		{chromium.View{W: 1920, H: 240}, "flashes=3"},
		{wide, "motion=scroll&flashes=3"},
		{wide, "motion=still&flashes=3&frames=40"},
		{wide, "frames=20&flashes=3"},
		{chromium.View{W: 960, H: 360}, "scale=2&flashes=3&counts=holds,gaps,spacings,windows"},
		{tall, "axis=vertical&flashes=3"},
		{tall, "axis=vertical&motion=scroll&mirror=1"},
		{chromium.View{W: 960, H: 200, Reduced: true}, "theme=linen&flashes=3"},
	} {
		t.Run(c.query, func(t *testing.T) { show(t, s, p, b, c.view, c.query) })
	}
}

// The analyser sees what Chromium draws: a page that flashes four times a second
// fails, one that flashes three times passes.
func TestPageThatFlashesFails(t *testing.T) {
	b := chromium.Start(t)
	s := stage.New(t, stage.Play(t, 1, 1, false))
	for hz, pass := range map[float64]bool{3: true, 4: false} {
		tab := b.Tab(t, chromium.View{W: 480, H: 270})
		for i, r := range watch(t, func(each func(int, stage.Frame)) { s.FilmBlink(tab, hz, 121, each) }) {
			assert.Equal(t, pass, r.Pass(), "%v flashes a second over %s: %v", hz, scenes[i].name, r)
			assert.EqualValues(t, hz, r.General.Flashes)
		}
	}
}

// What the canvas hands over is what the page shows.
func TestFramesAreWhatIsSeen(t *testing.T) {
	b := chromium.Start(t)
	p := stage.Play(t, 3, 3, true)
	s := stage.New(t, p)
	tab := b.Tab(t, chromium.View{W: 800, H: 220})
	var last *image.NRGBA
	for _, at := range []float64{60, 100, 140} {
		s.Film(tab, "", p.From()+at, 1, 1, func(_ int, f stage.Frame) { last = f.Pix })
		seen := tab.Screenshot()
		require.Equal(t, seen.Rect, last.Rect)
		for _, sc := range scenes {
			require.NoError(t, same(over(seen, sc.colour, nil), over(last, sc.colour, nil)), "frame %v over %s", at, sc.name)
		}
	}
}

// same allows the rounding of one step in mixing half transparent pixels.
func same(a, b []byte) error {
	for i := range a {
		if d := int(a[i]) - int(b[i]); d < -2 || d > 2 {
			return fmt.Errorf("byte %d is %d on the page and %d in the frame", i, a[i], b[i])
		}
	}
	return nil
}
