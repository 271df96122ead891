package evdev

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/fsnotify/fsnotify"
	"github.com/rs/zerolog"

	"holdgap/capture"
)

// Source reads the kernel's event devices. Make one with New, run it once.
type Source struct {
	paths  []string
	root   string
	ids    capture.IDs
	log    zerolog.Logger
	thresh Thresholds
	err    error // what was wrong with the options

	mu    sync.Mutex
	bound keySet
	kick  chan struct{} // a rebinding to be carried out
}

var _ capture.Source = (*Source)(nil)

// New makes a Source. What is wrong with the options is said by Run.
func New(o Options) *Source {
	s := &Source{
		paths: o.Paths, root: o.Root, ids: o.IDs, log: o.Log,
		thresh: o.Thresholds.withDefaults(), kick: make(chan struct{}, 1),
	}
	if s.root == "" {
		s.root = "/"
	}
	if s.ids == nil {
		s.ids = &counter{}
	}
	var err error
	if s.bound, err = boundKeys(o.Keys); err != nil {
		s.err = err
	}
	if err := s.thresh.check(); err != nil {
		s.err = err
	}
	return s
}

// counter numbers devices for a caller that has no other source.
type counter struct {
	mu sync.Mutex
	n  uint16
}

func (c *counter) Next() uint16 {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.n++
	return c.n
}

// Rebind changes which keyboard keys are read while the source runs; names that
// are no keyboard's change nothing. A keyboard is opened when the first of its keys
// is bound and closed when none is left; a key that is unbound while it is held is
// released. The error quotes a name that is not valid, and then nothing changes.
func (s *Source) Rebind(keys []string) error {
	bound, err := boundKeys(keys)
	if err != nil {
		return err
	}
	s.mu.Lock()
	s.bound = bound
	s.mu.Unlock()
	select {
	case s.kick <- struct{}{}:
	default: // one is pending already and will see the new keys
	}
	return nil
}

func (s *Source) keys() keySet {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.bound
}

// After something changed in the device directory, it is looked through at once and
// again after these times: the node comes before its permissions, and links to it later still.
var followUps = [...]time.Duration{50 * time.Millisecond, 250 * time.Millisecond, time.Second, 3 * time.Second}

// A device that is denied so long after it appeared stays denied: udev is done with it.
const permissionGrace = 900 * time.Millisecond

// Without a working watch, the directory is looked through this often.
const pollEvery = 2 * time.Second

// runner is the state of one Run, all of it in the goroutine of Run.
type runner struct {
	*Source
	sink   capture.Sink
	watch  *fsnotify.Watcher
	open   map[string]*device
	ended  map[string]os.FileInfo // pipes and files that were read to their end
	denied map[string]time.Time   // since when
	warned map[string]string
	free   map[string][]uint16 // numbers of devices that went away, by identity
	gone   chan *device
	first  bool // the look at the start
}

// Run implements capture.Source. A device named by Options.Paths that is not there,
// or may not be read, at the start is an error; one that goes away later is waited for.
func (s *Source) Run(ctx context.Context, sink capture.Sink) error {
	if s.err != nil {
		return s.err
	}
	r := &runner{
		Source: s, sink: sink, open: map[string]*device{},
		ended: map[string]os.FileInfo{}, denied: map[string]time.Time{}, warned: map[string]string{},
		free: map[string][]uint16{}, gone: make(chan *device), first: true,
	}
	defer r.close()
	var events chan fsnotify.Event
	var errs chan error
	watch, err := fsnotify.NewWatcher()
	if err != nil {
		s.log.Warn().Err(err).Msg("cannot watch for devices, looking every two seconds instead")
		r.warn("evdev:watch", fmt.Sprintf("New devices are noticed only every %v, since the system refused a file watch (%v): raise fs.inotify.max_user_instances with sysctl.", pollEvery, err))
	} else {
		r.watch = watch
		events, errs = watch.Events, watch.Errors
	}
	r.watchAll() // before the first look, so that nothing slips between the two
	if err := r.look(); err != nil {
		return err
	}
	r.first = false

	stage := 0
	timer := time.NewTimer(followUps[0])
	defer timer.Stop()
	again := func() { stage = 0; timer.Reset(followUps[0]) }
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-s.kick:
		case d := <-r.gone:
			r.lost(d)
			again()
		case ev, ok := <-events:
			if !ok {
				events = nil
				continue
			}
			if !r.concerns(ev) {
				continue
			}
			if ev.Has(fsnotify.Create) {
				delete(r.ended, ev.Name) // a new one, even if it got the old one's inode number
			}
			again()
		case err, ok := <-errs:
			if !ok {
				errs = nil
				continue
			}
			s.log.Debug().Err(err).Msg("watch for devices") // an overflow: look through all
			again()
		case <-timer.C:
			stage++
			switch {
			case stage < len(followUps):
				timer.Reset(followUps[stage] - followUps[stage-1])
			case r.watch == nil:
				timer.Reset(pollEvery)
			}
			r.watchAll()
		}
		if err := r.look(); err != nil {
			return err
		}
	}
}

