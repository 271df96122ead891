package flash

import (
	"encoding/binary"
	"errors"
	"fmt"
	"image"
)

// Limits of WCAG 2.2, success criterion 2.3.1.
const (
	MaxFlashes  = 3                            // in any second
	FieldWidth  = 341                          // px: 10° of the visual field
	FieldHeight = 256                          // px
	MaxArea     = FieldWidth * FieldHeight / 4 // px²
)

const (
	second = 1_000_000_000 // ns
	// slowest is the greatest time between two frames, ns: with fewer than
	// twenty frames a second fast flashing would fall between them.
	slowest = second / 20
	// together is how long changes may lie apart and still be concurrent, ns.
	together = second / 20
)

// Analyser looks at frames one after the other. Make one with [New]. It is not
// safe for concurrent use.
type Analyser struct {
	w, h    int
	times   []int64 // ns, of every frame
	first   int32   // the first frame within the second that ends now
	recent  int32   // the first frame that is concurrent with now
	prev    []byte
	light   lightTracker
	red     redTracker
	general *layer
	reds    *layer
}

// New returns an analyser of pictures of w × h px. The scale is how many of
// them make one px of the standard's rectangle along each side: 1 for a page
// shown as it is, 2 for a picture taken with two device pixels per CSS px.
func New(w, h int, scale float64) (*Analyser, error) {
	if w < 1 || h < 1 || w > 1<<14 || h > 1<<14 {
		return nil, fmt.Errorf("looking for flashes: a picture of %d × %d px cannot be analysed, want 1 to 16384 px a side", w, h)
	}
	if !(scale >= 0.05 && scale <= 8) {
		return nil, fmt.Errorf("looking for flashes: scale %v is not between 0.05 and 8", scale)
	}
	n := w * h
	return &Analyser{
		w: w, h: h,
		prev:    make([]byte, 4*n),
		light:   newLightTracker(n),
		red:     newRedTracker(n),
		general: newLayer(w, h, scale),
		reds:    newLayer(w, h, scale),
	}, nil
}

// Add looks at the next frame: w × h pixels of four bytes (red, green, blue and
// one that is ignored) from the top left, shown from the time at (ns) on. The
// picture must be opaque: lay it over its background first. Times ascend, by
// 50 ms at most.
func (a *Analyser) Add(at int64, pix []byte) error {
	if len(pix) != 4*a.w*a.h {
		return fmt.Errorf("looking for flashes: frame %d has %d bytes, want %d for %d × %d px", len(a.times), len(pix), 4*a.w*a.h, a.w, a.h)
	}
	if n := len(a.times); n > 0 {
		switch gap := at - a.times[n-1]; {
		case gap <= 0:
			return fmt.Errorf("looking for flashes: frame %d at %d ns is not later than the one before at %d ns", n, at, a.times[n-1])
		case gap > slowest:
			return fmt.Errorf("looking for flashes: frame %d comes %d ns after the one before: more than %d ns hide fast flashing, capture at 20 frames a second or more", n, gap, slowest)
		}
	}
	now := int32(len(a.times))
	a.times = append(a.times, at)
	for a.times[a.first] < at-second {
		a.first++
	}
	for a.times[a.recent] <= at-together {
		a.recent++
	}
	a.general.begin()
	a.reds.begin()
	if now == 0 {
		a.begin(pix)
	} else {
		a.follow(now, pix)
	}
	copy(a.prev, pix)
	a.general.judge(a, now)
	a.reds.judge(a, now)
	return nil
}

// begin takes the first frame as the state that changes start from.
func (a *Analyser) begin(pix []byte) {
	for i := range a.w * a.h {
		s := look(pix[4*i], pix[4*i+1], pix[4*i+2])
		a.light.begin(i, s)
		a.red.begin(i, s)
	}
}

// follow moves every pixel that changed on to its new state.
func (a *Analyser) follow(now int32, pix []byte) {
	var last uint32 // neighbours mostly have one colour
	s := look(0, 0, 0)
	for i := range a.w * a.h {
		v := binary.LittleEndian.Uint32(pix[4*i:]) & 0xffffff
		if v == binary.LittleEndian.Uint32(a.prev[4*i:])&0xffffff {
			continue // no change, so no turning point
		}
		if v != last {
			last, s = v, look(byte(v), byte(v>>8), byte(v>>16))
		}
		if up, changed := a.light.step(i, s); changed {
			a.general.mark(i, a.first, now, up)
		}
		if in, changed := a.red.step(i, s); changed {
			a.reds.mark(i, a.first, now, in)
		}
	}
}

// Finding is what was found of one kind of flash.
type Finding struct {
	// Flashes is the greatest number of flashes within any second over more
	// than the allowed area; 4 stands for four or more.
	Flashes int
	// Area is the greatest area, in px² within any 10° rectangle, of pixels
	// that flashed more than three times within one second.
	Area int
	// At is the time (ns) of the frame that completed the worst second, and
	// Field the rectangle it was seen in; both are zero without flashes.
	At    int64
	Field image.Rectangle
}

// Report is what was found.
type Report struct {
	General, Red Finding
	Frames       int
}

// Pass reports whether both kinds stayed below the thresholds.
func (r Report) Pass() bool { return r.General.Flashes <= MaxFlashes && r.Red.Flashes <= MaxFlashes }

// String says in a sentence what was found.
func (r Report) String() string {
	verdict := "below the thresholds"
	if !r.Pass() {
		verdict = "above the thresholds"
	}
	one := func(name string, f Finding) string {
		s := fmt.Sprintf("%d %s flashes in the worst second", f.Flashes, name)
		if f.Flashes > MaxFlashes {
			s = fmt.Sprintf("four or more %s flashes within a second up to %.3f s in %v", name, float64(f.At)/second, f.Field)
		}
		if f.Area > 0 {
			s += fmt.Sprintf(" (%d px² flash more than three times)", f.Area)
		}
		return s
	}
	return fmt.Sprintf("%s in %d frames: %s, %s", verdict, r.Frames, one("general", r.General), one("red", r.Red))
}

// ErrTooShort is returned for less than a second of frames.
var ErrTooShort = errors.New("looking for flashes: the frames span less than one second, so nothing can be said")

// Report returns what was found in the frames so far.
func (a *Analyser) Report() (Report, error) {
	if n := len(a.times); n == 0 || a.times[n-1]-a.times[0] < second {
		return Report{}, ErrTooShort
	}
	return Report{General: a.general.found, Red: a.reds.found, Frames: len(a.times)}, nil
}
