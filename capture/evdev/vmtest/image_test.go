//go:build linux

package vmtest

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"holdgap/capture/evdev/vmtest/internal/bootscript"
)

// TestArchiveLayout pins the bytes of a small archive to the field widths of
// Documentation/driver-api/early-userspace/buffer-format.rst; that the kernel
// unpacks it is shown by every test that boots.
func TestArchiveLayout(t *testing.T) {
	var out bytes.Buffer
	c := &cpioWriter{w: &out}
	c.Dir("d")
	c.File("d/f", []byte("abcde"))
	c.Char("n", 5, 1)
	require.NoError(t, c.Close())

	header := func(ino, mode, nlink, size, major, minor, name int) string {
		return fmt.Sprintf("070701%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x",
			ino, mode, 0, 0, nlink, 0, size, 0, 0, major, minor, name, 0)
	}
	want := header(1, 0o040755, 2, 0, 0, 0, 2) + "d\x00" + // 112 bytes
		header(2, 0o100755, 1, 5, 0, 0, 4) + "d/f\x00\x00\x00" + "abcde\x00\x00\x00" +
		header(3, 0o020600, 1, 0, 5, 1, 2) + "n\x00" +
		header(4, 0, 1, 0, 0, 0, 11) + "TRAILER!!!\x00\x00\x00\x00"
	require.Equal(t, want, out.String())
	require.Zero(t, out.Len()%4)
}

func TestModulesComeAfterWhatTheyNeed(t *testing.T) {
	Require(t)
	k, err := FindKernel()
	require.NoError(t, err)
	set, err := openModules(filepath.Dir(k.Modules[0]))
	require.NoError(t, err)
	// The cache numbers the files, NN-name.ko.
	plain := &moduleSet{paths: map[string]string{}, builtin: set.builtin}
	for name, path := range set.paths {
		plain.paths[name[3:]] = path
	}
	modules, err := plain.load(t.Context(), "virtio-net", "hid-generic")
	require.NoError(t, err)
	at := map[string]int{}
	for i, m := range modules {
		at[m.name] = i
	}
	// modules.dep of this kernel, as depmod (kmod 30) writes it.
	for name, needs := range map[string][]string{
		"virtio_net": {"net_failover", "failover", "virtio_ring", "virtio"}, "hid_generic": {"hid"},
	} {
		for _, need := range needs {
			require.Contains(t, at, need)
			require.Less(t, at[need], at[name], "%s before %s", need, name)
		}
	}

	_, err = plain.load(t.Context(), "no_such")
	require.ErrorContains(t, err, `"no_such"`)
	plain.builtin["no_such"] = true
	modules, err = plain.load(t.Context(), "no-such")
	require.NoError(t, err)
	require.Empty(t, modules, "built into the kernel")
}

func TestPackedModuleIsUnpacked(t *testing.T) {
	Require(t)
	k, err := FindKernel()
	require.NoError(t, err)
	plain, err := os.ReadFile(k.Modules[0])
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "evdev.ko.xz")
	packed, err := exec.Command("xz", "-0", "-c", k.Modules[0]).Output()
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, packed, 0o644))
	got, err := readModule(t.Context(), path)
	require.NoError(t, err)
	require.True(t, bytes.Equal(plain, got))
	require.Equal(t, "evdev", moduleName(path))

	require.NoError(t, os.WriteFile(path, packed[:100], 0o644))
	_, err = readModule(t.Context(), path)
	require.ErrorContains(t, err, path)
}

func TestEndLine(t *testing.T) {
	failed, trouble, ok := bootscript.ParseEnd(bootscript.End(3, nil))
	require.True(t, ok)
	require.Equal(t, 3, failed)
	require.Empty(t, trouble)
	_, trouble, ok = bootscript.ParseEnd(bootscript.End(0, fmt.Errorf("two\nlines")))
	require.True(t, ok)
	require.Equal(t, "two lines", trouble)
	for _, line := range []string{"", "vmtest: end", "vmtest: end x", bootscript.Ready} {
		_, _, ok = bootscript.ParseEnd(line)
		require.False(t, ok, line)
	}
}

func TestEdgesOfAnAnswer(t *testing.T) {
	edges, err := ParseEdges([]string{"south+123", "key_minus-456"})
	require.NoError(t, err)
	require.Equal(t, []Edge{{"south", true, 123}, {"key_minus", false, 456}}, edges)
	for _, bad := range []string{"south", "south+x", "+"} {
		_, err := ParseEdges([]string{bad})
		require.ErrorContains(t, err, bad)
	}
}
