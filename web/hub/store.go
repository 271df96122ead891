package hub

import (
	"slices"

	"holdgap/web/wire"
)

// How much a joining page is told: enough to fill the widest strip.
const (
	keepPresses    = 512
	keepMultis     = 128
	keepDirections = 256
	keepOutcomes   = 64
)

// Store holds what a page that joins in the middle must know. It is the sum of
// the updates so far, with the oldest entries forgotten. It is a plain value
// with no lock.
type Store struct {
	setup      *wire.Setup
	status     *wire.Status
	streak     *wire.Streak
	presses    []wire.Press
	multis     []wire.Multi
	directions []wire.Direction
	outcomes   []wire.Outcome
	held       []wire.Held
}

// Apply adds an update. A whole one replaces everything.
func (s *Store) Apply(u *wire.Update) {
	if u.Whole {
		*s = Store{}
	}
	if u.Setup != nil {
		s.setup = u.Setup
	}
	if u.Status != nil {
		s.status = u.Status
	}
	if u.Streak != nil {
		s.streak = u.Streak
	}
	for _, p := range u.Presses {
		if p.State != wire.Down {
			// The count so far of a press that was let go would belie its hold.
			s.held = slices.DeleteFunc(s.held, func(h wire.Held) bool { return h[0] == p.ID })
		}
		s.presses = put(s.presses, p, keepPresses, func(p wire.Press) uint64 { return p.ID })
	}
	if u.Held != nil {
		s.held = slices.Clone(u.Held)
	}
	for _, m := range u.Multis {
		m.Flash = false
		s.multis = put(s.multis, m, keepMultis, func(m wire.Multi) uint64 { return m.ID })
	}
	for _, d := range u.Directions {
		s.directions = put(s.directions, d, keepDirections, func(d wire.Direction) uint64 { return d.ID })
	}
	for _, o := range u.Outcomes {
		o.Flash = false
		s.outcomes = put(s.outcomes, o, keepOutcomes, func(o wire.Outcome) uint64 { return o.ID })
	}
}

// Whole returns an update that tells all. It shares nothing with the store that
// later changes.
func (s *Store) Whole() wire.Update {
	return wire.Update{
		V: wire.Version, Whole: true,
		Setup: s.setup, Status: s.status, Streak: s.streak,
		Presses:    append([]wire.Press(nil), s.presses...),
		Multis:     append([]wire.Multi(nil), s.multis...),
		Directions: append([]wire.Direction(nil), s.directions...),
		Outcomes:   append([]wire.Outcome(nil), s.outcomes...),
		Held:       append([]wire.Held(nil), s.held...),
	}
}

// put replaces the entry with the same id, or adds one and forgets the oldest.
// Changes are nearly always to the newest entries, so it looks from the end.
func put[T any](list []T, v T, keep int, id func(T) uint64) []T {
	for i := len(list) - 1; i >= 0; i-- {
		if id(list[i]) == id(v) {
			list[i] = v
			return list
		}
		if id(list[i]) < id(v) {
			break
		}
	}
	if len(list) >= keep {
		copy(list, list[1:])
		list = list[:len(list)-1]
	}
	return append(list, v)
}
