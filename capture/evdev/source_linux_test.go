package evdev

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"golang.org/x/sys/unix"

	"holdgap/capture"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// tree is a fixture for dev and sys, in which pipes stand in for event devices.
type tree struct {
	t    *testing.T
	root string
}

func newTree(t *testing.T) *tree {
	t.Helper()
	tr := &tree{t, t.TempDir()}
	require.NoError(t, os.MkdirAll(filepath.Join(tr.root, "dev/input"), 0o755))
	require.NoError(t, os.MkdirAll(filepath.Join(tr.root, "sys/class/input"), 0o755))
	return tr
}

// Capabilities as sysfs prints them.
const (
	// ABS 3003f: both sticks, both triggers, hat 0. KEY: BTN_SOUTH … THUMBR without C, Z, TL2, TR2.
	padKeys      = "7cdb000000000000 0 0 0 0"
	keyboardKeys = "fffffffffffffffe" // all of the first 64 codes but the reserved one
	mouseKeys    = "70000 0 0 0 0"
)

func (tr *tree) sysfs(number int, name, id, ev, keys, abs string) {
	dir := filepath.Join(tr.root, fmt.Sprintf("sys/class/input/event%d/device", number))
	f := strings.Split(id, ":")
	for file, text := range map[string]string{
		"name": name, "phys": fmt.Sprintf("usb-%d/input0", number), "uniq": "",
		"id/bustype": f[0], "id/vendor": f[1], "id/product": f[2], "id/version": "0100",
		"capabilities/ev": ev, "capabilities/key": keys, "capabilities/abs": abs, "capabilities/rel": "0", "properties": "0",
	} {
		p := filepath.Join(dir, file)
		require.NoError(tr.t, os.MkdirAll(filepath.Dir(p), 0o755))
		require.NoError(tr.t, os.WriteFile(p, []byte(text+"\n"), 0o644))
	}
}

func (tr *tree) path(number int) string {
	return filepath.Join(tr.root, fmt.Sprintf("dev/input/event%d", number))
}

// node makes the pipe of a device and returns its writing end, which keeps it open.
func (tr *tree) node(number int) *os.File {
	tr.t.Helper()
	p := tr.path(number)
	require.NoError(tr.t, unix.Mkfifo(p+".new", 0o644))
	w, err := os.OpenFile(p+".new", os.O_RDWR, 0)
	require.NoError(tr.t, err)
	require.NoError(tr.t, os.Rename(p+".new", p)) // appears with its writer
	tr.t.Cleanup(func() { _ = w.Close() })
	return w
}

func (tr *tree) pad(number int) *os.File {
	tr.sysfs(number, fmt.Sprintf("Pad %d", number), "0003:1209:000"+fmt.Sprint(number%10), "b", padKeys, "3003f")
	return tr.node(number)
}

func (tr *tree) keyboard(number int) *os.File {
	tr.sysfs(number, "Keyboard", "0003:1209:00aa", "120013", keyboardKeys, "0")
	return tr.node(number)
}

// unopened tells whether nobody reads a pipe.
func unopened(path string) bool {
	// A second pipe end for writing alone is refused while there is no reader; our own
	// end for reading and writing counts as one, so ask through /proc who has it open.
	n := 0
	fds, _ := os.ReadDir("/proc/self/fd")
	for _, fd := range fds {
		if to, err := os.Readlink("/proc/self/fd/" + fd.Name()); err == nil && (to == path || to == path+".new") {
			n++
		}
	}
	return n <= 1
}

// happening is one call of the sink.
type happening struct {
	what string // "input", "attach", "detach" or "warn"
	in   capture.Input
	dev  capture.Device
	at   int64
	text string
}

type events chan happening

func (e events) Input(in capture.Input)  { e <- happening{what: "input", in: in} }
func (e events) Attach(d capture.Device) { e <- happening{what: "attach", dev: d} }
func (e events) Detach(id uint16, at int64) {
	e <- happening{what: "detach", dev: capture.Device{ID: id}, at: at}
}
func (e events) Warn(key, text string) {
	e <- happening{what: "warn", dev: capture.Device{Name: key}, text: text}
}

