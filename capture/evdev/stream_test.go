package evdev

import (
	"bytes"
	"encoding/binary"
	"io"
	"os"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/capture"
)

// pad500 returns a real pad's stream: see testdata/README.md at the top.
func pad500(t *testing.T) []byte {
	b, err := os.ReadFile("../../testdata/pad-500.evdev")
	require.NoError(t, err)
	return b
}

// tape is a sink that keeps what it was told.
type tape struct {
	inputs   []capture.Input
	attached []capture.Device
	detached []int64
	warnings map[string]string
}

func (t *tape) Input(in capture.Input)     { t.inputs = append(t.inputs, in) }
func (t *tape) Attach(d capture.Device)    { t.attached = append(t.attached, d) }
func (t *tape) Detach(_ uint16, at int64)  { t.detached = append(t.detached, at) }
func (t *tape) Warn(key, text string)      { t.warnings[key] = text }
func (t *tape) of(key string) (in []int64) { return keyTimes(t.inputs, key) }

func keyTimes(inputs []capture.Input, key string) (in []int64) {
	for _, i := range inputs {
		if i.Key == key {
			in = append(in, i.At)
		}
	}
	return in
}

// put appends one event of a 64-bit kernel: at in µs.
func put(b []byte, us int64, typ, code uint16, value int32) []byte {
	b = binary.LittleEndian.AppendUint64(b, uint64(us/1e6))
	b = binary.LittleEndian.AppendUint64(b, uint64(us%1e6))
	b = binary.LittleEndian.AppendUint16(b, typ)
	b = binary.LittleEndian.AppendUint16(b, code)
	return binary.LittleEndian.AppendUint32(b, uint32(value))
}

// The recording of a real pad: whot/evemu-devices at
// 3fa30580b542017098a48ec3c8a65bc2a5ba67b3, see testdata/README.md. Its one press of
// a button is held 1.564079 − 1.464057 s = 100.022 ms; the hat is pressed down once
// and up twice; the pad reports on a grid of 4 ms.
func TestDecodeStreamOfARealPad(t *testing.T) {
	for _, r := range []io.Reader{bytes.NewReader(pad500(t)), iotest.OneByteReader(bytes.NewReader(pad500(t))), iotest.DataErrReader(bytes.NewReader(pad500(t)))} {
		sink := &tape{}
		require.NoError(t, DecodeStream(r, Stream{Device: capture.Device{ID: 7, Name: "pad"}}, sink))

		var buttons []capture.Input
		for _, in := range sink.inputs {
			if in.Key != "up" && in.Key != "down" {
				buttons = append(buttons, in)
			}
		}
		assert.Equal(t, []capture.Input{
			{At: 1_464_057_000, Device: 7, Key: "east", Down: true},
			{At: 1_564_079_000, Device: 7, Key: "east"},
		}, buttons)
		assert.Equal(t, int64(100_022_000), buttons[1].At-buttons[0].At)
		assert.Equal(t, []int64{548_020_000, 632_022_000}, sink.of("down"))
		assert.Equal(t, []int64{860_034_000, 976_039_000, 1_048_035_000, 1_148_044_000}, sink.of("up"))
		assert.Len(t, sink.inputs, 8)

		last := sink.attached[len(sink.attached)-1]
		assert.InDelta(t, 4, last.ReportMS, 0.01, "the report interval")
		assert.Zero(t, sink.attached[0].ReportMS)
		assert.Len(t, sink.detached, 1)
	}
}

func TestDecodeStreamRefusesWhatIsNoStream(t *testing.T) {
	press := put(put(nil, 1e6, evKey, btnGamepad, 1), 1e6, evSyn, synReport, 0)
	for name, c := range map[string]struct {
		data []byte
		says string
	}{
		"cut off":           {append(bytes.Clone(press), 1, 2, 3), "decode event 3 of the stream: it ends after 3 of 24 bytes (01 02 03)"},
		"text":              {bytes.Repeat([]byte("no events here. "), 30), "event 1 of the stream: time of"},
		"microseconds of 7": {put(nil, -7, 0, 0, 0), "is this a raw stream"},
	} {
		t.Run(name, func(t *testing.T) {
			sink := &tape{}
			err := DecodeStream(bytes.NewReader(c.data), Stream{}, sink)
			require.ErrorContains(t, err, c.says)
			assert.Len(t, sink.detached, 1, "whatever happens, the device is detached")
			assert.Zero(t, len(sink.inputs)%2, "and what it held is released")
		})
	}
	require.ErrorContains(t, DecodeStream(bytes.NewReader(nil), Stream{Keys: []string{"KeyJ"}}, &tape{}), `did you mean "key_j"`)
	require.ErrorContains(t, DecodeStream(bytes.NewReader(nil), Stream{Thresholds: Thresholds{StickOn: 2}}, &tape{}), "stick thresholds on 2")
}

// Whatever bytes come in, every key alternates beginning with down and ends up, and
// times never run backwards.
func TestDecodeStreamAlternates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b []byte
		us := int64(0)
		for range rapid.IntRange(0, 200).Draw(t, "events") {
			us = max(0, us+rapid.Int64Range(-100, 20000).Draw(t, "step"))
			switch rapid.IntRange(0, 6).Draw(t, "what") {
			case 0:
				b = put(b, us, evSyn, synReport, 0)
			case 1:
				b = put(b, us, evSyn, synDropped, 0)
			case 2, 3:
				code := rapid.SampledFrom([]uint16{btnGamepad, btnDpadUp, btnTL2, 36, 37, 0x2ff, 0x300, 0xffff}).Draw(t, "key")
				b = put(b, us, evKey, code, rapid.Int32Range(-1, 2).Draw(t, "value"))
			case 4, 5:
				code := rapid.SampledFrom([]uint16{absX, absY, absZ, absRZ, absRX, absRY, absHat0X, absHat0Y, absHat2Y, absBrake, 0x3f, 0x40}).Draw(t, "axis")
				b = put(b, us, evAbs, code, rapid.Int32Range(-300, 300).Draw(t, "value"))
			case 6:
				b = put(b, us, rapid.Uint16().Draw(t, "type"), rapid.Uint16().Draw(t, "code"), rapid.Int32().Draw(t, "value"))
			}
		}
		abs := map[uint16]AbsInfo{}
		for _, code := range []uint16{absX, absY, absZ, absRZ, absRX, absRY, absHat2Y, absBrake} {
			abs[code] = AbsInfo{Min: rapid.SampledFrom([]int32{-255, 0, 5}).Draw(t, "min"), Max: rapid.SampledFrom([]int32{-300, 5, 255}).Draw(t, "max")}
		}
		sink := &tape{}
		if err := DecodeStream(bytes.NewReader(b), Stream{Abs: abs, Keys: []string{"key_j"}}, sink); err != nil {
			t.Fatalf("decode: %v", err)
		}
		down := map[string]bool{}
		last := int64(0)
		for _, in := range sink.inputs {
			if in.Down == down[in.Key] {
				t.Fatalf("%s goes %v twice", in.Key, in.Down)
			}
			if in.At < last {
				t.Fatalf("time runs back: %d after %d", in.At, last)
			}
			if in.Key == "" || in.Key == "key_k" {
				t.Fatalf("key %q came through", in.Key)
			}
			down[in.Key], last = in.Down, in.At
		}
		for key, held := range down {
			if held {
				t.Fatalf("%s is still down at the end", key)
			}
		}
	})
}
