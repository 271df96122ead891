package capture

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Role says what a button is for: an action, or one of the four directions.
type Role uint8

// The roles. Directions are cleaned of opposites and drawn on one thread.
const (
	Action Role = iota
	Up
	Down
	Left
	Right
)

var roleWords = [...]string{"action", "up", "down", "left", "right"}

// String returns the role's word.
func (r Role) String() string {
	if int(r) < len(roleWords) {
		return roleWords[r]
	}
	return fmt.Sprintf("role %d", r)
}

// MarshalText writes the role's word.
func (r Role) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText reads one of the words action, up, down, left, right.
func (r *Role) UnmarshalText(b []byte) error {
	for i, w := range roleWords {
		if w == string(b) {
			*r = Role(i)
			return nil
		}
	}
	return fmt.Errorf("button role %q is not known: write one of %s", b, strings.Join(roleWords[:], ", "))
}

// Button is a logical action: a label, and the physical keys of which any holds
// it down.
type Button struct {
	Label string   `json:"label" toml:"label"`
	Role  Role     `json:"role" toml:"role"`
	Keys  []string `json:"keys" toml:"keys"` // key names, see KeyName
}

// Layout is the player's buttons in the order in which they are shown.
type Layout struct {
	Buttons []Button `json:"buttons" toml:"buttons"`
}

// DefaultLayout binds every key that a pad, a stick or a button box commonly
// has, each to a button named by its position, and both the D-pad and the left
// stick to the directions. No keyboard key is bound.
func DefaultLayout() Layout {
	l := Layout{Buttons: []Button{
		{"up", Up, []string{"up", "stick_up"}},
		{"down", Down, []string{"down", "stick_down"}},
		{"left", Left, []string{"left", "stick_left"}},
		{"right", Right, []string{"right", "stick_right"}},
	}}
	for _, k := range []string{
		"west", "north", "tr", "tl", "south", "east", "tr2", "tl2",
		"c", "z", "select", "start", "mode", "thumbl", "thumbr",
		"trigger", "thumb", "thumb2", "top", "top2", "pinkie",
		"base", "base2", "base3", "base4", "base5", "base6",
	} {
		l.Buttons = append(l.Buttons, Button{k, Action, []string{k}})
	}
	for i := 0; i < 12; i++ {
		k := fmt.Sprintf("button%d", i)
		l.Buttons = append(l.Buttons, Button{k, Action, []string{k}})
	}
	return l
}

// Limits of a layout.
const maxLabel = 24

// Check reports the first thing wrong with the layout, quoting it.
func (l Layout) Check() error {
	if len(l.Buttons) == 0 {
		return fmt.Errorf("the layout has no buttons: add at least one")
	}
	if len(l.Buttons) > MaxButtons {
		return fmt.Errorf("the layout has %d buttons, more than %d: remove some", len(l.Buttons), MaxButtons)
	}
	labels := map[string]bool{}
	owner := map[string]string{}
	for i, b := range l.Buttons {
		switch {
		case strings.TrimSpace(b.Label) == "":
			return fmt.Errorf("button %d has no label: give it one", i+1)
		case utf8.RuneCountInString(b.Label) > maxLabel:
			return fmt.Errorf("button label %q is longer than %d characters: shorten it", b.Label, maxLabel)
		case labels[b.Label]:
			return fmt.Errorf("button label %q is used twice: give each button a label of its own", b.Label)
		case len(b.Keys) > MaxKeys:
			return fmt.Errorf("button %q has %d keys, more than %d: remove some", b.Label, len(b.Keys), MaxKeys)
		}
		labels[b.Label] = true
		for _, k := range b.Keys {
			if o, ok := owner[k]; ok {
				return fmt.Errorf("key %q is bound to both %q and %q: remove one", k, o, b.Label)
			}
			owner[k] = b.Label
		}
	}
	return nil
}

// Keys returns every bound key name, in layout order.
func (l Layout) Keys() []string {
	var keys []string
	for _, b := range l.Buttons {
		keys = append(keys, b.Keys...)
	}
	return keys
}

// Index returns the index of the button with this label, or −1.
func (l Layout) Index(label string) int {
	for i, b := range l.Buttons {
		if b.Label == label {
			return i
		}
	}
	return -1
}
