package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// topLevel is what the top level of the tree holds, beside files that begin
// with a dot.
var topLevel = []string{
	"DEVELOPERS.md", "README.md", "capture", "cmd", "go.mod", "go.sum",
	"overlay", "render", "testdata", "themes", "web",
}

// longFile is the number of lines above which a file is worth splitting.
const longFile = 600

// files are the files of the tree by slash-separated path, sorted: what git
// tracks or would track, or without git every file outside dot folders.
func (e *env) files(ctx context.Context) ([]string, error) {
	var files []string
	if e.isCheckout() && e.lacks["git"] == "" {
		out, err := e.output(ctx, "git", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
		if err != nil {
			return nil, fmt.Errorf("listing the files of the tree: %w\n%s", err, out)
		}
		for name := range strings.SplitSeq(out, "\x00") {
			if info, err := os.Lstat(filepath.Join(e.root, name)); name != "" && err == nil && info.Mode().IsRegular() {
				files = append(files, name)
			}
		}
	} else {
		err := fs.WalkDir(os.DirFS(e.root), ".", func(name string, d fs.DirEntry, err error) error {
			if err == nil && d.IsDir() && name != "." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "node_modules") {
				return fs.SkipDir
			}
			if err == nil && d.Type().IsRegular() {
				files = append(files, name)
			}
			return err
		})
		if err != nil {
			return nil, fmt.Errorf("listing the files of the tree: %w", err)
		}
	}
	if len(files) == 0 {
		return nil, errors.New("the tree holds no file")
	}
	slices.Sort(files)
	return files, nil
}

func (e *env) isCheckout() bool {
	_, err := os.Stat(filepath.Join(e.root, ".git"))
	return err == nil
}

func withEnding(files []string, endings ...string) []string {
	var out []string
	for _, f := range files {
		if slices.Contains(endings, path.Ext(f)) {
			out = append(out, f)
		}
	}
	return out
}

func checkTree(ctx context.Context, e *env) result {
	files, err := e.files(ctx)
	if err != nil {
		return failure("", "%v", err)
	}
	bad := topLevelFaults(files)
	var notes []string
	hints := machinePaths(e.root)
	for _, name := range files {
		data, err := os.ReadFile(filepath.Join(e.root, filepath.FromSlash(name)))
		if err != nil {
			return failure("", "%v", err)
		}
		if bytes.IndexByte(data, 0) >= 0 {
			continue // not text
		}
		bad = append(bad, pathFaults(name, string(data), hints)...)
		if n := bytes.Count(data, []byte("\n")); n > longFile && ownText(name) {
			notes = append(notes, fmt.Sprintf("%s has %d lines; above %d a file is worth splitting", name, n, longFile))
		}
	}
	if len(bad) > 0 {
		return failure(strings.Join(bad, "\n"), "%d faults in the tree", len(bad))
	}
	return result{line: fmt.Sprintf("%d files", len(files)), notes: notes}
}

// topLevelFaults compares the first elements of the files' paths with topLevel.
func topLevelFaults(files []string) []string {
	there := map[string]bool{}
	for _, f := range files {
		first, _, _ := strings.Cut(f, "/")
		there[first] = true
	}
	var bad []string
	for _, want := range topLevel {
		if !there[want] {
			bad = append(bad, fmt.Sprintf("the top level lacks %q", want))
		}
		delete(there, want)
	}
	for name := range there {
		if !strings.HasPrefix(name, ".") {
			bad = append(bad, fmt.Sprintf("the top level holds %q, which the design does not name", name))
		}
	}
	slices.Sort(bad)
	return bad
}

// ownText reports whether a file is text that people here write and read.
func ownText(name string) bool {
	for _, part := range strings.Split(path.Dir(name), "/") {
		if part == "vendor" || part == "testdata" || part == "third_party" {
			return false
		}
	}
	return slices.Contains([]string{".go", ".js", ".css", ".html", ".md", ".toml", ".sh"}, path.Ext(name)) && !strings.Contains(name, ".min.")
}

// machinePaths are folders of this machine that no file may name: the
// checkout, the folder it lies in, and the home folder.
func machinePaths(root string) []string {
	common := []string{"/", "/tmp", "/usr", "/var", "/opt", "/srv", "/home", "/mnt", "/src", "/root", "/var/tmp", "/usr/src", "/usr/local"}
	dirs := []string{root, filepath.Dir(root)}
	if home, err := os.UserHomeDir(); err == nil {
		dirs = append(dirs, home)
	}
	var out []string
	for _, d := range dirs {
		if d = filepath.ToSlash(filepath.Clean(d)); !slices.Contains(common, d) && !slices.Contains(out, d) && len(d) > 1 {
			out = append(out, d)
		}
	}
	return out
}

