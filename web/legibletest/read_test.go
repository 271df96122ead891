package legibletest

import (
	"encoding/base64"
	"fmt"
	"image"
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"holdgap/web/internal/chromium"
)

// A reading is by template: what number, in the strip's own font, looks most
// like the spot where a count is known to be? Nothing else is known: every whole
// number up to mostRead is tried, alone and as "~" and the number.
const mostRead = 99

// shrink is how much smaller than the page the watched picture is, along each side.
const shrink = 2

// glyph is a candidate's ink in px of the page, its middle in the middle.
type glyph struct {
	text string
	w, h int
	ink  []byte // 0 none … 255 full
}

// reader knows the candidates at each font size.
type reader struct {
	t      *testing.T
	tab    *chromium.Tab
	theme  string
	glyphs map[float64][]glyph
	small  map[string]template
}

// template is a candidate's ink as it looks when shrunk, by where its middle
// lies between the px.
type template struct {
	w, h int
	x, y int // its top left from the px that holds the middle
	ink  []float64
	near []bool // ink or right beside it: what is farther off does not matter
}

func newReader(t *testing.T, tab *chromium.Tab, theme string) *reader {
	return &reader{t: t, tab: tab, theme: theme, glyphs: map[float64][]glyph{}, small: map[string]template{}}
}

// at returns the candidates of a font size, drawn by the browser in the theme's font.
func (r *reader) at(size float64) []glyph {
	if g, ok := r.glyphs[size]; ok {
		return g
	}
	type drawn struct {
		Text string
		W, H int
		Ink  string
	}
	list := chromium.Eval[[]drawn](r.tab, fmt.Sprintf(`(async () => {
		const { font } = await (await fetch('/themes/%s.json')).json();
		const face = font.weight + ' ' + %v + 'px "' + font.family + '"';
		const canvas = document.createElement('canvas');
		const ctx = canvas.getContext('2d', { willReadFrequently: true });
		const out = [];
		for (let n = 0; n <= %d; n++) for (const text of [String(n), '~' + n]) {
			ctx.font = face;
			const w = Math.ceil(ctx.measureText(text).width / 2) * 2 + 4, h = Math.ceil(%[2]v / 2) * 2 + 4;
			canvas.width = w; canvas.height = h;
			ctx.font = face; ctx.textAlign = 'center'; ctx.textBaseline = 'alphabetic'; ctx.fillStyle = '#fff';
			ctx.fillText(text, w / 2, h / 2 + ctx.measureText('0').actualBoundingBoxAscent / 2);
			const { data } = ctx.getImageData(0, 0, w, h);
			let s = '';
			for (let i = 3; i < data.length; i += 4) s += String.fromCharCode(data[i]);
			out.push({ Text: text, W: w, H: h, Ink: btoa(s) });
		}
		return out;
	})()`, r.theme, size, mostRead))
	var out []glyph
	for _, d := range list {
		ink, err := base64.StdEncoding.DecodeString(d.Ink)
		require.NoError(r.t, err)
		require.Len(r.t, ink, d.W*d.H)
		out = append(out, glyph{d.Text, d.W, d.H, ink})
	}
	r.glyphs[size] = out
	return out
}

// template shrinks a candidate whose middle lies at (x, y) page px from a corner
// of the shrunk picture's px.
func (r *reader) template(g glyph, size float64, x, y int) template {
	key := fmt.Sprint(size, g.text, x, y)
	if t, ok := r.small[key]; ok {
		return t
	}
	left, top := x-g.w/2, y-g.h/2
	x0, y0 := floorDiv(left, shrink), floorDiv(top, shrink)
	t := template{x: x0, y: y0, w: floorDiv(left+g.w-1, shrink) - x0 + 1, h: floorDiv(top+g.h-1, shrink) - y0 + 1}
	t.ink = make([]float64, t.w*t.h)
	for gy := range g.h {
		for gx := range g.w {
			i := (floorDiv(top+gy, shrink)-y0)*t.w + floorDiv(left+gx, shrink) - x0
			t.ink[i] += float64(g.ink[gy*g.w+gx])
		}
	}
	t.near = make([]bool, len(t.ink))
	for i, ink := range t.ink {
		if ink == 0 {
			continue
		}
		for y := max(i/t.w-1, 0); y <= min(i/t.w+1, t.h-1); y++ {
			for x := max(i%t.w-1, 0); x <= min(i%t.w+1, t.w-1); x++ {
				t.near[y*t.w+x] = true
			}
		}
	}
	r.small[key] = t
	return t
}

func floorDiv(a, b int) int { return int(math.Floor(float64(a) / float64(b))) }

// read returns the number that looks most like what is at (x, y) px of the page,
// in a picture shrunk from the page.
func (r *reader) read(img *image.Gray, x, y, size float64) string {
	best, said := 0.0, ""
	for _, g := range r.at(size) {
		for dy := -1; dy <= 1; dy++ { // where exactly a browser puts a text is its own affair
			for dx := -1; dx <= 1; dx++ {
				px, py := int(math.Round(x))+dx, int(math.Round(y))+dy
				cx, cy := floorDiv(px, shrink), floorDiv(py, shrink)
				t := r.template(g, size, px-cx*shrink, py-cy*shrink)
				if c := likeness(img, t, cx, cy); c > best {
					best, said = c, g.text
				}
			}
		}
	}
	return said
}

// likeness is the correlation of a template with the picture, 0 to 1: digits may
// be light on dark or dark on light.
func likeness(img *image.Gray, t template, cx, cy int) float64 {
	var n, st, sp, stt, spp, stp float64
	for y := range t.h {
		for x := range t.w {
			if !t.near[y*t.w+x] {
				continue
			}
			q := image.Pt(cx+t.x+x, cy+t.y+y)
			if !q.In(img.Rect) {
				return 0
			}
			a, b := t.ink[y*t.w+x], float64(img.GrayAt(q.X, q.Y).Y)
			n++
			st, sp, stt, spp, stp = st+a, sp+b, stt+a*a, spp+b*b, stp+a*b
		}
	}
	d := (stt*n - st*st) * (spp*n - sp*sp)
	if d <= 0 {
		return 0
	}
	return math.Abs(stp*n-st*sp) / math.Sqrt(d)
}

// isCount reports whether a text is one that the reader knows.
func isCount(text string) bool {
	if len(text) > 0 && text[0] == '~' {
		text = text[1:]
	}
	n, err := strconv.Atoi(text)
	return err == nil && n >= 0 && n <= mostRead && text == strconv.Itoa(n)
}
