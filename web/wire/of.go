package wire

import (
	"holdgap/overlay/press"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
)

// NearGap is the widest gap that a page is told, in frames: a wider one is a
// pause, not part of a pattern.
const NearGap = 40

// OfPress returns a press as pages get it, with how sure its hold and gap are:
// see [session.Certainty].
func OfPress(p *press.Press, holdSure, gapSure float64) Press {
	w := Press{ID: p.ID, Button: int(p.Button), State: p.State.String(), First: int64(p.First), Hold: int64(p.Hold),
		HoldSure: holdSure, Gap: -1, Merged: int(p.Merged), Bounce: p.Bounce, Keys: []int{}}
	for _, k := range p.Order[:p.NOrder] {
		w.Keys = append(w.Keys, int(k))
	}
	if p.Gap != press.NoGap && p.Gap <= NearGap {
		w.Gap, w.GapSure = int64(p.Gap), gapSure
	}
	return w
}

// OfMulti returns a multi-press as pages get it, with how sure its verdict is.
func OfMulti(m *session.Multi, sure float64) Multi {
	w := Multi{ID: m.ID, Button: int(m.Button), First: int64(m.First), Window: int64(m.Window), Words: m.Words(),
		Verdict: m.Verdict.String()}
	for i := range m.Kept() {
		w.Presses = append(w.Presses, m.Presses[i])
		if i > 0 {
			w.Spacings = append(w.Spacings, int64(m.Offsets[i]-m.Offsets[i-1]))
		}
	}
	if m.Verdict == session.Unjudged || m.Verdict == session.Mashed {
		return w
	}
	w.Covered, w.Sure = int64(m.Cover.Size()), sure
	// A start is the frame of the first press counted from the window's first
	// frame, so a run of starts is a run of frames, the other way round, on which
	// the window may have opened.
	open := func(s window.Span) [2]int64 {
		return [2]int64{int64(m.First - s.Last), int64(m.First - s.First)}
	}
	for i := m.Cover.Runs() - 1; i >= 0; i-- {
		w.Spans = append(w.Spans, open(m.Cover.Run(i)))
	}
	for i := m.Cover.Holes() - 1; i >= 0; i-- {
		w.Holes = append(w.Holes, open(m.Cover.Hole(i)))
	}
	return w
}

// OfDirection returns a direction as pages get it.
func OfDirection(d session.Direction) Direction {
	return Direction{ID: d.ID, First: int64(d.First), Num: int(d.Num)}
}

// OfOutcome returns an attempt as pages get it, with how sure its outcome is.
func OfOutcome(o *session.Outcome, sure float64) Outcome {
	w := Outcome{ID: o.ID, Kind: "waiting", Open: int64(o.Open), Close: int64(o.Close()), Button: o.Button}
	if !o.Judged {
		return w
	}
	r := o.Result
	w.Kind, w.Press, w.Words, w.Sure = r.Kind.String(), r.Press, r.String(), sure
	w.Frames = int64(max(r.Early, r.Late, r.Short))
	if r.Kind == window.NoPress {
		w.Kind = "nothing"
	}
	return w
}

// OfStreak returns a streak as pages get it.
func OfStreak(s session.Streak) *Streak {
	w := &Streak{Run: s.Run, Best: s.Best, Last: []string{}}
	for _, k := range s.Last[:s.N] {
		w.Last = append(w.Last, k.String())
	}
	return w
}
