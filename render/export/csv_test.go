package export

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/capture"
	"holdgap/overlay/frame"
)

func all(edges []capture.Edge) iter.Seq2[capture.Edge, error] {
	return func(yield func(capture.Edge, error) bool) {
		for _, e := range edges {
			if !yield(e, nil) {
				return
			}
		}
	}
}

func readAll(s string) (edges []capture.Edge, labels []string, err error) {
	t := ReadEdges(strings.NewReader(s))
	for e, err := range t.Edges() {
		if err != nil {
			return edges, t.Labels(), err
		}
		edges = append(edges, e)
	}
	return edges, t.Labels(), nil
}

var (
	sampleEdges = []capture.Edge{
		{At: 5_000_000_001, Button: 0, Down: true}, {At: -3, Button: 2, Key: 63},
		{At: math.MaxInt64, Button: 1, Down: true}, {At: math.MinInt64, Button: 3}, {At: 7, Button: 4}, {At: 8, Button: 63, Down: true},
	}
	sampleLabels = []string{"south", `a "heavy", one`, "=1+1", "'=x", " spaced ü"}
)

func TestEdgesCSV(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, EdgesCSV(&b, all(sampleEdges), sampleLabels))
	assert.Equal(t, `at_ns,button,key,state,label
5000000001,0,0,down,south
-3,2,63,up,'=1+1
9223372036854775807,1,0,down,"a ""heavy"", one"
-9223372036854775808,3,0,up,''=x
7,4,0,up," spaced ü"
8,63,0,down,
`, b.String())
	edges, labels, err := readAll(b.String())
	require.NoError(t, err)
	assert.Equal(t, sampleEdges, edges)
	assert.Equal(t, sampleLabels, labels[:5])
	assert.Len(t, labels, 64)

	// Another reader of RFC 4180 gets the same cells.
	rows, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	assert.Equal(t, []string{"9223372036854775807", "1", "0", "down", `a "heavy", one`}, rows[3])

	// What other programs make of the file when they save it: a byte order
	// mark, CR LF, everything quoted, no end of the last line.
	edges, labels, err = readAll("\uFEFFat_ns,button,key,state,label\r\n\"1\",\"0\",\"0\",\"down\",\"a\"\r\n2,0,0,up,a")
	require.NoError(t, err)
	assert.Equal(t, []capture.Edge{{At: 1, Down: true}, {At: 2}}, edges)
	assert.Equal(t, []string{"a"}, labels)
	edges, labels, err = readAll(edgesHeader)
	require.NoError(t, err)
	assert.Empty(t, edges)
	assert.Empty(t, labels)
}

func TestEdgesCSVErrors(t *testing.T) {
	const h = edgesHeader + "\n1,0,0,down,a\n"
	for _, c := range []struct {
		in, want string
		line     int
	}{
		{"", "first line must be", 1},
		{"time,button\n", `"time,button"`, 1},
		{h + "\n", "1 cells", 3},
		{h + "1,2,3\n", "3 cells", 3},
		{h + "1,0,0,down,a,\n", "6 cells", 3},
		{h + "1.5,0,0,up,a\n", "spreadsheet", 3},
		{h + "5.00E+09,0,0,up,a\n", "spreadsheet", 3},
		{h + "x,0,0,up,a\n", `"x" is not a whole number of ns`, 3},
		{h + "+1,0,0,up,a\n", `"+1"`, 3},
		{h + "9223372036854775808,0,0,up,a\n", "ns", 3},
		{h + "1,64,0,up,a\n", "0 to 63", 3},
		{h + "1,-1,0,up,a\n", `button "-1"`, 3},
		{h + "1,00,0,up,a\n", `button "00"`, 3},
		{h + "1,0,300,up,a\n", `key "300"`, 3},
		{h + "1,0,0,UP,a\n", "neither down nor up", 3},
		{h + "1,0,0,up,b\n", `labelled "a" before`, 3},
		{h + "1,0,0,up,\"a\n", "not closed", 3},
		{h + "1,0,0,up,\"a\"b\n", "must be a comma", 3},
		{h + "1,0,0,up,a\"b\n", "within a cell", 3},
		{h + "1,0,0,up,a\tb\n", "control characters", 3},
		{h + "1,0,0,up,\xFF\n", "UTF-8", 3},
		{h + strings.Repeat("x", maxLine+1) + "\n", "longer than", 3},
		{h + strings.Repeat("x", 1<<20), "longer than", 3},
		{"\x7fELF\x00", "first line", 1},
	} {
		_, _, err := readAll(c.in)
		var le *LineError
		if assert.ErrorAs(t, err, &le, "%.60q", c.in) {
			assert.Equal(t, c.line, le.Line, "%.60q", c.in)
			assert.ErrorContains(t, err, c.want, "%.60q", c.in)
			assert.ErrorContains(t, err, fmt.Sprintf("line %d", c.line))
			assert.LessOrEqual(t, len(le.Text), 90)
		}
	}
	for _, err := range ReadEdges(iotest.ErrReader(io.ErrNoProgress)).Edges() {
		assert.ErrorIs(t, err, io.ErrNoProgress)
	}
}

