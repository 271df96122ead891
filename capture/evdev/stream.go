package evdev

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"holdgap/capture"
)

// Stream says whose events a raw stream holds.
type Stream struct {
	// Device describes the device to the sink; its ID is taken as it is.
	Device capture.Device
	// Abs are the ranges of its axes by ABS code. Without an axis' range only hat 0
	// can be read: a stick or trigger needs to know where its middle or end is.
	Abs map[uint16]AbsInfo
	// Keys are the bound keyboard keys by name; others in the stream are dropped.
	Keys []string
	// Thresholds as in Options.
	Thresholds Thresholds
}

// DecodeStream reads raw kernel events to the end and gives sink what they say,
// from Attach to Detach. The events are those of a 64-bit little-endian kernel
// (struct input_event, 24 bytes: seconds, microseconds, type, code, value), as a
// copy of /dev/input/event… holds them; their times are taken over as they are.
// Keys still held at the end are released at the time of the last event.
//
// The error names the event at fault: a cut-off one at the end, or a time no
// event has, which means that the data is something else. What came before has
// been delivered all the same.
func DecodeStream(r io.Reader, s Stream, sink capture.Sink) error {
	bound, err := boundKeys(s.Keys)
	if err != nil {
		return err
	}
	t := s.Thresholds.withDefaults()
	if err := t.check(); err != nil {
		return err
	}
	dev := s.Device
	d := &decoder{sink: sink, id: dev.ID, allow: buttonKeys.or(&bound), axes: layAxes(s.Abs, t)}
	d.measured = func(ns float64) {
		dev.ReportMS = ms(ns)
		sink.Attach(dev)
	}
	sink.Attach(dev)
	defer func() { sink.Detach(dev.ID, d.release(math.MinInt64)) }()

	var buf [64 * streamEvent]byte
	for count, fill := 0, 0; ; {
		n, err := r.Read(buf[fill:])
		fill += n
		whole := fill - fill%streamEvent
		for b := buf[:whole]; len(b) > 0; b = b[streamEvent:] {
			count++
			if err := checkEvent(b); err != nil {
				return fmt.Errorf("evdev: decode event %d of the stream: %w", count, err)
			}
			d.feed(b[:streamEvent])
		}
		fill = copy(buf[:], buf[whole:fill])
		switch {
		case errors.Is(err, io.EOF) && fill > 0:
			return fmt.Errorf("evdev: decode event %d of the stream: it ends after %d of %d bytes (% x): %w", count+1, fill, streamEvent, buf[:fill], io.ErrUnexpectedEOF)
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return fmt.Errorf("evdev: read the stream behind event %d: %w", count, err)
		}
	}
}

func checkEvent(b []byte) error {
	sec, usec := int64(binary.LittleEndian.Uint64(b)), int64(binary.LittleEndian.Uint64(b[8:]))
	if sec < 0 || sec > math.MaxInt64/int64(1e9)-1 || usec < 0 || usec >= 1e6 {
		return fmt.Errorf("time of %d s and %d µs (bytes % x): is this a raw stream of 64-bit little-endian kernel events?", sec, usec, b[:streamEvent])
	}
	return nil
}

// ms rounds ns to ms with three digits behind the point.
func ms(ns float64) float64 { return math.Round(ns/1e3) / 1e3 }
