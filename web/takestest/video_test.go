package takestest

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"github.com/chromedp/cdproto/dom"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"holdgap/overlay/frame"
	"holdgap/overlay/press"
	"holdgap/web/internal/chromium"
)

// film makes a video with ffmpeg: white in the first of its frames that can show a
// press, black otherwise. It returns its path and the frames that are white.
func film(t testing.TB, dir string, rate frame.Rate, seconds float64, at []float64) (string, []int) {
	t.Helper()
	if _, err := exec.LookPath("ffmpeg"); err != nil {
		chromium.LeftOut(t, "no ffmpeg (Debian: apt-get install ffmpeg): %v", err)
	}
	const w, h = 160, 96
	path := filepath.Join(dir, "game.webm")
	cmd := exec.Command("ffmpeg", "-v", "error", "-f", "rawvideo", "-pix_fmt", "gray", "-s", fmt.Sprintf("%dx%d", w, h), "-r", rate.String(), "-i", "-",
		"-c:v", "libvpx", "-b:v", "1M", "-deadline", "realtime", "-g", "30", path)
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	var said bytes.Buffer
	cmd.Stderr = &said
	require.NoError(t, cmd.Start())
	var white []int
	dark, bright := bytes.Repeat([]byte{16}, w*h), bytes.Repeat([]byte{235}, w*h)
	out := bufio.NewWriter(in)
	for k := 0; float64(k) < seconds*rate.Float(); k++ {
		// Frame k shows what has happened since the frame before, up to its own time.
		from, to := float64(k-1)/rate.Float(), float64(k)/rate.Float()
		b := dark
		if slices.ContainsFunc(at, func(s float64) bool { return s > from && s <= to }) {
			b, white = bright, append(white, k)
		}
		_, err := out.Write(b)
		require.NoError(t, err)
	}
	require.NoError(t, out.Flush())
	require.NoError(t, in.(io.Closer).Close())
	require.NoError(t, cmd.Wait(), said.String())
	return path, white
}

func choose(t testing.TB, tab *chromium.Tab, file string) {
	t.Helper()
	r, err := chromedp.Call(tab.Context(), runtime.Evaluate, runtime.EvaluateParams{Expression: `document.querySelector('.video-file')`})
	require.NoError(t, err)
	_, err = chromedp.Call(tab.Context(), dom.SetFileInputFiles, dom.SetFileInputFilesParams{Files: []string{file}, ObjectID: r.Result.ObjectID})
	require.NoError(t, err)
	tab.Wait(`holdgapTakes.panes[0].film.on && holdgapTakes.panes[0].film.fps > 0 && !document.querySelector('.match').hidden`)
}

// shown is the video frame in sight and how bright it is, once it has come.
const shown = `(async () => {
	const v = holdgapTakes.panes[0].film.video;
	const until = async (f) => { for (let i = 0; i < 1000 && !f(); i++) await new Promise((r) => setTimeout(r, 5)); };
	const f = holdgapTakes.panes[0].film;
	await until(() => !v.seeking && v.readyState >= 2 && (f.wanted < 0 || Math.abs(v.currentTime - (f.wanted + 0.5) / f.fps) < 2e-3));
	const c = document.createElement('canvas'); c.width = c.height = 4;
	const x = c.getContext('2d'); x.drawImage(v, 0, 0, 4, 4);
	return { Frame: holdgapTakes.panes[0].film.at, Bright: x.getImageData(1, 1, 1, 1).data[0] };
})()`

type picture struct{ Frame, Bright int }

