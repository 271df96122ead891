package take

import (
	"fmt"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// part is a file that has no name yet, or a hidden one.
type part struct {
	*os.File
	named bool
}

// newPart opens a nameless file in path's folder, of which nothing stays if the
// program is killed; where the file system has none, a hidden one.
func newPart(path string) (*part, error) {
	dir := filepath.Dir(path)
	fd, err := unix.Open(dir, unix.O_TMPFILE|unix.O_WRONLY|unix.O_CLOEXEC, 0o600)
	if err == nil {
		return &part{File: os.NewFile(uintptr(fd), path)}, nil
	}
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+partSuffix+"*")
	if err != nil {
		return nil, err
	}
	return &part{File: f, named: true}, nil
}

// publish gives the file its name, unless that exists.
func (f *part) publish(path string) error {
	if !f.named {
		conn, err := f.SyscallConn()
		if err != nil {
			return err
		}
		var linkErr error
		err = conn.Control(func(fd uintptr) {
			linkErr = unix.Linkat(unix.AT_FDCWD, fmt.Sprintf("/proc/self/fd/%d", fd), unix.AT_FDCWD, path, unix.AT_SYMLINK_FOLLOW)
		})
		if err == nil {
			err = linkErr
		}
		return err
	}
	err := unix.Renameat2(unix.AT_FDCWD, f.Name(), unix.AT_FDCWD, path, unix.RENAME_NOREPLACE)
	if err == unix.EINVAL || err == unix.ENOSYS {
		// This file system cannot refuse to overwrite; linking can.
		return os.Link(f.Name(), path)
	}
	if err == nil {
		f.named = false
	}
	return err
}

// discard closes the file, and removes the hidden name if it still has one.
func (f *part) discard() {
	_ = f.Close()
	if f.named {
		_ = os.Remove(f.Name())
	}
}
