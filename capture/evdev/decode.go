package evdev

import (
	"encoding/binary"
	"math/bits"

	"holdgap/capture"
)

// Slots are the keys of one device: the EV_KEY codes, then the sticks' directions.
const (
	firstStick = capture.KeyCodes
	slotCount  = capture.KeyCodes + 8
)

var stickNames = [8]string{
	capture.KeyStickUp, capture.KeyStickDown, capture.KeyStickLeft, capture.KeyStickRight,
	capture.KeyStick2Up, capture.KeyStick2Down, capture.KeyStick2Left, capture.KeyStick2Right,
}

func slotName(slot uint16) string {
	if slot >= firstStick {
		return stickNames[slot-firstStick]
	}
	return capture.KeyName(slot)
}

// Sizes of struct input_event. The kernel's is two long words and eight bytes.
const (
	streamEvent = 24
	nativeEvent = 8 + 2*bits.UintSize/8
)

type event struct {
	at    int64 // ns
	typ   uint16
	code  uint16
	value int32
}

// A decoder turns the raw events of one device into inputs. It has no clock and
// does no I/O of its own: resync, if set, asks the device for its state.
type decoder struct {
	sink   capture.Sink
	id     uint16
	native bool   // events as this machine's kernel lays them out, else 64-bit little-endian
	allow  keySet // EV_KEY codes that are let through
	axes   [absCount]axis

	// resync reads the state of the allowed keys and of the axes; false if it cannot.
	resync func(keys *keySet, abs *[absCount]int32, has *uint64) bool
	// measured is called when the report interval becomes known or changes.
	measured func(ns float64)

	held    [slotCount]uint8 // by slot: which contributors hold the key down
	sent    [slotCount]bool  // the sink was told that the key is down
	last    int64            // time of the latest event
	dropped bool             // discarding up to the next SYN_REPORT
	resyncs int              // how often the device was asked for its state
	grid    interval
}

// contributor bit of the EV_KEY code itself.
const bitKey = 1

func (d *decoder) size() int {
	if d.native {
		return nativeEvent
	}
	return streamEvent
}

func (d *decoder) parse(b []byte) (e event) {
	if !d.native {
		o := binary.LittleEndian
		e.at = int64(o.Uint64(b))*1e9 + int64(o.Uint64(b[8:]))*1e3
		e.typ, e.code, e.value = o.Uint16(b[16:]), o.Uint16(b[18:]), int32(o.Uint32(b[20:]))
		return e
	}
	o := binary.NativeEndian
	if bits.UintSize == 64 {
		e.at = int64(o.Uint64(b))*1e9 + int64(o.Uint64(b[8:]))*1e3
	} else {
		e.at = int64(o.Uint32(b))*1e9 + int64(o.Uint32(b[4:]))*1e3
	}
	b = b[nativeEvent-8:]
	e.typ, e.code, e.value = o.Uint16(b), o.Uint16(b[2:]), int32(o.Uint32(b[4:]))
	return e
}

// feed decodes whole events; a rest shorter than one event is ignored.
func (d *decoder) feed(b []byte) {
	size := d.size()
	for len(b) >= size {
		e := d.parse(b)
		b = b[size:]
		if e.at > d.last {
			d.last = e.at
		}
		switch e.typ {
		case evSyn:
			switch e.code {
			case synDropped:
				d.dropped = true
				d.grid.pause()
			case synReport:
				if d.dropped {
					d.dropped = false
					b = d.recover(b)
				} else if d.grid.report(e.at) && d.measured != nil {
					d.measured(d.grid.value)
				}
			}
		case evKey:
			if !d.dropped && e.value != 2 && d.allow.has(e.code) {
				d.set(e.code, bitKey, e.value != 0)
			}
		case evAbs:
			if !d.dropped && e.code < absCount {
				d.move(e.code, e.value)
			}
		}
	}
}

