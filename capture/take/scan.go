package take

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"sort"
	"time"
)

// Summary is everything in a take but its edges, and an index to seek by. Its
// size does not grow with the take: see the limits of its lists.
type Summary struct {
	Header   Header
	Settings []Settings // in the order of the file, the first 1000
	Marks    []Mark     // sorted by time, as edited, the first 100,000
	Devices  []Device   // the first 10,000
	Losses   []Loss     // the first 10,000
	Videos   []Video    // the last one for each file name, the first 1000
	More     int        // notes beyond those limits
	Ended    int64      // time of closing, or of the last edge; ns
	Report   Report
	Index    Index
}

// Duration returns from the beginning of the recording to its end.
func (s *Summary) Duration() time.Duration {
	from := s.Header.StartAt
	if s.Header.ID == [8]byte{} || from > s.Report.First && s.Report.Edges > 0 {
		from = s.Report.First
	}
	return time.Duration(max(s.Ended-from, 0))
}

// Limits of a summary.
const (
	maxSettings = 1000
	maxMarks    = 100_000
	maxNotes    = 10_000
	maxEntries  = 8192
)

// Entry is a place from which a take can be read.
type Entry struct {
	Offset int64 // of a block of edges, in bytes
	Edges  int64 // number of edges before it
	Before int64 // latest time of an edge before it, ns; only if Edges > 0
}

// Index is a list of places in a take, at most 8192 however long it is.
type Index struct {
	Header  Header
	Entries []Entry
	stride  int64 // bytes between entries
}

// SeekTime returns the last place such that no edge before it has time at (ns) or
// later: reading from there meets every edge from at on.
func (x *Index) SeekTime(at int64) Entry {
	i := sort.Search(len(x.Entries), func(i int) bool {
		e := x.Entries[i]
		return e.Edges > 0 && e.Before >= at
	})
	if i == 0 {
		return Entry{}
	}
	return x.Entries[i-1]
}

// SeekEdge returns the last place that has at most n edges before it.
func (x *Index) SeekEdge(n int64) Entry {
	i := sort.Search(len(x.Entries), func(i int) bool { return x.Entries[i].Edges > n })
	if i == 0 {
		return Entry{}
	}
	return x.Entries[i-1]
}

// Reader returns a reader of the take from a place that SeekTime or SeekEdge gave. Its report
// counts from there.
func (x *Index) Reader(take io.ReaderAt, size int64, e Entry) *Reader {
	src := io.NewSectionReader(take, e.Offset, max(size-e.Offset, 0))
	if e.Offset == 0 {
		return NewReader(src)
	}
	return newReaderAt(src, e.Offset, x.Header)
}

// firstStride is the distance of an index's entries to begin with, in bytes.
const firstStride = 16 << 10

func (x *Index) add(e Entry) {
	if x.stride == 0 {
		x.stride = firstStride
	}
	if n := len(x.Entries); n > 0 && e.Offset-x.Entries[n-1].Offset < x.stride {
		return
	}
	if len(x.Entries) == maxEntries {
		half := x.Entries[:0]
		for i := 0; i < maxEntries; i += 2 {
			half = append(half, x.Entries[i])
		}
		x.Entries = half
		x.stride *= 2
	}
	x.Entries = append(x.Entries, e)
}

// Scan reads a whole take for its summary. Damage is not an error: it is in the
// report.
func Scan(ctx context.Context, path string, p Progress) (*Summary, error) {
	f, r, err := open(ctx, path, p)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	s, err := scan(r)
	if err != nil {
		return nil, fmt.Errorf("looking through the take %q: %w", path, err)
	}
	if p != nil {
		p(s.Report.Bytes, s.Report.Bytes)
	}
	return s, nil
}

