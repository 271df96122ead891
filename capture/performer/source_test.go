package performer

import (
	"context"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"holdgap/capture"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

type ids struct{ n uint16 }

func (i *ids) Next() uint16 { i.n++; return i.n }

type arrival struct {
	in  capture.Input
	now int64
}

type sink struct {
	mu       sync.Mutex
	now      func() int64
	got      []arrival
	devices  []capture.Device
	detached []uint16
}

func (s *sink) Input(in capture.Input) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.got = append(s.got, arrival{in, s.now()})
}
func (s *sink) Attach(d capture.Device)   { s.devices = append(s.devices, d) }
func (s *sink) Detach(id uint16, _ int64) { s.detached = append(s.detached, id) }
func (s *sink) Warn(string, string)       {}
func clock(t0 time.Time, from int64) func() int64 {
	return func() int64 { return from + int64(time.Since(t0)) }
}

func TestSourcePlaysTheScriptInRealTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		now := clock(time.Now(), 77*second)
		k := &sink{now: now}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- NewSource(SourceOptions{Seed: 3, IDs: &ids{}, Now: now}).Run(ctx, k) }()
		time.Sleep(60 * time.Second) // the bubble's clock, not a wait
		cancel()
		require.NoError(t, <-done)

		require.Len(t, k.devices, 2)
		for _, d := range k.devices {
			assert.Equal(t, "demo", d.Source)
		}
		assert.Equal(t, []uint16{1, 2}, k.detached)

		want := New(3, Options{Start: 77 * second, Device: 1, Second: 2})
		held := map[holding]bool{}
		n := 0
		for _, a := range k.got {
			if a.in.At < 137*second {
				require.Equal(t, want.Next(), a.in)
				require.Equal(t, a.in.At, a.now, "delivered at its time")
				n++
			}
			held[holding{a.in.Device, a.in.Key}] = a.in.Down
		}
		assert.Greater(t, n, 100)
		for h, down := range held {
			assert.False(t, down, "%v", h)
		}
	})
}

func TestStopReleasesWhatIsHeld(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		now := clock(time.Now(), 0)
		k := &sink{now: now}
		script := New(3, Options{Device: 1, Second: 2})
		first := script.Next()
		ctx, cancel := context.WithTimeout(t.Context(), time.Duration(first.At)+time.Millisecond)
		defer cancel()
		require.NoError(t, NewSource(SourceOptions{Seed: 3, IDs: &ids{}, Now: now}).Run(ctx, k))
		require.Len(t, k.got, 2, "a press and its release on stopping")
		up := k.got[1].in
		assert.False(t, up.Down)
		assert.Equal(t, first.Key, up.Key)
		assert.Equal(t, first.At+ms, up.At)
	})
}

// A process that was stopped for a while goes on playing; it does not catch up.
func TestStallMovesTheScriptOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex
		t0, jump := time.Now(), int64(0)
		now := func() int64 { mu.Lock(); defer mu.Unlock(); return int64(time.Since(t0)) + jump }
		k := &sink{now: now}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- NewSource(SourceOptions{Seed: 3, IDs: &ids{}, Now: now}).Run(ctx, k) }()
		time.Sleep(5 * time.Second)
		mu.Lock()
		jump = 3600 * second
		mu.Unlock()
		time.Sleep(20 * time.Second)
		cancel()
		require.NoError(t, <-done)
		after := 0
		for _, a := range k.got {
			require.LessOrEqual(t, a.now-a.in.At, stalled)
			if a.in.At > 3600*second {
				after++
			}
		}
		assert.Greater(t, after, 20)
	})
}

func TestSourceNamesWhatIsMissing(t *testing.T) {
	assert.ErrorContains(t, NewSource(SourceOptions{}).Run(t.Context(), &sink{}), "set IDs and Now")
}