func FuzzReadEdges(f *testing.F) {
	var b bytes.Buffer
	require.NoError(f, EdgesCSV(&b, all(sampleEdges), sampleLabels))
	f.Add(b.String())
	f.Add(edgesHeader + "\n1,0,0,down,\"''=\"\n")
	f.Add(edgesHeader + "\r\n1,0,0,down,\" \"\"\"\r\n")
	f.Fuzz(func(t *testing.T, in string) {
		edges, labels, err := readAll(in)
		if err != nil {
			var le *LineError
			if !errors.As(err, &le) {
				t.Fatalf("%v is no LineError", err)
			}
		}
		// What was read is written and read the same, error or not.
		var b bytes.Buffer
		if err := EdgesCSV(&b, all(edges), labels); err != nil {
			t.Fatal(err)
		}
		again, labels2, err := readAll(b.String())
		if err != nil || !slices.Equal(again, edges) {
			t.Fatalf("again %v (%v), was %v", again, err, edges)
		}
		for _, e := range edges {
			if labels[e.Button] != labels2[e.Button] {
				t.Fatalf("label %q became %q", labels[e.Button], labels2[e.Button])
			}
		}
	})
}

var (
	samplePresses = []Press{
		{Button: "south", Multi: 1, DownNS: 1_000_000_000, UpNS: 1_033_000_000, Read: ReadSeen, Frame: 60, Hold: 2, Sure: .98},
		{Button: "=south", Multi: 2, DownNS: 1_050_000_000, Held: true, Read: ReadSeen, Frame: 63, Gap: 1, Spacing: 3},
	}
	sampleOutcomes = []Outcome{
		{AtNS: 1_000_000_000, EndNS: 1_100_000_000, Target: "a, b", Result: "linked", Hit: true, Start: -2, Presses: 3, Spacings: []frame.Frame{3, 2}, Counted: 2, Sure: .5},
		{AtNS: 2_000_000_000, EndNS: 2_100_000_000, Target: "c", Result: "late", Start: 4, Presses: 1},
	}
)

func TestPressesAndOutcomesCSV(t *testing.T) {
	tc := mustTimecode(t, "60000/1001", true, "01:00:00;00")
	var b bytes.Buffer
	require.NoError(t, PressesCSV(&b, slices.Values(samplePresses), &tc))
	assert.Equal(t, `button,multi,down_ns,up_ns,read,frame,hold,gap,spacing,sure,timecode
south,1,1000000000,1033000000,seen,60,2,,,0.9800,01:00:00;59
'=south,2,1050000000,,seen,63,,1,3,,01:00:01;02
`, b.String())
	b.Reset()
	require.NoError(t, OutcomesCSV(&b, slices.Values(sampleOutcomes), nil))
	assert.Equal(t, `at_ns,end_ns,target,result,hit,start,presses,spacings,counted,sure
1000000000,1100000000,"a, b",linked,true,-2,3,3 2,2,0.5000
2000000000,2100000000,c,late,false,4,1,,,
`, b.String())
	b.Reset()
	require.NoError(t, CuesCSV(&b, []Cue{{1_000_000_000, 2_000_000_000, "a\nb"}}, tc))
	assert.Equal(t, "in,out,text\n01:00:00;59,01:00:01;59,a b\n", b.String())
}

func TestWriteErrors(t *testing.T) {
	bad := badWriter{}
	many := make([]capture.Edge, 10_000)
	assert.ErrorIs(t, EdgesCSV(bad, all(many), nil), io.ErrShortWrite)
	assert.ErrorIs(t, EdgesCSV(bad, all(nil), nil), io.ErrShortWrite)
	assert.ErrorContains(t, EdgesCSV(io.Discard, all([]capture.Edge{{Button: 64}}), nil), "button 64")
	broken := func(yield func(capture.Edge, error) bool) { yield(capture.Edge{}, io.ErrUnexpectedEOF) }
	assert.ErrorIs(t, EdgesCSV(io.Discard, broken, nil), io.ErrUnexpectedEOF)
	assert.ErrorIs(t, PressesCSV(bad, slices.Values(samplePresses), nil), io.ErrShortWrite)
	assert.ErrorIs(t, OutcomesCSV(bad, slices.Values(sampleOutcomes), nil), io.ErrShortWrite)
	assert.ErrorIs(t, CuesCSV(bad, nil, Timecode{}), io.ErrShortWrite)
	assert.ErrorIs(t, WebVTT(bad, "", nil), io.ErrShortWrite)
	assert.ErrorIs(t, Chapters(bad, "", nil, frame.Rate{}), io.ErrShortWrite)
	assert.ErrorIs(t, JSON(bad, Document{}), io.ErrShortWrite)
	assert.ErrorIs(t, JSON(io.Discard, Document{Edges: broken}), io.ErrUnexpectedEOF)
	assert.ErrorContains(t, JSON(io.Discard, Document{Seconds: math.NaN()}), "seconds")
	assert.ErrorContains(t, JSON(io.Discard, Document{Presses: slices.Values([]Press{{Sure: math.Inf(1)}})}), "Inf")
}

type badWriter struct{}

func (badWriter) Write([]byte) (int, error) { return 0, io.ErrShortWrite }
