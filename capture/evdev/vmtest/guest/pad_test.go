//go:build vm

package guest

import (
	"testing"

	codes "github.com/holoplot/go-evdev"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"holdgap/capture"
	"holdgap/capture/evdev"
	"holdgap/capture/evdev/vmtest/device"
)

func TestPadPressesHaveTheKernelsTimes(t *testing.T) {
	pad := plug(t, device.PadSpec())
	b := start(t, evdev.Options{})
	d := b.attached(pad.Node())
	require.Equal(t, capture.Device{ID: d.ID, Name: "Test Pad", Source: "evdev", Identity: "0003:1209:0001", Path: pad.Node()}, d)
	other := secondReader(t, pad.Node())

	var want []capture.Input
	send := func(inputs []capture.Input, events ...device.Event) {
		require.NoError(t, pad.Emit(events...))
		at := other.at(len(events))
		for _, in := range inputs {
			in.At = at
			want = append(want, in)
		}
		b.keepUp(d.ID, len(want))
	}
	// The codes and their positions: Documentation/input/gamepad.rst.
	for code, name := range map[uint16]string{
		codes.BTN_SOUTH: "south", codes.BTN_EAST: "east", codes.BTN_NORTH: "north", codes.BTN_WEST: "west",
		codes.BTN_TL: "tl", codes.BTN_TR: "tr", codes.BTN_SELECT: "select", codes.BTN_START: "start",
		codes.BTN_MODE: "mode", codes.BTN_THUMBL: "thumbl", codes.BTN_THUMBR: "thumbr",
	} {
		send([]capture.Input{down(name, 0)}, device.Key(code, true))
		send([]capture.Input{up(name, 0)}, device.Key(code, false))
	}
	// Two in one report have one time.
	send([]capture.Input{down("south", 0), down("east", 0)}, device.Key(codes.BTN_SOUTH, true), device.Key(codes.BTN_EAST, true))
	send([]capture.Input{up("east", 0)}, device.Key(codes.BTN_EAST, false))
	send([]capture.Input{up("south", 0), down("north", 0)}, device.Key(codes.BTN_SOUTH, false), device.Key(codes.BTN_NORTH, true))
	send([]capture.Input{up("north", 0)}, device.Key(codes.BTN_NORTH, false))
	// The hat, from one side straight to the other.
	send([]capture.Input{down("left", 0)}, device.Abs(codes.ABS_HAT0X, -1))
	send([]capture.Input{up("left", 0), down("right", 0)}, device.Abs(codes.ABS_HAT0X, 1))
	send([]capture.Input{down("down", 0)}, device.Abs(codes.ABS_HAT0Y, 1))
	send([]capture.Input{up("right", 0), up("down", 0)}, device.Abs(codes.ABS_HAT0X, 0), device.Abs(codes.ABS_HAT0Y, 0))
	send([]capture.Input{down("up", 0)}, device.Abs(codes.ABS_HAT0Y, -1))
	send([]capture.Input{up("up", 0)}, device.Abs(codes.ABS_HAT0Y, 0))
	b.expect(d.ID, want...)
}

func TestHIDPadFromItsReportDescriptor(t *testing.T) {
	b := start(t, evdev.Options{})
	pad := plugHID(t) // while the source runs
	d := b.attached(pad.Node())
	require.Equal(t, "0003:1209:0004", d.Identity)
	require.Equal(t, "Test HID Pad", d.Name)
	require.False(t, d.Keyboard)
	other := secondReader(t, pad.Node())
	state := device.RestReport
	// The kernel learns where the sticks rest, which it tells as events.
	require.NoError(t, pad.Report(state.Bytes()))
	other.skip()

	var want []capture.Input
	report := func(inputs ...capture.Input) {
		t.Helper()
		require.NoError(t, pad.Report(state.Bytes()))
		at := other.report()
		for _, in := range inputs {
			in.At = at
			want = append(want, in)
		}
		b.keepUp(d.ID, len(want))
	}
	// hidinput_configure_usage in the kernel's drivers/hid/hid-input.c: the
	// buttons of a Game Pad are BTN_GAMEPAD and the codes after it.
	names := []string{"south", "east", "c", "north", "west", "z", "tl", "tr"}
	for i, name := range names {
		state.Buttons = 1 << i
		report(down(name, 0))
		state.Buttons = 0
		report(up(name, 0))
	}
	state.Buttons = 0b1001 // two at once
	report(down("south", 0), down("north", 0))
	state.Buttons = 0
	report(up("south", 0), up("north", 0))
	// Once around: of a hat's neighbours only one direction changes.
	for _, step := range []struct {
		hat  uint8
		want capture.Input
	}{
		{device.HatUp, down("up", 0)},
		{device.HatUpRight, down("right", 0)},
		{device.HatRight, up("up", 0)},
		{device.HatDownRight, down("down", 0)},
		{device.HatDown, up("right", 0)},
		{device.HatDownLeft, down("left", 0)},
		{device.HatLeft, up("down", 0)},
		{device.HatUpLeft, down("up", 0)},
		{device.HatUp, up("left", 0)},
		{device.HatCentre, up("up", 0)},
	} {
		state.Hat = step.hat
		report(step.want)
	}
	state.Hat = device.HatDownLeft // both at once, and across
	report(down("left", 0), down("down", 0))
	state.Hat = device.HatUpRight
	report(up("left", 0), down("right", 0), up("down", 0), down("up", 0))
	state.Hat = device.HatCentre
	report(up("right", 0), up("up", 0))
	// X and Y are the left stick; Z and Rz, with no Rx and Ry beside them, the
	// right one.
	state.X = 255
	report(down("stick_right", 0))
	state.X, state.Y = 128, 0
	report(up("stick_right", 0), down("stick_up", 0))
	state.Y, state.Z, state.Rz = 128, 0, 255
	report(up("stick_up", 0), down("stick2_left", 0), down("stick2_down", 0))
	state = device.RestReport
	report(up("stick2_left", 0), up("stick2_down", 0))
	b.expect(d.ID, want...)
}

