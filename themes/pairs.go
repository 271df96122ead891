package themes

import (
	"fmt"

	"holdgap/overlay/colour"
)

// Pair is something drawn and what it is drawn on, to be told apart by
// luminance. Both are opaque colours "#rrggbb", so the scene behind the strip
// does not matter: text stands on a plate and marks have a casing of the halo
// colour.
type Pair struct {
	What string // what is drawn, and on what
	Text bool   // text; else a mark
	Fore string
	Back string
}

// Least is the least contrast that WCAG 2.2 asks for: 4.5 for text (success
// criterion 1.4.3; the allowance for large text is not used), 3 for a mark
// (1.4.11).
func (p Pair) Least() float64 {
	if p.Text {
		return 4.5
	}
	return 3
}

// Contrast is the contrast ratio of the pair (WCAG 2.2), 1 to 21.
func (p Pair) Contrast() float64 { return colour.Contrast(linear(p.Fore), linear(p.Back)) }

func linear(s string) colour.Linear {
	c, err := colour.Parse(s)
	if err != nil {
		panic(err) // colours are checked when a theme is read
	}
	return colour.Of(c)
}

// Pairs lists every pair of colours in which the strip draws text or a mark.
func (t Theme) Pairs() []Pair {
	c := t.Colour
	return []Pair{
		{"count of a gap, spacing or unsure hold, label or words on a plate", true, c.Text, c.Halo},
		{"count in a bead", true, c.BeadText, c.Bead},
		{"count in a bracket", true, c.WindowText, c.Window},
		{"count of a hole", true, c.Hole, c.Halo},
		{"direction digit", true, c.Direction, c.Halo},
		{"demo, paused, replay or a trouble", true, c.NoteText, c.Note},
		{"bead in its casing", false, c.Bead, c.Halo},
		{"thread in its casing", false, c.Thread, c.Halo},
		{"knot or peg in its casing", false, c.Mark, c.Halo},
		{"tick, hem or cut in its casing", false, c.Tick, c.Halo},
		{"direction arrow or held direction in its casing", false, c.Direction, c.Halo},
		{"bracket in its casing", false, c.Window, c.Halo},
		{"hole or miss in its casing", false, c.Hole, c.Halo},
		{"outline of a flash in its casing", false, c.Flash, c.Halo},
	}
}

// Shortfalls says in words which pairs of a theme have too little contrast.
func (t Theme) Shortfalls() []string {
	var all []string
	for _, p := range t.Pairs() {
		if c := p.Contrast(); c < p.Least() {
			all = append(all, fmt.Sprintf("%s: %s on %s has contrast %.2f; %g is needed to be read", p.What, p.Fore, p.Back, c, p.Least()))
		}
	}
	return all
}