// close ends every reader and waits for it.
func (r *runner) close() {
	for _, d := range r.open {
		_ = d.file.Close()
	}
	for range len(r.open) {
		<-r.gone
	}
	if r.watch != nil {
		_ = r.watch.Close()
	}
}

// watchAll watches the directories in which the devices appear, as far as they exist.
func (r *runner) watchAll() {
	if r.watch == nil {
		return
	}
	input := filepath.Join(r.root, "dev/input")
	dirs := map[string]bool{input: true}
	for _, p := range r.paths {
		dirs[filepath.Dir(p)] = true
	}
	// The parent only while the directory itself is missing: a watch on /dev would
	// wake us for every write to /dev/null.
	if dev := filepath.Dir(input); !dirs[dev] {
		if _, err := os.Stat(input); err != nil {
			dirs[dev] = true
		} else {
			_ = r.watch.Remove(dev) // an error says that it was not watched
		}
	}
	for dir := range dirs {
		// Adding a directory twice is harmless, and needed when it was made anew.
		if err := r.watch.Add(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
			r.warn("evdev:watch", fmt.Sprintf("New devices in %q are not noticed (%v): raise fs.inotify.max_user_watches with sysctl and start again.", dir, err))
		}
	}
}

// concerns tells whether a change can be one of devices: /dev itself changes all
// the time, and only its directory input matters.
func (r *runner) concerns(ev fsnotify.Event) bool {
	input := filepath.Join(r.root, "dev/input")
	if ev.Name == input {
		r.watchAll()
		return true
	}
	for _, p := range r.paths {
		if ev.Name == p {
			return true
		}
	}
	return filepath.Dir(ev.Name) == input && eventNumber(filepath.Base(ev.Name)) >= 0
}

// warn tells the sink of a trouble, or of its end with an empty text, once.
func (r *runner) warn(key, text string) {
	if r.warned[key] == text {
		return
	}
	r.warned[key] = text
	r.sink.Warn(key, text)
}

// wanted lists the nodes that should be open now.
func (r *runner) wanted(bound *keySet) ([]node, error) {
	if len(r.paths) > 0 {
		return r.named(bound)
	}
	nodes, err := listNodes(r.root)
	if err != nil {
		return nil, err
	}
	keep := nodes[:0]
	for _, n := range nodes {
		allowed := n.allowed(bound)
		switch k := n.kind(); {
		case k == Keyboard && allowed.empty(), k != Keyboard && !k.plays():
			continue
		}
		if _, err := os.Stat(n.path); err != nil {
			continue // sysfs is ahead of the node
		}
		keep = append(keep, n)
	}
	return keep, nil
}

// named lists the nodes of Options.Paths.
func (r *runner) named(bound *keySet) ([]node, error) {
	var nodes []node
	for _, p := range r.paths {
		n := node{path: p}
		real, err := filepath.EvalSymlinks(p)
		if err == nil && eventNumber(filepath.Base(real)) >= 0 {
			var known node
			if known, err = readNode(r.root, filepath.Base(real)); err == nil {
				n = known
				n.path = p
			} else if errors.Is(err, fs.ErrNotExist) {
				err = nil
			}
		}
		if err == nil {
			var st os.FileInfo
			if st, err = os.Stat(p); err == nil && !n.known && st.Mode()&os.ModeCharDevice != 0 {
				err = errors.New("it is no event device that the kernel lists in /sys/class/input")
			}
		}
		if err != nil {
			if r.first {
				return nil, fmt.Errorf("evdev: open device %q: %w; plug it in, or list the devices with \"holdgap devices\"", p, bare(err))
			}
			continue
		}
		key := "evdev:unbound:" + p
		if allowed := n.allowed(bound); n.known && allowed.empty() {
			r.warn(key, fmt.Sprintf("%q (%s) is not read, since no key of it is bound: bind the keys to use by name, such as key_j.", n.name, p))
			continue
		}
		r.warn(key, "")
		nodes = append(nodes, n)
	}
	return nodes, nil
}

// bare takes the path off a path error, for a message that names it already.
func bare(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}

