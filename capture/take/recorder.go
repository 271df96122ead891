package take

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"holdgap/capture"
)

// How long an edge may wait. An edge reaches the file within flushAfter, and
// the disk within flushAfter + syncAfter and the time that the disk takes,
// which leaves a quarter of a second of the one second that may be lost.
const (
	flushAfter = 250 * time.Millisecond
	syncAfter  = 500 * time.Millisecond
)

// defaultQueue is how many edges wait for the disk before the overflow rule
// applies: minutes of play.
const defaultQueue = 8192

// packLimit is the size in bytes above which closing does not pack.
const packLimit = 256 << 20

// errQueue stops a recording whose notes pile up.
var errQueue = errors.New("recording: the disk took nothing for so long that the notes could not be kept: record to another disk")

// RecordOptions set up a [Recorder].
type RecordOptions struct {
	// Header opens the take. A zero ID is replaced by a random one.
	Header Header
	// Settings in force at the start, if any.
	Settings []Settings
	// Queue is how many edges may wait for the disk; 0 means 8192.
	Queue int
	// OnError, if set, is told once, from a goroutine of the recorder, why
	// recording stopped (a full disk, for example). What was written by then
	// stays readable. It must return soon and not call Close.
	OnError func(error)
	// NoPack leaves the short blocks of the live recording as they are.
	NoPack bool
}

// Recorder writes a take while it happens. Its methods are safe for concurrent
// use and never wait for the disk.
//
// Overflow rule: at most Queue edges wait. Edges that find the queue full are
// counted, and a [Loss] note with their number and times is written in their
// place. Notes are never dropped: if as many notes again pile up, recording
// stops with an error.
type Recorder struct {
	path    string
	opts    RecordOptions
	file    recordFile
	w       *Writer
	good    int64 // bytes of the file that are whole blocks
	wake    chan struct{}
	closing chan struct{}
	ended   chan struct{} // the owner has returned
	once    sync.Once
	closeAt int64
	closed  error // what Close returns

	mu     sync.Mutex
	queue  []queued
	status RecordStatus
	fault  error // to stop with, found by a caller
	stop   bool  // nothing is taken in any more
}

// recordFile is what a recorder needs of a file.
type recordFile interface {
	io.WriteCloser
	Sync() error
	Truncate(size int64) error
}

// queued is an edge, or a note where there is one.
type queued struct {
	edge capture.Edge
	note Note
}

// RecordStatus says how a recording goes.
type RecordStatus struct {
	Edges uint64 // taken in
	Lost  uint64 // refused, since the queue was full or recording had stopped
	Bytes int64  // written
	Err   error  // why recording stopped, nil while it goes on
}

// Record creates the file, which must not exist, and begins to record. The file
// can be read by its owner only.
func Record(path string, o RecordOptions) (*Recorder, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, hint(fmt.Errorf("beginning a take: %w", err))
	}
	err = syncDir(filepath.Dir(path))
	var r *Recorder
	if err == nil {
		r, err = record(f, path, o)
	}
	if err != nil {
		_ = f.Close()
		_ = os.Remove(path) // nothing was recorded yet
		return nil, hint(fmt.Errorf("beginning a take in %q: %w", path, err))
	}
	return r, nil
}

// record begins to record into a file that is empty.
func record(f recordFile, path string, o RecordOptions) (*Recorder, error) {
	if o.Queue <= 0 {
		o.Queue = defaultQueue
	}
	if o.Header.ID == [8]byte{} {
		o.Header.ID = NewID()
	}
	r := &Recorder{
		path: path, opts: o, file: f, w: NewWriter(f),
		wake: make(chan struct{}, 1), closing: make(chan struct{}), ended: make(chan struct{}),
		queue: make([]queued, 0, o.Queue+1),
	}
	if err := r.w.Header(o.Header); err != nil {
		return nil, err
	}
	for _, s := range o.Settings {
		if err := r.w.Note(s); err != nil {
			return nil, err
		}
	}
	if err := f.Sync(); err != nil {
		return nil, err
	}
	r.good = r.w.Bytes()
	r.status.Bytes = r.good
	go r.run()
	return r, nil
}

