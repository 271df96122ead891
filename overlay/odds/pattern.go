package odds

import (
	"cmp"
	"slices"

	"holdgap/overlay/frame"
	"holdgap/overlay/window"
)

// Pattern is one way in which presses of one button read.
type Pattern struct {
	// Offsets are the frames of the presses that the game reads, counted from the
	// first of them.
	Offsets []frame.Frame `json:"offsets"`
	// Holds are their lengths in frames; [window.Held] for one still down.
	Holds []frame.Frame `json:"holds"`
	// Gaps are the frames up between neighbouring ones.
	Gaps []frame.Frame `json:"gaps"`
	// Unseen counts the physical presses that no frame saw down.
	Unseen int `json:"unseen"`
	// Merged counts the physical presses that were read as going on with an
	// earlier one, since no frame saw the button up in between.
	Merged int `json:"merged"`
	// Probability is between 0 and 1.
	Probability float64 `json:"probability"`
}

// reading is what the game makes of one combination of frames.
type reading struct {
	n              int
	start, hold    [MaxPresses + 1]frame.Frame
	button         [MaxPresses + 1]uint8
	of             [MaxPresses + 1]int // index of the reading of each physical press, −1 when unseen
	unseen, merged int
}

// setup adds every edge of the presses to the walk: edge 2i is press i's down,
// edge 2i+1 its up. A press that is still down has its down edge twice.
func (w *walk) setup(m *Model, presses []Press) bool {
	w.begin(m)
	base := presses[0].Down
	if m.Fixed {
		base = m.Clock.Phase()
	}
	for i, p := range presses {
		before := p.Down - m.Report
		for j := i - 1; j >= 0; j-- {
			if presses[j].Button == p.Button {
				before = max(before, presses[j].Up)
				break
			}
		}
		w.add(m, p.Down-base, p.Down-before)
		if p.Up == Open {
			w.add(m, p.Down-base, 0)
		} else {
			w.add(m, p.Up-base, p.Up-max(p.Up-m.Report, p.Down))
		}
	}
	return w.start()
}

// read fills r with the reading of the walk's current step.
func (w *walk) read(r *reading, rule frame.ReadRule, presses []Press) {
	r.n, r.unseen, r.merged = 0, 0, 0
	for i := range presses {
		first, end := w.frame(2*i), w.frame(2*i+1)
		switch {
		case presses[i].Up == Open:
			end = first + window.Held
		case rule == frame.Latched:
			end++
		}
		r.of[i] = -1
		if end <= first {
			r.unseen++
			continue
		}
		k := r.n - 1
		for k >= 0 && r.button[k] != presses[i].Button {
			k--
		}
		if k >= 0 && r.start[k]+r.hold[k] >= first {
			// No frame saw the button up: it is read as one hold.
			r.hold[k] = end - r.start[k]
			if presses[i].Up == Open {
				r.hold[k] = window.Held
			}
			r.of[i] = k
			r.merged++
			continue
		}
		r.start[r.n], r.hold[r.n], r.button[r.n], r.of[i] = first, end-first, presses[i].Button, r.n
		r.n++
	}
}

// shift moves the starts so that zero lies at frame at.
func (r *reading) shift(at frame.Frame) {
	for i := range r.n {
		r.start[i] -= at
	}
}

// same reports whether the reading (its first start at 0) is the pattern.
func (r *reading) same(p *Pattern) bool {
	return r.unseen == p.Unseen && r.merged == p.Merged &&
		slices.Equal(r.start[:r.n], p.Offsets) && slices.Equal(r.hold[:r.n], p.Holds)
}

// hash returns a number that is the same for readings that are the same.
func (r *reading) hash() uint64 {
	h := uint64(r.n)<<16 | uint64(r.unseen)<<8 | uint64(r.merged)
	for i := range r.n {
		h = (h ^ uint64(r.start[i])) * 0x9e3779b97f4a7c15
		h = (h ^ h>>29 ^ uint64(r.hold[i])) * 0xbf58476d1ce4e5b9
	}
	return h ^ h>>31
}

// patterns is a list of different patterns that finds one by its hash.
type patterns struct {
	list   []Pattern
	sums   []tally
	hashes []uint64
	slots  []int32       // 1 + index into list, 0 is free; the length is a power of two
	room   []frame.Frame // for the patterns' slices
}

