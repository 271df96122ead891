package legibletest

import (
	"bufio"
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/themes"
	"holdgap/web/flashtest/stage"
	"holdgap/web/internal/chromium"
)

// The stream: 1280 × 720 px at 60 frames and 2.5 Mbit a second, H.264 with
// colour at half resolution, watched at 640 × 360 px.
const (
	width, height = 1280, 720
	strip         = 220 // px: height of the strip, at the lower edge
	bitrate       = 2_500_000
	length        = 180 // frames: 3 s
	warm          = 300 // frames until the strip is full
	every         = 6   // frames between two readings
)

func needFFmpeg(t *testing.T) {
	t.Helper()
	out, err := exec.Command("ffmpeg", "-hide_banner", "-encoders").Output()
	if err != nil {
		chromium.LeftOut(t, "no ffmpeg (Debian: apt-get install ffmpeg): %v", err)
	}
	if !bytes.Contains(out, []byte("libx264")) {
		chromium.LeftOut(t, "this ffmpeg has no encoder libx264")
	}
}

// encode writes the frames that paint makes as a stream would carry them.
func encode(t *testing.T, path string, frames int, paint func(img *image.RGBA, i int)) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "ffmpeg", "-hide_banner", "-loglevel", "error", "-y",
		"-f", "rawvideo", "-pix_fmt", "rgba", "-s", fmt.Sprintf("%dx%d", width, height), "-r", "60", "-i", "-",
		"-c:v", "libx264", "-preset", "veryfast", "-pix_fmt", "yuv420p",
		"-b:v", fmt.Sprint(bitrate), "-maxrate", fmt.Sprint(bitrate), "-bufsize", fmt.Sprint(bitrate), "-g", "120", path)
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	require.NoError(t, cmd.Start())
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	for i := range frames {
		paint(img, i)
		if _, err := in.Write(img.Pix); err != nil {
			t.Errorf("frame %d: %v", i, err)
			break
		}
	}
	require.NoError(t, in.Close())
	require.NoError(t, cmd.Wait(), complaints.String())

	probe, err := exec.CommandContext(t.Context(), "ffprobe", "-v", "error", "-select_streams", "v", "-count_packets",
		"-show_entries", "stream=codec_name,pix_fmt,width,height,nb_read_packets", "-of", "csv=p=0", path).CombinedOutput()
	require.NoError(t, err, string(probe))
	require.Equal(t, fmt.Sprintf("h264,%d,%d,yuv420p,%d", width, height, frames), strings.TrimSpace(string(probe)))
	info, err := os.Stat(path)
	require.NoError(t, err)
	rate := float64(info.Size()) * 8 * 60 / float64(frames)
	require.Less(t, rate, 1.1*bitrate, "the stream is richer than it should be")
	t.Logf("%s: %.2f Mbit a second", filepath.Base(path), rate/1e6)
}

// decode calls each with every frame, w × h px, in grey.
func decode(t *testing.T, path string, w, h int, each func(i int, img *image.Gray)) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "ffmpeg", "-hide_banner", "-loglevel", "error", "-i", path,
		"-vf", fmt.Sprintf("scale=%d:%d", w, h), "-f", "rawvideo", "-pix_fmt", "gray", "-")
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	require.NoError(t, cmd.Start())
	r := bufio.NewReaderSize(out, 1<<20)
	n := 0
	for ; ; n++ {
		img := image.NewGray(image.Rect(0, 0, w, h))
		if _, err := io.ReadFull(r, img.Pix); err != nil {
			require.ErrorIs(t, err, io.EOF)
			break
		}
		each(n, img)
	}
	require.NoError(t, cmd.Wait(), complaints.String())
	require.Equal(t, length, n)
}

// score counts readings, and keeps the wrong ones.
type score struct {
	read, right int
	wrong       map[string]int
}

func (s *score) add(o score) {
	s.read += o.read
	s.right += o.right
	for k, n := range o.wrong {
		s.wrong[k] += n
	}
}

func (s score) rate() float64 { return float64(s.right) / float64(max(s.read, 1)) }

