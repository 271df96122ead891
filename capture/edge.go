// Package capture says what an edge is and where edges come from.
//
// A [Source] (kernel, browser, performer, take) yields [Input]s: physical keys
// of devices going down and up, stamped in nanoseconds on the monotonic clock.
// A [Mapper] binds them to the player's buttons, cleans opposite directions and
// yields [Edge]s, which is all that the timing core ever sees and all that a
// take records. A Source only listens: it never grabs a device and never
// injects input.
package capture

import "context"

// Edge is one physical key of one button going down or up.
type Edge struct {
	At     int64 // ns on the monotonic clock
	Button uint8 // index into Layout.Buttons
	Key    uint8 // which of the button's physical keys, 0 … MaxKeys−1
	Down   bool
}

// Limits that fit an edge.
const (
	MaxButtons = 64 // buttons of a layout
	MaxKeys    = 64 // physical keys on one button, over all devices
)

// Input is one physical key of one device going down or up.
type Input struct {
	At     int64  // ns on the monotonic clock
	Device uint16 // the source's number for the device, unique among all sources
	Key    string // key name: see keys.go; an interned string, never built per event
	Down   bool
}

// Device describes an input device for people and for matching a profile.
type Device struct {
	ID       uint16 `json:"id"`
	Name     string `json:"name"`     // as the device reports it
	Source   string `json:"source"`   // "evdev", "page", "demo" or "take"
	Identity string `json:"identity"` // bus:vendor:product of an evdev device ("0003:0738:4716"), or the browser's id
	Path     string `json:"path,omitempty"`
	Keyboard bool   `json:"keyboard,omitempty"`
	// ReportMS is the measured report interval in ms; 0 while unknown.
	ReportMS float64 `json:"report_ms,omitempty"`
}

// Sink takes what sources yield. Its methods are safe for concurrent use and
// return at once; a Source may call them from any of its goroutines, but calls
// for one device come in the order of its events.
type Sink interface {
	// Input reports one key of a device.
	Input(Input)
	// Attach announces a device before its first input; calling it again for
	// the same ID updates the description.
	Attach(Device)
	// Detach says that the device is gone. Every key it held has been
	// reported up before (at the time of the loss).
	Detach(id uint16, at int64)
	// Warn reports a trouble that the user can mend, in one sentence with the
	// remedy; key identifies the trouble, and an empty text ends it.
	Warn(key, text string)
}

// Source yields inputs until its context ends.
type Source interface {
	// Run delivers to sink until ctx ends, then releases every goroutine and
	// descriptor it made before it returns. It returns nil when ctx ended, and
	// an error that names the action and the remedy when it cannot go on.
	Run(ctx context.Context, sink Sink) error
}

// IDs hands out device numbers that are unique among all sources of a program.
type IDs interface{ Next() uint16 }
