package take

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/capture"
)

// RFC 3720, appendix B.4: CRC-32C of 32 bytes of zeroes, of ones, and counting
// up, as bytes in the order in which they are sent (quoted from memory).
func TestChecksumIsCRC32C(t *testing.T) {
	up := make([]byte, 32)
	for i := range up {
		up[i] = byte(i)
	}
	for want, in := range map[string][]byte{
		"aa36918a": make([]byte, 32),
		"43aba862": bytes.Repeat([]byte{0xFF}, 32),
		"4e79dd46": up,
	} {
		got := appendCRC(append([]byte{0, 0}, in...), 0)
		assert.Equal(t, want, hex.EncodeToString(got[len(got)-4:]))
	}
}

// The bytes of a small take, pinned: what was written once must be readable for
// ever. Lines follow the package's documentation.
func TestBytesOfATake(t *testing.T) {
	h := Header{ID: [8]byte{1, 2, 3, 4, 5, 6, 7, 8}, Start: time.Unix(1, 0), StartAt: 100, Program: "p"}
	b := encode(t, h, []capture.Edge{
		{At: 1000, Button: 5, Down: true},
		{At: 51_000, Button: 5},
		{At: 352_000, Button: 40, Key: 9, Down: true},
	}, Mark{At: -1, Text: "hi"})
	want := strings.Join([]string{
		"8f686f6c64676170207461 6b650d0a1a",
		"ffe7 01 1200 01 0102030405060708 80a8d6b907 c801 0170 e5c97d6e",
		"ffe7 03 0400 01 026869 e77e1827",
		"ffe7 92 0a e807 0b 32 0a ad02 ff2809 5f8a7d49",
		"ffe7 07 0400 80fc2a 03 d72c2feb",
	}, "")
	got := hex.EncodeToString(b)
	assert.Equal(t, strings.ReplaceAll(want, " ", ""), got)
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		grain := rapid.SampledFrom([]int64{1, 1000}).Draw(t, "grain")
		at := rapid.SampledFrom([]int64{0, 1, -5_000_000, 4e15, math.MaxInt64 - 1e6, math.MinInt64}).Draw(t, "base")
		edges := make([]capture.Edge, rapid.IntRange(0, 60).Draw(t, "n"))
		for i := range edges {
			step := rapid.SampledFrom([]int64{0, 1, 7, 127, 128, 16384, 2_097_151, 2_097_152, 1 << 40, -1, -1 << 40}).Draw(t, "step")
			next := at + step*grain
			if step > 0 && next < at || step < 0 && next > at {
				next = at
			}
			at = next
			edges[i] = capture.Edge{
				At: at, Down: rapid.Bool().Draw(t, "down"),
				Button: rapid.Uint8Range(0, 63).Draw(t, "button"), Key: rapid.Uint8Range(0, 63).Draw(t, "key"),
			}
		}
		var b bytes.Buffer
		w := NewWriter(&b)
		if err := w.Header(testHeader); err != nil {
			t.Fatal(err)
		}
		for _, e := range edges {
			if err := w.Edge(e); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.End(at); err != nil {
			t.Fatal(err)
		}
		got, _, rep, err := decode(b.Bytes())
		if err != nil || !rep.Whole() || !rep.Closed || fmt.Sprint(got) != fmt.Sprint(edges) {
			t.Fatalf("read %v (%v, %v), wrote %v", got, rep, err, edges)
		}
		book, err := byTheBook(b.Bytes())
		if err != nil || fmt.Sprint(book) != fmt.Sprint(edges) {
			t.Fatalf("by the book %v (%v), wrote %v", book, err, edges)
		}
	})
}

func TestNotesRoundTrip(t *testing.T) {
	notes := []Note{
		Settings{At: 1, Name: "profile.toml", Text: []byte("rate = \"60\"\n")},
		Mark{At: 7, Text: "a link at last — ü"},
		Device{At: 8, Attached: true, Device: capture.Device{ID: 3, Name: "A stick", Source: "evdev", Identity: "0003:0001:0002", Keyboard: true, ReportMS: 4}},
		Device{At: 9, Device: capture.Device{ID: 3}},
		Loss{From: 10, To: 20, Edges: 30, Reason: "why"},
		Video{Offset: -5, Name: "match.mkv", Size: 1 << 40, Num: 60000, Den: 1001},
	}
	_, got, rep, err := decode(encode(t, testHeader, nil, notes...))
	require.NoError(t, err)
	assert.True(t, rep.Whole())
	assert.EqualValues(t, 30, rep.NotRecorded)
	require.Len(t, got, len(notes)+2)
	assert.Equal(t, testHeader, got[0])
	assert.Equal(t, notes, got[1:len(got)-1])
	assert.Equal(t, End{At: testHeader.StartAt}, got[len(got)-1])
	assert.Equal(t, testHeader.Start.Add(time.Second), testHeader.Wall(testHeader.StartAt+1e9))
	assert.True(t, Header{}.Wall(7).IsZero())
}

