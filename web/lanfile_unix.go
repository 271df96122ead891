//go:build unix

package web

import "os"

// private takes a file from everybody but its owner.
func private(file string, info os.FileInfo) error {
	if info.Mode().Perm()&0o077 == 0 {
		return nil
	}
	return os.Chmod(file, 0o600)
}