// recover resynchronises after SYN_DROPPED, at the SYN_REPORT that ends the
// discarded stretch. rest are the events behind it that were read already; the
// device's state is newer than they are. So a key's state at the SYN_REPORT is the
// opposite of its first event in rest, or the device's if there is none; and since
// the query takes key events that were still queued out of the queue, the device's
// state counts once more when rest has been decoded. It returns what is left of rest.
func (d *decoder) recover(rest []byte) []byte {
	if d.resync == nil {
		return rest // a recorded stream cannot be asked
	}
	var keys keySet
	var abs [absCount]int32
	var has uint64
	if !d.resync(&keys, &abs, &has) {
		return rest // the device is gone: the next read says so
	}
	then := keys
	size := d.size()
	var seen keySet
	var moved uint64
	for b := rest; len(b) >= size; b = b[size:] {
		e := d.parse(b)
		if e.typ == evSyn && e.code == synDropped {
			break
		}
		if e.typ == evKey && e.value != 2 && !seen.has(e.code) {
			seen.add(e.code)
			if e.value != 0 {
				then.drop(e.code)
			} else {
				then.add(e.code)
			}
		}
		if e.typ == evAbs && e.code < absCount {
			moved |= 1 << e.code
		}
	}
	d.apply(&then)
	for code := range uint16(absCount) {
		if has>>code&1 != 0 && moved>>code&1 == 0 {
			d.move(code, abs[code])
		}
	}
	d.resyncs++
	mark := d.resyncs
	d.feed(rest)
	if d.resyncs == mark { // else rest held a second loss, and a newer state has been taken
		d.apply(&keys)
	}
	return nil
}

// apply makes the allowed keys what the set says.
func (d *decoder) apply(keys *keySet) {
	for code := range uint16(capture.KeyCodes) {
		if d.allow.has(code) {
			d.set(code, bitKey, keys.has(code))
		}
	}
}

// seed takes the state found at opening without a word to the sink.
func (d *decoder) seed(keys *keySet, abs *[absCount]int32, has uint64) {
	sink := d.sink
	d.sink = silent{}
	d.apply(keys)
	for code := range uint16(absCount) {
		if has>>code&1 != 0 {
			d.move(code, abs[code])
		}
	}
	d.sink = sink
	d.sent = [slotCount]bool{}
}

// allowKeys changes which EV_KEY codes are let through. A key that is no longer
// allowed is released at time at; one that is new takes its state from now, unreported.
func (d *decoder) allowKeys(allow keySet, now *keySet, at int64) {
	if at > d.last {
		d.last = at
	}
	for code := range uint16(capture.KeyCodes) {
		switch was, is := d.allow.has(code), allow.has(code); {
		case was && !is:
			d.set(code, bitKey, false)
		case is && !was && now.has(code):
			d.held[code] |= bitKey
		}
	}
	d.allow = allow
}

// move takes a value of an axis.
func (d *decoder) move(code uint16, v int32) {
	a := &d.axes[code]
	switch a.role {
	case axisPair:
		// The side that is left goes up before the other goes down.
		neg, pos := d.held[a.neg]&a.bit != 0, d.held[a.pos]&a.bit != 0
		nowNeg := v <= a.negOn || neg && v <= a.negOff
		nowPos := v >= a.posOn || pos && v >= a.posOff
		if neg && !nowNeg {
			d.set(a.neg, a.bit, false)
		}
		if pos != nowPos {
			d.set(a.pos, a.bit, nowPos)
		}
		if !neg && nowNeg {
			d.set(a.neg, a.bit, true)
		}
	case axisTrigger:
		pos := d.held[a.pos]&a.bit != 0
		if now := v >= a.posOn || pos && v >= a.posOff; now != pos {
			d.set(a.pos, a.bit, now)
		}
	}
}

// set says that a contributor holds a key down, or no longer does.
func (d *decoder) set(slot uint16, bit uint8, on bool) {
	was := d.held[slot]
	now := was | bit
	if !on {
		now = was &^ bit
	}
	if now == was {
		return
	}
	d.held[slot] = now
	switch {
	case was == 0:
		d.sent[slot] = true
		d.sink.Input(capture.Input{At: d.last, Device: d.id, Key: slotName(slot), Down: true})
	case now == 0 && d.sent[slot]:
		d.sent[slot] = false
		d.sink.Input(capture.Input{At: d.last, Device: d.id, Key: slotName(slot)})
	}
}

// release lets go of every key, at time at or that of the latest event, whichever
// is later, and returns that time.
func (d *decoder) release(at int64) int64 {
	if at > d.last {
		d.last = at
	}
	for slot := range uint16(slotCount) {
		if d.sent[slot] {
			d.sent[slot] = false
			d.sink.Input(capture.Input{At: d.last, Device: d.id, Key: slotName(slot)})
		}
	}
	d.held = [slotCount]uint8{}
	return d.last
}

// silent is a sink that takes no notice.
type silent struct{}

func (silent) Input(capture.Input)   {}
func (silent) Attach(capture.Device) {}
func (silent) Detach(uint16, int64)  {}
func (silent) Warn(string, string)   {}