func (e events) next(t *testing.T) happening {
	t.Helper()
	select {
	case h := <-e:
		return h
	case <-time.After(10 * time.Second): // a test that hangs says where
		t.Fatal("nothing happened for ten seconds")
		panic("unreachable")
	}
}

func (e events) expect(t *testing.T, what string) happening {
	t.Helper()
	h := e.next(t)
	require.Equal(t, what, h.what, "%+v", h)
	return h
}

func (e events) quiet(t *testing.T) {
	t.Helper()
	select {
	case h := <-e:
		t.Fatalf("%s happened: %+v", h.what, h)
	default:
	}
}

// run runs a source in the background; stop ends it and returns what Run returned.
func run(t *testing.T, o Options) (s *Source, e events, stop func() error) {
	t.Helper()
	s = New(o)
	e = make(events, 4096)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx, e) }()
	var once bool
	var err error
	stop = func() error {
		cancel()
		if !once {
			once = true
			err = <-done
		}
		return err
	}
	t.Cleanup(func() { _ = stop() })
	return s, e, stop
}

func press(us int64, code uint16, v int32) []byte {
	return put(put(nil, us, evKey, code, v), us, evSyn, synReport, 0)
}

func send(t *testing.T, w *os.File, b []byte) {
	t.Helper()
	_, err := w.Write(b)
	require.NoError(t, err)
}

func TestPadsAreTakenAndNothingElse(t *testing.T) {
	tr := newTree(t)
	one, two := tr.pad(3), tr.pad(12)
	tr.keyboard(4)
	tr.sysfs(5, "Mouse", "0003:1209:00bb", "17", mouseKeys, "0")
	tr.node(5)
	_, e, stop := run(t, Options{Root: tr.root})
	a, b := e.expect(t, "attach").dev, e.expect(t, "attach").dev
	assert.Equal(t, capture.Device{ID: 1, Name: "Pad 3", Source: "evdev", Identity: "0003:1209:0003", Path: tr.path(3)}, a)
	assert.Equal(t, capture.Device{ID: 2, Name: "Pad 12", Source: "evdev", Identity: "0003:1209:0002", Path: tr.path(12)}, b)
	assert.True(t, unopened(tr.path(4)), "the keyboard is not even opened")
	assert.True(t, unopened(tr.path(5)))
	assert.False(t, unopened(tr.path(3)))

	send(t, one, press(1_000_007, btnGamepad, 1))
	assert.Equal(t, capture.Input{At: 1_000_007_000, Device: 1, Key: "south", Down: true}, e.expect(t, "input").in)
	send(t, two, press(1_000_009, btnTR, 1))
	assert.Equal(t, capture.Input{At: 1_000_009_000, Device: 2, Key: "tr", Down: true}, e.expect(t, "input").in)
	whole := press(1_016_690, btnGamepad, 0)
	send(t, one, whole[:5]) // a pipe may cut an event anywhere
	send(t, one, whole[5:])
	assert.Equal(t, capture.Input{At: 1_016_690_000, Device: 1, Key: "south"}, e.expect(t, "input").in)

	require.NoError(t, stop())
	var last []string // the two end in any order
	for range 3 {
		h := e.next(t)
		last = append(last, h.what)
		if h.what == "input" {
			assert.Equal(t, capture.Input{At: 1_000_009_000, Device: 2, Key: "tr"}, h.in, "what was held is released")
		}
	}
	assert.ElementsMatch(t, []string{"input", "detach", "detach"}, last)
	e.quiet(t)
}

