// Package hub passes updates on to any number of viewers.
//
// Whoever publishes never waits for a viewer. Each viewer has a bounded queue;
// when it is full, the queue is dropped and the viewer gets a whole update as
// soon as there is room, so that it misses intermediate states but never ends
// up with a wrong one.
package hub

import (
	"encoding/json"
	"fmt"
	"sync"

	"github.com/gorilla/websocket"

	"holdgap/web/wire"
)

// QueueLength is how many updates may wait for one viewer: about a second at
// 60 frames a second.
const QueueLength = 64

// Hub fans out one stream. Make one with [New].
type Hub struct {
	position func() float64

	mu      sync.Mutex
	store   Store
	n       uint64
	viewers map[*Viewer]struct{}
	closed  bool
	stats   Stats
}

// Stats counts what a hub did since it was made.
type Stats struct {
	Viewers   int    // now
	Updates   uint64 // published
	Delivered uint64 // put into a viewer's queue
	Resyncs   uint64 // queues dropped because a viewer fell behind
}

// New returns a hub. position tells where the frame grid stands now, in frames;
// it is called with the hub's lock held and must not call the hub.
func New(position func() float64) *Hub {
	return &Hub{position: position, viewers: map[*Viewer]struct{}{}}
}

// SetPosition changes how the hub learns where the frame grid stands.
func (h *Hub) SetPosition(position func() float64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.position = position
}

// Message is an update as it goes out, encoded once for all viewers.
type Message struct {
	Prepared *websocket.PreparedMessage
	Text     []byte // the JSON in it; not to be changed
}

// Viewer is one reader of the stream.
type Viewer struct {
	queue chan Message
	stale bool // its queue was dropped; a whole update is owed
}

// Queue yields messages to write; it is closed when the hub closes.
func (v *Viewer) Queue() <-chan Message { return v.queue }

// Join adds a viewer; its first message is a whole update. After [Hub.Close] it
// returns an error.
func (h *Hub) Join() (*Viewer, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed {
		return nil, fmt.Errorf("the program is shutting down")
	}
	v := &Viewer{queue: make(chan Message, QueueLength)}
	m, err := h.whole()
	if err != nil {
		return nil, err
	}
	v.queue <- m
	h.viewers[v] = struct{}{}
	return v, nil
}

// Leave removes a viewer. It may be called more than once.
func (h *Hub) Leave(v *Viewer) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if _, ok := h.viewers[v]; ok {
		delete(h.viewers, v)
		close(v.queue)
	}
}

// Publish numbers an update, remembers it and queues it for every viewer.
func (h *Hub) Publish(u wire.Update) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed {
		return nil
	}
	h.n++
	h.stats.Updates++
	u.V, u.N, u.F = wire.Version, h.n, h.position()
	h.store.Apply(&u)
	if len(h.viewers) == 0 {
		return nil
	}
	m, err := prepare(u)
	if err != nil {
		return err
	}
	var whole Message
	for v := range h.viewers {
		if v.stale {
			if whole.Text == nil {
				if whole, err = h.whole(); err != nil {
					return err
				}
			}
			select {
			case v.queue <- whole:
				v.stale = false
				h.stats.Delivered++
			default:
			}
			continue
		}
		select {
		case v.queue <- m:
			h.stats.Delivered++
		default:
			h.drop(v)
		}
	}
	return nil
}

// drop empties a full queue, so that the whole update that is owed comes next.
func (h *Hub) drop(v *Viewer) {
	h.stats.Resyncs++
	v.stale = true
	for {
		select {
		case <-v.queue:
		default:
			return
		}
	}
}

// Whole returns what a joining page would be told.
func (h *Hub) Whole() wire.Update {
	h.mu.Lock()
	defer h.mu.Unlock()
	u := h.store.Whole()
	u.N, u.F = h.n, h.position()
	return u
}

// Stats returns the counts so far.
func (h *Hub) Stats() Stats {
	h.mu.Lock()
	defer h.mu.Unlock()
	s := h.stats
	s.Viewers = len(h.viewers)
	return s
}

// Close ends every viewer's queue; later updates are forgotten.
func (h *Hub) Close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	for v := range h.viewers {
		delete(h.viewers, v)
		close(v.queue)
	}
}

func (h *Hub) whole() (Message, error) {
	u := h.store.Whole()
	u.N, u.F = h.n, h.position()
	return prepare(u)
}

func prepare(u wire.Update) (Message, error) {
	b, err := json.Marshal(u)
	if err != nil {
		return Message{}, fmt.Errorf("encoding update %d: %w", u.N, err)
	}
	p, err := websocket.NewPreparedMessage(websocket.TextMessage, b)
	return Message{Prepared: p, Text: b}, err
}
