package take

import (
	"encoding/binary"
	"hash/crc32"
	"math"

	"holdgap/capture"
)

// Signature is the first bytes of every take.
const Signature = "\x8Fholdgap take\r\n\x1A"

// BlockEdges is the greatest number of edges in a block.
const BlockEdges = 16

// The parts of a block.
const (
	mark0, mark1 = 0xFF, 0xE7
	edgeHead     = 4 // mark, kind, length
	noteHead     = 5 // mark, kind, length of two bytes
	crcSize      = 4

	edgesBit    = 0x80
	negativeBit = 0x40
	unitShift   = 4
	countMask   = 0x0F

	// maxBlock is the size of the largest block.
	maxBlock = noteHead + maxPayload + crcSize
)

// The tag of an edge.
const (
	shortButtons = 31
	shortTags    = 124
	escapeTag    = 127
)

// microsecond is unit 1, the grain of the kernel's own event times.
const microsecond = 1000

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// appendCRC closes the block that began at start.
func appendCRC(b []byte, start int) []byte {
	return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b[start+2:], castagnoli))
}

// appendEdges appends a block of 1 … BlockEdges edges whose times never go
// back, buttons and keys below 64.
func appendEdges(b []byte, edges []capture.Edge) []byte {
	start := len(b)
	kind := byte(edgesBit | (len(edges) - 1))
	base := edges[0].At
	magnitude := uint64(base)
	if base < 0 {
		kind |= negativeBit
		magnitude = -magnitude
	}
	unit := uint64(microsecond)
	for i := 1; i < len(edges); i++ {
		if (uint64(edges[i].At)-uint64(edges[i-1].At))%microsecond != 0 {
			unit = 1
			break
		}
	}
	if unit == microsecond {
		kind |= 1 << unitShift
	}
	b = append(b, mark0, mark1, kind, 0)
	b = binary.AppendUvarint(b, magnitude)
	for i, e := range edges {
		if i > 0 {
			b = binary.AppendUvarint(b, (uint64(e.At)-uint64(edges[i-1].At))/unit)
		}
		down := byte(0)
		if e.Down {
			down = 1
		}
		if e.Button < shortButtons && e.Key < shortTags/shortButtons {
			b = append(b, (e.Key*shortButtons+e.Button)<<1|down)
		} else {
			b = append(b, escapeTag<<1|down, e.Button, e.Key)
		}
	}
	b[start+3] = byte(len(b) - start - edgeHead)
	return appendCRC(b, start)
}

// shortTag is what each one-byte tag says; reserved and escaping ones have
// button 255.
var shortTag = func() (t [256]capture.Edge) {
	for i := range t {
		v := uint8(i >> 1)
		t[i] = capture.Edge{Button: 255, Down: i&1 == 1}
		if v < shortTags {
			t[i].Button, t[i].Key = v%shortButtons, v/shortButtons
		}
	}
	return
}()

// decodeEdges reads the payload of a block of edges into dst and returns how
// many there are, or 0 if the payload does not say what a writer would have
// written.
func decodeEdges(dst *[BlockEdges]capture.Edge, kind byte, p []byte) int {
	count := int(kind&countMask) + 1
	unit := uint64(1)
	switch kind >> unitShift & 3 {
	case 0:
	case 1:
		unit = microsecond
	default:
		return 0
	}
	magnitude, n := binary.Uvarint(p)
	if n <= 0 {
		return 0
	}
	at := int64(magnitude)
	if kind&negativeBit != 0 {
		if magnitude > 1<<63 || magnitude == 0 {
			return 0
		}
		at = -at
	} else if magnitude > math.MaxInt64 {
		return 0
	}
	for i := 0; i < count; i++ {
		if i > 0 {
			var d uint64
			// One to three bytes is what nearly every delta has.
			switch {
			case len(p)-n >= 4 && p[n] < 0x80:
				d = uint64(p[n])
				n++
			case len(p)-n >= 4 && p[n+1] < 0x80:
				d = uint64(p[n]&0x7F) | uint64(p[n+1])<<7
				n += 2
			case len(p)-n >= 4 && p[n+2] < 0x80:
				d = uint64(p[n]&0x7F) | uint64(p[n+1]&0x7F)<<7 | uint64(p[n+2])<<14
				n += 3
			default:
				v, k := binary.Uvarint(p[n:])
				if k <= 0 || v > math.MaxInt64/unit {
					return 0
				}
				d = v
				n += k
			}
			next := at + int64(d*unit)
			if next < at {
				return 0
			}
			at = next
		}
		if n >= len(p) {
			return 0
		}
		e := shortTag[p[n]]
		n++
		if e.Button == 255 {
			if p[n-1]>>1 != escapeTag || len(p)-n < 2 || p[n] >= capture.MaxButtons || p[n+1] >= capture.MaxKeys {
				return 0
			}
			e.Button, e.Key = p[n], p[n+1]
			n += 2
		}
		e.At = at
		dst[i] = e
	}
	if n != len(p) {
		return 0
	}
	return count
}

// baseTime returns the time of the first edge of a payload, if it has one.
func baseTime(kind byte, p []byte) (at int64, ok bool) {
	magnitude, n := binary.Uvarint(p)
	if n <= 0 {
		return 0, false
	}
	if kind&negativeBit != 0 {
		return -int64(magnitude), true
	}
	return int64(magnitude), true
}
