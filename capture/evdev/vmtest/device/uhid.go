//go:build linux

package device

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// HID is a device made through uhid from a report descriptor.
type HID struct {
	file *os.File
	node string
	done chan struct{} // the kernel's requests are no longer answered
}

// Event types and layouts: include/uapi/linux/uhid.h (all packed).
const (
	uhidDestroy        = 1
	uhidGetReport      = 9
	uhidGetReportReply = 10
	uhidCreate2        = 11
	uhidInput2         = 12
	uhidSetReport      = 13
	uhidSetReportReply = 14

	uhidEventSize = 4 + 4372 // type, and the largest member: uhid_create2_req
)

// NewHID plugs a HID device in, and waits until the kernel has made its node.
// The serial number must be that of no other device that is plugged in; it is
// how a device that comes back is known.
func NewHID(name, serial string, id ID, descriptor []byte) (*HID, error) {
	h, err := newHID(name, serial, id, descriptor)
	if err != nil {
		return nil, fmt.Errorf("making HID device %q: %w", name, err)
	}
	return h, nil
}

func newHID(name, serial string, id ID, descriptor []byte) (*HID, error) {
	watch, err := watchCreate("/dev/input")
	if err != nil {
		return nil, err
	}
	defer watch.Close()
	file, err := os.OpenFile("/dev/uhid", os.O_RDWR|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	// struct uhid_create2_req
	var req bytes.Buffer
	field := func(s string, size int) { req.Write(append([]byte(s), make([]byte, size-len(s))...)) }
	field(name, 128)
	field("", 64) // phys
	field(serial, 64)
	for _, v := range []any{uint16(len(descriptor)), id.Bus, uint32(id.Vendor), uint32(id.Product), uint32(id.Version), uint32(0)} {
		_ = binary.Write(&req, binary.LittleEndian, v) // to memory
	}
	req.Write(descriptor)
	h := &HID{file: file, done: make(chan struct{})}
	if err := h.send(uhidCreate2, req.Bytes()); err != nil {
		file.Close()
		return nil, err
	}
	go h.answer()
	if h.node, err = awaitNode(watch, serial); err == nil {
		err = awaitDriver(h.node)
	}
	if err != nil {
		_ = h.Close() // the first error is the one that tells
		return nil, err
	}
	return h, nil
}

func (h *HID) send(kind uint32, body []byte) error {
	event := make([]byte, uhidEventSize)
	binary.LittleEndian.PutUint32(event, kind)
	copy(event[4:], body)
	_, err := h.file.Write(event)
	return err
}

// answer reads what the kernel asks of the device, so that its queue does not
// fill, and refuses the requests that want an answer.
func (h *HID) answer() {
	defer close(h.done)
	event := make([]byte, uhidEventSize)
	for {
		n, err := h.file.Read(event)
		if err != nil || n < 8 {
			return // closed
		}
		reply := make([]byte, 8)
		copy(reply, event[4:8]) // the request's id
		binary.LittleEndian.PutUint16(reply[4:], uint16(unix.EIO))
		switch binary.LittleEndian.Uint32(event) {
		case uhidGetReport:
			_ = h.send(uhidGetReportReply, reply) // fails only when closed
		case uhidSetReport:
			_ = h.send(uhidSetReportReply, reply)
		}
	}
}

// Node is the device's path, /dev/input/eventN.
func (h *HID) Node() string { return h.node }

// Report sends one input report.
func (h *HID) Report(report []byte) error {
	body := binary.LittleEndian.AppendUint16(nil, uint16(len(report)))
	if err := h.send(uhidInput2, append(body, report...)); err != nil {
		return fmt.Errorf("sending a report of %s: %w", h.node, err)
	}
	return nil
}

// Close unplugs the device.
func (h *HID) Close() error {
	err := h.send(uhidDestroy, nil)
	h.file.Close()
	<-h.done
	if err != nil {
		return fmt.Errorf("unplugging %s: %w", h.node, err)
	}
	return nil
}

// watchCreate watches a folder for new files.
func watchCreate(dir string) (*os.File, error) {
	fd, err := unix.InotifyInit1(unix.IN_NONBLOCK | unix.IN_CLOEXEC)
	if err != nil {
		return nil, err
	}
	if _, err := unix.InotifyAddWatch(fd, dir, unix.IN_CREATE); err != nil {
		unix.Close(fd)
		return nil, fmt.Errorf("watching %q: %w", dir, err)
	}
	return os.NewFile(uintptr(fd), "inotify"), nil
}

// awaitNode waits for the node of the device with that serial number. The
// kernel makes HID devices in a worker, some time after they were asked for.
func awaitNode(watch *os.File, serial string) (string, error) {
	if err := watch.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
		return "", err
	}
	buf := make([]byte, 4096)
	for {
		files, _ := filepath.Glob("/sys/class/input/event*/device/uniq")
		for _, f := range files {
			if text, err := os.ReadFile(f); err == nil && strings.TrimSpace(string(text)) == serial {
				node := "/dev/input/" + filepath.Base(filepath.Dir(filepath.Dir(f)))
				if _, err := os.Stat(node); err == nil { // sysfs comes before the node
					return node, nil
				}
			}
		}
		if _, err := watch.Read(buf); errors.Is(err, os.ErrDeadlineExceeded) {
			return "", errors.New("the kernel made no device of it within 10 s (a report descriptor that it cannot read?)")
		} else if err != nil {
			return "", err
		}
	}
}

// awaitDriver waits until the HID driver has taken the device altogether. It
// makes the node on the way there, and until the end the kernel drops reports
// (hid_input_report in drivers/hid/hid-core.c tries a lock that hid_device_probe
// holds). To ask the driver to bind the device once more takes the device's
// lock, too, so the refusal comes when the driver is done.
func awaitDriver(node string) error {
	hid, err := filepath.EvalSymlinks(filepath.Join("/sys/class/input", filepath.Base(node), "device/device"))
	if err != nil {
		return fmt.Errorf("looking for the HID device of %s: %w", node, err)
	}
	err = os.WriteFile(filepath.Join(hid, "driver", "bind"), []byte(filepath.Base(hid)), 0)
	if err != nil && !errors.Is(err, unix.EBUSY) {
		return fmt.Errorf("waiting for the driver of %s: %w", node, err)
	}
	return nil
}
