package review

import (
	"math"

	"holdgap/overlay/frame"
	"holdgap/overlay/stat"
)

const (
	// MaxFrames is the longest length that has a bin of its own, in frames.
	MaxFrames = 240
	// MaxMS is where the bins of one ms each end.
	MaxMS = 1000
)

// dist counts lengths: in frames as the game read them, and in ms as the hands
// made them.
type dist struct {
	frames    [MaxFrames + 1]uint32
	ms        [MaxMS]uint32
	n         int64
	overF     int64   // longer than MaxFrames
	overMS    int64   // MaxMS or longer
	sum, sum2 float64 // ms, of those below MaxMS
}

func (d *dist) add(k frame.Frame, ns int64) {
	d.n++
	if k >= 0 && k <= MaxFrames {
		d.frames[k]++
	} else {
		d.overF++
	}
	if i := ns / 1_000_000; ns >= 0 && i < MaxMS {
		d.ms[i]++
		ms := float64(ns) / 1e6
		d.sum += ms
		d.sum2 += ms * ms
	} else {
		d.overMS++
	}
}

// Dist is a distribution of lengths.
type Dist struct {
	N int64 `json:"n"`
	// Frames[k] counts the lengths of k frames as the game read them; trailing
	// zeros are left out. OverFrames counts those above MaxFrames.
	Frames     []uint32 `json:"frames"`
	OverFrames int64    `json:"over_frames"`
	// MS[i] counts the lengths from i to below i+1 ms as the hands made them.
	// OverMS counts those of MaxMS and more; the figures below leave them out,
	// since a pause between two tries is no length of a press.
	MS     []uint32 `json:"ms"`
	OverMS int64    `json:"over_ms"`

	MedianFrames int64   `json:"median_frames"` // −1 for none
	MeanMS       float64 `json:"mean_ms"`       // 0 for none
	SDMS         float64 `json:"sd_ms"`         // sample standard deviation, 0 for fewer than two
	MedianMS     float64 `json:"median_ms"`     // middle of its bin, 0 for none
}

func (d *dist) report() Dist {
	out := Dist{MedianFrames: -1}
	if d == nil {
		return out
	}
	out.N, out.OverFrames, out.OverMS = d.n, d.overF, d.overMS
	out.Frames, out.MS = trimmed(d.frames[:]), trimmed(d.ms[:])
	if in := d.n - d.overF; in > 0 {
		out.MedianFrames = int64(medianBin(d.frames[:], in))
	}
	in := d.n - d.overMS
	if in > 0 {
		out.MeanMS = d.sum / float64(in)
		out.MedianMS = float64(medianBin(d.ms[:], in)) + 0.5
	}
	if in > 1 {
		v := (d.sum2 - d.sum*d.sum/float64(in)) / float64(in-1)
		out.SDMS = math.Sqrt(max(v, 0))
	}
	return out
}

// medianBin returns the bin of the lower median of n counted values.
func medianBin(bins []uint32, n int64) int {
	var c int64
	for i, b := range bins {
		c += int64(b)
		if 2*c >= n {
			return i
		}
	}
	return len(bins) - 1
}

func trimmed(bins []uint32) []uint32 {
	n := len(bins)
	for n > 0 && bins[n-1] == 0 {
		n--
	}
	return append([]uint32{}, bins[:n]...)
}

// Rate is how often something came out, with its 95 % Wilson interval.
type Rate struct {
	Kind  string  `json:"kind"`
	Count int64   `json:"count"`
	Of    int64   `json:"of"`
	Rate  float64 `json:"rate"` // Count/Of; 0 when Of is
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// NewRate returns count of of as a rate.
func NewRate(kind string, count, of int64) Rate {
	r := Rate{Kind: kind, Count: count, Of: of}
	if of > 0 {
		r.Rate = float64(count) / float64(of)
	}
	i := stat.Wilson(int(count), int(of))
	r.Low, r.High = i.Low, i.High
	return r
}