// NewID returns a random take id.
func NewID() (id [8]byte) {
	_, _ = rand.Read(id[:]) // never fails, see crypto/rand
	return id
}

// Edge records an edge. It never waits; see the overflow rule.
func (r *Recorder) Edge(e capture.Edge) {
	r.mu.Lock()
	switch {
	case r.stop:
		r.status.Lost++
	case len(r.queue) < r.opts.Queue:
		r.queue = append(r.queue, queued{edge: e})
		r.status.Edges++
	default:
		r.overflow(e)
	}
	r.mu.Unlock()
	r.poke()
}

// growing is a loss that is still in the queue and grows.
type growing struct{ Loss }

// overflow counts an edge in the loss note at the end of the full queue.
func (r *Recorder) overflow(e capture.Edge) {
	r.status.Lost++
	if l, ok := r.queue[len(r.queue)-1].note.(*growing); ok {
		l.From, l.To, l.Edges = min(l.From, e.At), max(l.To, e.At), l.Edges+1
		return
	}
	r.queue = append(r.queue, queued{note: &growing{Loss{From: e.At, To: e.At, Edges: 1, Reason: "the disk was too slow and the queue was full"}}})
}

// Note records a note after the edges so far. It never waits. A note that no
// take can hold (too long, or not text) is refused with an error.
func (r *Recorder) Note(n Note) error {
	if _, header := n.(Header); header {
		return fmt.Errorf("writing a take's header: it has one already")
	}
	if _, err := appendNote(nil, n); err != nil {
		return err
	}
	r.mu.Lock()
	switch {
	case r.stop:
	case len(r.queue) < 2*r.opts.Queue:
		r.queue = append(r.queue, queued{note: n})
	default:
		r.stop, r.fault = true, errQueue
	}
	r.mu.Unlock()
	r.poke()
	return nil
}

// Status returns how the recording goes.
func (r *Recorder) Status() RecordStatus {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.status
}

// Path returns the file's path.
func (r *Recorder) Path() string { return r.path }

// Close writes what waits, closes the take at a time on the edges' clock (ns)
// and packs it. It returns why recording stopped early, if it did. Only the
// first call does anything; others return the same.
func (r *Recorder) Close(at int64) error {
	r.once.Do(func() {
		r.mu.Lock()
		r.stop = true
		r.mu.Unlock()
		r.closeAt = at
		close(r.closing)
		<-r.ended
		if r.closed == nil && !r.opts.NoPack && r.path != "" && r.w.Bytes() <= packLimit {
			// Packing only saves space. If it fails the take is as good as before.
			_ = Pack(context.Background(), r.path)
		}
	})
	<-r.ended
	return r.closed
}