func TestUnplugReleasesAndReplugResumes(t *testing.T) {
	tr := newTree(t)
	w := tr.pad(1)
	_, e, _ := run(t, Options{Root: tr.root})
	first := e.expect(t, "attach").dev
	send(t, w, press(5_000_000, btnGamepad, 1))
	send(t, w, press(5_000_500, btnGamepad+1, 1))
	e.expect(t, "input")
	e.expect(t, "input")
	require.NoError(t, os.Remove(tr.path(1)))
	require.NoError(t, w.Close())
	for _, key := range []string{"south", "east"} {
		in := e.expect(t, "input").in
		assert.Equal(t, capture.Input{At: 5_000_500_000, Device: first.ID, Key: key}, in)
	}
	h := e.expect(t, "detach")
	assert.Equal(t, first.ID, h.dev.ID)
	assert.Equal(t, int64(5_000_500_000), h.at)

	w = tr.node(1)
	assert.Equal(t, first, e.expect(t, "attach").dev, "the same device under the same number")
	send(t, w, press(9_000_000, btnGamepad, 1))
	assert.Equal(t, "south", e.expect(t, "input").in.Key)

	other := tr.pad(2) // and one more while running
	assert.Equal(t, "Pad 2", e.expect(t, "attach").dev.Name)
	send(t, other, press(9_100_000, btnGamepad, 1))
	assert.NotEqual(t, first.ID, e.expect(t, "input").in.Device)
}

func TestTheDeviceDirectoryMayComeLater(t *testing.T) {
	root := t.TempDir()
	require.NoError(t, os.MkdirAll(filepath.Join(root, "dev"), 0o755))
	_, e, _ := run(t, Options{Root: root})
	tr := &tree{t, root}
	require.NoError(t, os.MkdirAll(filepath.Join(root, "dev/input"), 0o755))
	w := tr.pad(0)
	e.expect(t, "attach")
	send(t, w, press(1000, btnGamepad, 1))
	e.expect(t, "input")
}

func TestKeyboardsOnlyByTheirBoundKeys(t *testing.T) {
	tr := newTree(t)
	w := tr.keyboard(4)
	const j, k = 36, 37
	s, e, stop := run(t, Options{Root: tr.root, Keys: []string{"south"}})
	require.Error(t, s.Rebind([]string{"key_jj"}))
	assert.True(t, unopened(tr.path(4)))
	require.NoError(t, s.Rebind([]string{"key_j", "east"}))
	dev := e.expect(t, "attach").dev
	assert.True(t, dev.Keyboard)
	send(t, w, press(1000, k, 1)) // the pipe has no mask, so the decoder has to do it
	send(t, w, press(2000, j, 1))
	assert.Equal(t, capture.Input{At: 2_000_000, Device: dev.ID, Key: "key_j", Down: true}, e.expect(t, "input").in)

	require.NoError(t, s.Rebind([]string{"key_k"}))
	assert.Equal(t, capture.Input{At: 2_000_000, Device: dev.ID, Key: "key_j"}, e.expect(t, "input").in, "unbound while held")
	send(t, w, press(3000, j, 0))
	send(t, w, press(4000, k, 1))
	assert.Equal(t, "key_k", e.expect(t, "input").in.Key)

	require.NoError(t, s.Rebind(nil))
	assert.Equal(t, "key_k", e.expect(t, "input").in.Key)
	e.expect(t, "detach")
	require.Eventually(t, func() bool { return unopened(tr.path(4)) }, 10*time.Second, time.Millisecond, "closed with its last key")
	require.NoError(t, stop())
	e.quiet(t)
}

func TestNamedDevices(t *testing.T) {
	tr := newTree(t)
	w := tr.pad(1)
	tr.pad(2)
	tr.keyboard(4)
	link := filepath.Join(tr.root, "dev/input/by-id")
	require.NoError(t, os.Mkdir(link, 0o755))
	link = filepath.Join(link, "usb-pad-event-joystick")
	require.NoError(t, os.Symlink("../event1", link))
	s, e, stop := run(t, Options{Root: tr.root, Paths: []string{link, tr.path(4)}})
	h := e.expect(t, "warn")
	assert.Contains(t, h.text, "no key of it is bound")
	dev := e.expect(t, "attach").dev
	assert.Equal(t, "Pad 1", dev.Name)
	assert.Equal(t, link, dev.Path)
	send(t, w, press(1000, btnGamepad, 1))
	e.expect(t, "input")
	require.NoError(t, s.Rebind([]string{"key_j"}))
	h = e.expect(t, "warn")
	assert.Empty(t, h.text, "the warning is taken back")
	assert.Equal(t, "Keyboard", e.expect(t, "attach").dev.Name)
	require.NoError(t, stop())
}

