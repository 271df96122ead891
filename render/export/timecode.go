package export

import (
	"fmt"
	"strings"

	"holdgap/overlay/frame"
)

// Timecode labels the frames of a video as SMPTE ST 12-1 does: hours, minutes,
// seconds and frames, from a start label on, around the clock. Drop-frame
// labels (written with ; before the frames) leave out the first two labels of
// each minute that is not a multiple of ten, four at 60000/1001, so that they
// keep up with the time of day; no frame is dropped. Make one with
// [NewTimecode].
type Timecode struct {
	rate  frame.Rate
	fps   int64 // labels in a second
	drop  int64 // labels left out in a minute
	start int64 // label number of frame 0
}

// NewTimecode returns labels for a video's rate: 24, 25, 30, 50 or 60 frames a
// second, or 24000/1001, 30000/1001 or 60000/1001; drop only with the last two.
// start is the label of frame 0, such as "01:00:00:00"; an empty one is zero.
func NewTimecode(rate frame.Rate, drop bool, start string) (Timecode, error) {
	t := Timecode{rate: rate}
	switch rate.String() {
	case "24", "25", "30", "50", "60":
		t.fps = rate.Num()
	case "24000/1001", "30000/1001", "60000/1001":
		t.fps = rate.Num() / 1000
	default:
		return t, fmt.Errorf("timecode at %v frames a second: there are labels for 24, 25, 30, 50, 60, 24000/1001, 30000/1001 and 60000/1001 only: give the rate of the video", rate)
	}
	if drop {
		if rate.Den() != 1001 || t.fps == 24 {
			return t, fmt.Errorf("drop-frame timecode at %v frames a second: it exists at 30000/1001 and 60000/1001 only: choose non-drop", rate)
		}
		t.drop = t.fps / 15
	}
	if start == "" {
		return t, nil
	}
	n, err := t.number(start)
	t.start = n
	return t, err
}

// Drop reports whether the labels are drop-frame.
func (t Timecode) Drop() bool { return t.drop > 0 }

// Label returns the label of a frame, counted from the start label's frame; it
// may be negative. After 24 hours labels begin anew.
func (t Timecode) Label(f int64) string {
	day := t.day()
	n := ((t.start+f%day)%day + day) % day
	sep := ':'
	if t.drop > 0 {
		sep = ';'
		// Put back the labels that were left out up to here.
		tens, rest := n/t.ten(), n%t.ten()
		n += 9 * t.drop * tens
		if rest >= t.fps*60 {
			n += t.drop * (1 + (rest-t.fps*60)/t.minute())
		}
	}
	s := n / t.fps
	return fmt.Sprintf("%02d:%02d:%02d%c%02d", s/3600, s/60%60, s%60, sep, n%t.fps)
}

// At returns the label of the frame that shows at a time (ns from the video's
// first frame): the last that began at or before it.
func (t Timecode) At(ns int64) string { return t.Label(t.FrameAt(ns)) }

// FrameAt returns which frame shows at a time (ns from the video's first
// frame), counted from 0.
func (t Timecode) FrameAt(ns int64) int64 {
	clock := frame.NewClock(t.rate, 0)
	if ns >= 0 {
		whole, _ := clock.Length(ns)
		return int64(whole)
	}
	whole, part := clock.Length(-ns)
	if part > 0 { // rounded down, also before zero
		whole++
	}
	return -int64(whole)
}

// Frame returns the frame that bears a label, counted from the start label, in
// the 24 hours from there.
func (t Timecode) Frame(label string) (int64, error) {
	n, err := t.number(label)
	if err != nil {
		return 0, err
	}
	day := t.day()
	return ((n-t.start)%day + day) % day, nil
}

// minute, ten and day are the frames in a minute that leaves labels out, in ten
// minutes, and in 24 hours.
func (t Timecode) minute() int64 { return t.fps*60 - t.drop }
func (t Timecode) ten() int64    { return t.fps*600 - 9*t.drop }
func (t Timecode) day() int64    { return t.ten() * 6 * 24 }

// number returns how many frames after label zero a label stands.
func (t Timecode) number(label string) (int64, error) {
	bad := func(why string) (int64, error) {
		return 0, fmt.Errorf("timecode label %q: %s", label, why)
	}
	const form = "write hours, minutes, seconds and frames, two digits each, as 01:00:00:00, or 01:00:00;00 for drop-frame"
	if len(label) != 11 || label[2] != ':' || label[5] != ':' || (label[8] != ':' && label[8] != ';') {
		return bad(form)
	}
	var part [4]int64
	for i := range part {
		a, b := label[3*i], label[3*i+1]
		if a < '0' || a > '9' || b < '0' || b > '9' {
			return bad(form)
		}
		part[i] = int64(a-'0')*10 + int64(b-'0')
	}
	h, m, s, f := part[0], part[1], part[2], part[3]
	switch {
	case label[8] == ';' && t.drop == 0:
		return bad("it is drop-frame (;) and the labels are not: write : instead, or choose drop-frame")
	case label[8] == ':' && t.drop > 0:
		return bad("it is not drop-frame (:) and the labels are: write ; instead, or choose non-drop")
	case h > 23 || m > 59 || s > 59 || f >= t.fps:
		return bad(fmt.Sprintf("there are 24 hours, 60 minutes, 60 seconds and %d frames, counted from 0", t.fps))
	case s == 0 && f < t.drop && m%10 != 0:
		return bad(fmt.Sprintf("drop-frame leaves this label out: the minute begins with %s;%02d", label[:8], t.drop))
	}
	n := ((h*60+m)*60+s)*t.fps + f
	minutes := h*60 + m
	return n - t.drop*(minutes-minutes/10), nil
}

// oneLine makes a text fit one line.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < 0x20 || r == 0x7F || r == 0x85 || r == 0x2028 || r == 0x2029 {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}
