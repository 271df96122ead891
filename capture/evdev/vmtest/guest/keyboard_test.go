//go:build vm

package guest

import (
	"encoding/binary"
	"path/filepath"
	"strings"
	"testing"

	codes "github.com/holoplot/go-evdev"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"holdgap/capture"
	"holdgap/capture/evdev"
	"holdgap/capture/evdev/vmtest/device"
)

// typeKey sends a key as a keyboard does: its scan code first.
func typeKey(t *testing.T, k *device.Virtual, code uint16, pressed bool) {
	t.Helper()
	scan := device.Event{Type: codes.EV_MSC, Code: codes.MSC_SCAN, Value: 0x70000 + int32(code)}
	require.NoError(t, k.Emit(scan, device.Key(code, pressed)))
}

// TestKeyboardUnboundKeysNeverArrive: neither at the sink nor at the
// descriptor, which is to say not in this process at all.
func TestKeyboardUnboundKeysNeverArrive(t *testing.T) {
	board := plug(t, device.KeyboardSpec())
	other := secondReader(t, board.Node())
	mine := descriptors(t, board.Node())
	require.Len(t, mine, 1)
	// Typed before the keyboard is opened, and one of them held down.
	typeKey(t, board, codes.KEY_P, true)
	b := start(t, evdev.Options{Keys: []string{"key_j", "key_k"}})
	d := b.attached(board.Node())
	require.True(t, d.Keyboard)
	typeKey(t, board, codes.KEY_P, false)
	other.skip()

	// At the descriptor: hold the source up while it hands on a bound key, so
	// that what follows stays in its queue for the test to read.
	var theirs int
	for _, fd := range descriptors(t, board.Node()) {
		if fd != mine[0] {
			theirs = fd
		}
	}
	require.NotZero(t, theirs)
	b.stall()
	typeKey(t, board, codes.KEY_J, true)
	first := other.at(2)
	b.until("stalled", func() bool { return len(b.of(d.ID)) == 1 })
	for code := uint16(codes.KEY_ESC); code <= codes.KEY_F12; code++ {
		if code != codes.KEY_J {
			typeKey(t, board, code, true)
			other.at(2) // the keyboard did type: a reader without a mask has it
			typeKey(t, board, code, false)
			other.at(2)
		}
	}
	queued, err := device.ReadPending(theirs)
	require.NoError(t, err)
	require.Len(t, queued, 4, "%v", queued)
	for i, want := range []device.Event{
		device.Key(codes.KEY_K, true), {Type: codes.EV_SYN},
		device.Key(codes.KEY_K, false), {Type: codes.EV_SYN},
	} {
		want.At = queued[i].At
		require.Equal(t, want, queued[i])
	}
	b.open()

	// At the sink, with the kernel's repetition of a held key, which it begins
	// when the key goes down and ends when any key goes up.
	typeKey(t, board, codes.KEY_J, false)
	want := []capture.Input{down("key_j", first), up("key_j", other.at(2))}
	typeKey(t, board, codes.KEY_J, true)
	want = append(want, down("key_j", other.at(2)))
	events, err := other.Await(patience, func(e device.Event) bool { return e.Type == codes.EV_KEY && e.Value == 2 })
	require.NoError(t, err, "the kernel repeats a held key: %v", events)
	typeKey(t, board, codes.KEY_J, false)
	typeKey(t, board, codes.KEY_A, true)
	typeKey(t, board, codes.KEY_K, true)
	typeKey(t, board, codes.KEY_A, false)
	typeKey(t, board, codes.KEY_K, false)
	events, err = other.Pending()
	require.NoError(t, err)
	names := map[uint16]string{codes.KEY_J: "key_j", codes.KEY_K: "key_k"}
	for _, e := range events {
		if name := names[e.Code]; e.Type == codes.EV_KEY && name != "" && e.Value != 2 {
			want = append(want, capture.Input{At: e.At, Key: name, Down: e.Value == 1})
		}
	}
	require.Len(t, want, 6)
	b.expect(d.ID, want...)
}

