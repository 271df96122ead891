package odds

import (
	"fmt"
	"math"
	"math/big"
	"math/bits"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/overlay/frame"
	"holdgap/overlay/window"
)

// The oracle asks at every poll instant whether the button is down, as the read
// rules define it, and shares nothing with the code it checks. Times are integers
// in units of 1/num ns, in which a frame is unit = den·1e9 long.
type oracle struct {
	unit    int64
	latched bool
}

// read returns the mask of frames −1 … 62 in which the button is down when frame
// k is polled at y + k·unit, and how many presses no frame saw.
func (o oracle) read(y int64, times [][2]int64) (mask uint64, unseen int) {
	for _, p := range times {
		seen := false
		for k := max((p[0]-y)/o.unit-2, -1); k < 63; k++ {
			at := y + k*o.unit
			if at-o.unit >= p[1] {
				break
			}
			down := p[0] <= at && at < p[1] // an edge exactly at the poll has happened
			if o.latched {
				// [down, up) meets (the poll before, this poll].
				down = p[0] <= at && p[1] > at-o.unit
			}
			if down {
				mask |= 1 << (k + 1)
				seen = true
			}
		}
		if !seen {
			unseen++
		}
	}
	return mask, unseen
}

// runs returns the runs of down frames.
func runs(mask uint64) (starts, holds []frame.Frame) {
	first := bits.TrailingZeros64(mask)
	for k := 0; k < 64; k++ {
		if mask>>k&1 == 0 {
			continue
		}
		if k == 0 || mask>>(k-1)&1 == 0 {
			starts = append(starts, frame.Frame(k-first))
			holds = append(holds, 0)
		}
		holds[len(holds)-1]++
	}
	return starts, holds
}

type seen struct {
	mask   uint64
	unseen int
}

func (s seen) pattern(presses int) string {
	starts, holds := runs(s.mask)
	return fmt.Sprint(starts, holds, s.unseen, presses-s.unseen-len(starts))
}

func text(p Pattern) string { return fmt.Sprint(p.Offsets, p.Holds, p.Unseen, p.Merged) }

var rates = []string{"60", "60000/1001", "59.637405", "59.185606", "50", "120", "54.70684", "30", "1000/7"}

func drawModel(t *rapid.T) Model {
	r, err := frame.ParseRate(rapid.SampledFrom(rates).Draw(t, "rate"))
	require.NoError(t, err)
	return Model{
		Clock: frame.NewClock(r, rapid.Int64Range(-1e9, 1e9).Draw(t, "phase")),
		Rule:  rapid.SampledFrom([]frame.ReadRule{frame.Sampled, frame.Latched}).Draw(t, "rule"),
	}
}

// drawPresses draws up to most presses that span fewer than 50 frames.
func drawPresses(t *rapid.T, m Model, most int) []Press {
	frameNS := m.Clock.Rate().FrameNS()
	length := rapid.Custom(func(t *rapid.T) int64 {
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0: // whole frames, so that breaks fall together
			return int64(math.Round(frameNS * float64(rapid.IntRange(1, 4).Draw(t, "frames"))))
		case 1:
			return rapid.Int64Range(1, 2e6).Draw(t, "short")
		}
		return rapid.Int64Range(1, int64(4*frameNS)).Draw(t, "any")
	})
	at := rapid.Int64Range(-1e9, 1e9).Draw(t, "begin")
	var out []Press
	for range rapid.IntRange(1, most).Draw(t, "presses") {
		hold := length.Draw(t, "hold")
		out = append(out, Press{Down: at, Up: at + hold})
		at += hold + length.Draw(t, "gap")
	}
	return out
}

// scaled returns the oracle and the times from the first edge, a frame ahead.
func scaled(m Model, presses []Press) (oracle, [][2]int64) {
	num, den := m.Clock.Rate().Num(), m.Clock.Rate().Den()
	o := oracle{unit: den * 1_000_000_000, latched: m.Rule == frame.Latched}
	times := make([][2]int64, len(presses))
	for i, p := range presses {
		times[i] = [2]int64{(p.Down - presses[0].Down) * num, (p.Up - presses[0].Down) * num}
	}
	return o, times
}

