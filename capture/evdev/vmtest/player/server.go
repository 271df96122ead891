//go:build linux

package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"time"

	"golang.org/x/sys/unix"
)

// server is the program under test.
type server struct {
	program []string
	cmd     *exec.Cmd
	ended   chan struct{}
}

func (s *server) start() error {
	if s.cmd != nil {
		return errors.New("the server runs already")
	}
	cmd := exec.Command(s.program[0], s.program[1:]...)
	cmd.Stdout, cmd.Stderr = os.Stdout, os.Stderr
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("starting the server: %w", err)
	}
	s.cmd, s.ended = cmd, make(chan struct{})
	go func() {
		defer close(s.ended)
		_ = cmd.Wait() // its status is asked for in stop
	}()
	return nil
}

// stop interrupts the server, as Ctrl-C does, and kills it where that takes
// more than ten seconds. It returns the exit status (−1 after a signal) and how
// long the end took.
func (s *server) stop() (status int, took time.Duration, err error) {
	if s.cmd == nil {
		return 0, 0, errors.New("the server does not run")
	}
	start := time.Now()
	_ = s.cmd.Process.Signal(unix.SIGINT) // fails only if it has ended
	select {
	case <-s.ended:
	case <-time.After(10 * time.Second):
		_ = s.cmd.Process.Kill()
		<-s.ended
	}
	status = s.cmd.ProcessState.ExitCode()
	s.cmd = nil
	return status, time.Since(start), nil
}
