// Package live runs a session on sources as they happen: it binds their inputs
// to buttons, keeps the session's time, and publishes what comes about.
//
// The [Engine] is the one place where time, sources and the session meet. It
// never lets a source wait: what is slow (viewers, disks) hangs behind queues.
package live

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"holdgap/capture"
	"holdgap/overlay/session"
	"holdgap/web/hub"
	"holdgap/web/wire"
)

const (
	// KernelLag is how long the session waits before it takes a frame as read,
	// in ns: a busy machine may hand over a kernel event that much after its
	// time. Presses are shown at once all the same; only certainty waits.
	KernelLag = 8_000_000
	// heartbeat is how often viewers hear where the grid stands when nothing
	// happens, in ns.
	heartbeat = 250_000_000
	// keepEdges is how many edges are kept to judge anew when the setup changes.
	keepEdges = 4096
)

// Options of an engine.
type Options struct {
	Setup Setup
	// Now returns ns on the monotonic clock that stamps the edges.
	Now func() int64
	Log zerolog.Logger
}

// Engine takes what sources yield. It is a [capture.Sink]. Make one with [New].
type Engine struct {
	opts Options
	hub  *hub.Hub
	ids  idPool

	mu      sync.Mutex
	setup   Setup
	mapper  *capture.Mapper
	session *session.Session
	out     *collector
	edges   []capture.Edge // the newest, for judging anew
	buf     []capture.Edge
	devices []capture.Device
	lags    map[uint16]int64
	// dismissed are demo devices that a real one has replaced; the performer
	// may still be letting go.
	dismissed map[uint16]bool
	troubles  []wire.Trouble
	status    statusFlags
	taps      map[int]func(capture.Edge)
	tapID     int
	inputs    map[int]listener
	last      int64 // ns of the newest publication
	changed   chan struct{}
	counts    Counts
	chords    *chords
	formed    []formed // chords that came about and are to be carried out
	calls     []formed // of them, those that the hooks are to hear of
	hooks     hooks
	watchers  map[int]func(capture.Device, bool)
}

// listener hears of inputs; one that learns wants those of unbound keys too.
type listener struct {
	hear  func(capture.Input)
	learn bool
}

type statusFlags struct{ paused, take, replay bool }

// Counts are what an engine did since it was made.
type Counts struct {
	Inputs uint64 // from sources
	Edges  uint64 // bound
	Late   uint64 // edges that came behind the session's time
}

// New returns an engine that judges by a setup that passed [Setup.Check].
func New(o Options) *Engine {
	e := &Engine{opts: o, setup: o.Setup, lags: map[uint16]int64{}, dismissed: map[uint16]bool{},
		taps: map[int]func(capture.Edge){}, inputs: map[int]listener{}, watchers: map[int]func(capture.Device, bool){}, changed: make(chan struct{}, 1)}
	clock := o.Setup.Clock()
	e.hub = hub.New(func() float64 { return clock.Position(o.Now()) })
	e.reset(nil)
	e.publishStatus()
	return e
}

// Hub returns where viewers join.
func (e *Engine) Hub() *hub.Hub { return e.hub }

// IDs hands out device numbers for sources.
func (e *Engine) IDs() capture.IDs { return &e.ids }

// Setup returns the setup in force.
func (e *Engine) Setup() Setup {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.setup
}

// Counts returns what happened so far.
func (e *Engine) Counts() Counts {
	e.mu.Lock()
	defer e.mu.Unlock()
	c := e.counts
	c.Late += e.session.Late()
	return c
}

