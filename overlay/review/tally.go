package review

import (
	"holdgap/overlay/frame"
	"holdgap/overlay/press"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
)

// tally takes what the session reports. A press is final when the next one of its
// button begins: until then a physical press may yet be merged into it.
type tally struct {
	buttons   []button
	patterns  map[patternKey]*Pattern
	more      int64
	verdicts  [session.Mashed + 1]int64
	outcomes  [window.Unheld + 1]int64
	waiting   bool
	trend     trend
	seg       *Segment
	press     uint64 // greatest id
	multi     uint64
	direction uint64
	outcome   uint64
}

// button is what one button did so far.
type button struct {
	// The newest press.
	id                   uint64
	state                press.State
	bounceNow            bool
	mergedNow            uint16
	holdNow, gapNow      int64 // frames
	spacingNow           int64
	down, up, last, prev int64 // ns; prev: when the press before went down

	multi  session.Multi
	chains bool // multi is a multi-press that was not counted yet

	presses, unseen, merged, bounce int64
	hold, gap, spacing, quick       *dist
}

func (t *tally) tries() (n int64) {
	for k := window.Hit; k <= window.Unheld; k++ {
		n += t.outcomes[k]
	}
	return n
}

// Press takes a press, new or changed.
func (t *tally) Press(p *press.Press) {
	b := &t.buttons[p.Button]
	if p.ID != b.id {
		if p.ID > t.press {
			t.press = p.ID
		}
		if p.State == press.Unseen {
			// It came apart from the hold before it, which is still the newest.
			b.unseen++
			t.trend.at(p.DownNS).Unseen++
			return
		}
		t.finishPress(int(p.Button))
		b.id = p.ID
		t.seg.Buttons |= 1 << p.Button
	}
	b.state = p.State
	if p.State == press.Closed || p.State == press.Unseen {
		b.bounceNow, b.mergedNow = p.Bounce, p.Merged
		b.holdNow, b.gapNow, b.spacingNow = int64(p.Hold), int64(p.Gap), int64(p.Spacing)
		b.down, b.up, b.last = p.DownNS, p.UpNS, p.LastNS
		return
	}
	if p.State == press.Down { // enough for one that never ends
		b.bounceNow, b.mergedNow = p.Bounce, p.Merged
		b.gapNow, b.spacingNow = int64(p.Gap), int64(p.Spacing)
		b.down, b.last = p.DownNS, p.LastNS
	}
}

// finishPress counts the newest press of a button.
func (t *tally) finishPress(i int) {
	b := &t.buttons[i]
	if b.id == 0 {
		return
	}
	b.id = 0
	switch b.state {
	case press.Pending: // the take ended before a frame could read it
		return
	case press.Unseen:
		b.unseen++
		b.merged += int64(b.mergedNow)
		t.trend.at(b.down).Unseen++
		return
	}
	if b.presses++; b.hold == nil {
		b.hold, b.gap, b.spacing, b.quick = new(dist), new(dist), new(dist), new(dist)
	}
	t.trend.at(b.down).Presses++
	b.merged += int64(b.mergedNow)
	if b.bounceNow {
		b.bounce++
	}
	if b.state == press.Closed {
		b.hold.add(frameOf(b.holdNow), b.up-b.down)
	}
	if b.gapNow >= 0 {
		b.gap.add(frameOf(b.gapNow), b.down-b.last)
		b.spacing.add(frameOf(b.spacingNow), b.down-b.prev)
	}
	b.prev = b.down
}

// Multi takes a multi-press, new or changed; the last report of an id counts.
func (t *tally) Multi(m *session.Multi) {
	b := &t.buttons[m.Button]
	if b.chains && b.multi.ID != m.ID {
		t.finishMulti(int(m.Button))
	}
	b.multi, b.chains = *m, true
	t.multi = max(t.multi, m.ID)
	t.seg.Verdicts |= 1 << m.Verdict
}

func (t *tally) finishMulti(i int) {
	b := &t.buttons[i]
	if !b.chains {
		return
	}
	b.chains = false
	m := &b.multi
	key := patternKey{button: m.Button, n: uint8(min(m.N, session.MaxMulti+1)), verdict: m.Verdict}
	for j := 1; j < m.Kept(); j++ {
		key.spacings[j-1] = uint8(min(m.Offsets[j]-m.Offsets[j-1], 255))
		if h := m.Holds[j-1]; h > 0 && b.quick != nil {
			b.quick.add(m.Offsets[j]-m.Offsets[j-1]-h, m.Times[j][0]-m.Times[j-1][1])
		}
	}
	if m.Verdict != session.Unjudged {
		t.verdicts[m.Verdict]++
		s := t.trend.at(m.Times[0][0])
		s.Multis++
		if m.Verdict == session.Covered {
			s.Covered++
		}
	}
	p := t.patterns[key]
	if p == nil {
		if len(t.patterns) == MaxPatterns {
			t.more++
			return
		}
		p = newPattern(m)
		t.patterns[key] = p
	}
	p.Count++
}

// Direction takes a direction.
func (t *tally) Direction(d session.Direction) { t.direction = max(t.direction, d.ID) }

// Outcome takes an attempt.
func (t *tally) Outcome(o *session.Outcome) {
	t.outcome = max(t.outcome, o.ID)
	t.waiting = !o.Judged
	if !o.Judged {
		return
	}
	k := o.Result.Kind
	t.outcomes[k]++
	t.seg.Kinds |= 1 << k
	if k == window.NoPress {
		return
	}
	s := t.trend.at(o.Down)
	s.Tries++
	if k == window.Hit {
		s.Hits++
	}
}

func frameOf(k int64) frame.Frame { return frame.Frame(k) }

// newPattern returns the pattern of a multi-press, not counted yet.
func newPattern(m *session.Multi) *Pattern {
	p := &Pattern{Button: int(m.Button), Presses: m.N, Spacings: []frame.Frame{}, Verdict: m.Verdict.String(), FirstNS: m.Times[0][0]}
	for j := 1; j < m.Kept(); j++ {
		p.Spacings = append(p.Spacings, m.Offsets[j]-m.Offsets[j-1])
	}
	if m.Verdict != session.Unjudged && m.Verdict != session.Mashed {
		p.Covered = m.Cover.Size()
	}
	return p
}
