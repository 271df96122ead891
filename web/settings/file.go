package settings

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
)

// MaxSize is the greatest size of a settings file, in bytes.
const MaxSize = 256 << 10

// FileName is the file's name in the settings folder.
const FileName = "settings.toml"

// head opens a file that the program begins.
const head = `# Settings of holdgap, written by the program as they change. You may edit this
# file while it runs: comments, and keys that it does not know, stay.

`

// Folder returns the user's settings folder: $XDG_CONFIG_HOME/holdgap, and its
// like on other systems.
func Folder() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("finding the settings folder: %w: give a file with --settings", err)
	}
	return filepath.Join(dir, "holdgap"), nil
}

// DefaultPath returns where the settings are kept unless said otherwise.
func DefaultPath() (string, error) {
	dir, err := Folder()
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, FileName), nil
}

// File is a settings file that was read.
type File struct {
	Settings Settings
	// Unknown are keys that mean nothing to this program; they stay when it writes.
	Unknown Problems

	text string
	tree map[string]any
}

// Parse reads the text of a settings file; name is told in errors, which are
// [Problems] with their lines. A text without any profile gets the default one.
func Parse(name string, text []byte) (*File, error) {
	if len(text) > MaxSize {
		return nil, Problems{{File: name, Reason: fmt.Sprintf("is %d bytes long; a settings file may have %d at most", len(text), MaxSize)}}
	}
	f := &File{text: string(text), tree: map[string]any{}}
	lines := strings.Split(f.text, "\n")
	quote := func(p *Problem) {
		p.File = name
		if p.Line > 0 && p.Line <= len(lines) {
			p.Text = strings.TrimRight(lines[p.Line-1], "\r")
		}
	}
	if _, err := toml.Decode(f.text, &f.tree); err != nil {
		p := Problem{Reason: err.Error()}
		var pe toml.ParseError
		if errors.As(err, &pe) {
			p.Line, p.Reason = pe.Position.Line, pe.Message
		}
		quote(&p)
		return nil, Problems{p}
	}
	uniform(f.tree)
	blocks, err := cut(f.text)
	if err != nil {
		return nil, Problems{{File: name, Reason: err.Error()}}
	}
	where := map[string]int{}
	grow(blocks).index("", where)
	locate := func(list Problems) Problems {
		for i := range list {
			for at := list[i].Path; at != ""; {
				if n, ok := where[at]; ok {
					list[i].Line = n
					break
				}
				at = at[:max(strings.LastIndexByte(at, '.'), 0)]
			}
			quote(&list[i])
		}
		slices.SortStableFunc(list, func(a, b Problem) int { return a.Line - b.Line })
		return list
	}
	if v, ok := f.tree["version"]; ok {
		switch n, whole := v.(int64); {
		case whole && n > Version:
			return nil, locate(Problems{{Path: "version", Newer: true, Reason: fmt.Sprintf(
				"version %d is newer than the %d that this program knows: update holdgap, or give another file with --settings", n, Version)}})
		case !whole || n < 1:
			return nil, locate(Problems{{Path: "version", Reason: fmt.Sprintf("version must be %d, not %s", Version, kind(v))}})
		}
	}
	f.Settings.defaults()
	var d decoder
	d.structure(reflect.ValueOf(&f.Settings).Elem(), f.tree, "")
	f.Unknown = locate(d.unknown)
	if len(d.wrong) > 0 {
		return nil, locate(d.wrong)
	}
	f.Settings.normalize()
	if err := f.Settings.Check(); err != nil {
		return nil, locate(ProblemsOf(err))
	}
	return f, nil
}