// Change puts another setup in force at once and judges the newest edges anew
// by it, as far as the layout stayed the same.
func (e *Engine) Change(s Setup) error {
	if err := s.Check(); err != nil {
		return err
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	edges := e.edges
	if !sameLayout(e.setup.Layout, s.Layout) || e.setup.Cleaning != s.Cleaning {
		e.releaseAll()
		edges = nil
	}
	chords := !sameChords(e.setup.Chords, s.Chords)
	e.setup = s
	if chords {
		e.renewChords()
	}
	clock := s.Clock()
	e.hub.SetPosition(func() float64 { return clock.Position(e.opts.Now()) })
	e.reset(edges)
	e.publishStatus()
	return nil
}

func sameLayout(a, b capture.Layout) bool {
	if len(a.Buttons) != len(b.Buttons) {
		return false
	}
	for i := range a.Buttons {
		x, y := a.Buttons[i], b.Buttons[i]
		if x.Label != y.Label || x.Role != y.Role || len(x.Keys) != len(y.Keys) {
			return false
		}
		for k := range x.Keys {
			if x.Keys[k] != y.Keys[k] {
				return false
			}
		}
	}
	return true
}

// reset begins a new session with the setup in force, fed with edges, and
// publishes all of it. The lock is held.
func (e *Engine) reset(edges []capture.Edge) {
	if e.session != nil {
		e.counts.Late += e.session.Late()
	}
	if e.mapper == nil || edges == nil {
		e.mapper = capture.NewMapper(e.setup.Layout, e.setup.Cleaning)
		e.edges = make([]capture.Edge, 0, keepEdges)
		e.renewChords()
	}
	e.out = newCollector(&e.setup)
	e.out.grain = e.grain()
	e.session = session.New(e.setup.session(), e.out)
	for _, edge := range edges {
		e.session.Edge(edge)
	}
	u := wire.Update{Whole: true, Setup: e.setup.wire(), Status: e.wireStatus()}
	e.out.take(&u, false)
	u.Streak = wire.OfStreak(e.session.Streak())
	e.publish(u)
}

// Input takes an input from a source.
func (e *Engine) Input(in capture.Input) {
	if e.input(in) {
		e.callBack()
	}
}

// input takes an input and reports whether hooks are to be called.
func (e *Engine) input(in capture.Input) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.counts.Inputs++
	for _, l := range e.inputs {
		l.hear(in)
	}
	if e.dismissed[in.Device] {
		return false
	}
	// A clock that runs ahead must not drag the session's time along.
	in.At = min(in.At, e.opts.Now())
	// Whole microseconds, as the kernel stamps: finer times mean nothing and
	// cost room in a take.
	in.At -= in.At % 1000
	e.buf = e.mapper.Map(in, e.buf[:0])
	if e.status.paused {
		e.hushed(e.buf)
	} else {
		e.take(e.buf)
	}
	e.carryOut()
	return len(e.calls) > 0
}

// Edges takes edges that are bound already, as a take plays them.
func (e *Engine) Edges(edges ...capture.Edge) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.status.paused {
		return
	}
	for _, edge := range edges { // a take has no chords in it
		e.keep(&edge)
		e.record(waiting{edge: edge, taps: e.tapID})
	}
	e.flush()
}

// take takes edges as they happen. The lock is held.
func (e *Engine) take(edges []capture.Edge) {
	for _, edge := range edges {
		e.play(edge)
	}
	e.flush()
}

// keep gives an edge to the session, sets the time that it counts for, and
// keeps it for judging anew.
func (e *Engine) keep(edge *capture.Edge) {
	e.counts.Edges++
	edge.At = e.session.Edge(*edge)
	if len(e.edges) == keepEdges {
		n := copy(e.edges, e.edges[keepEdges/4:])
		e.edges = e.edges[:n]
	}
	e.edges = append(e.edges, *edge)
}

// flush publishes what the session reported. The lock is held.
func (e *Engine) flush() {
	var u wire.Update
	if !e.out.take(&u, true) {
		return
	}
	if len(u.Outcomes) > 0 {
		u.Streak = wire.OfStreak(e.session.Streak())
	}
	e.publish(u)
}

func (e *Engine) publish(u wire.Update) {
	e.last = e.opts.Now()
	if err := e.hub.Publish(u); err != nil {
		e.opts.Log.Error().Err(err).Msg("publishing an update")
	}
}

// Tap calls f for every edge from now on, with the time it counts for, in
// order. An edge that may be of a chord comes when that is clear, up to
// [ChordSpread] and [ChordHold] later, and not at all if it was. f must return at once.
// The returned function ends it.
func (e *Engine) Tap(f func(capture.Edge)) (end func()) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.tapID++
	id := e.tapID
	e.taps[id] = f
	return func() {
		e.mu.Lock()
		defer e.mu.Unlock()
		e.chords.waiting(func(w waiting) {
			if id <= w.taps && e.taps[id] != nil {
				f(w.edge)
			}
		})
		delete(e.taps, id)
	}
}

// Listen calls f for every input from now on, bound or not, paused or not: for
// binding by pressing. f must return at once and must not call the engine.
func (e *Engine) Listen(f func(capture.Input)) (end func()) {
	return e.listen(listener{f, true})
}

