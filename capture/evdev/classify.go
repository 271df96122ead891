package evdev

import "fmt"

// Kind says what an input device is, from what it can report.
type Kind string

// The kinds. Pads, sticks and boxes are taken by themselves, keyboards only with
// bound keys, the others only by their path.
const (
	Pad      Kind = "pad"      // has a gamepad's buttons
	Stick    Kind = "stick"    // has a joystick's buttons
	Box      Kind = "box"      // has numbered buttons and is nothing else
	Keyboard Kind = "keyboard" // has keys
	Mouse    Kind = "mouse"
	Touch    Kind = "touch" // touchpads, touch screens, pens
	Motion   Kind = "motion"
	Other    Kind = "other"
)

// plays tells whether devices of the kind are taken without being asked for.
func (k Kind) plays() bool { return k == Pad || k == Stick || k == Box }

// node is an event device as sysfs describes it.
type node struct {
	base                          string // "event5"
	path                          string // where it is opened
	name, phys, uniq              string
	bus, vendor, product, version uint16
	ev, rel, abs, props           uint64
	keys                          keySet
	known                         bool // false: nothing in sysfs, a pipe or file of raw events
}

// identity is the bus:vendor:product that profiles go by.
func (n *node) identity() string {
	return fmt.Sprintf("%04x:%04x:%04x", n.bus, n.vendor, n.product)
}

// Keys that hardly anything but a keyboard has several of: left control, caps
// lock, num lock, insert, mute, calculator, file manager, mail, play/pause and
// screen brightness down. udev's input_id tells keyboards that claim joystick
// buttons by the same idea.
var keyboardMarks = [...]uint16{29, 58, 69, 110, 113, 140, 144, 155, 164, 224}

func (n *node) anyKey(from, to uint16) bool {
	for c := from; c <= to; c++ {
		if n.keys.has(c) {
			return true
		}
	}
	return false
}

// kind classifies a node. The order matters most for a keyboard, which must never
// pass for a pad: full keyboards and receivers that also claim a joystick's buttons exist.
func (n *node) kind() Kind {
	if n.props>>propAccelerometer&1 != 0 {
		return Motion
	}
	if n.ev>>evKey&1 == 0 {
		return Other
	}
	// udev calls a device a full keyboard when it has all of the first row of codes, escape to S.
	full := n.keys[0]&0xfffffffe == 0xfffffffe
	marks := 0
	for _, c := range keyboardMarks {
		if n.keys.has(c) {
			marks++
		}
	}
	switch {
	case full || marks >= 4:
		return Keyboard
	case n.anyKey(btnGamepad, btnGamepad+0xf) || n.anyKey(btnDpadUp, btnDpadRight):
		return Pad
	case n.anyKey(btnDigi, btnDigi+0xf):
		return Touch
	case n.anyKey(btnJoystick, btnJoystick+0xf):
		return Stick
	case n.anyKey(btnMouse, btnMouse+7):
		return Mouse
	case n.typing():
		return Keyboard
	case n.anyKey(btnHappy1, btnHappy40) || n.anyKey(btnMisc, btnMisc+0xf) || n.anyKey(btnWheel, btnWheel+0xf):
		return Box
	default:
		return Other
	}
}

// typing tells whether the device has keys one types or steers with: letters,
// digits, space, enter, arrows, function keys. Power buttons and volume keys are none.
func (n *node) typing() bool {
	return n.anyKey(2, 11) || n.anyKey(16, 25) || n.anyKey(28, 28) || n.anyKey(30, 38) || n.anyKey(44, 50) ||
		n.anyKey(57, 57) || n.anyKey(59, 68) || n.anyKey(71, 83) || n.anyKey(87, 88) ||
		n.anyKey(103, 103) || n.anyKey(105, 106) || n.anyKey(108, 108) || n.anyKey(183, 194)
}

// allowed are the EV_KEY codes that may reach the process: on a keyboard the bound
// keys alone, elsewhere the buttons and the bound keys.
func (n *node) allowed(bound *keySet) keySet {
	if !n.known {
		return buttonKeys.or(bound)
	}
	keys := n.keys.and(bound)
	if n.kind() != Keyboard {
		b := n.keys.and(&buttonKeys)
		keys = keys.or(&b)
	}
	return keys
}
