package evdev

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"sync"

	"github.com/rs/zerolog"
	"golang.org/x/sys/unix"

	"holdgap/capture"
)

// Scan lists every event device that the kernel knows, in the order of their
// numbers, without opening any. root is the directory that holds dev and sys, "/"
// if empty. A machine without devices gives an empty list; the error tells of a
// /sys that cannot be read.
func Scan(root string) ([]Info, error) {
	if root == "" {
		root = "/"
	}
	nodes, err := listNodes(root)
	if err != nil {
		return nil, err
	}
	infos := make([]Info, 0, len(nodes))
	for _, n := range nodes {
		k := n.kind()
		info := Info{Path: n.path, Name: n.name, Kind: k, Identity: n.identity(), Phys: n.phys, Note: k.note()}
		err := unix.Faccessat(unix.AT_FDCWD, n.path, unix.R_OK, unix.AT_EACCESS)
		switch {
		case err == nil:
			info.Readable = true
		case errors.Is(err, fs.ErrNotExist):
			info.Remedy = fmt.Sprintf("its node is missing: wait for udev, or let the container see %s", filepath.Dir(n.path))
		case errors.Is(err, fs.ErrPermission):
			info.Remedy = remedy([]node{n})
		default:
			info.Remedy = fmt.Sprintf("the system says: %v", err)
		}
		infos = append(infos, info)
	}
	return infos, nil
}

// Watch reads every readable pad, stick and button box under root until ctx ends and
// fills in, for the infos with their paths, the report interval as far as it became
// known and how many keys went down.
func Watch(ctx context.Context, root string, infos []Info) error {
	w := &watcher{paths: map[uint16]string{}, byPath: map[string]*Info{}}
	for i := range infos {
		w.byPath[infos[i].Path] = &infos[i]
	}
	return New(Options{Root: root, Log: zerolog.Nop()}).Run(ctx, w)
}

// watcher is the sink of Watch.
type watcher struct {
	mu     sync.Mutex
	paths  map[uint16]string
	byPath map[string]*Info
}

func (w *watcher) Attach(d capture.Device) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.paths[d.ID] = d.Path
	if i := w.byPath[d.Path]; i != nil && d.ReportMS != 0 {
		i.ReportMS = d.ReportMS
	}
}

func (w *watcher) Input(in capture.Input) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if i := w.byPath[w.paths[in.Device]]; i != nil && in.Down {
		i.Presses++
	}
}

func (w *watcher) Detach(uint16, int64) {}
func (w *watcher) Warn(string, string)  {}
