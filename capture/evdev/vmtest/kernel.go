package vmtest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
)

// Kernel is a kernel in the cache folder, with the modules that the guest loads.
type Kernel struct {
	Release string   // as uname -r says it: "6.1.0-56-amd64"
	Image   string   // path of the bootable image
	Modules []string // paths of unpacked modules, in the order of loading
}

// ErrNoKernel is returned by [FindKernel] where no kernel was fetched yet.
var ErrNoKernel = errors.New("the kernel for the test machine is not there; run: go run ./cmd/check")

// CacheDir is the folder for what tests download: HOLDGAP_CACHE, or holdgap in
// the user's cache folder. It may not exist yet.
func CacheDir() (string, error) {
	if dir := os.Getenv("HOLDGAP_CACHE"); dir != "" {
		return dir, nil
	}
	dir, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("looking for the cache folder: %w (set HOLDGAP_CACHE to a folder)", err)
	}
	return filepath.Join(dir, "holdgap"), nil
}

func kernelsDir() (string, error) {
	dir, err := CacheDir()
	return filepath.Join(dir, "kernels"), err
}

// FindKernel returns the kernel fetched last, or [ErrNoKernel].
func FindKernel() (Kernel, error) {
	dir, err := kernelsDir()
	if err != nil {
		return Kernel{}, err
	}
	images, _ := filepath.Glob(filepath.Join(dir, "*", "vmlinuz"))
	sort.Slice(images, func(i, j int) bool { return modTime(images[i]) > modTime(images[j]) })
	for _, image := range images {
		if k, ok := kernelIn(filepath.Dir(image)); ok {
			return k, nil
		}
	}
	return Kernel{}, ErrNoKernel
}

func modTime(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return info.ModTime().UnixNano()
}

// kernelIn reads one kernel's folder; not ok if it lacks a module, as one that
// was fetched when fewer were needed would.
func kernelIn(dir string) (k Kernel, ok bool) {
	k = Kernel{Release: filepath.Base(dir), Image: filepath.Join(dir, "vmlinuz")}
	k.Modules, _ = filepath.Glob(filepath.Join(dir, "modules", "*.ko"))
	sort.Strings(k.Modules) // named NN-name.ko in the order of loading
	have := map[string]bool{}
	for _, path := range k.Modules {
		_, name, _ := strings.Cut(filepath.Base(path), "-")
		have[moduleName(name)] = true
	}
	for _, name := range guestModules {
		if !have[moduleName(name)] {
			return k, false
		}
	}
	return k, true
}

// FetchKernel returns the cached kernel, or downloads Debian's ordinary one
// (70 MB) with apt-get and keeps its image and the needed modules (10 MB). What
// the programs print goes to log. It wants Debian's apt-get, apt-cache and
// dpkg, package lists that are up to date (apt-get update), and no root.
func FetchKernel(ctx context.Context, log io.Writer) (Kernel, error) {
	if k, err := FindKernel(); !errors.Is(err, ErrNoKernel) {
		return k, err
	}
	dir, err := kernelsDir()
	if err != nil {
		return Kernel{}, err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return Kernel{}, fmt.Errorf("making the cache folder: %w", err)
	}
	tmp, err := os.MkdirTemp(dir, ".fetch-")
	if err != nil {
		return Kernel{}, fmt.Errorf("making a folder for the kernel package: %w", err)
	}
	defer os.RemoveAll(tmp)

	name, err := kernelPackage(ctx)
	if err != nil {
		return Kernel{}, err
	}
	for _, c := range []string{"apt-get download " + name, "dpkg -x " + name + "_*.deb root"} {
		cmd := exec.CommandContext(ctx, "sh", "-c", c)
		cmd.Dir, cmd.Stdout, cmd.Stderr = tmp, log, log
		if err := cmd.Run(); err != nil {
			return Kernel{}, fmt.Errorf("fetching the kernel package with %q: %w", c, err)
		}
	}
	release, err := keepKernel(ctx, filepath.Join(tmp, "root"), filepath.Join(tmp, "keep"))
	if err != nil {
		return Kernel{}, err
	}
	final := filepath.Join(dir, release)
	if _, ok := kernelIn(final); !ok {
		if err := os.RemoveAll(final); err != nil {
			return Kernel{}, fmt.Errorf("removing an incomplete kernel from the cache: %w", err)
		}
	}
	err = os.Rename(filepath.Join(tmp, "keep"), final)
	// Another process may have been faster; then its folder stays.
	k, ok := kernelIn(final)
	if !ok {
		return k, fmt.Errorf("putting the kernel into the cache folder %q failed: %w", final, err)
	}
	return k, nil
}

// Debian's ordinary kernel: neither the cloud one, which lacks the input
// modules, nor the real-time one.
var kernelDependency = regexp.MustCompile(`linux-image-[0-9][0-9a-z.+-]*-amd64`)

// kernelPackage is the name of the package that linux-image-amd64 stands for.
func kernelPackage(ctx context.Context) (string, error) {
	out, err := exec.CommandContext(ctx, "apt-cache", "show", "--no-all-versions", "linux-image-amd64").Output()
	if err != nil {
		return "", fmt.Errorf("asking apt-cache about %q: %w (this needs Debian with up-to-date package lists: apt-get update)", "linux-image-amd64", err)
	}
	for line := range strings.Lines(string(out)) {
		if list, ok := strings.CutPrefix(line, "Depends:"); ok {
			if name := kernelDependency.FindString(list); name != "" {
				return name, nil
			}
		}
	}
	return "", fmt.Errorf("package %q names no kernel package among its dependencies: %q", "linux-image-amd64", out)
}

// keepKernel copies what the guest needs from an unpacked package to keep, and
// returns the kernel's release.
func keepKernel(ctx context.Context, root, keep string) (release string, err error) {
	images, _ := filepath.Glob(filepath.Join(root, "boot", "vmlinuz-*"))
	if len(images) != 1 {
		return "", fmt.Errorf("the kernel package holds %d images below %q, want one", len(images), "boot/vmlinuz-*")
	}
	release = strings.TrimPrefix(filepath.Base(images[0]), "vmlinuz-")
	var lib string
	for _, dir := range []string{"lib", "usr/lib"} { // the second since Debian 13
		if _, err := os.Stat(filepath.Join(root, dir, "modules", release)); err == nil {
			lib = filepath.Join(root, dir, "modules", release)
		}
	}
	set, err := openModules(lib)
	if err != nil {
		return "", err
	}
	modules, err := set.load(ctx, guestModules...)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(filepath.Join(keep, "modules"), 0o755); err != nil {
		return "", err
	}
	for i, m := range modules {
		path := filepath.Join(keep, "modules", fmt.Sprintf("%02d-%s.ko", i, m.name))
		if err := os.WriteFile(path, m.data, 0o644); err != nil {
			return "", err
		}
	}
	return release, os.Rename(images[0], filepath.Join(keep, "vmlinuz"))
}
