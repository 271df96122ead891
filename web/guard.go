package web

import (
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
)

// Guard refuses requests that do not come from where they should.
type Guard struct {
	// Hosts are further names or addresses, without port, under which the
	// program may be asked for; loopback names always may.
	Hosts []string
}

// wrap puts the checks of Host and Origin before h.
func (g Guard) wrap(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := g.check(r); err != nil {
			http.Error(w, err.Error(), http.StatusForbidden)
			return
		}
		head := w.Header()
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("Referrer-Policy", "no-referrer")
		head.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.ServeHTTP(w, r)
	})
}

// check reports why a request is refused. A Host that is not ours means that a
// foreign name was made to point here (DNS rebinding); an Origin that is not
// the Host means that a page of elsewhere asks.
func (g Guard) check(r *http.Request) error {
	if !g.known(hostOnly(r.Host)) {
		return fmt.Errorf("request for host %q refused: open the program under the address it printed", r.Host)
	}
	for _, origin := range r.Header.Values("Origin") {
		u, err := url.Parse(origin)
		if err != nil || u.Host == "" || !strings.EqualFold(u.Host, r.Host) {
			return fmt.Errorf("request from origin %q refused: only the program's own pages may ask", origin)
		}
	}
	if site := r.Header.Get("Sec-Fetch-Site"); site == "cross-site" && r.Header.Get("Sec-Fetch-Mode") != "navigate" {
		return fmt.Errorf("request from another site refused: only the program's own pages may ask")
	}
	return nil
}

func (g Guard) known(host string) bool {
	if host == "localhost" {
		return true
	}
	if ip := net.ParseIP(host); ip != nil && ip.IsLoopback() {
		return true
	}
	for _, h := range g.Hosts {
		if strings.EqualFold(h, host) {
			return true
		}
	}
	return false
}

func hostOnly(hostport string) string {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = hostport
	}
	return strings.ToLower(strings.Trim(host, "[]"))
}
