package vmtest

import (
	"bytes"
	"context"
	"debug/elf"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// guestModules are what the tests need of the kernel: the readers' side of
// input (evdev), the two ways of making devices, and the network card through
// which the host reaches the guest. (An emulated card made of real hardware, the
// e1000 for one, takes two seconds more until its link is up.)
var guestModules = []string{"evdev", "uinput", "hid", "uhid", "hid-generic", "virtio_pci", "virtio_net"}

// moduleSet is the modules of an unpacked kernel package by name. The package
// has no modules.dep (depmod writes that on installation), so the order comes
// from the modules themselves: section .modinfo holds "depends=a,b".
type moduleSet struct {
	paths   map[string]string // normalised name → file
	builtin map[string]bool
}

// moduleName is a module's name as the kernel compares it: without folder and
// endings, and with every dash an underscore.
func moduleName(path string) string {
	name := filepath.Base(path)
	name, _, _ = strings.Cut(name, ".ko")
	return strings.ReplaceAll(name, "-", "_")
}

// openModules lists the modules below dir, a lib/modules/RELEASE folder.
func openModules(dir string) (*moduleSet, error) {
	set := &moduleSet{paths: map[string]string{}, builtin: map[string]bool{}}
	if list, err := os.ReadFile(filepath.Join(dir, "modules.builtin")); err == nil {
		for line := range strings.Lines(string(list)) {
			set.builtin[moduleName(strings.TrimSpace(line))] = true
		}
	}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && strings.Contains(d.Name(), ".ko") {
			set.paths[moduleName(path)] = path
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("listing kernel modules below %q: %w", dir, err)
	}
	return set, nil
}

// module is one kernel module ready for loading.
type module struct {
	name string
	data []byte // ELF, unpacked
}

// load returns the wanted modules and all that they depend on, each after its
// own dependencies. Modules built into the kernel are left away.
func (s *moduleSet) load(ctx context.Context, wanted ...string) ([]module, error) {
	var out []module
	done := map[string]bool{}
	var add func(name string) error
	add = func(name string) error {
		name = moduleName(name)
		if done[name] || s.builtin[name] {
			return nil
		}
		done[name] = true // before its dependencies, so that a ring of them ends
		path, ok := s.paths[name]
		if !ok {
			return fmt.Errorf("kernel module %q is not in the package (a cloud kernel lacks it; take the one linux-image-amd64 depends on)", name)
		}
		data, err := readModule(ctx, path)
		if err != nil {
			return err
		}
		deps, err := moduleDepends(data)
		if err != nil {
			return fmt.Errorf("reading the dependencies of kernel module %q: %w", path, err)
		}
		for _, dep := range deps {
			if err := add(dep); err != nil {
				return fmt.Errorf("%w, needed by %q", err, name)
			}
		}
		out = append(out, module{name, data})
		return nil
	}
	for _, name := range wanted {
		if err := add(name); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// readModule reads a module file, unpacking .ko.xz (Debian 13 and later).
func readModule(ctx context.Context, path string) ([]byte, error) {
	if !strings.HasSuffix(path, ".xz") {
		return os.ReadFile(path)
	}
	data, err := exec.CommandContext(ctx, "xz", "-dc", path).Output()
	if err != nil {
		return nil, fmt.Errorf("unpacking kernel module %q with xz: %w", path, err)
	}
	return data, nil
}

// moduleDepends reads the names in a module's "depends=" line.
func moduleDepends(ko []byte) ([]string, error) {
	f, err := elf.NewFile(bytes.NewReader(ko))
	if err != nil {
		return nil, err
	}
	section := f.Section(".modinfo")
	if section == nil {
		return nil, fmt.Errorf("no .modinfo section")
	}
	info, err := section.Data()
	if err != nil {
		return nil, err
	}
	for field := range bytes.SplitSeq(info, []byte{0}) {
		if list, ok := bytes.CutPrefix(field, []byte("depends=")); ok && len(list) > 0 {
			return strings.Split(string(list), ","), nil
		}
	}
	return nil, nil
}
