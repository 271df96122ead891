package web

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"html"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/rs/zerolog"
)

// Role is what a token lets its bearer do; each role may do all that the one
// before may.
type Role uint8

// The roles.
const (
	NoRole  Role = iota
	View         // look: the strip, the class's wall
	Play         // and play from a page
	Control      // and everything else
)

var roleNames = [...]string{"none", "view", "play", "control"}

// String returns the role's word.
func (r Role) String() string {
	if int(r) < len(roleNames) {
		return roleNames[r]
	}
	return fmt.Sprintf("role %d", uint8(r))
}

// ParseRole reads "view", "play" or "control".
func ParseRole(s string) (Role, error) {
	for r := View; r <= Control; r++ {
		if roleNames[r] == s {
			return r, nil
		}
	}
	return NoRole, fmt.Errorf("role %q is not known: write view, play or control", clip(s))
}

// openTo says which role a path asks for, by its longest beginning that is
// listed; a path that is not listed asks for Control.
var openTo = map[string]Role{
	"/healthz": View, "/strip": View, "/options": View, "/wire/view": View,
	"/static/": View, "/fonts/": View, "/themes/": View, "/themes.json": View,
	"/pad": Play, "/wire/pad": Play,
}

// LANOptions say how other machines are let in.
type LANOptions struct {
	// File keeps the tokens, mode 0600; empty keeps them for this run only.
	File string
	// Open adds to the paths that less than Control may ask for. A path that ends
	// with a slash stands for everything below it.
	Open map[string]Role
	// Addrs and Hostname tell under which addresses and name this machine is
	// reached; nil means the system's.
	Addrs    func() ([]net.Addr, error)
	Hostname func() (string, error)
	// Now is the time for the limit on failures; nil means [time.Now].
	Now func() time.Time
	Log zerolog.Logger
}

// LAN lets other machines in by a token for each role, given once as ?k=TOKEN and
// then kept in a cookie. Requests that come from this machine to a loopback
// address need none. It is safe for concurrent use.
type LAN struct {
	opts     LANOptions
	open     map[string]Role
	failures failures

	mu     sync.Mutex
	tokens [Control + 1]string
	lives  [Control + 1]life
	hosts  []string
	hostAt time.Time
}

// life ends when a role's token is renewed.
type life struct {
	ctx context.Context
	end context.CancelCauseFunc
}

// hostFor is how long the machine's addresses are taken to stay as they are.
const hostFor = 5 * time.Second

// ErrRevoked ends what was begun with a token that has been renewed since.
var ErrRevoked = errors.New("the token was renewed: open the new address that the desk shows")

// NewLAN reads the tokens from the file, or makes new ones and writes it.
func NewLAN(o LANOptions) (*LAN, error) {
	l := &LAN{opts: o, open: map[string]Role{}}
	for _, m := range []map[string]Role{openTo, o.Open} {
		for path, role := range m {
			l.open[path] = role
		}
	}
	if l.opts.Addrs == nil {
		l.opts.Addrs = net.InterfaceAddrs
	}
	if l.opts.Hostname == nil {
		l.opts.Hostname = os.Hostname
	}
	if l.opts.Now == nil {
		l.opts.Now = time.Now
	}
	tokens, err := readTokens(o.File)
	if errors.Is(err, os.ErrNotExist) {
		for r := View; r <= Control; r++ {
			tokens[r] = newToken()
		}
		err = writeTokens(o.File, tokens)
	}
	if err != nil {
		return nil, err
	}
	l.tokens = tokens
	for r := range l.lives {
		l.lives[r].ctx, l.lives[r].end = context.WithCancelCause(context.Background())
	}
	return l, nil
}

// Token returns the token of a role.
func (l *LAN) Token(r Role) string {
	l.mu.Lock()
	defer l.mu.Unlock()
	if r < View || r > Control {
		return ""
	}
	return l.tokens[r]
}

// Renew makes a new token for a role. The old one lets nobody in any more, and
// what was begun with it ends.
func (l *LAN) Renew(r Role) error {
	if r < View || r > Control {
		return fmt.Errorf("renewing the token of %s: there is none", r)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	tokens := l.tokens
	tokens[r] = newToken()
	if err := writeTokens(l.opts.File, tokens); err != nil {
		return err
	}
	l.tokens = tokens
	l.lives[r].end(ErrRevoked)
	l.lives[r].ctx, l.lives[r].end = context.WithCancelCause(context.Background())
	return nil
}

// Addresses returns the addresses, without port, under which other machines may
// reach this one: those of its networks first, its names last.
func (l *LAN) Addresses() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.opts.Now()
	if l.hosts != nil && now.Sub(l.hostAt) < hostFor {
		return slices.Clone(l.hosts)
	}
	var v4, v6 []string
	addrs, err := l.opts.Addrs()
	if err != nil {
		l.opts.Log.Warn().Err(err).Msg("listing this machine's network addresses")
	}
	for _, a := range addrs {
		n, ok := a.(*net.IPNet)
		if !ok || n.IP.IsLoopback() || n.IP.IsLinkLocalUnicast() || n.IP.IsMulticast() {
			continue
		}
		if n.IP.To4() != nil {
			v4 = append(v4, n.IP.String())
		} else {
			v6 = append(v6, n.IP.String())
		}
	}
	hosts := append(v4, v6...)
	if name, err := l.opts.Hostname(); err == nil && name != "" && !isLoopback(name) {
		name = strings.ToLower(name)
		hosts = append(hosts, name)
		if !strings.Contains(name, ".") {
			hosts = append(hosts, name+".local") // RFC 6762
		}
	}
	l.hosts, l.hostAt = hosts, now
	return slices.Clone(hosts)
}

