package settings

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/fsnotify/fsnotify"
)

// settle is how long the folder must be quiet before the file is read: editors
// write a file in several steps.
const settle = 80 * time.Millisecond

// Watch follows the file until ctx ends, so that edits by hand are in force at
// once. It runs in the caller's goroutine and starts no other that outlives it.
// Folders that do not exist yet are waited for. It returns nil when ctx ends.
func (s *Store) Watch(ctx context.Context) error {
	if s.opts.Path == "" {
		<-ctx.Done()
		return nil
	}
	w, err := fsnotify.NewWatcher()
	if err != nil {
		return fmt.Errorf("watching the settings in %q: %w: edits by hand are seen at the next start", s.opts.Path, err)
	}
	defer w.Close()
	if err := s.arm(w); err != nil {
		return fmt.Errorf("watching the settings in %q: %w: edits by hand are seen at the next start", s.opts.Path, err)
	}
	s.Reload() // what changed before the watch began
	quiet := time.NewTimer(settle)
	defer quiet.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case e, ok := <-w.Events:
			if !ok {
				return errors.New("watching the settings: the watch ended")
			}
			if strings.HasPrefix(filepath.Base(e.Name), ".") && filepath.Base(e.Name) == filepath.Base(tempName(s.opts.Path)) {
				continue // our own, about to be renamed
			}
			quiet.Reset(settle)
		case _, ok := <-w.Errors:
			if !ok {
				return errors.New("watching the settings: the watch ended")
			}
			quiet.Reset(settle) // events were lost: look
		case <-quiet.C:
			if err := s.arm(w); err != nil {
				return fmt.Errorf("watching the settings in %q: %w: edits by hand are seen at the next start", s.opts.Path, err)
			}
			s.Reload()
		}
	}
}

// arm watches the file's folder, and where a link leads; of a folder that does
// not exist the nearest one around it that does.
func (s *Store) arm(w *fsnotify.Watcher) error {
	for _, dir := range []string{filepath.Dir(s.opts.Path), filepath.Dir(follow(s.opts.Path))} {
		dir, err := filepath.Abs(dir)
		if err != nil {
			return err
		}
		for at := dir; ; {
			err := w.Add(at)
			if err == nil {
				if at == dir {
					break
				}
				if _, e := os.Stat(dir); e == nil { // it came meanwhile
					at = dir
					continue
				}
				break
			}
			if at == filepath.Dir(at) || !errors.Is(err, os.ErrNotExist) {
				return err
			}
			at = filepath.Dir(at)
		}
	}
	return nil
}
