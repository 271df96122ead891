package take

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"time"

	"holdgap/capture"
)

// Progress is told how far a long operation is: done of total, in bytes of the
// file that is read. It is called from the operation's own goroutine about
// every 256 KB. A nil Progress is not called.
type Progress func(done, total int64)

// watch makes a reader heed a context and report progress.
func watch(ctx context.Context, r *Reader, total int64, p Progress) {
	r.OnFill = func(offset int64) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		if p != nil {
			p(offset, total)
		}
		return nil
	}
}

// open opens a take for reading, from its first byte.
func open(ctx context.Context, path string, p Progress) (*os.File, *Reader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, hint(fmt.Errorf("opening a take: %w", err))
	}
	info, err := f.Stat()
	if err == nil && info.IsDir() {
		err = fmt.Errorf("opening a take: %q is a folder: name a file", path)
	}
	if err != nil {
		_ = f.Close()
		return nil, nil, err
	}
	r := NewReader(f)
	watch(ctx, r, info.Size(), p)
	return f, r, nil
}

// Create writes edges that come from elsewhere, an import for example, to the
// new file path as a take, after the notes. A zero ID of the header is replaced
// by a random one. It never overwrites, and until the take is whole the file is
// not there; an error among the edges, or the end of ctx, leaves nothing. It
// returns the number of edges.
func Create(ctx context.Context, path string, h Header, notes []Note, edges iter.Seq2[capture.Edge, error]) (uint64, error) {
	if h.ID == [8]byte{} {
		h.ID = NewID()
	}
	var n uint64
	err := createFile(path, func(out io.Writer) error {
		w := NewWriter(out)
		if err := w.Header(h); err != nil {
			return err
		}
		for _, n := range notes {
			if err := w.Note(n); err != nil {
				return err
			}
		}
		last := h.StartAt
		for e, err := range edges {
			if err == nil && n%4096 == 0 {
				err = ctx.Err()
			}
			if err == nil {
				err = w.Edge(e)
			}
			if err != nil {
				return err
			}
			last = max(last, e.At)
			n++
		}
		return w.End(last)
	})
	if err != nil {
		return 0, fmt.Errorf("making a take: %w", err)
	}
	return n, nil
}

// Repair reads what can be read of the take src and writes it to the new file
// dst as a sound take: where something was lost there is a [Loss] note. It
// never touches src and never overwrites: dst must not exist. Until it is whole
// dst is not there. The report tells what was read and lost.
func Repair(ctx context.Context, src, dst string, p Progress) (Report, error) {
	rep, err := rewrite(ctx, src, dst, p, func(r *Reader, w *Writer) error {
		r.Deep = true
		return copyTake(r, w, nil)
	})
	if err != nil {
		return rep, fmt.Errorf("repairing the take %q: %w", src, err)
	}
	return rep, nil
}

// Trim writes the part of the take src from time from to time to (ns on the
// edges' clock, both included) to the new file dst, with the settings and
// devices in force at its beginning. A press that began before from is left
// out whole: neither its down nor its up is in the new take. It never touches
// src and never overwrites: dst must not exist.
func Trim(ctx context.Context, src, dst string, from, to int64, p Progress) (Report, error) {
	if from > to {
		return Report{}, fmt.Errorf("trimming the take %q: the end, %v, is before the beginning, %v: swap them", src, time.Duration(to), time.Duration(from))
	}
	rep, err := rewrite(ctx, src, dst, p, func(r *Reader, w *Writer) error {
		return copyTake(r, w, newSpan(from, to))
	})
	if err != nil {
		return rep, fmt.Errorf("trimming the take %q: %w", src, err)
	}
	return rep, nil
}