// TestBruteForcePhases compares the exact odds with counts over 100,000 phases.
// Each of the 2n breaks can put at most one sample on its wrong side.
func TestBruteForcePhases(t *testing.T) {
	const samples = 100_000
	rapid.Check(t, func(t *rapid.T) {
		m := drawModel(t)
		presses := drawPresses(t, m, 5)
		o, times := scaled(m, presses)
		if times[len(times)-1][1] > math.MaxInt64/2 {
			t.Skip("the oracle's integers do not reach that far")
		}
		count := map[seen]int{}
		for i := range int64(samples) {
			hi, lo := bits.Mul64(uint64(2*i+1), uint64(o.unit))
			y, _ := bits.Div64(hi, lo, 2*samples)
			mask, unseen := o.read(int64(y), times)
			count[seen{mask, unseen}]++
		}
		want := map[string]float64{}
		for s, n := range count {
			want[s.pattern(len(presses))] += float64(n) / samples
		}
		got, err := m.Patterns(presses)
		require.NoError(t, err)
		tolerance := float64(2*len(presses))/samples + 1e-9
		sum := 0.0
		for i, p := range got {
			require.InDelta(t, want[text(p)], p.Probability, tolerance, "%s of %v", text(p), presses)
			require.Greater(t, p.Probability, 0.0)
			delete(want, text(p))
			sum += p.Probability
			if i > 0 {
				require.LessOrEqual(t, p.Probability, got[i-1].Probability)
			}
			for j := range p.Gaps {
				require.Equal(t, p.Offsets[j+1]-p.Offsets[j]-p.Holds[j], p.Gaps[j])
				require.Positive(t, p.Gaps[j])
			}
		}
		for s, p := range want {
			require.LessOrEqual(t, p, tolerance, "%s is missing", s)
		}
		require.InDelta(t, 1, sum, 1e-12)

		// The single numbers, from the same counts.
		checkSingles(t, m, presses, o, times, samples)
	})
}

func checkSingles(t *rapid.T, m Model, presses []Press, o oracle, times [][2]int64, samples int64) {
	hold, gap := map[int]float64{}, map[int]float64{}
	for i := range samples / 10 {
		hi, lo := bits.Mul64(uint64(2*i+1), uint64(o.unit))
		y, _ := bits.Div64(hi, lo, uint64(2*(samples/10)))
		mask, _ := o.read(int64(y), times[:1])
		hold[bits.OnesCount64(mask)] += 10 / float64(samples)
		if len(times) > 1 {
			// Frames up between the two edges: between a press that ends at the
			// first and one that begins at the second, both long enough to be seen.
			a, _ := o.read(int64(y), [][2]int64{{times[0][1] - 3*o.unit, times[0][1]}})
			b, _ := o.read(int64(y), [][2]int64{{times[1][0], times[1][0] + 3*o.unit}})
			gap[max(bits.TrailingZeros64(b)-bits.Len64(a), 0)] += 10 / float64(samples)
		}
	}
	tolerance := 2*10/float64(samples) + 1e-9
	total := 0.0
	for k := range 64 {
		p := m.HoldProbability(presses[0].Down, presses[0].Up, frame.Frame(k))
		require.InDelta(t, hold[k], p, tolerance, "hold %d", k)
		total += p
		if len(times) > 1 && times[0][1]-3*o.unit > -o.unit {
			require.InDelta(t, gap[k], m.GapProbability(presses[0].Up, presses[1].Down, frame.Frame(k)), tolerance, "gap %d of %v", k, presses)
		}
	}
	require.InDelta(t, 1, total, 1e-12)
}

