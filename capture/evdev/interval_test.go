package evdev

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// known runs reports through an estimator and returns its value in ms.
func known(stretches []float64) (float64, int) {
	var v interval
	at, changes := 1e9, 0
	v.report(int64(at))
	for _, s := range stretches {
		at += s
		if v.report(int64(at)) {
			changes++
		}
	}
	return v.value / 1e6, changes
}

// A device polled every r that reports when something changed: whole multiples of r,
// blurred. The estimator has to find r, not a multiple or a part of it.
func TestIntervalOfAPolledDevice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.SampledFrom([]float64{0.25, 0.5, 1, 2, 4, 7.5, 8, 10, 11.25, 16, 1000. / 60}).Draw(t, "ms") * 1e6
		r *= 1 + rapid.Float64Range(-2e-4, 2e-4).Draw(t, "the device's clock is off by")
		blur := rapid.Float64Range(0, 0.03).Draw(t, "blur") * r
		steps := rapid.SampledFrom([]int{1, 2, 3, 12}).Draw(t, "steps")
		rnd := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		var s []float64
		was := 0.0
		for range 150 {
			is := rnd.NormFloat64() * blur
			s = append(s, r*float64(1+rnd.IntN(steps))+is-was)
			was = is
		}
		got, _ := known(s)
		if math.Abs(got*1e6-r) > 0.02*r {
			t.Fatalf("%v ms, but is %v", got, r/1e6)
		}
	})
}

// Whoever makes events at any time has no interval.
func TestNoIntervalWithoutAGrid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rnd := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 2))
		low := rapid.Float64Range(0.2, 20).Draw(t, "from")
		high := low * rapid.Float64Range(2, 20).Draw(t, "span")
		var s []float64
		for range 150 {
			s = append(s, (low+(high-low)*rnd.Float64())*1e6)
		}
		if got, _ := known(s); got != 0 {
			t.Fatalf("%v ms out of nothing", got)
		}
	})
}

func TestIntervalChanges(t *testing.T) {
	var s []float64
	for range 40 {
		s = append(s, 8e6, 16e6, 8e6)
	}
	got, changes := known(s)
	assert.InDelta(t, 8, got, 0.001)
	assert.Equal(t, 1, changes, "told once")
	for range 400 {
		s = append(s, 1e6)
	}
	got, changes = known(s)
	assert.InDelta(t, 1, got, 0.001)
	assert.Equal(t, 2, changes, "and once more when the device was set to another rate")

	for range 3000 {
		s = append(s, 8e6)
	}
	got, changes = known(s)
	assert.InDelta(t, 8, got, 0.001, "back to a longer one, on whose grid the shorter fits too")
	assert.Equal(t, 3, changes)

	few := make([]float64, fewest-1)
	for i := range few {
		few[i] = 1e6
	}
	got, _ = known(few)
	assert.Zero(t, got, "too few to tell")

	var v interval
	for i := range int64(1000) { // two parts of each report, 20 µs apart, and pauses of a second
		v.report(i * 1e9)
		v.report(i*1e9 + 20e3)
	}
	assert.Zero(t, v.value)
}
