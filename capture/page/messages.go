package page

// MaxMessage is the greatest size of a message from a pad, in bytes.
const MaxMessage = 4096

// Ping asks a pad for its clock; S is the server's, in ms. It also tells the pad
// what the pings so far have shown.
type Ping struct {
	T   string  `json:"t"` // "ping"
	S   float64 `json:"s"`
	RTT float64 `json:"rtt_ms,omitempty"` // least round trip of the last half minute, ms
	Err float64 `json:"err_ms,omitempty"` // greatest error of an edge's time, ms
}

// Pong answers a Ping at once: S as it came, C the pad's clock in ms.
type Pong struct {
	T string  `json:"t"` // "pong"
	S float64 `json:"s"`
	C float64 `json:"c"`
}

// Bound tells a pad which keys are bound, so that it sends no other. It comes
// first on every connection, and again whenever the bindings change.
type Bound struct {
	T    string   `json:"t"` // "bound"
	Keys []string `json:"keys"`
	// Codes gives the KeyboardEvent.code of each bound keyboard key: {"KeyJ":"key_j"}.
	Codes map[string]string `json:"codes,omitempty"`
	// Learn asks for every key of gamepads (never of keyboards) while a button is
	// being bound by pressing.
	Learn bool `json:"learn,omitempty"`
	// FrameMS is the length of a frame in ms at the rate in force, for the page's words.
	FrameMS float64 `json:"frame_ms,omitempty"`
}

// Message is any message from a pad, told apart by T:
//
//	{"t":"attach","d":0,"name":"…","mapping":"standard","poll_ms":4}
//	{"t":"key","d":0,"k":"south","down":true,"c":1234.5}   c: the pad's clock, ms
//	{"t":"detach","d":0,"c":1300}                          releases all keys of d
//	{"t":"release","c":1300,"why":"blur"}                  releases every key
//	{"t":"pong","s":…,"c":…}
//
// A second attach of the same d updates its description. A field that is left
// out is zero, and fields that do not belong to a message may only be zero.
type Message struct {
	T       string  `json:"t"`
	D       int     `json:"d,omitempty"` // the pad's own number for the device, 0 … 15; the keyboard is 15
	K       string  `json:"k,omitempty"`
	Down    bool    `json:"down,omitempty"`
	C       float64 `json:"c,omitempty"`
	S       float64 `json:"s,omitempty"`
	Name    string  `json:"name,omitempty"`
	Mapping string  `json:"mapping,omitempty"`
	PollMS  float64 `json:"poll_ms,omitempty"`
	Why     string  `json:"why,omitempty"` // "blur", "hide" or "leave"
}
