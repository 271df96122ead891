//go:build linux

package device

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"
	"unsafe"

	codes "github.com/holoplot/go-evdev"
	"golang.org/x/sys/unix"
)

// Event is one struct input_event.
type Event struct {
	At    int64 // ns on the monotonic clock; ignored when sent
	Type  uint16
	Code  uint16
	Value int32
}

// Key is the event of a key going down or up.
func Key(code uint16, down bool) Event {
	e := Event{Type: codes.EV_KEY, Code: code}
	if down {
		e.Value = 1
	}
	return e
}

// Abs is the event of an axis's new value.
func Abs(code uint16, value int32) Event {
	return Event{Type: codes.EV_ABS, Code: code, Value: value}
}

// Node is one reader of a device node, with a queue of its own in the kernel.
type Node struct {
	fd   int
	path string
}

const eviocsclockid = 0x400445a0 // include/uapi/linux/input.h

// Open opens a node for reading, with monotonic times and no event mask.
func Open(path string) (*Node, error) {
	fd, err := unix.Open(path, unix.O_RDONLY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, fmt.Errorf("opening %s: %w", path, err)
	}
	clock := int32(unix.CLOCK_MONOTONIC)
	if err := ioctlPtr(uintptr(fd), eviocsclockid, unsafe.Pointer(&clock)); err != nil {
		unix.Close(fd)
		return nil, fmt.Errorf("choosing the clock of %s: %w", path, err)
	}
	return &Node{fd: fd, path: path}, nil
}

// FD is the node's file descriptor.
func (n *Node) FD() int { return n.fd }

// Close closes the node.
func (n *Node) Close() error { return unix.Close(n.fd) }

// Pending returns what is in the queue, without waiting.
func (n *Node) Pending() ([]Event, error) { return ReadPending(n.fd) }

// ReadPending empties the queue of any descriptor of a device node, which must
// be non-blocking. An error of ENODEV says that the device is unplugged.
func ReadPending(fd int) (events []Event, err error) {
	buf := make([]byte, 64*24)
	for {
		n, err := unix.Read(fd, buf)
		switch {
		case errors.Is(err, unix.EINTR):
			continue
		case errors.Is(err, unix.EAGAIN):
			return events, nil
		case err != nil:
			return events, fmt.Errorf("reading input events: %w", err)
		case n == 0:
			return events, nil
		}
		// struct input_event on 64 bits: sec, usec, type, code, value.
		for b := buf[:n]; len(b) >= 24; b = b[24:] {
			le := binary.LittleEndian
			events = append(events, Event{
				At:    int64(le.Uint64(b))*1e9 + int64(le.Uint64(b[8:]))*1e3,
				Type:  le.Uint16(b[16:]),
				Code:  le.Uint16(b[18:]),
				Value: int32(le.Uint32(b[20:])),
			})
		}
	}
}

// Await reads until an event fits, and returns all that were read.
func (n *Node) Await(timeout time.Duration, fits func(Event) bool) (events []Event, err error) {
	for end := time.Now().Add(timeout); ; {
		more, err := n.Pending()
		events = append(events, more...)
		if err != nil {
			return events, err
		}
		for _, e := range more {
			if fits(e) {
				return events, nil
			}
		}
		left := time.Until(end)
		if left <= 0 {
			return events, fmt.Errorf("the awaited event of %s did not come within %v; these came: %v", n.path, timeout, events)
		}
		fds := []unix.PollFd{{Fd: int32(n.fd), Events: unix.POLLIN}}
		if _, err := unix.Poll(fds, int(left.Milliseconds())+1); err != nil && !errors.Is(err, unix.EINTR) {
			return events, fmt.Errorf("waiting for events of %s: %w", n.path, err)
		}
	}
}
