package odds

import (
	"cmp"
	"slices"

	"holdgap/overlay/frame"
	"holdgap/overlay/window"
)

// CoverOdds is one size of cover and its probability.
type CoverOdds struct {
	// Covered is the number of covered starts, in frames.
	Covered frame.Frame `json:"covered_frames"`
	// Holes is the number of holes between them.
	Holes int `json:"holes"`
	// Widens says that there is no hole and more is covered than by one press.
	Widens      bool    `json:"widens"`
	Probability float64 `json:"probability"`
}

// Covers returns the distribution of what the presses (of one button) cover in a
// window of win frames by the rules: the reading's presses with the holds that
// they read, as in [window.Evaluate], the most likely first. Errors are those of
// [Model.Patterns], [window.ValidateFrames] and [window.Rules.Validate].
func (m Model) Covers(presses []Press, win frame.Frame, rules window.Rules) ([]CoverOdds, error) {
	var w walk
	if err := m.prepare(&w, presses, win, rules); err != nil {
		return nil, err
	}
	var r reading
	var list []CoverOdds
	var sums []tally
	for w.next() {
		w.read(&r, m.Rule, presses)
		r.shift(r.start[0])
		c := window.Evaluate(win, rules, r.start[:r.n], r.hold[:r.n])
		o := CoverOdds{Covered: c.Size(), Holes: c.Holes(), Widens: c.Widens(win)}
		i := slices.Index(list, o)
		if i < 0 {
			i = len(list)
			list, sums = append(list, o), append(sums, tally{})
		}
		sums[i].add(&w)
	}
	for i := range list {
		list[i].Probability = sums[i].probability(&w)
	}
	slices.SortFunc(list, func(a, b CoverOdds) int {
		return cmp.Or(cmp.Compare(b.Probability, a.Probability), cmp.Compare(b.Covered, a.Covered), cmp.Compare(a.Holes, b.Holes))
	})
	return list, nil
}

// Covered returns the probability that the presses (of one button) cover a
// window of win frames: that the reading covers at least one start, has no hole,
// and, when more than one press was made, covers more starts than one press alone
// does, so that the extra presses widened the window. Presses that merge into one
// therefore do not cover it. Errors are those of [Model.Covers]. It allocates
// nothing unless it fails.
func (m Model) Covered(presses []Press, win frame.Frame, rules window.Rules) (float64, error) {
	var w walk
	if err := m.prepare(&w, presses, win, rules); err != nil {
		return 0, err
	}
	var r reading
	var sum tally
	for w.next() {
		w.read(&r, m.Rule, presses)
		r.shift(r.start[0])
		c := window.Evaluate(win, rules, r.start[:r.n], r.hold[:r.n])
		if c.Widens(win) || len(presses) == 1 && c.Contiguous() {
			sum.add(&w)
		}
	}
	return sum.probability(&w), nil
}

func (m *Model) prepare(w *walk, presses []Press, win frame.Frame, rules window.Rules) error {
	if err := m.check(presses); err != nil {
		return err
	}
	for i, p := range presses {
		if p.Button != presses[0].Button {
			return &PressError{i, "is of another button: a multi-press is of one button"}
		}
	}
	if err := window.ValidateFrames(win); err != nil {
		return err
	}
	if err := rules.Validate(); err != nil {
		return err
	}
	if !w.setup(m, presses) {
		return ErrTooMany
	}
	return nil
}

// OutcomeOdds is one outcome of an attempt and its probability.
type OutcomeOdds struct {
	window.Outcome
	Probability float64
}

// Outcomes appends to dst every outcome of an attempt with its probability, the
// most likely first. The window of win frames opens opens frames after the
// anchor's press; the anchor's edges lie on the same unknown grid as the presses.
// Presses may be of several buttons; those of the anchor's own button may read as
// one with it. An outcome's press number counts the presses that were read. Kind
// is window.NoPress where no press, or not even the anchor's, was read.
//
// The anchor must not go down after the first press, and presses may be empty.
// Errors are those of [Model.Covers]; a [*PressError] counts from the anchor, so
// that the first press is press 2. Nothing is allocated when dst has room.
func (m Model) Outcomes(dst []OutcomeOdds, anchor Press, opens frame.Frame, presses []Press, win frame.Frame, rules window.Rules) ([]OutcomeOdds, error) {
	if len(presses) > MaxPresses-1 {
		return dst, &PressError{-1, "an attempt has at most 15 presses after its anchor"}
	}
	var buf [MaxPresses]Press
	buf[0] = anchor
	all := buf[:1+copy(buf[1:], presses)]
	if err := m.check(all); err != nil {
		return dst, err
	}
	if err := window.ValidateFrames(win); err != nil {
		return dst, err
	}
	if err := rules.Validate(); err != nil {
		return dst, err
	}
	var w walk
	if !w.setup(&m, all) {
		return dst, ErrTooMany
	}
	var r reading
	base := len(dst)
	var counts [maxOutcomes]uint64 // exact lengths, added to the others in the end
	for w.next() {
		w.read(&r, m.Rule, all)
		o := r.judge(opens, win, rules)
		i := base
		for i < len(dst) && dst[i].Outcome != o {
			i++
		}
		if i == len(dst) {
			dst = append(dst, OutcomeOdds{Outcome: o})
		}
		if k := i - base; k < maxOutcomes {
			counts[k] += w.count
			dst[i].Probability += w.p
		} else {
			dst[i].Probability += w.probability()
		}
	}
	out := dst[base:]
	for i := range out {
		if i < maxOutcomes {
			t := tally{counts[i], out[i].Probability}
			out[i].Probability = t.probability(&w)
		}
	}
	slices.SortFunc(out, func(a, b OutcomeOdds) int {
		return cmp.Or(cmp.Compare(b.Probability, a.Probability), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Press, b.Press),
			cmp.Compare(a.Early, b.Early), cmp.Compare(a.Late, b.Late), cmp.Compare(a.Short, b.Short))
	})
	return dst, nil
}

// maxOutcomes is the number of different outcomes of one attempt whose
// probabilities are added up exactly; a press falls on a few frames only, so
// there are hardly ever more.
const maxOutcomes = 64

// judge judges the presses after the anchor, which is physical press 0.
func (r *reading) judge(opens, win frame.Frame, rules window.Rules) window.Outcome {
	a := r.of[0]
	if a < 0 {
		return window.Outcome{}
	}
	open := r.start[a] + opens
	var starts, holds [MaxPresses + 1]frame.Frame
	n := 0
	for i := range r.n {
		if i == a {
			continue
		}
		// In order of their starts: presses of different buttons need not be.
		f, k := r.start[i]-open, n
		for ; k > 0 && starts[k-1] > f; k-- {
			starts[k], holds[k] = starts[k-1], holds[k-1]
		}
		starts[k], holds[k] = f, r.hold[i]
		n++
	}
	return window.Judge(win, rules, starts[:n], holds[:n])
}

// HitProbability returns the probability of a hit among outcomes.
func HitProbability(list []OutcomeOdds) float64 {
	p := 0.0
	for _, o := range list {
		if o.Kind == window.Hit {
			p += o.Probability
		}
	}
	return min(p, 1)
}