// Pack rewrites a take in place so that its blocks are full: a live recording
// is flushed often and its blocks are short. The file is replaced at once, by
// renaming, and only if nothing of it is lost; a damaged take is left as it is,
// with an error.
func Pack(ctx context.Context, path string) error {
	f, r, err := open(ctx, path, nil)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err == nil {
		err = replaceFile(path, info.Mode().Perm(), func(w io.Writer) error {
			if err := copyTake(r, NewWriter(w), nil); err != nil {
				return err
			}
			if rep := r.Report(); !rep.Whole() || !rep.Closed || rep.Newer > 0 {
				return fmt.Errorf("it is not whole: %v Repair it instead", rep)
			}
			return nil
		})
	}
	if err != nil {
		return fmt.Errorf("packing the take %q: %w", path, err)
	}
	return nil
}

// Append adds notes to the end of a take that is not being recorded: a video's
// offset, a mark.
func Append(path string, notes ...Note) (err error) {
	defer func() {
		if err != nil {
			err = hint(fmt.Errorf("adding a note to the take %q: %w", path, err))
		}
	}()
	var b []byte
	for _, n := range notes {
		if _, header := n.(Header); header {
			return fmt.Errorf("a take has one header already")
		}
		if b, err = appendNote(b, n); err != nil {
			return err
		}
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND, 0)
	if err != nil {
		return err
	}
	defer func() {
		if e := f.Close(); err == nil {
			err = e
		}
	}()
	sig := make([]byte, len(Signature))
	if _, err := io.ReadFull(f, sig); err != nil || string(sig) != Signature {
		return ErrForeign
	}
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if _, err := f.Write(b); err != nil {
		_ = f.Truncate(info.Size()) // half a note is none
		return err
	}
	return f.Sync()
}

// rewrite runs change from the take src to the new file dst.
func rewrite(ctx context.Context, src, dst string, p Progress, change func(*Reader, *Writer) error) (Report, error) {
	f, r, err := open(ctx, src, p)
	if err != nil {
		return Report{}, err
	}
	defer f.Close()
	err = createFile(dst, func(w io.Writer) error { return change(r, NewWriter(w)) })
	rep := r.Report()
	if err == nil && p != nil {
		p(rep.Bytes, rep.Bytes)
	}
	return rep, err
}

// copyTake copies a take, or what lies within a span, if there is one.
func copyTake(r *Reader, w *Writer, s *span) error {
	var header bool
	var last int64
	begin := func() error {
		if header {
			return nil
		}
		header = true
		h, ok := r.Header()
		if !ok {
			h = Header{ID: NewID(), Program: "the header was lost"}
		}
		h.Version = Version
		return w.Header(h)
	}
	put := func(n Note) error {
		if s != nil && !s.keepNote(n) {
			return nil
		}
		if s != nil {
			if err := s.open(w, n.When()); err != nil {
				return err
			}
		}
		return w.Note(n)
	}
	for r.Next() {
		for _, e := range r.Batch() {
			if err := begin(); err != nil {
				return err
			}
			last = max(last, e.At)
			if s != nil {
				if !s.keepEdge(e) {
					continue
				}
				if err := s.open(w, e.At); err != nil {
					return err
				}
			}
			if err := w.Edge(e); err != nil {
				return err
			}
		}
		var err error
		switch n := r.Note().(type) {
		case nil:
		case Header:
			err = begin()
		case Damage:
			if err = begin(); err == nil && !n.Unfinished {
				l := Loss{From: n.After, To: n.Before, Reason: "damaged: " + n.Reason}
				if !n.HasBefore {
					l.To = n.After
				}
				if !n.HasAfter {
					l.From = l.To
				}
				err = put(l)
			}
		case End:
			last = max(last, n.At)
		default:
			if err = begin(); err == nil {
				err = put(n)
			}
		}
		if err != nil {
			return err
		}
	}
	if err := r.Err(); err != nil {
		return err
	}
	if err := begin(); err != nil {
		return err
	}
	if s != nil {
		if err := s.open(w, s.from); err != nil {
			return err
		}
		last = min(last, s.to)
	}
	return w.End(last) // a copy is closed, even of a recording that was cut off
}

// span is what Trim keeps: a range of times, the presses that begin in it, and
// what held at its beginning.
type span struct {
	from, to int64
	held     [capture.MaxButtons]uint64 // keys that went down within
	opened   bool
	settings []Settings // in force, by name
	devices  []Device   // attached
}

