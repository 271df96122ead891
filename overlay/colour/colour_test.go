package colour

import (
	"image/color"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func hex(t testing.TB, s string) Linear {
	t.Helper()
	c, err := Parse(s)
	require.NoError(t, err)
	return Of(c)
}

// Published contrast ratios on white; #767676 is the well-known lightest grey
// that passes 4.5 and #949494 the one that passes 3. The values follow from the
// formulas of WCAG 2.2, "relative luminance" and "contrast ratio".
func TestContrastOnWhite(t *testing.T) {
	for text, want := range map[string]float64{
		"#767676": 4.542, "#777777": 4.478, "#949494": 3.033, "#595959": 7.005,
		"#FF0000": 3.998, "#0000FF": 8.592, "#000000": 21, "#FFFFFF": 1,
	} {
		assert.InDelta(t, want, Contrast(hex(t, text), hex(t, "#fff")), 0.0005, text)
		assert.InDelta(t, want, Contrast(hex(t, "#fff"), hex(t, text)), 0.0005, "%s the other way", text)
	}
}

// Chromaticities of the sRGB primaries and its white, from IEC 61966-2-1:
// x, y = .64 .33, .30 .60, .15 .06, .3127 .3290; u′ = 4x/(−2x+12y+3),
// v′ = 9y/(−2x+12y+3) (CIE 15).
func TestChromaticity(t *testing.T) {
	for text, xy := range map[string][2]float64{
		"#f00": {0.64, 0.33}, "#0f0": {0.30, 0.60}, "#00f": {0.15, 0.06}, "#fff": {0.3127, 0.3290}, "#808080": {0.3127, 0.3290},
	} {
		d := -2*xy[0] + 12*xy[1] + 3
		u, v := hex(t, text).UV()
		assert.InDelta(t, 4*xy[0]/d, u, 0.0005, text)
		assert.InDelta(t, 9*xy[1]/d, v, 0.0005, text)
	}
	u, v := Linear{}.UV()
	assert.Equal(t, []float64{WhiteU, WhiteV}, []float64{u, v}, "black counts as white here")
}

// The rows of the three matrices as printed in Machado, Oliveira and Fernandes
// 2009, severity 1: the three primaries' images are the columns, clamped.
func TestVisionOfPrimaries(t *testing.T) {
	for vision, want := range map[Vision]map[string]Linear{
		Protan: {"#f00": {.152286, .114503, 0}, "#0f0": {1, .786281, 0}, "#00f": {0, .099216, 1}},
		Deutan: {"#f00": {.367322, .280085, 0}, "#0f0": {.860646, .672501, .042940}, "#00f": {0, .047413, .968881}},
		Tritan: {"#f00": {1, 0, .004733}, "#0f0": {0, .930809, .691367}, "#00f": {0, .147602, .303900}},
	} {
		for text, c := range want {
			got := vision.See(hex(t, text))
			assert.InDelta(t, c.R, got.R, 1e-9, "%v %s", vision, text)
			assert.InDelta(t, c.G, got.G, 1e-9, "%v %s", vision, text)
			assert.InDelta(t, c.B, got.B, 1e-9, "%v %s", vision, text)
		}
	}
}

// Every row adds up to 1: nobody sees a tint in grey.
func TestGreyStaysGrey(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.Float64Range(0, 1).Draw(t, "grey")
		for _, v := range Visions {
			c := v.See(Linear{g, g, g})
			for _, x := range []float64{c.R, c.G, c.B} {
				if math.Abs(x-g) > 2e-6 {
					t.Fatalf("%v sees grey %v as %v", v, g, c)
				}
			}
		}
	})
}

func TestBytesRoundTrip(t *testing.T) {
	last := -1.0
	for i := range 256 {
		v := Decode(uint8(i))
		assert.Equal(t, uint8(i), Encode(v))
		assert.Greater(t, v, last)
		last = v
	}
	assert.Equal(t, uint8(0), Encode(math.NaN()))
	assert.Equal(t, uint8(0), Encode(-1))
	assert.Equal(t, uint8(255), Encode(2))
	assert.Equal(t, color.NRGBA{R: 1, G: 2, B: 3, A: 255}, RGB(1, 2, 3).NRGBA())
}

func TestOver(t *testing.T) {
	black, white := color.NRGBA{A: 255}, color.NRGBA{255, 255, 255, 255}
	assert.Equal(t, color.NRGBA{128, 128, 128, 255}, Over(color.NRGBA{255, 255, 255, 128}, black))
	assert.Equal(t, white, Over(color.NRGBA{}, white))
	assert.Equal(t, black, Over(black, white))
	assert.Equal(t, color.NRGBA{}, Over(color.NRGBA{R: 9}, color.NRGBA{}))
	// Half over half: opacity 1 − (127/255)², and two thirds of the light from the top.
	got := Over(color.NRGBA{255, 0, 0, 128}, color.NRGBA{0, 0, 255, 128})
	assert.Equal(t, color.NRGBA{170, 0, 85, 192}, got)
}

func TestParse(t *testing.T) {
	for text, want := range map[string]color.NRGBA{
		"#1b9e77": {0x1b, 0x9e, 0x77, 255}, "#1B9E77cc": {0x1b, 0x9e, 0x77, 0xcc}, "#fa0": {0xff, 0xaa, 0, 255}, "#fa08": {0xff, 0xaa, 0, 0x88},
	} {
		got, err := Parse(text)
		require.NoError(t, err)
		assert.Equal(t, want, got, text)
	}
	for _, text := range []string{"", "#", "red", "1b9e77", "#12", "#12345", "#1234567", "#123456789", "#12345g", "#+12345", "#éé"} {
		_, err := Parse(text)
		require.Error(t, err, text)
		assert.Contains(t, err.Error(), `"`+text+`"`)
	}
}