func TestSticksAndTriggersHaveHysteresis(t *testing.T) {
	pad := plug(t, device.PadSpec())
	b := start(t, evdev.Options{Thresholds: evdev.Thresholds{StickOn: 0.5, StickOff: 0.4, TriggerOn: 0.25, TriggerOff: 0.15}})
	d := b.attached(pad.Node())
	other := secondReader(t, pad.Node())

	var want []capture.Input
	move := func(code uint16, value int32, inputs ...capture.Input) {
		t.Helper()
		require.NoError(t, pad.Abs(code, value))
		at := other.at(1)
		for _, in := range inputs {
			in.At = at
			want = append(want, in)
		}
		b.keepUp(d.ID, len(want))
	}
	for _, s := range []struct {
		code        uint16
		minus, plus string
	}{
		{codes.ABS_X, "stick_left", "stick_right"},
		{codes.ABS_Y, "stick_up", "stick_down"},
		{codes.ABS_RX, "stick2_left", "stick2_right"},
		{codes.ABS_RY, "stick2_up", "stick2_down"},
	} {
		// Half of the way is 16384, two fifths 13107.
		move(s.code, 16000)
		move(s.code, 17000, down(s.plus, 0))
		move(s.code, 13500) // trembling between the thresholds
		move(s.code, 16000)
		move(s.code, 13300)
		move(s.code, 12800, up(s.plus, 0))
		move(s.code, 16000) // the way back up needs the upper one again
		move(s.code, 32767, down(s.plus, 0))
		move(s.code, -32768, up(s.plus, 0), down(s.minus, 0))
		move(s.code, -13500)
		move(s.code, -12800, up(s.minus, 0))
		move(s.code, -16000)
		move(s.code, 0)
	}
	for _, s := range []struct {
		code uint16
		name string
	}{{codes.ABS_Z, "tl2"}, {codes.ABS_RZ, "tr2"}} {
		// A quarter of 255 is 63.75, 15 % are 38.25.
		move(s.code, 63)
		move(s.code, 64, down(s.name, 0))
		move(s.code, 39)
		move(s.code, 63)
		move(s.code, 38, up(s.name, 0))
		move(s.code, 63)
		move(s.code, 255, down(s.name, 0))
		move(s.code, 0, up(s.name, 0))
	}
	b.expect(d.ID, want...)
}

func TestDpadAsKeysAndHatTogether(t *testing.T) {
	box := plug(t, device.BoxSpec())
	b := start(t, evdev.Options{})
	d := b.attached(box.Node())
	other := secondReader(t, box.Node())

	var want []capture.Input
	send := func(inputs []capture.Input, events ...device.Event) {
		t.Helper()
		require.NoError(t, box.Emit(events...))
		at := other.at(len(events))
		for _, in := range inputs {
			in.At = at
			want = append(want, in)
		}
		b.keepUp(d.ID, len(want))
	}
	for _, s := range []struct {
		name      string
		key, axis uint16
		value     int32
	}{
		{"up", codes.BTN_DPAD_UP, codes.ABS_HAT0Y, -1},
		{"down", codes.BTN_DPAD_DOWN, codes.ABS_HAT0Y, 1},
		{"left", codes.BTN_DPAD_LEFT, codes.ABS_HAT0X, -1},
		{"right", codes.BTN_DPAD_RIGHT, codes.ABS_HAT0X, 1},
	} {
		pressed, released := []capture.Input{down(s.name, 0)}, []capture.Input{up(s.name, 0)}
		// Both in one report are one press.
		send(pressed, device.Key(s.key, true), device.Abs(s.axis, s.value))
		send(released, device.Key(s.key, false), device.Abs(s.axis, 0))
		// Either alone is a press too.
		send(pressed, device.Key(s.key, true))
		send(released, device.Key(s.key, false))
		send(pressed, device.Abs(s.axis, s.value))
		send(released, device.Abs(s.axis, 0))
		// The one holds on while the other lets go.
		send(pressed, device.Key(s.key, true))
		send(nil, device.Abs(s.axis, s.value))
		send(nil, device.Key(s.key, false))
		send(released, device.Abs(s.axis, 0))
	}
	b.expect(d.ID, want...)
}

