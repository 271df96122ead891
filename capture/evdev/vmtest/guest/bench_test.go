//go:build vm

package guest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	codes "github.com/holoplot/go-evdev"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"golang.org/x/sys/unix"

	"holdgap/capture"
	"holdgap/capture/evdev"
	"holdgap/capture/evdev/vmtest/device"
)

func TestMain(m *testing.M) {
	if _, err := os.Stat("/bootscript.json"); err != nil {
		fmt.Fprintln(os.Stderr, "these tests run inside the test machine only: go test ./capture/evdev/vmtest")
		os.Exit(2)
	}
	goleak.VerifyTestMain(m)
}

// patience is how long a test waits for what must come.
const patience = 20 * time.Second

// bench is a running Source and what it said.
type bench struct {
	t   *testing.T
	src *evdev.Source

	mu       sync.Mutex
	inputs   []capture.Input
	devices  []capture.Device // every Attach
	detached []detach
	warned   map[string]string
	changed  chan struct{} // closed and replaced at every word of the source
	gate     chan struct{} // while not nil and open, Input does not return
}

type detach struct {
	id uint16
	at int64
}

var _ capture.Sink = (*bench)(nil)

// start runs a Source until the test ends, and then sees that it gave
// everything back.
func start(t *testing.T, o evdev.Options) *bench {
	t.Helper()
	b := &bench{t: t, src: evdev.New(o), changed: make(chan struct{}), warned: map[string]string{}}
	before := descriptors(t, "/dev/input/") // the test's own readers
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.src.Run(ctx, b) }()
	t.Cleanup(func() {
		cancel()
		b.open()
		require.NoError(t, <-done)
		require.Equal(t, before, descriptors(t, "/dev/input/"), "the source is at its end and holds no device")
	})
	return b
}

func (b *bench) Input(in capture.Input) {
	b.mu.Lock()
	b.inputs = append(b.inputs, in)
	gate := b.gate
	b.say()
	b.mu.Unlock()
	if gate != nil {
		<-gate
	}
}

func (b *bench) Attach(d capture.Device) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.devices = append(b.devices, d)
	b.say()
}

func (b *bench) Detach(id uint16, at int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.detached = append(b.detached, detach{id, at})
	b.say()
}

func (b *bench) Warn(key, text string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.warned[key] = text
	b.say()
}

func (b *bench) say() {
	close(b.changed)
	b.changed = make(chan struct{})
}

// stall makes the source stand still at its next input, so that it does not read.
func (b *bench) stall() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.gate = make(chan struct{})
}

// open ends a stall.
func (b *bench) open() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.gate != nil {
		close(b.gate)
		b.gate = nil
	}
}

// until waits for a state of the bench; ok is called with its lock held.
func (b *bench) until(what string, ok func() bool) {
	b.t.Helper()
	late := time.After(patience)
	for {
		b.mu.Lock()
		met, changed := ok(), b.changed
		b.mu.Unlock()
		if met {
			return
		}
		select {
		case <-changed:
		case <-late:
			b.mu.Lock()
			defer b.mu.Unlock()
			b.t.Fatalf("within %v: not %s\ninputs %v\ndevices %v\ndetached %v\nwarned %v",
				patience, what, b.inputs, b.devices, b.detached, b.warned)
		}
	}
}

// attached waits for the device of a node, skipping earlier Attaches, and
// returns its description.
func (b *bench) attached(node string) (d capture.Device) {
	b.t.Helper()
	b.until(node+" attached", func() bool {
		for i := len(b.devices) - 1; i >= 0; i-- {
			if b.devices[i].Path == node && !b.gone(b.devices[i].ID) {
				d = b.devices[i]
				return true
			}
		}
		return false
	})
	return d
}

// gone tells whether the last that was heard of a device is its Detach.
func (b *bench) gone(id uint16) bool {
	attaches, detaches := 0, 0
	for _, d := range b.devices {
		if d.ID == id && d.ReportMS == 0 { // not an update
			attaches++
		}
	}
	for _, d := range b.detached {
		if d.id == id {
			detaches++
		}
	}
	return detaches >= attaches
}

