package performer

import (
	"math"
	"slices"
)

// What the performer's hands can do. Spreads are standard deviations in ms.
//
// Sources:
//   - Single-hand tapping tops out at 5–7 a second, the fastest drummer known
//     at 10 (Fujii and others 2009, abstract).
//   - Within-person spread of tapping grows with the interval: 36.1 ms at
//     600 ms, 65.1 at 1200, 213.1 at 3000, that is 6.0, 5.4 and 7.1 % of it
//     (computed from the data of Bååth & Madison 2012).
//   - One finger mashing gives holds of 2–4 frames, two fingers 1–2; a practised
//     player gets the perfect double press about half of the time and one spare
//     frame otherwise; fingers run from the outside in, index last (common
//     practice, no source).
//   - How long an ordinary press, a motion's step and a walk are held: plausible
//     values from memory, no source.
const (
	intervalSpread = 0.055 // of the interval from the starter's press to the aim
	earlyBias      = -6.0  // ms: tappers are early; the size is of our own making

	rollHold, rollHoldSD = 20.0, 4.0 // presses of a multi-press but the last: 2.4 frames apart,
	rollGap, rollGapSD   = 20.5, 4.5 // which a 60 Hz game reads as 2 or 3
	lastHold, lastHoldSD = 75.0, 22.0
	tapHold, tapHoldSD   = 70.0, 18.0

	slowTap, fastTap     = 5.0, 7.0  // one finger, presses a second
	tapJitter            = 0.08      // of the interval
	mashHold, mashHoldSD = 50.0, 9.0 // one finger: 2–4 frames
	slowTrill, fastTrill = 10.0, 13.0
	trillHold, trillSD   = 26.0, 6.0 // two fingers: 1–2 frames
	fatigue              = 0.03      // of the rate lost in each second of mashing

	minGap = 500 * us // no switch opens and closes faster

	shortBreath, longBreath = 450 * ms, 1300 * ms
	firstStint              = 15 * second
	shortStint, longStint   = 18 * second, 32 * second
	shortRest, longRest     = 3 * second, 7 * second
)

// link plays the starter, then n presses of the wanted button, aimed so that the
// starts they cover lie around the hand's own spread.
func (s *Script) link(l Link, n int) {
	at := s.starter(l)
	const spacing = rollHold + rollGap
	at = s.aim(at, l, float64(n-1)*spacing)
	for i := range n {
		if i == n-1 {
			s.key(s.opts.Device, l.To.Key, at, s.spread(lastHold, lastHoldSD, 25))
			return
		}
		at = s.key(s.opts.Device, l.To.Key, at, s.spread(rollHold, rollHoldSD, 3))
		at += s.spread(rollGap, rollGapSD, 6.5)
	}
}

// aim returns when the first of presses that stretch over wide ms goes down: in
// the middle of the starts they cover, but for bias and spread.
func (s *Script) aim(starter int64, l Link, wide float64) int64 {
	mean := float64(l.Opening)*frameMS + (float64(l.Window())*frameMS-wide)/2
	return starter + s.spread(mean+earlyBias, mean*intervalSpread, 60)
}

// starter presses the first move of a link, its direction held around it, and
// returns when its button went down.
func (s *Script) starter(l Link) int64 {
	at := s.t
	if l.From.Motion == "2" {
		at += s.spread(70, 20, 10)
		s.key(s.opts.Device, "down", s.t, at-s.t+s.spread(110, 30, 20))
	}
	s.key(s.opts.Device, l.From.Key, at, s.spread(tapHold, tapHoldSD, 20))
	return at
}

// alternate is a multi-press on two keys of one button, a finger on each. Now
// and then the second finger comes down before the first is up, and the game
// reads one hold.
func (s *Script) alternate(l Link) {
	const spacing = 36.0
	at := s.aim(s.starter(l), l, spacing)
	n := 2 + s.rng.IntN(2)
	for i := range n {
		hold := s.spread(19, 5, 3)
		if i == n-1 {
			hold = s.spread(lastHold, lastHoldSD, 25)
		}
		s.key(s.finger(i), l.To.Key, at, hold)
		at += s.spread(spacing, 6, 8)
	}
}

