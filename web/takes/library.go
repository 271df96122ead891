package takes

import (
	"cmp"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"holdgap/capture/take"
)

// Ext is the ending of a take's file name.
const Ext = ".take"

// DefaultFolder is where takes are kept unless the settings say otherwise: the
// user's data folder (on Linux by the XDG Base Directory Specification).
func DefaultFolder() (string, error) {
	if runtime.GOOS == "linux" {
		if d := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(d) {
			return filepath.Join(d, "holdgap", "takes"), nil
		}
		home, err := os.UserHomeDir()
		if err != nil {
			return "", fmt.Errorf("finding the folder of takes: %w: give one with --folder", err)
		}
		return filepath.Join(home, ".local", "share", "holdgap", "takes"), nil
	}
	d, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("finding the folder of takes: %w: give one with --folder", err)
	}
	return filepath.Join(d, "holdgap", "takes"), nil
}

// Folder is a folder of takes.
type Folder struct{ Dir string }

// Item is a take in a folder, as far as one glance tells.
type Item struct {
	Name  string // file name without its ending
	Path  string
	Bytes int64
	Glance
	Trouble string // why it cannot be read, if it cannot
}

// Glance is what a look at a take's beginning and end tells.
type Glance struct {
	Start   time.Time // zero if unknown
	Seconds float64
	Edges   int64 // −1 if only reading all of it can tell
	Closed  bool
}

// List returns the takes, the newest first. A folder that does not exist has none.
func (f Folder) List() ([]Item, error) {
	entries, err := os.ReadDir(f.Dir)
	if os.IsNotExist(err) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("listing the takes in %q: %w", f.Dir, err)
	}
	var out []Item
	for _, e := range entries {
		if e.IsDir() || filepath.Ext(e.Name()) != Ext {
			continue
		}
		out = append(out, f.item(e))
	}
	slices.SortFunc(out, func(a, b Item) int {
		return cmp.Or(b.Start.Compare(a.Start), cmp.Compare(a.Name, b.Name))
	})
	return out, nil
}

func (f Folder) item(e fs.DirEntry) Item {
	it := Item{Name: strings.TrimSuffix(e.Name(), Ext), Path: filepath.Join(f.Dir, e.Name())}
	if info, err := e.Info(); err == nil {
		it.Bytes, it.Start = info.Size(), info.ModTime()
	}
	g, err := take.Look(it.Path)
	if err != nil {
		it.Trouble = err.Error()
		return it
	}
	it.Edges, it.Closed = g.Edges, g.Closed
	if !g.Header.Start.IsZero() {
		it.Start = g.Header.Start
	}
	if g.HasEdges { // a part of a longer recording keeps the header of the whole
		it.Seconds = float64(max(g.Ended-g.First, 0)) / 1e9
		if at := g.Header.Wall(g.First); !at.IsZero() {
			it.Start = at
		}
	}
	return it
}

// Path returns the path of a take by its name, which has no folder in it.
func (f Folder) Path(name string) (string, error) {
	if name == "" || name != filepath.Base(name) || strings.ContainsAny(name, `/\`) || strings.HasPrefix(name, ".") || len(name) > 200 {
		return "", fmt.Errorf("%q is not the name of a take in the folder", name)
	}
	return filepath.Join(f.Dir, name+Ext), nil
}

// New returns the path of a new take that began at a time, and makes the folder.
// No file has the path yet.
func (f Folder) New(start time.Time) (string, error) {
	if err := os.MkdirAll(f.Dir, 0o700); err != nil {
		return "", fmt.Errorf("making the folder of takes %q: %w", f.Dir, err)
	}
	base := filepath.Join(f.Dir, start.Format("2006-01-02 15.04.05"))
	for i := 1; ; i++ {
		path := base + Ext
		if i > 1 {
			path = fmt.Sprintf("%s (%d)%s", base, i, Ext)
		}
		if _, err := os.Lstat(path); os.IsNotExist(err) {
			return path, nil
		} else if err != nil {
			return "", fmt.Errorf("naming a new take: %w", err)
		}
	}
}
