package takes

import (
	"context"
	"fmt"
	"io"
	"iter"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"holdgap/capture"
	"holdgap/capture/take"
	"holdgap/overlay/frame"
	"holdgap/overlay/press"
	"holdgap/overlay/review"
	"holdgap/overlay/session"
	"holdgap/overlay/window"
	"holdgap/render/export"
)

// Formats are the formats of an export, in words, with what each is for.
var Formats = []Format{
	{"edges", "csv", "text/csv", "every button going down or up, as a table that import reads back"},
	{"presses", "csv", "text/csv", "every press with its hold, gap and spacing in frames"},
	{"outcomes", "csv", "text/csv", "every attempt at the target"},
	{"json", "json", "application/json", "everything in one document"},
	{"vtt", "vtt", "text/vtt", "marks and outcomes as a text track (WebVTT)"},
	{"chapters", "txt", "text/plain", "marks and outcomes as chapters, in ffmpeg's metadata format"},
	{"timecode", "csv", "text/csv", "marks and outcomes by SMPTE timecode"},
}

// Format is a format of an export.
type Format struct{ Name, Ext, Type, About string }

// FindFormat returns a format by its name.
func FindFormat(name string) (Format, error) {
	var names []string
	for _, f := range Formats {
		if f.Name == name {
			return f, nil
		}
		names = append(names, f.Name)
	}
	return Format{}, fmt.Errorf("format %q is not known: write one of %s", name, strings.Join(names, ", "))
}

// ExportOptions say what to write.
type ExportOptions struct {
	Format Format
	Name   string // of the take
	// ZeroNS is what times count from, on the edges' clock: the take's first
	// moment, or the beginning of a video.
	ZeroNS int64
	// Timecode labels the frames of the video, nil for none. The timecode format
	// needs one.
	Timecode *export.Timecode
	// Chapters' times are in frames of this rate; zero for ns.
	VideoRate frame.Rate
}

// cueNS is how long a mark and the least an outcome show as a cue.
const cueNS = 1_000_000_000

// Export writes the take in a format.
func (j *Judged) Export(ctx context.Context, w io.Writer, o ExportOptions) error {
	var failed error
	presses := func(yield func(export.Press) bool) {
		failed = j.Log(ctx, whole0, &pressTaker{j: j, zero: o.ZeroNS, yield: yield}, nil)
	}
	outcomes := func(yield func(export.Outcome) bool) {
		failed = j.Log(ctx, whole0, &outcomeTaker{j: j, zero: o.ZeroNS, yield: yield}, nil)
	}
	var err error
	switch o.Format.Name {
	case "edges":
		err = export.EdgesCSV(w, j.EdgeSeq(ctx), labels(j.Setup.Layout))
	case "presses":
		err = export.PressesCSV(w, presses, o.Timecode)
	case "outcomes":
		err = export.OutcomesCSV(w, outcomes, o.Timecode)
	case "json":
		d := export.Document{Name: o.Name, ZeroNS: o.ZeroNS, Seconds: j.Seconds(), Rate: j.Setup.Rate.String(),
			ReadRule: j.Setup.Rule.String(), Buttons: labels(j.Setup.Layout), Edges: j.EdgeSeq(ctx), Presses: presses, Outcomes: outcomes}
		if s := j.Scan.Header.Wall(o.ZeroNS); !s.IsZero() {
			d.Start = s.Format(time.RFC3339Nano)
		}
		for _, r := range slices.Concat(j.Summary.Outcomes, j.Summary.Verdicts) {
			if r.Of > 0 {
				d.Rates = append(d.Rates, export.Rate{Name: r.Kind, Count: int(r.Count), Of: int(r.Of), Rate: r.Rate, Low: r.Low, High: r.High})
			}
		}
		err = export.JSON(w, d)
	case "vtt", "chapters", "timecode":
		cues, cerr := j.cues(ctx, o.ZeroNS)
		switch {
		case cerr != nil:
			err = cerr
		case o.Format.Name == "vtt":
			err = export.WebVTT(w, "holdgap: marks and outcomes of the take "+o.Name, cues)
		case o.Format.Name == "chapters":
			err = export.Chapters(w, o.Name, cues, o.VideoRate)
		case o.Timecode == nil:
			err = fmt.Errorf("the timecode format needs the video's rate: give it, for example 30000/1001")
		default:
			err = export.CuesCSV(w, cues, *o.Timecode)
		}
	}
	if err == nil {
		err = failed
	}
	if err != nil {
		return fmt.Errorf("exporting the take %q as %s: %w", o.Name, o.Format.Name, err)
	}
	return nil
}

// whole0 is the segment of the whole take.
var whole0 = review.Segment{At: math.MinInt64}

// EdgeSeq returns the edges of the take that were made under the layout it is
// judged by.
func (j *Judged) EdgeSeq(ctx context.Context) iter.Seq2[capture.Edge, error] {
	return func(yield func(capture.Edge, error) bool) {
		src, err := os.Open(j.Path)
		if err == nil {
			defer src.Close()
			_, err = j.edges(ctx, &j.Judging, take.Entry{}, src, j.Progress, func(b []capture.Edge) bool {
				for _, e := range b {
					if !yield(e, nil) {
						return false
					}
				}
				return true
			})
		}
		if err != nil {
			yield(capture.Edge{}, err)
		}
	}
}

