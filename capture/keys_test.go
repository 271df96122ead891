package capture

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Documentation/input/gamepad.rst and include/uapi/linux/input-event-codes.h of the kernel.
func TestPadNamesArePositional(t *testing.T) {
	for name, code := range map[string]uint16{
		"south": 0x130, "east": 0x131, "c": 0x132, "north": 0x133, "west": 0x134, "z": 0x135,
		"tl": 0x136, "tr": 0x137, "tl2": 0x138, "tr2": 0x139, "select": 0x13a, "start": 0x13b,
		"mode": 0x13c, "thumbl": 0x13d, "thumbr": 0x13e,
		"trigger": 0x120, "thumb": 0x121, "thumb2": 0x122, "top": 0x123, "top2": 0x124, "pinkie": 0x125,
		"base": 0x126, "base6": 0x12b, "dead": 0x12f,
		"up": 0x220, "down": 0x221, "left": 0x222, "right": 0x223,
		"trigger_happy1": 0x2c0, "trigger_happy40": 0x2e7,
		"key_j": 36, "key_space": 57, "key_up": 103, "mouse_left": 0x110,
	} {
		assert.Equal(t, name, KeyName(code))
		got, ok := KeyCode(name)
		assert.True(t, ok)
		assert.Equal(t, code, got, name)
	}
	assert.Empty(t, KeyName(0))
	assert.Empty(t, KeyName(KeyCodes))
	assert.Empty(t, KeyName(0xffff))
}

func TestEveryNameIsValidAndComesBack(t *testing.T) {
	seen := map[string]int{}
	for code := range uint16(KeyCodes) {
		n := KeyName(code)
		if n == "" {
			continue
		}
		seen[n]++
		assert.NoError(t, CheckKey(n))
		back, ok := KeyCode(n)
		assert.True(t, ok)
		assert.Equal(t, code, back)
		assert.Equal(t, n, strings.ToLower(n))
	}
	for n, times := range seen {
		assert.Equal(t, 1, times, "%q names more than one code", n)
	}
	for _, n := range []string{KeyStickUp, KeyStick2Right, "button0", "button127", "axis31_plus", WebButton(30, true), WebAxis(9, true, false)} {
		require.NoError(t, CheckKey(n))
		_, ok := KeyCode(n)
		assert.False(t, ok, "%q has no kernel code", n)
		same, ok := InternKey(strings.Clone(n))
		assert.True(t, ok)
		assert.Equal(t, n, same)
	}
}

func TestWrongNamesAreQuotedAndGuessed(t *testing.T) {
	for in, guess := range map[string]string{
		"KeyJ": "key_j", "ArrowUp": "key_up", "KEY_SPACE": "key_space", "j": "key_j", "BTN_DPAD_LEFT": "left",
		"BTN_TR2": "tr2", "South": "south", "nroth": "north", "soth": "south", "selectt": "select", " east ": "east",
	} {
		require.EqualError(t, CheckKey(in), fmt.Sprintf("unknown key %q: did you mean %q?", in, guess))
	}
	for _, in := range []string{"", "punch", "axis99_up", "✊"} {
		require.ErrorContains(t, CheckKey(in), fmt.Sprintf("unknown key %q: keys go by position", in))
	}
	long := strings.Repeat("x", 1<<20)
	require.Error(t, CheckKey(long))
	assert.Less(t, len(CheckKey(long).Error()), 400, "a monstrous name is not echoed whole")
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.String().Draw(t, "name")
		_, ok := InternKey(n)
		if ok != (CheckKey(n) == nil) {
			t.Fatalf("%q", n)
		}
	})
}

// W3C Gamepad, the standard gamepad's buttons (https://www.w3.org/TR/gamepad/#remapping).
func TestStandardGamepad(t *testing.T) {
	want := []string{"south", "east", "west", "north", "tl", "tr", "tl2", "tr2", "select", "start", "thumbl", "thumbr", "up", "down", "left", "right", "mode", "button17", "button18"}
	for i, n := range want {
		assert.Equal(t, n, WebButton(i, true))
		assert.Equal(t, fmt.Sprintf("button%d", i), WebButton(i, false))
	}
	assert.Empty(t, WebButton(-1, true))
	assert.Empty(t, WebButton(WebButtons, false))
	// Axes 0 … 3, negative is left and up.
	assert.Equal(t, []string{"stick_left", "stick_right", "stick_up", "stick_down", "stick2_left", "stick2_right", "stick2_up", "stick2_down", "axis4_minus", "axis4_plus"},
		[]string{WebAxis(0, false, true), WebAxis(0, true, true), WebAxis(1, false, true), WebAxis(1, true, true), WebAxis(2, false, true), WebAxis(2, true, true), WebAxis(3, false, true), WebAxis(3, true, true), WebAxis(4, false, true), WebAxis(4, true, true)})
	assert.Equal(t, "axis0_minus", WebAxis(0, false, false))
	assert.Empty(t, WebAxis(WebAxes, true, true))
	assert.Empty(t, WebAxis(-1, true, false))
}

