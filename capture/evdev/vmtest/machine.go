package vmtest

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"holdgap/capture/evdev/vmtest/internal/bootscript"
)

// Command is one program to run in the guest: its guest path, arguments, added
// environment, and whether it runs in the background.
type Command = bootscript.Command

// Config says what a machine holds and does.
type Config struct {
	Files   map[string]string // guest path → host path; all become executable
	Data    map[string][]byte // guest path → content
	Run     []Command         // one after the other; then the machine powers off
	Forward []int             // guest TCP ports to reach from the host; see [Machine.Addr]

	// Timeout ends the machine whatever it does; 0 is two minutes.
	Timeout time.Duration
	// Console, if set, also gets every line of the console as it comes.
	Console io.Writer
}

const memoryMB = 512 // the kernel, its file system in RAM, and Go programs

// Machine is a running guest.
type Machine struct {
	ports  map[int]int // guest → host
	cancel context.CancelFunc
	done   chan struct{} // closed once qemu is gone and its console read
	stderr strings.Builder
	exit   error // qemu's own; after done

	mu    sync.Mutex
	lines []string
	grown chan struct{} // closed and replaced whenever a line is added
}

// Boot starts a machine and returns at once. The machine ends when its commands
// are done, when ctx ends, at its time limit, or by [Machine.Close], which
// whoever booted it must call.
func Boot(ctx context.Context, cfg Config) (*Machine, error) {
	k, err := FindKernel()
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "holdgap-vm-")
	if err != nil {
		return nil, fmt.Errorf("making a folder for the test machine: %w", err)
	}
	// qemu reads the images when it starts; the folder goes with the machine.
	m, err := boot(ctx, k, cfg, dir)
	if err != nil {
		os.RemoveAll(dir)
		return nil, err
	}
	return m, nil
}

func boot(ctx context.Context, k Kernel, cfg Config, dir string) (*Machine, error) {
	initProgram := filepath.Join(dir, "init")
	if err := Build(ctx, initProgram, "holdgap/capture/evdev/vmtest/guestinit", "", false); err != nil {
		return nil, err
	}
	initramfs := filepath.Join(dir, "initramfs")
	f, err := os.Create(initramfs)
	if err != nil {
		return nil, fmt.Errorf("making the guest's file system: %w", err)
	}
	w := bufio.NewWriter(f)
	err = errors.Join(writeInitramfs(w, k, initProgram, cfg), w.Flush(), f.Close())
	if err != nil {
		return nil, err
	}
	m := &Machine{ports: map[int]int{}, done: make(chan struct{}), grown: make(chan struct{})}
	if err := m.pickPorts(cfg.Forward); err != nil {
		return nil, err
	}
	timeout := cfg.Timeout
	if timeout == 0 {
		timeout = 2 * time.Minute
	}
	ctx, m.cancel = context.WithTimeoutCause(ctx, timeout, fmt.Errorf("its time limit of %v is over", timeout))
	cmd := exec.CommandContext(ctx, "qemu-system-x86_64", m.qemuArgs(k.Image, initramfs)...)
	cmd.Stderr = &m.stderr
	endWithUs(cmd)
	console, err := cmd.StdoutPipe()
	if err != nil {
		m.cancel()
		return nil, err
	}
	started := make(chan error)
	go m.run(ctx, cmd, console, cfg.Console, dir, started)
	if err := <-started; err != nil {
		m.cancel()
		return nil, fmt.Errorf("starting the test machine: %w", err)
	}
	return m, nil
}

// run owns qemu from its start to its end.
func (m *Machine) run(ctx context.Context, cmd *exec.Cmd, console io.Reader, echo io.Writer, dir string, started chan<- error) {
	// endWithUs means the death of the thread that started qemu, so this goroutine
	// keeps its thread.
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	err := cmd.Start()
	started <- err
	if err != nil {
		return
	}
	defer close(m.done)
	defer os.RemoveAll(dir)
	defer m.cancel()
	in := bufio.NewReader(console)
	for {
		line, err := in.ReadString('\n')
		if line = strings.TrimRight(line, "\r\n"); line != "" || err == nil {
			m.addLine(line, echo)
		}
		if err != nil {
			break
		}
	}
	m.exit = cmd.Wait()
	if ctx.Err() != nil {
		m.exit = context.Cause(ctx)
	}
}

