package striptest

import (
	"encoding/json"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	"holdgap/themes"
	"holdgap/web/static"
	"holdgap/web/wire"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"
)

// server serves the pages as the program does, with updates made by the test.
type server struct {
	*httptest.Server
	t testing.TB

	mu      sync.Mutex
	first   []wire.Update // to each new viewer
	viewers map[*websocket.Conn]bool
	joined  int // connections so far
}

func newServer(t testing.TB, first ...wire.Update) *server {
	s := &server{t: t, first: first, viewers: map[*websocket.Conn]bool{}}
	mux := http.NewServeMux()
	for path, file := range map[string]string{"/strip": "strip.html", "/options": "options.html"} {
		mux.HandleFunc("GET "+path, func(w http.ResponseWriter, r *http.Request) { http.ServeFileFS(w, r, static.FS, file) })
	}
	mux.Handle("GET /static/", http.StripPrefix("/static/", http.FileServerFS(static.FS)))
	mux.Handle("GET /fonts/", http.StripPrefix("/fonts/", http.FileServerFS(themes.Fonts())))
	mux.HandleFunc("GET /themes/{file}", s.theme)
	mux.HandleFunc("GET /themes.json", func(w http.ResponseWriter, _ *http.Request) {
		_ = json.NewEncoder(w).Encode(themes.NewStore("").List())
	})
	mux.HandleFunc("GET /blank", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		_, _ = w.Write([]byte(`<!doctype html><html lang="en"><title>blank</title><link rel="icon" href="data:,">`))
	})
	mux.HandleFunc("GET /wire/view", s.view)
	s.Server = httptest.NewServer(mux)
	t.Cleanup(func() {
		s.drop()
		s.Close()
	})
	return s
}

func (s *server) theme(w http.ResponseWriter, r *http.Request) {
	t, err := themes.Load(themes.Builtin(), strings.TrimSuffix(r.PathValue("file"), ".json"))
	if err != nil {
		http.Error(w, err.Error(), http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(t.JSON())
}

func (s *server) view(w http.ResponseWriter, r *http.Request) {
	u := websocket.Upgrader{}
	c, err := u.Upgrade(w, r, nil)
	if err != nil {
		return
	}
	s.mu.Lock()
	s.joined++
	s.viewers[c] = true
	for _, up := range s.first {
		s.write(c, up)
	}
	s.mu.Unlock()
	for {
		if _, _, err := c.ReadMessage(); err != nil {
			break
		}
	}
	s.mu.Lock()
	delete(s.viewers, c)
	s.mu.Unlock()
	c.Close()
}

// write must be called with the lock held.
func (s *server) write(c *websocket.Conn, u wire.Update) {
	b, err := json.Marshal(u)
	require.NoError(s.t, err)
	_ = c.WriteMessage(websocket.TextMessage, b) // a viewer may have gone
}

// send sends updates to all viewers.
func (s *server) send(us ...wire.Update) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, u := range us {
		for c := range s.viewers {
			s.write(c, u)
		}
	}
}

// raw sends a text that need not be a message.
func (s *server) raw(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for c := range s.viewers {
		_ = c.WriteMessage(websocket.TextMessage, []byte(text))
	}
}

// setFirst changes what new viewers get.
func (s *server) setFirst(us ...wire.Update) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.first = us
}

// drop ends every viewer's connection, as a restart does.
func (s *server) drop() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for c := range s.viewers {
		c.Close()
	}
}

func (s *server) joins() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.joined
}

// builtin lists the files of the built-in themes.
func builtin(t testing.TB) []string {
	names := themes.Names()
	files, err := fs.Glob(themes.Builtin(), "*.toml")
	require.NoError(t, err)
	require.Len(t, names, len(files))
	return names
}
