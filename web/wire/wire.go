// Package wire is what the program and its pages say to each other: JSON text
// messages over a WebSocket, version [Version].
//
// # To a viewer (/wire/view)
//
// Every message is an [Update]. The first one has whole set: it holds all that
// a page needs and replaces what the page knew. Later ones hold what changed.
// A press, a multi-press, a direction and an outcome each have an id; a message
// with a known id replaces that entry whole, so a page keeps maps from id to
// entry and applies messages in order of n. When a viewer falls behind, its
// queue is dropped and a whole update follows: nothing is silently lost.
//
// Frames are counted on the tool's grid from the zero of the monotonic clock.
// f is where that grid stands when the message is sent, with a fraction; a
// page keeps the greatest f − (its own clock in frames) of the last seconds as
// its offset, since delivery only ever delays. Lengths are in frames. Every
// number that a page shows was computed before it was sent.
//
// # From a pad (/wire/pad)
//
// These messages are those of package holdgap/capture/page, which documents them.
package wire

// Version is the version of the messages; a page that reads another asks for a reload.
const Version = 1

// Update is a message to a viewer.
type Update struct {
	V     int     `json:"v"`
	N     uint64  `json:"n"`               // sequence number of the stream, ascending by 1 unless Whole
	F     float64 `json:"f"`               // frames: where the grid stands now
	Whole bool    `json:"whole,omitempty"` // replaces all that was known

	Setup      *Setup      `json:"setup,omitempty"`      // settings in force
	Status     *Status     `json:"status,omitempty"`     // devices and troubles
	Presses    []Press     `json:"presses,omitempty"`    // by id
	Multis     []Multi     `json:"multis,omitempty"`     // by id
	Directions []Direction `json:"directions,omitempty"` // by id
	Outcomes   []Outcome   `json:"outcomes,omitempty"`   // by id
	Held       []Held      `json:"held,omitempty"`       // frames so far of what is down, at most once a frame
	Streak     *Streak     `json:"streak,omitempty"`
}

// Setup is what the pages must know to draw.
type Setup struct {
	Rate    string   `json:"rate"`               // as a fraction: "60", "60000/1001"
	FrameMS float64  `json:"frame_ms"`           // length of a frame, ms
	Read    string   `json:"read"`               // "sampled" or "latched"
	Phase   *float64 `json:"phase_ms,omitempty"` // ms; absent when unknown
	Window  int64    `json:"window"`             // frames
	Target  string   `json:"target,omitempty"`   // name of the target, if one is chosen
	Wanted  int      `json:"wanted"`             // button index the target wants, −1 for any
	Buttons []Button `json:"buttons"`

	Theme    string `json:"theme"`     // name of the theme, for strips whose address names none
	ThemeRev int    `json:"theme_rev"` // goes up when any theme file changes: fetch again
	// Strip holds options of the strip by their address parameters (see /options),
	// for strips whose address does not say otherwise.
	Strip map[string]string `json:"strip,omitempty"`
}

// Button is one button of the layout; its place in Setup.Buttons is its index.
type Button struct {
	Label string `json:"label"`
	Role  string `json:"role"` // "action", "up", "down", "left", "right"
	Keys  int    `json:"keys"` // how many physical keys are bound
}

// Status says what the tool listens to and what is wrong.
type Status struct {
	Demo     bool      `json:"demo"`   // the performer plays: say so on the strip
	Paused   bool      `json:"paused"` // hands off: nothing is shown or recorded
	Take     bool      `json:"take"`   // a take is being recorded
	Replay   bool      `json:"replay"` // a take is being played
	Devices  []Device  `json:"devices"`
	Troubles []Trouble `json:"troubles"`
}

// Device is an input device in use.
type Device struct {
	ID       int     `json:"id"`
	Name     string  `json:"name"`
	Source   string  `json:"source"`
	Identity string  `json:"identity,omitempty"`
	ReportMS float64 `json:"report_ms,omitempty"` // measured report interval, ms
}