// scan reads to the end.
func scan(r *Reader) (*Summary, error) {
	s := &Summary{}
	marks := map[int64]string{}
	var edges, before int64
	for {
		offset := r.off
		if !r.Next() {
			break
		}
		if b := r.Batch(); len(b) > 0 {
			s.Index.add(Entry{Offset: offset, Edges: edges, Before: before})
			if last := b[len(b)-1].At; edges == 0 || last > before {
				before = last
			}
			edges += int64(len(b))
			continue
		}
		s.put(r.Note(), marks)
	}
	if r.Err() != nil {
		return nil, r.Err()
	}
	s.Header, _ = r.Header()
	s.Index.Header = s.Header
	s.Report = r.Report()
	for at, text := range marks {
		if text != "" {
			s.Marks = append(s.Marks, Mark{at, text})
		}
	}
	slices.SortFunc(s.Marks, func(a, b Mark) int { return cmp.Compare(a.At, b.At) })
	if !s.Report.Closed && s.Report.Edges > 0 {
		s.Ended = s.Report.Last
	}
	return s, nil
}

func (s *Summary) put(n Note, marks map[int64]string) {
	switch n := n.(type) {
	case Settings:
		s.Settings = appendUpTo(s, s.Settings, n, maxSettings)
	case Mark:
		if _, known := marks[n.At]; !known && len(marks) >= maxMarks {
			s.More++
			return
		}
		marks[n.At] = n.Text
	case Device:
		s.Devices = appendUpTo(s, s.Devices, n, maxNotes)
	case Loss:
		s.Losses = appendUpTo(s, s.Losses, n, maxNotes)
	case Video:
		s.Videos = slices.DeleteFunc(s.Videos, func(v Video) bool { return v.Name == n.Name })
		s.Videos = appendUpTo(s, s.Videos, n, maxSettings)
	case End:
		s.Ended = n.At
	}
}

func appendUpTo[T any](s *Summary, list []T, n T, limit int) []T {
	if len(list) >= limit {
		s.More++
		return list
	}
	return append(list, n)
}

// Glance is what can be told of a take at once.
type Glance struct {
	Header Header
	Bytes  int64
	First  int64 // time of the first edge, ns; only if HasEdges
	Ended  int64 // time of closing, or of the last edge that was seen; ns
	// Edges is the number of edges, or -1 where only Scan can tell: the take
	// was not closed.
	Edges    int64
	HasEdges bool
	Closed   bool
}

// Duration returns from the first moment to the last.
func (g Glance) Duration() time.Duration {
	from := g.Header.StartAt
	if g.Header.ID == [8]byte{} {
		from = g.First
	}
	return time.Duration(max(g.Ended-from, 0))
}

// glanceSize is how much of a take's beginning and end is looked at, in bytes.
const glanceSize = 192 << 10

// Look reads a take's beginning and end only, for a list of takes: it takes the
// same time however long the take is.
func Look(path string) (Glance, error) {
	f, err := os.Open(path)
	if err != nil {
		return Glance{}, hint(fmt.Errorf("looking at a take: %w", err))
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return Glance{}, fmt.Errorf("looking at a take: %w", err)
	}
	g, err := look(f, info.Size())
	if err != nil {
		return g, fmt.Errorf("looking at the take %q: %w", path, err)
	}
	return g, nil
}

func look(f io.ReaderAt, size int64) (Glance, error) {
	g := Glance{Bytes: size, Edges: -1}
	head := min(size, glanceSize)
	r := NewReader(io.NewSectionReader(f, 0, head))
	g.read(r)
	if err := r.Err(); err != nil {
		return g, err
	}
	g.Header, _ = r.Header()
	if from := max(head, size-glanceSize); from < size {
		g.read(newReaderAt(io.NewSectionReader(f, from, size-from), from, g.Header))
	} else if !g.Closed {
		g.Edges = r.Report().Edges // all of it was read
	}
	return g, nil
}

func (g *Glance) read(r *Reader) {
	for r.Next() {
		for _, e := range r.Batch() {
			if !g.HasEdges {
				g.First, g.HasEdges = e.At, true
			}
			if !g.Closed {
				g.Ended = max(g.Ended, e.At)
			}
		}
		if e, ok := r.Note().(End); ok {
			g.Ended, g.Edges, g.Closed = e.At, int64(e.Edges), true
		}
	}
}
