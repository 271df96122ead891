//go:build linux

package device

import (
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"unsafe"

	codes "github.com/holoplot/go-evdev"
	"golang.org/x/sys/unix"
)

// ID is a device's struct input_id.
type ID struct{ Bus, Vendor, Product, Version uint16 }

// Axis is an absolute axis: its code (ABS_X …), range, value at first, and the
// kernel's noise filter and dead zone.
type Axis struct {
	Code                        uint16
	Min, Max, Value, Fuzz, Flat int32
}

// Spec describes a [Virtual] device.
type Spec struct {
	Name   string
	ID     ID
	Keys   []uint16 // EV_KEY codes
	Axes   []Axis
	Repeat bool // EV_REP: the kernel repeats held keys, as it does for keyboards
	Scan   bool // EV_MSC with MSC_SCAN: the scan code goes before its key, as from keyboards
}

// Virtual is a device made through uinput.
type Virtual struct {
	file *os.File
	node string
}

// Ioctl numbers and sizes: include/uapi/linux/uinput.h, 64-bit.
const (
	uiDevCreate  = 0x5501
	uiDevDestroy = 0x5502
	uiDevSetup   = 0x405c5503 // struct uinput_setup, 92 bytes
	uiAbsSetup   = 0x401c5504 // struct uinput_abs_setup, 28 bytes
	uiSetEvBit   = 0x40045564
	uiSetKeyBit  = 0x40045565
	uiSetAbsBit  = 0x40045567
	uiSetMscBit  = 0x40045568
	uiGetSysname = 0x8040552c // 64 bytes
)

// New plugs a device in. Its node exists when New returns.
func New(s Spec) (*Virtual, error) {
	file, err := os.OpenFile("/dev/uinput", os.O_WRONLY, 0)
	if err != nil {
		return nil, fmt.Errorf("making input device %q: %w", s.Name, err)
	}
	v := &Virtual{file: file}
	if err := v.create(s); err != nil {
		file.Close()
		return nil, fmt.Errorf("making input device %q: %w", s.Name, err)
	}
	return v, nil
}

func (v *Virtual) create(s Spec) error {
	bits := [][2]uintptr{{uiSetEvBit, codes.EV_KEY}}
	for _, key := range s.Keys {
		bits = append(bits, [2]uintptr{uiSetKeyBit, uintptr(key)})
	}
	if len(s.Axes) > 0 {
		bits = append(bits, [2]uintptr{uiSetEvBit, codes.EV_ABS})
	}
	if s.Scan {
		bits = append(bits, [2]uintptr{uiSetEvBit, codes.EV_MSC}, [2]uintptr{uiSetMscBit, codes.MSC_SCAN})
	}
	if s.Repeat {
		bits = append(bits, [2]uintptr{uiSetEvBit, codes.EV_REP})
	}
	for _, a := range s.Axes {
		bits = append(bits, [2]uintptr{uiSetAbsBit, uintptr(a.Code)})
	}
	for _, b := range bits {
		if err := ioctl(v.file.Fd(), b[0], b[1]); err != nil {
			return fmt.Errorf("uinput bit %#x for code %#x: %w", b[0], b[1], err)
		}
	}
	for _, a := range s.Axes {
		// struct uinput_abs_setup: code, filler, struct input_absinfo
		setup := struct {
			code, filler                            uint16
			value, min, max, fuzz, flat, resolution int32
		}{a.Code, 0, a.Value, a.Min, a.Max, a.Fuzz, a.Flat, 0}
		if err := ioctlPtr(v.file.Fd(), uiAbsSetup, unsafe.Pointer(&setup)); err != nil {
			return fmt.Errorf("setting up axis %#x: %w", a.Code, err)
		}
	}
	setup := struct {
		id   ID
		name [80]byte
		ff   uint32
	}{id: s.ID}
	copy(setup.name[:79], s.Name)
	if err := ioctlPtr(v.file.Fd(), uiDevSetup, unsafe.Pointer(&setup)); err != nil {
		return fmt.Errorf("naming it: %w", err)
	}
	if err := ioctl(v.file.Fd(), uiDevCreate, 0); err != nil {
		return fmt.Errorf("plugging it in: %w", err)
	}
	var sysname [64]byte
	if err := ioctlPtr(v.file.Fd(), uiGetSysname, unsafe.Pointer(&sysname)); err != nil {
		return fmt.Errorf("asking for its name in sysfs: %w", err)
	}
	name, _, _ := strings.Cut(string(sysname[:]), "\x00")
	node, err := nodeOf("/sys/devices/virtual/input/" + name)
	v.node = node
	return err
}

// nodeOf is the device node of an inputN folder of sysfs.
func nodeOf(dir string) (string, error) {
	events, _ := filepath.Glob(filepath.Join(dir, "event*"))
	if len(events) != 1 {
		return "", fmt.Errorf("%d event nodes in %q, want one", len(events), dir)
	}
	return "/dev/input/" + filepath.Base(events[0]), nil
}

// Node is the device's path, /dev/input/eventN.
func (v *Virtual) Node() string { return v.node }

// Emit sends events and the SYN_REPORT that ends them.
func (v *Virtual) Emit(events ...Event) error {
	var buf []byte
	for _, e := range append(events, Event{Type: codes.EV_SYN, Code: codes.SYN_REPORT}) {
		// struct input_event; the kernel stamps the time itself.
		buf = append(buf, make([]byte, 16)...)
		buf = binary.LittleEndian.AppendUint16(buf, e.Type)
		buf = binary.LittleEndian.AppendUint16(buf, e.Code)
		buf = binary.LittleEndian.AppendUint32(buf, uint32(e.Value))
	}
	if _, err := v.file.Write(buf); err != nil {
		return fmt.Errorf("sending events of %s: %w", v.node, err)
	}
	return nil
}

// Key sends one key going down or up.
func (v *Virtual) Key(code uint16, down bool) error {
	return v.Emit(Key(code, down))
}

// Abs sends one axis's value.
func (v *Virtual) Abs(code uint16, value int32) error {
	return v.Emit(Abs(code, value))
}

// Close unplugs the device.
func (v *Virtual) Close() error {
	err := ioctl(v.file.Fd(), uiDevDestroy, 0)
	v.file.Close()
	if err != nil {
		return fmt.Errorf("unplugging %s: %w", v.node, err)
	}
	return nil
}

func ioctl(fd, req, arg uintptr) error {
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, fd, req, arg); errno != 0 {
		return errno
	}
	return nil
}

func ioctlPtr(fd, req uintptr, arg unsafe.Pointer) error {
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, fd, req, uintptr(arg)); errno != 0 {
		return errno
	}
	return nil
}
