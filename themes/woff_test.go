package themes_test

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"io"
)

// unpackWOFF turns WOFF into the sfnt it was made of (W3C WOFF File Format 1.0,
// sections 3 to 5).
func unpackWOFF(b []byte) ([]byte, error) {
	if len(b) < 44 || string(b[:4]) != "wOFF" {
		return nil, errors.New("not WOFF")
	}
	be := binary.BigEndian
	n := int(be.Uint16(b[12:]))
	out := make([]byte, 12+16*n)
	copy(out, b[4:8])
	be.PutUint16(out[4:], uint16(n))
	for i := range n {
		e := b[44+20*i:]
		offset, packed, size := be.Uint32(e[4:]), be.Uint32(e[8:]), be.Uint32(e[12:])
		table := b[offset : offset+packed]
		if packed < size {
			r, err := zlib.NewReader(bytes.NewReader(table))
			if err != nil {
				return nil, err
			}
			if table, err = io.ReadAll(r); err != nil {
				return nil, err
			}
		}
		d := out[12+16*i:]
		copy(d, e[:4])
		copy(d[4:], e[16:20])
		be.PutUint32(d[8:], uint32(len(out)))
		be.PutUint32(d[12:], size)
		out = append(out, table...)
		for len(out)%4 != 0 {
			out = append(out, 0)
		}
	}
	return out, nil
}
