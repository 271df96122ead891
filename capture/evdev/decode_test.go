package evdev

import (
	"encoding/binary"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/capture"
)

var padRanges = map[uint16]AbsInfo{
	absX: {Min: -32768, Max: 32767, Fuzz: 16, Flat: 128}, absY: {Min: -32768, Max: 32767, Fuzz: 16, Flat: 128},
	absRX: {Min: -32768, Max: 32767, Flat: 128}, absRY: {Min: -32768, Max: 32767, Flat: 128},
	absZ: {Max: 255}, absRZ: {Max: 255},
	absHat0X: {Min: -1, Max: 1}, absHat0Y: {Min: -1, Max: 1},
}

func newDecoder(abs map[uint16]AbsInfo) (*decoder, *tape) {
	sink := &tape{}
	return &decoder{sink: sink, id: 3, allow: buttonKeys, axes: layAxes(abs, Thresholds{}.withDefaults())}, sink
}

// said writes inputs as "+east -east" for short.
func said(inputs []capture.Input) (s []string) {
	for _, in := range inputs {
		sign := "-"
		if in.Down {
			sign = "+"
		}
		s = append(s, sign+in.Key)
	}
	return s
}

func TestDirectionsOfDpadAndHatAreOneKey(t *testing.T) {
	d, sink := newDecoder(padRanges)
	var b []byte
	b = put(b, 1000, evKey, btnDpadUp, 1)
	b = put(b, 1000, evAbs, absHat0Y, -1)
	b = put(b, 1000, evSyn, synReport, 0)
	b = put(b, 2000, evKey, btnDpadUp, 0)
	b = put(b, 2000, evSyn, synReport, 0)
	b = put(b, 3000, evAbs, absHat0Y, 1) // straight from up to down
	b = put(b, 3000, evSyn, synReport, 0)
	b = put(b, 4000, evAbs, absHat0Y, 0)
	d.feed(b)
	assert.Equal(t, []capture.Input{
		{At: 1_000_000, Device: 3, Key: "up", Down: true},
		{At: 3_000_000, Device: 3, Key: "up"},
		{At: 3_000_000, Device: 3, Key: "down", Down: true},
		{At: 4_000_000, Device: 3, Key: "down"},
	}, sink.inputs)
}

func TestAutorepeatIsNoPress(t *testing.T) {
	d, sink := newDecoder(nil)
	var b []byte
	b = put(b, 1000, evKey, btnGamepad, 2) // repeats a press that we never saw
	b = put(b, 2000, evKey, btnGamepad, 1)
	for us := int64(3000); us < 9000; us += 1000 {
		b = put(b, us, evKey, btnGamepad, 2)
	}
	b = put(b, 9000, evKey, btnGamepad, 1) // down again without an up: nothing new
	b = put(b, 9500, evKey, btnGamepad, 0)
	d.feed(b)
	assert.Equal(t, []string{"+south", "-south"}, said(sink.inputs))
}

func TestSticksHaveHysteresis(t *testing.T) {
	d, sink := newDecoder(map[uint16]AbsInfo{absX: {Max: 255, Flat: 15}, absY: {Max: 255, Flat: 15}})
	step := func(v int32) []string {
		sink.inputs = nil
		d.feed(put(nil, 1000, evAbs, absX, v))
		return said(sink.inputs)
	}
	// The centre is 127.5 and half the range as much: on from 63.75 away, off below 51.
	assert.Empty(t, step(127))
	assert.Empty(t, step(64))
	assert.Equal(t, []string{"+stick_left"}, step(63))
	assert.Empty(t, step(70))
	assert.Empty(t, step(76))
	assert.Equal(t, []string{"-stick_left"}, step(77))
	assert.Equal(t, []string{"+stick_right"}, step(192))
	assert.Empty(t, step(179))
	assert.Equal(t, []string{"-stick_right", "+stick_left"}, step(0), "across in one report: the one is released first")

	// A driver that calls more than the threshold still has the last word.
	a := stick(0, 1, AbsInfo{Min: -100, Max: 100, Flat: 60}, Thresholds{}.withDefaults())
	assert.Greater(t, a.posOff, int32(60))
	assert.GreaterOrEqual(t, a.posOn, a.posOff)
	assert.Equal(t, axisUnused, stick(0, 1, AbsInfo{Min: 5, Max: 5}, Thresholds{}.withDefaults()).role, "an axis without a range")
}