// look opens what should be open and is not, and closes keyboards without bound keys.
func (r *runner) look() error {
	bound := r.keys()
	nodes, err := r.wanted(&bound)
	if err != nil {
		if r.first {
			return err
		}
		r.log.Warn().Err(err).Msg("look for devices")
		return nil
	}
	want := map[string]bool{}
	var refused []node
	for _, n := range nodes {
		want[n.path] = true
		if d := r.open[n.path]; d != nil {
			if err := d.rebind(bound); err != nil {
				r.trouble(n, err)
				_ = d.file.Close() // and gone sees to the rest
			}
			continue
		}
		if r.spent(n) {
			continue
		}
		err := r.start(n, bound)
		switch {
		case err == nil:
			delete(r.denied, n.path)
			r.warn("evdev:"+n.path, "")
		case errors.Is(err, fs.ErrPermission):
			if r.first && len(r.paths) > 0 {
				return fmt.Errorf("evdev: open device %q: permission denied; %s", n.path, remedy([]node{n}))
			}
			since, known := r.denied[n.path]
			if !known {
				since = time.Now()
				r.denied[n.path] = since
			}
			if r.first || time.Since(since) >= permissionGrace || r.warned[permissionKey] != "" {
				refused = append(refused, n)
			}
		case unplugged(err):
			delete(r.denied, n.path)
		default:
			if r.first && len(r.paths) > 0 {
				return fmt.Errorf("evdev: open device %q: %w", n.path, bare(err))
			}
			r.trouble(n, err)
		}
	}
	for path := range r.denied {
		if !want[path] {
			delete(r.denied, path)
		}
	}
	r.refused(refused)
	for path, d := range r.open {
		if !want[path] && d.desc.Keyboard {
			_ = d.file.Close()
		}
	}
	return nil
}

const permissionKey = "evdev:permission"

// refused warns of the devices that may not be read, or takes the warning back.
func (r *runner) refused(nodes []node) {
	if len(nodes) == 0 {
		r.warn(permissionKey, "")
		return
	}
	var names []string
	for _, n := range nodes {
		names = append(names, fmt.Sprintf("%q (%s)", n.name, n.path))
	}
	r.warn(permissionKey, fmt.Sprintf("No permission to read %s: %s", strings.Join(names, ", "), remedy(nodes)))
}

func (r *runner) trouble(n node, err error) {
	text := fmt.Sprintf("Cannot read %q (%s): %v; unplug it and plug it in again.", n.name, n.path, bare(err))
	if errors.Is(err, errNoMask) {
		text = fmt.Sprintf("The keyboard %q (%s) is not read, since %v and every key would reach this program: use a kernel of version 4.4 or later, or the browser page.", n.name, n.path, err)
	}
	r.warn("evdev:"+n.path, text)
}

// spent tells whether a pipe or file was read to its end and is still the same.
func (r *runner) spent(n node) bool {
	old := r.ended[n.path]
	if old == nil {
		return false
	}
	st, err := os.Stat(n.path)
	if err == nil && os.SameFile(old, st) {
		return true
	}
	delete(r.ended, n.path)
	return false
}

// start opens one device and its reader.
func (r *runner) start(n node, bound keySet) error {
	d, err := openDevice(n, bound, r.thresh, r.sink)
	if err != nil {
		return err
	}
	// A device that comes back keeps its number.
	key := n.whose()
	if ids := r.free[key]; len(ids) > 0 {
		d.desc.ID, r.free[key] = ids[0], ids[1:]
	} else {
		d.desc.ID = r.ids.Next()
	}
	d.dec.id = d.desc.ID
	r.open[n.path] = d
	r.log.Info().Str("path", n.path).Str("name", n.name).Str("kind", string(d.kind)).Str("identity", d.desc.Identity).Msg("reading device")
	r.sink.Attach(d.desc)
	go d.run(r.gone)
	return nil
}

// whose is what tells that a device that appears is one that was there before.
func (n *node) whose() string {
	if !n.known {
		return n.path
	}
	return n.identity() + "\x00" + n.name + "\x00" + n.uniq
}

// lost takes a device off the books whose reader has ended.
func (r *runner) lost(d *device) {
	if r.open[d.node.path] == d {
		delete(r.open, d.node.path)
	}
	key := d.node.whose()
	r.free[key] = append(r.free[key], d.desc.ID)
	if !d.file.device {
		r.ended[d.node.path] = d.file.info
	}
	_ = d.file.Close() // only now, lest a new pipe take over its inode number
	switch {
	case unplugged(d.err), errors.Is(d.err, io.EOF), errors.Is(d.err, os.ErrClosed):
		r.log.Info().Str("path", d.node.path).Str("name", d.node.name).Msg("device gone")
	default:
		r.log.Warn().Err(d.err).Str("path", d.node.path).Str("name", d.node.name).Msg("device lost")
	}
}