func TestWriterRefuses(t *testing.T) {
	w := NewWriter(io.Discard)
	assert.ErrorContains(t, w.Edge(capture.Edge{}), "header comes first")
	require.NoError(t, w.Header(testHeader))
	assert.ErrorContains(t, w.Header(testHeader), "one already")
	assert.ErrorContains(t, w.Note(testHeader), "one already")
	assert.ErrorContains(t, w.Note(Damage{}), "take.Damage")
	assert.ErrorContains(t, w.Note(Settings{Name: "s", Text: []byte{0xFF}}), `"s"`)
	assert.ErrorContains(t, w.Note(Mark{Text: strings.Repeat("x", 70_000)}), "shorten")
	assert.ErrorContains(t, w.Edge(capture.Edge{Button: 64}), "button 64")
	assert.ErrorContains(t, w.Edge(capture.Edge{Key: 64}), "key 64")
	require.NoError(t, w.Edge(capture.Edge{Button: 63, Key: 63}), "a refusal does not end the writing")
	require.NoError(t, w.Flush())
}

// No text that a note holds can look like a mark.
func TestNoMarkInsideText(t *testing.T) {
	b, err := appendNote(nil, Mark{Text: "\xFF\xE7\x80\x00 \xFF"})
	require.NoError(t, err)
	assert.NotContains(t, string(b[2:len(b)-crcSize]), "\xFF")
}

func TestBytesAnEdge(t *testing.T) {
	const n = 100_000
	for name, c := range map[string]struct {
		edges []capture.Edge
		most  float64
	}{
		"realistic, full blocks": {realistic(n, 1), 5},
		"stamped in single ns":   {unround(realistic(n, 1)), 6},
		"worst of one-byte tags": {slow(n, 2_097_151_000), 4.75},
	} {
		empty := len(encode(t, testHeader, nil))
		per := float64(len(encode(t, testHeader, c.edges))-empty) / n
		t.Logf("%s: %.3f bytes an edge", name, per)
		assert.LessOrEqual(t, per, c.most+0.001, name)
	}
}

// unround adds a fraction of a µs to each time, as a browser's clock does.
func unround(edges []capture.Edge) []capture.Edge {
	for i := range edges {
		edges[i].At += int64(i * 389 % 1000)
	}
	return edges
}

// slow makes edges with a fixed spacing in ns.
func slow(n int, spacing int64) []capture.Edge {
	edges := make([]capture.Edge, n)
	for i := range edges {
		edges[i] = capture.Edge{At: 5e9 + int64(i)*spacing, Button: uint8(i / 2 % 31), Key: uint8(i / 2 % 4), Down: i%2 == 0}
	}
	return edges
}

// Every flip of every single bit is detected (the report is not whole, and only
// edges of the block that it hit are missing) or harmless; no edge is ever wrong.
func TestEveryBitFlip(t *testing.T) {
	edges := realistic(100, 3)
	edges[40].Button, edges[41].Key = 50, 20
	edges = append(edges, capture.Edge{At: edges[99].At - 5, Down: true}) // goes back
	sound := encode(t, testHeader, edges, Settings{Name: "s", Text: []byte("x = 1")}, Mark{At: 5, Text: "m"})
	b := bytes.Clone(sound)
	for bit := range len(b) * 8 {
		b[bit/8] ^= 1 << (bit % 8)
		got, notes, rep, err := decode(b)
		b[bit/8] ^= 1 << (bit % 8)
		require.NoError(t, err, "bit %d", bit)
		require.False(t, rep.Whole(), "bit %d went unseen: %v", bit, rep)
		require.GreaterOrEqual(t, len(got), len(edges)-BlockEdges, "bit %d", bit)
		require.True(t, within(got, edges), "bit %d made an edge wrong", bit)
		var damages int
		for _, n := range notes {
			if _, ok := n.(Damage); ok {
				damages++
			}
		}
		require.Positive(t, damages, "bit %d: no note of it", bit)
		require.LessOrEqual(t, rep.Lost+rep.Unfinished, int64(100), "bit %d cost too much", bit)
	}
	assert.Equal(t, sound, b)
}