// TestKeyHeldAtTheStartIsNoPress: nobody knows when it went down.
func TestKeyHeldAtTheStartIsNoPress(t *testing.T) {
	box := plug(t, device.BoxSpec())
	require.NoError(t, box.Emit(device.Key(codes.BTN_SOUTH, true), device.Abs(codes.ABS_HAT0X, 1)))
	b := start(t, evdev.Options{})
	d := b.attached(box.Node())
	other := secondReader(t, box.Node())
	send := func(events ...device.Event) int64 {
		t.Helper()
		require.NoError(t, box.Emit(events...))
		return other.at(len(events))
	}
	want := []capture.Input{down("east", send(device.Key(codes.BTN_EAST, true)))}
	// Right is held by the hat since before the start, so its key adds nothing.
	send(device.Key(codes.BTN_DPAD_RIGHT, true))
	send(device.Key(codes.BTN_SOUTH, false), device.Abs(codes.ABS_HAT0X, 0))
	send(device.Key(codes.BTN_DPAD_RIGHT, false))
	// From here on both are like any other.
	want = append(want, down("south", send(device.Key(codes.BTN_SOUTH, true))))
	want = append(want, down("right", send(device.Abs(codes.ABS_HAT0X, 1))))
	want = append(want, up("south", send(device.Key(codes.BTN_SOUTH, false))))
	want = append(want, up("right", send(device.Abs(codes.ABS_HAT0X, 0))))
	b.expect(d.ID, want...)
}

func TestSeveralDevicesStayApart(t *testing.T) {
	b := start(t, evdev.Options{})
	one, two, hid := plug(t, device.PadSpec()), plug(t, device.PadSpec()), plugHID(t)
	type dev struct {
		id    uint16
		other second
		want  []capture.Input
	}
	devs := map[string]*dev{}
	for _, node := range []string{one.Node(), two.Node(), hid.Node()} {
		devs[node] = &dev{id: b.attached(node).ID, other: secondReader(t, node)}
	}
	require.Len(t, map[uint16]bool{devs[one.Node()].id: true, devs[two.Node()].id: true, devs[hid.Node()].id: true}, 3)
	require.NoError(t, hid.Report(device.RestReport.Bytes()))
	devs[hid.Node()].other.skip()

	for i := range 50 {
		pressed := i%2 == 0
		for _, v := range []*device.Virtual{one, two} {
			require.NoError(t, v.Key(codes.BTN_SOUTH, pressed))
			d := devs[v.Node()]
			d.want = append(d.want, capture.Input{At: d.other.at(1), Key: "south", Down: pressed})
			b.keepUp(d.id, len(d.want))
		}
		r := device.RestReport
		if pressed {
			r.Buttons = 1
		}
		require.NoError(t, hid.Report(r.Bytes()))
		d := devs[hid.Node()]
		d.want = append(d.want, capture.Input{At: d.other.report(), Key: "south", Down: pressed})
		b.keepUp(d.id, len(d.want))
	}
	for _, d := range devs {
		b.expect(d.id, d.want...)
	}
}

// TestNeverGrabs: whoever grabs a device (EVIOCGRAB) keeps its events from all
// others, and nobody else can grab it meanwhile.
func TestNeverGrabs(t *testing.T) {
	pad := plug(t, device.PadSpec())
	before := secondReader(t, pad.Node())
	mine := descriptors(t, pad.Node())
	b := start(t, evdev.Options{})
	d := b.attached(pad.Node())
	var theirs []int
	for _, fd := range descriptors(t, pad.Node()) {
		if fd != mine[0] {
			theirs = append(theirs, fd)
		}
	}
	require.Len(t, theirs, 1)
	flags, err := unix.FcntlInt(uintptr(theirs[0]), unix.F_GETFL, 0)
	require.NoError(t, err)
	require.Equal(t, unix.O_RDONLY, flags&unix.O_ACCMODE, "the source cannot write to the device")

	after := secondReader(t, pad.Node())
	require.NoError(t, pad.Key(codes.BTN_SOUTH, true))
	at := before.at(1)
	require.Equal(t, at, after.at(1))
	require.NoError(t, unix.IoctlSetInt(after.FD(), eviocgrab, 1), "nobody has grabbed the device")
	require.NoError(t, unix.IoctlSetInt(after.FD(), eviocgrab, 0))
	require.NoError(t, pad.Key(codes.BTN_SOUTH, false))
	b.expect(d.ID, down("south", at), up("south", after.at(1)))
}

const eviocgrab = 0x40044590 // include/uapi/linux/input.h
