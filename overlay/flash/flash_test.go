package flash

import (
	"image"
	"image/color"
	"image/draw"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/overlay/colour"
)

// frameNS returns the time of frame i at 60 frames a second.
func frameNS(i int) int64 { return int64(i) * second / 60 }

// film draws n frames at 60 a second and analyses them.
func film(t testing.TB, w, h, n int, paint func(img *image.RGBA, i int)) Report {
	t.Helper()
	return filmAt(t, 1, w, h, n, paint)
}

// small is film for pages that flash as a whole: an eighth of the size says the same.
func small(t testing.TB, n int, paint func(img *image.RGBA, i int)) Report {
	t.Helper()
	return filmAt(t, 0.125, page.Dx(), page.Dy(), n, paint)
}

var page = image.Rect(0, 0, 80, 45)

func filmAt(t testing.TB, scale float64, w, h, n int, paint func(img *image.RGBA, i int)) Report {
	t.Helper()
	a, err := New(w, h, scale)
	require.NoError(t, err)
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for i := range n {
		paint(img, i)
		require.NoError(t, a.Add(frameNS(i), img.Pix))
	}
	r, err := a.Report()
	require.NoError(t, err)
	return r
}

func fill(img *image.RGBA, r image.Rectangle, c color.Color) {
	draw.Draw(img, r, image.NewUniform(c), image.Point{}, draw.Src)
}

var (
	black = color.NRGBA{A: 255}
	white = color.NRGBA{255, 255, 255, 255}
	red   = color.NRGBA{255, 0, 0, 255}
)

// grey returns the grey of a relative luminance.
func grey(l float64) color.NRGBA { return colour.Linear{R: l, G: l, B: l}.NRGBA() }

// blink shows one colour in the first half of each period and another in the second.
func blink(r image.Rectangle, hz float64, one, two color.Color) func(*image.RGBA, int) {
	return func(img *image.RGBA, i int) {
		c := one
		if _, f := math.Modf(float64(i) / 60 * hz); f >= 0.5 {
			c = two
		}
		fill(img, r, c)
	}
}

// The threshold itself: WCAG 2.2, success criterion 2.3.1.
func TestPageThatFlashes(t *testing.T) {
	for hz, flashes := range map[float64]int{0: 0, 0.5: 1, 1: 1, 2: 2, 3: 3, 4: 4, 5: 4, 10: 4, 25: 4} {
		r := small(t, 181, blink(page, hz, black, white))
		assert.Equal(t, flashes, r.General.Flashes, "%v flashes a second", hz)
		assert.Equal(t, hz <= 3, r.Pass(), "%v flashes a second: %v", hz, r)
		assert.Zero(t, r.Red.Flashes)
	}
}

// A quarter of 341 × 256 px is 21,824 px² (WCAG 2.2, note on general flash and
// red flash thresholds).
func TestArea(t *testing.T) {
	assert.Equal(t, 21824, MaxArea)
	for _, c := range []struct {
		r    image.Rectangle
		pass bool
	}{
		{image.Rect(100, 100, 228, 270), true},  // 128 × 170 = 21,760
		{image.Rect(100, 100, 276, 224), true},  // 176 × 124 = 21,824: no more than a quarter
		{image.Rect(100, 100, 276, 225), false}, // 176 × 125
		{image.Rect(0, 0, 148, 148), false},     // in the corner
		{image.Rect(492, 212, 640, 360), false}, // in the other one
		{image.Rect(0, 0, 640, 62), true},       // long and thin: 348 × 62 = 21,576 within a tried rectangle
		{image.Rect(0, 0, 640, 65), false},      // 341 × 65 = 22,165 within any
	} {
		r := film(t, 640, 360, 62, blink(c.r, 4, black, white))
		assert.Equal(t, c.pass, r.Pass(), "%v: %v", c.r, r)
	}
}

func TestFarApartAreasDoNotAddUp(t *testing.T) {
	near := []image.Rectangle{image.Rect(0, 0, 120, 120), image.Rect(130, 0, 250, 120)}
	far := []image.Rectangle{image.Rect(0, 0, 120, 120), image.Rect(500, 0, 620, 120)}
	both := func(rs []image.Rectangle) func(*image.RGBA, int) {
		return func(img *image.RGBA, i int) {
			for _, r := range rs {
				blink(r, 4, black, white)(img, i)
			}
		}
	}
	assert.False(t, film(t, 640, 200, 91, both(near)).Pass())
	assert.True(t, film(t, 640, 200, 91, both(far)).Pass())
}

// A change is 0.1 of relative luminance or more, with the darker below 0.80.
func TestSizeOfAChange(t *testing.T) {
	for _, c := range []struct {
		dark, bright float64
		pass         bool
	}{
		{0, 0.09, true}, {0, 0.11, false}, {0.4, 0.48, true}, {0.4, 0.52, false},
		{0.78, 0.90, false}, {0.82, 1, true}, {0.85, 1, true},
	} {
		r := small(t, 91, blink(page, 4, grey(c.dark), grey(c.bright)))
		assert.Equal(t, c.pass, r.Pass(), "%v to %v: %v", c.dark, c.bright, r)
	}
}

