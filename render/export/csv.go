package export

import (
	"bufio"
	"fmt"
	"io"
	"iter"
	"math"
	"strconv"
	"strings"

	"holdgap/capture"
)

// edgesHeader is the first line of a table of edges.
const edgesHeader = "at_ns,button,key,state,label"

// EdgesCSV writes edges as a table that [ReadEdges] reads back to the same
// edges: the time (ns on the edges' clock), the numbers of button and key, down
// or up, and the button's label. A button without a label has an empty one. An
// error among the edges ends the writing.
func EdgesCSV(w io.Writer, edges iter.Seq2[capture.Edge, error], labels []string) error {
	out := bufio.NewWriterSize(w, 64<<10)
	quoted := make([]string, capture.MaxButtons)
	for i := range min(len(labels), len(quoted)) {
		quoted[i] = cell(labels[i])
	}
	line := append(make([]byte, 0, 256), edgesHeader...)
	line = append(line, '\n')
	for e, err := range edges {
		if err != nil {
			return fmt.Errorf("writing edges as a table: %w", err)
		}
		if e.Button >= capture.MaxButtons {
			return fmt.Errorf("writing edges as a table: button %d, and there are %d", e.Button, capture.MaxButtons)
		}
		if _, err := out.Write(line); err != nil {
			return fmt.Errorf("writing edges as a table: %w", err)
		}
		line = strconv.AppendInt(line[:0], e.At, 10)
		line = append(line, ',')
		line = strconv.AppendUint(line, uint64(e.Button), 10)
		line = append(line, ',')
		line = strconv.AppendUint(line, uint64(e.Key), 10)
		if e.Down {
			line = append(line, ",down,"...)
		} else {
			line = append(line, ",up,"...)
		}
		line = append(line, quoted[e.Button]...)
		line = append(line, '\n')
	}
	_, _ = out.Write(line) // the buffer keeps the error for Flush
	if err := out.Flush(); err != nil {
		return fmt.Errorf("writing edges as a table: %w", err)
	}
	return nil
}

// PressesCSV writes presses as a table: times in ns from the export's zero,
// lengths in frames, an empty cell where there is no value. With a timecode
// there is one more column, the label of the video frame that shows when the
// button goes down.
func PressesCSV(w io.Writer, presses iter.Seq[Press], tc *Timecode) error {
	t := newTable(w, tc, "button", "multi", "down_ns", "up_ns", "read", "frame", "hold", "gap", "spacing", "sure")
	for p := range presses {
		up := ""
		if !p.Held {
			up = strconv.FormatInt(p.UpNS, 10)
		}
		if err := t.row(p.DownNS, cell(p.Button), count(int64(p.Multi)), strconv.FormatInt(p.DownNS, 10), up,
			cell(p.Read), strconv.FormatInt(int64(p.Frame), 10), count(int64(p.Hold)), count(int64(p.Gap)),
			count(int64(p.Spacing)), sure(p.Sure)); err != nil {
			return fmt.Errorf("writing presses as a table: %w", err)
		}
	}
	if err := t.Flush(); err != nil {
		return fmt.Errorf("writing presses as a table: %w", err)
	}
	return nil
}

// OutcomesCSV writes outcomes as a table, in the units of [PressesCSV];
// spacings stand in one cell with spaces between them.
func OutcomesCSV(w io.Writer, outcomes iter.Seq[Outcome], tc *Timecode) error {
	t := newTable(w, tc, "at_ns", "end_ns", "target", "result", "hit", "start", "presses", "spacings", "counted", "sure")
	for o := range outcomes {
		var spacings []string
		for _, s := range o.Spacings {
			spacings = append(spacings, strconv.FormatInt(int64(s), 10))
		}
		if err := t.row(o.AtNS, strconv.FormatInt(o.AtNS, 10), strconv.FormatInt(o.EndNS, 10), cell(o.Target), cell(o.Result),
			strconv.FormatBool(o.Hit), strconv.FormatInt(int64(o.Start), 10), strconv.Itoa(o.Presses),
			strings.Join(spacings, " "), count(int64(o.Counted)), sure(o.Sure)); err != nil {
			return fmt.Errorf("writing outcomes as a table: %w", err)
		}
	}
	if err := t.Flush(); err != nil {
		return fmt.Errorf("writing outcomes as a table: %w", err)
	}
	return nil
}

// CuesCSV writes cues as a table of timecode labels: in, out (the label of the
// frame that shows at each end) and text.
func CuesCSV(w io.Writer, cues []Cue, tc Timecode) error {
	t := newTable(w, nil, "in", "out", "text")
	for _, c := range cues {
		if err := t.row(0, tc.At(c.StartNS), tc.At(c.EndNS), cell(c.Text)); err != nil {
			return fmt.Errorf("writing cues as a table: %w", err)
		}
	}
	if err := t.Flush(); err != nil {
		return fmt.Errorf("writing cues as a table: %w", err)
	}
	return nil
}

// table writes rows of cells that need no more quoting.
type table struct {
	*bufio.Writer
	tc *Timecode
}

func newTable(w io.Writer, tc *Timecode, columns ...string) *table {
	t := &table{bufio.NewWriterSize(w, 64<<10), tc}
	if tc != nil {
		columns = append(columns, "timecode")
	}
	_, _ = t.WriteString(strings.Join(columns, ",") + "\n") // the buffer keeps the error
	return t
}

func (t *table) row(ns int64, cells ...string) error {
	if t.tc != nil {
		cells = append(cells, t.tc.At(ns))
	}
	_, err := t.WriteString(strings.Join(cells, ",") + "\n")
	return err
}

// count writes a number of which 0 means that there is none.
func count(n int64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatInt(n, 10)
}

// sure writes a probability with four decimals; 0 means not computed.
func sure(p float64) string {
	if p == 0 || math.IsNaN(p) {
		return ""
	}
	return strconv.FormatFloat(p, 'f', 4, 64)
}

// cell writes a text so that every reader of RFC 4180 gets it whole, and no
// spreadsheet runs it.
func cell(s string) string {
	s = oneLine(s)
	if formula(s) {
		s = "'" + s
	}
	if strings.ContainsAny(s, `",`) || s != strings.TrimSpace(s) {
		s = `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}

// formula reports whether a spreadsheet might take a text for a formula; also
// one that had its apostrophe already, so that taking one away is right.
func formula(s string) bool {
	s = strings.TrimLeft(s, "'")
	return s != "" && strings.ContainsRune("=+-@", rune(s[0]))
}

// plain takes away what cell put in front.
func plain(s string) string {
	if formula(s) && s[0] == '\'' {
		return s[1:]
	}
	return s
}
