//go:build vm

package guest

import (
	"errors"
	"os"
	"testing"
	"time"

	codes "github.com/holoplot/go-evdev"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"holdgap/capture"
	"holdgap/capture/evdev"
	"holdgap/capture/evdev/vmtest/device"
)

// TestUnplugWhileHeldAndReplug, with a device of either kind.
func TestUnplugWhileHeldAndReplug(t *testing.T) {
	type pad struct {
		node  string
		press func(south, upwards bool) error
		pull  func() error
	}
	for name, make := range map[string]func(t *testing.T) pad{
		"uinput": func(t *testing.T) pad {
			v := plug(t, device.PadSpec())
			return pad{v.Node(), func(south, upwards bool) error {
				hat := device.Abs(codes.ABS_HAT0Y, 0)
				if upwards {
					hat.Value = -1
				}
				return v.Emit(device.Key(codes.BTN_SOUTH, south), hat)
			}, v.Close}
		},
		"uhid": func(t *testing.T) pad {
			h := plugHID(t)
			return pad{h.Node(), func(south, upwards bool) error {
				r := device.RestReport
				if south {
					r.Buttons = 1
				}
				if upwards {
					r.Hat = device.HatUp
				}
				return h.Report(r.Bytes())
			}, h.Close}
		},
	} {
		t.Run(name, func(t *testing.T) {
			p := make(t)
			b := start(t, evdev.Options{})
			d := b.attached(p.node)
			other := secondReader(t, p.node)
			require.NoError(t, p.press(false, false)) // where the axes rest
			other.skip()
			require.NoError(t, p.press(true, true))
			pressed := other.report()
			b.until("both held", func() bool { return len(b.of(d.ID)) == 2 })

			before := monotonic(t)
			require.NoError(t, p.pull())
			b.until("detached", func() bool { return len(b.detached) == 1 })
			after := monotonic(t)
			_, err := other.Pending()
			require.ErrorIs(t, err, unix.ENODEV, "the second reader lost the device too")

			inputs, gone := b.from(d.ID), b.detached[0] // nothing more comes of it
			require.Equal(t, d.ID, gone.id)
			require.Len(t, inputs, 4)
			held := map[string]bool{}
			for _, in := range inputs[:2] {
				require.True(t, in.Down)
				require.Equal(t, pressed, in.At)
				held[in.Key] = true
			}
			require.Equal(t, map[string]bool{"south": true, "up": true}, held)
			for _, in := range inputs[2:] {
				require.False(t, in.Down)
				require.True(t, held[in.Key], "%q is released once", in.Key)
				delete(held, in.Key)
				// The kernel stamps in µs, rounded down.
				assert.GreaterOrEqual(t, in.At, before-1000, "released at the loss")
				assert.LessOrEqual(t, in.At, after)
				assert.LessOrEqual(t, in.At, gone.at, "released before it was detached")
			}

			again := make(t)
			d2 := b.attached(again.node)
			require.Equal(t, d.ID, d2.ID, "a device that comes back keeps its number")
			other = secondReader(t, again.node)
			require.NoError(t, again.press(true, false))
			want := append(inputs, down("south", other.report()))
			require.NoError(t, again.press(false, false))
			b.expect(d.ID, append(want, up("south", other.report()))...)
		})
	}
}

