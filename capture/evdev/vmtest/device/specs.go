//go:build linux

package device

import codes "github.com/holoplot/go-evdev"

// Identities of made-up devices. 0x1209 is the vendor number that pid.codes
// gives out to open hardware; product numbers below 0x10 are its test range.
var (
	PadID      = ID{Bus: codes.BUS_USB, Vendor: 0x1209, Product: 0x0001, Version: 0x0100}
	BoxID      = ID{Bus: codes.BUS_USB, Vendor: 0x1209, Product: 0x0002, Version: 0x0100}
	KeyboardID = ID{Bus: codes.BUS_USB, Vendor: 0x1209, Product: 0x0003, Version: 0x0100}
	HIDPadID   = ID{Bus: codes.BUS_USB, Vendor: 0x1209, Product: 0x0004, Version: 0x0100}
)

// PadSpec is a pad as the kernel's Documentation/input/gamepad.rst wants it:
// four action buttons, shoulder buttons, menu buttons and stick presses, two
// sticks of 16 bits, analogue triggers of 8 bits and no keys for them, and the
// D-pad as a hat.
func PadSpec() Spec {
	return Spec{
		Name: "Test Pad", ID: PadID,
		Keys: []uint16{
			codes.BTN_SOUTH, codes.BTN_EAST, codes.BTN_NORTH, codes.BTN_WEST,
			codes.BTN_TL, codes.BTN_TR, codes.BTN_SELECT, codes.BTN_START, codes.BTN_MODE,
			codes.BTN_THUMBL, codes.BTN_THUMBR,
		},
		Axes: []Axis{
			{Code: codes.ABS_X, Min: -32768, Max: 32767, Fuzz: 16, Flat: 128},
			{Code: codes.ABS_Y, Min: -32768, Max: 32767, Fuzz: 16, Flat: 128},
			{Code: codes.ABS_Z, Max: 255},
			{Code: codes.ABS_RX, Min: -32768, Max: 32767, Fuzz: 16, Flat: 128},
			{Code: codes.ABS_RY, Min: -32768, Max: 32767, Fuzz: 16, Flat: 128},
			{Code: codes.ABS_RZ, Max: 255},
			{Code: codes.ABS_HAT0X, Min: -1, Max: 1},
			{Code: codes.ABS_HAT0Y, Min: -1, Max: 1},
		},
	}
}

// BoxSpec is a button box whose D-pad comes both as keys and as a hat.
func BoxSpec() Spec {
	return Spec{
		Name: "Test Box", ID: BoxID,
		Keys: []uint16{
			codes.BTN_SOUTH, codes.BTN_EAST, codes.BTN_NORTH, codes.BTN_WEST,
			codes.BTN_TL, codes.BTN_TR, codes.BTN_TL2, codes.BTN_TR2, codes.BTN_START,
			codes.BTN_DPAD_UP, codes.BTN_DPAD_DOWN, codes.BTN_DPAD_LEFT, codes.BTN_DPAD_RIGHT,
		},
		Axes: []Axis{
			{Code: codes.ABS_HAT0X, Min: -1, Max: 1},
			{Code: codes.ABS_HAT0Y, Min: -1, Max: 1},
		},
	}
}

// KeyboardSpec is a keyboard with the letters and digits of a full one.
func KeyboardSpec() Spec {
	s := Spec{Name: "Test Keyboard", ID: KeyboardID, Repeat: true, Scan: true}
	for code := uint16(codes.KEY_ESC); code <= codes.KEY_F12; code++ {
		s.Keys = append(s.Keys, code)
	}
	return s
}

// PadDescriptor is the report descriptor of a pad with eight buttons, a hat and
// two sticks. Items and tags: Device Class Definition for HID 1.11, section
// 6.2.2; usages: HID Usage Tables, Generic Desktop and Button pages.
//
// The kernel's HID driver calls the buttons of a Game Pad BTN_GAMEPAD + n − 1,
// so button 1 … 8 are south, east, c, north, west, z, tl, tr; the hat becomes
// ABS_HAT0X and ABS_HAT0Y, X, Y, Z and Rz the axes of these names.
var PadDescriptor = []byte{
	0x05, 0x01, // Usage Page (Generic Desktop)
	0x09, 0x05, // Usage (Game Pad)
	0xa1, 0x01, // Collection (Application)
	0x05, 0x09, //   Usage Page (Button)
	0x19, 0x01, //   Usage Minimum (1)
	0x29, 0x08, //   Usage Maximum (8)
	0x15, 0x00, //   Logical Minimum (0)
	0x25, 0x01, //   Logical Maximum (1)
	0x75, 0x01, //   Report Size (1)
	0x95, 0x08, //   Report Count (8)
	0x81, 0x02, //   Input (Data, Variable, Absolute)
	0x05, 0x01, //   Usage Page (Generic Desktop)
	0x09, 0x39, //   Usage (Hat Switch)
	0x15, 0x00, //   Logical Minimum (0)
	0x25, 0x07, //   Logical Maximum (7)
	0x35, 0x00, //   Physical Minimum (0)
	0x46, 0x3b, 0x01, // Physical Maximum (315)
	0x65, 0x14, //   Unit (degrees)
	0x75, 0x04, //   Report Size (4)
	0x95, 0x01, //   Report Count (1)
	0x81, 0x42, //   Input (Data, Variable, Absolute, Null State)
	0x81, 0x03, //   Input (Constant): four bits of filling
	0x65, 0x00, //   Unit (none)
	0x45, 0x00, //   Physical Maximum (0): as the logical one
	0x09, 0x30, //   Usage (X)
	0x09, 0x31, //   Usage (Y)
	0x09, 0x32, //   Usage (Z)
	0x09, 0x35, //   Usage (Rz)
	0x26, 0xff, 0x00, // Logical Maximum (255)
	0x75, 0x08, //   Report Size (8)
	0x95, 0x04, //   Report Count (4)
	0x81, 0x02, //   Input (Data, Variable, Absolute)
	0xc0, // End Collection
}

// Positions of the hat in a [PadReport]: eight directions, clockwise.
const (
	HatUp uint8 = iota
	HatUpRight
	HatRight
	HatDownRight
	HatDown
	HatDownLeft
	HatLeft
	HatUpLeft
	HatCentre // out of the logical range: the null state
)

// PadReport is one report of the device that [PadDescriptor] describes.
type PadReport struct {
	Buttons     uint8 // button n is bit n − 1
	Hat         uint8 // HatUp … HatCentre
	X, Y, Z, Rz uint8 // 0 … 255; negative directions are below 128
}

// RestReport is the pad with nothing touched.
var RestReport = PadReport{Hat: HatCentre, X: 128, Y: 128, Z: 128, Rz: 128}

// Bytes is the report as it is sent.
func (r PadReport) Bytes() []byte { return []byte{r.Buttons, r.Hat & 15, r.X, r.Y, r.Z, r.Rz} }
