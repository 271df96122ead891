package take

import (
	"context"
	"fmt"
	"io"
	"sync"
	"time"

	"holdgap/capture"
)

// ringChunk is how many edges a ring takes and drops at once.
const ringChunk = 4096

// ringNotes is how many notes a ring keeps at most.
const ringNotes = 10_000

// Ring keeps the edges of the last minutes in memory, 16 bytes each, so that
// something good that happened can still be saved. Nothing of it is on a disk
// until then: it is lost with the program. Its methods are safe for concurrent
// use and do not wait for anything but each other; saving does not hold up the
// others.
type Ring struct {
	keep  int64
	limit int

	mu       sync.Mutex
	header   Header
	chunks   []*chunk
	seq      uint64  // edges taken in
	notes    []noted // of the time kept
	settings []Settings
	devices  []Device // attached before the time kept
	last     int64
	has      bool
	cut      bool // the limit, not the time, decided what was dropped
}

// chunk is a run of edges; only the last of a ring still grows, and what is
// below n never changes.
type chunk struct {
	seq   uint64 // edges before it
	n     int
	last  int64 // latest time, ns
	edges [ringChunk]capture.Edge
}

// noted is a note with the number of edges before it.
type noted struct {
	seq uint64
	Note
}

// NewRing returns a ring that keeps the last keep of edge time, and at most
// limit edges (0 means 4 million, 64 MB). The header is of the takes that are
// saved; a zero ID is replaced by a random one with each.
func NewRing(h Header, keep time.Duration, limit int) *Ring {
	if limit <= 0 {
		limit = 4 << 20
	}
	return &Ring{keep: int64(keep), limit: limit, header: h}
}

// Edge takes an edge in and drops what is too old.
func (r *Ring) Edge(e capture.Edge) {
	r.mu.Lock()
	defer r.mu.Unlock()
	var c *chunk
	if n := len(r.chunks); n > 0 && r.chunks[n-1].n < ringChunk {
		c = r.chunks[n-1]
	} else {
		c = &chunk{seq: r.seq, last: e.At}
		r.chunks = append(r.chunks, c)
	}
	c.edges[c.n] = e
	c.n++
	c.last = max(c.last, e.At)
	r.seq++
	if !r.has || e.At > r.last {
		r.last, r.has = e.At, true
	}
	r.drop()
}

// Note takes a note in. A header is refused, as is what no take can hold.
func (r *Ring) Note(n Note) error {
	if _, header := n.(Header); header {
		return fmt.Errorf("writing a take's header: it has one already")
	}
	if _, err := appendNote(nil, n); err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.notes = append(r.notes, noted{r.seq, n})
	if len(r.notes) > ringNotes {
		r.retire(r.notes[0].Note)
		r.notes = r.notes[1:]
	}
	return nil
}

// Clear forgets everything but the settings in force and the devices.
func (r *Ring) Clear() {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, n := range r.notes {
		r.retire(n.Note)
	}
	r.notes, r.chunks, r.has, r.cut = nil, nil, false, false
}

// Held returns how many edges are kept and their first and last time, ns.
func (r *Ring) Held() (edges int, from, to int64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.chunks) == 0 {
		return 0, 0, 0
	}
	first := r.chunks[0]
	return int(r.seq - first.seq), max(first.edges[0].At, r.from()), r.last
}

// drop lets go of whole chunks that are too old, or too many.
func (r *Ring) drop() {
	n := 0
	for n < len(r.chunks)-1 {
		old := r.chunks[n].last < r.from()
		if !old && r.seq-r.chunks[n+1].seq < uint64(r.limit) {
			break
		}
		r.cut = !old
		n++
	}
	if n == 0 {
		return
	}
	first := r.chunks[n].seq
	clear(r.chunks[:n])
	r.chunks = r.chunks[n:]
	k := 0
	for k < len(r.notes) && r.notes[k].seq < first {
		r.retire(r.notes[k].Note)
		k++
	}
	r.notes = r.notes[k:]
}

// from returns the earliest time that is kept.
func (r *Ring) from() int64 { return r.last - r.keep }

// retire remembers what a dropped note leaves in force.
func (r *Ring) retire(n Note) {
	s := span{from: n.When() + 1, settings: r.settings, devices: r.devices}
	switch n.(type) {
	case Settings, Device:
		s.keepNote(n)
		r.settings, r.devices = s.settings, s.devices
	}
}

// Save writes what is kept to the new file path as a take. It never overwrites;
// the file is there only when it is whole. Edges go on being taken in
// meanwhile. A press that began before the time kept is left out whole.
func (r *Ring) Save(ctx context.Context, path string) error {
	snap := r.snapshot()
	err := createFile(path, func(w io.Writer) error { return snap.write(ctx, NewWriter(w)) })
	if err != nil {
		return fmt.Errorf("saving the last %v as a take: %w", time.Duration(r.keep), err)
	}
	return nil
}

// ringSnapshot is what a ring held at one moment.
type ringSnapshot struct {
	header Header
	chunks []*chunk
	sizes  []int // edges of each chunk at that moment
	notes  []noted
	span   *span
}

func (r *Ring) snapshot() ringSnapshot {
	r.mu.Lock()
	defer r.mu.Unlock()
	s := ringSnapshot{header: r.header, span: newSpan(r.from(), r.last)}
	if s.header.ID == [8]byte{} {
		s.header.ID = NewID()
	}
	for _, c := range r.chunks {
		s.chunks = append(s.chunks, c)
		s.sizes = append(s.sizes, c.n)
	}
	s.notes = append(s.notes, r.notes...)
	s.span.settings = append(s.span.settings, r.settings...)
	s.span.devices = append(s.span.devices, r.devices...)
	return s
}

func (s ringSnapshot) write(ctx context.Context, w *Writer) error {
	if err := w.Header(s.header); err != nil {
		return err
	}
	notes := s.notes
	upTo := func(seq uint64) error {
		for len(notes) > 0 && notes[0].seq <= seq {
			n := notes[0].Note
			notes = notes[1:]
			if s.span.keepNote(n) {
				if err := s.span.open(w, max(n.When(), s.span.from)); err != nil {
					return err
				}
				if err := w.Note(n); err != nil {
					return err
				}
			}
		}
		return nil
	}
	for i, c := range s.chunks {
		if err := ctx.Err(); err != nil {
			return err
		}
		for k := range s.sizes[i] {
			if err := upTo(c.seq + uint64(k)); err != nil {
				return err
			}
			e := c.edges[k]
			if !s.span.keepEdge(e) {
				continue
			}
			if err := s.span.open(w, e.At); err != nil {
				return err
			}
			if err := w.Edge(e); err != nil {
				return err
			}
		}
	}
	if err := upTo(1<<64 - 1); err != nil {
		return err
	}
	if err := s.span.open(w, s.span.from); err != nil {
		return err
	}
	return w.End(s.span.to)
}