// trueTimes draws when the edges really happened, given stamps and a report
// interval, from the model's own words.
func trueTimes(rng *rand.Rand, presses []Press, report int64) [][2]float64 {
	out := make([][2]float64, len(presses))
	last := math.Inf(-1)
	draw := func(t int64) float64 {
		lo := math.Max(float64(t-report), last)
		last = float64(t)
		return float64(t) - rng.Float64()*(float64(t)-lo)
	}
	for i, p := range presses {
		out[i] = [2]float64{draw(p.Down), draw(p.Up)}
	}
	return out
}

// readFloat reads presses at float times with polls at y + k·T, as frames.
func readFloat(rule frame.ReadRule, y, frameNS float64, times [][2]float64) (mask uint64, unseen int) {
	for _, p := range times {
		seen := false
		for k := max(int((p[0]-y)/frameNS)-3, -3); k < 61; k++ {
			at := y + float64(k)*frameNS
			if at-frameNS >= p[1] {
				break
			}
			down := p[0] <= at && at < p[1]
			if rule == frame.Latched {
				down = p[0] <= at && p[1] > at-frameNS
			}
			if down {
				mask |= 1 << (k + 3)
				seen = true
			}
		}
		if !seen {
			unseen++
		}
	}
	return mask, unseen
}

// TestSmearMonteCarlo draws true times and phases and compares the frequencies
// with the odds, to six standard errors.
func TestSmearMonteCarlo(t *testing.T) {
	const samples = 20_000
	rapid.Check(t, func(t *rapid.T) {
		m := drawModel(t)
		m.Fixed = rapid.Bool().Draw(t, "fixed")
		m.Report = rapid.SampledFrom([]int64{1, 1000, 1e6, 4e6, 8e6, 10e6, 16e6, 40e6}).Draw(t, "report")
		presses := drawPresses(t, m, 3)
		begin := presses[0].Down
		if m.Fixed {
			// Near the phase, so that the oracle's frames reach.
			for i := range presses {
				presses[i].Down += m.Clock.Phase() - begin
				presses[i].Up += m.Clock.Phase() - begin
			}
			begin = m.Clock.Phase()
		}
		if float64(presses[len(presses)-1].Up-presses[0].Down) > 50*m.Clock.Rate().FrameNS() {
			t.Skip("longer than the oracle's frames")
		}
		for i := range presses {
			presses[i].Down -= begin
			presses[i].Up -= begin
		}
		if m.Fixed {
			m.Clock = frame.NewClock(m.Clock.Rate(), 0)
		}
		if m.Clock.Rate().FrameNS()*3 < float64(m.Report) {
			t.Skip("edges before the oracle's frames")
		}
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		frameNS := m.Clock.Rate().FrameNS()
		want := map[string]float64{}
		for range samples {
			y := 0.0
			if !m.Fixed {
				y = rng.Float64() * frameNS
			}
			mask, unseen := readFloat(m.Rule, y, frameNS, trueTimes(rng, presses, m.Report))
			want[seen{mask, unseen}.pattern(len(presses))] += 1.0 / samples
		}
		got, err := m.Patterns(presses)
		require.NoError(t, err)
		sum := 0.0
		for _, p := range got {
			within := 6*math.Sqrt(p.Probability*(1-p.Probability)/samples) + 6.0/samples
			require.InDelta(t, want[text(p)], p.Probability, within, "%s of %v", text(p), presses)
			delete(want, text(p))
			sum += p.Probability
		}
		for s, p := range want {
			require.LessOrEqual(t, p, 6.0/samples, "%s is missing", s)
		}
		require.InDelta(t, 1, sum, 1e-11)
	})
}

