package evdev

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"unsafe"

	"golang.org/x/sys/unix"

	"holdgap/capture"
)

// Requests of include/uapi/linux/input.h, in the encoding of asm-generic/ioctl.h.
const (
	dirWrite = 1
	dirRead  = 2

	eviocgversion  = dirRead<<30 | 4<<16 | 'E'<<8 | 0x01
	eviocsclockid  = dirWrite<<30 | 4<<16 | 'E'<<8 | 0xa0
	eviocsmask     = dirWrite<<30 | 16<<16 | 'E'<<8 | 0x93
	absInfoSize    = 24
	keyBytes       = capture.KeyCodes / 8
	eviocgkey      = dirRead<<30 | keyBytes<<16 | 'E'<<8 | 0x18
	eviocgabsFirst = dirRead<<30 | absInfoSize<<16 | 'E'<<8 | 0x40
)

// inputMask is struct input_mask.
type inputMask struct {
	typ   uint32
	size  uint32 // bytes of the bitmap
	codes uint64 // its address
}

// file is an open event device, or a pipe or file of raw events standing in for one.
type file struct {
	*os.File
	info   os.FileInfo
	device bool // the kernel's, and so the ioctls work
}

// openFile opens for reading only and without blocking, so that Close wakes a
// reader, and never grabs.
func openFile(path string) (*file, error) {
	f, err := os.OpenFile(path, unix.O_RDONLY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	o := &file{File: f}
	st, err := f.Stat()
	if err != nil {
		_ = f.Close()
		return nil, err
	}
	o.info = st
	if st.IsDir() {
		_ = f.Close()
		return nil, &os.PathError{Op: "open", Path: path, Err: errors.New("it is a directory, not a device")}
	}
	if st.Mode()&os.ModeCharDevice != 0 {
		var version int32
		if err := o.ioctl(eviocgversion, unsafe.Pointer(&version)); err != nil {
			_ = f.Close()
			return nil, &os.PathError{Op: "open", Path: path, Err: fmt.Errorf("not an event device of the kernel: %w", err)}
		}
		o.device = true
	}
	return o, nil
}

func (f *file) control(do func(fd uintptr) error) error {
	c, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var inner error
	if err := c.Control(func(fd uintptr) { inner = do(fd) }); err != nil {
		return err
	}
	return inner
}

func (f *file) ioctl(request uint, arg unsafe.Pointer) error {
	return f.control(func(fd uintptr) error {
		for {
			_, _, errno := unix.Syscall(unix.SYS_IOCTL, fd, uintptr(request), uintptr(arg))
			if errno == 0 {
				return nil
			}
			if errno != unix.EINTR {
				return errno
			}
		}
	})
}

// monotonic makes the kernel stamp this descriptor's events on the monotonic clock.
func (f *file) monotonic() error {
	clock := int32(unix.CLOCK_MONOTONIC)
	if err := f.ioctl(eviocsclockid, unsafe.Pointer(&clock)); err != nil {
		return fmt.Errorf("set the monotonic clock (EVIOCSCLOCKID): %w", err)
	}
	return nil
}

// mask lets through, of one event type, only the codes of the bitmap.
func (f *file) mask(typ uint32, bitmap []uint64) error {
	var pin runtime.Pinner // the kernel is told the address as a number, so it must not move
	pin.Pin(&bitmap[0])
	defer pin.Unpin()
	m := inputMask{typ: typ, size: uint32(len(bitmap) * 8), codes: uint64(uintptr(unsafe.Pointer(&bitmap[0])))}
	if err := f.ioctl(eviocsmask, unsafe.Pointer(&m)); err != nil {
		return fmt.Errorf("set the event mask (EVIOCSMASK) of type %#x: %w", typ, err)
	}
	return nil
}

// maskKeys lets through only the given keys; with only, nothing of the other event
// types either (scan codes tell keys too).
func (f *file) maskKeys(keys keySet, only bool) error {
	// The kernel's bitmaps are arrays of long; of two 32-bit words the lower comes
	// first on the little-endian machines that have them.
	if err := f.mask(evKey, keys[:]); err != nil {
		return err
	}
	var none [len(keySet{})]uint64
	types := []uint32{evMsc, evRel, evSw, evLed, evSnd}
	if only {
		types = append(types, evAbs)
	}
	for _, typ := range types {
		if err := f.mask(typ, none[:]); err != nil {
			return err
		}
	}
	return nil
}

// drain throws away, unread, what is queued.
func (f *file) drain() error {
	var buf [64 * nativeEvent]byte
	defer clear(buf[:])
	return f.control(func(fd uintptr) error {
		for {
			n, err := unix.Read(int(fd), buf[:])
			switch {
			case err == unix.EINTR:
			case err == unix.EAGAIN || err == nil && n == 0:
				return nil
			case err != nil:
				return err
			}
		}
	})
}

// keyState asks which keys are down and keeps of the answer only the allowed ones.
func (f *file) keyState(allowed *keySet) (keySet, error) {
	var state keySet
	if err := f.ioctl(eviocgkey, unsafe.Pointer(&state)); err != nil {
		return keySet{}, fmt.Errorf("ask for the keys' state (EVIOCGKEY): %w", err)
	}
	return state.and(allowed), nil
}

// absInfo asks for an axis' range and value.
func (f *file) absInfo(code uint16) (AbsInfo, error) {
	var info AbsInfo
	if err := f.ioctl(eviocgabsFirst+uint(code), unsafe.Pointer(&info)); err != nil {
		return AbsInfo{}, fmt.Errorf("ask for axis %#x (EVIOCGABS): %w", code, err)
	}
	return info, nil
}

// monotonicNow is the time on the clock that events are stamped on, in ns.
func monotonicNow() int64 {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		return 0 // cannot fail for this clock
	}
	return ts.Nano()
}