func labels(l capture.Layout) []string {
	out := make([]string, len(l.Buttons))
	for i, b := range l.Buttons {
		out[i] = b.Label
	}
	return out
}

// maxCues bounds the cues of an export; no player shows more.
const maxCues = 100_000

func (j *Judged) cues(ctx context.Context, zero int64) ([]export.Cue, error) {
	var cues []export.Cue
	for _, m := range j.Scan.Marks {
		cues = append(cues, export.Cue{StartNS: m.At - zero, EndNS: m.At - zero + cueNS, Text: m.Text})
	}
	more := false
	t := &outcomeTaker{j: j, zero: zero, yield: func(o export.Outcome) bool {
		if len(cues) >= maxCues {
			more = true
			return false
		}
		text := o.Target
		if text != "" {
			text += ": "
		}
		cues = append(cues, export.Cue{StartNS: o.AtNS, EndNS: max(o.EndNS, o.AtNS+cueNS), Text: text + o.Result})
		return true
	}}
	t.words = true
	if err := j.Log(ctx, whole0, t, func(int64) bool { return more }); err != nil {
		return nil, err
	}
	if more {
		return nil, fmt.Errorf("there are more than %d marks and outcomes: trim the take first", maxCues)
	}
	return cues, nil
}

// pressTaker turns presses into those of an export.
type pressTaker struct {
	j     *Judged
	zero  int64
	yield func(export.Press) bool
	over  bool
}

func (t *pressTaker) put(p export.Press) {
	if !t.over {
		t.over = !t.yield(p)
	}
}

func (t *pressTaker) Row(r *review.Row) {
	if r.State == press.Pending {
		return // no frame has read it when the take ends
	}
	p := export.Press{Button: t.j.Setup.Layout.Buttons[r.Button].Label, Multi: r.Place, DownNS: r.DownNS - t.zero,
		Read: export.ReadSeen, Frame: r.First - t.j.Setup.Clock().At(t.zero)}
	if r.State == press.Down {
		p.Held = true
	} else {
		p.UpNS, p.Hold = r.UpNS-t.zero, r.Hold
	}
	if r.Gap != press.NoGap {
		p.Gap, p.Spacing = r.Gap, r.Spacing
	}
	if r.State == press.Unseen {
		p.Read, p.Multi = export.ReadUnseen, 0
		t.put(p)
		return
	}
	if p.Sure = r.HoldSure; p.Sure > 0 && r.Gap != press.NoGap {
		p.Sure = r.HoldSure * r.GapSure
	}
	t.put(p)
	for i, g := range r.Inner[:r.NInner] {
		in := export.Press{Button: p.Button, DownNS: g.To - t.zero, UpNS: p.UpNS, Held: p.Held, Read: export.ReadMerged,
			Frame: t.j.Setup.Clock().At(g.To) - t.j.Setup.Clock().At(t.zero)}
		if i+1 < int(r.NInner) {
			in.UpNS, in.Held = r.Inner[i+1].From-t.zero, false
		}
		t.put(in)
	}
}

func (*pressTaker) Multi(*session.Multi, float64)     {}
func (*pressTaker) Direction(session.Direction)       {}
func (*pressTaker) Outcome(*session.Outcome, float64) {}

// outcomeTaker turns attempts into outcomes of an export.
type outcomeTaker struct {
	j     *Judged
	zero  int64
	yield func(export.Outcome) bool
	words bool // say the result in words
	over  bool
}

func (*outcomeTaker) Row(*review.Row)               {}
func (*outcomeTaker) Multi(*session.Multi, float64) {}
func (*outcomeTaker) Direction(session.Direction)   {}

func (t *outcomeTaker) Outcome(o *session.Outcome, sure float64) {
	if !o.Judged || t.over {
		return
	}
	c := t.j.Setup.Clock()
	e := export.Outcome{AtNS: o.Down - t.zero, Target: t.j.Setup.Target.Name, Result: o.Result.Kind.String(),
		Hit: o.Result.Kind == window.Hit, Presses: o.N, Sure: sure}
	last := o.Close()
	if o.N > 0 {
		e.AtNS, e.Start = o.Downs[0]-t.zero, o.Starts[0]
		last = max(last, o.Open+o.Starts[o.N-1])
	}
	e.EndNS = max(c.Poll(last)-t.zero, e.AtNS)
	for i := 1; i < o.N; i++ {
		e.Spacings = append(e.Spacings, o.Starts[i]-o.Starts[i-1])
	}
	if e.Hit {
		e.Counted = o.Result.Press
	}
	if o.Result.Kind == window.NoPress {
		e.Result = "nothing"
	}
	if t.words {
		e.Result = o.Result.String()
	}
	t.over = !t.yield(e)
}