func newSpan(from, to int64) *span { return &span{from: from, to: to} }

func (s *span) keepEdge(e capture.Edge) bool {
	if e.At < s.from || e.At > s.to {
		return false
	}
	bit := uint64(1) << (e.Key % capture.MaxKeys)
	held := &s.held[e.Button%capture.MaxButtons]
	if e.Down {
		*held |= bit
		return true
	}
	keep := *held&bit != 0
	*held &^= bit
	return keep
}

// keepNote says whether a note belongs to the span, and remembers what held
// before it.
func (s *span) keepNote(n Note) bool {
	switch n := n.(type) {
	case Settings:
		if n.At >= s.from {
			return n.At <= s.to
		}
		for i := range s.settings {
			if s.settings[i].Name == n.Name {
				s.settings[i] = n
				return false
			}
		}
		s.settings = append(s.settings, n)
		return false
	case Device:
		if n.At >= s.from {
			return n.At <= s.to
		}
		for i := range s.devices {
			if s.devices[i].Device.ID == n.Device.ID {
				s.devices = append(s.devices[:i], s.devices[i+1:]...)
				break
			}
		}
		if n.Attached {
			s.devices = append(s.devices, n)
		}
		return false
	case Video:
		return true
	case Loss:
		return n.To >= s.from && n.From <= s.to
	}
	return n.When() >= s.from && n.When() <= s.to
}

// open writes what held before the span, ahead of the first thing in it.
func (s *span) open(w *Writer, at int64) error {
	if s.opened || at < s.from {
		return nil
	}
	s.opened = true
	for _, n := range s.settings {
		if err := w.Note(n); err != nil {
			return err
		}
	}
	for _, n := range s.devices {
		if err := w.Note(n); err != nil {
			return err
		}
	}
	return nil
}

// createFile writes a new file; it appears under its name only when it is whole
// and on the disk, and nothing is left of it when writing fails.
func createFile(path string, write func(io.Writer) error) error {
	if _, err := os.Lstat(path); err == nil {
		return hint(fmt.Errorf("writing %q: %w", path, os.ErrExist))
	}
	f, err := newPart(path)
	if err != nil {
		return hint(fmt.Errorf("writing %q: %w", path, err))
	}
	defer f.discard()
	if err := f.fill(write); err != nil {
		return hint(err)
	}
	if err := f.publish(path); err != nil {
		return hint(fmt.Errorf("writing %q: %w", path, err))
	}
	return syncDir(filepath.Dir(path))
}

// fill writes the content through a buffer and brings it to the disk.
func (f *part) fill(write func(io.Writer) error) error {
	b := bufio.NewWriterSize(f.File, 256<<10)
	if err := write(b); err != nil {
		return err
	}
	if err := b.Flush(); err != nil {
		return err
	}
	return f.Sync()
}

// replaceFile writes a file anew and puts it in the place of the old one.
func replaceFile(path string, mode os.FileMode, write func(io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+partSuffix+"*")
	if err != nil {
		return err
	}
	p := &part{File: f, named: true}
	defer p.discard()
	if err := f.Chmod(mode); err != nil {
		return err
	}
	if err := p.fill(write); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	p.named = false
	return syncDir(filepath.Dir(path))
}

// partSuffix is in the name of a file that is not whole yet. One is left only
// where the program was killed at the wrong moment; see [Leftovers].
const partSuffix = ".part-"

// Leftovers returns the unfinished files in a folder that were last written
// before a date: what killed programs left. They can be deleted.
func Leftovers(dir string, before time.Time) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("looking for unfinished files: %w", err)
	}
	var old []string
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") || !strings.Contains(e.Name(), partSuffix) {
			continue
		}
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() && info.ModTime().Before(before) {
			old = append(old, filepath.Join(dir, e.Name()))
		}
	}
	return old, nil
}

// syncDir brings a new name in a folder to the disk.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	// Some file systems cannot sync a folder; the file itself is synced.
	_ = d.Sync()
	return nil
}