// From peak to valley counts, however many frames lie between.
func TestFades(t *testing.T) {
	sine := func(hz, depth float64) func(*image.RGBA, int) {
		return func(img *image.RGBA, i int) {
			fill(img, page, grey(0.3+depth/2*math.Sin(2*math.Pi*hz*float64(i)/60)))
		}
	}
	assert.False(t, small(t, 121, sine(4.5, 0.2)).Pass(), "soft but fast")
	assert.True(t, small(t, 121, sine(4.5, 0.09)).Pass(), "fast but faint")
	assert.True(t, small(t, 121, sine(2, 0.5)).Pass(), "slow")
	r := small(t, 121, func(img *image.RGBA, i int) { fill(img, page, grey(float64(i)/120)) })
	assert.Zero(t, r.General.Flashes, "one fade is no flash")
	// A ripple on a fade is no flash either.
	r = small(t, 121, func(img *image.RGBA, i int) {
		fill(img, page, grey(float64(i)/150+0.04*float64(i%2)))
	})
	assert.Zero(t, r.General.Flashes)
}

func TestRed(t *testing.T) {
	for _, c := range []struct {
		name     string
		one, two color.NRGBA
		pass     bool
	}{
		{"red and blue", red, color.NRGBA{0, 0, 255, 255}, false},
		{"red and black", red, black, false},
		{"red and white", red, white, false},
		{"a dark red and a dark green of equal luminance", colour.Linear{R: 0.2}.NRGBA(), colour.Linear{G: 0.0594}.NRGBA(), false},
		{"red and a darker red", red, color.NRGBA{180, 0, 0, 255}, true},
		{"blue and green", color.NRGBA{0, 0, 255, 255}, color.NRGBA{0, 128, 0, 255}, true},
		{"no saturated red: R is half of the light", colour.Linear{R: 0.2, G: 0.1, B: 0.1}.NRGBA(), color.NRGBA{0, 0, 255, 255}, true},
	} {
		r := small(t, 91, blink(page, 4, c.one, c.two))
		assert.Equal(t, c.pass, r.Red.Flashes <= MaxFlashes, "%s: %v", c.name, r)
		r = small(t, 91, blink(page, 2, c.one, c.two))
		assert.True(t, r.Pass(), "%s, twice a second: %v", c.name, r)
		r = small(t, 91, blink(image.Rect(0, 0, 12, 25), 10, c.one, c.two))
		assert.True(t, r.Pass(), "%s, small: %v", c.name, r)
	}
	// Out of red slowly, and back.
	r := small(t, 121, func(img *image.RGBA, i int) {
		s := 0.5 + 0.5*math.Sin(2*math.Pi*4.5*float64(i)/60)
		fill(img, page, colour.Linear{R: 0.2, G: 0.3 * s, B: 0.3 * s}.NRGBA())
	})
	assert.Equal(t, 4, r.Red.Flashes)
}

// Places that flash twice each within one second make four flashes there.
func TestTurns(t *testing.T) {
	one, two := image.Rect(0, 0, 150, 150), image.Rect(150, 0, 300, 150)
	turns := func(gap int) func(*image.RGBA, int) {
		return func(img *image.RGBA, i int) {
			fill(img, img.Bounds(), black)
			switch { // each flash takes 5 frames on, 5 off
			case i >= 10 && i < 15, i >= 20 && i < 25:
				fill(img, one, white)
			case i >= 30+gap && i < 35+gap, i >= 40+gap && i < 45+gap:
				fill(img, two, white)
			}
		}
	}
	r := film(t, 300, 150, 181, turns(0))
	assert.Equal(t, 4, r.General.Flashes)
	assert.Zero(t, r.General.Area, "no pixel flashes more than twice")
	assert.Equal(t, 2, film(t, 300, 150, 181, turns(60)).General.Flashes, "a second later")
}

// A picture that gives way to another is one change, though some of it gets
// brighter and some darker: seven in a second are three flashes, eight are four.
func TestCuts(t *testing.T) {
	cuts := func(count int) Report {
		return small(t, 121, func(img *image.RGBA, i int) {
			n := min(max(i-10, 0)/7, count) // how many cuts so far, 7 frames apart
			left, right := image.Rect(0, 0, 40, 45), image.Rect(40, 0, 80, 45)
			if n%2 == 1 {
				left, right = right, left
			}
			fill(img, left, black)
			fill(img, right, white)
		})
	}
	for count, flashes := range map[int]int{1: 0, 2: 1, 3: 1, 6: 3, 7: 3, 8: 4} {
		assert.Equal(t, flashes, cuts(count).General.Flashes, "%d cuts", count)
	}
}