// mash presses one button for a while, at a falling rate of presses a second.
func (s *Script) mash(rate, seconds, hold, holdSD, jitter float64, fingers int) {
	at, start := s.t, s.t
	for i := 0; at-start < int64(seconds*float64(second)); i++ {
		s.key(s.finger(i%fingers), LongShuttle.Key, at, s.spread(hold, holdSD, 12))
		tired := math.Pow(1-fatigue, float64(at-start)/float64(second))
		every := 1000 / (rate * tired)
		at += s.spread(every, every*jitter, 20)
	}
}

func (s *Script) oneFinger() {
	rate := slowTap + s.rng.Float64()*(fastTap-slowTap)
	s.mash(rate, 0.7+1.1*s.rng.Float64(), mashHold, mashHoldSD, tapJitter, 1)
}

func (s *Script) twoFinger() {
	rate := slowTrill + s.rng.Float64()*(fastTrill-slowTrill)
	s.mash(rate, 0.6+0.8*s.rng.Float64(), trillHold, trillSD, 1.5*tapJitter, 2)
}

// motion rolls through the directions of a move, each direction's key coming
// down before the last one's is up, and presses the button near the end.
func (s *Script) motion(m Move) {
	at := s.t
	since := map[string]int64{}
	var keys []string // of the direction before, in order
	for _, d := range m.Motion {
		now := directionKeys[d]
		for _, k := range keys {
			if !slices.Contains(now, k) {
				s.key(s.opts.Device, k, since[k], at-since[k]+s.spread(8, 5, 1))
			}
		}
		for _, k := range now {
			if !slices.Contains(keys, k) {
				since[k] = at
			}
		}
		keys = now
		at += s.spread(48, 13, 17)
	}
	s.key(s.opts.Device, m.Key, at-s.spread(30, 14, 0), s.spread(tapHold, tapHoldSD, 20))
	end := at + s.spread(60, 20, 10)
	for _, k := range keys {
		s.key(s.opts.Device, k, since[k], end-since[k])
	}
}

// directionKeys are the keys that numpad notation's digits hold, facing right.
var directionKeys = map[rune][]string{
	'1': {"down", "left"}, '2': {"down"}, '3': {"down", "right"},
	'4': {"left"}, '6': {"right"},
	'7': {"up", "left"}, '8': {"up"}, '9': {"up", "right"},
}

// walk steps to and fro. On a device with a key a direction, opposites overlap
// for a moment where one thumb is quicker than the other.
func (s *Script) walk() {
	at, key := s.t, "right"
	for range 2 + s.rng.IntN(3) {
		at = s.key(s.opts.Device, key, at, s.spread(190, 60, 50))
		at += s.spread(12, 22, -18)
		if key = "left"; s.rng.IntN(2) == 0 {
			key = "right"
		}
	}
	if s.rng.IntN(3) == 0 {
		s.key(s.opts.Device, "up", at+s.spread(60, 20, 20), s.spread(80, 20, 30))
	}
}

// brush is a finger that only grazes the button: held for less than half a frame,
// so that a game which looks at the poll instant mostly misses it.
func (s *Script) brush() {
	s.key(s.opts.Device, LongShuttle.Key, s.t, s.spread(4.5, 1.2, 2))
}

// chatter is a worn switch: the contact opens for a moment in the middle of a hold.
func (s *Script) chatter() {
	at := s.key(s.opts.Device, HeddleKick.Key, s.t, s.spread(40, 10, 15))
	s.key(s.opts.Device, HeddleKick.Key, at+s.spread(2, 0.8, 0.6), s.spread(40, 10, 15))
}

// worst presses every button at once, again and again: multi-presses of 2–5 with
// every spacing a window might like, and breaks of every length between them.
func (s *Script) worst() {
	for _, k := range []string{"south", "east", "west", "north"} {
		at := s.t + s.between(0, 40*ms)
		for range 2 + s.rng.IntN(4) {
			n := 2 + s.rng.IntN(4)
			for i := range n {
				at = s.key(s.finger(i), k, at, s.between(6*ms, 26*ms)) + s.between(8*ms, 26*ms)
			}
			at += s.between(0, 220*ms)
		}
	}
	s.key(s.opts.Device, []string{"up", "down", "left", "right"}[s.rng.IntN(4)], s.t, s.between(20*ms, 200*ms))
}
