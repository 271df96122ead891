package performer

import (
	"context"
	"fmt"
	"slices"
	"time"

	"holdgap/capture"
)

// SourceOptions says how a [Source] plays.
type SourceOptions struct {
	Seed uint64
	IDs  capture.IDs
	// Now returns ns on the monotonic clock that stamps every source's inputs.
	Now  func() int64
	Mash bool // see [Options]
}

// Source plays a [Script] in real time as a [capture.Source].
type Source struct{ o SourceOptions }

// NewSource returns a source that plays the script of a seed from the moment it
// runs.
func NewSource(o SourceOptions) *Source { return &Source{o} }

// stalled is how far behind the script may fall, in ns, before the rest of it
// is moved on: after a stop of the whole process nothing is played in a rush.
const stalled = 250 * ms

// Run plays until ctx ends, then lets go of every key, detaches both devices
// and returns nil. An input is delivered as soon after its time as the timer
// allows, and carries the time that the script gave it.
func (s *Source) Run(ctx context.Context, sink capture.Sink) error {
	if s.o.IDs == nil || s.o.Now == nil {
		return fmt.Errorf("play the demo: the source has no device numbers or no clock: set IDs and Now")
	}
	pad, box := s.o.IDs.Next(), s.o.IDs.Next()
	sink.Attach(capture.Device{ID: pad, Name: "Performer’s pad", Source: "demo", Identity: "demo:pad"})
	sink.Attach(capture.Device{ID: box, Name: "Performer’s button box", Source: "demo", Identity: "demo:box"})

	p := player{sink: sink, last: s.o.Now()}
	script := New(s.o.Seed, Options{Start: p.last, Device: pad, Second: box, Mash: s.o.Mash})
	timer := time.NewTimer(0)
	defer timer.Stop()
	for in := script.Next(); ; in = script.Next() {
		for {
			wait := in.At + p.shift - s.o.Now()
			if wait <= 0 {
				if -wait > stalled {
					p.shift += -wait
				}
				break
			}
			timer.Reset(time.Duration(wait))
			select {
			case <-ctx.Done():
				p.leave(s.o.Now(), pad, box)
				return nil
			case <-timer.C:
			}
		}
		if ctx.Err() != nil {
			p.leave(s.o.Now(), pad, box)
			return nil
		}
		p.play(in)
	}
}

type holding struct {
	device uint16
	key    string
}

// player delivers inputs and knows what is held.
type player struct {
	sink  capture.Sink
	held  []holding
	shift int64 // ns by which the script was moved on
	last  int64 // ns: time of the last input
}

func (p *player) play(in capture.Input) {
	in.At += p.shift
	p.last = in.At
	h := holding{in.Device, in.Key}
	if in.Down {
		p.held = append(p.held, h)
	} else {
		p.held = slices.DeleteFunc(p.held, func(o holding) bool { return o == h })
	}
	p.sink.Input(in)
}

func (p *player) leave(now int64, devices ...uint16) {
	now = max(now, p.last)
	for _, h := range p.held {
		p.sink.Input(capture.Input{At: now, Device: h.device, Key: h.key})
	}
	for _, d := range devices {
		p.sink.Detach(d, now)
	}
}
