package evdev

// The few constants of include/uapi/linux/input-event-codes.h that decoding
// needs, here so that a recorded stream can be read on any system. The tests
// compare them with go-evdev's generated table.
const (
	evSyn = 0x00
	evKey = 0x01
	evRel = 0x02
	evAbs = 0x03
	evMsc = 0x04
	evSw  = 0x05
	evLed = 0x11
	evSnd = 0x12

	synReport  = 0
	synDropped = 3

	absX        = 0x00
	absY        = 0x01
	absZ        = 0x02
	absRX       = 0x03
	absRY       = 0x04
	absRZ       = 0x05
	absThrottle = 0x06
	absGas      = 0x09
	absBrake    = 0x0a
	absHat0X    = 0x10
	absHat0Y    = 0x11
	absHat1X    = 0x12
	absHat1Y    = 0x13
	absHat2X    = 0x14
	absHat2Y    = 0x15
	absCount    = 0x40

	btnMisc      = 0x100
	btnMouse     = 0x110
	btnJoystick  = 0x120
	btnGamepad   = 0x130
	btnTL        = 0x136
	btnTR        = 0x137
	btnTL2       = 0x138
	btnTR2       = 0x139
	btnDigi      = 0x140
	btnWheel     = 0x150
	btnDpadUp    = 0x220
	btnDpadDown  = 0x221
	btnDpadLeft  = 0x222
	btnDpadRight = 0x223
	btnHappy1    = 0x2c0
	btnHappy40   = 0x2e7

	propAccelerometer = 0x06
)