// TestSmearExact compares the odds of two edges with their closed form in exact
// rationals. The distance of the edges in frames is X = L/T + (U1 − U2)·r/T, and
// it reads as k with probability max(0, 1 − |X − k|) over the phase. Averaging the
// second difference of ramps that this is over two uniforms gives a second
// difference of second differences of cubes (x)₊³/6.
func TestSmearExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawModel(t)
		m.Report = rapid.Int64Range(1, 40e6).Draw(t, "report")
		a := rapid.Int64Range(-1e9, 1e9).Draw(t, "a")
		length := rapid.Int64Range(0, 100e6).Draw(t, "length")
		w2 := min(m.Report, length)
		frameNS := big.NewRat(m.Clock.Rate().Den()*1_000_000_000, m.Clock.Rate().Num())
		over := func(ns int64) *big.Rat { return new(big.Rat).Quo(new(big.Rat).SetInt64(ns), frameNS) }
		for k := range 10 {
			got := m.SpacingProbability(a, a+length, frame.Frame(k))
			want := new(big.Rat)
			x := over(length)
			x.Sub(x, big.NewRat(int64(k), 1))
			v1, v2 := over(m.Report), over(w2)
			for i, c := range []int64{1, -2, 1} {
				at := new(big.Rat).Add(x, big.NewRat(int64(1-i), 1))
				// E over true times: first edge earlier lengthens, second shortens.
				hi := new(big.Rat).Add(at, v1)
				var term *big.Rat
				if w2 == 0 {
					term = new(big.Rat).Sub(ramp(hi, 2), ramp(at, 2))
					term.Quo(term, v1)
				} else {
					term = new(big.Rat).Sub(ramp(hi, 3), ramp(at, 3))
					term.Sub(term, ramp(new(big.Rat).Sub(hi, v2), 3))
					term.Add(term, ramp(new(big.Rat).Sub(at, v2), 3))
					term.Quo(term, new(big.Rat).Mul(v1, v2))
				}
				want.Add(want, term.Mul(term, big.NewRat(c, 1)))
			}
			f, _ := want.Float64()
			require.InDelta(t, f, got, 1e-9, "k=%d", k)
		}
	})
}

// ramp returns (x)₊ᵈ/d!.
func ramp(x *big.Rat, d int) *big.Rat {
	out := big.NewRat(1, 1)
	if x.Sign() <= 0 {
		return new(big.Rat)
	}
	for i := 1; i <= d; i++ {
		out.Mul(out, x)
		out.Quo(out, big.NewRat(int64(i), 1))
	}
	return out
}

// TestReportCalibration plays whole devices: hands press at random true times, a
// device samples the button every r, and only its stamps reach the odds. Over many
// presses the predicted probability of covering the window must come true, and in
// each fifth of the predictions for itself.
func TestReportCalibration(t *testing.T) {
	const tries, r = 150_000, 8_000_000
	rng := rand.New(rand.NewPCG(7, 11))
	m := Model{Clock: frame.NewClock(frame.Hz60, 0), Report: r}
	frameNS := frame.Hz60.FrameNS()
	var predicted, came, n [5]float64
	for range tries {
		// Holds and gaps with densities that are flat as far as a cover reaches.
		var times [][2]float64
		at := rng.Float64() * 1e8
		for range 2 {
			up := at + rng.Float64()*70e6
			times = append(times, [2]float64{at, up})
			at = up + rng.Float64()*70e6
		}
		grid := rng.Float64() * r
		stamp := func(x float64) int64 { return int64(math.Ceil((x-grid)/r)*r + grid) }
		var presses []Press
		for _, p := range times {
			presses = append(presses, Press{Down: stamp(p[0]), Up: stamp(p[1])})
		}
		if presses[0].Down == presses[0].Up || presses[0].Up == presses[1].Down || presses[1].Down == presses[1].Up {
			continue // two edges within a report: the device never showed them
		}
		p, err := m.Covered(presses, 3, window.Rules{})
		require.NoError(t, err)
		y := times[0][0] - rng.Float64()*frameNS
		mask, _ := readFloat(frame.Sampled, y, frameNS, times)
		starts, _ := runs(mask)
		bin := min(int(p*5), 4)
		predicted[bin] += p
		n[bin]++
		if len(starts) == 2 && starts[1] <= 3 {
			came[bin]++
		}
	}
	for i := range n {
		require.Greater(t, n[i], 1000.0)
		p := predicted[i] / n[i]
		require.InDelta(t, p, came[i]/n[i], 5*math.Sqrt(p*(1-p)/n[i])+1e-4, "fifth %d of %.0f", i, n[i])
		t.Logf("predicted %.4f, came %.4f of %.0f", p, came[i]/n[i], n[i])
	}
}

