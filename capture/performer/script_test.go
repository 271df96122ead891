package performer

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/overlay/frame"
)

func take(s *Script, n int) []capture.Input {
	ins := make([]capture.Input, n)
	for i := range ins {
		ins[i] = s.Next()
	}
	return ins
}

func TestSameSeedSameInputs(t *testing.T) {
	for _, mash := range []bool{false, true} {
		o := Options{Start: 5 * second, Device: 3, Second: 4, Mash: mash}
		a, b := take(New(7, o), 20000), take(New(7, o), 20000)
		require.Equal(t, a, b)
		assert.NotEqual(t, a, take(New(8, o), 20000), "another seed plays something else")

		late := o
		late.Start += second
		for i, in := range take(New(7, late), 20000) {
			in.At -= second
			require.Equal(t, a[i], in, "the start only moves the script")
		}
	}
}

func TestOrderedAndLetGo(t *testing.T) {
	bound := capture.NewMapper(capture.DefaultLayout(), capture.CleanNone)
	for seed := range uint64(20) {
		for _, o := range []Options{{Device: 1, Second: 2}, {Device: 1}, {Device: 1, Second: 2, Mash: true}} {
			s := New(seed, o)
			last := int64(0)
			held := map[holding]bool{}
			for range 5000 {
				in := s.Next()
				require.GreaterOrEqual(t, in.At, last)
				last = in.At
				require.True(t, bound.Bound(in.Key), in.Key)
				require.Contains(t, []uint16{o.Device, max(o.Second, 1)}, in.Device)
				h := holding{in.Device, in.Key}
				require.NotEqual(t, in.Down, held[h], "%s goes down and up by turns", in.Key)
				held[h] = in.Down
				if s.next == len(s.buf) {
					for h, down := range held {
						require.False(t, down, "%v is held after %q", h, s.Phrase())
					}
				}
			}
		}
	}
}

// phrase is one phrase's holds of the wanted button, and its starter's press.
type phrase struct {
	kind    Phrase
	link    Link
	starter int64
	holds   [][2]int64
	first   int64
	last    int64
}

// phrases plays until n phrases of the kinds are complete.
func phrases(seed uint64, n int, kinds ...Phrase) []phrase {
	s := New(seed, Options{Device: 1, Second: 2})
	var out []phrase
	want := map[Phrase]bool{}
	for _, k := range kinds {
		want[k] = true
	}
	for len(out) < n {
		s.compose()
		if !want[s.phrase] {
			continue
		}
		p := phrase{kind: s.phrase, link: ShuttleLink, first: s.buf[0].At, last: s.buf[len(s.buf)-1].At}
		down := map[holding]int64{}
		for _, in := range s.buf {
			if in.Key == HeddleKick.Key {
				p.link = HeddleLink
			}
			switch {
			case in.Key == LowBobbin.Key && in.Down:
				p.starter = in.At
			case in.Key != LongShuttle.Key && in.Key != HeddleKick.Key:
			case in.Down:
				down[holding{in.Device, in.Key}] = in.At
			default:
				p.holds = append(p.holds, [2]int64{down[holding{in.Device, in.Key}], in.At})
			}
		}
		out = append(out, p)
	}
	return out
}

// read says how a 60 Hz game with its poll instants at phase reads two presses.
func read(holds [][2]int64, phase int64) (spacing, gap frame.Frame, unseen bool) {
	c := frame.NewClock(frame.Hz60, phase)
	f0, e0 := c.Span(frame.Sampled, holds[0][0], holds[0][1])
	f1, e1 := c.Span(frame.Sampled, holds[1][0], holds[1][1])
	return f1 - f0, f1 - e0, e0 <= f0 || e1 <= f1
}

