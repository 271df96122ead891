package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"holdgap/capture/evdev/vmtest"
)

// need is something that checks use and that may have to be set up.
type need struct {
	name     string
	packages []string                                // of Debian
	have     func(ctx context.Context, e *env) error // nil when it is really there and works
	fetch    func(ctx context.Context, e *env) error // gets it without a package manager; may be nil
	remedy   string                                  // what to do elsewhere
}

// allNeeds in the order of setting up: later ones may use earlier ones.
func allNeeds() []need {
	return []need{
		{name: "git", packages: []string{"git"}, have: runs("git", "--version"), remedy: "install git"},
		{name: "compiler", packages: []string{"gcc", "libc6-dev"}, have: compiles, remedy: "install a C compiler with its headers"},
		{name: "chromium", packages: []string{"chromium"}, have: browser, remedy: "install Chromium"},
		{name: "ffmpeg", packages: []string{"ffmpeg"}, have: encoders, remedy: "install ffmpeg with libx264 and libvpx"},
		{name: "qemu", packages: []string{"qemu-system-x86"}, have: runs("qemu-system-x86_64", "--version"), remedy: "install qemu-system-x86_64"},
		{name: "kernel", packages: []string{"xz-utils"}, have: haveKernel, fetch: fetchKernel, remedy: "the kernel package can only be fetched on Debian"},
		{name: "node", packages: []string{"nodejs", "npm"}, have: haveNode, remedy: "install Node.js 16.20 or later with npm"},
		{name: "jstools", have: haveTools, fetch: fetchTools, remedy: "npm could not fetch TypeScript and axe-core"},
	}
}

// runs returns a have that starts a program.
func runs(name string, args ...string) func(context.Context, *env) error {
	return func(ctx context.Context, e *env) error {
		if _, err := exec.LookPath(name); err != nil {
			return fmt.Errorf("%s is not there", name)
		}
		out, err := e.output(ctx, name, args...)
		if err != nil {
			return fmt.Errorf("%s does not run: %w %s", name, err, firstLine(out))
		}
		return nil
	}
}

// compiles builds a program that includes a header, as -race needs it.
func compiles(ctx context.Context, e *env) error {
	cc, err := e.output(ctx, "go", "env", "CC")
	if err != nil {
		return err
	}
	fields := strings.Fields(cc)
	if len(fields) == 0 {
		return errors.New("go env CC names no compiler")
	}
	if _, err := exec.LookPath(fields[0]); err != nil {
		return fmt.Errorf("the C compiler %q is not there", fields[0])
	}
	dir, err := os.MkdirTemp("", "holdgap-check-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	source := filepath.Join(dir, "a.c")
	if err := os.WriteFile(source, []byte("#include <stdlib.h>\n#include <pthread.h>\nint main(void) { return EXIT_SUCCESS; }\n"), 0o600); err != nil {
		return err
	}
	args := append(fields[1:], "-pthread", source, "-o", filepath.Join(dir, "a"))
	if out, err := e.output(ctx, fields[0], args...); err != nil {
		return fmt.Errorf("the C compiler %q cannot compile: %s", fields[0], firstLine(out))
	}
	return nil
}

// browsers are the names under which the browser tests look for one.
var browsers = []string{"chromium", "chromium-browser"}

func browser(ctx context.Context, e *env) error {
	for _, name := range browsers {
		if path, err := exec.LookPath(name); err == nil {
			return runs(path, "--version")(ctx, e)
		}
	}
	return errors.New("no Chromium is there")
}

// encoders asks ffmpeg for the encoders that films and the stream test use.
func encoders(ctx context.Context, e *env) error {
	for _, name := range []string{"ffmpeg", "ffprobe"} {
		if err := runs(name, "-version")(ctx, e); err != nil {
			return err
		}
	}
	out, err := e.output(ctx, "ffmpeg", "-hide_banner", "-encoders")
	if err != nil {
		return err
	}
	for _, name := range []string{"libx264", "libvpx-vp9", "qtrle", "prores_ks"} {
		if !strings.Contains(out, name) {
			return fmt.Errorf("ffmpeg has no encoder %q", name)
		}
	}
	return nil
}

func haveKernel(context.Context, *env) error {
	_, err := vmtest.FindKernel()
	return err
}

func fetchKernel(ctx context.Context, e *env) error {
	var log bytes.Buffer
	if _, err := vmtest.FetchKernel(ctx, &log); err != nil {
		return fmt.Errorf("%w\n%s", err, log.String())
	}
	return nil
}

// debian reports whether apt-get can be used here, and if not why not.
func debian() error {
	release, err := os.ReadFile("/etc/os-release")
	if err != nil {
		return fmt.Errorf("this is not Debian but %s", runtime.GOOS)
	}
	if !isDebian(string(release)) {
		return errors.New("this is not Debian")
	}
	return nil
}

func isDebian(release string) bool {
	for line := range strings.Lines(release) {
		if id, ok := strings.CutPrefix(strings.TrimSpace(line), "ID="); ok {
			return strings.Trim(id, `"'`) == "debian"
		}
	}
	return false
}

// setUp meets the named needs as far as this machine lets it, and records in
// e.lacks what is missing and why.
func (e *env) setUp(ctx context.Context, wanted []string, p *printer) {
	apt := &aptGet{env: e, out: p}
	for _, n := range allNeeds() {
		if !slices.Contains(wanted, n.name) || ctx.Err() != nil {
			continue
		}
		if n.have(ctx, e) == nil {
			continue
		}
		if reason := e.mend(ctx, n, apt, p); reason != "" {
			e.lacks[n.name] = reason
			p.print("setup " + n.name + ": left out: " + reason)
		}
	}
}

// mend gets what is missing; it returns why it could not, or "".
func (e *env) mend(ctx context.Context, n need, apt *aptGet, p *printer) (reason string) {
	note := ""
	if len(n.packages) > 0 {
		if err := apt.install(ctx, n.packages); err != nil {
			note = err.Error()
		}
	}
	if n.fetch != nil {
		p.print("setup " + n.name + ": fetching")
		if err := n.fetch(ctx, e); err != nil {
			note = err.Error()
		}
	}
	missing := n.have(ctx, e)
	if missing == nil {
		p.print("setup " + n.name + ": ready")
		return ""
	}
	reason = missing.Error()
	if note != "" && note != reason {
		reason += " (" + note + ")"
	}
	return reason + "; " + n.remedy
}

// aptGet installs Debian packages.
type aptGet struct {
	env     *env
	out     *printer
	updated bool
}

func (a *aptGet) install(ctx context.Context, packages []string) error {
	if err := debian(); err != nil {
		return err
	}
	if os.Geteuid() != 0 {
		return fmt.Errorf("not root: run sudo apt-get install %s", strings.Join(packages, " "))
	}
	if !a.updated {
		a.out.print("setup apt-get update")
		if out, err := a.run(ctx, "update"); err != nil {
			a.out.print(out)
			return err
		}
		a.updated = true
	}
	a.out.print("setup apt-get install " + strings.Join(packages, " "))
	if out, err := a.run(ctx, append([]string{"install", "-y", "--no-install-recommends"}, packages...)...); err != nil {
		a.out.print(out)
		return err
	}
	return nil
}

func (a *aptGet) run(ctx context.Context, args ...string) (string, error) {
	args = append([]string{"-q", "-o", "DPkg::Lock::Timeout=120"}, args...)
	return a.env.outputWith(ctx, []string{"DEBIAN_FRONTEND=noninteractive"}, "apt-get", args...)
}

func firstLine(s string) string {
	line, _, _ := strings.Cut(strings.TrimSpace(s), "\n")
	return line
}
