// Package stat holds the few statistics that the tool shows: an interval for a
// rate, quantiles, and mean with standard deviation.
//
// Everything is a pure function of its arguments; nothing has a clock, does I/O
// or keeps state. Values are in whatever unit the caller gives (ms, frames,
// ns); results are in the same unit.
package stat

import (
	"fmt"
	"math"
)

// Interval is a closed range [Low, High] of a rate; both are in [0, 1].
type Interval struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Z95 is the two-sided normal quantile of 95 % confidence, Φ⁻¹(0.975).
const Z95 = 1.959963984540054

// Z returns the two-sided normal quantile z for a confidence in (0, 1):
// P(|N(0,1)| ≤ z) = confidence. It returns NaN outside (0, 1).
func Z(confidence float64) float64 {
	if !(confidence > 0 && confidence < 1) {
		return math.NaN()
	}
	return math.Sqrt2 * math.Erfinv(confidence)
}

// Wilson returns the score interval of k successes in n trials at 95 %
// confidence. With n = 0 nothing is known: [0, 1]. k outside 0 … n is a bug of
// the caller and panics.
//
// Formula: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1 (Wilson
// 1927, without continuity correction).
func Wilson(k, n int) Interval { return WilsonZ(k, n, Z95) }

// WilsonZ is [Wilson] at another confidence, given by its normal quantile
// z > 0; see [Z].
func WilsonZ(k, n int, z float64) Interval {
	if n < 0 || k < 0 || k > n {
		panic(fmt.Sprintf("stat: %d successes in %d trials", k, n))
	}
	if n == 0 {
		return Interval{0, 1}
	}
	nf := float64(n)
	p := float64(k) / nf
	z2 := z * z
	mid := p + z2/(2*nf)
	half := z * math.Sqrt(p*(1-p)/nf+z2/(4*nf*nf))
	iv := Interval{(mid - half) / (1 + z2/nf), (mid + half) / (1 + z2/nf)}
	// The formula gives these two exactly; rounding must not move them.
	if k == 0 {
		iv.Low = 0
	}
	if k == n {
		iv.High = 1
	}
	iv.Low, iv.High = max(iv.Low, 0), min(iv.High, 1)
	return iv
}

// Quantile returns the p-quantile (0 ≤ p ≤ 1) of values sorted in ascending
// order, interpolated linearly between order statistics: with h = (n−1)·p it is
// x[⌊h⌋] + frac(h)·(x[⌊h⌋+1] − x[⌊h⌋]), counting from 0. That is definition 7
// of Hyndman & Fan, "Sample Quantiles in Statistical Packages" (1996). It
// returns NaN for no values and for a p outside [0, 1]. It allocates nothing.
func Quantile(sorted []float64, p float64) float64 {
	if len(sorted) == 0 || !(p >= 0 && p <= 1) {
		return math.NaN()
	}
	h := float64(len(sorted)-1) * p
	i := int(h)
	if i >= len(sorted)-1 {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (h-float64(i))*(sorted[i+1]-sorted[i])
}

// Median is the 0.5-[Quantile] of sorted values.
func Median(sorted []float64) float64 { return Quantile(sorted, 0.5) }

// Moments gathers count, mean and spread one value at a time (Welford 1962:
// stable for values that are large against their spread, such as times in ns).
// The zero value is empty and ready.
type Moments struct {
	n    int
	mean float64
	m2   float64
}

// Add takes one more value in.
func (m *Moments) Add(x float64) {
	m.n++
	d := x - m.mean
	m.mean += d / float64(m.n)
	m.m2 += d * (x - m.mean)
}

// N returns how many values there were.
func (m *Moments) N() int { return m.n }

// Mean returns their mean, NaN for none.
func (m *Moments) Mean() float64 {
	if m.n == 0 {
		return math.NaN()
	}
	return m.mean
}

// SD returns their sample standard deviation (divisor n − 1), NaN for fewer
// than two.
func (m *Moments) SD() float64 {
	if m.n < 2 {
		return math.NaN()
	}
	return math.Sqrt(m.m2 / float64(m.n-1))
}

// MeanSD returns the mean and the sample standard deviation (divisor n − 1) of
// values; NaN where there are too few, see [Moments].
func MeanSD(values []float64) (mean, sd float64) {
	var m Moments
	for _, x := range values {
		m.Add(x)
	}
	return m.Mean(), m.SD()
}
