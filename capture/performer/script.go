// Package performer is an invented player in an invented game, who plays the
// demo when no device is there. Its hands have human spread: it hits links with
// double and triple presses, leaves spare frames, merges presses, brushes
// buttons so briefly that no frame sees them, mashes, and rests.
//
// [Script] is pure: a seed gives the same inputs on every run. [Source] plays a
// script in real time. Every number about hands is in hands.go, each with its
// source or marked as common practice.
package performer

import (
	"cmp"
	"math/rand/v2"
	"slices"

	"holdgap/capture"
)

// Options says how a [Script] plays.
type Options struct {
	// Start is the time of the start, ns on the monotonic clock. The first
	// input comes a little later.
	Start int64
	// Device is the number of the pad that the performer plays on.
	Device uint16
	// Second is the number of the button box beside it, whose keys are a second
	// physical key on the same buttons: alternating fingers use both. 0 plays
	// everything on Device, and a second finger then shares the first one's key.
	Second uint16
	// Mash is the worst mashing there is, with every button, without a rest and
	// beyond human speed: it exists to test that the strip never flashes too
	// often.
	Mash bool
}

// Phrase names what the performer is doing.
type Phrase string

// The phrases.
const (
	Double    Phrase = "double press"
	Triple    Phrase = "triple press"
	Single    Phrase = "single press"
	Alternate Phrase = "alternating fingers"
	OneFinger Phrase = "mashing with one finger"
	TwoFinger Phrase = "mashing with two fingers"
	Motion    Phrase = "motion"
	Walk      Phrase = "walking"
	Brush     Phrase = "brushed button"
	Chatter   Phrase = "switch bounce"
	Worst     Phrase = "worst mashing"
)

// weights of the phrases in play; they need not sum to anything.
var weights = []struct {
	phrase Phrase
	weight int
}{
	{Double, 40}, {Triple, 9}, {Single, 12}, {Alternate, 10}, {OneFinger, 4},
	{TwoFinger, 4}, {Motion, 12}, {Walk, 8}, {Brush, 4}, {Chatter, 1},
}

const (
	us      = int64(1_000)
	ms      = 1000 * us
	second  = 1000 * ms
	frameMS = 1000.0 / Rate
)

// Script yields what the performer's hands do, without end. Make one with
// [New]; one caller at a time.
type Script struct {
	rng    *rand.Rand
	opts   Options
	t      int64 // ns: when the next phrase begins
	rested int64 // ns: end of the last rest
	stint  int64 // ns: how long to play until the next rest
	phrase Phrase
	buf    []capture.Input // the phrase being played, in order
	next   int
}

// New returns the script of a seed. Two scripts with the same seed and options
// yield the same inputs.
func New(seed uint64, opts Options) *Script {
	s := &Script{
		rng:  rand.New(rand.NewPCG(seed, 0x686f6c64676170)), // any constant: the stream is set by both words
		opts: opts,
		t:    opts.Start + 400*ms,
	}
	s.rested = opts.Start
	s.stint = s.between(firstStint, longStint)
	return s
}

// Next returns the next input. Times never decrease, and every key that goes
// down comes up before the phrase ends.
func (s *Script) Next() capture.Input {
	for s.next >= len(s.buf) {
		s.compose()
	}
	in := s.buf[s.next]
	s.next++
	return in
}

// Phrase returns what the input that [Script.Next] last returned belongs to.
func (s *Script) Phrase() Phrase { return s.phrase }

// compose writes the next phrase into buf and moves t behind it.
func (s *Script) compose() {
	s.buf, s.next = s.buf[:0], 0
	if s.opts.Mash {
		s.phrase = Worst
		s.worst()
	} else {
		if s.t-s.rested > s.stint {
			s.t += s.between(shortRest, longRest)
			s.rested, s.stint = s.t, s.between(shortStint, longStint)
		}
		s.phrase = s.pick()
		s.play(s.phrase)
	}
	slices.SortStableFunc(s.buf, func(a, b capture.Input) int { return cmp.Compare(a.At, b.At) })
	s.t = s.buf[len(s.buf)-1].At
	if s.opts.Mash {
		s.t += s.between(1*ms, 60*ms)
	} else {
		s.t += s.between(shortBreath, longBreath)
	}
}

func (s *Script) pick() Phrase {
	sum := 0
	for _, w := range weights {
		sum += w.weight
	}
	n := s.rng.IntN(sum)
	for _, w := range weights {
		if n -= w.weight; n < 0 {
			return w.phrase
		}
	}
	return Double // not reached: n is below the sum
}

func (s *Script) play(p Phrase) {
	switch p {
	case Double:
		s.link(s.pickLink(), 2)
	case Triple:
		s.link(s.pickLink(), 3)
	case Single:
		s.link(s.pickLink(), 1)
	case Alternate:
		s.alternate(s.pickLink())
	case OneFinger:
		s.oneFinger()
	case TwoFinger:
		s.twoFinger()
	case Motion:
		s.motion([]Move{ReedWave, SelvageRise, SpindleTurn}[s.rng.IntN(3)])
	case Walk:
		s.walk()
	case Brush:
		s.brush()
	case Chatter:
		s.chatter()
	}
}

func (s *Script) pickLink() Link {
	if s.rng.IntN(4) == 0 {
		return HeddleLink
	}
	return ShuttleLink
}

// key adds one hold of a key, from at for hold ns, and returns its end. A hold
// that would begin before the last one of the key ended is moved behind it: one
// key cannot go down twice.
func (s *Script) key(device uint16, name string, at, hold int64) int64 {
	at, hold = at/us*us, max(hold/us*us, us)
	for _, in := range s.buf {
		if !in.Down && in.Device == device && in.Key == name {
			at = max(at, in.At+minGap)
		}
	}
	s.buf = append(s.buf,
		capture.Input{At: at, Device: device, Key: name, Down: true},
		capture.Input{At: at + hold, Device: device, Key: name})
	return at + hold
}

// finger returns the device that finger i (0 or 1) of an alternating pair plays.
func (s *Script) finger(i int) uint16 {
	if i%2 == 1 && s.opts.Second != 0 {
		return s.opts.Second
	}
	return s.opts.Device
}

// between draws a time evenly from [lo, hi) ns.
func (s *Script) between(lo, hi int64) int64 { return lo + s.rng.Int64N(hi-lo) }

// spread draws a time in ns from a normal distribution in ms, cut at lo ms. Times are
// whole microseconds, so that no platform's floating point shows.
func (s *Script) spread(mean, sd, lo float64) int64 {
	return int64(max(float64(s.rng.NormFloat64()*sd)+mean, lo)*1000) * us
}
