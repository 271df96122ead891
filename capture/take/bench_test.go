package take

import (
	"bytes"
	"encoding/binary"
	"runtime"
	"testing"
	"time"
)

const benchEdges = 1 << 20

// BenchmarkDecode reads a take of a million edges, checks each block's sum and
// yields every edge; in the same run it measures the bare baseline, a loop over
// as many bare varints (a delta and a tag for each edge, no framing, no
// checksum, no edges made). It reports edges a second of both, and their ratio.
func BenchmarkDecode(b *testing.B) {
	edges := realistic(benchEdges, 1)
	file := encode(b, testHeader, edges)
	var bare []byte
	for i, e := range edges {
		d := e.At
		if i > 0 {
			d -= edges[i-1].At
		}
		bare = binary.AppendUvarint(bare, uint64(d/1000))
		bare = append(bare, e.Button<<1)
	}
	var sum int64
	var mine, base time.Duration
	src := bytes.NewReader(nil)
	r := NewReader(src)
	b.ReportAllocs()
	for b.Loop() {
		start := time.Now()
		p := bare
		for len(p) > 0 {
			d, n := binary.Uvarint(p)
			sum += int64(d) + int64(p[n])
			p = p[n+1:]
		}
		base += time.Since(start)

		start = time.Now()
		src.Reset(file)
		*r = Reader{src: src, buf: r.buf, skipFrom: -1}
		n := 0
		for r.Next() {
			for _, e := range r.Batch() {
				sum += e.At
				n++
			}
		}
		mine += time.Since(start)
		if n != benchEdges {
			b.Fatalf("%d edges: %v", n, r.Err())
		}
	}
	if sum == 1 {
		b.Log(sum)
	}
	total := float64(benchEdges) * float64(b.N)
	b.ReportMetric(total/mine.Seconds()/1e6, "Medges/s")
	b.ReportMetric(total/base.Seconds()/1e6, "bare_Medges/s")
	b.ReportMetric(mine.Seconds()/base.Seconds(), "x_bare")
}

// BenchmarkRecorderEdge measures what recording costs the caller, an edge.
func BenchmarkRecorderEdge(b *testing.B) {
	r, err := Record(b.TempDir()+"/a.take", RecordOptions{Header: testHeader})
	if err != nil {
		b.Fatal(err)
	}
	edges := realistic(4096, 1)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		r.Edge(edges[i%len(edges)])
		if i++; i%len(edges) == 0 {
			b.StopTimer() // let the queue empty: the overflow path is not meant
			for waiting(r) {
				runtime.Gosched()
			}
			b.StartTimer()
		}
	}
	b.StopTimer()
	if err := r.Close(0); err != nil {
		b.Fatal(err)
	}
	if n := r.Status().Lost; n > 0 {
		b.Fatalf("%d edges lost", n)
	}
}

// waiting reports whether edges still wait for the file.
func waiting(r *Recorder) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.queue) > 0
}
