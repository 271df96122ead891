package live

import (
	"slices"

	"holdgap/capture"
)

// hooks are what others asked to be told. All are called without the lock.
type hooks struct {
	chord func(does string, at int64)
	mark  func(at int64)
}

// OnChord calls f whenever a chord came about, with what it does and when (ns)
// it was complete; nil ends it. A chord that pauses has done so, and one that
// marks has been marked; to start and stop takes is f's. While input is paused
// only a chord that pauses does anything: it ends the pause.
func (e *Engine) OnChord(f func(does string, at int64)) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.hooks.chord = f
}

// OnMark calls f for every mark that is set, with its time in ns; nil ends it.
func (e *Engine) OnMark(f func(at int64)) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.hooks.mark = f
}

// Mark sets a mark at a time (ns), which is for whoever records to keep.
func (e *Engine) Mark(at int64) {
	e.mu.Lock()
	f := e.hooks.mark
	e.mu.Unlock()
	if f != nil {
		f(at)
	}
}

// OnDevice calls f for every device that is there, and then whenever one comes,
// changes its description, or goes (here is false). f is called with the
// engine's lock held: it must return at once and must not call the engine. The
// returned function ends it.
func (e *Engine) OnDevice(f func(d capture.Device, here bool)) (end func()) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.tapID++
	id := e.tapID
	e.watchers[id] = f
	for _, d := range e.devices {
		f(d, true)
	}
	return func() {
		e.mu.Lock()
		defer e.mu.Unlock()
		delete(e.watchers, id)
	}
}

func (e *Engine) tellDevice(d capture.Device, here bool) {
	for _, f := range e.watchers {
		f(d, here)
	}
}

// sameChords reports whether two lists are the same.
func sameChords(a, b []Chord) bool {
	return slices.EqualFunc(a, b, func(x, y Chord) bool { return x.Does == y.Does && slices.Equal(x.Buttons, y.Buttons) })
}

// renewChords begins anew with the setup's chords. What was held back is
// recorded, since nothing can become a chord of it any more. The lock is held.
func (e *Engine) renewChords() {
	if e.chords != nil {
		for w, ok := e.chords.flush(); ok; w, ok = e.chords.flush() {
			e.record(w)
		}
	}
	e.chords = newChords(e.setup.Chords)
}

// record gives an edge to the taps that were there when it came.
func (e *Engine) record(w waiting) {
	for id, f := range e.taps {
		if id <= w.taps {
			f(w.edge)
		}
	}
}

// play shows an edge that is no chord's, keeps it, and records it as soon as it
// is sure to be play. The lock is held.
func (e *Engine) play(edge capture.Edge) {
	if len(e.chords.list) == 0 {
		e.keep(&edge)
		e.record(waiting{edge: edge, taps: e.tapID})
		return
	}
	e.chordsUntil(edge.At)
	if e.chords.swallow(edge) {
		return
	}
	e.keep(&edge)
	e.chords.take(edge, e.tapID)
	e.recordSure()
}

func (e *Engine) recordSure() {
	for w, ok := e.chords.next(); ok; w, ok = e.chords.next() {
		e.record(w)
	}
}

// chordsUntil looks for chords that are complete by a time (ns). The lock is held.
func (e *Engine) chordsUntil(at int64) {
	for f, ok := e.chords.advance(at); ok; f, ok = e.chords.advance(at) {
		e.formed = append(e.formed, f)
		if !e.status.paused {
			e.forget(f)
		}
	}
	e.recordSure()
}

// forget takes a chord's edges back: the session is made anew without them, and
// so are the strips.
func (e *Engine) forget(f formed) {
	kept := make([]capture.Edge, 0, keepEdges)
	for _, edge := range slices.Backward(e.edges) {
		if n := &f.edges[edge.Button]; f.mask&(1<<edge.Button) != 0 && *n > 0 {
			*n--
			continue
		}
		kept = append(kept, edge)
	}
	slices.Reverse(kept)
	e.edges = kept
	e.reset(kept)
}

// hushed looks for chords in edges that come while input is paused, or that
// only let go of what was pressed then: they are neither shown nor recorded.
func (e *Engine) hushed(edges []capture.Edge) {
	for _, edge := range edges {
		e.chordsUntil(edge.At)
		if !e.chords.swallow(edge) {
			e.chords.take(edge, -1)
		}
	}
	e.recordSure()
}

// carryOut does what the chords do that came about, and keeps the calls that
// have to wait until the lock is given back. The lock is held.
func (e *Engine) carryOut() {
	for len(e.formed) > 0 {
		f := e.formed[0]
		e.formed = e.formed[1:]
		if f.does == "pause" {
			e.pause(!e.status.paused)
		} else if e.status.paused {
			continue
		}
		e.calls = append(e.calls, f)
	}
}

// callBack tells the hooks. It takes the lock itself.
func (e *Engine) callBack() {
	e.mu.Lock()
	calls, h := e.calls, e.hooks
	e.calls = nil
	e.mu.Unlock()
	for _, f := range calls {
		if f.does == "mark" && h.mark != nil {
			h.mark(f.at)
		}
		if h.chord != nil {
			h.chord(f.does, f.at)
		}
	}
}
