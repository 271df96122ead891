package evdev

import (
	"errors"
	"fmt"
	"io/fs"
	"math/bits"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// listNodes describes every event device that sysfs under root knows, in the order
// of their numbers. A machine without input devices has none; that is no error.
func listNodes(root string) ([]node, error) {
	dir := filepath.Join(root, "sys/class/input")
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("evdev: list the input devices in %q: %w", dir, err)
	}
	var nodes []node
	for _, e := range entries {
		if eventNumber(e.Name()) < 0 {
			continue
		}
		n, err := readNode(root, e.Name())
		if errors.Is(err, fs.ErrNotExist) {
			continue // unplugged meanwhile
		}
		if err != nil {
			return nil, err
		}
		nodes = append(nodes, n)
	}
	slices.SortFunc(nodes, func(a, b node) int { return eventNumber(a.base) - eventNumber(b.base) })
	return nodes, nil
}

// eventNumber is the N of "eventN", or −1.
func eventNumber(base string) int {
	digits, ok := strings.CutPrefix(base, "event")
	if !ok {
		return -1
	}
	n, err := strconv.ParseUint(digits, 10, 31)
	if err != nil {
		return -1
	}
	return int(n)
}

// readNode reads what sysfs says of one event device.
func readNode(root, base string) (node, error) {
	dir := filepath.Join(root, "sys/class/input", base, "device")
	if _, err := os.Stat(dir); err != nil {
		return node{}, fmt.Errorf("evdev: look at %q: %w", dir, err)
	}
	n := node{base: base, path: filepath.Join(root, "dev/input", base), known: true}
	var firstErr error
	text := func(name string) string {
		b, err := os.ReadFile(filepath.Join(dir, name))
		// A device without a port or serial number has no such file in some fixtures.
		if err != nil && !errors.Is(err, fs.ErrNotExist) && firstErr == nil {
			firstErr = fmt.Errorf("evdev: read %q of %q: %w", name, base, err)
		}
		return strings.TrimSpace(string(b))
	}
	id := func(name string) uint16 {
		s := text("id/" + name)
		v, err := strconv.ParseUint(s, 16, 16)
		if err != nil && s != "" && firstErr == nil {
			firstErr = fmt.Errorf("evdev: read %q of %q: %q is not a hexadecimal number", "id/"+name, base, s)
		}
		return uint16(v)
	}
	bitmap := func(name string, words []uint64) {
		s := text(name)
		if err := parseBitmap(s, words, bits.UintSize); err != nil && firstErr == nil {
			firstErr = fmt.Errorf("evdev: read %q of %q: %w", name, base, err)
		}
	}
	one := func(name string) uint64 {
		var w [1]uint64
		bitmap(name, w[:])
		return w[0]
	}
	n.name, n.phys, n.uniq = text("name"), text("phys"), text("uniq")
	n.bus, n.vendor, n.product, n.version = id("bustype"), id("vendor"), id("product"), id("version")
	n.ev, n.rel, n.abs, n.props = one("capabilities/ev"), one("capabilities/rel"), one("capabilities/abs"), one("properties")
	bitmap("capabilities/key", n.keys[:])
	return n, firstErr
}

// parseBitmap reads a bitmap as sysfs prints it: hexadecimal words of the given
// width in bits, the most significant first, leading words of nought left out.
func parseBitmap(s string, words []uint64, width int) error {
	fields := strings.Fields(s)
	for i, f := range fields {
		v, err := strconv.ParseUint(f, 16, width)
		if err != nil {
			return fmt.Errorf("%q is not a bitmap: word %q: %w", s, f, err)
		}
		at := (len(fields) - 1 - i) * width
		if at/64 < len(words) {
			words[at/64] |= v << (at % 64)
		}
	}
	return nil
}
