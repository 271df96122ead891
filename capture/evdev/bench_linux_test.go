package evdev

import (
	"encoding/binary"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdgap/capture"
)

type countingSink struct{ silent }

var counted int

func (countingSink) Input(capture.Input) { counted++ }

// batch is one read's worth of events: 64, half of them presses and releases of four
// buttons and moves of a stick, half the SYN_REPORTs behind them.
func batch() (b []byte) {
	for i := range int64(32) {
		us := 1000 * (i + 1)
		if i%4 == 3 {
			b = put(b, us, evAbs, absX, int32(i)*2000-32000)
		} else {
			b = put(b, us, evKey, btnGamepad+uint16(i%4), int32(i/4%2))
		}
		b = put(b, us, evSyn, synReport, 0)
	}
	return b
}

// through sends n batches through a pipe and times the reader.
func through(tb testing.TB, n int, reader func(r *os.File)) time.Duration {
	r, w, err := os.Pipe()
	require.NoError(tb, err)
	one := batch()
	done := make(chan struct{})
	go func() {
		defer close(done)
		defer func() { _ = w.Close() }()
		for range n {
			if _, err := w.Write(one); err != nil {
				return
			}
		}
	}()
	began := time.Now()
	reader(r)
	took := time.Since(began)
	<-done
	_ = r.Close()
	return took
}

// bareLoop reads and takes the events apart, and does nothing with them.
func bareLoop(r *os.File) {
	var buf [64 * streamEvent]byte
	for {
		n, err := r.Read(buf[:])
		for b := buf[:n]; len(b) >= streamEvent; b = b[streamEvent:] {
			at := int64(binary.LittleEndian.Uint64(b))*1e9 + int64(binary.LittleEndian.Uint64(b[8:]))*1e3
			if at > 0 && binary.LittleEndian.Uint16(b[16:]) == evKey {
				counted++
			}
		}
		if err != nil {
			return
		}
	}
}

func ours(r *os.File) {
	d := &device{file: &file{File: r}, sink: countingSink{}}
	d.dec = &decoder{sink: d.sink, allow: buttonKeys, axes: layAxes(padRanges, Thresholds{}.withDefaults())}
	_ = d.read()
}

// BenchmarkReader takes batches of 64 events through a pipe. The ratio to a loop that
// only reads and parses, in the same run, is the figure to compare across machines.
func BenchmarkReader(b *testing.B) {
	b.ReportAllocs()
	var base, took time.Duration
	b.ResetTimer()
	// In turns, so that a busy machine slows both.
	for left := b.N; left > 0; left -= 1000 {
		n := min(left, 1000)
		base += through(b, n, bareLoop)
		took += through(b, n, ours)
	}
	b.ReportMetric(float64(took)/float64(base), "x-bare")
	b.ReportMetric(float64(took.Nanoseconds())/float64(b.N*64), "ns/event")
}

// BenchmarkDecoder is the decoder alone, without the pipe.
func BenchmarkDecoder(b *testing.B) {
	b.ReportAllocs()
	d := &decoder{sink: countingSink{}, allow: buttonKeys, axes: layAxes(padRanges, Thresholds{}.withDefaults())}
	one := batch()
	for b.Loop() {
		d.feed(one)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*64), "ns/event")
}

// An event costs no allocation, from the read to the sink.
func TestNoAllocationPerEvent(t *testing.T) {
	d := &decoder{sink: countingSink{}, allow: buttonKeys, axes: layAxes(padRanges, Thresholds{}.withDefaults())}
	one := batch()
	require.Zero(t, testing.AllocsPerRun(100, func() { d.feed(one) }))
}