// openings watches which device nodes anyone opens.
type openings struct{ fd int }

func watchOpenings(t *testing.T) openings {
	t.Helper()
	fd, err := unix.InotifyInit1(unix.IN_NONBLOCK | unix.IN_CLOEXEC)
	require.NoError(t, err)
	t.Cleanup(func() { _ = unix.Close(fd) })
	_, err = unix.InotifyAddWatch(fd, "/dev/input", unix.IN_OPEN)
	require.NoError(t, err)
	return openings{fd}
}

// nodes returns the paths opened since the last call.
func (o openings) nodes(t *testing.T) map[string]bool {
	t.Helper()
	opened := map[string]bool{}
	buf := make([]byte, 1<<16)
	for {
		n, err := unix.Read(o.fd, buf)
		if err == unix.EAGAIN {
			return opened
		}
		require.NoError(t, err)
		// struct inotify_event: wd, mask, cookie, len, name
		for b := buf[:n]; len(b) >= unix.SizeofInotifyEvent; {
			size := binary.NativeEndian.Uint32(b[12:])
			name := strings.TrimRight(string(b[16:16+size]), "\x00")
			if strings.HasPrefix(name, "event") {
				opened[filepath.Join("/dev/input", name)] = true
			}
			b = b[16+size:]
		}
	}
}

func TestKeyboardIsNotOpenedWhenNothingIsBound(t *testing.T) {
	early := plug(t, device.KeyboardSpec())
	opened := watchOpenings(t)
	// A pad's button is bound: no reason to open a keyboard.
	b := start(t, evdev.Options{Keys: []string{"south"}})
	late := plug(t, device.KeyboardSpec()) // while the source runs
	pad := plug(t, device.PadSpec())
	d := b.attached(pad.Node())
	nodes := opened.nodes(t)
	require.Equal(t, map[string]bool{pad.Node(): true}, nodes, "the pad is opened, and no keyboard, not even the machine's own")

	other := secondReader(t, pad.Node())
	typeKey(t, early, codes.KEY_J, true)
	typeKey(t, late, codes.KEY_J, true)
	typeKey(t, early, codes.KEY_J, false)
	typeKey(t, late, codes.KEY_J, false)
	require.NoError(t, pad.Key(codes.BTN_SOUTH, true))
	b.expect(d.ID, down("south", other.at(1)))
	b.mu.Lock()
	inputs, devices := len(b.inputs), len(b.devices)
	b.mu.Unlock()
	require.Equal(t, 1, inputs)
	require.Equal(t, 1, devices)
	opened.nodes(t) // the second reader's

	// Bound while running: now they are read; unbound: closed again.
	require.NoError(t, b.src.Rebind([]string{"south", "key_j"}))
	e, l := b.attached(early.Node()), b.attached(late.Node())
	require.True(t, opened.nodes(t)[early.Node()])
	typeKey(t, late, codes.KEY_J, true)
	b.until("j is down", func() bool { return held(b.of(l.ID))["key_j"] })
	require.NoError(t, b.src.Rebind([]string{"south"}))
	b.until("both keyboards are detached", func() bool { return b.gone(e.ID) && b.gone(l.ID) })
	require.Empty(t, held(b.from(l.ID)), "what was held is released")
	require.Empty(t, descriptors(t, early.Node()))
	require.Empty(t, descriptors(t, late.Node()))
}

func TestKeyboardNamedByPathButUnboundIsNotOpened(t *testing.T) {
	board, pad := plug(t, device.KeyboardSpec()), plug(t, device.PadSpec())
	opened := watchOpenings(t)
	b := start(t, evdev.Options{Paths: []string{board.Node(), pad.Node()}})
	b.attached(pad.Node())
	require.False(t, opened.nodes(t)[board.Node()])
	b.until("a warning that says why", func() bool {
		for _, text := range b.warned {
			if strings.Contains(text, board.Node()) && strings.Contains(text, "bound") {
				return true
			}
		}
		return false
	})
}