// within reports whether got is edges with some left out, in order.
func within(got, edges []capture.Edge) bool {
	for _, g := range got {
		for len(edges) > 0 && edges[0] != g {
			edges = edges[1:]
		}
		if len(edges) == 0 {
			return false
		}
		edges = edges[1:]
	}
	return true
}

// Cut off at any byte, a take reads as what was whole before.
func TestEveryTruncation(t *testing.T) {
	edges := realistic(50, 4)
	whole := encode(t, testHeader, edges)
	head := len(encode(t, testHeader, nil))
	for n := range whole {
		got, _, rep, err := decode(whole[:n])
		if len(got) == 0 && n < head {
			if err != nil {
				assert.ErrorIs(t, err, ErrEmpty, "%d bytes", n)
			}
			continue
		}
		require.NoError(t, err, "%d bytes", n)
		require.Equal(t, append([]capture.Edge(nil), edges[:len(got)]...), got, "%d bytes", n)
		require.False(t, rep.Closed)
		require.Zero(t, rep.Places, "%d bytes: %v", n, rep)
		require.Equal(t, int64(n), rep.Bytes)
	}
}

func TestBadFiles(t *testing.T) {
	take := encode(t, testHeader, realistic(64, 5))
	other := testHeader
	other.ID[0]++
	newer := testHeader
	newer.Version = 9

	t.Run("empty", func(t *testing.T) {
		for _, s := range []string{"", "\x8F", Signature[:15], Signature} {
			_, _, _, err := decode([]byte(s))
			assert.ErrorIs(t, err, ErrEmpty, "%q", s)
		}
	})
	t.Run("foreign", func(t *testing.T) {
		for _, s := range []string{"x", "at_ns,button,label\n1,2,3\n", strings.Repeat("\xFF\xE7\x80", 1000), strings.Repeat("\x00", 3<<20)} {
			_, _, rep, err := decode([]byte(s))
			assert.ErrorIs(t, err, ErrForeign)
			assert.ErrorContains(t, err, fmt.Sprintf("%.5q", s)[:3], "the file is quoted")
			assert.Less(t, rep.Bytes, int64(searchLimit+bufferSize+1), "it does not search for ever")
		}
	})
	t.Run("signature lost", func(t *testing.T) {
		got, _, rep, err := decode(append([]byte("garbage"), take[16:]...))
		require.NoError(t, err)
		assert.Len(t, got, 64)
		assert.EqualValues(t, 7, rep.Lost)
	})
	t.Run("another take behind", func(t *testing.T) {
		got, notes, rep, err := decode(append(bytes.Clone(take), encode(t, other, realistic(5, 6))...))
		require.NoError(t, err)
		assert.Len(t, got, 64, "the other's edges have another clock")
		assert.EqualValues(t, len(take)+16, rep.Another)
		assert.IsType(t, Damage{}, notes[len(notes)-1])
		assert.Contains(t, rep.String(), "Another take begins")
	})
	t.Run("newer version", func(t *testing.T) {
		b := encode(t, newer, realistic(20, 7))
		// A kind of block that does not exist yet, well formed.
		start := len(b)
		b = append(b, mark0, mark1, 99, 3, 0, 'n', 'e', 'w')
		b = appendCRC(b, start)
		got, _, rep, err := decode(b)
		require.NoError(t, err)
		assert.Len(t, got, 20)
		assert.Equal(t, 9, rep.Newer)
		assert.EqualValues(t, 1, rep.Unknown)
		assert.EqualValues(t, 12, rep.UnknownBytes)
		assert.False(t, rep.Whole())
		assert.Contains(t, rep.String(), "update it")
	})
	t.Run("lost in time and bytes", func(t *testing.T) {
		b := bytes.Clone(take)
		first := bytes.Index(b, []byte{mark0, mark1, 0x9F})
		require.Positive(t, first)
		second := first + bytes.Index(b[first+1:], []byte{mark0, mark1}) + 1
		b[second+6] ^= 4
		edges := realistic(64, 5)
		got, notes, rep, err := decode(b)
		require.NoError(t, err)
		assert.Equal(t, append(append([]capture.Edge{}, edges[:16]...), edges[32:]...), got)
		assert.Equal(t, 1, rep.Places)
		assert.EqualValues(t, 16, rep.Missing)
		assert.Equal(t, edges[32].At-edges[15].At, rep.LostNS)
		d := notes[1].(Damage)
		assert.Equal(t, rep.Damages[0], d)
		assert.EqualValues(t, second, d.Offset)
		assert.Equal(t, rep.Lost, d.Bytes)
		assert.Equal(t, rep.LostNS, d.Span())
		assert.Contains(t, rep.String(), "in 1 places")
		assert.Contains(t, d.String(), "edges may be missing within")
	})
	t.Run("a page of zeroes", func(t *testing.T) {
		edges := realistic(4000, 8)
		b := encode(t, testHeader, edges)
		clear(b[4096:8192])
		got, _, rep, err := decode(b)
		require.NoError(t, err)
		assert.True(t, within(got, edges))
		assert.Equal(t, 1, rep.Places)
		assert.Equal(t, int64(len(edges)-len(got)), rep.Missing)
		assert.Less(t, rep.Missing, int64(4096/4+32))
	})
}

