package themes

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/fsnotify/fsnotify"
)

// settle is how long a folder must be quiet before it is read again: editors
// write a file in several steps.
const settle = 80 * time.Millisecond

// Info is a theme in a list.
type Info struct {
	Name    string `json:"name"`
	Label   string `json:"label"`
	About   string `json:"about"`
	Builtin bool   `json:"builtin"`
}

// Store holds the built-in themes and those of a folder of the user's. A file
// there takes the place of a built-in theme of the same name. It is safe for
// concurrent use.
type Store struct {
	dir string

	mu       sync.RWMutex
	themes   map[string]entry
	troubles []Problem
	rev      int
}

type entry struct {
	theme   Theme
	builtin bool
	text    string // of the user's file
}

// NewStore reads the built-in themes and those in dir; with "" only the former.
// A folder that does not exist is empty. See [Store.Troubles] for the files that
// could not be used.
func NewStore(dir string) *Store {
	s := &Store{dir: dir}
	s.Reload()
	return s
}

// Reload reads every file again and reports whether anything changed. While a
// file of a known theme is wrong its last good version stays.
func (s *Store) Reload() bool {
	fresh := map[string]entry{}
	for _, name := range Names() {
		t, err := Load(Builtin(), name)
		if err != nil {
			panic(err) // embedded and tested
		}
		fresh[name] = entry{theme: t, builtin: true}
	}
	var troubles []Problem
	if s.dir != "" {
		troubles = s.read(fresh)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	changed := s.themes == nil || len(fresh) != len(s.themes) || !slices.Equal(troubles, s.troubles)
	for name, e := range fresh {
		changed = changed || s.themes[name] != e
	}
	if changed {
		s.themes, s.troubles = fresh, troubles
		s.rev++
	}
	return changed
}

// read adds the themes of the user's folder to fresh.
func (s *Store) read(fresh map[string]entry) []Problem {
	entries, err := os.ReadDir(s.dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return []Problem{{s.dir, 0, "cannot be read: " + err.Error()}}
	}
	var troubles []Problem
	for _, e := range entries {
		name, ok := strings.CutSuffix(e.Name(), ".toml")
		if !ok || e.IsDir() || strings.HasPrefix(name, ".") {
			continue
		}
		path := filepath.Join(s.dir, e.Name())
		t, text, err := ReadFile(path)
		if err == nil {
			fresh[name] = entry{theme: t, text: text}
			continue
		}
		troubles = append(troubles, Problems(err)...)
		s.mu.RLock()
		if old, known := s.themes[name]; known && !old.builtin {
			fresh[name] = old
		}
		s.mu.RUnlock()
	}
	return troubles
}

// ReadFile reads one theme file from disk and returns its text as well. Every
// error holds a [Problem].
func ReadFile(path string) (Theme, string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return Theme{}, "", Problem{path, 0, "cannot be read: " + reason(err)}
	}
	if !info.Mode().IsRegular() {
		return Theme{}, "", Problem{path, 0, "is not a file"}
	}
	if info.Size() > MaxSize {
		return Theme{}, "", Problem{path, 0, fmt.Sprintf("is %d bytes long; a theme file may have %d at most", info.Size(), MaxSize)}
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return Theme{}, "", Problem{path, 0, "cannot be read: " + reason(err)}
	}
	t, err := Parse(path, data)
	return t, string(data), err
}

// reason is an error of the file system without the path, which is told already.
func reason(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}

// Get returns a theme by name.
func (s *Store) Get(name string) (Theme, bool) {
	s.mu.RLock()
	defer s.mu.RUnlock()
	e, ok := s.themes[name]
	return e.theme, ok
}

// List lists the themes: the standard one first, then by label.
func (s *Store) List() []Info {
	s.mu.RLock()
	defer s.mu.RUnlock()
	var all []Info
	for _, e := range s.themes {
		all = append(all, Info{e.theme.Name, e.theme.Label, e.theme.About, e.builtin})
	}
	slices.SortFunc(all, func(a, b Info) int {
		if (a.Name == Standard) != (b.Name == Standard) {
			if a.Name == Standard {
				return -1
			}
			return 1
		}
		if c := strings.Compare(a.Label, b.Label); c != 0 {
			return c
		}
		return strings.Compare(a.Name, b.Name)
	})
	return all
}

// Troubles lists what is wrong in the user's theme files.
func (s *Store) Troubles() []Problem {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return slices.Clone(s.troubles)
}

// Rev goes up by one whenever anything changed. It starts at 1.
func (s *Store) Rev() int {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.rev
}

// Watch follows the user's folder until ctx ends, and calls changed after each
// change of what [Store.Get] or [Store.Troubles] return. It runs in the caller's
// goroutine and starts no other. A folder that does not exist yet is waited for,
// if the folder around it exists. It returns nil when ctx ends.
func (s *Store) Watch(ctx context.Context, changed func()) error {
	if s.dir == "" {
		<-ctx.Done()
		return nil
	}
	w, err := fsnotify.NewWatcher()
	if err != nil {
		return fmt.Errorf("watching the themes in %q: %w", s.dir, err)
	}
	defer w.Close()
	parent := filepath.Dir(s.dir)
	around := w.Add(parent)
	inside := w.Add(s.dir)
	if around != nil && inside != nil {
		return fmt.Errorf("watching the themes in %q: %w", s.dir, inside)
	}
	if s.Reload() { // what changed before the watch began
		changed()
	}
	quiet := time.NewTimer(settle)
	defer quiet.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case e, ok := <-w.Events:
			if !ok {
				return errors.New("watching the themes: the watch ended")
			}
			if filepath.Clean(e.Name) == filepath.Clean(s.dir) {
				// The folder itself came or went; a watch on it that exists stays one.
				_ = w.Add(s.dir)
			} else if filepath.Dir(filepath.Clean(e.Name)) != filepath.Clean(s.dir) {
				continue
			}
			quiet.Reset(settle)
		case _, ok := <-w.Errors:
			if !ok {
				return errors.New("watching the themes: the watch ended")
			}
			quiet.Reset(settle) // events were lost: look
		case <-quiet.C:
			if s.Reload() {
				changed()
			}
		}
	}
}