func TestTriggersHoldTheSameKeyAsTheirButton(t *testing.T) {
	d, sink := newDecoder(padRanges)
	var b []byte
	b = put(b, 1000, evAbs, absZ, 63) // under a quarter of 255
	b = put(b, 2000, evAbs, absZ, 64)
	b = put(b, 3000, evKey, btnTL2, 1)
	b = put(b, 4000, evAbs, absZ, 39)
	b = put(b, 5000, evAbs, absZ, 38) // under 15 %, but the button holds
	b = put(b, 6000, evKey, btnTL2, 0)
	b = put(b, 7000, evAbs, absRZ, 255)
	d.feed(b)
	assert.Equal(t, []capture.Input{
		{At: 2_000_000, Device: 3, Key: "tl2", Down: true},
		{At: 6_000_000, Device: 3, Key: "tl2"},
		{At: 7_000_000, Device: 3, Key: "tr2", Down: true},
	}, sink.inputs)
}

// Which axes are the right stick and which the triggers, by the kernel's gamepad
// document (Documentation/input/gamepad.rst) for HAT1 and HAT2 and for RX and RY;
// ABS_Z and ABS_RZ by what drivers do (common practice, no source).
func TestAxisRoles(t *testing.T) {
	mid, end := AbsInfo{Value: 128, Max: 255}, AbsInfo{Value: 0, Max: 255}
	keys := func(abs map[uint16]AbsInfo) map[uint16]string {
		m := map[uint16]string{}
		for code, a := range layAxes(abs, Thresholds{}.withDefaults()) {
			switch a.role {
			case axisPair:
				m[uint16(code)] = slotName(a.neg) + " " + slotName(a.pos)
			case axisTrigger:
				m[uint16(code)] = slotName(a.pos)
			}
		}
		delete(m, absHat0X)
		delete(m, absHat0Y)
		return m
	}
	const lx, ly, rx, ry = "stick_left stick_right", "stick_up stick_down", "stick2_left stick2_right", "stick2_up stick2_down"
	assert.Equal(t, map[uint16]string{absX: lx, absY: ly, absRX: rx, absRY: ry, absZ: "tl2", absRZ: "tr2"},
		keys(map[uint16]AbsInfo{absX: mid, absY: mid, absRX: mid, absRY: mid, absZ: end, absRZ: end}))
	assert.Equal(t, map[uint16]string{absX: lx, absY: ly, absRX: "tl2", absRY: "tr2", absZ: rx, absRZ: ry},
		keys(map[uint16]AbsInfo{absX: mid, absY: mid, absRX: end, absRY: end, absZ: mid, absRZ: mid}), "told by where they rest")
	assert.Equal(t, map[uint16]string{absX: lx, absY: ly, absZ: rx, absRZ: ry, absBrake: "tl2", absGas: "tr2"},
		keys(map[uint16]AbsInfo{absX: mid, absY: mid, absZ: mid, absRZ: mid, absBrake: end, absGas: end}))
	assert.Equal(t, map[uint16]string{absHat1X: "tr", absHat1Y: "tl", absHat2X: "tr2", absHat2Y: "tl2"},
		keys(map[uint16]AbsInfo{absHat1X: end, absHat1Y: end, absHat2X: end, absHat2Y: end}))
	assert.Empty(t, keys(map[uint16]AbsInfo{absHat1X: {Min: -1, Max: 1}, absHat2Y: {Min: -1, Max: 1}, absThrottle: mid}), "more hats of a flight stick")
	assert.Equal(t, map[uint16]string{absX: lx, absY: ly}, keys(map[uint16]AbsInfo{absX: mid, absY: mid, absRZ: mid}), "a twisting stick")
}

