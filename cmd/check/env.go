package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// env is what checks run in: the tree, the environment of children, and what
// is missing on this machine.
type env struct {
	root  string   // folder of go.mod
	opts  options  // as given
	vars  []string // environment of every child
	tools tools    // npm packages, once they are there
	lacks map[string]string
	tree  treeState // the git tree at the start
}

func newEnv(ctx context.Context, o options) (*env, error) {
	e := &env{opts: o, vars: os.Environ(), lacks: map[string]string{}}
	out, err := e.output(ctx, "go", "env", "GOMOD")
	if err != nil {
		return nil, fmt.Errorf("looking for the module: %w\n%s", err, out)
	}
	mod := strings.TrimSpace(out)
	if filepath.Base(mod) != "go.mod" {
		return nil, errors.New("this folder is not inside the module: change into the project's folder and run: go run ./cmd/check")
	}
	e.root = filepath.Dir(mod)
	if o.strict {
		e.vars = append(e.vars, "HOLDGAP_STRICT=1")
	}
	// Git refuses a tree that belongs to someone else, as in many containers;
	// the checks only read it.
	if os.Getenv("GIT_CONFIG_COUNT") == "" {
		e.vars = append(e.vars, "GIT_CONFIG_COUNT=1", "GIT_CONFIG_KEY_0=safe.directory", "GIT_CONFIG_VALUE_0="+e.root)
	}
	return e, nil
}

// command prepares a child that ends with ctx, together with all it started.
func (e *env) command(ctx context.Context, name string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Dir, cmd.Env = e.root, e.vars
	ownGroup(cmd)
	return cmd
}

// output runs a child and returns all it wrote, with an error that names it.
func (e *env) output(ctx context.Context, name string, args ...string) (string, error) {
	return e.outputWith(ctx, nil, name, args...)
}

// outputWith is output with further environment variables.
func (e *env) outputWith(ctx context.Context, vars []string, name string, args ...string) (string, error) {
	cmd := e.command(ctx, name, args...)
	cmd.Env = append(slices.Clip(cmd.Env), vars...)
	var buf bytes.Buffer
	cmd.Stdout, cmd.Stderr = &buf, &buf
	err := cmd.Run()
	endGroup(cmd)
	if err != nil {
		err = fmt.Errorf("%s: %w", strings.Join(append([]string{name}, args...), " "), err)
	}
	return buf.String(), err
}

// missing says which of the needs could not be met, or returns "".
func (e *env) missing(needs []string) string {
	var out []string
	for _, n := range needs {
		if reason := e.lacks[n]; reason != "" {
			out = append(out, reason)
		}
	}
	return strings.Join(out, "; ")
}
