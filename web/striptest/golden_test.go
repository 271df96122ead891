package striptest

import (
	"flag"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"holdgap/web/internal/chromium"
	"holdgap/web/wire"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden pictures anew; look at every one before it is committed")

const (
	goldens = "testdata/golden"
	// made names the file that says which Chromium made the pictures.
	made = goldens + "/chromium.txt"
)

// Another version of Chromium may draw edges and letters a little differently:
// then up to one pixel in two hundred may differ by more than an eighth of the
// range. With the same version every pixel must be the same.
const (
	otherPart  = 1.0 / 200
	otherRange = 32
)

var (
	night = color.NRGBA{24, 28, 34, 255}
	day   = color.NRGBA{214, 226, 235, 255}
)

// shots lists the golden pictures: a play, a view and the strip's options.
func shots(t testing.TB) []shot {
	list := []shot{
		{"narrow", whole(exchange().at(1000.4)), chromium.View{W: 1280, H: 200}, "frame=1000.4"},
		{"dense-pixels", whole(exchange().at(1000.4)), chromium.View{W: 1280, H: 200, DPR: 2}, "frame=1000.4"},
		{"vertical", whole(exchange().at(1000.4)), chromium.View{W: 420, H: 900}, "frame=1000.4&axis=vertical"},
		{"vertical-mirrored", whole(exchange().at(1000.4)), chromium.View{W: 420, H: 900}, "frame=1000.4&axis=vertical&mirror=1&direction=arrows&theme=linen"},
		{"mirrored", whole(exchange().at(1000.4)), chromium.View{W: 1920, H: 240}, "frame=1000.4&mirror=1&direction=arrows"},
		{"scrolled", whole(links().at(398.5)), chromium.View{W: 1920, H: 240}, "frame=398.5&motion=scroll&rest=0&frames=64"},
		{"spacings", whole(exchange().at(1000.4)), chromium.View{W: 1920, H: 300}, "frame=1000.4&counts=holds,spacings&labels=0&words=0"},
		{"chosen", whole(exchange().at(1000.4)), chromium.View{W: 1920, H: 240}, "frame=1000.4&buttons=east,SOUTH,nothing&direction=off&scale=9&colour=red"},
		{"target", whole(target().at(620)), chromium.View{W: 1920, H: 240}, "frame=620&streak=1"},
		{"target-waiting", whole(target().at(592)), chromium.View{W: 1920, H: 240}, "frame=592"},
		{"crowded", whole(crowd().at(300)), chromium.View{W: 1280, H: 240}, "frame=300&rest=0"},
		{"fine", whole(crowd().at(300)), chromium.View{W: 1280, H: 160}, "frame=300&rest=0&frames=160&theme=linen"},
		{"mashed", whole(mash().at(275)), chromium.View{W: 1920, H: 240}, "frame=275&words=1"},
		{"lit", lit(2, 100), chromium.View{W: 1280, H: 200}, "frame=104"},
		{"lit-fading", lit(2, 100), chromium.View{W: 1280, H: 200}, "frame=117"},
		{"lit-outline", lit(1, 100), chromium.View{W: 1280, H: 200}, "frame=104&flash=outline&theme=linen"},
		{"held-long", whole(long().at(400)), chromium.View{W: 1280, H: 200}, "frame=400&background=theme&theme=ledger"},
		{"nothing-yet", whole(newPlay(3, action("west", 1)).at(10)), chromium.View{W: 1280, H: 200}, "frame=10"},
	}
	for _, name := range builtin(t) {
		list = append(list, shot{"theme-" + name, whole(exchange().at(1000.4)), chromium.View{W: 1920, H: 240}, "frame=1000.4&theme=" + name})
	}
	return list
}

type shot struct {
	name  string
	us    []wire.Update
	view  chromium.View
	query string
}

// Each golden picture shows the strip over a dark scene and, below, over a
// bright one.
func TestGolden(t *testing.T) {
	b := chromium.Start(t)
	same := false
	if was, err := os.ReadFile(made); err == nil {
		same = strings.TrimSpace(string(was)) == b.Version
	}
	if *update {
		require.NoError(t, os.MkdirAll(goldens, 0o755))
		require.NoError(t, os.WriteFile(made, []byte(b.Version+"\n"), 0o644))
	}
	known := map[string]bool{"chromium.txt": true}
	for _, s := range shots(t) {
		known[s.name+".png"] = true
		t.Run(s.name, func(t *testing.T) {
			srv := newServer(t, s.us...)
			tab := b.Tab(t, s.view)
			got := scenes(picture(tab, srv, s.query, len(s.us)))
			path := filepath.Join(goldens, s.name+".png")
			if *update {
				save(t, path, got)
				return
			}
			want := load(t, path)
			compare(t, path, got, want, same, b.Version)
		})
	}
	files, err := os.ReadDir(goldens)
	require.NoError(t, err)
	for _, f := range files {
		require.True(t, known[f.Name()], "%s belongs to no test", f.Name())
	}
}

func scenes(img *image.NRGBA) *image.NRGBA {
	b := img.Bounds()
	out := image.NewNRGBA(image.Rect(0, 0, b.Dx(), 2*b.Dy()))
	draw.Draw(out, b, over(img, night), b.Min, draw.Src)
	draw.Draw(out, b.Add(image.Pt(0, b.Dy())), over(img, day), b.Min, draw.Src)
	return out
}

func load(t testing.TB, path string) *image.NRGBA {
	f, err := os.Open(path)
	require.NoError(t, err, "write the pictures with -update, and look at them")
	defer f.Close()
	img, err := png.Decode(f)
	require.NoError(t, err)
	out := image.NewNRGBA(img.Bounds())
	draw.Draw(out, out.Bounds(), img, img.Bounds().Min, draw.Src)
	return out
}

func compare(t testing.TB, path string, got, want *image.NRGBA, same bool, version string) {
	t.Helper()
	require.Equal(t, want.Bounds(), got.Bounds(), path)
	any, far := 0, 0
	for i := 0; i < len(got.Pix); i += 4 {
		d := 0
		for c := range 4 {
			d = max(d, int(got.Pix[i+c])-int(want.Pix[i+c]), int(want.Pix[i+c])-int(got.Pix[i+c]))
		}
		if d > 0 {
			any++
		}
		if d > otherRange {
			far++
		}
	}
	pixels := len(got.Pix) / 4
	if any == 0 {
		return
	}
	if !same && float64(far) <= otherPart*float64(pixels) {
		t.Logf("%s: %d of %d pixels differ, %d by much; drawn by %s, not the version in %s", path, any, pixels, far, version, made)
		return
	}
	is := filepath.Join(t.(*testing.T).ArtifactDir(), filepath.Base(path))
	save(t, is, got)
	t.Errorf("%s: %d of %d pixels differ (%d by much); what was drawn is in %s (keep it with go test -artifacts)", path, any, pixels, far, is)
}
