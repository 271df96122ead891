package takes

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"holdgap/capture"
	"holdgap/capture/take"
	"holdgap/web/live"
)

// Trouble keys that a [Control] warns under.
const (
	troubleStopped = "take stopped"
	troubleLost    = "take lost"
)

// maxLate is how many of the newest marks are remembered.
const maxLate = 64

// ControlOptions set up a [Control].
type ControlOptions struct {
	Engine *live.Engine
	Folder Folder
	// Ring is how much is always kept in memory, so that it can be saved
	// afterwards; 0 keeps nothing.
	Ring time.Duration
	// Now returns ns on the clock that stamps the edges, Wall the date.
	Now  func() int64
	Wall func() time.Time
	// Profile returns the name of the profile in force, for the take; nil for none.
	Profile func() string
	// Program is written into takes, for people.
	Program string
}

// Control records what an engine hears: from [Control.Start] to [Control.Stop],
// and always the last minutes. Its methods are safe for concurrent use. Nothing
// of it ever holds up the engine. Make one with [NewControl], end it with
// [Control.Close].
type Control struct {
	o    ControlOptions
	rec  atomic.Pointer[take.Recorder]
	ring *take.Ring
	ends []func() // of listening

	mu      sync.Mutex // never held while the engine's lock is waited for by a tap
	saved   string
	late    []take.Mark // the newest
	stopped error       // why the recording that runs stopped by itself
	closed  bool
}

// NewControl returns a control that listens to the engine from now on.
func NewControl(o ControlOptions) *Control {
	c := &Control{o: o}
	if o.Ring > 0 {
		c.ring = take.NewRing(c.header(), o.Ring, 0)
		if n, err := c.settings(); err == nil {
			_ = c.ring.Note(n) // a profile too long for a take: the take is judged by the usual settings
		}
	}
	c.ends = []func(){o.Engine.Tap(c.edge), o.Engine.OnDevice(c.device)}
	return c
}

// edge is called with the engine's lock held, so it must not wait for anything.
func (c *Control) edge(e capture.Edge) {
	if r := c.rec.Load(); r != nil {
		r.Edge(e)
	}
	if c.ring != nil {
		c.ring.Edge(e)
	}
}

func (c *Control) header() take.Header {
	return take.Header{Start: c.o.Wall(), StartAt: c.o.Now(), Program: c.o.Program}
}

func (c *Control) settings() (take.Settings, error) {
	name := "everything"
	if c.o.Profile != nil {
		name = c.o.Profile()
	}
	return SettingsNote(c.o.Now(), ProfileOf(name, c.o.Engine.Setup()))
}

// Start begins to record into a new file of the folder.
func (c *Control) Start() error {
	path, err := c.o.Folder.New(c.o.Wall())
	if err != nil {
		return err
	}
	return c.StartAt(path)
}

// StartAt begins to record into a new file.
func (c *Control) StartAt(path string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.closed {
		return fmt.Errorf("recording to %q: the program is ending", path)
	}
	if r := c.rec.Load(); r != nil {
		if c.stopped == nil {
			return fmt.Errorf("recording to %q: a take is being recorded already, to %q: stop that first", path, r.Path())
		}
		_ = r.Close(c.o.Now()) // it had stopped by itself, and said so
		c.rec.Store(nil)
	}
	o := take.RecordOptions{Header: c.header(), OnError: c.failed}
	n, err := c.settings()
	if err != nil {
		return err
	}
	n.At = o.Header.StartAt
	o.Settings = []take.Settings{n}
	r, err := take.Record(path, o)
	if err != nil {
		return err
	}
	c.stopped = nil
	for _, d := range c.o.Engine.Devices() {
		_ = r.Note(take.Device{At: o.Header.StartAt, Attached: true, Device: d})
	}
	c.rec.Store(r)
	c.o.Engine.Warn(troubleStopped, "")
	c.o.Engine.Warn(troubleLost, "")
	c.o.Engine.SetTake(true)
	return nil
}

// device is called with the engine's lock held, so it must not wait for anything.
func (c *Control) device(d capture.Device, here bool) {
	n := take.Device{At: c.o.Now(), Attached: here, Device: d}
	if r := c.rec.Load(); r != nil {
		_ = r.Note(n) // one that no take can hold is not worth stopping for
	}
	if c.ring != nil {
		_ = c.ring.Note(n)
	}
}

