package take

import (
	"fmt"
	"io"
	"math"

	"holdgap/capture"
)

// Writer encodes a take. It writes whole blocks only, one call of the
// underlying Write for each, and keeps up to 16 edges until [Writer.Flush]. It
// has no clock and starts no goroutine; one caller at a time.
type Writer struct {
	w       io.Writer
	pending [BlockEdges]capture.Edge
	n       int
	buf     []byte
	edges   uint64
	bytes   int64
	started bool
	err     error
}

// NewWriter returns a writer of a new take; nothing is written yet.
func NewWriter(w io.Writer) *Writer { return &Writer{w: w} }

// Header writes the signature and the header. It must be the first call.
func (w *Writer) Header(h Header) error {
	if w.started {
		return fmt.Errorf("writing a take's header: it has one already")
	}
	b, err := appendNote(append(w.buf[:0], Signature...), h)
	if err != nil {
		return err
	}
	w.started = true
	return w.write(b)
}

// Edge takes one edge in, and writes a block when 16 are there. Edges are kept
// in the order in which they come, also where their times go back.
func (w *Writer) Edge(e capture.Edge) error {
	if err := w.ready(); err != nil {
		return err
	}
	if e.Button >= capture.MaxButtons || e.Key >= capture.MaxKeys {
		return fmt.Errorf("writing an edge of button %d, key %d into a take: the limits are %d buttons and %d keys", e.Button, e.Key, capture.MaxButtons, capture.MaxKeys)
	}
	if w.n > 0 {
		last := w.pending[w.n-1].At
		if e.At < last || uint64(e.At)-uint64(last) > math.MaxInt64 {
			if err := w.Flush(); err != nil {
				return err
			}
		}
	}
	w.pending[w.n] = e
	w.n++
	if w.n == BlockEdges {
		return w.Flush()
	}
	return nil
}

// Note writes a note after the edges so far. A [Damage] and a second header are
// refused.
func (w *Writer) Note(n Note) error {
	if err := w.ready(); err != nil {
		return err
	}
	if _, second := n.(Header); second {
		return fmt.Errorf("writing a take's header: it has one already")
	}
	if err := w.Flush(); err != nil {
		return err
	}
	b, err := appendNote(w.buf[:0], n)
	if err != nil {
		return err
	}
	return w.write(b)
}

// End writes the closing note, with the number of edges, at a time (ns).
func (w *Writer) End(at int64) error {
	if err := w.Flush(); err != nil {
		return err
	}
	return w.Note(End{At: at, Edges: w.edges})
}

// Flush writes the edges that were kept.
func (w *Writer) Flush() error {
	if w.err != nil || w.n == 0 {
		return w.err
	}
	n := w.n
	w.n = 0
	if err := w.write(appendEdges(w.buf[:0], w.pending[:n])); err != nil {
		return err
	}
	w.edges += uint64(n)
	return nil
}

// Pending returns how many edges are kept for the next block.
func (w *Writer) Pending() int { return w.n }

// Edges returns how many edges were written, without the pending ones.
func (w *Writer) Edges() uint64 { return w.edges }

// Bytes returns how many bytes were written.
func (w *Writer) Bytes() int64 { return w.bytes }

func (w *Writer) ready() error {
	if w.err == nil && !w.started {
		return fmt.Errorf("writing into a take: its header comes first")
	}
	return w.err
}

// write hands a block on. After an error nothing more is written: what follows
// half a block would only be found by resynchronising.
func (w *Writer) write(b []byte) error {
	w.buf = b
	if w.err != nil {
		return w.err
	}
	if _, err := w.w.Write(b); err != nil {
		w.err = fmt.Errorf("writing a take: %w", err)
		return w.err
	}
	w.bytes += int64(len(b))
	return nil
}

// fail keeps anything more from being written.
func (w *Writer) fail(err error) {
	w.n = 0
	if w.err == nil {
		w.err = err
	}
}
