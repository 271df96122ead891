//go:build unix

package main

import (
	"os/exec"
	"syscall"
	"time"
)

// ownGroup puts a child and what it starts into a process group, so that
// ending the context ends all of them: politely first, then for good.
func ownGroup(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGTERM) }
	cmd.WaitDelay = 5 * time.Second
}

// endGroup ends whatever is left of the group of a child that is gone.
func endGroup(cmd *exec.Cmd) {
	if cmd.Process != nil {
		_ = syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) // ESRCH when nothing is left, as it should be
	}
}
