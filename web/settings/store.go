package settings

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"github.com/rs/zerolog"
)

// MaxUndo is how many changes can be undone.
const MaxUndo = 100

// Who made a change, besides the names that callers give.
const (
	ByFile   = "file"   // somebody edited the file
	ByDevice = "device" // a controller was plugged in: see [Follower]
	ByUndo   = "undo"   // [Store.Undo] or [Store.Redo]
)

// Trouble is the key of the store's troubles.
const Trouble = "settings"

// Options of a store.
type Options struct {
	// Path of the file; with "" nothing is kept.
	Path string
	// Warn takes a trouble that the user can mend, or with an empty text its end,
	// as a [capture.Sink] does. It must not call the store.
	Warn func(key, text string)
	Log  zerolog.Logger
}

// Snapshot is the settings in force at one time.
type Snapshot struct {
	// Rev goes up by one with every change. It starts at 1.
	Rev uint64 `json:"rev"`
	// Base is the revision that whoever made the change had seen; below Rev − 1
	// when others had changed something meanwhile, which then was changed over.
	Base     uint64   `json:"base"`
	By       string   `json:"by,omitempty"` // who made the change
	Settings Settings `json:"settings"`
	Undo     int      `json:"undo"` // how many changes can be undone
	Redo     int      `json:"redo"` // how many undone ones can be done again
	Path     string   `json:"path"` // of the file; empty when nothing is kept
	// Trouble says why the file is not in force, or lacks what is; empty when all
	// is well.
	Trouble string `json:"trouble,omitempty"`
}

// Store holds the settings in force, keeps them in their file, and tells who
// wants to know. It is safe for concurrent use.
//
// A change is in force, and told, before it is stored. A file that is wrong, or
// of a newer program, is never written over: what was in force stays so, changes
// are for the run only, and as soon as the file is right it is in force. When the
// file was edited by hand since it was read, the edit is a change of its own
// that comes first.
type Store struct {
	opts Options
	step stepFunc // of tests

	turn sync.Mutex // held while a change is made, stored and told
	subs map[int]func(Snapshot)
	sub  int

	mu      sync.RWMutex // guards what follows
	now     Snapshot
	past    []Settings
	future  []Settings
	text    string // of the file as last read or written
	there   bool   // the file was there then
	bad     error  // why the file is not used
	blocked error  // why it cannot be written just now
	unsaved error  // why the file lacks what is in force
}

// Open reads the file and returns a store. A file that is not there is begun with
// the first change. A file that cannot be used is no error of Open: the default
// settings are in force then, and [Snapshot.Trouble] says why.
func Open(o Options) *Store {
	if o.Warn == nil {
		o.Warn = func(string, string) {}
	}
	s := &Store{opts: o, subs: map[int]func(Snapshot){}}
	def := Default()
	def.normalize()
	s.now = Snapshot{Rev: 1, Settings: def, Path: o.Path}
	if o.Path != "" {
		f, err := s.read()
		if s.bad = err; f != nil {
			s.now.Settings = f.Settings
			s.unknown(f)
		}
		s.say()
	}
	return s
}

// read reads the file and remembers its text. A file that is not there yields
// nothing at all.
func (s *Store) read() (*File, error) {
	text, err := readText(s.opts.Path)
	if errors.Is(err, fs.ErrNotExist) {
		s.text, s.there = "", false
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return s.parse(text)
}

func (s *Store) parse(text []byte) (*File, error) {
	before := s.text
	s.text, s.there = string(text), true
	if strings.TrimSpace(s.text) == "" && strings.TrimSpace(before) != "" {
		return nil, Problems{{File: s.opts.Path, Reason: "is empty all of a sudden: is it being written? Remove it to begin anew"}}
	}
	return Parse(s.opts.Path, text)
}

func (s *Store) unknown(f *File) {
	for _, p := range f.Unknown {
		s.opts.Log.Warn().Msg(p.Error())
	}
}

// Get returns the settings in force. The caller may change what it got.
func (s *Store) Get() Snapshot {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.snapshot()
}

func (s *Store) snapshot() Snapshot {
	out := s.now
	out.Settings = out.Settings.Clone()
	out.Undo, out.Redo = len(s.past), len(s.future)
	return out
}

// Subscribe calls f with every later change, in order, and with every change of
// the trouble. f is called in the goroutine that makes the change, which waits: f
// must be quick, may call Get, and must not call anything else of the store. When
// the returned function has returned, f is not called any more; f must not call it.
func (s *Store) Subscribe(f func(Snapshot)) (end func()) {
	s.turn.Lock()
	defer s.turn.Unlock()
	s.sub++
	id := s.sub
	s.subs[id] = f
	return func() {
		s.turn.Lock()
		defer s.turn.Unlock()
		delete(s.subs, id)
	}
}

// tell tells the subscribers.
func (s *Store) tell() {
	snap := s.Get()
	for id := 1; id <= s.sub; id++ {
		if f := s.subs[id]; f != nil {
			snap.Settings = snap.Settings.Clone()
			f(snap)
		}
	}
}

// say sets the trouble from what is wrong and warns of it, and reports whether it
// is another than before.
func (s *Store) say() bool {
	text := ""
	switch {
	case s.bad != nil:
		list := ProblemsOf(s.bad)
		text = "Settings: " + list[0].Error()
		if len(list) > 1 {
			text += fmt.Sprintf(" (and %d more: see holdgap settings check)", len(list)-1)
		}
		text += ". The file is left alone and the settings before stay in force; changes last until the program ends."
	case s.unsaved != nil:
		text = "Settings: " + s.unsaved.Error() + ". Changes last until the program ends."
	}
	s.mu.Lock()
	changed := s.now.Trouble != text
	s.now.Trouble = text
	s.mu.Unlock()
	if changed {
		s.opts.Warn(Trouble, text)
	}
	return changed
}

// set puts settings in force and tells. Its caller has the turn.
func (s *Store) set(next Settings, by string, base uint64) {
	s.mu.Lock()
	s.now.Rev++
	s.now.Settings, s.now.By, s.now.Base = next, by, base
	s.mu.Unlock()
	s.tell()
}

// remember notes what was in force so that it can be undone.
func (s *Store) remember() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.past = append(s.past, s.now.Settings)
	if n := len(s.past) - MaxUndo; n > 0 {
		s.past = slices.Delete(s.past, 0, n)
	}
	s.future = nil
}

