package web_test

import (
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"

	"holdgap/capture/monotime"
	"holdgap/web"
	"holdgap/web/live"
	"holdgap/web/wire"
)

// network is a program that other machines may reach, as 192.0.2.7 and loom.
type network struct {
	t   *testing.T
	lan *web.LAN
	h   http.Handler
	now time.Time
}

// The addresses are those set aside for documentation (RFC 5737, RFC 3849).
func onNetwork(t *testing.T, file string) *network {
	n := &network{t: t, now: time.Unix(1e9, 0)}
	var err error
	n.lan, err = web.NewLAN(web.LANOptions{
		File: file,
		Addrs: func() ([]net.Addr, error) {
			return []net.Addr{
				&net.IPNet{IP: net.ParseIP("127.0.0.1"), Mask: net.CIDRMask(8, 32)},
				&net.IPNet{IP: net.ParseIP("2001:db8::7"), Mask: net.CIDRMask(64, 128)},
				&net.IPNet{IP: net.ParseIP("fe80::7"), Mask: net.CIDRMask(64, 128)},
				&net.IPNet{IP: net.ParseIP("192.0.2.7"), Mask: net.CIDRMask(24, 32)},
			}, nil
		},
		Hostname: func() (string, error) { return "Loom", nil },
		Now:      func() time.Time { return n.now },
		Log:      zerolog.Nop(),
	})
	require.NoError(t, err)
	e := live.New(live.Options{Setup: live.DefaultSetup(), Now: monotime.Now, Log: zerolog.Nop()})
	s := web.New(web.Options{Engine: e, Pads: true, Now: monotime.Now, Log: zerolog.Nop(), Guard: web.Guard{LAN: n.lan},
		Routes: map[string]http.Handler{"/desk": http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "desk") })}})
	t.Cleanup(s.Close)
	n.h = s.Handler()
	return n
}

// ask asks from an address; head holds pairs of name and value.
func (n *network) ask(remote, host, path string, head ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodGet, path, nil)
	r.RemoteAddr, r.Host = net.JoinHostPort(remote, "50000"), host
	for i := 0; i < len(head); i += 2 {
		r.Header.Add(head[i], head[i+1])
	}
	w := httptest.NewRecorder()
	n.h.ServeHTTP(w, r)
	return w
}

const (
	phone = "192.0.2.20"
	loom  = "192.0.2.7:7411"
)

func TestRoles(t *testing.T) {
	n := onNetwork(t, "")
	for _, c := range []struct {
		path string
		need web.Role
	}{
		{"/strip", web.View}, {"/static/lib/wire.js", web.View}, {"/themes.json", web.View}, {"/healthz", web.View},
		{"/pad", web.Play}, {"/desk", web.Control}, {"/metrics", web.Control}, {"/static/../desk", web.Control},
	} {
		for role := web.NoRole; role <= web.Control; role++ {
			path := c.path
			if role > web.NoRole {
				path += "?k=" + n.lan.Token(role)
			}
			got := n.ask(phone, loom, path).Code
			switch {
			case role == web.NoRole:
				require.Equal(t, http.StatusUnauthorized, got, path)
			case role < c.need:
				require.Equal(t, http.StatusForbidden, got, "%s as %s", c.path, role)
			default:
				require.Less(t, got, 400, "%s as %s", c.path, role)
			}
		}
	}
}

// A token that came in an address is kept in a cookie and leaves the address.
func TestTokenBecomesACookie(t *testing.T) {
	n := onNetwork(t, "")
	w := n.ask(phone, loom, "/strip?theme=linen&k="+n.lan.Token(web.View), "Accept", "text/html")
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Body.String(), `url=/strip?theme=linen"`)
	require.NotContains(t, w.Body.String(), n.lan.Token(web.View))
	cookies := w.Result().Cookies()
	require.Len(t, cookies, 1)
	require.True(t, cookies[0].HttpOnly)
	require.Equal(t, http.SameSiteStrictMode, cookies[0].SameSite)
	kept := cookies[0].Name + "=" + cookies[0].Value
	w = n.ask(phone, loom, "/strip?theme=linen", "Accept", "text/html", "Cookie", kept)
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Body.String(), "/static/strip/main.js")
	require.Equal(t, http.StatusForbidden, n.ask(phone, loom, "/desk", "Cookie", kept).Code)

	w = n.ask(phone, loom, "/desk?k="+n.lan.Token(web.Control), "Cookie", kept)
	require.Len(t, w.Result().Cookies(), 1, "a wider token takes the place of the kept one")
	wide := w.Result().Cookies()[0]
	w = n.ask(phone, loom, "/strip?k="+n.lan.Token(web.View), "Cookie", wide.Name+"="+wide.Value)
	require.Empty(t, w.Result().Cookies(), "and a narrower one does not")

	w = n.ask(phone, loom, "//example.com/?k="+n.lan.Token(web.Control), "Accept", "text/html")
	require.NotContains(t, w.Body.String(), `url=//`, "it leads to no other host")
}

