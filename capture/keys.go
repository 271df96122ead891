package capture

import (
	"fmt"
	"strings"
)

// Key names.
//
// A key is named by where it sits, never by a maker's letters: the pad's buttons
// go by the positional names of the kernel's gamepad document
// (Documentation/input/gamepad.rst: south, east, tl, …), directions by up, down,
// left and right, keyboard keys by the kernel's name in lower case (key_j).
// Every name that a source hands out is one of the tables' own strings, so that
// no event builds one.
//
// The four directions up, down, left and right are those of the D-pad, whether the
// device reports it as buttons (BTN_DPAD_UP …), as a hat (ABS_HAT0X, ABS_HAT0Y)
// or as both. The sticks have directions of their own.
const (
	KeyUp    = "up"
	KeyDown  = "down"
	KeyLeft  = "left"
	KeyRight = "right"

	KeyStickUp    = "stick_up" // the left stick
	KeyStickDown  = "stick_down"
	KeyStickLeft  = "stick_left"
	KeyStickRight = "stick_right"

	KeyStick2Up    = "stick2_up" // the right stick
	KeyStick2Down  = "stick2_down"
	KeyStick2Left  = "stick2_left"
	KeyStick2Right = "stick2_right"
)

// KeyCodes is the number of EV_KEY codes (KEY_CNT of the kernel).
const KeyCodes = 0x300

// Limits of the browser's pads. The W3C Gamepad text sets none.
const (
	WebButtons = 128 // button0 … button127
	WebAxes    = 32  // axis0_minus, axis0_plus … axis31_plus
)

// standardButtons are the names of the buttons of the W3C standard gamepad
// (https://www.w3.org/TR/gamepad/#remapping), by index.
var standardButtons = [...]string{
	"south", "east", "west", "north", // the right cluster: bottom, right, left, top
	"tl", "tr", "tl2", "tr2", // front: upper left, upper right, lower left, lower right
	"select", "start", // the centre: left, right
	"thumbl", "thumbr", // the sticks pressed
	KeyUp, KeyDown, KeyLeft, KeyRight, // the left cluster
	"mode", // the centre
}

var (
	webButtons = numbered(WebButtons, "button%d")
	axisMinus  = numbered(WebAxes, "axis%d_minus")
	axisPlus   = numbered(WebAxes, "axis%d_plus")

	// names maps every valid name to itself (the interned string) and its kernel code.
	names = buildNames()
)

type named struct {
	name string
	code int // −1: no EV_KEY code
}

func numbered(n int, format string) []string {
	s := make([]string, n)
	for i := range s {
		s[i] = fmt.Sprintf(format, i)
	}
	return s
}

func buildNames() map[string]named {
	m := make(map[string]named, KeyCodes)
	for code, n := range kernelNames {
		if n != "" {
			m[n] = named{n, code}
		}
	}
	for _, list := range [][]string{
		{KeyStickUp, KeyStickDown, KeyStickLeft, KeyStickRight, KeyStick2Up, KeyStick2Down, KeyStick2Left, KeyStick2Right},
		webButtons, axisMinus, axisPlus,
	} {
		for _, n := range list {
			m[n] = named{n, -1}
		}
	}
	return m
}

// KeyName returns the name of an EV_KEY code of the kernel, or "" if it has none.
func KeyName(code uint16) string {
	if int(code) >= len(kernelNames) {
		return ""
	}
	return kernelNames[code]
}

// KeyCode returns the EV_KEY code of a key name; ok is false for a name that is
// not valid and for one that no EV_KEY code carries (a stick's direction, a
// button of a browser's pad without the standard layout).
func KeyCode(name string) (code uint16, ok bool) {
	n, ok := names[name]
	if !ok || n.code < 0 {
		return 0, false
	}
	return uint16(n.code), true
}

// InternKey returns the table's own string for a valid key name, so that a name
// that came over a wire or out of a file does not keep its message alive.
func InternKey(name string) (interned string, ok bool) {
	n, ok := names[name]
	return n.name, ok
}

// IsKeyboardKey tells whether a name is that of a keyboard's key (key_…). Such
// keys are read only when they were bound by hand.
func IsKeyboardKey(name string) bool { return strings.HasPrefix(name, "key_") }