// Watch is [Engine.Listen] for showing what devices do: it asks no pad for keys
// that are not bound.
func (e *Engine) Watch(f func(capture.Input)) (end func()) {
	return e.listen(listener{f, false})
}

func (e *Engine) listen(l listener) (end func()) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.tapID++
	id := e.tapID
	e.inputs[id] = l
	return func() {
		e.mu.Lock()
		defer e.mu.Unlock()
		delete(e.inputs, id)
	}
}

// Pause lets go of everything and takes nothing until it ends: hands off.
func (e *Engine) Pause(on bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if on != e.status.paused {
		e.pause(on)
	}
}

func (e *Engine) pause(on bool) {
	e.releaseAll()
	e.status.paused = on
	e.publishStatus()
}

func (e *Engine) releaseAll() {
	e.buf = e.mapper.ReleaseAll(e.opts.Now(), e.buf[:0])
	if e.status.paused {
		e.hushed(e.buf)
	} else {
		e.take(e.buf)
	}
}

// tick advances the session to now less the lag, and publishes held counts.
func (e *Engine) tick() {
	if e.step() {
		e.callBack()
	}
}

// step does so and reports whether hooks are to be called.
func (e *Engine) step() bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	now := e.opts.Now()
	e.chordsUntil(now - e.lag())
	e.carryOut()
	e.session.Advance(now - e.lag())
	var u wire.Update
	some := e.out.take(&u, true)
	if len(u.Outcomes) > 0 {
		u.Streak = wire.OfStreak(e.session.Streak())
	}
	u.Held = e.out.heldNow(e.session)
	if some || u.Held != nil || now-e.last >= heartbeat {
		e.publish(u)
	}
	return len(e.calls) > 0
}

// nextTick returns when (ns) the next frame can be taken as read.
func (e *Engine) nextTick() int64 {
	e.mu.Lock()
	defer e.mu.Unlock()
	c := e.setup.Clock()
	lag := e.lag()
	return c.Poll(c.At(e.opts.Now()-lag)) + lag + 1
}

func (e *Engine) lag() int64 {
	lag := int64(KernelLag)
	for _, l := range e.lags {
		lag = max(lag, l)
	}
	return lag
}

// SetLag says how late the inputs of a device may arrive, in ns.
func (e *Engine) SetLag(id uint16, ns int64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.lags[id] = ns
}

// ClearLag forgets what [Engine.SetLag] said.
func (e *Engine) ClearLag(id uint16) {
	e.mu.Lock()
	defer e.mu.Unlock()
	delete(e.lags, id)
}

// Learning reports whether a button is being bound by pressing, so that unbound
// keys of pads matter too.
func (e *Engine) Learning() bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, l := range e.inputs {
		if l.learn {
			return true
		}
	}
	return false
}

// Feed is a source and what it is for.
type Feed struct {
	Source capture.Source
	// Standby runs only while no other feed has a device: the demo.
	Standby bool
}

// Run keeps time and runs the feeds until ctx ends or a feed fails; it returns
// the first failure. When it returns, every feed has ended and the hub is
// closed.
func (e *Engine) Run(ctx context.Context, feeds ...Feed) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var wg sync.WaitGroup
	for _, f := range feeds {
		wg.Go(func() {
			var err error
			if f.Standby {
				err = e.standby(ctx, f.Source)
			} else {
				err = f.Source.Run(ctx, e)
			}
			if err != nil {
				cancel(err)
			}
		})
	}
	e.keepTime(ctx)
	wg.Wait()
	e.hub.Close()
	if err := context.Cause(ctx); !errors.Is(err, context.Canceled) && !errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return nil
}

func (e *Engine) keepTime(ctx context.Context) {
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
		}
		e.tick()
		timer.Reset(time.Duration(max(e.nextTick()-e.opts.Now(), 1)))
	}
}

// standby runs a source whenever no real device is there.
func (e *Engine) standby(ctx context.Context, s capture.Source) error {
	for ctx.Err() == nil {
		if e.realDevices() > 0 {
			select {
			case <-ctx.Done():
			case <-e.changed:
			}
			continue
		}
		run, stop := context.WithCancel(ctx)
		done := make(chan error, 1)
		go func() { done <- s.Run(run, e) }()
		for e.realDevices() == 0 && ctx.Err() == nil {
			select {
			case <-ctx.Done():
			case <-e.changed:
			case err := <-done:
				stop()
				return err
			}
		}
		stop()
		if err := <-done; err != nil {
			return err
		}
	}
	return nil
}
