package vmtest

import (
	"os/exec"
	"syscall"
)

// endWithUs lets the kernel kill a program should the test be killed.
func endWithUs(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
}
