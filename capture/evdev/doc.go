// Package evdev takes input from the Linux kernel's event devices: pads, sticks,
// button boxes and, only where keys of them were bound by hand, keyboards.
//
// It only listens. A device is opened for reading alone, never grabbed
// (EVIOCGRAB), and nothing is ever written to it.
//
// # What a press is
//
// Times are the kernel's own, on the monotonic clock (EVIOCSCLOCKID). The values
// 1 and 0 of a key are its going down and up; autorepeat (2) is never a press.
// Every key that a [capture.Sink] sees goes down first and then alternates: a key
// that was held already when the device was opened has no time at which it went
// down, so it is remembered as held and neither that press nor its release is
// reported; its next press is.
//
// A D-pad may come as buttons, as hat 0, or both: each feeds up, down, left and
// right, and any of them holds the direction down. Sticks become directions and
// analogue triggers become tl, tr, tl2 and tr2 at a threshold with hysteresis.
//
// When the kernel's queue overflowed (SYN_DROPPED), events are discarded up to the
// next SYN_REPORT, the device is asked for its state (EVIOCGKEY, EVIOCGABS), and
// what differs is reported at the time of that SYN_REPORT. A key pressed and
// released within the lost stretch stays unseen: nothing can know of it.
//
// A device that goes away releases every key it held, at the time of the loss.
//
// # Privacy
//
// A keyboard is opened only while at least one of its keys is bound, and then the
// kernel's event mask (EVIOCSMASK) keeps every other key, and all scan codes, from
// reaching this process at all. The mask does not cover the state query, nor what
// was queued before it was set: the queue is drained unread, and the answer to the
// query is cut down to the bound keys before anything looks at it. Without a
// kernel that masks (before 4.4), a keyboard is not read.
package evdev

import (
	"errors"
	"fmt"

	"github.com/rs/zerolog"

	"holdgap/capture"
)

// ErrUnsupported is what Run and Scan return on every system but Linux.
var ErrUnsupported = errors.New("evdev: kernel input is read on Linux only: on this system open the page /pad, or add /strip?play=1 as the browser source, and play from there")

// Options set up a Source. The zero value takes every readable pad, stick and
// button box of the machine and no keyboard.
type Options struct {
	// Paths are the devices to read ("/dev/input/event5", a link under
	// /dev/input/by-id, or a file or pipe of raw events of a 64-bit little-endian
	// kernel, the pipe with its writer there already); empty for every pad, stick and
	// button box, with hotplug.
	Paths []string
	// Root is the directory that holds dev and sys; empty means "/".
	Root string
	// Keys are the bound keys by name; only the keyboard's (key_…) matter here.
	Keys []string
	// IDs numbers the devices. Nil counts from 1.
	IDs capture.IDs
	// Log takes what happened to devices; never a key. Its zero value logs nothing.
	Log zerolog.Logger
	// Thresholds say when a stick or trigger counts as pressed.
	Thresholds Thresholds
}

// Thresholds say from which deflection on an axis counts as a pressed key, and
// below which it counts as released again. The gap between the two (hysteresis)
// keeps an axis that trembles at the threshold from chattering. Zero fields take
// the defaults.
type Thresholds struct {
	StickOn, StickOff     float64 // share of the way from the centre to the end, 0 … 1; 0.5 and 0.4
	TriggerOn, TriggerOff float64 // share of the whole travel, 0 … 1; 0.25 and 0.15
}

func (t Thresholds) withDefaults() Thresholds {
	fill := func(on, off *float64, defOn, defOff float64) {
		if *on == 0 {
			*on = defOn
		}
		if *off == 0 {
			*off = min(defOff, *on*0.8)
		}
	}
	fill(&t.StickOn, &t.StickOff, 0.5, 0.4)
	fill(&t.TriggerOn, &t.TriggerOff, 0.25, 0.15)
	return t
}

func (t Thresholds) check() error {
	for _, p := range []struct {
		name    string
		on, off float64
	}{{"stick", t.StickOn, t.StickOff}, {"trigger", t.TriggerOn, t.TriggerOff}} {
		if !(p.on > 0 && p.on <= 1 && p.off > 0 && p.off <= p.on) { // also refuses NaN
			return fmt.Errorf("evdev: %s thresholds on %v and off %v: write 0 < off ≤ on ≤ 1", p.name, p.on, p.off)
		}
	}
	return nil
}

// keySet is a set of EV_KEY codes.
type keySet [capture.KeyCodes / 64]uint64

func (s *keySet) has(code uint16) bool {
	return int(code) < capture.KeyCodes && s[code/64]>>(code%64)&1 != 0
}
func (s *keySet) add(code uint16) {
	if int(code) < capture.KeyCodes {
		s[code/64] |= 1 << (code % 64)
	}
}
func (s *keySet) drop(code uint16) {
	if int(code) < capture.KeyCodes {
		s[code/64] &^= 1 << (code % 64)
	}
}
func (s *keySet) empty() bool { return *s == keySet{} }

func (s keySet) and(o *keySet) keySet {
	for i := range s {
		s[i] &= o[i]
	}
	return s
}
func (s keySet) or(o *keySet) keySet {
	for i := range s {
		s[i] |= o[i]
	}
	return s
}

// boundKeys turns names into the set of the keyboard keys among them.
func boundKeys(names []string) (keySet, error) {
	var set keySet
	for _, n := range names {
		if err := capture.CheckKey(n); err != nil {
			return keySet{}, fmt.Errorf("evdev: bind keys: %w", err)
		}
		if code, ok := capture.KeyCode(n); ok && capture.IsKeyboardKey(n) {
			set.add(code)
		}
	}
	return set, nil
}

// buttonKeys is the set of the codes that are no keyboard's: BTN_ codes.
var buttonKeys = func() (s keySet) {
	for code := range uint16(capture.KeyCodes) {
		if n := capture.KeyName(code); n != "" && !capture.IsKeyboardKey(n) {
			s.add(code)
		}
	}
	return s
}()
