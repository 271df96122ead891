// Package export writes what a take holds, and what its analysis found, in the
// formats of other programs: tables (CSV, RFC 4180), JSON, WebVTT cues, ffmpeg
// chapters, and SMPTE timecode labels; and it reads tables of edges back.
//
// All of it is pure: structs in, bytes out; no clock, no file, no analysis.
//
// Units: times are ns (int64). Those of an [capture.Edge] are on the edges'
// clock. All others are counted from the export's zero, which the caller
// chooses: the beginning of the take, or of a video. Lengths are in frames.
//
// A label is written on one line, control characters in it as spaces. In tables
// a label that a spreadsheet would take for a formula (it begins with = + - @)
// gets an apostrophe in front, which reading takes away again.
package export

import "holdgap/overlay/frame"

// How the game read a press.
const (
	ReadSeen   = "seen"   // as a press
	ReadMerged = "merged" // as part of the hold before it: no frame saw the button up
	ReadUnseen = "unseen" // not at all: no frame saw the button down
)

// Press is one press of a button, physical and as the game read it.
type Press struct {
	Button  string      `json:"button"`            // label
	Multi   int         `json:"multi,omitempty"`   // its place in a multi-press, from 1; 0 if it is alone
	DownNS  int64       `json:"down_ns"`           // from the export's zero
	UpNS    int64       `json:"up_ns,omitempty"`   // from the export's zero; not if Held
	Held    bool        `json:"held,omitempty"`    // not yet let go when the take ended
	Read    string      `json:"read"`              // ReadSeen, ReadMerged or ReadUnseen
	Frame   frame.Frame `json:"frame"`             // first frame that saw it down
	Hold    frame.Frame `json:"hold,omitempty"`    // frames down; 0 if unseen or Held
	Gap     frame.Frame `json:"gap,omitempty"`     // frames up since the press before; 0 if there is none
	Spacing frame.Frame `json:"spacing,omitempty"` // frames from the press before; 0 if there is none
	// Sure is the probability, in (0, 1], that hold, gap and spacing are these,
	// the phase of the game's frames being unknown; 0 if it was not computed.
	Sure float64 `json:"sure,omitempty"`
}

// Outcome is what became of one try at a target.
type Outcome struct {
	AtNS     int64         `json:"at_ns"`              // first press, from the export's zero
	EndNS    int64         `json:"end_ns"`             // last frame that belongs to it, from the export's zero
	Target   string        `json:"target"`             // the target's name
	Result   string        `json:"result"`             // in a word, such as "linked", "early", "late", "hole"
	Hit      bool          `json:"hit"`                // a press counted
	Start    frame.Frame   `json:"start"`              // first press from the window's first frame; negative is early
	Presses  int           `json:"presses"`            // in the multi-press
	Spacings []frame.Frame `json:"spacings,omitempty"` // between them
	Counted  int           `json:"counted,omitempty"`  // which press counted, from 1; 0 if none
	Sure     float64       `json:"sure,omitempty"`     // probability in (0, 1]; 0 if not computed
}

// Cue is a text for a span of time. A mark is a cue of a second or so.
type Cue struct {
	StartNS, EndNS int64 // from the export's zero
	Text           string
}