// find returns the index of the reading (its first start at 0), which it adds if
// it is new.
func (t *patterns) find(r *reading) int {
	h := r.hash()
	mask := uint64(len(t.slots) - 1)
	i := h & mask
	for ; t.slots[i] != 0; i = (i + 1) & mask {
		if k := t.slots[i] - 1; t.hashes[k] == h && r.same(&t.list[k]) {
			return int(k)
		}
	}
	t.list, t.sums, t.hashes = append(t.list, t.copy(r)), append(t.sums, tally{}), append(t.hashes, h)
	t.slots[i] = int32(len(t.list))
	if 2*len(t.list) > len(t.slots) {
		t.slots = make([]int32, 4*len(t.slots))
		mask = uint64(len(t.slots) - 1)
		for k, h := range t.hashes {
			i := h & mask
			for t.slots[i] != 0 {
				i = (i + 1) & mask
			}
			t.slots[i] = int32(k + 1)
		}
	}
	return len(t.list) - 1
}

// copy returns the reading as a pattern with slices of its own.
func (t *patterns) copy(r *reading) Pattern {
	n := r.n
	need := 2*n + max(n-1, 0)
	if t.room == nil || len(t.room) < need {
		t.room = make([]frame.Frame, max(need, 64*min(len(t.list)+1, 16)))
	}
	all := t.room[:need:need]
	t.room = t.room[need:]
	p := Pattern{Offsets: all[:n:n], Holds: all[n : 2*n : 2*n], Gaps: all[2*n:], Unseen: r.unseen, Merged: r.merged}
	copy(p.Offsets, r.start[:n])
	copy(p.Holds, r.hold[:n])
	for i := range p.Gaps {
		p.Gaps[i] = r.start[i+1] - r.start[i] - r.hold[i]
	}
	return p
}

// tally adds up probabilities: whole pieces exactly, the rest as floats.
type tally struct {
	count uint64
	p     float64
}

func (t *tally) add(w *walk) {
	t.count += w.count
	t.p += w.p
}

func (t *tally) probability(w *walk) float64 {
	switch {
	case w.fixed && t.count > 0:
		return 1
	case w.fixed:
		return min(t.p, 1)
	}
	return min(float64(t.count)/float64(w.unit)+t.p, 1)
}

// Patterns returns every way in which presses of one button read, with its
// probability, the most likely first; the probabilities sum to 1 up to rounding.
// Readings that agree in all but which press was unseen or merged are one
// pattern.
//
// It returns the error of [Model.Validate] or [ValidatePresses], a
// [*PressError] for presses of different buttons, or [ErrTooMany].
func (m Model) Patterns(presses []Press) ([]Pattern, error) {
	if err := m.check(presses); err != nil {
		return nil, err
	}
	for i, p := range presses {
		if p.Button != presses[0].Button {
			return nil, &PressError{i, "is of another button: a pattern is of one button"}
		}
	}
	var w walk
	if !w.setup(&m, presses) {
		return nil, ErrTooMany
	}
	var r reading
	var slots [64]int32
	t := patterns{list: make([]Pattern, 0, 8), sums: make([]tally, 0, 8), hashes: make([]uint64, 0, 8), slots: slots[:]}
	for w.next() {
		w.read(&r, m.Rule, presses)
		r.shift(r.start[0])
		i := t.find(&r)
		t.sums[i].add(&w)
	}
	list := t.list
	for i := range list {
		list[i].Probability = t.sums[i].probability(&w)
	}
	slices.SortFunc(list, func(a, b Pattern) int {
		return cmp.Or(cmp.Compare(b.Probability, a.Probability), cmp.Compare(a.Unseen, b.Unseen), cmp.Compare(a.Merged, b.Merged),
			slices.Compare(a.Offsets, b.Offsets), slices.Compare(a.Holds, b.Holds))
	})
	return list, nil
}

// Reading returns the one way in which presses of one button read at the clock's
// phase, taking the stamps as they are (Fixed and Report are not looked at). Its
// probability is 1. Errors are those of [Model.Patterns].
func (m Model) Reading(presses []Press) (Pattern, error) {
	m.Fixed, m.Report = true, 0
	list, err := m.Patterns(presses)
	if err != nil {
		return Pattern{}, err
	}
	return list[0], nil
}

func (m *Model) check(presses []Press) error {
	if err := m.Validate(); err != nil {
		return err
	}
	return ValidatePresses(presses)
}
