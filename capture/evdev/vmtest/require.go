package vmtest

import (
	"os"
	"os/exec"
	"testing"
)

// Require skips a test that needs a machine where none can be had, with a
// message that begins "left out:"; where HOLDGAP_STRICT=1 it fails it.
func Require(t testing.TB) {
	t.Helper()
	leave := t.Skipf
	if os.Getenv("HOLDGAP_STRICT") == "1" {
		leave = t.Fatalf
	}
	if _, err := exec.LookPath("qemu-system-x86_64"); err != nil {
		leave("left out: tests against a real kernel: no qemu-system-x86_64 (Debian package qemu-system-x86)")
	}
	if _, err := FindKernel(); err != nil {
		leave("left out: tests against a real kernel: %v", err)
	}
}
