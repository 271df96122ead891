package take

import (
	"fmt"
	"strings"
	"time"
)

// Damage is a place in a file where something was lost. It is a note that a
// [Reader] makes; no file holds it. What was held down before it may have been
// let go in it.
type Damage struct {
	Offset, Bytes int64 // where in the file, and how many bytes
	After         int64 // time of the last edge before it (ns); see HasAfter
	Before        int64 // time of the first edge after it (ns); see HasBefore
	HasAfter      bool
	HasBefore     bool
	Unfinished    bool   // the last block, cut off by the end of the file
	Reason        string // what was met there
}

// When returns the time of the last edge before the damage, ns.
func (d Damage) When() int64 { return d.After }

func (Damage) note() {}

// Span returns the time (ns) in which edges may be missing, or 0 if it is not
// known on both sides.
func (d Damage) Span() int64 {
	if !d.HasAfter || !d.HasBefore {
		return 0
	}
	return max(d.Before-d.After, 0)
}

// String says where the damage is and what it is.
func (d Damage) String() string {
	if d.Unfinished {
		return fmt.Sprintf("the last %d bytes, from byte %d on, are a block that was not finished", d.Bytes, d.Offset)
	}
	s := fmt.Sprintf("%d bytes at byte %d: %s", d.Bytes, d.Offset, d.Reason)
	if d.HasAfter && d.HasBefore {
		s += fmt.Sprintf(" (edges may be missing within %v)", time.Duration(d.Span()))
	}
	return s
}

// maxDamages bounds the list of a report.
const maxDamages = 1000

// Report says what a reader read, and what it could not.
type Report struct {
	Bytes  int64 // of the file, so far
	Blocks int64
	Edges  int64
	First  int64 // earliest time of an edge, ns; only if Edges > 0
	Last   int64 // latest time of an edge, ns; only if Edges > 0

	Places     int      // damaged places, without an unfinished end
	Lost       int64    // bytes in them
	LostNS     int64    // time around them in which edges may be missing, ns
	Damages    []Damage // the first thousand places
	Unfinished int64    // bytes of a last block that was not finished

	NotRecorded  uint64 // edges that the recording itself lost, by its own notes
	Unknown      int64  // sound blocks that this version cannot read
	UnknownBytes int64  // bytes in them
	Newer        int    // the take's version, if it is newer than [Version]
	Another      int64  // offset at which another take begins, 0 if none
	Closed       bool   // the recording was closed, not cut off
	Missing      int64  // if Closed: edges recorded less edges read
}

// Whole reports whether nothing was lost: the take is just as it was recorded.
// A recording that was cut off between two blocks is whole but not Closed; one
// whose recorder lost edges is whole and says so in NotRecorded.
func (r Report) Whole() bool {
	return r.Places == 0 && r.Unfinished == 0 && r.Unknown == 0 && r.Another == 0 && r.Missing == 0
}

// String says in sentences what was read and lost, in edges, time and bytes.
func (r Report) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d edges", r.Edges)
	if r.Edges > 0 {
		fmt.Fprintf(&b, " in %v", time.Duration(r.Last-r.First).Round(time.Millisecond))
	}
	b.WriteString(".")
	if r.Places > 0 {
		fmt.Fprintf(&b, " Lost %d bytes in %d places, around which edges may be missing for %v.", r.Lost, r.Places, time.Duration(r.LostNS).Round(time.Microsecond))
	}
	if r.Closed && r.Missing > 0 {
		fmt.Fprintf(&b, " %d of the edges recorded are missing.", r.Missing)
	}
	if r.Unfinished > 0 {
		fmt.Fprintf(&b, " The last %d bytes are a block that was not finished.", r.Unfinished)
	}
	if r.NotRecorded > 0 {
		fmt.Fprintf(&b, " %d edges were not recorded.", r.NotRecorded)
	}
	if r.Newer > 0 {
		fmt.Fprintf(&b, " The take has format version %d and this program reads up to %d: update it to see all.", r.Newer, Version)
	}
	if r.Unknown > 0 {
		fmt.Fprintf(&b, " %d blocks (%d bytes) were not understood.", r.Unknown, r.UnknownBytes)
	}
	if r.Another > 0 {
		fmt.Fprintf(&b, " Another take begins at byte %d and was not read.", r.Another)
	}
	if !r.Closed {
		b.WriteString(" The recording was not closed.")
	}
	return b.String()
}

// lose makes the damage note and enters it in the report.
func (r *Reader) lose(offset, bytes int64, reason string) {
	d := Damage{Offset: offset, Bytes: bytes, After: r.lastAt, HasAfter: r.hasLast, Reason: reason}
	r.rep.Places++
	r.rep.Lost += bytes
	r.open = true
	if len(r.rep.Damages) < maxDamages {
		r.rep.Damages = append(r.rep.Damages, d)
	}
	r.note = d
}

// sayBefore adds to the damage note the time of the block b that ended it.
func (r *Reader) sayBefore(b []byte) {
	if b[2]&edgesBit == 0 {
		return
	}
	d := r.note.(Damage)
	d.Before, d.HasBefore = baseTime(b[2], b[edgeHead:])
	r.note = d
}

// loseTail does so for a block that the file's end cuts off.
func (r *Reader) loseTail(offset, bytes int64) {
	d := Damage{Offset: offset, Bytes: bytes, After: r.lastAt, HasAfter: r.hasLast, Unfinished: true, Reason: "a block that was not finished"}
	r.rep.Unfinished = bytes
	if len(r.rep.Damages) < maxDamages {
		r.rep.Damages = append(r.rep.Damages, d)
	}
	r.note = d
}

// close tells the damages since the last edge what time comes after them.
func (r *Reader) close(before int64) {
	r.open = false
	if r.hasLast {
		r.rep.LostNS += max(before-r.lastAt, 0)
	}
	for i := len(r.rep.Damages) - 1; i >= 0; i-- {
		d := &r.rep.Damages[i]
		if d.Unfinished || d.After != r.lastAt || d.HasAfter != r.hasLast {
			break
		}
		d.Before, d.HasBefore = before, true
	}
}