// personal finds home folders of somebody; a made-up name is fine in an example.
var personal = regexp.MustCompile(`(?:^|[^\w./-])(/(?:home|Users)/([A-Za-z][\w.-]*))/`)

func pathFaults(name, text string, hints []string) []string {
	var bad []string
	n := 0
	for line := range strings.Lines(text) {
		n++
		for _, h := range hints {
			if i := strings.Index(line, h+"/"); i >= 0 && (i == 0 || !strings.ContainsRune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_.-/", rune(line[i-1]))) {
				bad = append(bad, fmt.Sprintf("%s:%d: names a folder of this machine: %q", name, n, h))
				break
			}
		}
		if m := personal.FindStringSubmatch(line); m != nil && !slices.Contains([]string{"you", "user", "me", "player"}, m[2]) {
			bad = append(bad, fmt.Sprintf("%s:%d: names somebody's home folder: %q", name, n, m[1]))
		}
	}
	return bad
}

// commands are the two that README must name and that must exist.
var commands = []string{"go run ./cmd/holdgap", "go run ./cmd/check"}

// link finds the target of a Markdown link or picture, and of HTML's src.
var link = regexp.MustCompile(`\]\(([^)\s]+)[^)]*\)|src="([^"]+)"`)

func checkDocs(ctx context.Context, e *env) result {
	var bad []string
	links := 0
	for _, name := range []string{"README.md", "DEVELOPERS.md"} {
		data, err := os.ReadFile(filepath.Join(e.root, name))
		if err != nil {
			bad = append(bad, err.Error())
			continue
		}
		faults, n := linkFaults(name, string(data), func(p string) bool {
			_, err := os.Stat(filepath.Join(e.root, filepath.FromSlash(p)))
			return err == nil
		})
		bad, links = append(bad, faults...), links+n
		if name == "README.md" {
			bad = append(bad, e.commandFaults(ctx, string(data))...)
		}
	}
	if len(bad) > 0 {
		return failure(strings.Join(bad, "\n"), "%d faults in the documents", len(bad))
	}
	return passed("%d commands, %d links inside the tree", len(commands), links)
}

func (e *env) commandFaults(ctx context.Context, readme string) []string {
	var bad []string
	for _, c := range commands {
		if !strings.Contains(readme, c) {
			bad = append(bad, fmt.Sprintf("README.md: does not name %q", c))
		}
		pkg := strings.TrimPrefix(c, "go run ")
		if out, err := e.output(ctx, "go", "list", "-f", "{{.Name}}", pkg); err != nil || strings.TrimSpace(out) != "main" {
			bad = append(bad, fmt.Sprintf("README.md: %q is not a program here: %s", c, firstLine(out)))
		}
	}
	return bad
}

// linkFaults looks at the links that stay inside the tree; it returns those
// that lead nowhere, and how many it looked at.
func linkFaults(name, text string, exists func(string) bool) (bad []string, n int) {
	for _, m := range link.FindAllStringSubmatch(text, -1) {
		target := m[1] + m[2]
		target, _, _ = strings.Cut(target, "#")
		if target == "" || strings.Contains(target, ":") {
			continue
		}
		n++
		if !exists(target) {
			bad = append(bad, fmt.Sprintf("%s: link to %q leads nowhere", name, target))
		}
	}
	return bad, n
}

// treeState is what git says about the tree.
type treeState struct {
	known   bool
	why     string // why it is not known
	changes []string
}

func (e *env) treeState(ctx context.Context) treeState {
	if !e.isCheckout() {
		return treeState{why: "this is no git checkout"}
	}
	if lack := e.lacks["git"]; lack != "" {
		return treeState{why: lack}
	}
	out, err := e.output(ctx, "git", "status", "--porcelain", "--untracked-files=all")
	if err != nil {
		return treeState{why: err.Error() + " " + firstLine(out)}
	}
	s := treeState{known: true}
	for line := range strings.Lines(out) {
		s.changes = append(s.changes, strings.TrimRight(line, "\n"))
	}
	return s
}

func checkClean(ctx context.Context, e *env) result {
	return cleanResult(e.tree, e.treeState(ctx))
}

func cleanResult(before, after treeState) result {
	for _, s := range []treeState{before, after} {
		if !s.known {
			return result{line: "left out: " + s.why, leftOut: []string{s.why}}
		}
	}
	var left []string
	for _, c := range after.changes {
		if !slices.Contains(before.changes, c) {
			left = append(left, c)
		}
	}
	switch {
	case len(before.changes) > 0: // somebody is working here: what changed meanwhile may be theirs
		res := passed("the tree had changes before, so new ones are only named")
		for _, c := range left {
			res.notes = append(res.notes, "changed meanwhile: "+c)
		}
		return res
	case len(left) > 0:
		return failure(strings.Join(left, "\n"), "the checks left %d changes in the git tree", len(left))
	}
	return passed("the git tree is as it was")
}