func TestLoopbackNeedsNoToken(t *testing.T) {
	n := onNetwork(t, "")
	for _, host := range []string{"127.0.0.1:7411", "localhost:7411", "[::1]:7411"} {
		require.Equal(t, http.StatusOK, n.ask("127.0.0.1", host, "/desk").Code, host)
		require.Equal(t, http.StatusUnauthorized, n.ask(phone, host, "/desk").Code, "a machine elsewhere that says it is %s", host)
	}
	require.Equal(t, http.StatusUnauthorized, n.ask("127.0.0.1", loom, "/desk").Code, "under a network address a token is asked for, even here")
}

func TestOnlyOwnNamesOnTheNetwork(t *testing.T) {
	n := onNetwork(t, "")
	k := "?k=" + n.lan.Token(web.Control)
	require.Equal(t, []string{"192.0.2.7", "2001:db8::7", "loom", "loom.local"}, n.lan.Addresses())
	for _, host := range []string{loom, "loom:7411", "LOOM.local:7411", "[2001:db8::7]:7411", "[2001:DB8:0::7]:7411"} {
		require.Equal(t, http.StatusOK, n.ask(phone, host, "/desk"+k).Code, host)
	}
	for _, host := range []string{"evil.example:7411", "192.0.2.8:7411", "loom.example:7411", "", "192.0.2.7.example"} {
		w := n.ask(phone, host, "/desk"+k)
		require.Equal(t, http.StatusForbidden, w.Code, "a rebound name: %q", host)
		w = n.ask("127.0.0.1", host, "/desk"+k)
		require.Equal(t, http.StatusForbidden, w.Code, "a rebound name from this machine: %q", host)
	}
	for _, origin := range []string{"http://evil.example", "http://192.0.2.7:9999", "null", "http://loom:7411"} {
		w := n.ask(phone, loom, "/desk"+k, "Origin", origin)
		require.Equal(t, http.StatusForbidden, w.Code, "from origin %s", origin)
	}
	require.Equal(t, http.StatusOK, n.ask(phone, loom, "/desk"+k, "Origin", "http://"+loom).Code)
	w := n.ask(phone, loom, "/desk"+k, "Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "no-cors")
	require.Equal(t, http.StatusForbidden, w.Code)
}

func TestGuessingIsLimited(t *testing.T) {
	n := onNetwork(t, "")
	right := "/strip?k=" + n.lan.Token(web.View)
	guess := func(remote string, i int) int { return n.ask(remote, loom, fmt.Sprintf("/strip?k=guess%d", i)).Code }
	for i := range 10 {
		require.Equal(t, http.StatusUnauthorized, guess(phone, i))
	}
	require.Equal(t, http.StatusTooManyRequests, guess(phone, 10))
	w := n.ask(phone, loom, right)
	require.Equal(t, http.StatusTooManyRequests, w.Code, "else guessing would not be limited")
	require.NotEmpty(t, w.Header().Get("Retry-After"))
	require.Equal(t, http.StatusOK, n.ask("192.0.2.21", loom, right).Code, "another machine is not held up")
	n.now = n.now.Add(11 * time.Second)
	require.Equal(t, http.StatusUnauthorized, guess(phone, 11), "one more in ten seconds")
	require.Equal(t, http.StatusTooManyRequests, guess(phone, 12))
	n.now = n.now.Add(11 * time.Second)
	require.Equal(t, http.StatusOK, n.ask(phone, loom, right).Code)

	// An open page that tries a renewed token again and again is no guess.
	for range 100 {
		require.Equal(t, http.StatusUnauthorized, n.ask("192.0.2.30", loom, "/strip", "Cookie", "holdgap-7411=old").Code)
	}
	require.Equal(t, http.StatusOK, n.ask("192.0.2.30", loom, right).Code)

	// An IPv6 machine has many addresses.
	for i := range 10 {
		require.Equal(t, http.StatusUnauthorized, guess(fmt.Sprintf("2001:db8::%x", 100+i), i))
	}
	require.Equal(t, http.StatusTooManyRequests, guess("2001:db8::ffff", 11))

	// What is remembered is bounded: after thousands of others the first is forgotten,
	// and none of it crashes or slows to a halt.
	for i := range 3000 {
		n.now = n.now.Add(time.Millisecond)
		guess(fmt.Sprintf("10.0.%d.%d", i/250, i%250), i)
	}
	require.Equal(t, http.StatusOK, n.ask("2001:db8::ffff", loom, right).Code)
}

func TestTokensAreKeptPrivate(t *testing.T) {
	file := filepath.Join(t.TempDir(), "holdgap", "tokens.toml")
	n := onNetwork(t, file)
	info, err := os.Stat(file)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	seen := map[string]bool{}
	for r := web.View; r <= web.Control; r++ {
		require.Regexp(t, regexp.MustCompile(`^[\w-]{22}$`), n.lan.Token(r), "128 bits are 22 characters of six")
		require.False(t, seen[n.lan.Token(r)])
		seen[n.lan.Token(r)] = true
	}
	require.NoError(t, os.Chmod(file, 0o644))
	again := onNetwork(t, file)
	require.Equal(t, n.lan.Token(web.Control), again.lan.Token(web.Control))
	info, err = os.Stat(file)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "a file that others could read is made private")

	for name, text := range map[string]string{
		"half":    `view = "`,
		"short":   "view = \"a\"\nplay = \"b\"\ncontrol = \"c\"",
		"unknown": "views = \"a\"",
		"same":    fmt.Sprintf("view = %[1]q\nplay = %[1]q\ncontrol = %[1]q", n.lan.Token(web.View)),
	} {
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		_, err := web.NewLAN(web.LANOptions{File: file})
		require.ErrorContains(t, err, "delete the file", name)
		kept, err := os.ReadFile(file)
		require.NoError(t, err)
		require.Equal(t, text, string(kept), "a bad file is left as it is")
	}
}