// A video beside the take: matched by one press, both move together, and where a
// press is in the take its flash is in the video, within one video frame.
func TestVideo(t *testing.T) {
	for _, rate := range []string{"30", "60000/1001"} {
		t.Run(rate[:2], func(t *testing.T) {
			dir := t.TempDir()
			setup := linkSetup()
			record(t, dir, "filmed", 8, setup, 4, 400)
			truth := tell(8, setup, 400)
			r, err := frame.ParseRate(rate)
			require.NoError(t, err)
			// The video begins 1.2345 s into the take.
			const begins, seconds = 1.2345, 24.0
			west := setup.Layout.Index("west")
			var presses []press.Press
			var at []float64
			for id := uint64(1); id <= uint64(len(truth.presses)); id++ {
				p := truth.presses[id]
				s := float64(p.DownNS-began)/1e9 - begins
				if int(p.Button) == west && p.State == press.Closed && s > 0.2 && s < seconds-0.5 {
					presses, at = append(presses, p), append(at, s)
				}
			}
			require.Greater(t, len(presses), 8)
			path, white := film(t, dir, r, seconds, at)

			url := serve(t, dir) + "/takes#take=filmed"
			tab := open(t, url, chromium.View{W: 1500, H: 1000})
			tab.Wait(settled)
			choose(t, tab, path)
			require.Equal(t, rate, chromium.Eval[string](tab, `holdgapTakes.panes[0].film.rate`), "the video's own rate is measured")

			// One press, with none before it near, is marked in both: step the video to
			// its flash.
			m := 1
			for at[m]-at[m-1] < 0.5 {
				m++
			}
			tab.Run(`(() => { const o = document.querySelector('.only'); o.value = 'west'; o.dispatchEvent(new Event('change')) })()`)
			tab.Run(fmt.Sprintf(`holdgapTakes.panes[0].go(%d)`, presses[m].First))
			tab.Run(fmt.Sprintf(`holdgapTakes.panes[0].film.frame(%d)`, int(at[m]*r.Float())-4))
			var p picture
			for range 12 {
				if p = chromium.Eval[picture](tab, shown); p.Bright > 128 {
					break
				}
				tab.Run(`document.querySelector('[data-do="video-on"]').click()`)
			}
			require.Greater(t, p.Bright, 128, "the flash is found by eye")
			tab.Run(`document.querySelector('.match-do').click()`)
			tab.Wait(`holdgapTakes.panes[0].film.matched && !document.querySelector('.match-free').hidden`)
			offset := chromium.Eval[float64](tab, `holdgapTakes.panes[0].film.offset`)
			require.InDelta(t, begins, offset, 1/r.Float()+1e-3)

			check := func() {
				for i, pr := range presses {
					tab.Run(fmt.Sprintf(`holdgapTakes.panes[0].go(%d)`, pr.First))
					p := chromium.Eval[picture](tab, shown)
					near := false
					for _, w := range white {
						near = near || abs(w-p.Frame) <= 1
					}
					require.True(t, near, "press %d: the video shows frame %d, and white are %v", i, p.Frame, white)
					require.Equal(t, slices.Contains(white, p.Frame), p.Bright > 128, "press %d: frame %d is in sight", i, p.Frame)
				}
			}
			check()

			// Stepping the video by its own frames moves the take along.
			before := chromium.Eval[picture](tab, shown)
			for range 3 {
				tab.Run(`document.querySelector('[data-do="video-on"]').click()`)
			}
			after := chromium.Eval[picture](tab, shown)
			require.Equal(t, before.Frame+3, after.Frame)
			moved := chromium.Eval[float64](tab, `holdgapTakes.panes[0].seconds(Math.round(holdgapTakes.panes[0].frame))`)
			require.InDelta(t, float64(after.Frame)/r.Float()+offset, moved, 1/r.Float()+1/60.)

			// It plays along, and the offset is in the take: another day it needs no matching.
			tab.Run(`document.querySelector('.speed').value = '1'`)
			tab.Run(`document.querySelector('[data-do="play"]').click()`)
			tab.Wait(fmt.Sprintf(`holdgapTakes.panes[0].film.at > %d`, after.Frame+10))
			tab.Run(`document.querySelector('[data-do="play"]').click()`)
			apart := chromium.Eval[float64](tab, `Math.abs(holdgapTakes.panes[0].seconds(holdgapTakes.panes[0].frame) - holdgapTakes.panes[0].film.video.currentTime - holdgapTakes.panes[0].film.offset)`)
			require.Less(t, apart, 2/r.Float()+0.05)

			tab.Open(serve(t, dir) + "/takes#take=filmed")
			tab.Wait(`window.holdgapTakes?.ready && ` + settled)
			choose(t, tab, path)
			require.InDelta(t, offset, chromium.Eval[float64](tab, `holdgapTakes.panes[0].film.offset`), 1e-6)
			check()
			tab.View(chromium.View{W: 1500, H: 1500})
			keep(t, "takes-video-"+rate[:2], shoot(tab, 1500, false))
		})
	}
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}
