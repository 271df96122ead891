package vmtest

import (
	"fmt"
	"io"
)

// cpioWriter writes the "newc" archive that the kernel unpacks as its initial
// RAM file system. Format: Documentation/driver-api/early-userspace/
// buffer-format.rst in the kernel's source: a 110-byte header of ASCII hex
// fields, the name and the data, each padded to a multiple of four bytes.
type cpioWriter struct {
	w   io.Writer
	ino uint32
	n   int64
	err error
}

// File types of cpio's mode field, as in stat(2).
const (
	cpioDir  = 0o040000
	cpioFile = 0o100000
	cpioChar = 0o020000
)

// Dir adds a directory; parents must have been added before.
func (c *cpioWriter) Dir(name string) { c.entry(name, cpioDir|0o755, 2, 0, 0, nil) }

// File adds a file, executable for everyone.
func (c *cpioWriter) File(name string, data []byte) {
	c.entry(name, cpioFile|0o755, 1, 0, 0, data)
}

// Char adds a character device node.
func (c *cpioWriter) Char(name string, major, minor uint32) {
	c.entry(name, cpioChar|0o600, 1, major, minor, nil)
}

// Close writes the trailer and returns the first error of all the writing.
func (c *cpioWriter) Close() error {
	c.entry("TRAILER!!!", 0, 1, 0, 0, nil)
	return c.err
}

func (c *cpioWriter) entry(name string, mode, nlink, major, minor uint32, data []byte) {
	c.ino++
	const magic, uid, gid, mtime, devMajor, devMinor, check = "070701", 0, 0, 0, 0, 0, 0
	c.write(fmt.Appendf(nil, "%s%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x", magic,
		c.ino, mode, uid, gid, nlink, mtime, len(data), devMajor, devMinor, major, minor, len(name)+1, check))
	c.write(append([]byte(name), 0))
	c.pad()
	c.write(data)
	c.pad()
}

func (c *cpioWriter) pad() { c.write(make([]byte, (4-c.n%4)%4)) }

func (c *cpioWriter) write(p []byte) {
	if c.err != nil {
		return
	}
	n, err := c.w.Write(p)
	c.n += int64(n)
	c.err = err
}