// A renewed token ends what was begun with the old one, and lets nobody in.
func TestRenew(t *testing.T) {
	n := onNetwork(t, filepath.Join(t.TempDir(), "tokens.toml"))
	// A real connection, made to look as if it came from the network.
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.RemoteAddr, r.Host = phone+":50000", loom
		n.h.ServeHTTP(w, r)
	}))
	defer s.Close()
	url := "ws" + strings.TrimPrefix(s.URL, "http")
	view, play := n.lan.Token(web.View), n.lan.Token(web.Play)
	strip, _, err := websocket.DefaultDialer.Dial(url+"/wire/view?k="+view, nil)
	require.NoError(t, err)
	defer strip.Close()
	pad, _, err := websocket.DefaultDialer.Dial(url+"/wire/pad?k="+play, nil)
	require.NoError(t, err)
	defer pad.Close()
	until(t, strip, func(u wire.Update) bool { return u.Whole })
	_, resp, err := websocket.DefaultDialer.Dial(url+"/wire/pad?k="+view, nil)
	require.Error(t, err)
	require.Equal(t, http.StatusForbidden, resp.StatusCode)

	require.NoError(t, n.lan.Renew(web.View))
	require.NoError(t, strip.SetReadDeadline(time.Now().Add(10*time.Second)))
	for err == nil || !websocket.IsCloseError(err, websocket.ClosePolicyViolation) {
		_, _, err = strip.ReadMessage()
		if err != nil {
			break
		}
	}
	require.ErrorContains(t, err, "the token was renewed")
	require.Equal(t, http.StatusUnauthorized, n.ask(phone, loom, "/strip?k="+view).Code)
	require.Equal(t, http.StatusOK, n.ask(phone, loom, "/strip?k="+n.lan.Token(web.View)).Code)
	require.Equal(t, http.StatusOK, n.ask(phone, loom, "/pad?k="+play).Code, "the other roles stay")
	require.ErrorContains(t, n.lan.Renew(web.NoRole), "none")
}
