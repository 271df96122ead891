package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"github.com/gorilla/websocket"
)

const (
	// look is how often an open desk is brought up to date when only devices
	// moved; a change of settings or of a binding is told at once.
	look         = 40 * time.Millisecond
	writeTimeout = 5 * time.Second
	pingEvery    = 20 * time.Second
	pongTimeout  = 45 * time.Second
)

// The guard of package web has checked Host and Origin before a request comes here.
var upgrader = websocket.Upgrader{
	ReadBufferSize: 512, WriteBufferSize: 8192,
	CheckOrigin: func(*http.Request) bool { return true },
}

// conn is an open desk.
type conn struct{ wake chan struct{} }

// kick has every open desk told anew.
func (d *Desk) kick() {
	d.mu.Lock()
	defer d.mu.Unlock()
	for c := range d.open {
		select {
		case c.wake <- struct{}{}:
		default:
		}
	}
}

func (d *Desk) begin(c *conn) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case d.closed:
		return fmt.Errorf("the program is shutting down")
	case len(d.open) >= MaxDesks:
		return fmt.Errorf("%d desks are open already: close some", MaxDesks)
	}
	d.open[c] = struct{}{}
	d.wg.Add(1)
	return nil
}

func (d *Desk) end(c *conn) {
	d.mu.Lock()
	delete(d.open, c)
	d.mu.Unlock()
	d.wg.Done()
}

func (d *Desk) state(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	_ = json.NewEncoder(w).Encode(d.now())
}

func (d *Desk) socket(w http.ResponseWriter, r *http.Request) {
	me := &conn{wake: make(chan struct{}, 1)}
	if err := d.begin(me); err != nil {
		http.Error(w, err.Error(), http.StatusServiceUnavailable)
		return
	}
	defer d.end(me)
	c, err := upgrader.Upgrade(w, r, nil)
	if err != nil {
		return // Upgrade has answered
	}
	defer c.Close()
	gone := make(chan struct{})
	go func() {
		defer close(gone)
		c.SetReadLimit(256)
		_ = c.SetReadDeadline(time.Now().Add(pongTimeout))
		c.SetPongHandler(func(string) error { return c.SetReadDeadline(time.Now().Add(pongTimeout)) })
		if _, _, err := c.ReadMessage(); err == nil {
			closeWith(c, websocket.ClosePolicyViolation, "a desk sends its commands to /desk/do")
		}
	}()
	defer func() {
		c.Close()
		<-gone
	}()
	ping, tick := time.NewTicker(pingEvery), time.NewTicker(look)
	defer ping.Stop()
	defer tick.Stop()
	var told []byte
	for {
		b, err := json.Marshal(d.now())
		if err != nil {
			d.opts.Log.Error().Err(err).Msg("encoding the desk's state")
			return
		}
		if !bytes.Equal(b, told) {
			_ = c.SetWriteDeadline(time.Now().Add(writeTimeout))
			if c.WriteMessage(websocket.TextMessage, b) != nil {
				return
			}
			told = b
		}
		select {
		case <-d.stop:
			closeWith(c, websocket.CloseGoingAway, "the program is shutting down")
			return
		case <-r.Context().Done():
			closeWith(c, websocket.ClosePolicyViolation, context.Cause(r.Context()).Error())
			return
		case <-gone:
			return
		case <-ping.C:
			if c.WriteControl(websocket.PingMessage, nil, time.Now().Add(writeTimeout)) != nil {
				return
			}
		case <-tick.C:
		case <-me.wake:
		}
	}
}

func closeWith(c *websocket.Conn, code int, why string) {
	if len(why) > 123 { // RFC 6455: a control frame holds 125 bytes, two of them the code
		why = why[:123]
	}
	_ = c.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(code, why), time.Now().Add(time.Second))
}
