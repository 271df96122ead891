package frame_test

import (
	"math/big"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/overlay/frame"
)

func rate(t require.TestingT, s string) frame.Rate {
	r, err := frame.ParseRate(s)
	require.NoError(t, err)
	return r
}

// Published hardware rates and 60000/1001: 16.68333 ms a frame.
// Source: SMPTE ST 12 for 60000/1001; the others from published hardware clocks,
// 8 MHz/(512·262), 6 MHz/(384·264), computed here from the clock and the line counts.
func TestRates(t *testing.T) {
	require.InDelta(t, 16.68333, rate(t, "60000/1001").FrameNS()/1e6, 5e-6)
	r, err := frame.NewRate(8_000_000, 512*262)
	require.NoError(t, err)
	require.InDelta(t, 59.637405, r.Float(), 5e-7)
	r, err = frame.NewRate(6_000_000, 384*264)
	require.NoError(t, err)
	require.InDelta(t, 59.185606, r.Float(), 5e-7)
	require.Equal(t, "60", rate(t, "60.000").String())
	require.Equal(t, "11927481/200000", rate(t, "59.637405").String())
	require.True(t, frame.Rate{}.IsZero())
}

func TestRateErrorsQuoteTheInput(t *testing.T) {
	for _, s := range []string{"", "0", "-60", "sixty", "60/0", "0/1", "1001", "0.5", "1e9", "6_0", "60/1.001", "60//1",
		"59.63740512345", "99999999999999999999", "NaN", "Inf", "0x3c"} {
		_, err := frame.ParseRate(s)
		require.ErrorContains(t, err, `"`+s+`"`, "%q", s)
	}
}

func TestRateTextRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		den := rapid.Int64Range(1, 1_000_000).Draw(t, "den")
		r, err := frame.NewRate(rapid.Int64Range(den, min(1000*den, 1_000_000_000)).Draw(t, "num"), den)
		require.NoError(t, err)
		b, err := r.MarshalText()
		require.NoError(t, err)
		var back frame.Rate
		require.NoError(t, back.UnmarshalText(b))
		require.Equal(t, r, back)
	})
}

// At and Poll against arbitrary-precision fractions: math/big is the reference.
func TestClockAgainstFractions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rate(t, rapid.SampledFrom([]string{"60", "60000/1001", "59.637405", "50", "120", "54.70684", "1000", "1"}).Draw(t, "rate"))
		phase := rapid.Int64Range(-1e12, 1e12).Draw(t, "phase")
		c := frame.NewClock(r, phase)
		at := rapid.OneOf(rapid.Int64Range(-1e10, 1e10), rapid.Int64Range(-1e17, 1e17)).Draw(t, "t")
		// k = ceil((t − phase)·num / (den·1e9))
		x := big.NewRat(at-phase, 1)
		x.Mul(x, big.NewRat(r.Num(), r.Den()))
		x.Quo(x, big.NewRat(1_000_000_000, 1))
		floor := new(big.Int).Div(x.Num(), x.Denom())
		want := floor.Int64()
		if !x.IsInt() {
			want++
		}
		k := c.At(at)
		require.EqualValues(t, want, k)
		require.LessOrEqual(t, at, c.Poll(k))
		require.Greater(t, at, c.Poll(k-1))
	})
}

// After a week the grid has not moved by a nanosecond: 7·24·3600 s are a whole
// number of frames at 60000/1001 Hz after every 1001 s.
func TestNoDriftAfterAWeek(t *testing.T) {
	c := frame.NewClock(frame.NTSC60, 0)
	const periods = 604 // 604 · 1001 s is just under a week
	require.EqualValues(t, periods*60000, c.At(periods*1001*1_000_000_000))
	require.EqualValues(t, int64(periods)*1001*1_000_000_000, c.Poll(periods*60000))
}

// An edge exactly at a poll instant has happened by then.
func TestEdgeAtPollInstant(t *testing.T) {
	c := frame.NewClock(rate(t, "50"), 0) // 20 ms, whole nanoseconds
	first, end := c.Span(frame.Sampled, 20_000_000, 40_000_000)
	require.EqualValues(t, 1, first)
	require.EqualValues(t, 2, end)
	first, end = c.Span(frame.Latched, 20_000_001, 20_000_002)
	require.EqualValues(t, 2, first)
	require.EqualValues(t, 3, end)
	whole, frac := c.Length(50_000_000)
	require.EqualValues(t, 2, whole)
	require.InDelta(t, .5, frac, 1e-12)
	require.InDelta(t, 1.25, c.Position(25_000_000), 1e-9)
}

func TestReadRuleText(t *testing.T) {
	for _, r := range []frame.ReadRule{frame.Sampled, frame.Latched} {
		back, err := frame.ParseReadRule(r.String())
		require.NoError(t, err)
		require.Equal(t, r, back)
	}
	_, err := frame.ParseReadRule("both")
	require.ErrorContains(t, err, `"both"`)
}

func BenchmarkAt(b *testing.B) {
	c := frame.NewClock(frame.NTSC60, 12345)
	b.ReportAllocs()
	var sum frame.Frame
	for i := 0; b.Loop(); i++ {
		sum += c.At(int64(i) * 1_000_003)
	}
	_ = sum
}
