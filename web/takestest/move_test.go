package takestest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"holdgap/capture/take"
	"holdgap/overlay/frame"
	"holdgap/overlay/press"
	"holdgap/overlay/review"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
	"holdgap/web/internal/chromium"
	"holdgap/web/live"
	"holdgap/web/takes"
)

// truth is what the session alone says of a take, by the last report of every id.
type truth struct {
	presses  map[uint64]press.Press
	outcomes map[uint64]session.Outcome
	zero     frame.Frame
}

func (f *truth) Press(p *press.Press)        { f.presses[p.ID] = *p }
func (f *truth) Multi(*session.Multi)        {}
func (f *truth) Direction(session.Direction) {}
func (f *truth) Outcome(o *session.Outcome)  { f.outcomes[o.ID] = *o }

func tell(seed uint64, setup live.Setup, edges int) *truth {
	f := &truth{map[uint64]press.Press{}, map[uint64]session.Outcome{}, setup.Clock().At(began)}
	s := session.New(takes.Config(setup), f)
	for e := range played(seed, setup, edges) {
		s.Edge(e)
	}
	return f
}

// misses are the frames at which the attempts that missed began, in order.
func (f *truth) misses() (out []frame.Frame) {
	for id := uint64(1); id <= uint64(len(f.outcomes)); id++ {
		o := f.outcomes[id]
		if o.Judged && o.Result.Kind != window.Hit && o.Result.Kind != window.NoPress {
			out = append(out, o.Open+o.Starts[0])
		}
	}
	return out
}

// key presses a key on the page for real.
func key(t testing.TB, tab *chromium.Tab, k, code string, shift bool) {
	t.Helper()
	m := int64(0)
	if shift {
		m = 8
	}
	for _, kind := range []input.DispatchKeyEventType{input.DispatchKeyEventTypeRawKeyDown, input.DispatchKeyEventTypeKeyUp} {
		_, err := chromedp.Call(tab.Context(), input.DispatchKeyEvent, input.DispatchKeyEventParams{Type: kind, Key: k, Code: code, Modifiers: m})
		require.NoError(t, err)
	}
}

func at(tab *chromium.Tab) int {
	return chromium.Eval[int](tab, `Math.round(holdgapTakes.panes[0].frame)`)
}

func goes(t testing.TB, tab *chromium.Tab, f frame.Frame) {
	t.Helper()
	tab.Wait(fmt.Sprintf(`Math.round(holdgapTakes.panes[0].frame) === %d`, f))
}

// Keys step by frame and by press, and jump from miss to miss: just those that the
// session says.
func TestKeys(t *testing.T) {
	dir := t.TempDir()
	setup := linkSetup()
	record(t, dir, "keys", 8, setup, 4, 1500)
	truth := tell(8, setup, 1500)
	tab := open(t, serve(t, dir)+"/takes#take=keys&at=300500", chromium.View{W: 1280, H: 900})
	tab.Wait(settled)
	require.Equal(t, 300500, at(tab))
	tab.Run(`holdgapTakes.panes[0].loom.focus()`)
	key(t, tab, "ArrowRight", "ArrowRight", false)
	goes(t, tab, 300501)
	key(t, tab, "ArrowLeft", "ArrowLeft", false)
	key(t, tab, "ArrowLeft", "ArrowLeft", false)
	goes(t, tab, 300499)

	next := frame.Frame(1 << 60)
	for _, p := range truth.presses {
		if p.State != press.Pending && p.First > 300499 {
			next = min(next, p.First)
		}
	}
	key(t, tab, "ArrowRight", "ArrowRight", true)
	goes(t, tab, next)

	misses := truth.misses()
	require.Greater(t, len(misses), 4)
	key(t, tab, "Home", "Home", false)
	goes(t, tab, truth.zero)
	for _, m := range misses[:4] {
		key(t, tab, "ArrowDown", "ArrowDown", false)
		goes(t, tab, m)
	}
	for i := 2; i >= 0; i-- {
		key(t, tab, "ArrowUp", "ArrowUp", false)
		goes(t, tab, misses[i])
	}
	// What the page says of the frame is what the session says.
	require.Contains(t, chromium.Eval[string](tab, `document.querySelector('.loom').getAttribute('aria-valuetext')`), fmt.Sprintf("frame %d of", misses[0]-truth.zero))

	key(t, tab, " ", "Space", false)
	tab.Wait(fmt.Sprintf(`holdgapTakes.panes[0].frame > %d`, misses[0]))
	key(t, tab, " ", "Space", false)
	tab.Wait(`holdgapTakes.panes[0].playing === 0`)
}

