package export

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"iter"

	"holdgap/capture"
)

// Format names the JSON document, with its version.
const Format = "holdgap export 1"

// Rate is how often something came out, with its interval.
type Rate struct {
	Name  string  `json:"name"`
	Count int     `json:"count"`
	Of    int     `json:"of"`
	Rate  float64 `json:"rate"` // Count/Of
	Low   float64 `json:"low"`  // 95 % Wilson interval
	High  float64 `json:"high"`
}

// Document is everything of a take. Lists that are nil are left out.
type Document struct {
	Name     string // of the take
	Start    string // wall clock of the export's zero, RFC 3339; empty if unknown
	ZeroNS   int64  // the export's zero on the edges' clock, ns; edges are written from it
	Seconds  float64
	Rate     string // of the game: frames per second, as a fraction
	ReadRule string // sampled or latched
	Buttons  []string
	Rates    []Rate
	Edges    iter.Seq2[capture.Edge, error]
	Presses  iter.Seq[Press]
	Outcomes iter.Seq[Outcome]
}

// units stands in every document, so that it explains itself.
const units = `{"*_ns":"nanoseconds from the export's zero","edges":"[nanoseconds from the export's zero, button, key, 1 down or 0 up]","frame":"game frames from the export's first","hold, gap, spacing, spacings":"game frames","start":"game frames from the window's first frame, negative is early","sure":"probability","rate, low, high":"share, with its 95 % Wilson interval"}`

// JSON writes a document as one JSON object. Lists are written as they come:
// they need not fit in memory. An error among the edges ends the writing.
func JSON(w io.Writer, d Document) (err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("writing JSON: %w", err)
		}
	}()
	out := &object{Writer: bufio.NewWriterSize(w, 64<<10)}
	out.field("format", Format)
	out.raw("units", units)
	out.field("name", d.Name)
	if d.Start != "" {
		out.field("start", d.Start)
	}
	out.field("zero_ns", d.ZeroNS)
	out.field("seconds", d.Seconds)
	out.field("rate", d.Rate)
	out.field("read_rule", d.ReadRule)
	if d.Buttons != nil {
		out.field("buttons", d.Buttons)
	}
	if d.Rates != nil {
		out.field("rates", d.Rates)
	}
	if d.Presses != nil {
		out.open("presses")
		for p := range d.Presses {
			if !out.item(p) {
				break
			}
		}
		out.close()
	}
	if d.Outcomes != nil {
		out.open("outcomes")
		for o := range d.Outcomes {
			if !out.item(o) {
				break
			}
		}
		out.close()
	}
	if d.Edges != nil {
		out.open("edges")
		for e, err := range d.Edges {
			if err != nil {
				return err
			}
			down := 0
			if e.Down {
				down = 1
			}
			if !out.item([4]int64{e.At - d.ZeroNS, int64(e.Button), int64(e.Key), int64(down)}) {
				break
			}
		}
		out.close()
	}
	out.text("\n}\n")
	if out.err != nil {
		return out.err
	}
	return out.Flush()
}

// object writes a JSON object field by field, one list item a line.
type object struct {
	*bufio.Writer
	fields, items int
	err           error
}

func (o *object) text(s string) {
	if o.err == nil {
		_, o.err = o.WriteString(s)
	}
}

func (o *object) key(name string) {
	if o.fields == 0 {
		o.text("{\n")
	} else {
		o.text(",\n")
	}
	o.fields++
	o.text(`"` + name + `": `)
}

func (o *object) raw(name, value string) {
	o.key(name)
	o.text(value)
}

func (o *object) field(name string, value any) {
	b, err := json.Marshal(value)
	if err != nil && o.err == nil {
		o.err = fmt.Errorf("%s: %w", name, err)
	}
	o.raw(name, string(b))
}

func (o *object) open(name string) {
	o.key(name)
	o.text("[")
	o.items = 0
}

func (o *object) item(v any) bool {
	b, err := json.Marshal(v)
	if err != nil && o.err == nil {
		o.err = err
	}
	if o.items > 0 {
		o.text(",")
	}
	o.items++
	o.text("\n")
	o.text(string(b))
	return o.err == nil
}

func (o *object) close() { o.text("\n]") }
