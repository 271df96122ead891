package take

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"holdgap/capture"
)

func TestMain(m *testing.M) {
	if job := os.Getenv("HOLDGAP_TEST_CHILD"); job != "" {
		child(job)
		return
	}
	goleak.VerifyTestMain(m)
}

// testHeader opens the takes of these tests.
var testHeader = Header{
	Version: Version, ID: [8]byte{1, 2, 3, 4, 5, 6, 7, 8},
	Start: time.Date(2026, 3, 1, 19, 30, 0, 0, time.UTC), StartAt: 5_000_000_000, Program: "a test",
}

// realistic makes n edges as a busy player on a kernel device would: multi-presses
// of an action, in part with several fingers on keys of one button, between
// motions of the directions; whole µs. Holds of 30–60 ms and gaps of 16–50 ms
// within a multi-press, rests of 0.2–1.5 s (common practice, no source).
func realistic(n int, seed uint64) []capture.Edge {
	rnd := rand.New(rand.NewPCG(seed, 1))
	at := int64(5_100_000_000)
	var edges []capture.Edge
	ms := func(lo, hi float64) int64 { return int64((lo+rnd.Float64()*(hi-lo))*1000) * 1000 }
	press := func(button, key uint8, hold int64) {
		edges = append(edges, capture.Edge{At: at, Button: button, Key: key, Down: true})
		at += hold
		edges = append(edges, capture.Edge{At: at, Button: button, Key: key})
	}
	for len(edges) < n {
		for range rnd.IntN(4) { // a motion
			press(uint8(rnd.IntN(4)), 0, ms(30, 90))
			at += ms(0, 20)
		}
		button := uint8(4 + rnd.IntN(12))
		for i := range 1 + rnd.IntN(4) { // a multi-press, one finger after the other
			press(button, uint8(i%(1+rnd.IntN(3))), ms(30, 60))
			at += ms(16, 50)
		}
		at += ms(200, 1500)
	}
	return edges[:n]
}

// encode writes a take with everything closed in it.
func encode(t testing.TB, h Header, edges []capture.Edge, notes ...Note) []byte {
	t.Helper()
	var b bytes.Buffer
	w := NewWriter(&b)
	require.NoError(t, w.Header(h))
	for _, n := range notes {
		require.NoError(t, w.Note(n))
	}
	for _, e := range edges {
		require.NoError(t, w.Edge(e))
	}
	require.NoError(t, w.End(lastTime(h, edges)))
	return b.Bytes()
}

func lastTime(h Header, edges []capture.Edge) int64 {
	last := h.StartAt
	for _, e := range edges {
		last = max(last, e.At)
	}
	return last
}

// decode reads everything.
func decode(b []byte) (edges []capture.Edge, notes []Note, rep Report, err error) {
	r := NewReader(bytes.NewReader(b))
	for r.Next() {
		edges = append(edges, r.Batch()...)
		if n := r.Note(); n != nil {
			notes = append(notes, n)
		}
	}
	return edges, notes, r.Report(), r.Err()
}

// byTheBook decodes the edges of an undamaged take straight from the text of
// the package's documentation, sharing no code with the reader.
func byTheBook(b []byte) (edges []capture.Edge, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%v", p)
		}
	}()
	b = b[16:]
	for len(b) > 0 {
		if b[0] != 0xFF || b[1] != 0xE7 {
			return edges, fmt.Errorf("no mark")
		}
		kind, head, size := b[2], 5, 0
		if kind >= 128 {
			head, size = 4, int(b[3])
		} else {
			size = int(b[3]) + 256*int(b[4])
		}
		p := b[head : head+size]
		sum := crc32.Checksum(b[2:head+size], crc32.MakeTable(0x82F63B78))
		if sum != binary.LittleEndian.Uint32(b[head+size:]) {
			return edges, fmt.Errorf("bad sum")
		}
		b = b[head+size+4:]
		if kind < 128 {
			continue
		}
		unit := []int64{1, 1000}[kind>>4&3]
		base, n := binary.Uvarint(p)
		p = p[n:]
		at := int64(base)
		if kind&64 != 0 {
			at = -at
		}
		for i := 0; i <= int(kind&15); i++ {
			if i > 0 {
				d, n := binary.Uvarint(p)
				p = p[n:]
				at += int64(d) * unit
			}
			e := capture.Edge{At: at, Down: p[0]&1 == 1}
			if v := p[0] >> 1; v == 127 {
				e.Button, e.Key = p[1], p[2]
				p = p[3:]
			} else {
				e.Button, e.Key = v%31, v/31
				p = p[1:]
			}
			edges = append(edges, e)
		}
	}
	return edges, nil
}
