package evdev

import (
	"math"
	"slices"
)

// An interval estimates how often a device reports, from the times of its
// SYN_REPORTs.
//
// A device that is polled every r reports only when something changed, so the
// stretches between its reports are whole multiples of r, blurred by the host's
// timing; r itself may seldom be among them. The estimate is therefore the
// largest r for which the stretches lie on its grid: with e the distance of
// stretch/r from the nearest whole number (0 … ½; ¼ on average if there is no
// grid), the mean of e must be at most 0.1 and at most one stretch in 25 may have
// e over ¼. Candidates are the intervals that USB and Bluetooth can be set to and
// the shortest stretches that recur, with their halves, thirds and quarters; each
// is refined to the slope through the origin, Σ stretch·k / Σ k², k being the
// nearest whole numbers. Stretches under 0.1 ms (one report told in two parts) and
// over 250 ms are left out. At least 24 stretches are needed; the latest 128 count.
//
// A source with no grid, such as a program that makes events when it likes, has
// no interval: the value stays 0.
type interval struct {
	value float64 // ns; 0 while unknown

	last  int64 // time of the last SYN_REPORT, ns
	begun bool
	ring  [128]float64 // stretches, ns
	n     int          // how many of ring are filled
	next  int
	fresh int // stretches since the latest estimate
}

const (
	shortest   = 0.1e6 // ns
	longest    = 250e6 // ns
	fewest     = 24    // stretches
	mostSteps  = 256   // grid steps in a stretch: beyond, a small error of r adds up to a whole step
	noticeable = 0.1   // a change of the interval worth telling
)

// pause forgets the last time, since events were lost behind it.
func (v *interval) pause() { v.begun = false }

// report takes the time of a SYN_REPORT and tells whether value became known or
// changed by a tenth or more.
func (v *interval) report(at int64) bool {
	d := float64(at - v.last)
	begun := v.begun
	v.last, v.begun = at, true
	if !begun || d < shortest || d > longest {
		return false
	}
	v.ring[v.next] = d
	v.next = (v.next + 1) % len(v.ring)
	v.n = min(v.n+1, len(v.ring))
	v.fresh++
	if v.n < fewest {
		return false
	}
	// Often while unknown. A known interval is checked now and then, which is cheap,
	// and anew estimated when it fits no more or, since a longer one fits just as
	// well, after a while.
	switch {
	case v.value == 0 && v.fresh < 8, v.value != 0 && v.fresh%len(v.ring) != 0:
		return false
	case v.value != 0 && v.fresh < 16*len(v.ring) && onGrid(v.ring[:v.n], v.value):
		return false
	}
	v.fresh = 0
	r := estimate(v.ring[:v.n])
	if r == 0 || math.Abs(r-v.value) < noticeable*v.value {
		return false
	}
	v.value = r
	return true
}

// nominal are the intervals that devices are commonly polled at, in ns: USB's
// bInterval in frames of 1 ms and microframes of 0.125 ms, and Bluetooth's sniff
// and connection intervals, multiples of 0.625 and 1.25 ms.
var nominal = func() (ns []float64) {
	for _, ms := range []float64{0.125, 0.25, 0.5, 1, 1.25, 2, 2.5, 3, 3.75, 4, 5, 6, 6.25, 7, 7.5, 8, 8.75, 9, 10, 11.25, 12, 12.5, 13.75, 15, 16, 17.5, 18.75, 20, 22.5, 24, 25, 30, 32} {
		ns = append(ns, ms*1e6)
	}
	return ns
}()

// estimate returns the interval of some stretches in ns, or 0.
func estimate(stretches []float64) float64 {
	best := 0.0
	try := func(r float64) {
		if r < shortest {
			return
		}
		// Each step may change which multiples the stretches are taken for.
		for range 20 {
			was := r
			if r = refine(stretches, r); r == was {
				break
			}
		}
		if r > best && onGrid(stretches, r) {
			best = r
		}
	}
	for _, r := range nominal {
		try(r)
	}
	var sorted [len(interval{}.ring)]float64
	s := sorted[:copy(sorted[:], stretches)]
	slices.Sort(s)
	need := max(3, len(s)/32)
	for i, tried := 0, 0; i < len(s) && tried < 3; {
		j := i
		for j < len(s) && s[j] <= s[i]*1.06 {
			j++
		}
		if j-i >= need {
			tried++
			for div := 1.0; div <= 4; div++ {
				try(s[(i+j)/2] / div)
			}
		}
		i = j
	}
	return best
}

func refine(stretches []float64, r float64) float64 {
	var dk, kk float64
	for _, d := range stretches {
		if k := math.Round(d / r); k >= 1 && k <= mostSteps {
			dk += d * k
			kk += k * k
		}
	}
	if kk == 0 {
		return r
	}
	return dk / kk
}

func onGrid(stretches []float64, r float64) bool {
	var sum float64
	n, off := 0, 0
	for _, d := range stretches {
		x := d / r
		if x > mostSteps+0.5 {
			continue
		}
		e := math.Abs(x - math.Round(x))
		if x < 0.5 {
			e = 0.5 // shorter than the interval at all
		}
		sum += e
		n++
		if e > 0.25 {
			off++
		}
	}
	return n >= fewest && sum <= 0.1*float64(n) && off*25 <= n
}
