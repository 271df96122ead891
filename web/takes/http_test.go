package takes_test

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/capture"
	"holdgap/overlay/frame"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
	"holdgap/web/live"
	"holdgap/web/takes"
)

func serve(t testing.TB, dir string, c *takes.Control) string {
	mux := http.NewServeMux()
	for p, h := range takes.NewServer(takes.Folder{Dir: dir}, c).Routes() {
		mux.Handle(p, h)
	}
	s := httptest.NewServer(mux)
	t.Cleanup(s.Close)
	return s.URL
}

func get(t testing.TB, at string) (int, string) {
	r, err := http.Get(at)
	require.NoError(t, err)
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return r.StatusCode, string(b)
}

func post(t testing.TB, at, body string) (int, string) {
	r, err := http.Post(at, "application/json", strings.NewReader(body))
	require.NoError(t, err)
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return r.StatusCode, string(b)
}

// What cannot be meant is refused with words, and nothing is changed.
func TestRefusals(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.take")
	record(t, setups(t)["link"], 5, 4, path)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "foreign.take"), []byte("Dear diary, today I pressed west."), 0o600))
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	u := serve(t, dir, nil)
	for at, want := range map[string]struct {
		status int
		words  string
	}{
		"/takes/none/summary":                                       {404, "none"},
		"/takes/..%2Fa/summary":                                     {400, "not the name of a take"},
		"/takes/.hidden/summary":                                    {400, "not the name"},
		"/takes/foreign/summary":                                    {422, "not a take"},
		"/takes/a/summary?rate=brisk":                               {400, "brisk"},
		"/takes/a/summary?settings=2":                               {400, "number 2"},
		"/takes/a/summary?settings=x":                               {400, "x"},
		"/takes/a/view?from=1&to=999999":                            {400, "6000 frames"},
		"/takes/a/view?from=5&to=1":                                 {400, "frames 5 to 1"},
		"/takes/a/view?from=1e99&to=2":                              {400, "1e99"},
		"/takes/a/find?at=1&what=luck":                              {400, "luck"},
		"/takes/a/find?at=1&what=press&of=nobody":                   {400, "nobody"},
		"/takes/a/find?at=1&what=outcome&kinds=splendid":            {400, "splendid"},
		"/takes/a/find?at=1&what=press&limit=100000":                {400, "100000"},
		"/takes/a/export?as=film":                                   {400, "film"},
		"/takes/a/export?as=timecode":                               {400, "timecode"},
		"/takes/a/export?as=timecode&timecode=25&drop=1":            {400, "drop"},
		"/takes/a/view?from=-9000000000000000&to=-9000000000000000": {200, `"presses"`},
	} {
		status, body := get(t, u+at)
		if at == "/takes/a/view?from=-9000000000000000&to=-9000000000000000" {
			require.Equal(t, 200, status, body) // nothing happened then, and that is said
			continue
		}
		require.Equal(t, want.status, status, "%s: %s", at, body)
		require.Contains(t, body, want.words, at)
	}
	for body, words := range map[string]string{
		`{"at": 1e300, "text": "x"}`:              "not a time",
		`{"at": 1, "text": "x", "and": 2}`:        "and",
		`{"at": 1,`:                               "reading",
		`{"text": "` + strings.Repeat("x", 1<<16): "reading",
	} {
		status, said := post(t, u+"/takes/a/mark", body)
		require.Equal(t, 400, status, said)
		require.Contains(t, said, words)
	}
	for _, body := range []string{`{"name": "../etc/x.webm", "offset": 1}`, `{"name": "", "offset": 1}`, `{"name": "x.webm", "rate": "quick"}`} {
		status, said := post(t, u+"/takes/a/video", body)
		require.Equal(t, 400, status, said)
	}
	status, said := post(t, u+"/takes/a/forget", `{"text": "b"}`)
	require.Equal(t, 400, status, said)
	status, said = post(t, u+"/takes/recording", `{"do": "start"}`)
	require.Equal(t, 409, status, said)
	r, err := http.Post(u+"/takes/a/mark", "text/plain", strings.NewReader(`{"at":1,"text":"x"}`))
	require.NoError(t, err)
	r.Body.Close()
	require.Equal(t, http.StatusUnsupportedMediaType, r.StatusCode, "what a form of another page can send is not taken")
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before, after)
}

// Marks and videos are kept in the take, and a forgotten take is gone.
func TestMarkVideoForget(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a b.take")
	record(t, setups(t)["link"], 5, 4, path)
	u := serve(t, dir, nil) + "/takes/" + url.PathEscape("a b")
	status, said := post(t, u+"/mark", `{"at": 1.25, "text": "look"}`)
	require.Equal(t, 200, status, said)
	status, said = post(t, u+"/video", `{"name": "game.webm", "size": 99, "rate": "60000/1001", "offset": -3.5}`)
	require.Equal(t, 200, status, said)
	var sum struct {
		Marks []struct {
			At   float64
			Text string
		}
		Videos []struct {
			Name, Rate string
			Offset     float64
			Size       uint64
		}
	}
	status, said = get(t, u+"/summary")
	require.Equal(t, 200, status)
	require.NoError(t, json.Unmarshal([]byte(said), &sum))
	require.Equal(t, "look", sum.Marks[0].Text)
	require.InDelta(t, 1.25, sum.Marks[0].At, 1e-9)
	require.Equal(t, "60000/1001", sum.Videos[0].Rate)
	require.InDelta(t, -3.5, sum.Videos[0].Offset, 1e-9)
	status, said = post(t, u+"/mark", `{"at": 1.25, "text": ""}`)
	require.Equal(t, 200, status, said)
	require.Empty(t, read(t, path).Scan.Marks, "an empty text takes the mark away")
	status, said = post(t, u+"/forget", `{"text": "a b"}`)
	require.Equal(t, 200, status, said)
	require.False(t, takes.Exists(path))
}

