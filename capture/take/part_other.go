//go:build !linux

package take

import (
	"os"
	"path/filepath"
)

// part is a file under a hidden name.
type part struct {
	*os.File
	named bool
}

// newPart opens a hidden file in path's folder.
func newPart(path string) (*part, error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+partSuffix+"*")
	if err != nil {
		return nil, err
	}
	return &part{File: f, named: true}, nil
}

// publish gives the file its name, unless that exists.
func (f *part) publish(path string) error { return os.Link(f.Name(), path) }

// discard closes the file and removes the hidden name.
func (f *part) discard() {
	_ = f.Close()
	if f.named {
		_ = os.Remove(f.Name())
	}
}