func (l *LAN) knows(host string) bool {
	if ip := net.ParseIP(host); ip != nil {
		host = ip.String()
	}
	return slices.Contains(l.Addresses(), host)
}

// needs returns the role that a path asks for.
func (l *LAN) needs(path string) Role {
	if r, ok := l.open[path]; ok {
		return r
	}
	if strings.Contains(path, "..") { // not yet what it will come to
		return Control
	}
	best, role := "", Control
	for p, r := range l.open {
		if strings.HasSuffix(p, "/") && strings.HasPrefix(path, p) && len(p) > len(best) {
			best, role = p, r
		}
	}
	return role
}

// match returns the role of a token, and what ends when it is renewed; it takes
// as long for a wrong one as for a right one, whatever they have in common.
func (l *LAN) match(token string) (Role, context.Context) {
	got := sha256.Sum256([]byte(token))
	l.mu.Lock()
	defer l.mu.Unlock()
	found := 0
	for r := View; r <= Control; r++ {
		want := sha256.Sum256([]byte(l.tokens[r]))
		found = subtle.ConstantTimeSelect(subtle.ConstantTimeCompare(got[:], want[:]), int(r), found)
	}
	return Role(found), l.lives[found].ctx
}

// cookieName differs by port, since cookies do not.
func cookieName(host string) string {
	_, port, err := net.SplitHostPort(host)
	if err != nil {
		port = "80"
	}
	return "holdgap-" + port
}

// admit lets a request through to h if it may.
func (l *LAN) admit(w http.ResponseWriter, r *http.Request, h http.Handler) {
	remote := hostOnly(r.RemoteAddr)
	if isLoopback(remote) && isLoopback(hostOnly(r.Host)) {
		h.ServeHTTP(w, r)
		return
	}
	now := l.opts.Now()
	if wait := l.failures.wait(remote, now); wait > 0 {
		w.Header().Set("Retry-After", fmt.Sprint(int(wait/time.Second)+1))
		plainPage(w, r, http.StatusTooManyRequests, "Too many wrong tokens", "Wait a minute, then open the address that the desk shows, or scan its code again.")
		return
	}
	given := r.URL.Query().Get("k")
	if given == "" {
		given = r.URL.Query().Get("token")
	}
	role, until := l.try(given, remote, now)
	kept, keptUntil := NoRole, context.Context(nil)
	if c, err := r.Cookie(cookieName(r.Host)); err == nil {
		kept, keptUntil = l.try(c.Value, remote, now)
	}
	if role > kept {
		http.SetCookie(w, &http.Cookie{Name: cookieName(r.Host), Value: given, Path: "/", HttpOnly: true,
			SameSite: http.SameSiteStrictMode, MaxAge: 180 * 24 * 3600})
	}
	if kept >= role {
		role, until = kept, keptUntil
	}
	need := l.needs(r.URL.Path)
	switch {
	case role == NoRole:
		w.Header().Set("WWW-Authenticate", `holdgap realm="holdgap"`)
		plainPage(w, r, http.StatusUnauthorized, "This address needs its token",
			"Open the whole address that the desk shows, or scan its code, and let the browser keep cookies for it. If that worked before, the token has been renewed.")
		return
	case role < need:
		plainPage(w, r, http.StatusForbidden, "Not with this token",
			fmt.Sprintf("Your token is for %s, and %q needs %s: ask for the address that the desk shows for that.", role, clip(r.URL.Path), need))
		return
	}
	if given != "" && strings.Contains(r.Header.Get("Accept"), "text/html") {
		forward(w, r)
		return
	}
	ctx, cancel := context.WithCancelCause(r.Context())
	defer cancel(nil)
	stop := context.AfterFunc(until, func() { cancel(context.Cause(until)) })
	defer stop()
	h.ServeHTTP(w, r.WithContext(ctx))
}

// try is match for a token that somebody brought, if any, and counts a wrong one.
func (l *LAN) try(token, remote string, now time.Time) (Role, context.Context) {
	if token == "" {
		return NoRole, nil
	}
	role, until := l.match(token)
	if role == NoRole {
		l.failures.add(remote, token, now)
	}
	return role, until
}

// forward sends a page on to its address without the token, so that the token is
// neither on screen nor in the history. It is no redirect: after one that began
// on another site (a link in a web mail) the browser would not send the cookie.
func forward(w http.ResponseWriter, r *http.Request) {
	u := *r.URL
	q := u.Query()
	q.Del("k")
	q.Del("token")
	u.RawQuery = q.Encode()
	to := html.EscapeString("/" + strings.TrimLeft(u.RequestURI(), `/\`)) // never another host
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = fmt.Fprintf(w, `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>holdgap</title><link rel="icon" href="data:,">
<meta name="color-scheme" content="light dark"><meta http-equiv="refresh" content="0; url=%[1]s"></head><body><p><a href="%[1]s">Go on</a></p></body></html>`, to)
}