// expect waits until as many inputs of a device came as are wanted, and then
// for them to be exactly these. It does not see what comes later: a test ends
// with an input that must be the last.
func (b *bench) expect(id uint16, want ...capture.Input) {
	b.t.Helper()
	b.keepUp(id, len(want))
	got := b.from(id)
	for i := range want {
		want[i].Device = id
	}
	require.Equal(b.t, want, got)
}

// keepUp waits until n inputs of a device came. A test that sends faster than
// the source reads would overflow the kernel's queue, which takes 64 events.
func (b *bench) keepUp(id uint16, n int) {
	b.t.Helper()
	b.until(fmt.Sprintf("%d inputs of device %d", n, id), func() bool { return len(b.of(id)) >= n })
}

// of is what came from a device; with the lock held.
func (b *bench) of(id uint16) (out []capture.Input) {
	for _, in := range b.inputs {
		if in.Device == id {
			out = append(out, in)
		}
	}
	return out
}

// from is what came from a device so far.
func (b *bench) from(id uint16) []capture.Input {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.of(id)
}

// descriptors are this process's descriptors of files below prefix.
func descriptors(t *testing.T, prefix string) (fds []int) {
	t.Helper()
	links, err := filepath.Glob("/proc/self/fd/*")
	require.NoError(t, err)
	for _, link := range links {
		if path, err := os.Readlink(link); err == nil && strings.HasPrefix(path, prefix) {
			var fd int
			_, err := fmt.Sscanf(filepath.Base(link), "%d", &fd)
			require.NoError(t, err)
			fds = append(fds, fd)
		}
	}
	return fds
}

// plug makes a device through uinput and unplugs it when the test ends.
func plug(t *testing.T, s device.Spec) *device.Virtual {
	t.Helper()
	v, err := device.New(s)
	require.NoError(t, err)
	t.Cleanup(func() { _ = v.Close() }) // the test may have unplugged it
	return v
}

// plugHID is plug for the pad of a HID report descriptor.
func plugHID(t *testing.T) *device.HID {
	t.Helper()
	h, err := device.NewHID("Test HID Pad", "serial-1", device.HIDPadID, device.PadDescriptor)
	require.NoError(t, err)
	t.Cleanup(func() { _ = h.Close() })
	return h
}

// second is a second reader of a node, which tells the expected times.
type second struct {
	*device.Node
	t *testing.T
}

func secondReader(t *testing.T, node string) second {
	t.Helper()
	n, err := device.Open(node)
	require.NoError(t, err)
	t.Cleanup(func() { _ = n.Close() })
	return second{n, t}
}

// at reads what the last sending brought, which must be one report with that
// many events, and returns the report's time.
func (s second) at(count int) int64 {
	s.t.Helper()
	events, err := s.Pending()
	require.NoError(s.t, err)
	require.Len(s.t, events, count+1, "events of one report and its end: %v", events)
	end := events[count]
	require.Equal(s.t, device.Event{At: end.At, Type: codes.EV_SYN, Code: codes.SYN_REPORT}, end)
	for _, e := range events {
		require.Equal(s.t, end.At, e.At, "one report has one time")
	}
	return end.At
}

// report reads what the last sending brought and returns its time, where the
// kernel may leave out events that change nothing.
func (s second) report() int64 {
	s.t.Helper()
	events, err := s.Pending()
	require.NoError(s.t, err)
	require.NotEmpty(s.t, events)
	return events[0].At
}

// skip forgets what came so far.
func (s second) skip() {
	s.t.Helper()
	_, err := s.Pending()
	require.NoError(s.t, err)
}

func down(key string, at int64) capture.Input {
	return capture.Input{At: at, Key: key, Down: true}
}

func up(key string, at int64) capture.Input { return capture.Input{At: at, Key: key} }

// monotonic is the time on the clock that the kernel stamps events on, in ns.
func monotonic(t *testing.T) int64 {
	t.Helper()
	var ts unix.Timespec
	require.NoError(t, unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts))
	return ts.Nano()
}
