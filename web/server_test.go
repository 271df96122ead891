package web_test

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"holdgap/capture"
	"holdgap/capture/monotime"
	"holdgap/capture/page"
	"holdgap/web"
	"holdgap/web/live"
	"holdgap/web/wire"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// rig is a real server on a real port.
type rig struct {
	engine *live.Engine
	base   string
}

func start(t *testing.T, pads bool) *rig {
	l, err := web.Listen("127.0.0.1:0")
	require.NoError(t, err)
	e := live.New(live.Options{Setup: live.DefaultSetup(), Now: monotime.Now, Log: zerolog.Nop()})
	s := web.New(web.Options{Engine: e, Pads: pads, Now: monotime.Now, Log: zerolog.Nop()})
	ctx, cancel := context.WithCancel(context.Background())
	served, ran := make(chan error, 1), make(chan error, 1)
	go func() { served <- s.Serve(ctx, l) }()
	go func() { ran <- e.Run(ctx) }()
	t.Cleanup(func() {
		began := time.Now()
		cancel()
		require.NoError(t, <-ran)
		require.NoError(t, <-served)
		require.Less(t, time.Since(began), time.Second, "ends within a second")
		http.DefaultClient.CloseIdleConnections()
	})
	return &rig{e, l.Addr().String()}
}

func (r *rig) dial(t *testing.T, path string, head http.Header) (*websocket.Conn, *http.Response, error) {
	c, resp, err := websocket.DefaultDialer.Dial("ws://"+r.base+path, head)
	if c != nil {
		t.Cleanup(func() { c.Close() })
	}
	return c, resp, err
}

// until reads updates until one fulfils ok.
func until(t *testing.T, c *websocket.Conn, ok func(wire.Update) bool) wire.Update {
	require.NoError(t, c.SetReadDeadline(time.Now().Add(10*time.Second)))
	for {
		var u wire.Update
		require.NoError(t, c.ReadJSON(&u))
		if ok(u) {
			return u
		}
	}
}

func TestPadToViewer(t *testing.T) {
	r := start(t, true)
	view, _, err := r.dial(t, "/wire/view", nil)
	require.NoError(t, err)
	u := until(t, view, func(wire.Update) bool { return true })
	require.True(t, u.Whole)
	require.Equal(t, "60", u.Setup.Rate)

	pad, _, err := r.dial(t, "/wire/pad", http.Header{"Origin": {"http://" + r.base}})
	require.NoError(t, err)
	began := time.Now()
	clock := func() float64 { return float64(time.Since(began))/1e6 + 1000 }
	var bound page.Bound
	require.NoError(t, pad.ReadJSON(&bound))
	require.Contains(t, bound.Keys, "south")
	answered := make(chan struct{})
	var pongs atomic.Int32
	go func() {
		defer close(answered)
		for {
			var p page.Ping
			if pad.ReadJSON(&p) != nil {
				return
			}
			_ = pad.WriteJSON(map[string]any{"t": "pong", "s": p.S, "c": clock()})
			if pongs.Add(1) == 3 {
				for _, m := range []map[string]any{
					{"t": "attach", "d": 0, "name": "a pad", "mapping": "standard", "poll_ms": 4},
					{"t": "key", "d": 0, "k": "south", "down": true, "c": clock()},
					{"t": "key", "d": 0, "k": "south", "down": false, "c": clock() + 0.001},
				} {
					_ = pad.WriteJSON(m)
				}
			}
		}
	}()
	u = until(t, view, func(u wire.Update) bool { return len(u.Presses) > 0 })
	require.Equal(t, wire.Pending, u.Presses[0].State)
	require.Equal(t, "south", r.engine.Setup().Layout.Buttons[u.Presses[0].Button].Label)
	pad.Close()
	<-answered
	until(t, view, func(u wire.Update) bool { return u.Status != nil && len(u.Status.Devices) == 0 })
}

func TestBadMessagesEndTheConnectionInWords(t *testing.T) {
	r := start(t, true)
	for name, c := range map[string]struct {
		kind int
		send string
		want string
	}{
		"no JSON":      {websocket.TextMessage, "hello", "hello"},
		"unknown verb": {websocket.TextMessage, `{"t":"inject"}`, "inject"},
		"unknown key":  {websocket.TextMessage, `{"t":"key","d":0,"k":"key_q","down":true,"c":1}`, "key_q"},
		"binary":       {websocket.BinaryMessage, "\x00\x01", "binary"},
		"oversized":    {websocket.TextMessage, `{"t":"attach","name":"` + strings.Repeat("x", 5000) + `"}`, ""},
	} {
		t.Run(name, func(t *testing.T) {
			pad, _, err := r.dial(t, "/wire/pad", nil)
			require.NoError(t, err)
			require.NoError(t, pad.WriteMessage(c.kind, []byte(c.send)))
			require.NoError(t, pad.SetReadDeadline(time.Now().Add(10*time.Second)))
			for err == nil {
				_, _, err = pad.ReadMessage()
			}
			var ce *websocket.CloseError
			require.ErrorAs(t, err, &ce)
			require.Contains(t, ce.Text, c.want)
		})
	}
	view, _, err := r.dial(t, "/wire/view", nil)
	require.NoError(t, err)
	require.NoError(t, view.WriteMessage(websocket.TextMessage, []byte("x")))
	for err == nil {
		_, _, err = view.ReadMessage()
	}
	require.True(t, websocket.IsCloseError(err, websocket.ClosePolicyViolation))
}