// A practised player's double press is perfect (spacing 2) about half of the
// time and has one spare frame otherwise; merges and unseen presses happen but
// are the exception. Common practice, no source.
func TestDoublePressAsGamesReadIt(t *testing.T) {
	var n, perfect, spare, merged, unseen float64
	for i, p := range phrases(1, 4000, Double) {
		require.Len(t, p.holds, 2)
		spacing, gap, lost := read(p.holds, int64(i)*7_919_000%16_666_667)
		n++
		switch {
		case lost:
			unseen++
		case gap <= 0:
			merged++
		case spacing == 2:
			perfect++
		case spacing == 3:
			spare++
		}
	}
	t.Logf("perfect %.3f, one spare frame %.3f, merged %.3f, unseen %.3f", perfect/n, spare/n, merged/n, unseen/n)
	assert.InDelta(t, 0.5, perfect/n, 0.1)
	assert.InDelta(t, 0.4, spare/n, 0.1)
	assert.InDelta(t, 0.04, merged/n, 0.03)
	assert.InDelta(t, 0.02, unseen/n, 0.02)
}

// The spread of the first press around its aim is 5–7 % of the interval, as the
// tapping data of Bååth & Madison 2012 has it, and it is early on the mean.
func TestLinkTimingSpreadsAsTappersDo(t *testing.T) {
	var sum, sq, n float64
	for _, p := range phrases(2, 6000, Single) {
		if p.link != ShuttleLink {
			continue
		}
		aim := float64(p.link.Opening)*frameMS + float64(p.link.Window())*frameMS/2
		x := float64(p.holds[0][0]-p.starter)/1e6 - aim
		n, sum, sq = n+1, sum+x, sq+x*x
	}
	mean := sum / n
	sd := math.Sqrt(sq/n - mean*mean)
	interval := float64(ShuttleLink.Opening)*frameMS + 25
	t.Logf("mean %.1f ms, SD %.1f ms, %.1f %% of %.0f ms", mean, sd, 100*sd/interval, interval)
	assert.Less(t, mean, 0.0)
	assert.Greater(t, mean, -40.1, "less early than untrained tappers at 600 ms")
	assert.InDelta(t, 0.06, sd/interval, 0.01)
}

// A double press must be worth it: it catches the window more often than one
// press does, and neither always nor never.
func TestDoublePressHelps(t *testing.T) {
	rate := func(kind Phrase) float64 {
		hits, ps := 0.0, phrases(3, 3000, kind)
		for i, p := range ps {
			c := frame.NewClock(frame.Hz60, int64(i)*7_919_000%16_666_667)
			open := c.At(p.starter) + frame.Frame(p.link.Opening)
			prev := frame.Frame(math.MinInt64)
			for _, h := range p.holds {
				f, e := c.Span(frame.Sampled, h[0], h[1])
				if f >= open && f < open+frame.Frame(p.link.Window()) && e > f && f > prev {
					hits++
					break
				}
				prev = e
			}
		}
		return hits / float64(len(ps))
	}
	single, double, triple := rate(Single), rate(Double), rate(Triple)
	t.Logf("links: single %.2f, double %.2f, triple %.2f", single, double, triple)
	assert.InDelta(t, 0.67, single, 0.12)
	assert.Greater(t, double, single+0.1)
	assert.Greater(t, triple, double)
	assert.Less(t, triple, 1.0)
}

// One finger presses 5–7 times a second and never more than 10 (Fujii and others
// 2009), its holds read as 2–4 frames; two fingers are faster with 1–2 frames
// (common practice, no source).
func TestMashingRates(t *testing.T) {
	check := func(kind Phrase, slow, fast, holdLo, holdHi float64) {
		for _, p := range phrases(4, 300, kind) {
			n := len(p.holds)
			seconds := float64(p.holds[n-1][0]-p.holds[0][0]) / 1e9
			rate := float64(n-1) / seconds
			require.GreaterOrEqual(t, rate, slow, kind)
			require.LessOrEqual(t, rate, fast, kind)
			sum := 0.0
			for _, h := range p.holds {
				sum += float64(h[1]-h[0]) / 1e6 / frameMS
			}
			mean := sum / float64(n)
			require.GreaterOrEqual(t, mean, holdLo, kind)
			require.LessOrEqual(t, mean, holdHi, kind)
		}
	}
	check(OneFinger, 4.3, 7.6, 2, 4)
	check(TwoFinger, 8.5, 15, 1, 2)
}

