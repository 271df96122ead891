package evdev

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func withKeys(codes ...uint16) node {
	n := node{ev: 1 << evKey, known: true}
	for _, c := range codes {
		n.keys.add(c)
	}
	return n
}

func span(from, to uint16) (codes []uint16) {
	for c := from; c <= to; c++ {
		codes = append(codes, c)
	}
	return codes
}

func TestKinds(t *testing.T) {
	join := func(lists ...[]uint16) (all []uint16) {
		for _, l := range lists {
			all = append(all, l...)
		}
		return all
	}
	full := span(1, 0x58)
	for _, c := range []struct {
		what  string
		codes []uint16
		kind  Kind
	}{
		{"a pad", span(0x130, 0x13e), Pad},
		{"a pad that is only a D-pad", span(0x220, 0x223), Pad},
		{"a pad with a media key", join(span(0x130, 0x13e), []uint16{167}), Pad},
		{"a joystick", span(0x120, 0x12f), Stick},
		{"an arcade stick with more buttons than the joystick block", join(span(0x120, 0x12f), span(0x2c0, 0x2c3)), Stick},
		{"a button box of the happy kind", span(0x2c0, 0x2c7), Box},
		{"a button box of the miscellaneous kind", span(0x100, 0x107), Box},
		{"a keyboard", full, Keyboard},
		{"a keyboard that claims a joystick's buttons", join(full, span(0x120, 0x12f)), Keyboard},
		{"a receiver that claims everything", span(1, 0x2ff), Keyboard},
		{"a keyboard half without the first row, with pad buttons", join([]uint16{29, 58, 69, 110}, span(0x130, 0x13e)), Keyboard},
		{"a macro pad with F13 … F18", span(183, 188), Keyboard},
		{"a mouse", span(0x110, 0x114), Mouse},
		{"a touchpad", []uint16{0x110, 0x145, 0x14a}, Touch},
		{"a pad's own touchpad", []uint16{0x110, 0x145, 0x14a, 0x14d}, Touch},
		{"a power button", []uint16{116}, Other},
		{"volume keys", []uint16{113, 114, 115}, Other},
	} {
		n := withKeys(c.codes...)
		assert.Equal(t, c.kind, n.kind(), c.what)
	}
	n := node{known: true}
	assert.Equal(t, Other, n.kind(), "no keys at all")
	n = withKeys(span(0x130, 0x13e)...)
	n.props = 1 << propAccelerometer
	assert.Equal(t, Motion, n.kind())
}

// The set of keys that may come in never holds a key that is not bound, whatever
// the device, and on a keyboard nothing else either.
func TestAllowedNeverExceedsTheBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		code := rapid.Uint16Range(0, 0x2ff)
		n := withKeys(rapid.SliceOf(code).Draw(t, "codes")...)
		n.known = rapid.Bool().Draw(t, "known")
		if rapid.Bool().Draw(t, "full") {
			n = withKeys(span(1, 0x2ff)...)
		}
		var bound keySet
		for _, c := range rapid.SliceOf(code).Draw(t, "bound") {
			if !buttonKeys.has(c) {
				bound.add(c)
			}
		}
		allowed := n.allowed(&bound)
		for c := range uint16(0x300) {
			switch {
			case !allowed.has(c):
			case !buttonKeys.has(c) && !bound.has(c):
				t.Fatalf("code %#x came through unbound", c)
			case n.known && n.kind() == Keyboard && !bound.has(c):
				t.Fatalf("code %#x of a keyboard came through unbound", c)
			case n.known && !n.keys.has(c):
				t.Fatalf("code %#x is none of the device's", c)
			}
		}
	})
}

// How the kernel prints a bitmap: input_bits_to_string of drivers/input/input.c, from memory.
func printBitmap(words []uint64, width int) string {
	var fields []string
	for i := len(words)*64/width - 1; i >= 0; i-- {
		v := words[i*width/64] >> (i * width % 64)
		if width == 32 {
			v &= 0xffffffff
		}
		if v != 0 || len(fields) > 0 || i == 0 {
			fields = append(fields, fmt.Sprintf("%x", v))
		}
	}
	return strings.Join(fields, " ")
}

func TestBitmaps(t *testing.T) {
	var keys keySet
	require.NoError(t, parseBitmap("7cdb000000000000 0 0 0 0", keys[:], 64))
	for _, c := range []uint16{0x130, 0x131, 0x133, 0x134, 0x136, 0x137, 0x13a, 0x13b, 0x13c, 0x13d, 0x13e} {
		assert.True(t, keys.has(c), "%#x", c)
		keys.drop(c)
	}
	assert.True(t, keys.empty())
	rapid.Check(t, func(t *rapid.T) {
		width := rapid.SampledFrom([]int{32, 64}).Draw(t, "width")
		words := rapid.SliceOfN(rapid.OneOf(rapid.Just(uint64(0)), rapid.Uint64()), 12, 12).Draw(t, "words")
		got := make([]uint64, 12)
		if err := parseBitmap(printBitmap(words, width), got, width); err != nil {
			t.Fatal(err)
		}
		for i := range words {
			if got[i] != words[i] {
				t.Fatalf("%x, but was %x", got, words)
			}
		}
	})
	for _, bad := range []string{"xyz", "1 -2", "fffffffffffffffff"} {
		require.ErrorContains(t, parseBitmap(bad, keys[:], 64), fmt.Sprintf("%q is not a bitmap", bad))
	}
	require.NoError(t, parseBitmap("", keys[:], 64))
	require.NoError(t, parseBitmap(strings.Repeat("1 ", 50), keys[:], 64), "more words than we know")
}