func (r *Recorder) poke() {
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// run owns the file. Only the syncing is done by another goroutine, for which
// it waits, so that a slow disk does not keep edges from the system's cache.
func (r *Recorder) run() {
	defer close(r.ended)
	request, done := make(chan struct{}, 1), make(chan error, 1)
	go func() {
		defer close(done)
		for range request {
			done <- r.file.Sync()
		}
	}()
	flush, sync := time.NewTimer(time.Hour), time.NewTimer(time.Hour)
	flush.Stop()
	sync.Stop()
	defer flush.Stop()
	defer sync.Stop()
	var (
		spare    = make([]queued, 0, r.opts.Queue+1)
		flushing bool // flush is set
		waiting  bool // sync is set
		syncing  bool // a request is with the other goroutine
		late     bool // the next request is due when that one is done
		seen     = r.good
		edges    = r.w.Edges()
	)
	for closing := false; !closing; {
		var err error
		select {
		case <-r.wake:
			spare, err = r.drain(spare)
		case <-flush.C:
			flushing = false
			err = r.w.Flush()
		case <-sync.C:
			waiting = false
			late = syncing
			if !syncing {
				syncing = true
				request <- struct{}{}
			}
		case err = <-done:
			syncing = false
			if late {
				late, syncing = false, true
				request <- struct{}{}
			}
		case <-r.closing:
			closing = true
		}
		if err != nil {
			r.halt(err)
		}
		if n := r.w.Edges(); n != edges {
			// A block went out: what is pending now has only just come.
			edges, flushing = n, false
			flush.Stop()
		}
		if r.w.Pending() > 0 && !flushing {
			flushing = true
			flush.Reset(flushAfter)
		}
		if r.account() != seen && !waiting && !late {
			seen, waiting = r.good, true
			sync.Reset(syncAfter)
		}
	}
	close(request)
	for err := range done {
		if err != nil {
			r.halt(err)
		}
	}
	r.finish(spare)
}

// drain writes what waits, and returns the emptied queue to be used next.
func (r *Recorder) drain(spare []queued) ([]queued, error) {
	r.mu.Lock()
	items := r.queue
	r.queue = spare[:0]
	failed, fault := r.status.Err != nil, r.fault
	r.mu.Unlock()
	defer clear(items) // let go of the notes
	if failed {
		return items, nil
	}
	for i := range items {
		var err error
		switch n := items[i].note.(type) {
		case nil:
			e := items[i].edge
			if err = r.w.Edge(e); err != nil && r.w.err == nil {
				err = r.w.Note(Loss{From: e.At, To: e.At, Edges: 1, Reason: err.Error()})
			}
		case *growing:
			err = r.w.Note(n.Loss)
		default:
			err = r.w.Note(n)
		}
		if err != nil {
			return items, err
		}
	}
	return items, fault
}

// account takes note of whole blocks written.
func (r *Recorder) account() int64 {
	if n := r.w.Bytes(); n != r.good {
		r.good = n
		r.mu.Lock()
		r.status.Bytes = n
		r.mu.Unlock()
	}
	return r.good
}

// halt stops recording for good: what was written is cut back to whole blocks.
func (r *Recorder) halt(err error) {
	err = hint(fmt.Errorf("recording stopped, and what was recorded before is kept in %q: %w", r.path, err))
	r.account()
	r.mu.Lock()
	if r.status.Err != nil {
		r.mu.Unlock()
		return
	}
	r.status.Err, r.stop = err, true
	dropped := r.status.Edges - min(r.status.Edges, r.w.Edges())
	r.status.Edges -= dropped
	r.status.Lost += dropped
	r.queue = r.queue[:0]
	r.mu.Unlock()
	r.w.fail(err)
	// Both may fail too; a reader copes with half a block at the end.
	_ = r.file.Truncate(r.good)
	_ = r.file.Sync()
	r.closed = err
	if r.opts.OnError != nil {
		r.opts.OnError(err)
	}
}

// finish closes the take and the file.
func (r *Recorder) finish(spare []queued) {
	if _, err := r.drain(spare); err != nil {
		r.halt(err)
	}
	if r.closed == nil {
		err := r.w.End(r.closeAt)
		if err == nil {
			err = r.file.Sync()
		}
		if err != nil {
			r.halt(err)
		}
		r.account()
	}
	if err := r.file.Close(); err != nil && r.closed == nil {
		r.closed = fmt.Errorf("closing the take %q: %w", r.path, err)
	}
}

// hint adds a line with the remedy to an error of the file system.
func hint(err error) error {
	var advice string
	switch {
	case err == nil:
		return nil
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		advice = "free some space on that disk, or choose another folder"
	case errors.Is(err, syscall.EFBIG):
		advice = "the system does not let this file grow: begin a new take"
	case errors.Is(err, os.ErrPermission), errors.Is(err, syscall.EROFS):
		advice = "choose a folder that you may write to"
	case errors.Is(err, os.ErrExist):
		advice = "choose another name: takes are never overwritten"
	case errors.Is(err, os.ErrNotExist):
		advice = "check the name and the folder"
	default:
		return err
	}
	return fmt.Errorf("%w\n%s", err, advice)
}
