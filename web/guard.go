package web

import (
	"fmt"
	"html"
	"net"
	"net/http"
	"net/url"
	"strings"
)

// Guard refuses requests that do not come from where they should, and on a
// network those that bring no token.
type Guard struct {
	// Hosts are further names or addresses, without port, under which the
	// program may be asked for; loopback names always may.
	Hosts []string
	// LAN lets other machines in by token; nil when only this machine is served.
	LAN *LAN
}

// wrap puts the checks of Host, Origin and token before h.
func (g Guard) wrap(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		head := w.Header()
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("Referrer-Policy", "no-referrer")
		head.Set("Cross-Origin-Resource-Policy", "same-origin")
		if err := g.check(r); err != nil {
			http.Error(w, err.Error(), http.StatusForbidden)
			return
		}
		if g.LAN == nil {
			h.ServeHTTP(w, r)
			return
		}
		g.LAN.admit(w, r, h)
	})
}

// check reports why a request is refused. A Host that is not ours means that a
// foreign name was made to point here (DNS rebinding); an Origin that is not
// the Host means that a page of elsewhere asks.
func (g Guard) check(r *http.Request) error {
	if !g.known(hostOnly(r.Host)) {
		return fmt.Errorf("request for host %q refused: open the program under the address it printed", clip(r.Host))
	}
	for _, origin := range r.Header.Values("Origin") {
		u, err := url.Parse(origin)
		if err != nil || u.Host == "" || !strings.EqualFold(u.Host, r.Host) {
			return fmt.Errorf("request from origin %q refused: only the program's own pages may ask", clip(origin))
		}
	}
	if site := r.Header.Get("Sec-Fetch-Site"); site == "cross-site" && r.Header.Get("Sec-Fetch-Mode") != "navigate" {
		return fmt.Errorf("request from another site refused: only the program's own pages may ask")
	}
	return nil
}

func (g Guard) known(host string) bool {
	if isLoopback(host) {
		return true
	}
	for _, h := range g.Hosts {
		if strings.EqualFold(h, host) {
			return true
		}
	}
	return g.LAN != nil && g.LAN.knows(host)
}

func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

func hostOnly(hostport string) string {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = hostport
	}
	return strings.ToLower(strings.Trim(host, "[]"))
}

// clip shortens what a stranger wrote before it is quoted.
func clip(s string) string {
	if r := []rune(s); len(r) > 80 {
		return string(r[:79]) + "…"
	}
	return s
}

// plainPage answers a person who opened an address, or a program that asked, with
// a few words.
func plainPage(w http.ResponseWriter, r *http.Request, status int, title, text string) {
	if !strings.Contains(r.Header.Get("Accept"), "text/html") {
		http.Error(w, title+": "+text, status)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = fmt.Fprintf(w, `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>%[1]s · holdgap</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark"><link rel="icon" href="data:,">
<style>body{font:1.0625rem/1.5 system-ui,sans-serif;max-width:38rem;margin:15vh auto;padding:0 1.25rem}</style></head>
<body><main><h1>%[1]s</h1><p>%[2]s</p></main></body></html>`, html.EscapeString(title), html.EscapeString(text))
}