// The pointer pulls the cloth, a click goes to the cell under it, and the whole
// take's picture goes anywhere.
func TestPointer(t *testing.T) {
	dir := t.TempDir()
	record(t, dir, "pointer", 8, linkSetup(), 4, 600)
	tab := open(t, serve(t, dir)+"/takes#take=pointer&at=300500", chromium.View{W: 1280, H: 1400})
	tab.Wait(settled)
	type box struct{ X, Y, W, H, Per float64 }
	b := chromium.Eval[box](tab, `(() => { const l = holdgapTakes.panes[0].loom; l.scrollIntoView({block: 'center'}); const r = l.getBoundingClientRect();
		return { X: r.x, Y: r.y, W: r.width, H: r.height, Per: holdgapTakes.panes[0].scrub.scene.perFrame } })()`)
	mouse := func(kind input.DispatchMouseEventType, x, y float64) {
		p := input.DispatchMouseEventParams{Type: kind, X: x, Y: y, Button: input.MouseButtonLeft}
		one := int64(1)
		p.ClickCount = one
		p.Buttons = one
		_, err := chromedp.Call(tab.Context(), input.DispatchMouseEvent, p)
		require.NoError(t, err)
	}
	y := b.Y + b.H/2
	mouse(input.DispatchMouseEventTypeMousePressed, b.X+600, y)
	mouse(input.DispatchMouseEventTypeMouseMoved, b.X+600-b.Per*5, y)
	mouse(input.DispatchMouseEventTypeMouseMoved, b.X+600-b.Per*10, y)
	mouse(input.DispatchMouseEventTypeMouseReleased, b.X+600-b.Per*10, y)
	goes(t, tab, 300510)
	// A click on the cell three to the left of the eye.
	x := chromium.Eval[float64](tab, `(() => { const r = document.querySelector('.eye').getBoundingClientRect(); return r.x + r.width / 2 })()`)
	mouse(input.DispatchMouseEventTypeMousePressed, x-3*b.Per, y)
	mouse(input.DispatchMouseEventTypeMouseReleased, x-3*b.Per, y)
	goes(t, tab, 300507)
}

// The eye lies on the cell of its frame, and the strip shows the press there.
func TestEyeIsOnTheFrame(t *testing.T) {
	dir := t.TempDir()
	setup := linkSetup()
	record(t, dir, "eye", 8, setup, 4, 600)
	truth := tell(8, setup, 600)
	tab := open(t, serve(t, dir)+"/takes#take=eye&at=300500", chromium.View{W: 1280, H: 900})
	west := setup.Layout.Index("west")
	n := 0
	for id := uint64(1); id < 200 && n < 6; id++ {
		p := truth.presses[id]
		if int(p.Button) != west || p.State != press.Closed || p.Hold > 3 {
			continue
		}
		n++
		tab.Run(fmt.Sprintf(`holdgapTakes.panes[0].go(%d)`, p.First))
		tab.Wait(settled)
		type look struct{ Eye, Per, Bead float64 }
		l := chromium.Eval[look](tab, `(() => {
			const s = holdgapTakes.panes[0].scrub, r = document.querySelector('.eye').getBoundingClientRect(), c = s.canvas.getBoundingClientRect();
			const eye = r.x - c.x, b = s.scene.beads.items.slice(0, s.scene.beads.n);
			return { Eye: eye, Per: s.scene.perFrame, Bead: Math.min(...b.map((b) => Math.abs(b.x - eye))) } })()`)
		require.Less(t, l.Bead, l.Per*0.6, "a bead begins in the eye at the press's frame")
		require.Contains(t, chromium.Eval[string](tab, `document.querySelector('.what-here').textContent`), fmt.Sprintf("west down, frame 1 of %d", p.Hold))
	}
	require.Equal(t, 6, n)
}

// Another rule, rate or target is tried without changing the take; marks are kept
// in it; moments are filtered.
func TestJudgeMarkFilter(t *testing.T) {
	dir := t.TempDir()
	path := record(t, dir, "tried", 8, linkSetup(), 4, 900)
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	tab := open(t, serve(t, dir)+"/takes#take=tried&at=300500", chromium.View{W: 1280, H: 900})
	tab.Wait(settled)
	tab.Run(`(async () => { const p = holdgapTakes.panes[0], f = p.q('.try');
		f.elements.namedItem('window').value = '1'; f.elements.namedItem('read').value = 'latched'; f.requestSubmit(); })()`)
	tab.Wait(`holdgapTakes.panes[0].sum.judging.window === 1 && holdgapTakes.panes[0].sum.judging.read === 'latched'`)

	f, err := takes.Open(t.Context(), path, nil)
	require.NoError(t, err)
	jg, err := f.Judging(0, takes.Try{Window: "1", Read: "latched"})
	require.NoError(t, err)
	j, err := f.Judge(t.Context(), jg, nil)
	require.NoError(t, err)
	require.Equal(t, j.Summary.Outcomes[0], chromium.Eval[review.Rate](tab, `holdgapTakes.panes[0].sum.outcomes[0]`))
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before, after, "trying changes nothing")
	tab.Run(`(async () => { const f = holdgapTakes.panes[0].q('.try'); f.elements.namedItem('rate').value = 'brisk'; f.requestSubmit(); })()`)
	tab.Allow("400")
	tab.Wait(`document.querySelector('.try-trouble').textContent.includes('brisk')`)
	tab.Run(`document.querySelector('.as-recorded').click()`)
	tab.Wait(`holdgapTakes.panes[0].sum.judging.window === 3`)

	tab.Run(`(() => { const k = document.querySelector('.moments-kind'); k.value = 'early'; k.dispatchEvent(new Event('change')); })()`)
	early := 0
	for _, o := range tell(8, linkSetup(), 900).outcomes {
		if o.Judged && o.Result.Kind == window.TooEarly {
			early++
		}
	}
	require.Positive(t, early)
	tab.Wait(fmt.Sprintf(`document.querySelectorAll('.moments-list .moment.early').length === %d && document.querySelectorAll('.moments-list .moment').length === %d`, early, early))

	tab.Run(`(() => { const p = holdgapTakes.panes[0]; p.go(300600); p.q('.mark-text').value = 'look --> here'; p.q('.mark-form').requestSubmit(); })()`)
	tab.Wait(`holdgapTakes.panes[0].sum.marks.some((m) => m.text === 'look --> here' && Math.abs(m.frame - 300600) <= 1)`)
	f, err = takes.Open(t.Context(), path, nil)
	require.NoError(t, err)
	require.Len(t, f.Scan.Marks, 3)
	require.True(t, f.Scan.Report.Whole())
}

