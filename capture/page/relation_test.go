package page

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const (
	ms     = int64(1_000_000)
	second = 1000 * ms
)

// world is a pad whose clock runs at its own rate from its own zero, and gives
// whole grains, rounded down.
type world struct {
	rate   float64 // of the pad's clock against the server's
	offset float64 // ns
	grain  float64 // ns
}

func (w world) clock(t int64) float64 {
	return math.Floor((float64(t)*w.rate+w.offset)/w.grain) * w.grain / 1e6
}

// Whatever the delays of the two ways, the drift within 100 ppm and the grain,
// no edge is off by more than the bound; and the bound is half the least round
// trip, the drift since then, and the grain.
func TestRelationKeepsItsBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := world{
			rate:   1 + rapid.Float64Range(-99e-6, 99e-6).Draw(t, "drift"),
			offset: rapid.Float64Range(0, 1e15).Draw(t, "offset"),
			grain:  rapid.SampledFrom([]float64{5e3, 1e5, 1e6}).Draw(t, "grain"),
		}
		up := rapid.Int64Range(100_000, 200*ms).Draw(t, "up")
		down := rapid.Int64Range(100_000, 200*ms).Draw(t, "down")
		var r Relation
		now := int64(3600) * second
		leastRTT, leastAt := int64(math.MaxInt64), int64(0)
		for i := range rapid.IntRange(1, 80).Draw(t, "steps") {
			now += rapid.Int64Range(ms, second).Draw(t, "pause")
			if i == 0 || rapid.Bool().Draw(t, "ping") {
				u := up + rapid.Int64Range(0, 30*ms).Draw(t, "jitter up")
				d := down + rapid.Int64Range(0, 30*ms).Draw(t, "jitter down")
				sent := now
				now += u + d
				r.Observe(sent, now, w.clock(sent+d))
				if u+d < leastRTT {
					leastRTT, leastAt = u+d, now
				}
				continue
			}
			edge := now - rapid.Int64Range(0, 100*ms).Draw(t, "late")
			got := r.At(w.clock(edge), now)
			bound := r.Bound(now)
			require.LessOrEqual(t, got, now, "never in the future")
			require.LessOrEqual(t, math.Abs(float64(got-edge)), float64(bound)+2e3, "off by more than the bound")
			half := float64(leastRTT)/2 + float64(now-leastAt)*maxDrift + 1.5*float64(r.grain())
			if now-leastAt < keepFor/2 && now-r.used >= idleAfter {
				require.LessOrEqual(t, float64(bound), half+2)
			}
		}
	})
}

func TestRelationOnAQuietNetwork(t *testing.T) {
	var r Relation
	assert.False(t, r.Known())
	assert.Equal(t, 5*second, r.At(123, 5*second), "before any ping it is the time of arrival")
	w := world{rate: 1, offset: 1e9, grain: 1e5}
	for i := range int64(20) {
		sent := 10*second + i*50*ms
		r.Observe(sent, sent+2*ms, w.clock(sent+ms)+0.05*float64(i%2))
	}
	assert.Equal(t, 2*ms, r.RTT())
	now := 11 * second
	assert.InDelta(t, float64(now-3*ms), float64(r.At(w.clock(now-3*ms), now)), 1e5)
	assert.LessOrEqual(t, r.Bound(now), 2*ms/2+ms/10+ms/10, "half a round trip, a second's drift, the grain")
}

// A better estimate in the middle of a press must not change its length.
func TestRelationDoesNotStretchAPress(t *testing.T) {
	var r Relation
	w := world{rate: 1, offset: 0, grain: 1e5}
	now := 100 * second
	r.Observe(now-100*ms, now, w.clock(now-90*ms)+0.05) // slow way back: the middle is 40 ms off
	down := r.At(w.clock(now), now+ms)
	for range 10 { // the network becomes quick
		now += 10 * ms
		r.Observe(now-60*ms, now, w.clock(now-30*ms))
	}
	up := r.At(w.clock(100*second+100*ms), now+ms)
	assert.InDelta(t, float64(100*ms), float64(up-down), 0.3e6)
	later := now + 5*second
	assert.InDelta(t, float64(later-50*ms), float64(r.At(w.clock(later-50*ms), later)), 31e6, "after a pause the better estimate is in use")
}

// A pad's machine that slept comes back with a clock that stood still.
func TestRelationForgetsABrokenClock(t *testing.T) {
	var r Relation
	for i := range int64(10) {
		at := (100 + i) * second
		r.Observe(at, at+2*ms, float64(at/ms)+1)
	}
	at := 200 * second
	r.Observe(at, at+2*ms, float64(at/ms)+1-60_000)
	now := at + second/2
	assert.InDelta(t, float64(now-10*ms), float64(r.At(float64(now/ms)-10-60_000, now)), 1.2e6)
}

func TestRelationIgnoresTimeTravel(t *testing.T) {
	var r Relation
	r.Observe(2*second, second, 5)
	assert.False(t, r.Known())
	assert.Zero(t, r.Bound(second))
	assert.Zero(t, r.RTT())
}