// failed is told by the recorder why it stopped. It runs in the recorder's
// goroutine, which must go on.
func (c *Control) failed(err error) {
	c.mu.Lock()
	c.stopped = err
	c.mu.Unlock()
	c.o.Engine.Warn(troubleStopped, fmt.Sprintf("Recording stopped: %v. What was written by then stays readable; %s", err, remedy(err)))
	c.o.Engine.SetTake(false)
}

func remedy(err error) string {
	if isFull(err) {
		return "make room on the disk and record again."
	}
	return "look after the folder of takes and record again."
}

// Stop ends the recording; it returns why it ended early, if it did.
func (c *Control) Stop() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.stop()
}

func (c *Control) stop() error {
	r := c.rec.Load()
	if r == nil {
		return errors.New("stopping the recording: nothing is being recorded")
	}
	c.rec.Store(nil)
	st := r.Status()
	// Closing waits for the recorder, which may be telling [Control.failed].
	c.mu.Unlock()
	err := r.Close(c.o.Now())
	c.mu.Lock()
	c.stopped = nil
	c.o.Engine.SetTake(c.rec.Load() != nil) // another may have begun meanwhile
	c.o.Engine.Warn(troubleStopped, "")
	if st.Lost > 0 && err == nil {
		c.o.Engine.Warn(troubleLost, fmt.Sprintf("%d edges were not recorded: the disk was too slow. The take says where.", st.Lost))
	}
	return err
}

// Mark puts a note at this moment into the recording and into what is always kept.
func (c *Control) Mark(note string) error { return c.MarkAt(c.o.Now(), note) }

// MarkAt is Mark for a moment (ns) that has just been.
func (c *Control) MarkAt(at int64, note string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if strings.TrimSpace(note) == "" {
		note = "mark"
	}
	m := take.Mark{At: at, Text: note}
	r := c.rec.Load()
	if r == nil && c.ring == nil {
		return fmt.Errorf("marking %q: nothing is being recorded, and no minutes are kept: record first", note)
	}
	if r != nil {
		if err := r.Note(m); err != nil {
			return fmt.Errorf("marking %q: %w", note, err)
		}
	}
	if c.ring != nil {
		if err := c.ring.Note(m); err != nil {
			return fmt.Errorf("marking %q: %w", note, err)
		}
		if c.late = append(c.late, m); len(c.late) > maxLate {
			c.late = c.late[1:]
		}
	}
	return nil
}

// SaveRecent saves the last minutes as a take of their own.
func (c *Control) SaveRecent() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.ring == nil {
		return errors.New("saving the last minutes: none are kept: set how many in the settings, ring_minutes under [takes]")
	}
	if n, _, _ := c.ring.Held(); n == 0 {
		return errors.New("saving the last minutes: nothing was pressed in them")
	}
	path, err := c.o.Folder.New(c.o.Wall())
	if err != nil {
		return err
	}
	_, _, to := c.ring.Held()
	if err := c.ring.Save(context.Background(), path); err != nil {
		return err
	}
	c.saved = path
	// A ring ends with its last edge; a mark set since then belongs to it all the same.
	var late []take.Note
	for _, m := range c.late {
		if m.At > to {
			late = append(late, m)
		}
	}
	if len(late) > 0 {
		return take.Append(path, late...)
	}
	return nil
}

// Changed tells that the engine's setup is another now, so that the take says so.
// Call it after each [live.Engine.Change].
func (c *Control) Changed() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	n, err := c.settings()
	if err != nil {
		return err
	}
	if c.ring != nil {
		err = c.ring.Note(n)
	}
	if r := c.rec.Load(); r != nil {
		err = errors.Join(err, r.Note(n))
	}
	return err
}

// Recording returns where a take is being recorded to, and whether one is.
func (c *Control) Recording() (path string, on bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	r := c.rec.Load()
	if r == nil || c.stopped != nil {
		return "", false
	}
	return r.Path(), true
}

// Saved returns the path of the newest take that [Control.SaveRecent] saved.
func (c *Control) Saved() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.saved
}

// Close ends the recording, if there is one, and listening.
func (c *Control) Close() error {
	for _, end := range c.ends {
		end()
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.closed = true
	if c.rec.Load() == nil {
		return nil
	}
	return c.stop()
}

// Exists reports whether a file has the path already.
func Exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}
