package export

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
	"strconv"
	"strings"
	"unicode/utf8"

	"holdgap/capture"
)

// maxLine bounds a line of a table, in bytes.
const maxLine = 4096

// LineError says what is wrong with a line of a table.
type LineError struct {
	Line    int    // counted from 1
	Text    string // the line, or its beginning
	Problem string // with what to write instead
}

// Error quotes the line.
func (e *LineError) Error() string {
	return fmt.Sprintf("reading edges from a table, line %d, %q: %s", e.Line, e.Text, e.Problem)
}

// EdgesTable reads edges from a table such as [EdgesCSV] writes. It uses little
// memory however long the table.
type EdgesTable struct {
	in     *bufio.Reader
	line   int
	labels [capture.MaxButtons]string
	seen   [capture.MaxButtons]bool
	cells  []string
}

// ReadEdges returns a reader of a table of edges.
func ReadEdges(r io.Reader) *EdgesTable {
	return &EdgesTable{in: bufio.NewReaderSize(r, maxLine+2)}
}

// Edges returns the edges, in the order of the table. Reading is strict: the
// first line that is not as it must be ends it with a [LineError], and no edge
// after it is read. The table can be read once.
func (t *EdgesTable) Edges() iter.Seq2[capture.Edge, error] {
	return func(yield func(capture.Edge, error) bool) {
		first, err := t.next()
		if err == nil || errors.Is(err, io.EOF) {
			first = strings.TrimPrefix(first, "\uFEFF") // some spreadsheets put it there
			if err != nil || first != edgesHeader {
				err = t.wrong(first, "the first line must be "+edgesHeader)
			}
		}
		if err != nil {
			yield(capture.Edge{}, err)
			return
		}
		for {
			line, err := t.next()
			if err == io.EOF {
				return
			}
			var e capture.Edge
			if err == nil {
				e, err = t.edge(line)
			}
			if !yield(e, err) || err != nil {
				return
			}
		}
	}
}

// Labels returns the labels met so far, by button number, up to the highest
// button; a button that was not met has an empty label.
func (t *EdgesTable) Labels() []string {
	n := 0
	for i, s := range t.seen {
		if s {
			n = i + 1
		}
	}
	return append([]string(nil), t.labels[:n]...)
}

// next reads a line without its end.
func (t *EdgesTable) next() (string, error) {
	b, err := t.in.ReadSlice('\n')
	if err == io.EOF && len(b) > 0 {
		err = nil // the last line needs no end
	}
	switch {
	case err == io.EOF:
		return "", io.EOF
	case err == bufio.ErrBufferFull || len(b) > maxLine:
		t.line++
		return "", t.wrong(string(b), fmt.Sprintf("the line is longer than %d bytes", maxLine))
	case err != nil:
		return "", fmt.Errorf("reading edges from a table, after line %d: %w", t.line, err)
	}
	t.line++
	b = bytes.TrimSuffix(b, []byte("\n"))
	b = bytes.TrimSuffix(b, []byte("\r"))
	if !utf8.Valid(b) {
		return "", t.wrong(string(b), "it is not UTF-8: save the table as UTF-8")
	}
	return string(b), nil
}

func (t *EdgesTable) wrong(line, problem string) error {
	if len(line) > 80 {
		line = strings.ToValidUTF8(line[:80], "") + "…"
	}
	return &LineError{max(t.line, 1), line, problem}
}

// edge reads one line.
func (t *EdgesTable) edge(line string) (capture.Edge, error) {
	var e capture.Edge
	var problem string
	t.cells, problem = split(t.cells[:0], line)
	if problem == "" && len(t.cells) != 5 {
		problem = fmt.Sprintf("it has %d cells and must have 5: %s", len(t.cells), edgesHeader)
	}
	if problem != "" {
		return e, t.wrong(line, problem)
	}
	at, err := strconv.ParseInt(t.cells[0], 10, 64)
	if err != nil || t.cells[0][0] == '+' {
		problem = fmt.Sprintf("the time %q is not a whole number of ns", t.cells[0])
		if strings.ContainsAny(t.cells[0], "eE.,") {
			problem += ": a spreadsheet has rounded it; export the table anew and do not save it from there"
		}
		return e, t.wrong(line, problem)
	}
	button, ok := small(t.cells[1], capture.MaxButtons)
	if !ok {
		return e, t.wrong(line, fmt.Sprintf("the button %q is not a number from 0 to %d", t.cells[1], capture.MaxButtons-1))
	}
	key, ok := small(t.cells[2], capture.MaxKeys)
	if !ok {
		return e, t.wrong(line, fmt.Sprintf("the key %q is not a number from 0 to %d", t.cells[2], capture.MaxKeys-1))
	}
	e = capture.Edge{At: at, Button: button, Key: key}
	switch t.cells[3] {
	case "down":
		e.Down = true
	case "up":
	default:
		return capture.Edge{}, t.wrong(line, fmt.Sprintf("the state %q is neither down nor up", t.cells[3]))
	}
	label := plain(t.cells[4])
	if oneLine(label) != label {
		return capture.Edge{}, t.wrong(line, "the label has control characters in it")
	}
	if t.seen[button] && t.labels[button] != label {
		return capture.Edge{}, t.wrong(line, fmt.Sprintf("button %d was labelled %q before", button, t.labels[button]))
	}
	t.seen[button], t.labels[button] = true, label
	return e, nil
}

// small reads a number below limit, without sign or leading zero.
func small(s string, limit uint8) (uint8, bool) {
	n, err := strconv.ParseUint(s, 10, 8)
	return uint8(n), err == nil && uint8(n) < limit && (len(s) == 1 || s[0] != '0')
}

// split takes a line of RFC 4180 apart. A cell holds no line end.
func split(cells []string, line string) ([]string, string) {
	for {
		if !strings.HasPrefix(line, `"`) {
			cell, rest, more := strings.Cut(line, ",")
			if strings.Contains(cell, `"`) {
				return cells, `a " stands within a cell: write "" inside "…"`
			}
			cells = append(cells, cell)
			if !more {
				return cells, ""
			}
			line = rest
			continue
		}
		var b strings.Builder
		line = line[1:]
		for {
			part, rest, closed := strings.Cut(line, `"`)
			if !closed {
				return cells, `a " is not closed`
			}
			b.WriteString(part)
			line = rest
			if !strings.HasPrefix(line, `"`) {
				break
			}
			b.WriteByte('"')
			line = line[1:]
		}
		cells = append(cells, b.String())
		if line == "" {
			return cells, ""
		}
		if line[0] != ',' {
			return cells, `after a closing " there must be a comma`
		}
		line = line[1:]
	}
}
