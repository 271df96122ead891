package take

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"iter"
	"slices"

	"holdgap/capture"
)

// ErrEmpty is the error of a file that ends before anything was recorded.
var ErrEmpty = errors.New("the take is empty: the recording was cut off before it began")

// ErrForeign is wrapped by the error of a file that is not a take.
var ErrForeign = errors.New("not a take")

// searchLimit is how far into a file without signature a reader looks for a
// block, in bytes, before it calls the file foreign.
const searchLimit = 1 << 20

// bufferSize is the size of the reader's only buffer, in bytes. It must hold the
// largest block.
const bufferSize = 4 * maxBlock

// Reader reads a take from beginning to end, through whatever damage it has.
// Call [Reader.Next] until it returns false, then look at [Reader.Err] and
// [Reader.Report]. A reader uses a fixed amount of memory (about 300 KB)
// however long the take, and allocates nothing for edges. One caller at a time.
type Reader struct {
	src     io.Reader
	buf     []byte
	r, w    int   // unread part of buf
	off     int64 // offset in the file of buf[r]
	eof     bool
	err     error
	started bool
	begun   bool   // a good block was met
	foreign bool   // no signature
	head    []byte // first bytes of a file without signature
	done    bool

	batch [BlockEdges]capture.Edge
	n     int
	note  Note

	header    Header
	hasHeader bool
	lastAt    int64 // of the last edge, or the start of the recording
	hasLast   bool
	skipFrom  int64 // offset of the damage that is being passed, -1 if none
	cutOff    bool  // that damage began as a block that the file's end cuts off
	open      bool  // the report's last damage still wants the time after it
	rep       Report

	// OnFill, if set, is called before each read of the file with the offset
	// (bytes) reached; an error of it ends reading. It is where a context and a
	// progress bar look in, also within long damage.
	OnFill func(offset int64) error
	// Deep makes the reader search the whole of a file without signature for
	// blocks, not only its first megabyte.
	Deep bool
}

// NewReader returns a reader of a take from its first byte.
func NewReader(src io.Reader) *Reader {
	return &Reader{src: src, buf: make([]byte, bufferSize), skipFrom: -1}
}

// newReaderAt returns a reader that begins at the block at an offset.
func newReaderAt(src io.Reader, offset int64, h Header) *Reader {
	r := NewReader(src)
	r.off, r.started, r.begun = offset, true, true
	r.header, r.hasHeader = h, true
	return r
}

// Next reads the next block: either some edges ([Reader.Batch] is not empty) or
// a note ([Reader.Note] is not nil). It returns false at the end or when
// reading failed. Damage comes as a note of type [Damage], in its place.
func (r *Reader) Next() bool {
	r.n, r.note = 0, nil
	if r.err != nil || r.done || (!r.started && !r.start()) {
		return false
	}
	for {
		size, ok := r.block()
		switch {
		case r.err != nil:
			return false
		case !ok && r.r == r.w:
			return r.finish()
		case !ok:
			if r.skip(); r.err != nil {
				return false
			}
			continue
		}
		b := r.buf[r.r : r.r+size]
		if r.skipFrom >= 0 {
			r.lose(r.skipFrom, r.off-r.skipFrom, "bytes that are no block of a take")
			r.skipFrom = -1
			r.sayBefore(b)
			return true
		}
		r.consume(size)
		r.begun = true
		if b[2]&edgesBit != 0 {
			r.edges(b)
			return true
		}
		if r.other(b) {
			return true
		}
		if r.done {
			return false
		}
	}
}

// Batch returns the edges that Next read, at most [BlockEdges], or nothing if
// it read a note. It is valid until the next call of Next.
func (r *Reader) Batch() []capture.Edge { return r.batch[:r.n] }

// Note returns the note that Next read, or nil if it read edges.
func (r *Reader) Note() Note { return r.note }

// Err returns why reading stopped before the end: an error of the file, of
// OnFill, [ErrEmpty], or one that wraps [ErrForeign]. Damage is not an error.
func (r *Reader) Err() error { return r.err }

// Header returns the take's header, and whether it was met.
func (r *Reader) Header() (Header, bool) { return r.header, r.hasHeader }

// Report returns what was read and lost so far.
func (r *Reader) Report() Report {
	rep := r.rep
	rep.Bytes = r.off
	rep.Damages = slices.Clone(rep.Damages)
	return rep
}

// Edges returns the edges from here on, in the order of the file; notes are
// passed over. An error comes last, with a zero edge.
func (r *Reader) Edges() iter.Seq2[capture.Edge, error] {
	return func(yield func(capture.Edge, error) bool) {
		for r.Next() {
			for _, e := range r.batch[:r.n] {
				if !yield(e, nil) {
					return
				}
			}
		}
		if r.err != nil {
			yield(capture.Edge{}, r.err)
		}
	}
}

// start looks at the signature.
func (r *Reader) start() bool {
	r.started = true
	have := r.need(len(Signature))
	if r.err != nil {
		return false
	}
	b := r.buf[r.r:r.w]
	switch {
	case have && string(b[:len(Signature)]) == Signature:
		r.consume(len(Signature))
	case !have && bytes.HasPrefix([]byte(Signature), b):
		r.err = ErrEmpty
		return false
	default:
		r.foreign = true
		r.head = bytes.Clone(b[:min(len(b), len(Signature))])
	}
	return true
}