func TestNamedPipeOfRawEvents(t *testing.T) {
	dir := t.TempDir()
	p := filepath.Join(dir, "events")
	require.NoError(t, os.WriteFile(p, pad500(t), 0o644))
	_, e, stop := run(t, Options{Root: dir, Paths: []string{p}})
	var east []int64
	for h := e.next(t); h.what != "detach"; h = e.next(t) {
		if h.what == "input" && h.in.Key == "east" {
			east = append(east, h.in.At)
		}
	}
	assert.Equal(t, []int64{1_464_057_000, 1_564_079_000}, east)
	require.NoError(t, stop())
	e.quiet(t)
}

func TestWhatCannotBeOpened(t *testing.T) {
	tr := newTree(t)
	for name, c := range map[string]struct {
		o    Options
		says []string
	}{
		"no such device": {Options{Paths: []string{tr.path(99)}}, []string{"open device", "event99", "no such file", "holdgap devices"}},
		"a directory":    {Options{Paths: []string{tr.root}}, []string{"it is a directory"}},
		"no input":       {Options{Paths: []string{"/dev/null"}}, []string{`"/dev/null"`, "no event device"}},
		"a wrong key":    {Options{Keys: []string{"KeyQ"}}, []string{`"KeyQ"`, `did you mean "key_q"`}},
		"thresholds":     {Options{Thresholds: Thresholds{TriggerOn: 0.2, TriggerOff: 0.3}}, []string{"trigger thresholds on 0.2 and off 0.3"}},
	} {
		t.Run(name, func(t *testing.T) {
			c.o.Root = tr.root
			err := New(c.o).Run(t.Context(), make(events, 10))
			for _, s := range c.says {
				require.ErrorContains(t, err, s)
			}
		})
	}
}

// A user who may not read a device learns how to become able to, and the device is
// taken as soon as its permissions come: at a hotplug they come after the node.
func TestPermissions(t *testing.T) {
	if os.Getuid() == 0 { // root may read everything: run this test as nobody
		cmd := exec.Command("/proc/self/exe", "-test.run=^TestPermissions$", "-test.v")
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
		cmd.Dir = "/"
		cmd.Env = append(os.Environ(), "TMPDIR=/tmp", "HOME=/nonexistent")
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s", out)
		require.Contains(t, string(out), "--- PASS: TestPermissions")
		return
	}
	tr := newTree(t)
	w := tr.pad(1)
	require.NoError(t, os.Chmod(tr.path(1), 0))
	infos, err := Scan(tr.root)
	require.NoError(t, err)
	require.Len(t, infos, 1)
	assert.False(t, infos[0].Readable)
	rule := `SUBSYSTEM=="input", KERNEL=="event*", ATTRS{id/bustype}=="0003", ATTRS{id/vendor}=="1209", ATTRS{id/product}=="0001", TAG+="uaccess"`
	assert.Contains(t, infos[0].Remedy, rule)
	assert.Contains(t, infos[0].Remedy, "/etc/udev/rules.d/70-holdgap.rules")

	err = New(Options{Root: tr.root, Paths: []string{tr.path(1)}}).Run(t.Context(), make(events, 10))
	require.ErrorContains(t, err, "permission denied")
	require.ErrorContains(t, err, rule)

	_, e, _ := run(t, Options{Root: tr.root})
	h := e.expect(t, "warn")
	assert.Contains(t, h.text, `"Pad 1"`)
	assert.Contains(t, h.text, rule)
	require.NoError(t, os.Chmod(tr.path(1), 0o600))
	e.expect(t, "attach")
	assert.Empty(t, e.expect(t, "warn").text, "the warning is taken back")
	send(t, w, press(1000, btnGamepad, 1))
	e.expect(t, "input")

	// Plugged in while running: no warning flashes up before udev has done its work.
	tr.sysfs(2, "Pad 2", "0003:1209:0002", "b", padKeys, "3003f")
	require.NoError(t, unix.Mkfifo(tr.path(2), 0))
	require.NoError(t, os.Chmod(tr.path(2), 0o600))
	assert.Equal(t, "Pad 2", e.expect(t, "attach").dev.Name)
}

