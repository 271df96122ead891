package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/gorilla/websocket"

	"holdgap/capture/page"
)

// The Guard has checked Host and Origin before a request comes here.
var upgrader = websocket.Upgrader{
	ReadBufferSize: 1024, WriteBufferSize: 4096,
	CheckOrigin: func(*http.Request) bool { return true },
}

// view streams updates to a page. The page sends nothing; one goroutine reads
// (to see it leave), one writes.
func (s *Server) view(w http.ResponseWriter, r *http.Request) {
	if s.opts.Engine.Hub().Stats().Viewers >= MaxViewers {
		http.Error(w, fmt.Sprintf("%d pages are watching already: close some", MaxViewers), http.StatusServiceUnavailable)
		return
	}
	if !s.begin() {
		http.Error(w, "the program is shutting down", http.StatusServiceUnavailable)
		return
	}
	defer s.sockets.Done()
	c, err := upgrader.Upgrade(w, r, nil)
	if err != nil {
		return // Upgrade has answered
	}
	defer c.Close()
	v, err := s.opts.Engine.Hub().Join()
	if err != nil {
		closeWith(c, websocket.CloseGoingAway, err.Error())
		return
	}
	defer s.opts.Engine.Hub().Leave(v)

	gone := make(chan struct{})
	go func() {
		defer close(gone)
		c.SetReadLimit(256)
		keepAlive(c)
		if _, _, err := c.ReadMessage(); err == nil {
			closeWith(c, websocket.ClosePolicyViolation, "a viewer sends nothing")
		}
	}()
	defer func() {
		c.Close()
		<-gone
	}()
	ping := time.NewTicker(pingEvery)
	defer ping.Stop()
	for {
		select {
		case <-s.ctx.Done():
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
		case m, ok := <-v.Queue():
			if !ok {
				closeWith(c, websocket.CloseGoingAway, "the program is shutting down")
				return
			}
			_ = c.SetWriteDeadline(time.Now().Add(writeTimeout))
			if c.WritePreparedMessage(m.Prepared) != nil {
				return
			}
		}
	}
}

func keepAlive(c *websocket.Conn) {
	_ = c.SetReadDeadline(time.Now().Add(pongTimeout))
	c.SetPongHandler(func(string) error { return c.SetReadDeadline(time.Now().Add(pongTimeout)) })
}

func closeWith(c *websocket.Conn, code int, why string) {
	if len(why) > 123 { // RFC 6455: a control frame holds 125 bytes, two of them the code
		why = why[:123]
	}
	_ = c.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(code, why), time.Now().Add(time.Second))
}

// padConn is a page that plays.
type padConn struct {
	pad *page.Pad
	out chan any // messages to write, at most a few
}

// pad takes inputs from a page.
func (s *Server) pad(w http.ResponseWriter, r *http.Request) {
	if !s.begin() {
		http.Error(w, "the program is shutting down", http.StatusServiceUnavailable)
		return
	}
	defer s.sockets.Done()
	c, err := upgrader.Upgrade(w, r, nil)
	if err != nil {
		return
	}
	defer c.Close()
	// A page sees the reason of a closed WebSocket, but not of a refused one.
	if !s.opts.Pads {
		closeWith(c, websocket.ClosePolicyViolation, "playing from a page is off: start with --source page or --source auto")
		return
	}
	e := s.opts.Engine
	ids := e.LendIDs()
	defer ids.Return()
	p := &padConn{pad: page.NewPad(e, ids), out: make(chan any, 4)}
	lagID := ids.Next()
	s.mu.Lock()
	full := len(s.pads) >= MaxPads
	if !full {
		s.pads[p] = struct{}{}
	}
	s.mu.Unlock()
	if full {
		closeWith(c, websocket.CloseTryAgainLater, fmt.Sprintf("%d pages are playing already: close some", MaxPads))
		return
	}
	defer func() {
		s.mu.Lock()
		delete(s.pads, p)
		s.mu.Unlock()
		p.pad.Close(s.opts.Now())
		e.ClearLag(lagID)
	}()
	if s.writeJSON(c, s.bind(p, e.Setup().Layout.Keys(), e.Learning())) != nil {
		return
	}

	gone := make(chan error, 1)
	go func() {
		c.SetReadLimit(page.MaxMessage)
		keepAlive(c)
		gone <- s.readPad(c, p, lagID)
	}()
	defer func() {
		c.Close()
		<-gone
	}()
	ping := time.NewTimer(p.pad.PingIn())
	defer ping.Stop()
	for {
		var m any
		select {
		case <-s.ctx.Done():
			closeWith(c, websocket.CloseGoingAway, "the program is shutting down")
			return
		case <-r.Context().Done():
			closeWith(c, websocket.ClosePolicyViolation, context.Cause(r.Context()).Error())
			return
		case err := <-gone:
			gone <- nil
			if err != nil {
				closeWith(c, websocket.ClosePolicyViolation, page.Reason(err))
			}
			return
		case m = <-p.out:
		case <-ping.C:
			m = p.pad.Ping(s.opts.Now())
			ping.Reset(p.pad.PingIn())
		}
		if s.writeJSON(c, m) != nil {
			return
		}
	}
}

func (s *Server) writeJSON(c *websocket.Conn, m any) error {
	b, err := json.Marshal(m)
	if err != nil {
		s.opts.Log.Error().Err(err).Msg("encoding a message to a pad")
		return err
	}
	_ = c.SetWriteDeadline(time.Now().Add(writeTimeout))
	return c.WriteMessage(websocket.TextMessage, b)
}

// readPad takes messages until the connection ends (nil) or breaks a rule.
func (s *Server) readPad(c *websocket.Conn, p *padConn, lagID uint16) error {
	for {
		kind, b, err := c.ReadMessage()
		now := s.opts.Now()
		if errors.Is(err, websocket.ErrReadLimit) {
			return fmt.Errorf("a message is longer than %d bytes", page.MaxMessage)
		}
		if err != nil {
			return nil
		}
		_ = c.SetReadDeadline(time.Now().Add(pongTimeout))
		if kind != websocket.TextMessage {
			return fmt.Errorf("a message is binary: send JSON text")
		}
		m, err := page.Decode(b)
		if err == nil {
			err = p.pad.Message(now, m)
		}
		if err != nil {
			s.metrics.refused.Inc()
			return err
		}
		s.opts.Engine.SetLag(lagID, p.pad.Lag())
	}
}

func (s *Server) bind(p *padConn, keys []string, learn bool) page.Bound {
	b := p.pad.Bind(s.opts.Now(), keys, learn)
	setup := s.opts.Engine.Setup()
	b.FrameMS = setup.Rate.FrameNS() / 1e6
	return b
}

// Rebind tells every playing page which keys are bound now.
func (s *Server) Rebind(keys []string, learn bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for p := range s.pads {
		m := s.bind(p, keys, learn)
		select {
		case p.out <- m:
		default: // it is stuck; drop the oldest, the newest is what counts
			select {
			case <-p.out:
			default:
			}
			select {
			case p.out <- m:
			default:
			}
		}
	}
}