func TestHeldAtOpeningIsNoPress(t *testing.T) {
	d, sink := newDecoder(map[uint16]AbsInfo{absX: {Max: 255}})
	var keys keySet
	keys.add(btnGamepad)
	keys.add(btnDpadUp)
	d.seed(&keys, &[absCount]int32{absX: 0}, 1<<absX) // an axis that never moved says 0
	require.Empty(t, sink.inputs)
	var b []byte
	b = put(b, 1000, evAbs, absX, 128)     // its first report
	b = put(b, 1000, evAbs, absHat0Y, -1)  // a second way to hold up adds nothing
	b = put(b, 2000, evKey, btnGamepad, 0) // the end of a press that began at an unknown time
	b = put(b, 3000, evKey, btnGamepad, 1) // one that we saw
	b = put(b, 4000, evKey, btnDpadUp, 0)  //
	b = put(b, 5000, evAbs, absHat0Y, 0)   // the silent hold ends
	b = put(b, 6000, evAbs, absHat0Y, -1)  //
	d.feed(b)
	assert.Equal(t, []string{"+south", "+up"}, said(sink.inputs))
	assert.Equal(t, int64(9_000_000), d.release(9_000_000))
	assert.Equal(t, []string{"+south", "+up", "-south", "-up"}, said(sink.inputs))
	assert.Equal(t, int64(9_000_000), sink.inputs[3].At)
}

func TestRebinding(t *testing.T) {
	d, sink := newDecoder(nil)
	var j, jk, k keySet
	j.add(36)
	jk.add(36)
	jk.add(37)
	k.add(37)
	d.allow = j
	d.feed(put(put(nil, 1000, evKey, 36, 1), 1000, evKey, 37, 1))
	d.allowKeys(jk, &jk, 2e6) // both are down: K began at an unknown time
	d.feed(put(put(nil, 3000, evKey, 37, 0), 4000, evKey, 37, 1))
	d.allowKeys(k, &k, 5e6)
	d.feed(put(put(nil, 6000, evKey, 36, 0), 7000, evKey, 37, 0))
	assert.Equal(t, []capture.Input{
		{At: 1_000_000, Device: 3, Key: "key_j", Down: true},
		{At: 4_000_000, Device: 3, Key: "key_k", Down: true},
		{At: 5_000_000, Device: 3, Key: "key_j"},
		{At: 7_000_000, Device: 3, Key: "key_k"},
	}, sink.inputs)
}

func TestResynchronisation(t *testing.T) {
	d, sink := newDecoder(padRanges)
	state := keySet{}
	state.add(btnGamepad + 1) // east went down unseen
	d.resync = func(keys *keySet, abs *[absCount]int32, has *uint64) bool {
		*keys = state
		abs[absHat0X], *has = -1, 1<<absHat0X
		return true
	}
	var b []byte
	b = put(b, 1000, evKey, btnGamepad, 1)
	b = put(b, 1000, evSyn, synReport, 0)
	b = put(b, 2000, evSyn, synDropped, 0)
	b = put(b, 2000, evKey, btnGamepad+3, 1) // discarded with the rest of its packet
	b = put(b, 3000, evSyn, synReport, 0)    // the state as of here
	d.feed(b)
	assert.Equal(t, []capture.Input{
		{At: 1_000_000, Device: 3, Key: "south", Down: true},
		{At: 3_000_000, Device: 3, Key: "south"},
		{At: 3_000_000, Device: 3, Key: "east", Down: true},
		{At: 3_000_000, Device: 3, Key: "left", Down: true},
	}, sink.inputs)

	// Events behind the loss that were read with it keep their own times.
	sink.inputs = nil
	b = nil
	b = put(b, 4000, evSyn, synDropped, 0)
	b = put(b, 5000, evSyn, synReport, 0)
	b = put(b, 6000, evKey, btnGamepad+1, 0)
	b = put(b, 6000, evSyn, synReport, 0)
	b = put(b, 7000, evKey, btnGamepad+1, 1)
	b = put(b, 7000, evSyn, synReport, 0)
	d.feed(b)
	assert.Equal(t, []capture.Input{
		{At: 6_000_000, Device: 3, Key: "east"},
		{At: 7_000_000, Device: 3, Key: "east", Down: true},
	}, sink.inputs)
}

// client is a model of the kernel's event queue of one open file, written from
// memory of drivers/input/evdev.c: __pass_event, evdev_read, and the flush that
// EVIOCGKEY makes.
type client struct {
	buf    []event // from tail to head
	ready  int     // up to packet_head
	size   int
	device keySet // the device's state, at once
}