func TestForeignRequestsAreRefused(t *testing.T) {
	r := start(t, true)
	for _, h := range []http.Header{
		{"Origin": {"http://elsewhere.example"}},
		{"Origin": {"null"}},
		{"Origin": {"http://localhost:1"}},
		{"Host": {"rebound.example"}},
	} {
		for _, path := range []string{"/wire/view", "/wire/pad"} {
			_, resp, err := r.dial(t, path, h)
			require.Error(t, err)
			require.Equal(t, http.StatusForbidden, resp.StatusCode, "%v", h)
			body, _ := io.ReadAll(resp.Body)
			require.Contains(t, string(body), "refused")
		}
	}
	req := httptest.NewRequest("GET", "http://rebound.example/strip", nil)
	w := httptest.NewRecorder()
	s := web.New(web.Options{Engine: r.engine, Now: monotime.Now})
	defer s.Close()
	s.Handler().ServeHTTP(w, req)
	require.Equal(t, http.StatusForbidden, w.Code)
	require.Contains(t, w.Body.String(), `"rebound.example"`)
}

func TestPadsCanBeOff(t *testing.T) {
	r := start(t, false)
	c, _, err := r.dial(t, "/wire/pad", nil)
	require.NoError(t, err)
	_, _, err = c.ReadMessage()
	require.ErrorContains(t, err, "--source page")
}

// A page that connects again and again does not use up the device numbers.
func TestDeviceNumbersComeBack(t *testing.T) {
	r := start(t, true)
	first := r.engine.IDs().Next()
	for range 20 {
		c, _, err := r.dial(t, "/wire/pad", nil)
		require.NoError(t, err)
		var b page.Bound
		require.NoError(t, c.ReadJSON(&b))
		require.InDelta(t, 1000.0/60, b.FrameMS, 1e-6)
		require.NoError(t, c.WriteJSON(map[string]any{"t": "attach", "d": 0, "name": "a pad", "mapping": "standard", "poll_ms": 4}))
		require.NoError(t, c.WriteMessage(websocket.TextMessage, []byte("end")))
		for err == nil {
			_, _, err = c.ReadMessage()
		}
	}
	require.Less(t, r.engine.IDs().Next(), first+10)
}

// OpenMetrics 1.0: the text ends with # EOF and counters end in _total.
func TestHealthAndMetrics(t *testing.T) {
	r := start(t, true)
	get := func(path string) string {
		resp, err := http.Get("http://" + r.base + path)
		require.NoError(t, err)
		defer resp.Body.Close()
		require.Equal(t, http.StatusOK, resp.StatusCode)
		b, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		return string(b)
	}
	require.Equal(t, "ok\n", get("/healthz"))
	before := get("/metrics")
	require.Contains(t, before, "holdgap_edges_total 0.0\n")
	r.engine.Input(capture.Input{At: monotime.Now(), Device: 1, Key: "south", Down: true})
	m := get("/metrics")
	require.Contains(t, m, "holdgap_edges_total 1.0\n")
	require.True(t, strings.HasSuffix(m, "# EOF\n"))
	sc := bufio.NewScanner(strings.NewReader(m))
	for sc.Scan() {
		require.NotEmpty(t, sc.Text())
	}
}

func TestPortTaken(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	_, err = web.Listen(l.Addr().String())
	require.ErrorContains(t, err, l.Addr().String())
	require.ErrorContains(t, err, "taken")
	_, err = web.Listen("127.0.0.1:port")
	require.ErrorContains(t, err, "--addr")
}

// The examples in the wire package are what is really sent.
func TestUpdateText(t *testing.T) {
	b, err := json.Marshal(wire.Update{V: 1, N: 7, F: 12.5, Held: []wire.Held{{3, 4}}})
	require.NoError(t, err)
	require.JSONEq(t, `{"v":1,"n":7,"f":12.5,"held":[[3,4]]}`, string(b))
}

func TestThemesAndFonts(t *testing.T) {
	r := start(t, false)
	get := func(path string) (*http.Response, string) {
		resp, err := http.Get("http://" + r.base + path)
		require.NoError(t, err)
		defer resp.Body.Close()
		b, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		return resp, string(b)
	}
	_, list := get("/themes.json")
	require.Contains(t, list, `"name":"lantern"`)
	resp, theme := get("/themes/lantern.json?rev=3")
	require.Equal(t, "application/json", resp.Header.Get("Content-Type"))
	var got struct{ Font struct{ URL string } }
	require.NoError(t, json.Unmarshal([]byte(theme), &got))
	resp, font := get(got.Font.URL)
	require.Equal(t, http.StatusOK, resp.StatusCode)
	require.Equal(t, "wOFF", font[:4], "the signature of WOFF 1.0 (https://www.w3.org/TR/WOFF/)")
	require.Contains(t, resp.Header.Get("Cache-Control"), "immutable")
	for _, path := range []string{"/themes/none.json", "/themes/lantern", "/themes/..%2flantern.json"} {
		resp, text := get(path)
		require.Equal(t, http.StatusNotFound, resp.StatusCode, path)
		require.Contains(t, text, "no theme", path)
	}
}