// A sound block whose content no writer writes is not trusted.
func TestCraftedBlocks(t *testing.T) {
	head := encode(t, testHeader, nil)
	head = head[:bytes.LastIndex(head, []byte{mark0, mark1})] // without its end
	block := func(kind byte, payload ...byte) []byte {
		b := bytes.Clone(head)
		start := len(b)
		b = append(b, mark0, mark1, kind, byte(len(payload)))
		return appendCRC(append(b, payload...), start)
	}
	huge := []byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 1}
	for name, b := range map[string][]byte{
		"unit 2":              block(0xA0, 1, 0),
		"unit 3":              block(0xB0, 1, 0),
		"no base":             block(0x80),
		"base too big":        block(0x80, append(huge, 0)...),
		"negative zero":       block(0xC0, 0, 0),
		"reserved tag":        block(0x80, 1, 125<<1),
		"escape cut off":      block(0x80, 1, 0xFE, 1),
		"button too big":      block(0x80, 1, 0xFE, 64, 0),
		"key too big":         block(0x80, 1, 0xFE, 0, 64),
		"an edge too few":     block(0x81, 1, 0),
		"an edge too many":    block(0x80, 1, 0, 1, 0),
		"time runs over":      block(0x81, append(append([]byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x7F, 0}, huge...), 0)...),
		"µs delta overflows":  block(0x91, append([]byte{1, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x7F}, 0)...),
		"settings cut off":    append(bytes.Clone(head), noteBlock(kindSettings, 0, 5, 'a')...),
		"text is not UTF-8":   append(bytes.Clone(head), noteBlock(kindMark, 0, 1, 0xC0)...),
		"device number":       append(bytes.Clone(head), noteBlock(kindDevice, 0, 0, 0xFF, 0xFF, 0x7F)...),
		"header of version 0": append([]byte(Signature), noteBlock(kindHeader, 0)...),
	} {
		got, _, rep, err := decode(b)
		assert.NoError(t, err, name)
		assert.Empty(t, got, name)
		assert.EqualValues(t, 1, rep.Unknown, name)
		assert.Equal(t, 1, rep.Places, name)
	}
}

func noteBlock(kind byte, payload ...byte) []byte {
	b := []byte{mark0, mark1, kind, byte(len(payload)), 0}
	return appendCRC(append(b, payload...), 0)
}

func TestReaderErrors(t *testing.T) {
	b := encode(t, testHeader, realistic(100, 9))
	var n int
	for e, err := range NewReader(iotest.TimeoutReader(iotest.OneByteReader(bytes.NewReader(b)))).Edges() {
		require.ErrorIs(t, err, iotest.ErrTimeout)
		require.Zero(t, e)
		n++
	}
	assert.Equal(t, 1, n)
	r := NewReader(iotest.OneByteReader(bytes.NewReader(b)))
	for _, err := range r.Edges() {
		require.NoError(t, err)
	}
	assert.True(t, r.Report().Whole(), "any split of the reads gives the same")
	r = NewReader(bytes.NewReader(b))
	r.OnFill = func(int64) error { return os.ErrDeadlineExceeded }
	assert.False(t, r.Next())
	assert.ErrorIs(t, r.Err(), os.ErrDeadlineExceeded)
}

