package takes

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"time"

	"holdgap/capture"
	"holdgap/capture/take"
	"holdgap/overlay/odds"
	"holdgap/overlay/review"
	"holdgap/overlay/session"
	"holdgap/web/live"
	"holdgap/web/settings"
)

// Part is settings that came into force in a take.
type Part struct {
	At      int64  // ns on the edges' clock
	Name    string // of the profile
	Profile settings.Profile
	Setup   live.Setup
}

// File is a take that was looked through.
type File struct {
	Path  string
	Size  int64
	Scan  *take.Summary
	Parts []Part // never empty: without settings of its own a take is judged by the usual ones
	// Troubles say what of the take's settings could not be read.
	Troubles []string
}

// Open looks through a take: its notes, and what of it can be read.
func Open(ctx context.Context, path string, p take.Progress) (*File, error) {
	s, err := take.Scan(ctx, path, p)
	if err != nil {
		return nil, err
	}
	f := &File{Path: path, Scan: s, Size: s.Report.Bytes}
	for _, n := range s.Settings {
		if n.Name != ProfileName {
			f.Troubles = append(f.Troubles, fmt.Sprintf("settings named %q are not read by this program", n.Name))
			continue
		}
		prof, setup, err := ParseProfile(n.Text)
		if err != nil {
			f.Troubles = append(f.Troubles, err.Error())
			continue
		}
		f.Parts = append(f.Parts, Part{At: n.At, Name: prof.Name, Profile: prof, Setup: setup})
	}
	if len(f.Parts) == 0 {
		f.Parts = []Part{{Name: "everything", Profile: settings.DefaultProfile("everything"), Setup: live.DefaultSetup()}}
		if s.Report.Edges > 0 {
			f.Parts[0].At = s.Report.First
		}
	}
	return f, nil
}

// leadNS is how much of a beginning without an edge counts as part of a take, ns.
const leadNS = 2_000_000_000

// Zero is the time (ns on the edges' clock) that the take's time counts from: the
// beginning of the recording, or two seconds before the first edge or mark if that
// is later. A part of a longer recording keeps the header of the whole, which may
// have begun hours before.
func (f *File) Zero() int64 {
	s := f.Scan
	if s.Report.Edges == 0 {
		return s.Header.StartAt
	}
	first := s.Report.First
	if len(s.Marks) > 0 {
		first = min(first, s.Marks[0].At)
	}
	if s.Header.ID == [8]byte{} || s.Header.StartAt > first {
		return first
	}
	return max(s.Header.StartAt, first-leadNS)
}

// Seconds is how long the take is.
func (f *File) Seconds() float64 { return float64(f.End()-f.Zero()) / 1e9 }

// Start is the date of the take's first moment, or the zero time if unknown.
func (f *File) Start() time.Time { return f.Scan.Header.Wall(f.Zero()) }

// End is the time (ns on the edges' clock) at which the take ends.
func (f *File) End() int64 { return max(f.Scan.Ended, f.Zero()) }

// Judging is how a take is judged.
type Judging struct {
	Part  int // which of the take's settings
	Setup live.Setup
}

// Judging returns the settings of a part with what is tried in place.
func (f *File) Judging(part int, t Try) (Judging, error) {
	if part < 0 || part >= len(f.Parts) {
		return Judging{}, fmt.Errorf("the take has %d sets of settings, and number %d was asked for", len(f.Parts), part+1)
	}
	p := &f.Parts[part]
	s, err := t.Apply(p.Setup, &p.Profile)
	return Judging{part, s}, err
}

// Config returns what a session needs for a setup.
func Config(s live.Setup) session.Config {
	return session.Config{Clock: s.Clock(), Rule: s.Rule, BounceNS: s.BounceNS, Quick: s.Quick,
		Buttons: s.Layout.Buttons, Target: s.Target}
}

// Model returns what is known about how the game reads, for the odds; report is
// the device's report interval in ns.
func Model(s live.Setup, report int64) odds.Model {
	return odds.Model{Clock: s.Clock(), Fixed: s.Phase != nil, Rule: s.Rule, Report: report}
}

// ReportNS is the widest measured report interval of the take's devices, ns.
func (f *File) ReportNS() int64 {
	var g int64
	for _, d := range f.Scan.Devices {
		if d.Device.Source != "demo" {
			g = max(g, int64(d.Device.ReportMS*1e6))
		}
	}
	return g
}