// KeyboardEvent.code and the kernel's number of the same key, as Chromium pairs them
// (columns code and evdev of ui/events/keycodes/dom/dom_code_data.inc).
var chromium = map[string]uint16{
	"Escape": 0x01, "Digit1": 0x02, "Digit2": 0x03, "Digit3": 0x04, "Digit4": 0x05, "Digit5": 0x06, "Digit6": 0x07,
	"Digit7": 0x08, "Digit8": 0x09, "Digit9": 0x0a, "Digit0": 0x0b, "Minus": 0x0c, "Equal": 0x0d, "Backspace": 0x0e,
	"Tab": 0x0f, "KeyQ": 0x10, "KeyW": 0x11, "KeyE": 0x12, "KeyR": 0x13, "KeyT": 0x14, "KeyY": 0x15, "KeyU": 0x16,
	"KeyI": 0x17, "KeyO": 0x18, "KeyP": 0x19, "BracketLeft": 0x1a, "BracketRight": 0x1b, "Enter": 0x1c,
	"ControlLeft": 0x1d, "KeyA": 0x1e, "KeyS": 0x1f, "KeyD": 0x20, "KeyF": 0x21, "KeyG": 0x22, "KeyH": 0x23,
	"KeyJ": 0x24, "KeyK": 0x25, "KeyL": 0x26, "Semicolon": 0x27, "Quote": 0x28, "Backquote": 0x29, "ShiftLeft": 0x2a,
	"Backslash": 0x2b, "KeyZ": 0x2c, "KeyX": 0x2d, "KeyC": 0x2e, "KeyV": 0x2f, "KeyB": 0x30, "KeyN": 0x31, "KeyM": 0x32,
	"Comma": 0x33, "Period": 0x34, "Slash": 0x35, "ShiftRight": 0x36, "NumpadMultiply": 0x37, "AltLeft": 0x38,
	"Space": 0x39, "CapsLock": 0x3a, "F1": 0x3b, "F2": 0x3c, "F3": 0x3d, "F4": 0x3e, "F5": 0x3f, "F6": 0x40, "F7": 0x41,
	"F8": 0x42, "F9": 0x43, "F10": 0x44, "NumLock": 0x45, "ScrollLock": 0x46, "Numpad7": 0x47, "Numpad8": 0x48,
	"Numpad9": 0x49, "NumpadSubtract": 0x4a, "Numpad4": 0x4b, "Numpad5": 0x4c, "Numpad6": 0x4d, "NumpadAdd": 0x4e,
	"Numpad1": 0x4f, "Numpad2": 0x50, "Numpad3": 0x51, "Numpad0": 0x52, "NumpadDecimal": 0x53, "Lang5": 0x55,
	"IntlBackslash": 0x56, "F11": 0x57, "F12": 0x58, "IntlRo": 0x59, "Lang3": 0x5a, "Lang4": 0x5b, "Convert": 0x5c,
	"KanaMode": 0x5d, "NonConvert": 0x5e, "NumpadEnter": 0x60, "ControlRight": 0x61, "NumpadDivide": 0x62,
	"PrintScreen": 0x63, "AltRight": 0x64, "Home": 0x66, "ArrowUp": 0x67, "PageUp": 0x68, "ArrowLeft": 0x69,
	"ArrowRight": 0x6a, "End": 0x6b, "ArrowDown": 0x6c, "PageDown": 0x6d, "Insert": 0x6e, "Delete": 0x6f,
	"AudioVolumeMute": 0x71, "AudioVolumeDown": 0x72, "AudioVolumeUp": 0x73, "Power": 0x74, "NumpadEqual": 0x75,
	"Pause": 0x77, "NumpadComma": 0x79, "Lang1": 0x7a, "Lang2": 0x7b, "IntlYen": 0x7c, "MetaLeft": 0x7d,
	"MetaRight": 0x7e, "ContextMenu": 0x7f, "BrowserStop": 0x80, "Again": 0x81, "Undo": 0x83, "Select": 0x84,
	"Copy": 0x85, "Open": 0x86, "Paste": 0x87, "Find": 0x88, "Cut": 0x89, "Help": 0x8a, "LaunchApp2": 0x8c,
	"Sleep": 0x8e, "WakeUp": 0x8f, "LaunchApp1": 0x90, "LaunchMail": 0x9b, "BrowserFavorites": 0x9c,
	"BrowserBack": 0x9e, "BrowserForward": 0x9f, "Eject": 0xa1, "MediaTrackNext": 0xa3, "MediaPlayPause": 0xa4,
	"MediaTrackPrevious": 0xa5, "MediaStop": 0xa6, "BrowserHome": 0xac, "BrowserRefresh": 0xad,
	"MediaSelect": 0xab, "NumpadParenLeft": 0xb3, "NumpadParenRight": 0xb4, "F13": 0xb7, "F14": 0xb8, "F15": 0xb9, "F16": 0xba, "F17": 0xbb,
	"F18": 0xbc, "F19": 0xbd, "F20": 0xbe, "F21": 0xbf, "F22": 0xc0, "F23": 0xc1, "F24": 0xc2, "BrowserSearch": 0xd9,
}

func TestKeyboardEventCodes(t *testing.T) {
	for code, kernel := range chromium {
		n, ok := WebKey(code)
		require.True(t, ok, code)
		assert.Equal(t, KeyName(kernel), n, code)
		back, ok := WebCode(n)
		require.True(t, ok, n)
		assert.Equal(t, code, back)
	}
	for code, n := range webKeys {
		require.NoError(t, CheckKey(n), code)
		assert.True(t, IsKeyboardKey(n))
		if _, ok := chromium[code]; !ok { // older names that other browsers still send
			assert.Contains(t, []string{"OSLeft", "OSRight", "VolumeUp", "VolumeDown", "VolumeMute"}, code)
		}
	}
	_, ok := WebKey("Hyper")
	assert.False(t, ok)
	_, ok = WebCode("south")
	assert.False(t, ok)
}

func BenchmarkKeyName(b *testing.B) {
	b.ReportAllocs()
	n := 0
	for i := range b.N {
		n += len(KeyName(uint16(i) & 0x3ff))
	}
	if n < 0 {
		b.Fatal(n)
	}
}
