package vmtest

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"holdgap/capture/evdev/vmtest/internal/bootscript"
)

// Build compiles a package of this module into the static program out, to be
// run in the guest. With test, it compiles the package's tests (go test -c).
//
// It also looks at every file of this module that goes into the program:
// `go test` keeps a passed test's result until a file changes that the test
// has opened, and would not know of what another go command has read.
func Build(ctx context.Context, out, pkg, tags string, test bool) error {
	args := []string{"build"}
	if test {
		args = []string{"test", "-c"}
	}
	if _, err := goTool(ctx, append(args, "-tags", tags, "-o", out, pkg)...); err != nil {
		return fmt.Errorf("compiling %q for the guest: %w", pkg, err)
	}
	const files = `{{if and .Module .Module.Main}}{{$d := .Dir}}` +
		`{{range .GoFiles}}{{$d}}/{{.}}{{"\n"}}{{end}}{{range .EmbedFiles}}{{$d}}/{{.}}{{"\n"}}{{end}}{{end}}`
	list, err := goTool(ctx, "list", "-deps", fmt.Sprintf("-test=%t", test), "-tags", tags, "-f", files, pkg)
	if err != nil {
		return fmt.Errorf("listing the files of %q: %w", pkg, err)
	}
	for line := range strings.Lines(string(list)) {
		if f, err := os.Open(strings.TrimSpace(line)); err == nil { // generated ones are not there
			_ = f.Close()
		}
	}
	return nil
}

func goTool(ctx context.Context, args ...string) ([]byte, error) {
	cmd := exec.CommandContext(ctx, "go", args...)
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH=amd64")
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go %s: %w\n%s", strings.Join(args, " "), err, stderr.Bytes())
	}
	return out, nil
}

// writeInitramfs writes the guest's whole file system.
func writeInitramfs(w io.Writer, k Kernel, initProgram string, cfg Config) error {
	// The fastest level: the guest, perhaps emulated, has to unpack it.
	zip, err := gzip.NewWriterLevel(w, gzip.BestSpeed)
	if err != nil {
		return err
	}
	script := bootscript.Script{Commands: cfg.Run}
	files := map[string]string{"/init": initProgram}
	for _, m := range k.Modules {
		guest := "/modules/" + filepath.Base(m)
		files[guest] = m
		script.Modules = append(script.Modules, guest)
	}
	maps.Copy(files, cfg.Files)
	text, err := json.Marshal(script)
	if err != nil {
		return err
	}
	data := maps.Clone(cfg.Data)
	if data == nil {
		data = map[string][]byte{}
	}
	data[bootscript.Path] = text

	c := &cpioWriter{w: zip}
	c.Dir("dev")
	c.Char("dev/console", 5, 1) // /init's output before it mounts /dev
	made := map[string]bool{"/": true, "/dev": true}
	var parents func(dir string)
	parents = func(dir string) {
		if !made[dir] {
			made[dir] = true
			parents(path.Dir(dir))
			c.Dir(strings.TrimPrefix(dir, "/"))
		}
	}
	add := func(guest string, content []byte) {
		guest = path.Clean("/" + guest)
		parents(path.Dir(guest))
		c.File(strings.TrimPrefix(guest, "/"), content)
	}
	for _, guest := range slices.Sorted(maps.Keys(files)) {
		content, err := os.ReadFile(files[guest])
		if err != nil {
			return fmt.Errorf("putting %q into the guest: %w", guest, err)
		}
		add(guest, content)
	}
	for _, guest := range slices.Sorted(maps.Keys(data)) {
		add(guest, data[guest])
	}
	if err := c.Close(); err != nil {
		return fmt.Errorf("writing the guest's file system: %w", err)
	}
	return zip.Close()
}
