package themes

import "math"

// linear undoes the transfer function of sRGB for a channel from 0 to 255, as
// WCAG 2.2 defines relative luminance.
func linear(channel uint64) float64 {
	c := float64(channel) / 255
	if c <= 0.04045 {
		return c / 12.92
	}
	return math.Pow((c+0.055)/1.055, 2.4)
}
