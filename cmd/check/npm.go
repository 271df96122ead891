package main

import (
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"

	"holdgap/capture/evdev/vmtest"
)

// The lock file pins every byte of the npm packages by its hash.
//
//go:embed npm/package.json npm/package-lock.json
var npmFiles embed.FS

// tools are the npm packages in the cache folder.
type tools struct {
	tsc string // path of the TypeScript compiler's script, run by node
	axe string // path of axe.min.js
}

// npmDir is a folder named after the lock file, so that a new lock gets a new folder.
func npmDir() (string, error) {
	cache, err := vmtest.CacheDir()
	if err != nil {
		return "", err
	}
	lock, err := npmFiles.ReadFile("npm/package-lock.json")
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(lock)
	return filepath.Join(cache, "npm-"+hex.EncodeToString(sum[:6])), nil
}

func haveNode(ctx context.Context, e *env) error {
	if err := runs("node", "--version")(ctx, e); err != nil {
		return err
	}
	return runs("npm", "--version")(ctx, e)
}

func haveTools(ctx context.Context, e *env) error {
	dir, err := npmDir()
	if err != nil {
		return err
	}
	t := tools{
		tsc: filepath.Join(dir, "node_modules", "typescript", "bin", "tsc"),
		axe: filepath.Join(dir, "node_modules", "axe-core", "axe.min.js"),
	}
	if _, err := os.Stat(t.axe); err != nil {
		return fmt.Errorf("axe-core is not in the cache folder")
	}
	if _, err := os.Stat(t.tsc); err != nil {
		return fmt.Errorf("TypeScript is not in the cache folder")
	}
	if out, err := e.output(ctx, "node", t.tsc, "--version"); err != nil {
		return fmt.Errorf("the TypeScript compiler does not run: %w %s", err, firstLine(out))
	}
	e.tools = t
	e.vars = append(e.vars, "HOLDGAP_AXE="+t.axe)
	return nil
}

// fetchTools installs into a folder beside the final one and renames it, so
// that an interrupted download leaves nothing half done.
func fetchTools(ctx context.Context, e *env) error {
	if _, err := exec.LookPath("npm"); err != nil {
		return fmt.Errorf("npm is not there")
	}
	dir, err := npmDir()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
		return fmt.Errorf("making the cache folder: %w", err)
	}
	tmp, err := os.MkdirTemp(filepath.Dir(dir), ".npm-")
	if err != nil {
		return fmt.Errorf("making a folder for npm packages: %w", err)
	}
	defer os.RemoveAll(tmp)
	for _, name := range []string{"package.json", "package-lock.json"} {
		data, err := npmFiles.ReadFile("npm/" + name)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(tmp, name), data, 0o644); err != nil {
			return err
		}
	}
	// No package's own script runs: neither of the two needs one.
	cmd := []string{"ci", "--prefix", tmp, "--ignore-scripts", "--no-audit", "--no-fund", "--no-update-notifier"}
	if out, err := e.output(ctx, "npm", cmd...); err != nil {
		return fmt.Errorf("%w\n%s", err, out)
	}
	if err := os.RemoveAll(dir); err != nil {
		return err
	}
	return os.Rename(tmp, dir)
}
