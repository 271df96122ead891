package export

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/capture"
	"holdgap/overlay/frame"
)

// leaveOut skips a test for want of another program, or fails it where nothing
// may be left out.
func leaveOut(t *testing.T, why string) {
	t.Helper()
	if os.Getenv("HOLDGAP_STRICT") == "1" {
		t.Fatal("nothing may be left out: " + why)
	}
	t.Skip("left out: " + why)
}

// awkward are cues with everything in them that has a meaning to some format.
var awkward = []Cue{
	{1_001_000_000, 2_002_000_000, "plain"},
	{-500, 1_000_000, "begins before zero"},
	{3_000_000_000, 3_000_000_000, "no length"},
	{3_600_000_000_000, 3_601_000_000_000, "a --> b <b>&amp;</b> ---> & \r\n\n\nsecond line\n"},
	{3_602_000_000_000, 3_603_500_000_000, "1=1; #2 \\ [CHAPTER]\nSTART=5"},
	{-10, -5, "before zero"},
	{4_000_000_000, 5_000_000_000, strings.Repeat("a long title ", 100) + "end"},
}

// WebVTT, sections 4.1 and 4.2.2: the form of the file, of timestamps and of cue
// text.
func TestWebVTT(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, WebVTT(&b, "made --> by\n\nhand ---> & <b>", awkward[:5]))
	assert.Equal(t, `WEBVTT

NOTE
made → by
hand -→ & <b>

00:00:00.000 --> 00:00:00.001
begins before zero

00:00:01.001 --> 00:00:02.002
plain

00:00:03.000 --> 00:00:03.001
no length

01:00:00.000 --> 01:00:01.000
a --&gt; b &lt;b&gt;&amp;amp;&lt;/b&gt; ---&gt; &amp; 
second line

01:00:02.000 --> 01:00:03.500
1=1; #2 \ [CHAPTER]
START=5
`, b.String())
	assert.Equal(t, "100:00:00.000", vttTime(360_000_000))
}

// Whatever the text, a cue stays one cue: an arrow stands in time lines only,
// and there are as many blocks as cues.
func TestWebVTTKeepsItsForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		part := rapid.SampledFrom([]string{"-", "-->", ">", "<", "&", "\n", "\r", "\x00", "WEBVTT", "NOTE", "a", " ", "\u2028", "\xff", "00:00.000 --> 00:01.000"})
		text := strings.Join(rapid.SliceOf(part).Draw(t, "text"), "")
		note := strings.Join(rapid.SliceOf(part).Draw(t, "note"), "")
		var b bytes.Buffer
		if err := WebVTT(&b, note, []Cue{{0, 1e9, text}, {2e9, 3e9, text}}); err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(b.String(), "-->"); n != 2 {
			t.Fatalf("%d arrows in\n%s", n, b.String())
		}
		if strings.ContainsAny(b.String(), "\x00\r") {
			t.Fatalf("%q", b.String())
		}
		blocks := strings.Split(strings.TrimSpace(b.String()), "\n\n")
		blocks = slices.DeleteFunc(blocks, func(s string) bool { return !strings.Contains(s, "-->") })
		if len(blocks) != 2 {
			t.Fatalf("%d cues in\n%s", len(blocks), b.String())
		}
	})
}

// The browser's own WebVTT parser reads the track back.
func TestBrowserReadsWebVTT(t *testing.T) {
	if _, err := exec.LookPath("chromium"); err != nil {
		leaveOut(t, "no chromium on the path to parse WebVTT: "+err.Error())
	}
	var b bytes.Buffer
	require.NoError(t, WebVTT(&b, "a note", awkward))
	opts := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.NoSandbox)
	ctx, stop := chromedp.NewExecAllocator(t.Context(), opts...)
	defer stop()
	ctx, stop = chromedp.NewContext(ctx)
	defer stop()
	src, err := json.Marshal("data:text/vtt;charset=utf-8," + percent(b.String()))
	require.NoError(t, err)
	type cue struct {
		Start, End float64
		Text       string
	}
	got, err := chromedp.Run(ctx, chromedp.Evaluate[[]cue](`new Promise((resolve, reject) => {
		const video = document.createElement('video'), track = document.createElement('track');
		track.onerror = () => reject(new Error('track failed'));
		track.onload = () => resolve([...track.track.cues].map(c => ({Start: c.startTime, End: c.endTime, Text: c.getCueAsHTML().textContent})));
		track.src = `+string(src)+`;
		video.append(track);
		document.body.append(video);
		track.track.mode = 'hidden';
	})`, chromedp.EvalAwaitPromise))
	require.NoError(t, err)
	assert.Equal(t, []cue{
		{0, .001, "begins before zero"},
		{1.001, 2.002, "plain"},
		{3, 3.001, "no length"},
		{4, 5, awkward[6].Text},
		{3600, 3601, "a --> b <b>&amp;</b> ---> & \nsecond line"},
		{3602, 3603.5, "1=1; #2 \\ [CHAPTER]\nSTART=5"},
	}, got)
}