func TestAlternatingFingersUseBothDevices(t *testing.T) {
	s := New(5, Options{Device: 1, Second: 2})
	for found := 0; found < 50; {
		if s.compose(); s.phrase != Alternate {
			continue
		}
		found++
		seen := map[uint16]bool{}
		for _, in := range s.buf {
			if in.Key == LongShuttle.Key || in.Key == HeddleKick.Key {
				seen[in.Device] = true
			}
		}
		require.Len(t, seen, 2)
	}
}

func TestBrushIsMostlyUnseen(t *testing.T) {
	unseen, n := 0, 0
	for i, p := range phrases(6, 400, Brush) {
		c := frame.NewClock(frame.Hz60, int64(i)*7_919_000%16_666_667)
		f, e := c.Span(frame.Sampled, p.holds[0][0], p.holds[0][1])
		if n++; e <= f {
			unseen++
		}
	}
	assert.Greater(t, float64(unseen)/float64(n), 0.5)
	assert.Less(t, unseen, n)
}

// Motions go through their directions in order, as the notation says.
func TestMotionsFollowTheirNotation(t *testing.T) {
	s := New(9, Options{Device: 1})
	for _, m := range []Move{ReedWave, SelvageRise, SpindleTurn} {
		for range 100 {
			s.buf = s.buf[:0]
			s.motion(m)
			held := func(key string, at int64) bool {
				for i := 0; i+1 < len(s.buf); i += 2 { // pairs, as key appends them
					if s.buf[i].Key == key && s.buf[i].At <= at && at < s.buf[i+1].At {
						return true
					}
				}
				return false
			}
			var seen []rune
			for at := s.t; at < s.t+400*ms; at += ms / 4 {
				x, y := 5, 0
				if held("left", at) {
					x--
				}
				if held("right", at) {
					x++
				}
				if held("up", at) {
					y += 3
				}
				if held("down", at) {
					y -= 3
				}
				d := rune('0' + x + y)
				if len(seen) == 0 || seen[len(seen)-1] != d {
					seen = append(seen, d)
				}
			}
			i := 0
			for _, d := range seen {
				if i < len(m.Motion) && rune(m.Motion[i]) == d {
					i++
				}
			}
			require.Equal(t, len(m.Motion), i, "%s was played as %s", m.Motion, string(seen))
		}
	}
}

// The performer rests: hands need it, and it is what the strip should show.
func TestRests(t *testing.T) {
	s := New(10, Options{Device: 1, Second: 2})
	last, rested := int64(0), int64(0)
	rests := 0
	for last < 600*second {
		in := s.Next()
		if in.At-last >= shortRest {
			rests++
			rested = in.At
		}
		require.Less(t, in.At-rested, longStint+8*second, "no rest for too long")
		last = in.At
	}
	assert.Greater(t, rests, 10)
}

func TestMashNeverRests(t *testing.T) {
	s := New(11, Options{Device: 1, Second: 2, Mash: true})
	last, n := int64(400*ms), 0
	for last < 60*second {
		in := s.Next()
		require.Less(t, in.At-last, 400*ms)
		last = in.At
		if in.Down {
			n++
		}
	}
	t.Logf("%d presses a second", n/60)
	assert.Greater(t, n/60, 40, "beyond what hands can do")
}

func TestEveryPhraseIsPlayed(t *testing.T) {
	s := New(12, Options{Device: 1, Second: 2})
	seen := map[Phrase]bool{}
	for range 20000 {
		s.Next()
		seen[s.Phrase()] = true
	}
	for _, w := range weights {
		assert.True(t, seen[w.phrase], "%q", w.phrase)
	}
}

func TestWindowsFromFrameData(t *testing.T) {
	// +10 into an 8-frame startup is a 3-frame link (common practice, no source).
	assert.Equal(t, 3, ShuttleLink.Window())
	assert.Equal(t, 2, HeddleLink.Window())
}
