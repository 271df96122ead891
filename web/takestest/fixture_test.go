package takestest

import (
	"context"
	"iter"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/capture/performer"
	"holdgap/capture/take"
	"holdgap/overlay/frame"
	"holdgap/overlay/session"
	"holdgap/themes"
	"holdgap/web/live"
	"holdgap/web/static"
	"holdgap/web/takes"
)

const (
	ms     = int64(time.Millisecond)
	second = int64(time.Second)
	// began is when the fixtures' takes begin on their machine's clock.
	began = 5000 * second
)

// linkSetup judges the performer by the link that it practises.
func linkSetup() live.Setup {
	s := live.DefaultSetup()
	l := performer.ShuttleLink
	s.Target = session.Target{Name: "Long Shuttle", Window: frame.Frame(l.Window()), Wanted: s.Layout.Index(l.To.Key),
		Anchored: true, Starter: s.Layout.Index(l.From.Key), Opening: frame.Frame(l.Opening), Presses: 2, Spacing: 3}
	return s
}

// played yields what the performer of a seed plays, up to a number of edges.
func played(seed uint64, setup live.Setup, edges int) iter.Seq2[capture.Edge, error] {
	return func(yield func(capture.Edge, error) bool) {
		script := performer.New(seed, performer.Options{Start: began, Device: 1, Second: 2})
		m := capture.NewMapper(setup.Layout, setup.Cleaning)
		var buf []capture.Edge
		for n := 0; n < edges; {
			buf = m.Map(script.Next(), buf[:0])
			for _, e := range buf {
				n++
				if !yield(e, nil) {
					return
				}
			}
		}
	}
}

// record writes a take of the performer's.
func record(t testing.TB, dir, name string, seed uint64, setup live.Setup, day int, edges int) string {
	t.Helper()
	path := filepath.Join(dir, name+takes.Ext)
	note, err := takes.SettingsNote(began, takes.ProfileOf("Loomyard", setup))
	require.NoError(t, err)
	h := take.Header{Start: time.Date(2026, 5, day, 19, 30, 0, 0, time.UTC), StartAt: began, Program: "test"}
	dev := take.Device{At: began, Attached: true, Device: capture.Device{ID: 1, Name: "Performer’s pad", Source: "demo"}}
	notes := []take.Note{note, dev, take.Mark{At: began + 12*second, Text: "felt good"}, take.Mark{At: began + 31*second, Text: "hands cold"}}
	_, err = take.Create(context.Background(), path, h, notes, played(seed, setup, edges))
	require.NoError(t, err)
	return path
}

// serve serves the page as the program does, over a folder of takes.
func serve(t testing.TB, dir string) string {
	t.Helper()
	mux := http.NewServeMux()
	for pattern, h := range takes.NewServer(takes.Folder{Dir: dir}, nil).Routes() {
		mux.Handle(pattern, h)
	}
	mux.Handle("GET /static/", http.StripPrefix("/static/", http.FileServerFS(static.FS)))
	mux.Handle("GET /fonts/", http.StripPrefix("/fonts/", http.FileServerFS(themes.Fonts())))
	mux.HandleFunc("GET /themes/{file}", func(w http.ResponseWriter, r *http.Request) {
		th, err := themes.Load(themes.Builtin(), strings.TrimSuffix(r.PathValue("file"), ".json"))
		if err != nil {
			http.Error(w, err.Error(), http.StatusNotFound)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(th.JSON())
	})
	s := httptest.NewServer(mux)
	t.Cleanup(s.Close)
	return s.URL
}

// shelf is a folder with a few takes.
func shelf(t testing.TB) string {
	dir := t.TempDir()
	record(t, dir, "evening one", 3, linkSetup(), 4, 900)
	record(t, dir, "evening two", 8, linkSetup(), 9, 1500)
	record(t, dir, "evening three", 21, linkSetup(), 17, 600)
	return dir
}
