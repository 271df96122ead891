package export

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/overlay/frame"
)

func mustRate(t testing.TB, s string) frame.Rate {
	t.Helper()
	r, err := frame.ParseRate(s)
	require.NoError(t, err)
	return r
}

func mustTimecode(t testing.TB, rate string, drop bool, start string) Timecode {
	t.Helper()
	tc, err := NewTimecode(mustRate(t, rate), drop, start)
	require.NoError(t, err)
	return tc
}

// Drop-frame labels: the rule is that of SMPTE ST 12-1 (known from secondary
// sources), the values are computed from it by hand.
func TestDropFrameLabels(t *testing.T) {
	for rate, labels := range map[string]map[int64]string{
		"30000/1001": {0: "00:00:00;00", 1799: "00:00:59;29", 1800: "00:01:00;02", 17982: "00:10:00;00", 107892: "01:00:00;00"},
		"60000/1001": {0: "00:00:00;00", 3599: "00:00:59;59", 3600: "00:01:00;04", 35964: "00:10:00;00", 215784: "01:00:00;00"},
	} {
		tc := mustTimecode(t, rate, true, "")
		assert.True(t, tc.Drop())
		for f, want := range labels {
			assert.Equal(t, want, tc.Label(f))
			n, err := tc.Frame(want)
			assert.NoError(t, err)
			assert.Equal(t, f, n)
		}
	}
}

// A whole day, label by label, against counting as the rule says it: add one to
// the frames, carry, and at the start of each minute that is not a multiple of
// ten skip the first labels.
func TestLabelsOfADay(t *testing.T) {
	for _, c := range []struct {
		rate string
		drop bool
	}{{"24", false}, {"25", false}, {"30", false}, {"50", false}, {"60", false}, {"24000/1001", false},
		{"30000/1001", false}, {"30000/1001", true}, {"60000/1001", false}, {"60000/1001", true}} {
		tc := mustTimecode(t, c.rate, c.drop, "")
		fps := int64(mustRate(t, c.rate).Float() + 0.5)
		skip, sep := int64(0), ":"
		if c.drop {
			skip, sep = fps/15, ";"
		}
		var h, m, s, f int64
		n := int64(0)
		for ; h < 24; n++ {
			if n%601 == 0 || s == 0 && f < 6 || s == 59 && f > fps-3 { // writing each one takes too long
				want := fmt.Sprintf("%02d:%02d:%02d%s%02d", h, m, s, sep, f)
				if got := tc.Label(n); got != want {
					t.Fatalf("%v: frame %d is %s, want %s", c, n, got, want)
				}
				if back, err := tc.Frame(want); err != nil || back != n {
					t.Fatalf("%v: %s is frame %d (%v), want %d", c, want, back, err, n)
				}
			}
			if f++; f == fps {
				f, s = 0, s+1
			}
			if s == 60 {
				s, m = 0, m+1
				if m == 60 {
					m, h = 0, h+1
				}
				if m%10 != 0 {
					f = skip
				}
			}
		}
		assert.Equal(t, "00:00:00"+sep+"00", tc.Label(n), "after a day labels begin anew")
		assert.Equal(t, tc.Label(n-1), tc.Label(-1), "and before the first stands the last")
	}
}

func TestTimecodeStart(t *testing.T) {
	tc := mustTimecode(t, "30000/1001", true, "01:00:00;00")
	assert.Equal(t, "01:00:00;00", tc.Label(0))
	assert.Equal(t, "01:00:59;29", tc.Label(1799))
	assert.Equal(t, "01:01:00;02", tc.Label(1800))
	assert.Equal(t, "00:59:59;29", tc.Label(-1))
	n, err := tc.Frame("00:59:59;29")
	require.NoError(t, err)
	assert.EqualValues(t, 24*107892-1, n)
	// Drop-frame keeps up with the clock: after an hour of time the label is an
	// hour on, within two frames of 33 ms.
	assert.Equal(t, "02:00:00;00", tc.At(3_600_003_600_000))
	assert.Equal(t, "01:59:59;28", mustTimecode(t, "30000/1001", true, "00:59:59;28").At(3_600_003_600_000))
}

// The frame that shows at a time: frame k begins at k/rate.
func TestFrameAt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.SampledFrom([]string{"24", "25", "30000/1001", "60000/1001"}).Draw(t, "rate")
		r, _ := frame.ParseRate(rate)
		tc, err := NewTimecode(r, false, "")
		if err != nil {
			t.Fatal(err)
		}
		ns := rapid.Int64Range(-1e15, 1e15).Draw(t, "ns")
		f := tc.FrameAt(ns)
		// f ≤ ns·rate < f+1, in whole numbers (1e15·60000 fits).
		x, unit := ns/1e9*r.Num(), r.Den() // coarse part, in 1/den frames
		rest := ns % 1e9 * r.Num()         // fine part, in 1/(den·1e9) frames
		low := (f*unit - x) * 1e9
		if low > rest || rest >= low+unit*1e9 {
			t.Fatalf("frame %d at %d ns", f, ns)
		}
	})
	tc := mustTimecode(t, "25", false, "")
	for ns, want := range map[int64]int64{0: 0, 39_999_999: 0, 40_000_000: 1, -1: -1, -40_000_000: -1, -40_000_001: -2} {
		assert.Equal(t, want, tc.FrameAt(ns), "%d", ns)
	}
}

func TestTimecodeErrors(t *testing.T) {
	for _, c := range []struct {
		rate  string
		drop  bool
		start string
		want  string
	}{
		{"59.637405", false, "", "rate of the video"},
		{"120", false, "", "rate of the video"},
		{"30", true, "", "choose non-drop"},
		{"24000/1001", true, "", "choose non-drop"},
		{"25", false, "1:00:00:00", `"1:00:00:00"`},
		{"25", false, "01:00:00:0x", "two digits"},
		{"25", false, "01-00:00:00", "two digits"},
		{"25", false, "24:00:00:00", "24 hours"},
		{"25", false, "00:60:00:00", "60 minutes"},
		{"25", false, "00:00:00:25", "25 frames"},
		{"25", false, "00:00:00;00", "drop-frame (;)"},
		{"30000/1001", true, "00:00:00:00", "not drop-frame (:)"},
		{"30000/1001", true, "00:01:00;01", "begins with 00:01:00;02"},
		{"60000/1001", true, "00:01:00;03", "begins with 00:01:00;04"},
	} {
		_, err := NewTimecode(mustRate(t, c.rate), c.drop, c.start)
		assert.ErrorContains(t, err, c.want, "%+v", c)
	}
	_, err := mustTimecode(t, "25", false, "").Frame("x")
	assert.ErrorContains(t, err, `"x"`)
}
