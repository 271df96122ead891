package main

import (
	"bufio"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/gorilla/websocket"
	"github.com/rs/zerolog"

	"holdgap/web"
	"holdgap/web/live"
	"holdgap/web/wire"
)

// perSecond is how many updates a second go out: one a frame.
const perSecond = 60

// stream sends messages to viewers, each of which reads in a goroutine of its own.
type stream interface {
	// join adds a viewer that calls got for every message, in order, until the
	// stream closes. It returns when the viewer is sure to get the next message.
	join(got func()) error
	// send sends one message to all.
	send(i int) error
	close() error
}

// fanoutBench measures how long after sending each viewer has read a message.
func fanoutBench(ctx context.Context, o options) ([]row, error) {
	var rows []row
	for _, n := range o.viewers {
		var ours, bare sample
		for range o.rounds {
			for _, side := range []struct {
				open func() (stream, error)
				into *sample
			}{{openWeb, &ours}, {openTCP, &bare}} {
				s, err := side.open()
				if err != nil {
					return nil, err
				}
				err = side.into.measure(ctx, s, n, max(int(o.time.Seconds()*perSecond), 2))
				if err = errors.Join(err, s.close()); err != nil {
					return nil, fmt.Errorf("with %d viewers: %w", n, err)
				}
			}
		}
		name := fmt.Sprintf("update to each of %d viewers, ", n)
		if n == 1 {
			name = "update to one viewer, "
		}
		rows = append(rows,
			newRow(name+"median", "µs", ours.quantile(0.5), bare.quantile(0.5)),
			newRow(name+"99 of 100", "µs", ours.quantile(0.99), bare.quantile(0.99)))
		if ours.cpu > 0 {
			rows = append(rows, newRow(name+"processor", "%", ours.processor(), bare.processor()))
		}
	}
	return rows, nil
}

// sample gathers delays in ns.
type sample struct {
	delays    []int64
	cpu, wall time.Duration
}

func (s *sample) quantile(q float64) float64 {
	slices.Sort(s.delays)
	return float64(s.delays[int(q*float64(len(s.delays)-1))]) / 1e3
}

// processor is the share of one processor, in percent.
func (s *sample) processor() float64 { return 100 * float64(s.cpu) / float64(s.wall) }

// measure sends count messages to n viewers.
func (s *sample) measure(ctx context.Context, st stream, n, count int) error {
	sent := make([]int64, count) // written before a message goes out, read after it came
	start := time.Now()
	delays := make([][]int64, n)
	var all sync.WaitGroup
	all.Add(n * count)
	for v := range n {
		delays[v] = make([]int64, 0, count)
		if err := st.join(func() {
			i := len(delays[v])
			if i >= count {
				return
			}
			delays[v] = append(delays[v], int64(time.Since(start))-sent[i])
			all.Done()
		}); err != nil {
			return err
		}
	}
	cpu, begin := processTime(), time.Now()
	tick := time.NewTicker(time.Second / perSecond)
	defer tick.Stop()
	for i := range count {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
		sent[i] = int64(time.Since(start))
		if err := st.send(i); err != nil {
			return err
		}
	}
	done := make(chan struct{})
	go func() { all.Wait(); close(done) }()
	select {
	case <-done:
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(10 * time.Second):
		return errors.New("some messages never came: a viewer fell behind")
	}
	s.wall += time.Since(begin)
	s.cpu += processTime() - cpu
	for _, d := range delays {
		s.delays = append(s.delays, d...)
	}
	return nil
}

// update is what is sent: the count of a held button, as while one is held.
func update(i int) wire.Update { return wire.Update{Held: []wire.Held{{1, uint64(i)}}} }

// webStream is the program itself.
type webStream struct {
	engine  *live.Engine
	server  *web.Server
	http    *httptest.Server
	readers sync.WaitGroup
	conns   []*websocket.Conn
}

func openWeb() (stream, error) {
	now := func() int64 { return 1_000_000_000 }
	e := live.New(live.Options{Setup: live.DefaultSetup(), Now: now, Log: zerolog.Nop()})
	server := web.New(web.Options{Engine: e, Now: now, Log: zerolog.Nop()})
	return &webStream{engine: e, server: server, http: httptest.NewServer(server.Handler())}, nil
}

func (s *webStream) join(got func()) error {
	c, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(s.http.URL, "http")+"/wire/view", nil)
	if err != nil {
		return fmt.Errorf("joining as a viewer: %w", err)
	}
	s.conns = append(s.conns, c)
	if _, _, err := c.ReadMessage(); err != nil { // the whole state, which makes the viewer a member
		return fmt.Errorf("joining as a viewer: %w", err)
	}
	s.readers.Go(func() {
		for {
			if _, _, err := c.ReadMessage(); err != nil {
				return
			}
			got()
		}
	})
	return nil
}

func (s *webStream) send(i int) error { return s.engine.Hub().Publish(update(i)) }

func (s *webStream) close() error {
	resyncs := s.engine.Hub().Stats().Resyncs
	s.engine.Hub().Close()
	for _, c := range s.conns {
		c.Close()
	}
	s.readers.Wait()
	s.server.Close()
	s.http.Close()
	if resyncs > 0 {
		return fmt.Errorf("%d viewers fell behind and were told the whole state anew: the delays would be those of other messages", resyncs)
	}
	return nil
}

// tcpStream is the least that could do: a queue and a writer for each viewer, a
// length before each message.
type tcpStream struct {
	listener net.Listener
	queues   []chan []byte
	conns    []net.Conn
	work     sync.WaitGroup
}

func openTCP() (stream, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	return &tcpStream{listener: l}, err
}

func (s *tcpStream) join(got func()) error {
	near, err := net.Dial("tcp", s.listener.Addr().String())
	if err != nil {
		return err
	}
	s.conns = append(s.conns, near)
	far, err := s.listener.Accept()
	if err != nil {
		return err
	}
	s.conns = append(s.conns, far)
	queue := make(chan []byte, 64)
	s.queues = append(s.queues, queue)
	s.work.Go(func() {
		broken := false
		for m := range queue {
			if !broken {
				_, err := far.Write(m)
				broken = err != nil
			}
		}
	})
	s.work.Go(func() {
		r := bufio.NewReader(near)
		var buf []byte
		for {
			var head [4]byte
			if _, err := io.ReadFull(r, head[:]); err != nil {
				return
			}
			buf = slices.Grow(buf[:0], int(binary.BigEndian.Uint32(head[:])))
			buf = buf[:binary.BigEndian.Uint32(head[:])]
			if _, err := io.ReadFull(r, buf); err != nil {
				return
			}
			got()
		}
	})
	return nil
}

func (s *tcpStream) send(i int) error {
	u := update(i)
	u.V, u.N, u.F = wire.Version, uint64(i), 60 // as long as what the program sends
	text, err := json.Marshal(u)
	if err != nil {
		return err
	}
	m := append(binary.BigEndian.AppendUint32(nil, uint32(len(text))), text...)
	for _, q := range s.queues {
		q <- m
	}
	return nil
}

func (s *tcpStream) close() error {
	for _, q := range s.queues {
		close(q)
	}
	for _, c := range s.conns {
		c.Close()
	}
	s.work.Wait()
	return s.listener.Close()
}