// edges reads the take from a place and yields its edges, in batches, as long as
// the layout of the judging is in force: another layout's buttons mean something
// else. part is which settings are in force there.
func (f *File) edges(ctx context.Context, j *Judging, from take.Entry, src io.ReaderAt, p take.Progress, yield func([]capture.Edge) bool) (skipped int64, err error) {
	r := f.Scan.Index.Reader(src, f.Size, from)
	calls := 0
	r.OnFill = func(offset int64) error {
		if calls++; p != nil && calls%4 == 0 {
			p(min(offset, f.Size), f.Size)
		}
		return ctx.Err()
	}
	layout := f.Parts[j.Part].Setup.Layout
	same := make([]bool, len(f.Parts))
	for i := range f.Parts {
		same[i] = sameLayout(f.Parts[i].Setup.Layout, layout)
	}
	one := !slices.Contains(same, false)
	in := true
	if !one && from.Offset > 0 {
		in = same[f.partAt(from.Before)]
	}
	for r.Next() {
		b := r.Batch()
		if len(b) == 0 {
			if n, ok := r.Note().(take.Settings); ok && !one && n.Name == ProfileName {
				if _, s, err := ParseProfile(n.Text); err == nil {
					in = sameLayout(s.Layout, layout)
				}
			}
			continue
		}
		if !in {
			skipped += int64(len(b))
			continue
		}
		if !yield(b) {
			return skipped, nil
		}
	}
	return skipped, r.Err()
}

// partAt returns which settings are in force at a time (ns).
func (f *File) partAt(at int64) int {
	n := 0
	for i, p := range f.Parts {
		if p.At <= at {
			n = i
		}
	}
	return n
}

func sameLayout(a, b capture.Layout) bool {
	return slices.EqualFunc(a.Buttons, b.Buttons, func(x, y capture.Button) bool { return x.Label == y.Label && x.Role == y.Role })
}

// Judged is a take as it was judged.
type Judged struct {
	*File
	Judging
	Review  *review.Review
	Summary review.Summary
	// Skipped edges were made under another layout than the one judged by.
	Skipped int64
	// Progress, if set, is told how far a pass through the whole take is.
	Progress take.Progress
}

// Judge reads the whole take and adds it up.
func (f *File) Judge(ctx context.Context, j Judging, p take.Progress) (*Judged, error) {
	src, err := os.Open(f.Path)
	if err != nil {
		return nil, fmt.Errorf("judging the take %q: %w", f.Path, err)
	}
	defer src.Close()
	out := &Judged{File: f, Judging: j, Review: review.New(Config(j.Setup))}
	out.Skipped, err = f.edges(ctx, &j, take.Entry{}, src, p, func(b []capture.Edge) bool {
		for _, e := range b {
			out.Review.Edge(e)
		}
		return true
	})
	if err != nil {
		return nil, fmt.Errorf("judging the take %q: %w", f.Path, err)
	}
	out.Review.Finish(f.End())
	out.Summary = out.Review.Summary()
	if p != nil {
		p(f.Size, f.Size)
	}
	return out, nil
}

// Log reads the take from a segment on and hands out its entries to t, with ids
// counted from the segment's, until stop returns true for the time (ns) reached,
// or to the end. Use the segment of [review.Review.Segment].
func (j *Judged) Log(ctx context.Context, g review.Segment, t review.Taker, stop func(at int64) bool) error {
	src, err := os.Open(j.Path)
	if err != nil {
		return fmt.Errorf("reading the take %q: %w", j.Path, err)
	}
	defer src.Close()
	l := review.NewLog(Config(j.Setup), Model(j.Setup, j.ReportNS()), t)
	entry := j.Scan.Index.SeekTime(g.At)
	stopped, begun := false, false
	_, err = j.edges(ctx, &j.Judging, entry, src, j.Progress, func(b []capture.Edge) bool {
		for _, e := range b {
			if !begun && e.At < g.At {
				continue
			}
			begun = true
			if stop != nil && stop(e.At) {
				stopped = true
				l.Until(e.At - 1)
				return false
			}
			l.Edge(e)
		}
		return true
	})
	if err != nil {
		return fmt.Errorf("reading the take %q: %w", j.Path, err)
	}
	if !stopped {
		l.Finish(j.End())
	}
	return nil
}

func whole(s string, least, most int64) (int64, error) {
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < least || n > most {
		return 0, fmt.Errorf("write a whole number of frames from %d to %d", least, most)
	}
	return n, nil
}

func number(s string, least, below float64) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || v < least || v >= below {
		return 0, fmt.Errorf("write a number from %v to below %v", least, below)
	}
	return v, nil
}