// Stripes that move by make every pixel flash. Lengths are those of a page at a
// quarter of its size.
func TestMovingStripes(t *testing.T) {
	stripes := func(height, speed int) Report {
		return filmAt(t, 0.25, 160, 60, 121, func(img *image.RGBA, i int) {
			fill(img, img.Bounds(), black)
			for x := -24; x < 200; x += 24 {
				at := x + (i*speed)/4%24
				fill(img, image.Rect(at, 0, at+12, height), white)
			}
		})
	}
	assert.False(t, stripes(25, 8).Pass(), "five stripes a second")
	assert.True(t, stripes(25, 3).Pass(), "two stripes a second")
	assert.True(t, stripes(13, 8).Pass(), "a thin band of them")
}

// The number of changes in a sequence of luminances is the length of the
// longest subsequence whose neighbours are changes of alternating direction.
// This finds it by trying all, unlike the tracker, which goes through once.
func longestAlternation(ls []float64) int {
	best := [2][]int{make([]int, len(ls)), make([]int, len(ls))}
	longest := 0
	for i := range ls {
		for j := range i {
			d, dark := ls[i]-ls[j], min(ls[i], ls[j])
			if math.Abs(d) < 0.1 || dark >= 0.8 {
				continue
			}
			dir := 0
			if d > 0 {
				dir = 1
			}
			best[dir][i] = max(best[dir][i], best[1-dir][j]+1)
			longest = max(longest, best[dir][i])
		}
	}
	return longest
}

func TestAgainstTryingAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bytes := rapid.SliceOfN(rapid.Byte(), 1, 50).Draw(t, "greys")
		a, err := New(20, 15, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		var ls []float64
		img := image.NewRGBA(image.Rect(0, 0, 20, 15))
		for i := range 130 { // the last grey stays until a second is over
			g := bytes[min(i, len(bytes)-1)]
			fill(img, img.Bounds(), color.NRGBA{g, g, g, 255})
			if err := a.Add(frameNS(i), img.Pix); err != nil {
				t.Fatal(err)
			}
			if i < len(bytes) {
				ls = append(ls, colour.RGB(g, g, g).Luminance())
			}
		}
		r, err := a.Report()
		if err != nil {
			t.Fatal(err)
		}
		if want := min(longestAlternation(ls)/2, 4); r.General.Flashes != want {
			t.Fatalf("%d flashes found, %d by trying all of %v", r.General.Flashes, want, ls)
		}
	})
}

func TestBadFrames(t *testing.T) {
	for _, size := range [][2]int{{0, 1}, {1, -1}, {1 << 20, 1}} {
		_, err := New(size[0], size[1], 1)
		assert.Error(t, err, "%v", size)
	}
	for _, scale := range []float64{0, -1, 100, math.NaN()} {
		_, err := New(2, 2, scale)
		assert.Error(t, err, "scale %v", scale)
	}
	a, err := New(2, 2, 1)
	require.NoError(t, err)
	_, err = a.Report()
	require.ErrorIs(t, err, ErrTooShort, "no frame is no proof")
	assert.ErrorContains(t, a.Add(0, make([]byte, 15)), "15 bytes, want 16")
	pix := make([]byte, 16)
	require.NoError(t, a.Add(0, pix))
	assert.ErrorContains(t, a.Add(0, pix), "not later")
	assert.ErrorContains(t, a.Add(second/10, pix), "20 frames a second")
	for i := 1; i < 60; i++ {
		require.NoError(t, a.Add(frameNS(i), pix))
	}
	_, err = a.Report()
	require.ErrorIs(t, err, ErrTooShort)
	require.NoError(t, a.Add(frameNS(60), pix))
	r, err := a.Report()
	require.NoError(t, err)
	assert.True(t, r.Pass())
	assert.Equal(t, 61, r.Frames)
	assert.Contains(t, r.String(), "below the thresholds in 61 frames")
}

// Half the pixels along each side, and a quarter of the area.
func TestScale(t *testing.T) {
	r := image.Rect(0, 0, 64, 85) // 5,440 of 170 × 128 / 4 = 5,440
	assert.True(t, filmAt(t, 0.5, 200, 150, 62, blink(r, 4, black, white)).Pass())
	assert.False(t, filmAt(t, 0.25, 200, 150, 62, blink(r, 4, black, white)).Pass())
}

func TestReportNamesTheWorst(t *testing.T) {
	r := small(t, 91, blink(page, 4, black, white))
	assert.Positive(t, r.General.Area)
	assert.Positive(t, r.General.At)
	assert.False(t, r.General.Field.Empty())
	assert.Contains(t, r.String(), "above the thresholds")
	assert.Contains(t, r.String(), "four or more general flashes")
}

// A strip of 1920 × 240 px in which everything moves, per frame.
func BenchmarkStrip(b *testing.B) {
	a, err := New(1920, 240, 1)
	require.NoError(b, err)
	img := image.NewRGBA(image.Rect(0, 0, 1920, 240))
	i := 0
	for b.Loop() {
		fill(img, img.Bounds(), black)
		for x := -96; x < 1920; x += 96 {
			at := x + (i*8)%96
			for y := 0; y < 240; y += 40 {
				fill(img, image.Rect(at, y, at+48, y+28), white)
			}
		}
		if err := a.Add(frameNS(i), img.Pix); err != nil {
			b.Fatal(err)
		}
		i++
	}
}
