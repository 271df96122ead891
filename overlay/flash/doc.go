// Package flash finds flashing that could harm people with photosensitive
// epilepsy, by the thresholds of WCAG 2.2, success criterion 2.3.1 "Three
// Flashes or Below Threshold". It is pure: frames and their times go in, a
// report comes out.
//
// A report is no medical advice and no certificate: it says that the frames
// that were looked at stayed below the thresholds, over the backgrounds they
// were drawn on.
//
// # What the standard says
//
// Flashing is below the thresholds if no second holds more than three general
// flashes, and none more than three red flashes, or if the flashes that occur
// concurrently cover no more than a quarter of any 10° of the visual field,
// estimated as any rectangle of 341 × 256 px (21,824 px²).
//
//   - General flash: a pair of opposing changes of relative luminance by 0.1 or
//     more, where the darker of the two states is below 0.80.
//   - Red flash: a pair of opposing changes to and from a saturated red, that
//     is R/(R+G+B) ≥ 0.8, whose two states lie more than 0.2 apart in the CIE
//     1976 u′v′ diagram.
//
// # How pixels are tracked
//
// Every pixel is followed by itself, at full resolution. Its luminance is
// reduced to alternating peaks and valleys: a change is complete in the frame
// in which the luminance has moved by 0.1 from the last peak or valley (with
// the darker one below 0.80), however many frames that took, and the turning
// point then moves along with the luminance until it turns by 0.1 again. So a
// slow fade is one change, and a ripple below 0.1 is none. For red, a pixel is
// either in red or out of it, and moves from one to the other when it is more
// than 0.2 away from the reddest (the least red) state since its last move. R,
// G and B are taken linear in light, which calls more colours red than bytes
// would. Black has no chromaticity and counts as white, so that red on black
// counts.
//
// A flash is two opposing changes. A second is any closed interval of one
// second, wherever it begins.
//
// # How areas are added up
//
// Two counts are taken in every 10° rectangle, and the worse one is reported:
//
//   - Pixel by pixel: how many changes did pixels go through within the second,
//     for the pixels of more than the allowed area. This finds flicker of one
//     and the same place, whatever its phase from pixel to pixel, and also
//     stripes that move by.
//   - As a whole: how many changes in alternating direction did more than the
//     allowed area go through at once (within 50 ms, our own choice), whichever
//     pixels it was made of. This finds flashes that take turns in different
//     places. Where part gets brighter while another part gets darker, as when
//     a picture gives way to another, that is one change in either direction.
//
// Rectangles are tried at every eighth pixel and are made seven pixels larger,
// so that each possible rectangle lies within one that was tried. The
// standard's exception for fine patterns is not made. All of this can only
// find more than the standard asks for, never less.
package flash
