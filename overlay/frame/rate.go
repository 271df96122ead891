package frame

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// Rate is a number of frames per second as an exact fraction, between 1 and
// 1000 frames a second. The zero value is not valid; see [NewRate].
type Rate struct{ num, den int64 }

// Limits of a rate: numerator and denominator each fit a billion, which keeps
// every product of the frame arithmetic inside 128 bits.
const (
	maxTerm = 1_000_000_000
	minRate = 1
	maxRate = 1000
)

// Common rates.
var (
	Hz60 = Rate{60, 1}
	// NTSC60 is the field rate of 60000/1001 (SMPTE ST 12).
	NTSC60 = Rate{60000, 1001}
)

// NewRate returns num/den frames a second in lowest terms.
func NewRate(num, den int64) (Rate, error) {
	if num <= 0 || den <= 0 {
		return Rate{}, fmt.Errorf("frame rate %d/%d is not above 0: write for example 60, 60000/1001 or 59.637405", num, den)
	}
	g := gcd(num, den)
	num, den = num/g, den/g
	if num > maxTerm || den > maxTerm {
		return Rate{}, fmt.Errorf("frame rate %d/%d needs more than nine digits above or below the line: round it", num, den)
	}
	if num < minRate*den || num > maxRate*den {
		return Rate{}, fmt.Errorf("frame rate %d/%d is outside %d to %d frames a second", num, den, minRate, maxRate)
	}
	return Rate{num, den}, nil
}

// ParseRate reads a whole number ("60"), a fraction ("60000/1001") or a decimal
// ("59.637405", taken exactly).
func ParseRate(s string) (Rate, error) {
	text := strings.TrimSpace(s)
	bad := func() (Rate, error) {
		return Rate{}, fmt.Errorf("frame rate %q is not a number of frames a second: write for example 60, 60000/1001 or 59.637405", s)
	}
	if len(text) == 0 || len(text) > 32 {
		return bad()
	}
	for _, c := range text {
		if (c < '0' || c > '9') && c != '.' && c != '/' {
			return bad()
		}
	}
	if a, b, ok := strings.Cut(text, "/"); ok && (strings.Contains(a, ".") || strings.Contains(b, ".")) {
		return bad()
	}
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		return bad()
	}
	if !r.Num().IsInt64() || !r.Denom().IsInt64() {
		return Rate{}, fmt.Errorf("frame rate %q needs more than nine digits above or below the line: round it", s)
	}
	v, err := NewRate(r.Num().Int64(), r.Denom().Int64())
	if err != nil {
		return Rate{}, fmt.Errorf("frame rate %q: %w", s, err)
	}
	return v, nil
}

// Num and Den return the fraction in lowest terms.
func (r Rate) Num() int64 { return r.num }

// Den returns the denominator in lowest terms.
func (r Rate) Den() int64 { return r.den }

// Float returns frames a second, rounded to a float.
func (r Rate) Float() float64 { return float64(r.num) / float64(r.den) }

// FrameNS returns the length of a frame, T, in nanoseconds, rounded to a float.
func (r Rate) FrameNS() float64 { return float64(r.den) * nsPerSecond / float64(r.num) }

// IsZero reports whether the rate was never set.
func (r Rate) IsZero() bool { return r.num == 0 }

// String returns text that [ParseRate] reads back to the same rate: a whole
// number where it is one, else the fraction.
func (r Rate) String() string {
	if r.den == 1 {
		return strconv.FormatInt(r.num, 10)
	}
	return strconv.FormatInt(r.num, 10) + "/" + strconv.FormatInt(r.den, 10)
}

// MarshalText writes the rate as [Rate.String] does.
func (r Rate) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText reads the rate as [ParseRate] does.
func (r *Rate) UnmarshalText(b []byte) error {
	v, err := ParseRate(string(b))
	if err == nil {
		*r = v
	}
	return err
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
