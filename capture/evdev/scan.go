package evdev

// Info is one input device in the list of Scan.
type Info struct {
	Path     string `json:"path"`     // the node, such as /dev/input/event5
	Name     string `json:"name"`     // as the device reports it
	Kind     Kind   `json:"kind"`     // what it is
	Identity string `json:"identity"` // bus:vendor:product in hexadecimal
	Phys     string `json:"phys,omitempty"`
	Readable bool   `json:"readable"`         // whether this user may open it
	Remedy   string `json:"remedy,omitempty"` // how to become able to, if not
	Note     string `json:"note,omitempty"`   // what else to know, for a keyboard or a device that is not used
	// ReportMS is the measured report interval in ms; 0 while unknown.
	ReportMS float64 `json:"report_ms,omitempty"`
	// Presses counts the keys that went down while the device was watched.
	Presses int `json:"presses,omitempty"`
}

// Plays tells whether the device is read without being asked for.
func (i Info) Plays() bool { return i.Kind.plays() }

// note says how devices of the kind are used, if not as a matter of course.
func (k Kind) note() string {
	switch k {
	case Pad, Stick, Box:
		return ""
	case Keyboard:
		return "not opened unless keys of it are bound by name (key_j …), and then only those keys are read"
	default:
		return "not used"
	}
}
