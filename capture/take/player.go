package take

import (
	"context"
	"fmt"
	"iter"
	"math"
	"time"

	"holdgap/capture"
)

// Clock tells and waits for times in ns on one monotonic clock.
type Clock interface {
	// Now returns the time.
	Now() int64
	// Until waits until the time has come, or returns the context's error if it
	// ends first.
	Until(ctx context.Context, at int64) error
}

// Player delivers the edges of a take in their own time: at speed S an edge
// that was t after the first comes t/S after the first. It never holds an edge
// back to catch up: if the receiver is late, later edges keep their times.
type Player struct {
	// Edges are what is played, such as [Reader.Edges]; an error in it ends the
	// playing.
	Edges iter.Seq2[capture.Edge, error]
	// Speed is 1 for the original pace, 0.5 for half of it; above 0. With
	// Original it may be +Inf: as fast as the receiver takes them.
	Speed float64
	// Original leaves the edges' own times on them. Otherwise an edge gets the
	// time at which it is due on the clock: its spacing is exact, whatever the
	// delays in delivering it.
	Original bool
	// Release lets go of what is still held when the playing ends, at the time
	// (on the edges' own clock if Original) of the last edge or of the break.
	Release bool
	// Clock is the clock; nil means this machine's monotonic clock, which also
	// stamps live edges.
	Clock Clock
}

// Run plays until the edges end or ctx does, and returns nil in both cases. It
// calls emit from its own goroutine, one edge after the other, and starts none.
func (p *Player) Run(ctx context.Context, emit func(capture.Edge)) error {
	if !(p.Speed > 0) || math.IsInf(p.Speed, 1) && !p.Original {
		return fmt.Errorf("playing a take at speed %v: write a speed above 0, such as 1 or 0.25", p.Speed)
	}
	clock := p.Clock
	if clock == nil {
		clock = Monotonic{}
	}
	var (
		held    heldKeys
		started bool
		first   int64 // original time of the first edge
		base    int64 // when it was played
		last    int64 // time of the last edge, as emitted
	)
	err := func() error {
		for e, err := range p.Edges {
			if err != nil {
				return fmt.Errorf("playing a take: %w", err)
			}
			if !started {
				started, first, base = true, e.At, clock.Now()
			}
			if ctx.Err() != nil {
				return nil
			}
			due := base
			if !math.IsInf(p.Speed, 1) {
				due += scale(e.At-first, p.Speed)
				if err := clock.Until(ctx, due); err != nil {
					return nil
				}
			}
			if !p.Original {
				e.At = due
			}
			last = e.At
			held.see(e)
			emit(e)
		}
		return nil
	}()
	if p.Release && started {
		at := last
		if ctx.Err() != nil {
			if now := clock.Now(); !p.Original {
				at = max(at, now)
			} else if !math.IsInf(p.Speed, 1) {
				at = max(at, first+int64(float64(now-base)*p.Speed))
			}
		}
		held.release(at, emit)
	}
	return err
}

// scale returns a time span (ns) at a speed.
func scale(span int64, speed float64) int64 {
	if speed == 1 {
		return span // exact, however long
	}
	return int64(math.Round(float64(span) / speed))
}

// heldKeys is which keys are down.
type heldKeys [capture.MaxButtons]uint64

func (h *heldKeys) see(e capture.Edge) {
	bit := uint64(1) << (e.Key % capture.MaxKeys)
	if e.Down {
		h[e.Button%capture.MaxButtons] |= bit
	} else {
		h[e.Button%capture.MaxButtons] &^= bit
	}
}

func (h *heldKeys) release(at int64, emit func(capture.Edge)) {
	for b, keys := range h {
		for k := range uint8(capture.MaxKeys) {
			if keys&(1<<k) != 0 {
				emit(capture.Edge{At: at, Button: uint8(b), Key: k})
			}
		}
	}
	*h = heldKeys{}
}

// Until waits with a timer until at on the monotonic clock.
func (m Monotonic) Until(ctx context.Context, at int64) error {
	for {
		wait := at - m.Now()
		if wait <= 0 {
			return ctx.Err()
		}
		t := time.NewTimer(time.Duration(wait))
		select {
		case <-t.C:
		case <-ctx.Done():
			t.Stop()
			return ctx.Err()
		}
	}
}