// block looks for a whole block with a true checksum at the read position and
// returns its size in bytes. Where the file ends within a block it is not one.
func (r *Reader) block() (size int, ok bool) {
	if r.skipFrom < 0 {
		r.cutOff = false
	}
	if !r.need(noteHead) {
		return 0, r.cut()
	}
	b := r.buf[r.r:r.w]
	if b[0] != mark0 || b[1] != mark1 {
		return 0, false
	}
	if b[2]&edgesBit != 0 {
		size = edgeHead + int(b[3]) + crcSize
	} else if b[2] == 0 {
		return 0, false
	} else {
		size = noteHead + int(binary.LittleEndian.Uint16(b[3:])) + crcSize
	}
	if size > len(b) {
		if !r.need(size) {
			return 0, r.cut()
		}
		b = r.buf[r.r:r.w]
	}
	sum := crc32.Checksum(b[2:size-crcSize], castagnoli)
	return size, sum == binary.LittleEndian.Uint32(b[size-crcSize:])
}

// cut notes that what may be a block reaches beyond the end of the file. It
// always returns false.
func (r *Reader) cut() bool {
	if r.skipFrom < 0 && r.w > r.r {
		const mark = "\xFF\xE7"
		r.cutOff = bytes.HasPrefix(r.buf[r.r:r.w], []byte(mark)) || r.w-r.r == 1 && r.buf[r.r] == mark0
	}
	return false
}

// skip passes at least one byte and all up to what may be the next mark, within
// what is buffered.
func (r *Reader) skip() {
	if r.skipFrom < 0 {
		r.skipFrom = r.off
	}
	b := r.buf[r.r:r.w]
	n := len(b)
	if i := bytes.Index(b[1:], []byte{mark0, mark1}); i >= 0 {
		n = 1 + i
	} else if len(b) > 1 && b[len(b)-1] == mark0 {
		n = len(b) - 1
	}
	r.consume(n)
	if r.foreign && !r.begun && !r.Deep && r.off > searchLimit {
		r.err = r.notATake()
	}
}

func (r *Reader) notATake() error {
	return fmt.Errorf("reading a take: the file begins with %q: %w: choose a file that holdgap recorded, or import edges from a table or a kernel stream first", r.head, ErrForeign)
}

// finish ends the reading at the end of the file, perhaps with one more note.
func (r *Reader) finish() bool {
	r.done = true
	switch {
	case r.foreign && !r.begun:
		r.err = r.notATake()
	case r.skipFrom < 0 && !r.begun, r.cutOff && !r.begun:
		r.err = ErrEmpty
	case r.skipFrom >= 0 && r.cutOff:
		r.loseTail(r.skipFrom, r.off-r.skipFrom)
		return true
	case r.skipFrom >= 0:
		r.lose(r.skipFrom, r.off-r.skipFrom, "bytes that are no block of a take")
		return true
	}
	return false
}

// edges reads a block of edges.
func (r *Reader) edges(b []byte) {
	r.rep.Blocks++
	r.n = decodeEdges(&r.batch, b[2], b[edgeHead:len(b)-crcSize])
	if r.n == 0 {
		r.rep.Unknown++
		r.rep.UnknownBytes += int64(len(b))
		r.lose(r.off-int64(len(b)), int64(len(b)), "a block of edges that this version cannot read")
		return
	}
	first, last := r.batch[0].At, r.batch[r.n-1].At
	if r.open {
		r.close(first)
	}
	if r.rep.Edges == 0 {
		r.rep.First, r.rep.Last = first, last
	}
	r.rep.First, r.rep.Last = min(r.rep.First, first), max(r.rep.Last, last)
	r.rep.Edges += int64(r.n)
	r.lastAt, r.hasLast = last, true
}

// other reads a block that is not edges, and returns whether it made a note.
func (r *Reader) other(b []byte) bool {
	r.rep.Blocks++
	n, known, ok := decodeNote(b[2], b[noteHead:len(b)-crcSize])
	at := r.off - int64(len(b))
	if !known || !ok {
		r.rep.Unknown++
		r.rep.UnknownBytes += int64(len(b))
		if known {
			r.lose(at, int64(len(b)), "a note that this version cannot read")
		}
		return known
	}
	switch n := n.(type) {
	case Header:
		if r.hasHeader && n.ID == r.header.ID {
			return false
		}
		if r.hasHeader {
			r.done = true
			r.rep.Another = at
			r.lose(at, 0, "another take begins here and was not read")
			return true
		}
		r.header, r.hasHeader = n, true
		if n.Version > Version {
			r.rep.Newer = n.Version
		}
		if !r.hasLast {
			r.lastAt, r.hasLast = n.StartAt, true
		}
	case Loss:
		r.rep.NotRecorded += n.Edges
	case End:
		r.rep.Closed = true
		r.rep.Missing = int64(n.Edges) - r.rep.Edges
		if r.open {
			r.close(n.At)
		}
	}
	r.note = n
	return true
}

// need makes n bytes available at the read position; false at the end of the
// file, or with err set.
func (r *Reader) need(n int) bool {
	for r.w-r.r < n {
		if r.eof || r.err != nil {
			return false
		}
		if r.r > 0 {
			copy(r.buf, r.buf[r.r:r.w])
			r.w -= r.r
			r.r = 0
		}
		if r.OnFill != nil {
			if err := r.OnFill(r.off); err != nil {
				r.err = err
				return false
			}
		}
		k, err := r.src.Read(r.buf[r.w:])
		r.w += k
		if err == io.EOF {
			r.eof = true
		} else if err != nil {
			r.err = fmt.Errorf("reading a take at byte %d: %w", r.off+int64(r.w-r.r), err)
			return false
		}
	}
	return true
}

func (r *Reader) consume(n int) {
	r.r += n
	r.off += int64(n)
}
