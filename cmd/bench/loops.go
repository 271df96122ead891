package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"runtime"
	"time"

	"holdgap/capture"
	"holdgap/capture/performer"
	"holdgap/capture/take"
	"holdgap/overlay/flash"
	"holdgap/overlay/frame"
	"holdgap/overlay/press"
	"holdgap/overlay/session"
)

// sink keeps what the loops compute from being optimised away.
var sink uint64

// compare runs two loops by turns and returns the best time of each for one of
// the things that a loop does n of: what disturbs only ever slows down.
func compare(ctx context.Context, o options, n int, ours, bare func()) (oursNS, bareNS float64) {
	best := [2]float64{math.Inf(1), math.Inf(1)}
	for range o.rounds {
		for side, loop := range []func(){ours, bare} {
			end := time.Now().Add(o.time / 4)
			for ctx.Err() == nil {
				start := time.Now()
				loop()
				now := time.Now()
				best[side] = min(best[side], float64(now.Sub(start))/float64(n))
				if now.After(end) {
					break
				}
			}
		}
	}
	runtime.KeepAlive(sink)
	return best[0], best[1]
}

// played are the edges of a performance of so many.
func played(n int) []capture.Edge {
	script := performer.New(1, performer.Options{Device: 1, Second: 2})
	mapper := capture.NewMapper(capture.DefaultLayout(), capture.Cleaning(0))
	var edges []capture.Edge
	for len(edges) < n {
		edges = mapper.Map(script.Next(), edges)
	}
	return edges[:n]
}

func clockBench(ctx context.Context, o options) ([]row, error) {
	clock := frame.NewClock(frame.NTSC60, 12345)
	edges := played(10_000)
	rate, phase := frame.NTSC60.Float()/1e9, float64(clock.Phase())
	a, b := compare(ctx, o, len(edges),
		func() {
			for _, e := range edges {
				sink += uint64(clock.At(e.At))
			}
		},
		func() {
			for _, e := range edges {
				sink += uint64(math.Ceil((float64(e.At) - phase) * rate))
			}
		})
	return []row{newRow("frame of an edge", "ns", a, b)}, nil
}

// counter takes a session's results and forgets them.
type counter struct{ n uint64 }

func (c *counter) Press(*press.Press)          { c.n++ }
func (c *counter) Multi(*session.Multi)        { c.n++ }
func (c *counter) Direction(session.Direction) { c.n++ }
func (c *counter) Outcome(*session.Outcome)    { c.n++ }

func sessionBench(ctx context.Context, o options) ([]row, error) {
	clock := frame.NewClock(frame.Hz60, 0)
	layout := capture.DefaultLayout()
	edges := played(10_000)
	a, b := compare(ctx, o, len(edges),
		func() {
			c := counter{}
			s := session.New(session.Config{Clock: clock, Buttons: layout.Buttons, Target: session.Target{Window: 3, Wanted: session.AnyButton}}, &c)
			for _, e := range edges {
				s.Edge(e)
			}
			sink += c.n
		},
		func() {
			var down, up [capture.MaxButtons]int64
			for _, e := range edges {
				k := e.At * 60 / 1_000_000_000
				if e.Down {
					sink += uint64(k - up[e.Button])
					down[e.Button] = k
				} else {
					sink += uint64(k - down[e.Button])
					up[e.Button] = k
				}
			}
		})
	return []row{newRow("judging an edge", "ns", a, b)}, nil
}

func takeBench(ctx context.Context, o options) ([]row, error) {
	edges := played(100_000)
	var file bytes.Buffer
	w := take.NewWriter(&file)
	if err := w.Header(take.Header{}); err != nil {
		return nil, err
	}
	var bare []byte
	last := int64(0)
	for _, e := range edges {
		if err := w.Edge(e); err != nil {
			return nil, err
		}
		tag := byte(e.Button) << 1
		if e.Down {
			tag |= 1
		}
		bare = append(binary.AppendUvarint(bare, uint64(e.At-last)), tag)
		last = e.At
	}
	if err := w.End(last); err != nil {
		return nil, err
	}
	var failed error
	a, b := compare(ctx, o, len(edges),
		func() {
			r := take.NewReader(bytes.NewReader(file.Bytes()))
			n := 0
			for r.Next() {
				n += len(r.Batch())
			}
			if r.Err() != nil || n != len(edges) {
				failed = fmt.Errorf("read %d of %d edges: %w", n, len(edges), r.Err())
			}
		},
		func() {
			at := uint64(0)
			for p := bare; len(p) > 0; {
				d, n := binary.Uvarint(p)
				at += d
				sink += at + uint64(p[n])
				p = p[n+1:]
			}
		})
	return []row{
		newRow("reading an edge from a take", "ns", a, b),
		newRow("size of an edge in a take", "bytes", float64(file.Len())/float64(len(edges)), float64(len(bare))/float64(len(edges))),
	}, failed
}

// flashBench looks at a strip on which a column of light runs along.
func flashBench(ctx context.Context, o options) ([]row, error) {
	const w, h = 1920, 240
	frames := make([][]byte, 30)
	for i := range frames {
		pix := make([]byte, 4*w*h)
		for y := range h {
			for x := 40 * i; x < 40*i+200; x++ {
				copy(pix[4*(y*w+x):], "\xff\xff\xff\xff")
			}
		}
		frames[i] = pix
	}
	var failed error
	a, b := compare(ctx, o, len(frames),
		func() {
			an, err := flash.New(w, h, 1)
			for i := 0; i < len(frames) && err == nil; i++ {
				err = an.Add(int64(i)*16_666_667, frames[i])
			}
			if err != nil {
				failed = err
			}
		},
		func() {
			for _, pix := range frames {
				for _, v := range pix {
					sink += uint64(v)
				}
			}
		})
	return []row{newRow("looking at a frame of 1920 × 240 px", "ms", a/1e6, b/1e6)}, failed
}
