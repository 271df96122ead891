package padtest

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/capture/page"
	"holdgap/themes"
	"holdgap/web/static"
)

// program is the least server that a pad page needs: the pages, and a WebSocket
// that drives a [page.Pad] as the real one does.
type program struct {
	t      testing.TB
	url    string
	zero   time.Time
	inputs chan capture.Input
	events chan string // "attach ID NAME", "detach ID"

	mu     sync.Mutex
	keys   []string
	next   uint16
	conns  map[*conn]struct{}
	raw    []string // every message that came
	refuse string
	warned map[string]string
	wg     sync.WaitGroup
}

type conn struct {
	ws  *websocket.Conn
	mu  sync.Mutex // one writer at a time
	pad *page.Pad
}

func (c *conn) write(v any) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.ws.WriteJSON(v)
}

func start(t testing.TB, keys ...string) *program {
	t.Helper()
	p := &program{
		t: t, zero: time.Now(), keys: keys, conns: map[*conn]struct{}{}, warned: map[string]string{},
		inputs: make(chan capture.Input, 10000), events: make(chan string, 1000),
	}
	mux := http.NewServeMux()
	mux.Handle("/static/", http.StripPrefix("/static/", http.FileServerFS(static.FS)))
	mux.Handle("/fonts/", http.StripPrefix("/fonts/", http.FileServerFS(themes.Fonts())))
	mux.HandleFunc("/pad", func(w http.ResponseWriter, r *http.Request) { http.ServeFileFS(w, r, static.FS, "pad.html") })
	mux.HandleFunc("/bare", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, `<!doctype html><title>bare</title><link rel="icon" href="data:,"><body><script type="module">
			import { startCapture } from '/static/pad/capture.js';
			window.last = null;
			window.running = startCapture({ status: (trouble, s) => { window.trouble = trouble; window.last = s; } });
		</script>`)
	})
	mux.HandleFunc("/wire/pad", p.serve)
	s := httptest.NewServer(mux)
	p.url = s.URL
	t.Cleanup(func() {
		p.hangUp()
		s.Close()
		p.wg.Wait()
	})
	return p
}

func (p *program) now() int64 { return int64(time.Hour + time.Since(p.zero)) }

func (p *program) serve(w http.ResponseWriter, r *http.Request) {
	up := websocket.Upgrader{}
	ws, err := up.Upgrade(w, r, nil)
	if err != nil {
		return
	}
	defer ws.Close()
	p.mu.Lock()
	if p.refuse != "" {
		_ = ws.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(websocket.ClosePolicyViolation, p.refuse), time.Now().Add(time.Second))
		p.mu.Unlock()
		return
	}
	c := &conn{ws: ws, pad: page.NewPad(p, p)}
	p.conns[c] = struct{}{}
	keys := p.keys
	p.wg.Add(1)
	p.mu.Unlock()
	defer p.wg.Done()

	b := c.pad.Bind(p.now(), keys, false)
	b.FrameMS = 1000.0 / 60
	if c.write(b) != nil {
		return
	}
	ctx, cancel := context.WithCancel(context.Background())
	var pings sync.WaitGroup
	pings.Go(func() {
		timer := time.NewTimer(c.pad.PingIn())
		defer timer.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-timer.C:
				if c.write(c.pad.Ping(p.now())) != nil {
					return
				}
				timer.Reset(c.pad.PingIn())
			}
		}
	})
	for {
		_, b, err := ws.ReadMessage()
		now := p.now()
		if err != nil {
			break
		}
		p.mu.Lock()
		p.raw = append(p.raw, string(b))
		p.mu.Unlock()
		m, err := page.Decode(b)
		if err == nil {
			err = c.pad.Message(now, m)
		}
		if err != nil {
			p.t.Errorf("the page broke the protocol: %v", err)
			break
		}
	}
	cancel()
	ws.Close()
	pings.Wait()
	c.pad.Close(p.now())
	p.mu.Lock()
	delete(p.conns, c)
	p.mu.Unlock()
}

// hangUp cuts every connection as a crash would.
func (p *program) hangUp() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for c := range p.conns {
		c.ws.NetConn().Close()
	}
}

// bind changes the bindings while pages are connected.
func (p *program) bind(learn bool, keys ...string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.keys = keys
	for c := range p.conns {
		require.NoError(p.t, c.write(c.pad.Bind(p.now(), keys, learn)))
	}
}

func (p *program) Next() uint16 { p.mu.Lock(); defer p.mu.Unlock(); p.next++; return p.next }

func (p *program) Input(in capture.Input)     { p.inputs <- in }
func (p *program) Attach(d capture.Device)    { p.events <- fmt.Sprintf("attach %s", d.Name) }
func (p *program) Detach(id uint16, at int64) { p.events <- "detach" }
func (p *program) Warn(key, text string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.warned[key] = text
}

// input returns the next input and fails the test when none comes.
func (p *program) input() capture.Input {
	p.t.Helper()
	select {
	case in := <-p.inputs:
		return in
	case <-time.After(15 * time.Second):
		p.t.Fatal("no input came")
		panic("unreachable")
	}
}

// expect takes the next inputs and compares their keys; + is down and − is up.
func (p *program) expect(want ...string) []capture.Input {
	p.t.Helper()
	var got []capture.Input
	for _, w := range want {
		in := p.input()
		text := "-" + in.Key
		if in.Down {
			text = "+" + in.Key
		}
		require.Equal(p.t, w, text)
		got = append(got, in)
	}
	return got
}

func (p *program) event(want string) {
	p.t.Helper()
	for {
		select {
		case e := <-p.events:
			if e == want {
				return
			}
		case <-time.After(15 * time.Second):
			p.t.Fatalf("never came: %s", want)
		}
	}
}

// keyMessages returns the names of the keys in every message that came.
func (p *program) keyMessages() map[string]bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	m := map[string]bool{}
	for _, s := range p.raw {
		var msg page.Message
		require.NoError(p.t, json.Unmarshal([]byte(s), &msg))
		if msg.T == "key" {
			m[msg.K] = true
		}
	}
	return m
}

func (p *program) everSaid(text string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Contains(strings.Join(p.raw, "\n"), text)
}
