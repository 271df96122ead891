//go:build !unix

package takes

import "strings"

// isFull reports whether a disk is full.
func isFull(err error) bool { return strings.Contains(err.Error(), "not enough space") }