// A browser's own parser reads the text track that the page saves.
func TestBrowserReadsTheTextTrack(t *testing.T) {
	dir := t.TempDir()
	setup := linkSetup()
	record(t, dir, "track", 8, setup, 4, 900)
	url := serve(t, dir)
	tab := open(t, url+"/takes", chromium.View{W: 900, H: 700})
	type cue struct {
		Start float64
		Text  string
	}
	cues := chromium.Eval[[]cue](tab, `new Promise((done, fail) => {
		const v = document.createElement('video'), t = document.createElement('track');
		t.kind = 'metadata'; t.default = true; t.src = '/takes/track/export?as=vtt';
		t.onload = () => done([...t.track.cues].map((c) => ({ Start: c.startTime, Text: c.text })));
		t.onerror = () => fail(new Error('no track'));
		v.append(t); document.body.append(v); t.track.mode = 'hidden';
	})`)
	truth := tell(8, setup, 900)
	judged := 0
	for _, o := range truth.outcomes {
		if o.Judged {
			judged++
		}
	}
	require.Len(t, cues, judged+2)
	want := map[string]int{}
	for _, o := range truth.outcomes {
		if o.Judged {
			want["Long Shuttle: "+o.Result.String()]++
		}
	}
	for _, c := range cues {
		want[c.Text]--
	}
	require.Equal(t, -1, want["felt good"])
	require.Equal(t, -1, want["hands cold"])
	for text, n := range want {
		if text != "felt good" && text != "hands cold" {
			require.Zero(t, n, text)
		}
	}
}

// A take of a million edges is opened, judged and shown in under a second: a
// ratio against reading the file bare, so that a slow machine fails no one.
func TestMillionEdges(t *testing.T) {
	dir := t.TempDir()
	path := record(t, dir, "million", 8, linkSetup(), 4, 1_000_000)
	bare := time.Now()
	f, err := os.Open(path)
	require.NoError(t, err)
	r := take.NewReader(f)
	setup := linkSetup()
	c := setup.Clock()
	var sum frame.Frame
	for e, err := range r.Edges() {
		require.NoError(t, err)
		sum += c.At(e.At)
	}
	f.Close()
	read := time.Since(bare)
	require.NotZero(t, sum)

	whole := time.Now()
	file, err := takes.Open(context.Background(), path, nil)
	require.NoError(t, err)
	jg, err := file.Judging(0, takes.Try{})
	require.NoError(t, err)
	_, err = file.Judge(context.Background(), jg, nil)
	require.NoError(t, err)
	t.Logf("opening and judging took %v, %.1f times reading it bare (%v)", time.Since(whole), float64(time.Since(whole))/float64(read), read)

	url := serve(t, dir)
	tab := chromium.Start(t).Tab(t, chromium.View{W: 1280, H: 900})
	tab.Open(url + "/takes")
	tab.Wait(`holdgapTakes.ready`)
	require.NoError(t, os.Rename(path, filepath.Join(dir, "again.take"))) // judged by nobody yet
	tab.Open(url + "/static/takes/takes.css")                             // away from the page
	start := time.Now()
	tab.Open(url + "/takes#take=again")
	tab.Wait(`window.holdgapTakes?.panes.length === 1 && ` + settled + ` && holdgapTakes.panes[0].scrub.state.presses.length > 0`)
	t.Logf("from the address to the picture: %v", time.Since(start))
	require.Equal(t, 1_000_000, chromium.Eval[int](tab, `holdgapTakes.panes[0].sum.edges`))
	require.LessOrEqual(t, chromium.Eval[int](tab, `holdgapTakes.panes[0].scrub.state.presses.length`), 500, "the page knows its view only")
}