func percent(s string) string {
	var b strings.Builder
	for _, c := range []byte(s) {
		b.WriteString("%" + strconv.FormatUint(uint64(c)+256, 16)[1:])
	}
	return b.String()
}

func TestChapters(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Chapters(&b, "a=b", []Cue{{1_001_000_000, 2_002_000_000, "#1"}}, frame.NTSC60))
	assert.Equal(t, ";FFMETADATA1\ntitle=a\\=b\n\n[CHAPTER]\nTIMEBASE=1001/60000\nSTART=60\nEND=120\ntitle=\\#1\n", b.String())
}

// ffprobe reads the chapters back; START=60 of 1001/60000 is 1.001 s.
func TestFFprobeReadsChapters(t *testing.T) {
	ffprobe, err := exec.LookPath("ffprobe")
	if err != nil {
		leaveOut(t, "no ffprobe on the path to read chapters: "+err.Error())
	}
	for _, rate := range []frame.Rate{{}, frame.NTSC60} {
		var b bytes.Buffer
		require.NoError(t, Chapters(&b, "t=1;2\\#\n3", awkward, rate))
		path := filepath.Join(t.TempDir(), "chapters.txt")
		require.NoError(t, os.WriteFile(path, b.Bytes(), 0o600))
		out, err := exec.CommandContext(context.WithoutCancel(t.Context()), ffprobe, "-v", "error", "-f", "ffmetadata", "-show_chapters", "-show_format", "-of", "json", path).Output()
		require.NoError(t, err)
		var got struct {
			Chapters []struct {
				StartTime string `json:"start_time"`
				EndTime   string `json:"end_time"`
				Tags      struct{ Title string }
			}
			Format struct{ Tags struct{ Title string } }
		}
		require.NoError(t, json.Unmarshal(out, &got))
		assert.Equal(t, "t=1;2\\#\n3", got.Format.Tags.Title)
		want := byStart(awkward)
		require.Len(t, got.Chapters, len(want))
		for i, c := range got.Chapters {
			start, err := strconv.ParseFloat(c.StartTime, 64)
			require.NoError(t, err)
			end, err := strconv.ParseFloat(c.EndTime, 64)
			require.NoError(t, err)
			half := 1e-6
			if !rate.IsZero() {
				half = rate.FrameNS()/2e9 + 1e-6
			}
			assert.InDelta(t, float64(max(want[i].StartNS, 0))/1e9, start, half)
			assert.InDelta(t, float64(max(want[i].EndNS, 0))/1e9, end, half)
			text := strings.ReplaceAll(want[i].Text, "\r\n", "\n")
			assert.Equal(t, text, c.Tags.Title)
		}
		i := slices.IndexFunc(want, func(c Cue) bool { return c.Text == "plain" })
		assert.Equal(t, "1.001000", got.Chapters[i].StartTime)
	}
}

func TestJSON(t *testing.T) {
	var b bytes.Buffer
	d := Document{
		Name: "a \"take\"", Start: "2026-03-01T19:30:00Z", ZeroNS: 5, Seconds: 2.5, Rate: "60000/1001", ReadRule: "sampled",
		Buttons: []string{"south"}, Rates: []Rate{{"linked", 8, 10, .8, .4902, .9433}},
		Presses: slices.Values(samplePresses), Outcomes: slices.Values(sampleOutcomes),
		Edges: all([]capture.Edge{{At: 7, Button: 1, Key: 2, Down: true}, {At: 9, Button: 1, Key: 2}}),
	}
	require.NoError(t, JSON(&b, d))
	var got struct {
		Format, Name, Start, Rate string
		Zero                      int64 `json:"zero_ns"`
		Seconds                   float64
		ReadRule                  string `json:"read_rule"`
		Units                     map[string]string
		Buttons                   []string
		Rates                     []Rate
		Presses                   []Press
		Outcomes                  []Outcome
		Edges                     [][4]int64
	}
	dec := json.NewDecoder(bytes.NewReader(b.Bytes()))
	dec.DisallowUnknownFields()
	require.NoError(t, dec.Decode(&got), b.String())
	assert.Equal(t, Format, got.Format)
	assert.Equal(t, d.Name, got.Name)
	assert.Equal(t, d.Rates, got.Rates)
	assert.Equal(t, samplePresses, got.Presses)
	assert.Equal(t, sampleOutcomes, got.Outcomes)
	assert.Equal(t, [][4]int64{{2, 1, 2, 1}, {4, 1, 2, 0}}, got.Edges)
	assert.NotEmpty(t, got.Units)

	b.Reset()
	require.NoError(t, JSON(&b, Document{Presses: slices.Values([]Press(nil))}))
	var m map[string]any
	require.NoError(t, json.Unmarshal(b.Bytes(), &m), b.String())
	assert.Equal(t, []any{}, m["presses"], "an empty list is there")
	assert.NotContains(t, m, "edges", "one that was not asked for is not")
}