// Change lets f change the settings, checks them, puts them in force, tells the
// subscribers and stores the file. It returns the revision that is then in force.
// When f or [Settings.Check] returns an error nothing has changed; [Problems] say
// what is wrong. An [*UnsavedError] says that all is done but the storing.
func (s *Store) Change(f func(*Settings) error) (uint64, error) {
	return s.ChangeFrom(0, "", f)
}

// ChangeFrom is Change for one of several who may change the settings: base is the
// revision that they had seen (0 for the newest), and by is who they are. A later
// change wins; everybody is told both, with base and by.
func (s *Store) ChangeFrom(base uint64, by string, f func(*Settings) error) (uint64, error) {
	s.turn.Lock()
	defer s.turn.Unlock()
	unlock := s.catchUp()
	defer unlock()
	next := s.now.Settings.Clone()
	if err := f(&next); err != nil {
		return s.now.Rev, err
	}
	next.normalize()
	if err := next.Check(); err != nil {
		return s.now.Rev, err
	}
	if equal(&next, &s.now.Settings) {
		if s.unsaved != nil {
			return s.now.Rev, s.store()
		}
		return s.now.Rev, nil
	}
	if base == 0 {
		base = s.now.Rev
	}
	s.remember()
	s.set(next, by, base)
	return s.now.Rev, s.store()
}

// ErrNothing is returned when there is nothing to undo or to do again.
var ErrNothing = errors.New("there is nothing to undo")

// Undo puts the settings before the last change in force again, as a change of its
// own, and stores them. With none it returns [ErrNothing].
func (s *Store) Undo() (uint64, error) { return s.swap(&s.past, &s.future) }

// Redo does again what was undone last.
func (s *Store) Redo() (uint64, error) { return s.swap(&s.future, &s.past) }

func (s *Store) swap(from, to *[]Settings) (uint64, error) {
	s.turn.Lock()
	defer s.turn.Unlock()
	unlock := s.catchUp()
	defer unlock()
	n := len(*from) - 1
	if n < 0 {
		return s.now.Rev, ErrNothing
	}
	s.mu.Lock()
	next := (*from)[n]
	*from = (*from)[:n]
	*to = append(*to, s.now.Settings)
	s.mu.Unlock()
	s.set(next, ByUndo, s.now.Rev)
	return s.now.Rev, s.store()
}

// catchUp keeps other programs from storing until unlock is called, and takes in
// what was done to the file since it was last looked at. Its caller has the turn.
func (s *Store) catchUp() (unlock func()) {
	if s.opts.Path == "" {
		return func() {}
	}
	dir := filepath.Dir(follow(s.opts.Path))
	if err := os.MkdirAll(dir, 0o700); err != nil {
		s.blocked = err
		return func() {}
	}
	unlock, s.blocked = lockFolder(dir)
	if s.blocked != nil {
		unlock = func() {}
	}
	s.refresh()
	return unlock
}

// Reload looks at the file and puts in force what somebody wrote into it. It
// reports whether anything came of that.
func (s *Store) Reload() bool {
	s.turn.Lock()
	defer s.turn.Unlock()
	if s.opts.Path == "" {
		return false
	}
	rev, trouble := s.now.Rev, s.now.Trouble
	s.refresh()
	if s.unsaved != nil && !s.there { // what was in the way was moved away
		_ = s.store() // a failure is the trouble already
	}
	return s.now.Rev != rev || s.now.Trouble != trouble
}

// refresh is Reload for a caller that has the turn.
func (s *Store) refresh() {
	text, err := readText(s.opts.Path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		s.text, s.there, s.bad = "", false, nil
	case err != nil:
		s.bad, s.there = err, false
	case s.there && string(text) == s.text:
	default:
		var f *File
		if f, s.bad = s.parse(text); f != nil {
			s.unsaved = nil
			s.unknown(f)
			if !equal(&f.Settings, &s.now.Settings) {
				s.remember()
				s.say()
				s.set(f.Settings, ByFile, s.now.Rev)
				return // set has told
			}
		}
	}
	if s.say() {
		s.tell()
	}
}

// store writes the file. Its caller has the turn.
func (s *Store) store() error {
	if s.opts.Path == "" {
		return nil
	}
	err := s.bad
	if err == nil {
		err = s.blocked
	}
	if err == nil {
		var text string
		if text, err = Format(s.text, s.now.Settings); err == nil {
			if err = writeFile(s.opts.Path, text, s.step); err == nil {
				s.text, s.there = text, true
			}
		}
	}
	s.unsaved = err
	if s.say() {
		s.tell()
	}
	if err != nil {
		return &UnsavedError{err}
	}
	return nil
}