func (s score) String() string {
	return fmt.Sprintf("%d of %d counts read back, %.1f %%; wrong: %v", s.right, s.read, 100*s.rate(), s.wrong)
}

// watched encodes a strip over a scene, decodes it and reads the counts back,
// also from a picture so small that it should not be possible.
func watched(t *testing.T, tab *chromium.Tab, s *stage.Stage, p stage.Performance, theme string, bright bool) (normal, tiny score) {
	t.Helper()
	var frames []stage.Frame
	s.Film(tab, "theme="+theme, p.From()+warm, 1, length, func(_ int, f stage.Frame) { frames = append(frames, f) })
	game := newScenery(5, bright)
	path := filepath.Join(t.TempDir(), theme+".mp4")
	encode(t, path, length, func(img *image.RGBA, i int) {
		game.paint(img, i)
		r := image.Rect(0, height-strip, width, height)
		draw.Draw(img, r, frames[i].Pix, image.Point{}, draw.Over)
	})
	rd := newReader(t, tab, theme)
	read := func(sc *score, i int, img *image.Gray) {
		if i%every != every-1 {
			return
		}
		for _, c := range frames[i].Counts {
			if !c.Whole || !isCount(c.Text) {
				continue
			}
			sc.read++
			if got := rd.read(img, c.X, c.Y+height-strip, c.Size); got == c.Text {
				sc.right++
			} else {
				sc.wrong[c.Text+"→"+got]++
			}
		}
	}
	normal.wrong, tiny.wrong = map[string]int{}, map[string]int{}
	decode(t, path, width/shrink, height/shrink, func(i int, img *image.Gray) {
		read(&normal, i, img)
		keep(t, fmt.Sprintf("%s-bright-%v-%d.png", theme, bright, len(frames[i].Counts)), i == length-1, img)
	})
	decode(t, path, width/8, height/8, func(i int, img *image.Gray) { read(&tiny, i, enlarge(img, 8/shrink)) })
	return normal, tiny
}

// enlarge repeats every px.
func enlarge(img *image.Gray, by int) *image.Gray {
	out := image.NewGray(image.Rect(0, 0, img.Rect.Dx()*by, img.Rect.Dy()*by))
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			out.SetGray(x, y, img.GrayAt(x/by, y/by))
		}
	}
	return out
}

// keep writes a picture into the folder that LOOK names, to be looked at.
func keep(t *testing.T, name string, wanted bool, img image.Image) {
	dir := os.Getenv("LOOK")
	if dir == "" || !wanted {
		return
	}
	f, err := os.Create(filepath.Join(dir, name))
	require.NoError(t, err)
	require.NoError(t, png.Encode(f, img))
	require.NoError(t, f.Close())
}

// At least 95 of 100 counts of the standard theme are read back, over a dark game
// and a bright one, while the performer plays and while it mashes.
func TestCountsSurviveAStream(t *testing.T) {
	needFFmpeg(t)
	b := chromium.Start(t)
	all, tiny := score{wrong: map[string]int{}}, score{wrong: map[string]int{}}
	for _, c := range []struct {
		name         string
		seed         uint64
		mash, bright bool
	}{
		{"play over a dark game", 2, false, false},
		{"play over a bright game", 9, false, true},
		{"mashing over a dark game", 4, true, false},
		{"mashing over a bright game", 4, true, true},
	} {
		p := stage.Play(t, c.seed, (warm+length)/60+1, c.mash)
		s := stage.New(t, p)
		tab := b.Tab(t, chromium.View{W: width, H: strip})
		normal, small := watched(t, tab, s, p, themes.Standard, c.bright)
		t.Logf("%s: %v", c.name, normal)
		t.Logf("%s, at 160 × 90: %.1f %%", c.name, 100*small.rate())
		assert.GreaterOrEqual(t, normal.rate(), 0.95, "%s: %v", c.name, normal)
		all.add(normal)
		tiny.add(small)
	}
	t.Log(all)
	require.Greater(t, all.read, 500, "too few counts to say anything")
	assert.GreaterOrEqual(t, all.rate(), 0.95)
	assert.Less(t, tiny.rate(), 0.6, "who reads these reads anything")
}
