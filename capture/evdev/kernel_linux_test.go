package evdev

import (
	"strings"
	"testing"
	"unsafe"

	codes "github.com/holoplot/go-evdev"
	"github.com/stretchr/testify/assert"

	"holdgap/capture"
)

// Every code with a name in the kernel's header (go-evdev's table is generated from
// include/uapi/linux/input-event-codes.h) has a name here, and the same one but for
// the clashes that keys_table.go tells of.
func TestNamesAgainstTheKernelsTable(t *testing.T) {
	ours := map[string]bool{}
	for name, code := range codes.KEYFromString {
		switch name {
		case "KEY_RESERVED", "KEY_MAX", "KEY_CNT", "KEY_MIN_INTERESTING":
			continue
		}
		n := capture.KeyName(uint16(code))
		assert.NotEmpty(t, n, name)
		assert.Equal(t, strings.HasPrefix(name, "KEY_"), capture.IsKeyboardKey(n), "%s is %s", name, n)
		ours[n] = true
	}
	for code := range codes.EvCode(capture.KeyCodes) {
		n := capture.KeyName(uint16(code))
		if n == "" {
			continue
		}
		var same bool
		for _, kernel := range []string{"BTN_", "BTN_DPAD_", ""} {
			c, ok := codes.KEYFromString[kernel+strings.ToUpper(n)]
			same = same || ok && c == code
		}
		own := strings.HasPrefix(n, "misc") || strings.HasPrefix(n, "mouse_") || strings.HasPrefix(n, "joystick") || n == "gamepad16"
		assert.True(t, same || own, "%#x is %q", code, n)
	}
}

func TestConstantsAgainstTheKernelsTable(t *testing.T) {
	for ours, kernel := range map[int]int{
		evSyn: codes.EV_SYN, evKey: codes.EV_KEY, evRel: codes.EV_REL, evAbs: codes.EV_ABS, evMsc: codes.EV_MSC,
		evSw: codes.EV_SW, evLed: codes.EV_LED, evSnd: codes.EV_SND,
	} {
		assert.Equal(t, kernel, ours)
	}
	for ours, kernel := range map[int]int{
		absX: codes.ABS_X, absY: codes.ABS_Y, absZ: codes.ABS_Z, absRX: codes.ABS_RX, absRY: codes.ABS_RY, absRZ: codes.ABS_RZ,
		absThrottle: codes.ABS_THROTTLE, absGas: codes.ABS_GAS, absBrake: codes.ABS_BRAKE,
		absHat0X: codes.ABS_HAT0X, absHat0Y: codes.ABS_HAT0Y, absHat1X: codes.ABS_HAT1X, absHat1Y: codes.ABS_HAT1Y,
		absHat2X: codes.ABS_HAT2X, absHat2Y: codes.ABS_HAT2Y, absCount: codes.ABS_CNT,
		btnMisc: codes.BTN_MISC, btnMouse: codes.BTN_MOUSE, btnJoystick: codes.BTN_JOYSTICK, btnGamepad: codes.BTN_SOUTH,
		btnTL: codes.BTN_TL, btnTR: codes.BTN_TR, btnTL2: codes.BTN_TL2, btnTR2: codes.BTN_TR2, btnDigi: codes.BTN_DIGI,
		btnWheel: codes.BTN_WHEEL, btnDpadUp: codes.BTN_DPAD_UP, btnDpadDown: codes.BTN_DPAD_DOWN,
		btnDpadLeft: codes.BTN_DPAD_LEFT, btnDpadRight: codes.BTN_DPAD_RIGHT,
		btnHappy1: codes.BTN_TRIGGER_HAPPY1, btnHappy40: codes.BTN_TRIGGER_HAPPY40, capture.KeyCodes: codes.KEY_CNT,
	} {
		assert.Equal(t, kernel, ours)
	}
	assert.Equal(t, codes.SYN_REPORT, synReport)
	assert.Equal(t, codes.SYN_DROPPED, synDropped)
	assert.Equal(t, codes.INPUT_PROP_ACCELEROMETER, propAccelerometer)
	assert.EqualValues(t, unsafe.Sizeof(codes.InputEvent{}), nativeEvent)
	assert.EqualValues(t, unsafe.Sizeof(codes.AbsInfo{}), unsafe.Sizeof(AbsInfo{}))
	assert.EqualValues(t, unsafe.Sizeof(codes.InputMask{}), unsafe.Sizeof(inputMask{}))

	// include/uapi/linux/input.h: EVIOCSCLOCKID _IOW('E', 0xa0, int), EVIOCSMASK
	// _IOW('E', 0x93, struct input_mask), EVIOCGVERSION _IOR('E', 0x01, int),
	// EVIOCGKEY(96), EVIOCGABS(0) _IOR('E', 0x40, struct input_absinfo).
	assert.Equal(t, uint(0x400445a0), uint(eviocsclockid))
	assert.Equal(t, uint(0x40104593), uint(eviocsmask))
	assert.Equal(t, uint(0x80044501), uint(eviocgversion))
	assert.Equal(t, uint(0x80604518), uint(eviocgkey))
	assert.Equal(t, uint(0x80184540), uint(eviocgabsFirst))
}
