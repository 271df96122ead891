package takes

import (
	"context"
	"fmt"
	"slices"

	"holdgap/overlay/frame"
	"holdgap/overlay/press"
	"holdgap/overlay/review"
	"holdgap/overlay/session"
	"holdgap/web/wire"
)

const (
	// MaxViewFrames is the widest part of a take that one view shows.
	MaxViewFrames = 6000
	// maxViewEntries bounds the entries of each kind in a view.
	maxViewEntries = 4000
)

// View returns what happened in the frames from a to b as a page gets it live: the
// same entries under the same ids. Windows of a target that reach into them come
// along.
func (j *Judged) View(ctx context.Context, a, b frame.Frame) (*wire.Update, error) {
	if b < a || b-a > MaxViewFrames {
		return nil, fmt.Errorf("frames %d to %d: ask for 0 to %d frames at a time", a, b, MaxViewFrames)
	}
	clock := j.Setup.Clock()
	a, b = j.near(a), j.near(b)
	g := j.Review.Segment(clock.Poll(a - review.QuietFrames - session.LagFrames))
	v := &viewTaker{g: g, a: a, b: b, u: wire.Update{V: wire.Version, Whole: true, F: float64(b), Setup: wireSetup(j)}}
	// What a press came to may only be known a while after it.
	end := clock.Poll(b + frame.Frame(j.Setup.Target.Opening) + j.Setup.Target.Window + session.LagFrames + session.LeadFrames)
	seen := 0
	err := j.Log(ctx, g, v, func(at int64) bool {
		if seen++; seen%64 == 0 && ctx.Err() != nil {
			return true
		}
		return at > end && v.past
	})
	if err != nil {
		return nil, err
	}
	v.u.Status = &wire.Status{Devices: []wire.Device{}, Troubles: []wire.Trouble{}}
	if v.direction.ID > 0 { // the one in force where the view begins
		v.u.Directions = slices.Insert(v.u.Directions, 0, v.direction)
	}
	return &v.u, ctx.Err()
}

// near returns the frame, or one just outside the take if it is further off: a page
// may ask for any, and no clock counts that far.
func (j *Judged) near(k frame.Frame) frame.Frame {
	c := j.Setup.Clock()
	return min(max(k, c.At(j.Zero())-MaxViewFrames), c.At(j.End())+MaxViewFrames)
}

func wireSetup(j *Judged) *wire.Setup {
	s := &j.Setup
	w := &wire.Setup{Rate: s.Rate.String(), FrameMS: s.Rate.FrameNS() / 1e6, Read: s.Rule.String(),
		Window: int64(s.Target.Window), Target: s.Target.Name, Wanted: s.Target.Wanted, Buttons: []wire.Button{}}
	if s.Phase != nil {
		ms := float64(*s.Phase) / 1e6
		w.Phase = &ms
	}
	for _, b := range s.Layout.Buttons {
		w.Buttons = append(w.Buttons, wire.Button{Label: b.Label, Role: b.Role.String(), Keys: len(b.Keys)})
	}
	return w
}

// viewTaker keeps what reaches into the frames from a to b.
type viewTaker struct {
	g         review.Segment
	a, b      frame.Frame
	u         wire.Update
	direction wire.Direction // the newest before a
	past      bool           // a press beyond b was final
}

func (v *viewTaker) Row(r *review.Row) {
	if r.First > v.b {
		v.past = true
		return
	}
	if r.First+max(r.Hold, 1) < v.a && r.State != press.Down || len(v.u.Presses) >= maxViewEntries {
		return
	}
	w := wire.OfPress(&r.Press, r.HoldSure, r.GapSure)
	w.ID += v.g.Presses
	if r.State == press.Down {
		w.Hold = int64(max(v.b-r.First+1, 0))
	}
	v.u.Presses = append(v.u.Presses, w)
}

func (v *viewTaker) Multi(m *session.Multi, sure float64) {
	last := m.First + m.Offsets[m.Kept()-1]
	if m.First > v.b || last+m.Window+session.LagFrames < v.a || len(v.u.Multis) >= maxViewEntries {
		return
	}
	w := wire.OfMulti(m, sure)
	w.ID += v.g.Multis
	for i := range w.Presses {
		w.Presses[i] += v.g.Presses
	}
	v.u.Multis = append(v.u.Multis, w)
}

func (v *viewTaker) Direction(d session.Direction) {
	w := wire.OfDirection(d)
	w.ID += v.g.Directions
	switch {
	case d.First < v.a:
		v.direction = w
	case d.First <= v.b && len(v.u.Directions) < maxViewEntries:
		v.u.Directions = append(v.u.Directions, w)
	}
}

func (v *viewTaker) Outcome(o *session.Outcome, sure float64) {
	if o.Open > v.b+session.LeadFrames || o.Close()+session.LagFrames < v.a || len(v.u.Outcomes) >= maxViewEntries {
		return
	}
	w := wire.OfOutcome(o, sure)
	w.ID += v.g.Outcomes
	v.u.Outcomes = append(v.u.Outcomes, w)
}
