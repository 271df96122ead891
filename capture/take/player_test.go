package take

import (
	"bytes"
	"context"
	"iter"
	"math"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
)

// bubble is the clock of a synctest bubble, in which no time passes by itself.
type bubble struct{ start time.Time }

func (b bubble) Now() int64 { return int64(time.Since(b.start)) + 77 }

func (b bubble) Until(ctx context.Context, at int64) error {
	t := time.NewTimer(time.Duration(at - b.Now()))
	defer t.Stop()
	select {
	case <-t.C:
		return ctx.Err()
	case <-ctx.Done():
		return ctx.Err()
	}
}

func all(edges []capture.Edge) iter.Seq2[capture.Edge, error] {
	return func(yield func(capture.Edge, error) bool) {
		for _, e := range edges {
			if !yield(e, nil) {
				return
			}
		}
	}
}

func TestPlayerKeepsTheSpacing(t *testing.T) {
	edges := realistic(500, 70)
	edges[100].At -= 1_000_000 // a device that was late
	for _, speed := range []float64{1, 0.25, 3, 1000} {
		for _, original := range []bool{false, true} {
			synctest.Test(t, func(t *testing.T) {
				c := bubble{time.Now()}
				time.Sleep(time.Second)
				began := c.Now()
				p := Player{Edges: all(edges), Speed: speed, Original: original, Clock: c}
				i := 0
				require.NoError(t, p.Run(t.Context(), func(e capture.Edge) {
					want := edges[i]
					due := began + int64(math.Round(float64(want.At-edges[0].At)/speed))
					if !original {
						want.At = due
					}
					require.Equal(t, want, e)
					if i != 100 {
						require.Equal(t, max(due, began), c.Now(), "delivered when it is due")
					}
					i++
				}))
				assert.Equal(t, len(edges), i)
			})
		}
	}
}

func TestPlayerAsFastAsItGoes(t *testing.T) {
	edges := realistic(1000, 71)
	var got []capture.Edge
	p := Player{Edges: NewReader(bytes.NewReader(encode(t, testHeader, edges))).Edges(), Speed: math.Inf(1), Original: true}
	require.NoError(t, p.Run(t.Context(), func(e capture.Edge) { got = append(got, e) }))
	assert.Equal(t, edges, got)
}

func TestPlayerStops(t *testing.T) {
	edges := []capture.Edge{{At: 0, Button: 1, Down: true}, {At: 10e6, Button: 2, Key: 3, Down: true}, {At: 20e6, Button: 1}, {At: 60e9, Button: 2, Key: 3}}
	for _, original := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			c := bubble{time.Now()}
			ctx, stop := context.WithTimeout(t.Context(), time.Second)
			defer stop()
			var got []capture.Edge
			p := Player{Edges: all(edges), Speed: 0.5, Original: original, Release: true, Clock: c}
			require.NoError(t, p.Run(ctx, func(e capture.Edge) { got = append(got, e) }), "stopping is no error")
			assert.Equal(t, time.Second, time.Since(c.start), "it stops at once")
			at := int64(time.Second) + 77
			if original {
				at = 500e6
			}
			require.Len(t, got, 4)
			assert.Equal(t, capture.Edge{At: at, Button: 2, Key: 3}, got[3], "what is held is let go")
		})
	}
	var got []capture.Edge
	p := Player{Edges: all(edges[:2]), Speed: math.Inf(1), Original: true, Release: true}
	require.NoError(t, p.Run(t.Context(), func(e capture.Edge) { got = append(got, e) }))
	assert.Equal(t, append(slices.Clone(edges[:2]), capture.Edge{At: 10e6, Button: 1}, capture.Edge{At: 10e6, Button: 2, Key: 3}), got)
}

func TestPlayerErrors(t *testing.T) {
	for _, speed := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		p := Player{Edges: all(nil), Speed: speed}
		assert.ErrorContains(t, p.Run(t.Context(), nil), "above 0")
	}
	p := Player{Edges: NewReader(bytes.NewReader([]byte("text"))).Edges(), Speed: 1}
	assert.ErrorIs(t, p.Run(t.Context(), nil), ErrForeign)
}

// The machine's own clock goes forward and waits; a moment that has passed is
// not waited for.
func TestMonotonic(t *testing.T) {
	var m Monotonic
	a := m.Now()
	require.NoError(t, m.Until(t.Context(), a-1))
	require.NoError(t, m.Until(t.Context(), a+1_000_000))
	assert.GreaterOrEqual(t, m.Now(), a+1_000_000)
	ctx, stop := context.WithCancel(t.Context())
	stop()
	assert.ErrorIs(t, m.Until(ctx, a+int64(time.Hour)), context.Canceled)
	assert.ErrorIs(t, m.Until(ctx, a), context.Canceled)
}