// Looking forwards and back finds the same moments as listing all, whatever the
// filter.
func TestFind(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.take")
	record(t, setups(t)["link"], 11, 120, path)
	f := read(t, path)
	jg, err := f.Judging(0, takes.Try{})
	require.NoError(t, err)
	j, err := f.Judge(t.Context(), jg, nil)
	require.NoError(t, err)
	require.Greater(t, len(j.Review.Segments()), 1, "the take is in several segments")
	for _, what := range []takes.Filter{{What: "press"}, {What: "press", Button: "west"}, {What: "multi"}, {What: "multi", Kinds: []string{"holed", "mashed"}},
		{What: "outcome"}, {What: "outcome", Kinds: []string{"early", "late"}}, {What: "miss"}, {What: "outcome", Button: "west", Kinds: []string{"hit"}}} {
		all, err := j.Find(t.Context(), 0, false, what, 1<<20)
		require.NoError(t, err)
		require.NotEmpty(t, all, "%+v", what)
		at := frame.Frame(0)
		for _, m := range all { // one after the other
			got, err := j.Find(t.Context(), at, false, what, 1)
			require.NoError(t, err)
			require.Len(t, got, 1)
			require.GreaterOrEqual(t, m.Frame, int64(at))
			if got[0].Frame != m.Frame {
				require.Equal(t, int64(at), m.Frame, "only another in the same frame is passed over")
			}
			at = frame.Frame(m.Frame)
		}
		back, err := j.Find(t.Context(), 1<<50, true, what, 1<<20)
		require.NoError(t, err)
		require.Len(t, back, len(all))
		for i := range back {
			require.Equal(t, all[len(all)-1-i], back[i])
		}
	}
	hits, err := j.Find(t.Context(), 0, false, takes.Filter{What: "outcome", Kinds: []string{"hit"}}, 1<<20)
	require.NoError(t, err)
	require.Len(t, hits, int(j.Summary.Outcomes[0].Count))
}

// Whatever an engine was set up by comes back out of a take.
func TestProfileRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := live.DefaultSetup()
		rate, err := frame.NewRate(rapid.Int64Range(1001, 999_000).Draw(t, "num"), rapid.Int64Range(1000, 1001).Draw(t, "den"))
		require.NoError(t, err)
		s.Rate = rate
		s.Rule = frame.ReadRule(rapid.IntRange(0, 1).Draw(t, "rule"))
		s.Cleaning = capture.Cleaning(rapid.IntRange(0, 3).Draw(t, "cleaning"))
		s.Quick = frame.Frame(rapid.IntRange(0, 60).Draw(t, "quick"))
		s.BounceNS = rapid.Int64Range(-1_000_000, 50_000_000).Draw(t, "bounce")
		if rapid.Bool().Draw(t, "known phase") {
			ns := rapid.Int64Range(0, int64(rate.FrameNS())-1).Draw(t, "phase")
			s.Phase = &ns
		}
		n := len(s.Layout.Buttons)
		if rapid.Bool().Draw(t, "target") {
			s.Target = session.Target{Name: rapid.StringMatching(`[a-z "\\#=é]{1,20}`).Draw(t, "name"),
				Window: frame.Frame(rapid.IntRange(1, 60).Draw(t, "window")), Wanted: rapid.IntRange(-1, n-1).Draw(t, "wanted"),
				Presses: rapid.IntRange(0, 5).Draw(t, "presses"), Spacing: frame.Frame(rapid.SampledFrom([]int{0, 2, 7}).Draw(t, "spacing")),
				Rules: window.Rules{Early: window.Early(rapid.IntRange(0, 1).Draw(t, "early")), Hold: frame.Frame(rapid.IntRange(0, 9).Draw(t, "hold"))}}
			if s.Target.Rules.Early == window.Spoil {
				s.Target.Rules.Reach = frame.Frame(rapid.IntRange(0, 9).Draw(t, "reach"))
			}
			if rapid.Bool().Draw(t, "anchored") {
				s.Target.Anchored, s.Target.Starter = true, rapid.IntRange(0, n-1).Draw(t, "starter")
				s.Target.Opening = frame.Frame(rapid.IntRange(1, 60).Draw(t, "opening"))
			}
		} else {
			s.Target.Window = frame.Frame(rapid.IntRange(0, 60).Draw(t, "window"))
		}
		note, err := takes.SettingsNote(7, takes.ProfileOf("p", s))
		require.NoError(t, err)
		_, got, err := takes.ParseProfile(note.Text)
		require.NoError(t, err)
		require.Equal(t, s, got)
	})
}

func FuzzParseProfile(f *testing.F) {
	note, err := takes.SettingsNote(0, takes.ProfileOf("p", setups(f)["link"]))
	require.NoError(f, err)
	f.Add(note.Text)
	f.Add([]byte("rate = \"0\""))
	f.Fuzz(func(t *testing.T, text []byte) {
		if _, s, err := takes.ParseProfile(text); err == nil {
			require.NoError(t, s.Check())
		}
	})
}
