// Package web serves the pages and speaks the wire with them.
//
// By default it listens on a loopback address and answers only requests that
// name a loopback host, so that no web page of elsewhere can reach it, not even
// by a name that resolves to this machine (DNS rebinding).
package web

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"holdgap/themes"
	"holdgap/web/live"
	"holdgap/web/static"
)

// Times and sizes of the server.
const (
	readHeader   = 5 * time.Second
	writeTimeout = 5 * time.Second
	pingEvery    = 20 * time.Second
	pongTimeout  = 45 * time.Second
	maxHeader    = 16 << 10
	// MaxViewers bounds the connections to the strip's stream.
	MaxViewers = 2000
	// MaxPads bounds the connections that play.
	MaxPads = 64
)

// Options of a server.
type Options struct {
	// Engine is what is shown.
	Engine *live.Engine
	// Pads says whether pages may play. Otherwise /wire/pad is refused, in words.
	Pads bool
	// Routes adds further handlers by pattern, behind the same checks.
	Routes map[string]http.Handler
	Guard  Guard
	// Themes are what strips can wear; nil means those that come with the program.
	Themes *themes.Store
	Now    func() int64 // ns, monotonic
	Log    zerolog.Logger
}

// Server serves one engine. Make one with [New].
type Server struct {
	opts    Options
	handler http.Handler
	sockets sync.WaitGroup
	mu      sync.Mutex
	ctx     context.Context // ends when the server shuts down
	stop    context.CancelFunc
	pads    map[*padConn]struct{}
	metrics *metrics
}

// New returns a server for an engine.
func New(o Options) *Server {
	s := &Server{opts: o, pads: map[*padConn]struct{}{}}
	s.ctx, s.stop = context.WithCancel(context.Background())
	s.metrics = newMetrics(s)
	mux := http.NewServeMux()
	page := func(pattern, file string) {
		mux.HandleFunc("GET "+pattern, func(w http.ResponseWriter, r *http.Request) {
			s.serveFile(w, r, file)
		})
	}
	page("/strip", "strip.html")
	page("/options", "options.html")
	page("/pad", "pad.html")
	mux.Handle("GET /static/", http.StripPrefix("/static/", noStore(http.FileServerFS(static.FS))))
	mux.HandleFunc("GET /{$}", s.front)
	mux.HandleFunc("GET /wire/view", s.view)
	mux.HandleFunc("GET /wire/pad", s.pad)
	mux.HandleFunc("GET /healthz", s.health)
	mux.Handle("GET /metrics", s.metrics.handler)
	if s.opts.Themes == nil {
		s.opts.Themes = themes.NewStore("")
	}
	themeRoutes(mux, s.opts.Themes)
	for pattern, h := range o.Routes {
		mux.Handle(pattern, h)
	}
	s.handler = s.opts.Guard.wrap(mux)
	return s
}

// Handler returns the whole of the server's HTTP, checks included.
func (s *Server) Handler() http.Handler { return s.handler }

// Serve answers on l until ctx ends, then closes every connection and waits for
// its goroutines.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	srv := &http.Server{Handler: s.handler, ReadHeaderTimeout: readHeader, MaxHeaderBytes: maxHeader}
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	var err error
	select {
	case <-ctx.Done():
	case err = <-done:
		done <- err
	}
	s.stop()
	closing, cancel := context.WithTimeout(context.Background(), 500*time.Millisecond)
	defer cancel()
	if e := srv.Shutdown(closing); e != nil {
		_ = srv.Close()
	}
	s.sockets.Wait()
	if err = <-done; err != nil && !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serving on %s: %w", l.Addr(), err)
	}
	return nil
}

// Close ends every WebSocket and waits for its goroutines, for a server that is
// used through its Handler.
func (s *Server) Close() {
	s.stop()
	s.sockets.Wait()
}

// Listen opens the address to serve on; the error says what to do about it.
func Listen(addr string) (net.Listener, error) {
	l, err := net.Listen("tcp", addr)
	if err == nil {
		return l, nil
	}
	var op *net.OpError
	if errors.As(err, &op) && isInUse(err) {
		return nil, fmt.Errorf("listening on %q: the port is taken, perhaps by another holdgap: stop that, or choose another with --addr, for example 127.0.0.1:7412", addr)
	}
	return nil, fmt.Errorf("listening on %q: %w: give a host and a port with --addr, for example 127.0.0.1:7411", addr, err)
}

func (s *Server) serveFile(w http.ResponseWriter, r *http.Request, name string) {
	w.Header().Set("Cache-Control", "no-store")
	b, err := fs.ReadFile(static.FS, name)
	if err != nil {
		http.Error(w, fmt.Sprintf("page %q is not part of this program", name), http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(b)
}

func noStore(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-store")
		h.ServeHTTP(w, r)
	})
}

func (s *Server) front(w http.ResponseWriter, r *http.Request) {
	http.Redirect(w, r, "/desk", http.StatusFound)
}

func (s *Server) health(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = fmt.Fprintln(w, "ok")
}

// begin counts a socket in, unless the server is closing or too many are open.
func (s *Server) begin() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.ctx.Err() != nil {
		return false
	}
	s.sockets.Add(1)
	return true
}
