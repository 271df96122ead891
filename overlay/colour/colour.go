// Package colour measures colours as eyes meet them: relative luminance,
// contrast, chromaticity, and what is left of a colour for people who see
// colours differently. It is pure arithmetic.
//
// A colour on a screen is three bytes of the sRGB colour space (IEC
// 61966-2-1). [Linear] is the same colour with its components proportional to
// light, in [0, 1]; all measuring is done there. Mixing by opacity is done on
// the bytes ([Over]), as browsers do it.
package colour

import (
	"fmt"
	"image/color"
	"math"
	"strconv"
	"strings"
)

// Linear is a colour of the sRGB primaries, linear in light, each in [0, 1].
type Linear struct{ R, G, B float64 }

// decoded holds the linear value of every byte. Formula: IEC 61966-2-1, as in
// WCAG 2.2, "relative luminance".
var decoded = func() (t [256]float64) {
	for i := range t {
		v := float64(i) / 255
		if v <= 0.04045 {
			t[i] = v / 12.92
		} else {
			t[i] = math.Pow((v+0.055)/1.055, 2.4)
		}
	}
	return t
}()

// Decode returns the linear value in [0, 1] of an sRGB byte.
func Decode(v uint8) float64 { return decoded[v] }

// Encode returns the nearest sRGB byte of a linear value, which is clamped to [0, 1].
func Encode(v float64) uint8 {
	switch {
	case !(v > 0): // also NaN
		return 0
	case v >= 1:
		return 255
	case v <= 0.0031308:
		v *= 12.92
	default:
		v = 1.055*math.Pow(v, 1/2.4) - 0.055
	}
	return uint8(math.Round(v * 255))
}

// RGB returns the colour of three sRGB bytes.
func RGB(r, g, b uint8) Linear { return Linear{decoded[r], decoded[g], decoded[b]} }

// Of returns the colour of c and forgets its opacity: mix it first with [Over].
func Of(c color.NRGBA) Linear { return RGB(c.R, c.G, c.B) }

// NRGBA returns the nearest opaque colour in sRGB bytes.
func (c Linear) NRGBA() color.NRGBA {
	return color.NRGBA{R: Encode(c.R), G: Encode(c.G), B: Encode(c.B), A: 255}
}

// Luminance returns the relative luminance, 0 for black and 1 for white
// (WCAG 2.2, "relative luminance").
func (c Linear) Luminance() float64 { return 0.2126*c.R + 0.7152*c.G + 0.0722*c.B }

// Contrast returns the contrast ratio of two colours, from 1 to 21, in any
// order (WCAG 2.2, "contrast ratio").
func Contrast(a, b Linear) float64 {
	la, lb := a.Luminance(), b.Luminance()
	if la < lb {
		la, lb = lb, la
	}
	return (la + 0.05) / (lb + 0.05)
}

// The white that equal components make (D65), in u′ and v′.
const (
	WhiteU = 0.19784
	WhiteV = 0.46834
)

// UV returns the coordinates u′ and v′ of the CIE 1976 uniform chromaticity
// scale diagram. Black has no chromaticity; it gets that of white. The matrix
// to XYZ is that of IEC 61966-2-1.
func (c Linear) UV() (u, v float64) {
	x := 0.4124*c.R + 0.3576*c.G + 0.1805*c.B
	y := 0.2126*c.R + 0.7152*c.G + 0.0722*c.B
	z := 0.0193*c.R + 0.1192*c.G + 0.9505*c.B
	d := x + 15*y + 3*z
	if d <= 0 {
		return WhiteU, WhiteV
	}
	return 4 * x / d, 9 * y / d
}

// Over lays top, with its opacity, over under, and returns the mixture. It
// mixes the sRGB bytes, as browsers do by default (W3C Compositing and Blending
// Level 1, "simple alpha compositing"). The result is opaque if under is.
func Over(top, under color.NRGBA) color.NRGBA {
	at, au := float64(top.A)/255, float64(under.A)/255
	a := at + au*(1-at)
	if a == 0 {
		return color.NRGBA{}
	}
	mix := func(t, u uint8) uint8 {
		return uint8(math.Round((float64(t)*at + float64(u)*au*(1-at)) / a))
	}
	return color.NRGBA{R: mix(top.R, under.R), G: mix(top.G, under.G), B: mix(top.B, under.B), A: uint8(math.Round(a * 255))}
}

// Parse reads #RGB, #RGBA, #RRGGBB or #RRGGBBAA (CSS Color Module Level 4,
// hexadecimal notation).
func Parse(s string) (color.NRGBA, error) {
	bad := func() (color.NRGBA, error) {
		return color.NRGBA{}, fmt.Errorf("colour %q is not a colour: write for example #1b9e77, or #1b9e77cc with opacity", s)
	}
	digits, ok := strings.CutPrefix(s, "#")
	if !ok {
		return bad()
	}
	if len(digits) == 3 || len(digits) == 4 { // each digit stands for two
		var b strings.Builder
		for _, d := range digits {
			b.WriteRune(d)
			b.WriteRune(d)
		}
		digits = b.String()
	}
	if len(digits) == 6 {
		digits += "ff"
	}
	n, err := strconv.ParseUint(digits, 16, 32)
	if len(digits) != 8 || err != nil {
		return bad()
	}
	return color.NRGBA{R: uint8(n >> 24), G: uint8(n >> 16), B: uint8(n >> 8), A: uint8(n)}, nil
}