// CheckKey returns nil for a valid key name, and otherwise an error that quotes
// it and says what was probably meant.
func CheckKey(name string) error {
	if _, ok := names[name]; ok {
		return nil
	}
	quoted := name
	if len(quoted) > 40 {
		quoted = quoted[:40] + "…"
	}
	if near := nearKey(name); near != "" {
		return fmt.Errorf("unknown key %q: did you mean %q?", quoted, near)
	}
	return fmt.Errorf("unknown key %q: keys go by position (south, east, west, north, tl, tr, tl2, tr2, up, down, left, right, stick_up …) or, on a keyboard, by the kernel's name (key_j, key_space …)", quoted)
}

// nearKey guesses the valid name behind a kernel constant, a KeyboardEvent.code,
// a bare keyboard key, or a name with one slip.
func nearKey(name string) string {
	if name == "" || len(name) > 40 {
		return ""
	}
	if n, ok := WebKey(name); ok {
		return n
	}
	low := strings.ToLower(strings.TrimSpace(name))
	for _, try := range []string{low, strings.TrimPrefix(low, "btn_dpad_"), strings.TrimPrefix(low, "btn_"), "key_" + low} {
		if n, ok := names[try]; ok {
			return n.name
		}
	}
	best := ""
	for n := range names { // the first of the alphabet, so that the guess is always the same
		if oneSlip(low, n) && (best == "" || n < best) {
			best = n
		}
	}
	return best
}

// oneSlip tells whether one letter inserted, left out or replaced, or two
// neighbours swapped, turn a into b. Names under four letters are too short to guess by.
func oneSlip(a, b string) bool {
	if len(a) < 4 || len(b) < 4 {
		return false
	}
	if len(a) > len(b) {
		a, b = b, a
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	switch len(b) - len(a) {
	case 1:
		return a[i:] == b[i+1:]
	case 0:
		if i == len(a) || a[i+1:] == b[i+1:] {
			return true
		}
		return i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]
	}
	return false
}

// WebButton returns the name of a button of a browser's pad. With the standard
// layout (Gamepad.mapping is "standard") index 0 … 16 have positional names;
// every other button is button0, button1, …, and an index out of range is "".
func WebButton(index int, standard bool) string {
	switch {
	case index < 0 || index >= WebButtons:
		return ""
	case standard && index < len(standardButtons):
		return standardButtons[index]
	default:
		return webButtons[index]
	}
}

// WebAxis returns the name of one side of an axis of a browser's pad: with the
// standard layout axes 0 … 3 are the sticks' directions (negative is left and
// up); every other axis is axis0_minus, axis0_plus, …, and an index out of range is "".
func WebAxis(index int, plus, standard bool) string {
	if index < 0 || index >= WebAxes {
		return ""
	}
	if standard && index < 4 {
		sides := [4][2]string{{KeyStickLeft, KeyStickRight}, {KeyStickUp, KeyStickDown}, {KeyStick2Left, KeyStick2Right}, {KeyStick2Up, KeyStick2Down}}
		if plus {
			return sides[index][1]
		}
		return sides[index][0]
	}
	if plus {
		return axisPlus[index]
	}
	return axisMinus[index]
}

// WebKey returns the name of a keyboard key for a KeyboardEvent.code
// ("KeyJ" is key_j); ok is false for a code that no kernel key stands for.
func WebKey(code string) (name string, ok bool) {
	n, ok := webKeys[code]
	return n, ok
}

// WebCode returns a KeyboardEvent.code for a keyboard key's name, the reverse of WebKey.
func WebCode(name string) (code string, ok bool) {
	c, ok := webCodes[name]
	return c, ok
}

var webCodes = func() map[string]string {
	m := make(map[string]string, len(webKeys))
	for code, n := range webKeys {
		m[n] = code
	}
	// Where an older code says the same, the standard's own.
	m["key_leftmeta"], m["key_rightmeta"] = "MetaLeft", "MetaRight"
	m["key_mute"], m["key_volumeup"], m["key_volumedown"] = "AudioVolumeMute", "AudioVolumeUp", "AudioVolumeDown"
	return m
}()