// TestOutcomesMonteCarlo compares the odds of an anchored attempt, with several
// buttons, with drawn phases and true times.
func TestOutcomesMonteCarlo(t *testing.T) {
	const samples = 20_000
	rapid.Check(t, func(t *rapid.T) {
		m := drawModel(t)
		m.Report = rapid.SampledFrom([]int64{0, 0, 1e6, 8e6}).Draw(t, "report")
		anchor := Press{Down: 0, Up: rapid.Int64Range(1, 60e6).Draw(t, "anchor up")}
		same := rapid.Bool().Draw(t, "same button")
		var presses []Press
		at := int64(0)
		if same {
			at = anchor.Up
		} else {
			anchor.Button = 1
		}
		for range rapid.IntRange(0, 3).Draw(t, "presses") {
			at += rapid.Int64Range(1, 50e6).Draw(t, "gap")
			up := at + rapid.Int64Range(1, 50e6).Draw(t, "hold")
			presses = append(presses, Press{Down: at, Up: up})
			at = up
		}
		win := frame.Frame(rapid.IntRange(1, 4).Draw(t, "window"))
		opens := frame.Frame(rapid.IntRange(0, 8).Draw(t, "opens"))
		rules := window.Rules{
			Early: rapid.SampledFrom([]window.Early{window.Ignored, window.Spoil}).Draw(t, "early"),
			Reach: frame.Frame(rapid.IntRange(0, 2).Draw(t, "reach")),
			Hold:  frame.Frame(rapid.IntRange(0, 3).Draw(t, "hold")),
		}
		frameNS := m.Clock.Rate().FrameNS()
		if float64(at) > 50*frameNS {
			t.Skip("longer than the oracle's frames")
		}
		got, err := m.Outcomes(nil, anchor, opens, presses, win, rules)
		require.NoError(t, err)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		want := map[window.Outcome]float64{}
		for range samples {
			y := rng.Float64() * frameNS
			var o window.Outcome
			if same {
				all := trueTimes(rng, append([]Press{anchor}, presses...), m.Report)
				if a, _ := readFloat(m.Rule, y, frameNS, all[:1]); a != 0 {
					mask, _ := readFloat(m.Rule, y, frameNS, all)
					starts, holds := runs(mask)
					for i := range starts {
						starts[i] -= opens
					}
					o = window.Judge(win, rules, starts[1:], holds[1:])
				}
			} else {
				first, _ := readFloat(m.Rule, y, frameNS, trueTimes(rng, []Press{anchor}, m.Report))
				mask, _ := readFloat(m.Rule, y, frameNS, trueTimes(rng, presses, m.Report))
				if first != 0 {
					starts, holds := runs(mask)
					for i := range starts {
						starts[i] += frame.Frame(bits.TrailingZeros64(mask)-bits.TrailingZeros64(first)) - opens
					}
					o = window.Judge(win, rules, starts, holds)
				}
			}
			want[o] += 1.0 / samples
		}
		sum := 0.0
		for _, o := range got {
			within := 6*math.Sqrt(o.Probability*(1-o.Probability)/samples) + 6.0/samples
			require.InDelta(t, want[o.Outcome], o.Probability, within, "%v", o)
			delete(want, o.Outcome)
			sum += o.Probability
		}
		for o, p := range want {
			require.LessOrEqual(t, p, 6.0/samples, "%v is missing", o)
		}
		require.InDelta(t, 1, sum, 1e-11)
	})
}