func (m *Machine) addLine(line string, echo io.Writer) {
	if echo != nil {
		fmt.Fprintln(echo, line)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.lines = append(m.lines, line)
	close(m.grown)
	m.grown = make(chan struct{})
}

// pickPorts finds free ports on the host's loopback. Another program could
// take one before qemu does; then qemu says so and the machine does not start.
func (m *Machine) pickPorts(guest []int) error {
	for _, port := range guest {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			return fmt.Errorf("finding a free port for the test machine: %w", err)
		}
		defer l.Close() // after all are found, so that no two are the same
		m.ports[port] = l.Addr().(*net.TCPAddr).Port
	}
	return nil
}

func (m *Machine) qemuArgs(image, initramfs string) []string {
	// restrict: the guest reaches nothing but what is forwarded to it.
	netdev := "user,id=net,restrict=on"
	for guest, host := range m.ports {
		netdev += fmt.Sprintf(",hostfwd=tcp:127.0.0.1:%d-10.0.2.15:%d", host, guest)
	}
	args := []string{
		"-nodefaults", "-no-user-config", "-display", "none", "-monitor", "none", "-serial", "stdio",
		"-m", fmt.Sprint(memoryMB), "-smp", "2", "-cpu", "qemu64", "-no-reboot",
		"-netdev", netdev, "-device", "virtio-net-pci,netdev=net,romfile=",
		"-kernel", image, "-initrd", initramfs,
		// A panic ends qemu, since a reboot does. No kernel chatter but errors.
		"-append", "console=ttyS0 quiet loglevel=4 panic=-1",
	}
	// Emulation unless told otherwise: there are hosts whose /dev/kvm opens and
	// makes machines that then stand still, so trying it first is no test.
	accel := "tcg"
	if a := os.Getenv("HOLDGAP_VM_ACCEL"); a != "" {
		accel = a
	}
	return append(args, "-accel", accel)
}

// Addr is the host's address, 127.0.0.1:PORT, of a forwarded guest port.
func (m *Machine) Addr(guest int) string {
	host, ok := m.ports[guest]
	if !ok {
		panic(fmt.Sprintf("vmtest: guest port %d is not in Config.Forward", guest))
	}
	return fmt.Sprintf("127.0.0.1:%d", host)
}

// Console returns the console's lines so far.
func (m *Machine) Console() []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]string(nil), m.lines...)
}

// WaitLine waits for the first console line, past or to come, that contains
// text. It fails when the machine or ctx ends before.
func (m *Machine) WaitLine(ctx context.Context, text string) (string, error) {
	return m.waitLine(ctx, 0, text)
}

// waitLine is WaitLine for the lines after the first from ones.
func (m *Machine) waitLine(ctx context.Context, from int, text string) (string, error) {
	for ended := false; ; {
		m.mu.Lock()
		lines, grown := m.lines[from:], m.grown
		m.mu.Unlock()
		from += len(lines)
		for _, line := range lines {
			if strings.Contains(line, text) {
				return line, nil
			}
		}
		if ended {
			return "", fmt.Errorf("the test machine ended before the console said %q; its last lines:\n%s%s", text, m.stderr.String(), m.tail())
		}
		select {
		case <-grown:
		case <-m.done:
			ended = true // one more look at what came at the very end
		case <-ctx.Done():
			return "", fmt.Errorf("waiting for %q on the test machine's console: %w; its last lines:\n%s", text, ctx.Err(), m.tail())
		}
	}
}

// Wait waits until the machine is off. It returns how many of its commands in
// the foreground failed, and an error if the machine did not come to its end.
func (m *Machine) Wait() (failed int, err error) {
	<-m.done
	lines := m.Console()
	for i := len(lines) - 1; i >= 0; i-- {
		failed, trouble, ok := bootscript.ParseEnd(lines[i])
		switch {
		case !ok:
			continue
		case trouble != "":
			return 0, fmt.Errorf("in the test machine: %s", trouble)
		}
		return failed, nil
	}
	cause := m.exit
	if cause == nil {
		cause = errors.New("qemu ended by itself")
	}
	return 0, fmt.Errorf("the test machine stopped before its end: %w\n%s%s", cause, m.stderr.String(), m.tail())
}

// Close stops the machine if it runs, and waits until it is gone.
func (m *Machine) Close() {
	m.cancel()
	<-m.done
}

func (m *Machine) tail() string {
	lines := m.Console()
	if len(lines) > 30 {
		lines = lines[len(lines)-30:]
	}
	return strings.Join(lines, "\n")
}