func TestOverflowOfTheKernelsQueue(t *testing.T) {
	pad := plug(t, device.PadSpec())
	b := start(t, evdev.Options{})
	d := b.attached(pad.Node())
	other := secondReader(t, pad.Node())

	for range 3 { // not only once
		b.stall()
		require.NoError(t, pad.Key(codes.BTN_SOUTH, true))
		b.until("stalled", func() bool { n := len(b.of(d.ID)); return n > 0 && b.of(d.ID)[n-1].Key == "south" })
		// What is lost in the middle and never said again, so that only the
		// device itself can tell; then thousands of events, where the queue takes 64.
		require.NoError(t, pad.Emit(
			device.Key(codes.BTN_SOUTH, false), device.Key(codes.BTN_EAST, true),
			device.Abs(codes.ABS_HAT0X, -1), device.Abs(codes.ABS_X, 32000),
		))
		for range 500 {
			require.NoError(t, pad.Emit(device.Key(codes.BTN_WEST, true), device.Key(codes.BTN_TL, true), device.Abs(codes.ABS_HAT0Y, 1)))
			require.NoError(t, pad.Emit(device.Key(codes.BTN_WEST, false), device.Key(codes.BTN_TL, false), device.Abs(codes.ABS_HAT0Y, 0)))
		}
		// And the last of the flood is still in the queue when it is read.
		require.NoError(t, pad.Emit(device.Key(codes.BTN_WEST, true), device.Abs(codes.ABS_RZ, 200)))
		events, err := other.Pending()
		require.NoError(t, err)
		dropped := 0
		for _, e := range events {
			if e.Type == codes.EV_SYN && e.Code == codes.SYN_DROPPED {
				dropped++
			}
		}
		require.Positive(t, dropped, "the flood overflows a queue that nobody reads")
		b.open()
		want := map[string]bool{"east": true, "west": true, "left": true, "stick_right": true, "tr2": true}
		b.until("the right keys are down", func() bool { return assert.ObjectsAreEqual(want, held(b.of(d.ID))) })

		require.NoError(t, pad.Emit(
			device.Key(codes.BTN_EAST, false), device.Key(codes.BTN_WEST, false),
			device.Abs(codes.ABS_HAT0X, 0), device.Abs(codes.ABS_X, 0), device.Abs(codes.ABS_RZ, 0),
		))
		other.skip()
		b.until("all are up", func() bool { return len(held(b.of(d.ID))) == 0 })
	}
	// The usual exactness is back.
	require.NoError(t, pad.Key(codes.BTN_START, true))
	at := other.at(1)
	b.until("start is down", func() bool { return held(b.of(d.ID))["start"] })
	inputs := b.from(d.ID)
	require.Equal(t, capture.Input{At: at, Device: d.ID, Key: "start", Down: true}, inputs[len(inputs)-1])
	state := map[string]bool{}
	for i, in := range inputs {
		require.NotEqual(t, state[in.Key], in.Down, "input %d: every key goes down and up in turn: %v", i, inputs)
		state[in.Key] = in.Down
		if i > 0 {
			require.GreaterOrEqual(t, in.At, inputs[i-1].At, "input %d: times do not run back: %v", i, inputs)
		}
	}
}

// held are the keys that are down after the inputs.
func held(inputs []capture.Input) map[string]bool {
	keys := map[string]bool{}
	for _, in := range inputs {
		if in.Down {
			keys[in.Key] = true
		} else {
			delete(keys, in.Key)
		}
	}
	return keys
}

// TestHotplugLongAfterTheStart: after each change the source looks for devices
// by itself for a few seconds more. This waits that out, which is no waiting for
// something to happen: what notices the device must be the watch alone.
func TestHotplugLongAfterTheStart(t *testing.T) {
	b := start(t, evdev.Options{})
	<-time.After(4 * time.Second)
	pad := plug(t, device.PadSpec())
	d := b.attached(pad.Node())
	other := secondReader(t, pad.Node())
	require.NoError(t, pad.Key(codes.BTN_SOUTH, true))
	b.expect(d.ID, down("south", other.at(1)))
}

// TestNoPermissionAndThenPermission: a node appears before udev gives it to the
// user's group. Here its owner, whom the test becomes, may not read it at first.
func TestNoPermissionAndThenPermission(t *testing.T) {
	const nobody = 65534
	pad := plug(t, device.PadSpec())
	require.NoError(t, os.Chown(pad.Node(), nobody, nobody))
	require.NoError(t, os.Chmod(pad.Node(), 0))
	require.NoError(t, unix.Setresuid(-1, nobody, -1)) // all threads, since Go 1.16
	defer func() { require.NoError(t, unix.Setresuid(-1, 0, -1)) }()
	if _, err := os.Open(pad.Node()); !errors.Is(err, os.ErrPermission) {
		t.Fatalf("the test is still allowed to open %s: %v", pad.Node(), err)
	}

	b := start(t, evdev.Options{})
	var text string
	b.until("warned", func() bool {
		for _, text = range b.warned {
			if text != "" {
				return true
			}
		}
		return false
	})
	require.Contains(t, text, pad.Node())
	require.Contains(t, text, "Test Pad")
	require.NoError(t, os.Chmod(pad.Node(), 0o400))
	d := b.attached(pad.Node())
	b.until("the warning is taken back", func() bool {
		for _, text := range b.warned {
			if text != "" {
				return false
			}
		}
		return true
	})
	other := secondReader(t, pad.Node())
	require.NoError(t, pad.Key(codes.BTN_SOUTH, true))
	b.expect(d.ID, down("south", other.at(1)))
}
