//go:build linux

// Command guestinit is /init of the test machine: it makes the kernel usable,
// runs the commands of the boot script, prints how they ended, and powers off.
package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"

	"golang.org/x/sys/unix"

	"holdgap/capture/evdev/vmtest/internal/bootscript"
)

func main() {
	if os.Getpid() != 1 {
		fmt.Fprintln(os.Stderr, "guestinit is /init of a test machine and powers it off: not run here")
		os.Exit(2)
	}
	failed, err := run()
	// A command may have left its last line open.
	fmt.Printf("\n%s\n", bootscript.End(failed, err))
	unix.Sync()
	if err := unix.Reboot(unix.LINUX_REBOOT_CMD_POWER_OFF); err != nil {
		panic(err) // the kernel panics when /init ends, and qemu exits
	}
	select {}
}

func run() (failed int, err error) {
	if err := mountAll(); err != nil {
		return 0, err
	}
	data, err := os.ReadFile(bootscript.Path)
	if err != nil {
		return 0, fmt.Errorf("reading the boot script: %w", err)
	}
	var script bootscript.Script
	if err := json.Unmarshal(data, &script); err != nil {
		return 0, fmt.Errorf("reading the boot script: %w", err)
	}
	for _, path := range script.Modules {
		if err := loadModule(path); err != nil {
			return 0, err
		}
	}
	if err := linkUp("lo", [4]byte{127, 0, 0, 1}, [4]byte{255, 0, 0, 0}); err != nil {
		return 0, err
	}
	// The address that qemu's user network forwards to. No gateway: answers go
	// to the host's side of the same network, and nowhere else is reachable.
	if err := linkUp("eth0", [4]byte{10, 0, 2, 15}, [4]byte{255, 255, 255, 0}); err != nil {
		return 0, err
	}
	fmt.Println(bootscript.Ready)
	return runAll(script.Commands), nil
}

func mountAll() error {
	for _, m := range []struct{ target, fstype string }{
		{"/dev", "devtmpfs"}, {"/proc", "proc"}, {"/sys", "sysfs"}, {"/tmp", "tmpfs"},
	} {
		if err := os.MkdirAll(m.target, 0o755); err != nil {
			return err
		}
		if err := unix.Mount(m.fstype, m.target, m.fstype, 0, ""); err != nil {
			return fmt.Errorf("mounting %s on %s: %w", m.fstype, m.target, err)
		}
	}
	return nil
}

func loadModule(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("loading a kernel module: %w", err)
	}
	defer f.Close()
	if err := unix.FinitModule(int(f.Fd()), "", 0); err != nil && !errors.Is(err, unix.EEXIST) {
		return fmt.Errorf("loading kernel module %s: %w", path, err)
	}
	return nil
}

// linkUp gives a network interface its address and switches it on, as
// netdevice(7) describes.
func linkUp(name string, addr, mask [4]byte) error {
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return err
	}
	defer unix.Close(fd)
	set := func(what string, req uint, fill func(*unix.Ifreq) error) error {
		ifr, err := unix.NewIfreq(name)
		if err == nil {
			err = fill(ifr)
		}
		if err == nil {
			err = unix.IoctlIfreq(fd, req, ifr)
		}
		if err != nil {
			return fmt.Errorf("setting the %s of %s: %w", what, name, err)
		}
		return nil
	}
	if err := set("address", unix.SIOCSIFADDR, func(r *unix.Ifreq) error { return r.SetInet4Addr(addr[:]) }); err != nil {
		return err
	}
	if err := set("netmask", unix.SIOCSIFNETMASK, func(r *unix.Ifreq) error { return r.SetInet4Addr(mask[:]) }); err != nil {
		return err
	}
	return set("flags", unix.SIOCSIFFLAGS, func(r *unix.Ifreq) error {
		r.SetUint16(unix.IFF_UP | unix.IFF_RUNNING)
		return nil
	})
}

// runAll runs the commands and returns how many of those in the foreground failed.
func runAll(commands []bootscript.Command) (failed int) {
	var background []*exec.Cmd
	for i, c := range commands {
		cmd := exec.Command(c.Path, c.Args...)
		cmd.Env = append([]string{"PATH=/bin", "HOME=/tmp", "TMPDIR=/tmp"}, c.Env...)
		cmd.Dir = "/tmp"
		cmd.Stdout, cmd.Stderr = os.Stdout, os.Stderr
		err := cmd.Start()
		if err == nil && c.Background {
			background = append(background, cmd)
			continue
		}
		status := 0
		if err == nil {
			err = cmd.Wait()
		}
		if err != nil {
			failed++
			status = -1 // it did not start, or a signal ended it
			if exit := (*exec.ExitError)(nil); errors.As(err, &exit) {
				status = exit.ExitCode()
			}
			fmt.Printf("\nvmtest: %s: %v\n", c.Path, err)
		}
		fmt.Printf("\n%s\n", bootscript.Done(i, status))
	}
	for _, cmd := range background {
		_ = cmd.Process.Kill() // it may have ended by itself
		_ = cmd.Wait()
	}
	return failed
}
