package take

import (
	"encoding/binary"
	"fmt"
	"math"
	"time"
	"unicode/utf8"

	"holdgap/capture"
)

// Version is the version of the format that this package writes.
const Version = 1

// Kinds of blocks that are not edges.
const (
	kindHeader   = 1
	kindSettings = 2
	kindMark     = 3
	kindDevice   = 4
	kindLoss     = 5
	kindVideo    = 6
	kindEnd      = 7
)

// Note is anything in a take that is not an edge: [Header], [Settings], [Mark],
// [Device], [Loss], [Video] or [End]; and [Damage], which a reader reports and
// no file holds.
type Note interface {
	// When returns the time that the note is about, ns on the edges' clock.
	When() int64
	note()
}

// Header opens a take.
type Header struct {
	Version int       // of the format; 0 means [Version] when writing
	ID      [8]byte   // random, tells takes apart
	Start   time.Time // wall clock when the recording began
	StartAt int64     // ns on the edges' clock at that same instant
	Program string    // what wrote the take, for people
}

// Wall returns the date of a time on the edges' clock, or the zero time if the
// header is not known.
func (h Header) Wall(at int64) time.Time {
	if h.Start.IsZero() {
		return time.Time{}
	}
	return h.Start.Add(time.Duration(at - h.StartAt))
}

// Settings are what was in force from At on, as a text with a name (such as
// "profile.toml"), so that a take explains itself.
type Settings struct {
	At   int64
	Name string
	Text []byte // UTF-8, at most about 64 KB
}

// Mark is a moment with a note. A later mark at the same time replaces the
// earlier; an empty text removes it.
type Mark struct {
	At   int64
	Text string
}

// Device says that a device came or went. Of the description the path is not
// kept: it means nothing on another day.
type Device struct {
	At       int64
	Attached bool
	Device   capture.Device
}

// Loss says that Edges edges (0 if unknown) from From to To (ns) were not
// recorded, and why.
type Loss struct {
	From, To int64
	Edges    uint64
	Reason   string
}

// Video ties a video file to the take. The video's time of an edge in ns is
// At − Offset.
type Video struct {
	Offset   int64  // time on the edges' clock of the video's time 0, ns
	Name     string // file name without its folder
	Size     uint64 // bytes
	Num, Den uint64 // frames per second Num/Den; 0/0 if unknown
}

// End closes a take.
type End struct {
	At    int64
	Edges uint64 // in the whole take
}

// When returns the start of the recording.
func (h Header) When() int64 { return h.StartAt }

// When returns the time from which the settings hold.
func (s Settings) When() int64 { return s.At }

// When returns the marked time.
func (m Mark) When() int64 { return m.At }

// When returns the time of coming or going.
func (d Device) When() int64 { return d.At }

// When returns the first time that may have been lost.
func (l Loss) When() int64 { return l.From }

// When returns the time of the video's time 0.
func (v Video) When() int64 { return v.Offset }

// When returns the time of closing.
func (e End) When() int64 { return e.At }

func (Header) note()   {}
func (Settings) note() {}
func (Mark) note()     {}
func (Device) note()   {}
func (Loss) note()     {}
func (Video) note()    {}
func (End) note()      {}

// maxPayload is what two bytes of length can say.
const maxPayload = 0xFFFF