func TestGroupThatMayReadIsNamed(t *testing.T) {
	p := filepath.Join(t.TempDir(), "node")
	require.NoError(t, os.WriteFile(p, nil, 0o640))
	if os.Getuid() == 0 {
		require.NoError(t, os.Chown(p, 0, 1))
		name := owner(p)
		require.NotEmpty(t, name)
		assert.Contains(t, remedy([]node{{path: p, known: true}}), fmt.Sprintf("usermod -aG %s", name))
	}
	require.NoError(t, os.Chmod(p, 0o600))
	assert.Empty(t, owner(p), "being in the group would not help")
	assert.Contains(t, remedy([]node{{path: p}}), "ls -l")
}

func TestScan(t *testing.T) {
	tr := newTree(t)
	tr.pad(10)
	tr.keyboard(2)
	tr.sysfs(3, "Gone", "0019:0000:0001", "3", "10000000000000 0", "0")
	infos, err := Scan(tr.root)
	require.NoError(t, err)
	require.Len(t, infos, 3)
	assert.Equal(t, Info{Path: tr.path(2), Name: "Keyboard", Kind: Keyboard, Identity: "0003:1209:00aa", Phys: "usb-2/input0", Readable: true, Note: Keyboard.note()}, infos[0])
	assert.Equal(t, Other, infos[1].Kind)
	assert.False(t, infos[1].Readable)
	assert.Contains(t, infos[1].Remedy, "missing")
	assert.Equal(t, Info{Path: tr.path(10), Name: "Pad 10", Kind: Pad, Identity: "0003:1209:0000", Phys: "usb-10/input0", Readable: true}, infos[2])
	assert.True(t, unopened(tr.path(10)))

	infos, err = Scan(t.TempDir())
	require.NoError(t, err)
	assert.Empty(t, infos, "no input devices at all")

	require.NoError(t, os.WriteFile(filepath.Join(tr.root, "sys/class/input/event2/device/capabilities/key"), []byte("zz\n"), 0o644))
	_, err = Scan(tr.root)
	require.ErrorContains(t, err, `"zz" is not a bitmap`)
}

func TestWatchMeasures(t *testing.T) {
	tr := newTree(t)
	w := tr.pad(1)
	infos, err := Scan(tr.root)
	require.NoError(t, err)
	send(t, w, pad500(t))
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- Watch(ctx, tr.root, infos) }()
	// Once Watch has the pipe open, a writing end of its own shows when it lets go.
	require.Eventually(t, func() bool { return !unopened(tr.path(1)) }, 10*time.Second, time.Millisecond)
	require.NoError(t, w.Close())
	require.Eventually(t, func() bool {
		f, err := os.OpenFile(tr.path(1), os.O_WRONLY|unix.O_NONBLOCK, 0)
		if err == nil {
			_ = f.Close()
		}
		return errors.Is(err, unix.ENXIO) // nobody reads any more
	}, 10*time.Second, time.Millisecond)
	cancel()
	require.NoError(t, <-done)
	assert.Equal(t, 4, infos[0].Presses, "east once, down once, up twice")
	assert.InDelta(t, 4, infos[0].ReportMS, 0.01)
}
