package stat

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	gonum "gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// Cases of R. G. Newcombe, "Two-sided confidence intervals for the single
// proportion: comparison of seven methods", Statistics in Medicine 17 (1998),
// 857–872, method 3 (score, no continuity correction), four decimals; the last
// two are computed from the formula of NIST/SEMATECH e-Handbook 7.2.4.1.
func TestWilsonPublishedCases(t *testing.T) {
	for _, c := range []struct {
		k, n      int
		low, high float64
	}{
		{81, 263, .2553, .3662},
		{15, 148, .0624, .1605},
		{0, 20, 0, .1611},
		{1, 29, .0061, .1718},
		{10, 10, .7225, 1},
		{8, 10, .4902, .9433},
	} {
		iv := Wilson(c.k, c.n)
		assert.InDelta(t, c.low, iv.Low, 5e-5, "%d/%d low", c.k, c.n)
		assert.InDelta(t, c.high, iv.High, 5e-5, "%d/%d high", c.k, c.n)
	}
	assert.Equal(t, Interval{0, 1}, Wilson(0, 0), "nothing seen, nothing known")
	assert.Panics(t, func() { Wilson(3, 2) })
	assert.Panics(t, func() { Wilson(-1, 2) })
}

// The score interval is by definition the set of true rates p for which the
// score test does not reject: |k/n − p| ≤ z·√(p(1−p)/n). Each end that is not 0
// or 1 must therefore meet it with equality.
func TestWilsonInvertsTheScoreTest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 1_000_000).Draw(t, "n")
		k := rapid.IntRange(0, n).Draw(t, "k")
		conf := rapid.Float64Range(0.5, 0.999).Draw(t, "confidence")
		z := distuv.UnitNormal.Quantile(0.5 + conf/2)
		iv := WilsonZ(k, n, z)
		hat := float64(k) / float64(n)
		if iv.Low > hat+1e-12 || iv.High < hat-1e-12 || iv.Low < 0 || iv.High > 1 {
			t.Fatalf("%d/%d: %v does not hold %v", k, n, iv, hat)
		}
		for _, p := range []float64{iv.Low, iv.High} {
			if p == 0 || p == 1 {
				continue
			}
			left, right := math.Abs(hat-p), z*math.Sqrt(p*(1-p)/float64(n))
			if math.Abs(left-right) > 1e-9 {
				t.Fatalf("%d/%d at %v: %v against %v", k, n, p, left, right)
			}
		}
	})
}

func TestZAgainstGonum(t *testing.T) {
	for _, c := range []float64{.5, .8, .9, .95, .99, .999} {
		assert.InDelta(t, distuv.UnitNormal.Quantile(.5+c/2), Z(c), 1e-9, "%v", c)
	}
	assert.InDelta(t, Z95, Z(.95), 1e-12)
	for _, c := range []float64{0, 1, -1, 2, math.NaN()} {
		assert.True(t, math.IsNaN(Z(c)), "%v", c)
	}
}

// Examples printed in two reference manuals that use the same definition:
// pandas, Series.quantile ([1 2 3 4] → 1.75, 2.5, 3.25); DolphinDB, quantile
// (eleven numbers → 25.5, 40, 42.5).
func TestQuantilePublishedCases(t *testing.T) {
	a := []float64{1, 2, 3, 4}
	b := []float64{6, 47, 49, 15, 42, 41, 7, 39, 43, 40, 36}
	slices.Sort(b)
	for _, c := range []struct {
		x       []float64
		p, want float64
	}{
		{a, .25, 1.75}, {a, .5, 2.5}, {a, .75, 3.25}, {a, 0, 1}, {a, 1, 4},
		{b, .25, 25.5}, {b, .5, 40}, {b, .75, 42.5},
	} {
		assert.Equal(t, c.want, Quantile(c.x, c.p))
	}
	for _, p := range []float64{-.1, 1.1, math.NaN()} {
		assert.True(t, math.IsNaN(Quantile(a, p)))
	}
	assert.True(t, math.IsNaN(Median(nil)))
	assert.Equal(t, 7.0, Median([]float64{7}))
}

func TestAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 2, 200).Draw(t, "x")
		mean, sd := MeanSD(x)
		wantMean, wantSD := gonum.MeanStdDev(x, nil)
		if math.Abs(mean-wantMean) > 1e-6 || math.Abs(sd-wantSD) > 1e-6 {
			t.Fatalf("mean %v sd %v, want %v %v", mean, sd, wantMean, wantSD)
		}
		slices.Sort(x)
		if len(x)%2 == 1 { // for odd n every definition agrees on the median
			if got, want := Median(x), gonum.Quantile(.5, gonum.Empirical, x, nil); got != want {
				t.Fatalf("median %v, want %v", got, want)
			}
		}
		// At p = k/(n−1) this definition hits the order statistic itself, and
		// in between it never leaves its two neighbours.
		p := rapid.Float64Range(0, 1).Draw(t, "p")
		i := int(p * float64(len(x)-1))
		if q := Quantile(x, p); q < x[i]-1e-9 || q > x[min(i+1, len(x)-1)]+1e-9 {
			t.Fatalf("quantile %v of %v is %v", p, x, q)
		}
	})
}

func TestMomentsAreStable(t *testing.T) {
	// Times in ns after a month of uptime, spread of 1 ms: the sum of squares
	// would lose everything.
	var m Moments
	for _, d := range []float64{-1e6, 0, 1e6} {
		m.Add(2.6e15 + d)
	}
	require.Equal(t, 3, m.N())
	assert.InDelta(t, 2.6e15, m.Mean(), 1)
	assert.InDelta(t, 1e6, m.SD(), 1)
	var none Moments
	assert.True(t, math.IsNaN(none.Mean()))
	assert.True(t, math.IsNaN(none.SD()))
}

func TestNothingAllocates(t *testing.T) {
	x := []float64{1, 2, 3, 4}
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		_ = Quantile(x, .3)
		_ = Wilson(3, 7)
		_, _ = MeanSD(x)
	}))
}