// appendNote appends a whole block to b.
func appendNote(b []byte, n Note) ([]byte, error) {
	start := len(b)
	b = append(b, mark0, mark1, 0, 0, 0)
	var kind byte
	switch n := n.(type) {
	case Header:
		kind = kindHeader
		v := n.Version
		if v == 0 {
			v = Version
		}
		b = binary.AppendUvarint(b, uint64(v))
		b = append(b, n.ID[:]...)
		wall := int64(0)
		if !n.Start.IsZero() {
			wall = n.Start.UnixNano()
		}
		b = binary.AppendVarint(b, wall)
		b = binary.AppendVarint(b, n.StartAt)
		b = appendString(b, n.Program)
	case Settings:
		kind = kindSettings
		if !utf8.Valid(n.Text) {
			return nil, fmt.Errorf("putting settings %q into a take: they are not UTF-8 text", n.Name)
		}
		b = binary.AppendVarint(b, n.At)
		b = appendString(b, n.Name)
		b = appendString(b, string(n.Text))
	case Mark:
		kind = kindMark
		b = binary.AppendVarint(b, n.At)
		b = appendString(b, n.Text)
	case Device:
		kind = kindDevice
		var flags uint64
		if n.Attached {
			flags |= 1
		}
		if n.Device.Keyboard {
			flags |= 2
		}
		b = binary.AppendVarint(b, n.At)
		b = binary.AppendUvarint(b, flags)
		b = binary.AppendUvarint(b, uint64(n.Device.ID))
		b = appendString(b, n.Device.Name)
		b = appendString(b, n.Device.Source)
		b = appendString(b, n.Device.Identity)
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(n.Device.ReportMS))
	case Loss:
		kind = kindLoss
		b = binary.AppendVarint(b, n.From)
		b = binary.AppendVarint(b, n.To)
		b = binary.AppendUvarint(b, n.Edges)
		b = appendString(b, n.Reason)
	case Video:
		kind = kindVideo
		b = binary.AppendVarint(b, n.Offset)
		b = appendString(b, n.Name)
		b = binary.AppendUvarint(b, n.Size)
		b = binary.AppendUvarint(b, n.Num)
		b = binary.AppendUvarint(b, n.Den)
	case End:
		kind = kindEnd
		b = binary.AppendVarint(b, n.At)
		b = binary.AppendUvarint(b, n.Edges)
	default:
		return nil, fmt.Errorf("putting a note into a take: %T is not one that a take holds", n)
	}
	size := len(b) - start - noteHead
	if size > maxPayload {
		return nil, fmt.Errorf("putting a note (%T) into a take: it has %d bytes and the limit is %d: shorten its text", n, size, maxPayload)
	}
	b[start+2] = kind
	binary.LittleEndian.PutUint16(b[start+3:], uint16(size))
	return appendCRC(b, start), nil
}

// appendString appends length and text; bytes that are not UTF-8 become U+FFFD,
// so that no text can hold a mark.
func appendString(b []byte, s string) []byte {
	if !utf8.ValidString(s) {
		s = string([]rune(s))
	}
	b = binary.AppendUvarint(b, uint64(len(s)))
	return append(b, s...)
}

// fields takes a payload apart; after the first field that does not fit, bad is
// set and everything reads as zero.
type fields struct {
	b   []byte
	bad bool
}

func (f *fields) uvarint() uint64 {
	v, n := binary.Uvarint(f.b)
	if n <= 0 {
		f.b, f.bad = nil, true
		return 0
	}
	f.b = f.b[n:]
	return v
}

func (f *fields) svarint() int64 {
	v, n := binary.Varint(f.b)
	if n <= 0 {
		f.b, f.bad = nil, true
		return 0
	}
	f.b = f.b[n:]
	return v
}

func (f *fields) bytes(n uint64) []byte {
	if n > uint64(len(f.b)) {
		f.b, f.bad = nil, true
		return nil
	}
	p := f.b[:n]
	f.b = f.b[n:]
	return p
}

func (f *fields) string() string {
	p := f.bytes(f.uvarint())
	if !utf8.Valid(p) {
		f.bad = true
		return ""
	}
	return string(p)
}

// decodeNote reads a note's payload. known is false for a kind of a newer
// version, ok is false for fields that do not fit.
func decodeNote(kind byte, p []byte) (n Note, known, ok bool) {
	f := fields{b: p}
	switch kind {
	case kindHeader:
		var h Header
		v := f.uvarint()
		if v == 0 || v > math.MaxInt32 {
			return nil, true, false
		}
		h.Version = int(v)
		copy(h.ID[:], f.bytes(8))
		if wall := f.svarint(); wall != 0 {
			h.Start = time.Unix(0, wall).UTC()
		}
		h.StartAt = f.svarint()
		h.Program = f.string()
		n = h
	case kindSettings:
		s := Settings{At: f.svarint(), Name: f.string()}
		s.Text = []byte(f.string())
		n = s
	case kindMark:
		n = Mark{At: f.svarint(), Text: f.string()}
	case kindDevice:
		d := Device{At: f.svarint()}
		flags, id := f.uvarint(), f.uvarint()
		if id > math.MaxUint16 {
			return nil, true, false
		}
		d.Attached, d.Device.Keyboard, d.Device.ID = flags&1 != 0, flags&2 != 0, uint16(id)
		d.Device.Name, d.Device.Source, d.Device.Identity = f.string(), f.string(), f.string()
		if p := f.bytes(8); p != nil {
			d.Device.ReportMS = math.Float64frombits(binary.LittleEndian.Uint64(p))
		}
		n = d
	case kindLoss:
		n = Loss{From: f.svarint(), To: f.svarint(), Edges: f.uvarint(), Reason: f.string()}
	case kindVideo:
		n = Video{Offset: f.svarint(), Name: f.string(), Size: f.uvarint(), Num: f.uvarint(), Den: f.uvarint()}
	case kindEnd:
		n = End{At: f.svarint(), Edges: f.uvarint()}
	default:
		return nil, false, false
	}
	return n, true, !f.bad
}