func FuzzReader(f *testing.F) {
	edges := realistic(40, 10)
	sound := encode(f, testHeader, edges, Settings{Name: "s"}, Mark{At: 5, Text: "m"}, Device{}, Loss{}, Video{})
	f.Add(sound)
	f.Add(sound[:len(sound)-9])
	f.Add(append(bytes.Clone(sound), sound...))
	f.Add([]byte(Signature))
	f.Add([]byte("\xFF\xE7\xFF\xE7\x80"))
	f.Fuzz(func(t *testing.T, b []byte) {
		got, notes, rep, err := decode(b)
		if err != nil && len(got) > 0 {
			t.Fatalf("edges and yet %v", err)
		}
		if err == nil && rep.Bytes != int64(len(b)) && rep.Another == 0 {
			t.Fatalf("read %d of %d bytes", rep.Bytes, len(b))
		}
		if int64(len(got)) != rep.Edges {
			t.Fatalf("%d edges, the report says %d", len(got), rep.Edges)
		}
		_ = rep.String()
		// What was read can be written and reads the same: nothing but whole edges.
		var out bytes.Buffer
		w := NewWriter(&out)
		h := testHeader
		for _, n := range notes {
			if x, ok := n.(Header); ok {
				h = x
			}
		}
		if err := w.Header(h); err != nil {
			t.Fatal(err)
		}
		for _, e := range got {
			if err := w.Edge(e); err != nil {
				t.Fatal(err)
			}
		}
		for _, n := range notes {
			switch n.(type) {
			case Header, Damage, End:
				continue
			}
			if err := w.Note(n); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.End(0); err != nil {
			t.Fatal(err)
		}
		again, _, rep, err := decode(out.Bytes())
		if err != nil || !rep.Whole() || fmt.Sprint(again) != fmt.Sprint(got) {
			t.Fatalf("again %v (%v, %v), was %v", again, rep, err, got)
		}
	})
}

// FuzzDamage changes a sound take and demands that no edge comes out wrong.
func FuzzDamage(f *testing.F) {
	edges := realistic(200, 11)
	sound := encode(f, testHeader, edges)
	f.Add(uint16(100), []byte{0})
	f.Add(uint16(300), []byte{0xFF, 0xE7, 0x80, 1})
	f.Fuzz(func(t *testing.T, at uint16, junk []byte) {
		b := bytes.Clone(sound)
		if int(at) > len(b) || len(junk) > 64 {
			return
		}
		copy(b[at:], junk)
		got, _, rep, err := decode(b)
		if err != nil {
			return
		}
		if !within(got, edges) {
			t.Fatalf("a wrong edge after %x at %d", junk, at)
		}
		if len(got) < len(edges) && rep.Whole() {
			t.Fatalf("edges are missing and the report says whole")
		}
	})
}

// The reader uses the same memory however long the take, and allocates nothing
// for edges.
func TestMemoryIsBounded(t *testing.T) {
	block := appendEdges(nil, realistic(16, 12))
	head := encode(t, testHeader, nil)
	read := func(blocks int) float64 {
		return testing.AllocsPerRun(1, func() {
			r := NewReader(io.MultiReader(bytes.NewReader(head), &repeat{block: block, n: blocks}))
			var n int
			for r.Next() {
				n += len(r.Batch())
			}
			if n != 16*blocks || r.Err() != nil {
				t.Fatalf("%d edges, %v", n, r.Err())
			}
		})
	}
	few, many := read(10), read(200_000)
	assert.InDelta(t, few, many, 3, "allocations must not grow with the take")
}

// repeat is a long stream of one block.
type repeat struct {
	block []byte
	at, n int
}

func (r *repeat) Read(p []byte) (n int, err error) {
	for n < len(p) {
		if r.n == 0 {
			return n, io.EOF
		}
		k := copy(p[n:], r.block[r.at:])
		n += k
		if r.at += k; r.at == len(r.block) {
			r.at = 0
			r.n--
		}
	}
	return n, nil
}
