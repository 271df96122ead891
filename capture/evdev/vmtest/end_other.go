//go:build !linux

package vmtest

import "os/exec"

// endWithUs does nothing where the kernel offers no such thing.
func endWithUs(*exec.Cmd) {}