func (c *client) pass(e event) {
	if e.typ == evKey {
		if e.value != 0 {
			c.device.add(e.code)
		} else {
			c.device.drop(e.code)
		}
	}
	c.buf = append(c.buf, e)
	if len(c.buf) == c.size { // head met tail: all but the newest are lost
		c.buf = []event{{at: e.at, typ: evSyn, code: synDropped}, e}
		c.ready = 0
	}
	if e.typ == evSyn && e.code == synReport {
		c.ready = len(c.buf)
	}
}

func (c *client) read(most int) (b []byte) {
	n := min(most, c.ready)
	for _, e := range c.buf[:n] {
		b = put(b, e.at/1e3, e.typ, e.code, e.value)
	}
	c.buf, c.ready = c.buf[n:], c.ready-n
	return b
}

func (c *client) query(keys *keySet) {
	var kept []event
	ready, num := 0, 1
	for _, e := range c.buf {
		report := e.typ == evSyn && e.code == synReport
		if e.typ == evKey || report && num == 0 {
			continue
		}
		num++
		kept = append(kept, e)
		if report {
			num, ready = 0, len(kept)
		}
	}
	c.buf, c.ready = kept, ready
	*keys = c.device
}

// Through any overflow of the kernel's queue, the decoder ends in the device's true
// state, never invents an edge that was none, and without a loss it is exact.
func TestDecoderFollowsAnOverflowingQueue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, sink := newDecoder(nil)
		c := &client{size: rapid.IntRange(4, 40).Draw(t, "queue")}
		var truth []capture.Input
		down := map[uint16]bool{}
		us := int64(1000)
		packet := func() {
			us += rapid.Int64Range(1, 5000).Draw(t, "step")
			for range rapid.IntRange(1, 3).Draw(t, "edges") {
				code := btnGamepad + rapid.SampledFrom([]uint16{0, 1, 3}).Draw(t, "button")
				down[code] = !down[code]
				v := int32(0)
				if down[code] {
					v = 1
				}
				c.pass(event{at: us * 1e3, typ: evKey, code: code, value: v})
				truth = append(truth, capture.Input{At: us * 1e3, Device: 3, Key: capture.KeyName(code), Down: down[code]})
			}
			c.pass(event{at: us * 1e3, typ: evSyn, code: synReport})
		}
		d.resync = func(keys *keySet, _ *[absCount]int32, _ *uint64) bool {
			for range rapid.IntRange(0, 2).Draw(t, "packets between read and query") {
				packet()
			}
			c.query(keys)
			return true
		}
		batch := rapid.SampledFrom([]int{1, 2, 5, 64}).Draw(t, "batch")
		for range rapid.IntRange(1, 120).Draw(t, "packets") {
			packet()
			for rapid.IntRange(0, 3).Draw(t, "read") == 0 {
				d.feed(c.read(batch))
			}
		}
		for c.ready > 0 {
			d.feed(c.read(batch))
		}
		held := map[string]bool{}
		for _, in := range sink.inputs {
			if held[in.Key] == in.Down {
				t.Fatalf("%s goes %v twice", in.Key, in.Down)
			}
			held[in.Key] = in.Down
		}
		for code, is := range down {
			if held[capture.KeyName(code)] != is {
				t.Fatalf("%s ends %v, but is %v", capture.KeyName(code), !is, is)
			}
		}
		if d.resyncs == 0 {
			if len(truth) != len(sink.inputs) {
				t.Fatalf("%d edges of %d without a loss", len(sink.inputs), len(truth))
			}
			for i := range truth {
				if truth[i] != sink.inputs[i] {
					t.Fatalf("edge %d is %v, but was %v", i, sink.inputs[i], truth[i])
				}
			}
		} else if len(sink.inputs) > len(truth) {
			t.Fatalf("%d edges out of %d", len(sink.inputs), len(truth))
		}
	})
}

func TestParseOfThisMachinesEvents(t *testing.T) {
	d := &decoder{native: true}
	o := binary.NativeEndian
	b := make([]byte, 0, nativeEvent)
	if nativeEvent == 24 {
		b = o.AppendUint64(o.AppendUint64(b, 5), 7)
	} else {
		b = o.AppendUint32(o.AppendUint32(b, 5), 7)
	}
	b = o.AppendUint32(o.AppendUint16(o.AppendUint16(b, evKey), btnGamepad), 1)
	assert.Equal(t, event{at: 5_000_007_000, typ: evKey, code: btnGamepad, value: 1}, d.parse(b))
}
