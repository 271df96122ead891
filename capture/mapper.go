package capture

import "fmt"

// Cleaning says what a game sees when opposite directions are held together.
type Cleaning uint8

const (
	// CleanNeutral: left and right together are neither, and so are up and down.
	CleanNeutral Cleaning = iota
	// CleanLast: the direction pressed last wins while both are held.
	CleanLast
	// CleanUp: up wins over down; left and right together are neither.
	CleanUp
	// CleanNone: opposites pass as they are.
	CleanNone
)

var cleaningWords = [...]string{"neutral", "last", "up", "none"}

// ParseCleaning reads "neutral", "last", "up" or "none".
func ParseCleaning(s string) (Cleaning, error) {
	for i, w := range cleaningWords {
		if w == s {
			return Cleaning(i), nil
		}
	}
	return 0, fmt.Errorf("opposite-direction cleaning %q is not known: write neutral, last, up or none", s)
}

// String returns the word that [ParseCleaning] reads.
func (c Cleaning) String() string { return cleaningWords[c%Cleaning(len(cleaningWords))] }

// MarshalText writes the cleaning's word.
func (c Cleaning) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// UnmarshalText reads the cleaning's word.
func (c *Cleaning) UnmarshalText(b []byte) error {
	v, err := ParseCleaning(string(b))
	if err == nil {
		*c = v
	}
	return err
}

// Mapper binds inputs to buttons and cleans opposite directions. It is a pure
// state machine: no clock, no I/O, one caller at a time. Make one with
// [NewMapper].
type Mapper struct {
	layout   Layout
	cleaning Cleaning
	bound    map[string]binding
	held     []heldKey // physical keys that are down, at most a few
	dirs     [4]dirState
	seq      uint64 // order of direction presses, for CleanLast
}

type binding struct{ button, key uint8 }

type heldKey struct {
	device uint16
	name   string
	button uint8
	slot   uint8
}

// dirState is one direction before and after cleaning.
type dirState struct {
	button int // index into the layout, −1 when there is none
	raw    int // physical keys that hold it
	at     uint64
	clean  bool
}

// NewMapper returns a mapper for a layout that passed [Layout.Check].
func NewMapper(l Layout, c Cleaning) *Mapper {
	m := &Mapper{layout: l, cleaning: c, bound: map[string]binding{}}
	for d := range m.dirs {
		m.dirs[d].button = -1
	}
	for i, b := range l.Buttons {
		for k, name := range b.Keys {
			m.bound[name] = binding{uint8(i), uint8(k)}
		}
		if b.Role != Action && m.dirs[b.Role-Up].button < 0 {
			m.dirs[b.Role-Up].button = i
		}
	}
	return m
}

// Layout returns the layout that the mapper binds to.
func (m *Mapper) Layout() Layout { return m.layout }

// Bound reports whether a key is bound to a button.
func (m *Mapper) Bound(key string) bool { _, ok := m.bound[key]; return ok }

// Map appends to dst the edges that an input makes: none for an unbound key or
// a repeated state, more than one where cleaning changes two directions at
// once. An edge of a direction has Key 0, since it is made by all its keys.
func (m *Mapper) Map(in Input, dst []Edge) []Edge {
	b, ok := m.bound[in.Key]
	if !ok {
		return dst
	}
	i := m.find(in.Device, in.Key)
	if in.Down == (i >= 0) {
		return dst
	}
	role := m.layout.Buttons[b.button].Role
	if in.Down {
		slot, ok := m.slot(b)
		if !ok {
			return dst
		}
		m.held = append(m.held, heldKey{in.Device, in.Key, b.button, slot})
		if role == Action {
			return append(dst, Edge{At: in.At, Button: b.button, Key: slot, Down: true})
		}
		m.seq++
		d := &m.dirs[role-Up]
		d.raw++
		d.at = m.seq
		return m.clean(in.At, dst)
	}
	h := m.held[i]
	m.held = append(m.held[:i], m.held[i+1:]...)
	if role == Action {
		return append(dst, Edge{At: in.At, Button: h.button, Key: h.slot, Down: false})
	}
	m.dirs[role-Up].raw--
	return m.clean(in.At, dst)
}

// ReleaseAll appends the edges that let go of everything at time at (ns), and
// forgets what was held.
func (m *Mapper) ReleaseAll(at int64, dst []Edge) []Edge {
	for len(m.held) > 0 {
		h := m.held[len(m.held)-1]
		dst = m.Map(Input{At: at, Device: h.device, Key: h.name}, dst)
	}
	return dst
}

func (m *Mapper) find(device uint16, name string) int {
	for i := range m.held {
		if m.held[i].device == device && m.held[i].name == name {
			return i
		}
	}
	return -1
}

// slot picks the number of a physical key within its button: its place in the
// binding, or the next free one while another device holds that place.
func (m *Mapper) slot(b binding) (uint8, bool) {
	var used uint64
	for _, h := range m.held {
		if h.button == b.button {
			used |= 1 << h.slot
		}
	}
	if used&(1<<b.key) == 0 {
		return b.key, true
	}
	for s := uint8(len(m.layout.Buttons[b.button].Keys)); s < MaxKeys; s++ {
		if used&(1<<s) == 0 {
			return s, true
		}
	}
	return 0, false
}

// clean recomputes the four directions and appends what changed, releases
// first so that no reader sees opposites in between.
func (m *Mapper) clean(at int64, dst []Edge) []Edge {
	u, d, l, r := &m.dirs[0], &m.dirs[1], &m.dirs[2], &m.dirs[3]
	var want [4]bool
	want[0], want[1] = m.pair(u, d, m.cleaning == CleanUp)
	want[2], want[3] = m.pair(l, r, false)
	for _, down := range [2]bool{false, true} {
		for i := range m.dirs {
			s := &m.dirs[i]
			if s.clean != want[i] && want[i] == down && s.button >= 0 {
				s.clean = down
				dst = append(dst, Edge{At: at, Button: uint8(s.button), Down: down})
			}
		}
	}
	return dst
}

func (m *Mapper) pair(a, b *dirState, aWins bool) (bool, bool) {
	x, y := a.raw > 0, b.raw > 0
	if !x || !y || m.cleaning == CleanNone {
		return x, y
	}
	switch {
	case aWins:
		return true, false
	case m.cleaning == CleanLast:
		return a.at > b.at, b.at > a.at
	}
	return false, false
}