// Format returns the text of a file that holds the settings. It is the text
// before with what differs changed: comments, unknown keys, and the writing of
// values that stay are kept. What is about something that is taken out goes
// with it. An empty text begins a new file. The error says that the file is
// written in a way that the program cannot change without touching the rest.
func Format(before string, s Settings) (string, error) {
	s.normalize()
	if err := s.Check(); err != nil {
		return "", err
	}
	if strings.TrimSpace(before) == "" {
		before = head
	}
	old := map[string]any{}
	if _, err := toml.Decode(before, &old); err != nil {
		return "", fmt.Errorf("changing the settings file: %w", err)
	}
	uniform(old)
	t := merge(reflect.ValueOf(s), old)
	text, err := rewrite(before, old, t)
	if err != nil {
		return "", fmt.Errorf("changing the settings file: %w", err)
	}
	// What comes out is read again: only a text that says just what it should is
	// ever written over a file that somebody edits by hand.
	back := map[string]any{}
	_, err = toml.Decode(text, &back)
	if err == nil && !reflect.DeepEqual(uniform(back), plain(t)) {
		err = errors.New("the result would say something else")
	}
	if err == nil {
		var f *File
		if f, err = Parse("", []byte(text)); err == nil && !reflect.DeepEqual(f.Settings, s) {
			err = errors.New("the result would be read as something else")
		}
	}
	if err != nil {
		return "", fmt.Errorf("the settings file cannot be changed without touching what was written by hand (%w): "+
			"write its tables with headers such as [strip] and [[profile_for]], or move it away and a new one is begun", err)
	}
	return text, nil
}

// ReadFile reads a settings file. Errors are [Problems]; for a file that is not
// there they also match [fs.ErrNotExist].
func ReadFile(path string) (*File, error) {
	text, err := readText(path)
	if err != nil {
		return nil, err
	}
	return Parse(path, text)
}

// readError is a file that could not be read.
type readError struct {
	Problem
	err error
}

func (e *readError) Unwrap() []error { return []error{e.Problem, e.err} }

func readText(path string) ([]byte, error) {
	fail := func(err error) ([]byte, error) {
		var pe *fs.PathError
		reason := err.Error()
		if errors.As(err, &pe) {
			reason = pe.Err.Error()
		}
		return nil, &readError{Problem{File: path, Reason: "cannot be read: " + reason}, err}
	}
	info, err := os.Stat(path) // before it is opened, since opening a pipe waits
	if err == nil && !info.Mode().IsRegular() {
		err = errors.New("it is not a file")
	}
	if err != nil {
		return fail(err)
	}
	f, err := os.Open(path)
	if err != nil {
		return fail(err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, MaxSize+1))
	if err != nil {
		return fail(err)
	}
	return text, nil
}

// follow returns where a path leads when it is a symbolic link.
func follow(path string) string {
	if to, err := filepath.EvalSymlinks(path); err == nil {
		return to
	}
	return path
}

// tempName is what a file is written as before it takes the name of path.
func tempName(path string) string {
	return filepath.Join(filepath.Dir(path), "."+filepath.Base(path)+".new")
}

// steps of writing, so that a test can end between any two of them.
type stepFunc func(step string) error

// writeFile puts text in the place of the file at once: whoever reads it, and
// whatever happens meanwhile, finds either the old text or the new. Its mode
// stays; a new file can be read by its owner only.
func writeFile(path, text string, step stepFunc) (err error) {
	path = follow(path)
	defer func() {
		if err != nil {
			err = fmt.Errorf("storing the settings in %q: %w", path, err)
		}
	}()
	mode := fs.FileMode(0o600)
	if info, err := os.Stat(path); err == nil {
		mode = info.Mode().Perm()
	}
	temp := tempName(path)
	f, err := os.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, mode)
	if err != nil {
		return err
	}
	remove := true
	defer func() {
		_ = f.Close()
		if remove {
			_ = os.Remove(temp)
		}
	}()
	if err := f.Chmod(mode); err != nil {
		return err
	}
	if _, err := f.WriteString(text); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	if step != nil {
		if err := step("written"); err != nil {
			remove = false
			return err
		}
	}
	if err := os.Rename(temp, path); err != nil {
		return err
	}
	remove = false
	syncFolder(filepath.Dir(path))
	return nil
}

// syncFolder makes a renaming last. Where folders cannot be synced, nothing
// better can be done.
func syncFolder(dir string) {
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		_ = d.Close()
	}
}

// equal reports whether two settings say the same.
func equal(a, b *Settings) bool { return reflect.DeepEqual(a.Clone(), b.Clone()) }
