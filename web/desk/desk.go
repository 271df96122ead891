// Package desk is the program's side of the control page: it tells every open
// desk the whole state whenever it changes, and carries out commands.
//
// A [Desk] serves (see [Desk.Routes])
//
//	GET  /desk         the page
//	GET  /desk/state   the [State] as JSON
//	GET  /wire/desk    a WebSocket that sends the State whole on every change
//	POST /desk/do      one [Command] as JSON, answered by an [Answer]
//	POST /desk/cover   a target as JSON, answered by its [Cover]: nothing is changed
//	GET  /desk/qr.svg  ?text=…: a QR code of the text
//
// A command that changes settings names the revision it was made against. The
// later change wins: one made against an older revision is carried out all the
// same, touching only what it names, and every desk is told who changed what.
package desk

import (
	"fmt"
	"io/fs"
	"net/http"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"holdgap/themes"
	"holdgap/web"
	"holdgap/web/live"
	"holdgap/web/settings"
	"holdgap/web/static"
)

// Limits.
const (
	// MaxDesks is how many desks may be open at once.
	MaxDesks = 16
	// MaxBody is the greatest size of a command, in bytes.
	MaxBody = 128 << 10
	// MaxRate is how many requests a second all desks together may make over a
	// few seconds, and MaxBurst how many at once.
	MaxRate  = 60
	MaxBurst = 120
)

// Takes records.
type Takes interface {
	Start() error
	Stop() error
	Mark(note string) error
	// SaveRecent keeps the last minutes, recorded or not.
	SaveRecent() error
}

// Options of a desk.
type Options struct {
	Engine *live.Engine
	// Store keeps the settings; whoever made it puts them in force.
	Store *settings.Store
	// Takes records; nil when this program does not, and then no desk shows it.
	Takes Takes
	// Themes are what strips can wear.
	Themes *themes.Store
	// LAN lets other machines in; nil when only this machine is served.
	LAN *web.LAN
	// Addr is the host and port that the program listens on.
	Addr string
	// Pads says whether pages may play.
	Pads bool
	// Learn tells every page that plays whether unbound keys matter, because a
	// button is being bound by pressing.
	Learn func(on bool)
	Log   zerolog.Logger
}

// Desk serves desks. Make one with [New] and end it with [Desk.Close].
type Desk struct {
	opts   Options
	inputs inputs
	limit  bucket

	wg   sync.WaitGroup
	stop chan struct{}

	mu      sync.Mutex
	open    map[*conn]struct{}
	closed  bool
	changed Changed // last
	coming  Changed // being made
	done    uint64  // how often anything but devices changed
	bind    *binding
	ended   *Binding // how the last one ended
	timer   *time.Timer

	learning  sync.Mutex // orders what pads are told
	endListen func()
}

// Changed says who changed what last.
type Changed struct {
	Desk     string `json:"desk"` // as its commands name it; empty: not by a desk
	By       string `json:"by"`   // as the store says: see [settings.Snapshot]
	What     string `json:"what"`
	Revision uint64 `json:"revision"`
}

// New returns a desk on an engine and a store.
func New(o Options) *Desk {
	if o.Themes == nil {
		o.Themes = themes.NewStore("")
	}
	if o.Learn == nil {
		o.Learn = func(bool) {}
	}
	d := &Desk{opts: o, stop: make(chan struct{}), open: map[*conn]struct{}{}, limit: bucket{left: MaxBurst, at: time.Now()}}
	d.timer = time.NewTimer(bindFor)
	d.timer.Stop()
	d.inputs.init()
	endWatch := o.Engine.Watch(d.inputs.hear)
	endSettings := o.Store.Subscribe(func(settings.Snapshot) { d.kick() })
	d.wg.Go(func() {
		defer endWatch()
		defer endSettings()
		d.run()
	})
	return d
}

// Close ends every connection and waits for what the desk began.
func (d *Desk) Close() {
	d.mu.Lock()
	if !d.closed {
		d.closed = true
		close(d.stop)
	}
	d.mu.Unlock()
	d.wg.Wait()
}

// Routes returns the desk's handlers by pattern, for [web.Options].
func (d *Desk) Routes() map[string]http.Handler {
	return map[string]http.Handler{
		"GET /desk":        http.HandlerFunc(d.page),
		"GET /desk/state":  http.HandlerFunc(d.state),
		"GET /wire/desk":   http.HandlerFunc(d.socket),
		"POST /desk/do":    d.limited(d.do),
		"POST /desk/cover": d.limited(d.cover),
		"GET /desk/qr.svg": http.HandlerFunc(d.qr),
	}
}

// policy lets the page load nothing but the program's own, show a picture that
// the user chose, and be shown in no page of elsewhere.
const policy = "default-src 'self'; img-src 'self' blob: data:; " +
	"frame-ancestors 'none'; base-uri 'none'; form-action 'none'; object-src 'none'"

func (d *Desk) page(w http.ResponseWriter, _ *http.Request) {
	b, err := fs.ReadFile(static.FS, "desk.html")
	if err != nil {
		http.Error(w, "the desk is not part of this program", http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Security-Policy", policy)
	_, _ = w.Write(b)
}

// limited bounds rate and size, and wants JSON, which no form of another page can
// send.
func (d *Desk) limited(h http.HandlerFunc) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !d.limit.take(time.Now()) {
			w.Header().Set("Retry-After", "1")
			refuse(w, http.StatusTooManyRequests, fmt.Errorf("more than %d requests a second: wait a moment", MaxRate))
			return
		}
		if kind := r.Header.Get("Content-Type"); kind != "application/json" {
			refuse(w, http.StatusUnsupportedMediaType, fmt.Errorf("content type %q: send application/json", clip(kind)))
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, MaxBody)
		h(w, r)
	})
}

// bucket bounds a rate.
type bucket struct {
	mu   sync.Mutex
	left float64
	at   time.Time
}

func (b *bucket) take(now time.Time) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.left = min(MaxBurst, b.left+now.Sub(b.at).Seconds()*MaxRate)
	b.at = now
	if b.left < 1 {
		return false
	}
	b.left--
	return true
}

func clip(s string) string {
	if r := []rune(s); len(r) > 80 {
		return string(r[:79]) + "…"
	}
	return s
}
