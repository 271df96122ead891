package evdev

import (
	"errors"
	"fmt"
	"math"
	"os"
	"sync"

	"golang.org/x/sys/unix"

	"holdgap/capture"
)

// errNoMask means that the kernel cannot keep a keyboard's other keys away.
var errNoMask = errors.New("the kernel cannot mask events")

// device is one open device and the goroutine that reads it.
type device struct {
	node node
	kind Kind
	file *file
	sink capture.Sink

	mu   sync.Mutex // guards all below; held for a batch of events at a time
	desc capture.Device
	dec  *decoder

	err error // why reading ended; set before the device is handed to gone
}

// openDevice opens a device and takes its state. Nothing has been told to the sink
// when it returns. The order is that of the package's promise: clock and mask
// first, then the queue is drained, and only then is the state asked for.
func openDevice(n node, bound keySet, t Thresholds, sink capture.Sink) (d *device, err error) {
	f, err := openFile(n.path)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			_ = f.Close()
		}
	}()
	allow := n.allowed(&bound)
	d = &device{node: n, kind: n.kind(), file: f, sink: sink}
	d.dec = &decoder{sink: sink, native: f.device, allow: allow}
	d.dec.measured = d.measured
	d.desc = capture.Device{
		Name: n.name, Source: "evdev", Identity: n.identity(), Path: n.path,
		Keyboard: n.known && d.kind == Keyboard,
	}
	if !n.known {
		d.desc.Name, d.desc.Identity = n.path, ""
	}
	if !f.device {
		d.dec.axes = layAxes(nil, t)
		return d, nil
	}

	if err := f.monotonic(); err != nil {
		return nil, err
	}
	if err := f.maskKeys(allow, d.desc.Keyboard); err != nil {
		if d.desc.Keyboard {
			return nil, fmt.Errorf("%w: %w", errNoMask, err)
		}
		// A pad's other keys are dropped by the decoder as well.
	}
	if err := f.drain(); err != nil {
		return nil, err
	}
	keys, err := f.keyState(&allow)
	if err != nil {
		return nil, err
	}
	var values [absCount]int32
	var has uint64
	if !d.desc.Keyboard {
		infos := map[uint16]AbsInfo{}
		for code := range uint16(absCount) {
			if n.abs>>code&1 == 0 {
				continue
			}
			info, err := f.absInfo(code)
			if err != nil {
				return nil, err
			}
			infos[code] = info
			values[code] = info.Value
			has |= 1 << code
		}
		d.dec.axes = layAxes(infos, t)
	}
	d.dec.seed(&keys, &values, has)
	d.dec.resync = d.resync
	return d, nil
}

// resync is the decoder's question for the state after a loss.
func (d *device) resync(keys *keySet, abs *[absCount]int32, has *uint64) bool {
	state, err := d.file.keyState(&d.dec.allow)
	if err != nil {
		return false
	}
	*keys = state
	for code := range uint16(absCount) {
		if d.dec.axes[code].role == axisUnused || d.node.abs>>code&1 == 0 {
			continue
		}
		info, err := d.file.absInfo(code)
		if err != nil {
			return false
		}
		abs[code] = info.Value
		*has |= 1 << code
	}
	return true
}

func (d *device) measured(ns float64) {
	d.desc.ReportMS = ms(ns)
	d.sink.Attach(d.desc)
}

// run reads until the device is gone or closed, then releases what it held and
// detaches it. Whoever takes it from gone closes the file.
func (d *device) run(gone chan<- *device) {
	d.err = d.read()
	// A pipe's events have a clock of their own, so their end is that of the last one.
	now := int64(math.MinInt64)
	if d.file.device {
		now = monotonicNow()
	}
	d.mu.Lock()
	at := d.dec.release(now)
	d.sink.Detach(d.desc.ID, at)
	d.mu.Unlock()
	gone <- d
}

// read hands batches of events to the decoder and returns why it ended.
func (d *device) read() error {
	var buf [64 * nativeEvent]byte
	size, fill := d.dec.size(), 0
	for {
		n, err := d.file.Read(buf[fill:])
		if n > 0 {
			fill += n
			whole := fill - fill%size
			d.mu.Lock()
			d.dec.feed(buf[:whole])
			d.mu.Unlock()
			// A device gives whole events; a pipe may cut one anywhere.
			fill = copy(buf[:], buf[whole:fill])
		}
		if err != nil {
			return err
		}
	}
}

// rebind changes which keyboard keys may come in.
func (d *device) rebind(bound keySet) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	allow := d.node.allowed(&bound)
	if allow == d.dec.allow {
		return nil
	}
	at := int64(math.MinInt64)
	var now keySet
	if d.file.device {
		if err := d.file.maskKeys(allow, d.desc.Keyboard); err != nil && d.desc.Keyboard {
			return fmt.Errorf("%w: %w", errNoMask, err)
		}
		var err error
		if now, err = d.file.keyState(&allow); err != nil {
			return err
		}
		at = monotonicNow()
	}
	d.dec.allowKeys(allow, &now, at)
	if d.file.device {
		d.dec.apply(&now) // the query took queued key events with it
	}
	return nil
}

// unplugged tells whether an error of a read or an open means that the device went away.
func unplugged(err error) bool {
	return errors.Is(err, unix.ENODEV) || errors.Is(err, unix.ENXIO) || errors.Is(err, os.ErrNotExist)
}