// Trouble is something the user can mend; Text names the remedy.
type Trouble struct {
	Key  string `json:"key"`
	Text string `json:"text"`
}

// Press states.
const (
	Pending = "pending" // went down; no frame has read it yet
	Down    = "down"    // read, and still held
	Closed  = "up"      // let go
	Unseen  = "unseen"  // no frame saw it down
)

// Press is one hold as the game reads it.
type Press struct {
	ID       uint64  `json:"id"`
	Button   int     `json:"b"`
	State    string  `json:"state"`
	First    int64   `json:"first"`               // frame that reads the press
	Hold     int64   `json:"hold"`                // frames, so far while down
	HoldSure float64 `json:"hold_sure,omitempty"` // probability over the unknown phase that the game counts the same, 0–1; absent until let go
	Gap      int64   `json:"gap"`                 // up frames since the press before of this button; −1 when there is none near
	GapSure  float64 `json:"gap_sure,omitempty"`
	Merged   int     `json:"merged,omitempty"` // further physical presses inside this hold
	Keys     []int   `json:"keys"`             // which physical keys of the button made it, in order
	Bounce   bool    `json:"bounce,omitempty"` // the gap before is too short for fingers: perhaps switch bounce
}

// Verdicts of a multi-press.
const (
	Covered = "covered" // contiguous: one window, widened
	Holed   = "holed"   // uncovered starts between covered ones
	Mashed  = "mashed"  // more than five presses: no plan to judge
	Single  = "none"    // rules under which extra presses do not help
)

// Multi is a multi-press: presses of one button in quick succession.
type Multi struct {
	ID       uint64     `json:"id"`
	Button   int        `json:"b"`
	Presses  []uint64   `json:"presses"`  // ids, in order
	Spacings []int64    `json:"spacings"` // frames from press to press
	First    int64      `json:"first"`    // frame of its first press
	Verdict  string     `json:"verdict"`
	Window   int64      `json:"window"`          // frames it was judged against
	Covered  int64      `json:"covered"`         // number of starts covered
	Holes    [][2]int64 `json:"holes,omitempty"` // frames on the hem left open between brackets, first and last
	Spans    [][2]int64 `json:"spans,omitempty"` // frames on the hem under a bracket, first and last
	Sure     float64    `json:"sure"`            // probability of this verdict over the unknown phase, 0–1
	Flash    bool       `json:"flash,omitempty"` // flash now; never set in a whole update
	Words    string     `json:"words"`           // the verdict in a few words
}

// Direction is a stretch of frames with one direction.
type Direction struct {
	ID    uint64 `json:"id"`
	First int64  `json:"first"`
	Num   int    `json:"num"` // numpad notation, facing right: 5 neutral, 6 right, 8 up
}

// Outcome is the verdict of an attempt at an anchored target.
type Outcome struct {
	ID     uint64  `json:"id"`
	Kind   string  `json:"kind"`             // "waiting" until judged, then "hit", "early", "late", "straddled" or "nothing"
	Open   int64   `json:"open"`             // first frame of the window
	Close  int64   `json:"close"`            // last frame of the window
	Button int     `json:"b"`                // wanted button, −1 for any
	Press  int     `json:"press,omitempty"`  // which press hit, from 1
	Frames int64   `json:"frames,omitempty"` // by how many frames early or late
	Sure   float64 `json:"sure,omitempty"`   // probability over the unknown phase, 0–1
	Words  string  `json:"words,omitempty"`
	Flash  bool    `json:"flash,omitempty"`
}

// Held is the count so far of a press that is down: its id and frames.
type Held [2]uint64

// Streak is the run of hits and the last twenty outcomes, newest last.
type Streak struct {
	Run  int      `json:"run"`
	Best int      `json:"best"`
	Last []string `json:"last"` // "hit", "early", "late", "straddled", "nothing"
}
