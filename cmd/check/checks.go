package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// allStages is the order of everything. Two lanes suit two cores. What looks at
// times and pictures (browser tests) runs alone; the machine under emulation
// keeps one core busy, so it runs beside work that does not mind.
func allStages() []stage {
	return []stage{
		{
			{
				{name: "tree", about: "the top level holds what the design says; no path of this machine; long files", run: checkTree},
				{name: "docs", about: "README and DEVELOPERS: the two commands exist, links lead somewhere", run: checkDocs},
				{name: "format", about: "gofmt", run: checkFormat},
				{name: "vet", about: "go vet ./...", run: checkVet},
				{name: "lint", about: "go tool staticcheck ./...", run: checkLint},
				{name: "build", about: "the program builds for linux, windows and darwin without a C compiler", run: checkBuild},
			},
			{
				{name: "mod", about: "go mod tidy would change nothing", run: checkMod},
				{name: "types", about: "types of the pages' scripts, by the TypeScript compiler", needs: []string{"jstools"}, run: checkTypes},
				{name: "unit", about: "tests with the race detector, fuzz seeds among them", run: checkUnit},
			},
		},
		{
			{{name: "kernel", about: "tests on a kernel of their own, in a virtual machine", needs: []string{"qemu", "kernel"}, run: checkKernel}},
		},
		{
			{{name: "browser", about: "tests in Chromium", needs: []string{"chromium"}, run: checkBrowser}},
		},
		{
			{{name: "fuzz", about: "every fuzz target for the time that --fuzz gives", run: checkFuzz}},
		},
		{
			{{name: "clean", about: "the checks left nothing behind in the git tree", run: checkClean}},
		},
	}
}

// wants are needs that a check's tests look for themselves: they skip, with
// "left out:", where it is missing.
func wants(check string) []string {
	switch check {
	case "unit":
		return []string{"compiler", "ffmpeg"}
	case "browser":
		return []string{"ffmpeg", "node", "jstools"}
	case "kernel":
		return []string{"chromium"}
	case "types":
		return []string{"node"}
	case "tree", "clean":
		return []string{"git"}
	}
	return nil
}

// finish is the result of a program whose silence means success.
func finish(out string, err error, ok string, bad string) result {
	if err != nil || strings.TrimSpace(out) != "" {
		if err != nil {
			out += "\n" + err.Error()
		}
		return failure(out, "%s", bad)
	}
	return passed("%s", ok)
}

func checkFormat(ctx context.Context, e *env) result {
	files, err := e.files(ctx)
	if err != nil {
		return failure("", "%v", err)
	}
	sources := withEnding(files, ".go")
	if len(sources) == 0 {
		return failure("", "found no Go file to look at")
	}
	out, err := e.output(ctx, "gofmt", append([]string{"-l"}, sources...)...)
	return finish(out, err, fmt.Sprintf("%d files", len(sources)), "not formatted; run: gofmt -w .")
}

func checkVet(ctx context.Context, e *env) result {
	all, err := e.packages(ctx)
	if err != nil {
		return failure(err.Error(), "listing packages")
	}
	out, err := e.output(ctx, "go", "vet", "./...")
	return finish(out, err, fmt.Sprintf("%d packages", len(all)), "go vet complains")
}

func checkLint(ctx context.Context, e *env) result {
	all, err := e.packages(ctx)
	if err != nil {
		return failure(err.Error(), "listing packages")
	}
	out, err := e.output(ctx, "go", "tool", "staticcheck", "./...")
	return finish(out, err, fmt.Sprintf("%d packages", len(all)), "staticcheck complains")
}

func checkMod(ctx context.Context, e *env) result {
	out, err := e.output(ctx, "go", "mod", "tidy", "-diff")
	if err == nil { // what it downloads it tells, and that is no difference
		return passed("go.mod and go.sum are tidy")
	}
	return finish(out, err, "", "go.mod or go.sum is not tidy; run: go mod tidy")
}

func checkBuild(ctx context.Context, e *env) result {
	dir, err := os.MkdirTemp("", "holdgap-check-")
	if err != nil {
		return failure("", "%v", err)
	}
	defer os.RemoveAll(dir)
	systems := []string{"linux", "windows", "darwin"}
	for _, system := range systems {
		out, err := e.outputWith(ctx, []string{"CGO_ENABLED=0", "GOOS=" + system}, "go", "build", "-o", filepath.Join(dir, system), "./cmd/holdgap")
		if err != nil {
			return failure(out, "cmd/holdgap does not build for %s", system)
		}
	}
	return passed("cmd/holdgap for %s", strings.Join(systems, ", "))
}

func checkTypes(ctx context.Context, e *env) result {
	const config = "web/static/jsconfig.json"
	list, err := e.output(ctx, "node", e.tools.tsc, "-p", config, "--noEmit", "--listFilesOnly")
	if err != nil {
		return failure(list, "%s cannot be used", config)
	}
	ours := 0
	for line := range strings.Lines(list) {
		if strings.HasSuffix(strings.TrimSpace(line), ".js") && !strings.Contains(line, "node_modules") {
			ours++
		}
	}
	if ours == 0 {
		return failure(list, "%s names no script to look at", config)
	}
	out, err := e.output(ctx, "node", e.tools.tsc, "-p", config, "--noEmit", "--pretty", "false")
	return finish(out, err, fmt.Sprintf("%d scripts", ours), "types do not fit")
}

// suite lists the packages and picks some.
func (e *env) suite(ctx context.Context, pick func(suites) []string, kind string) ([]string, *result) {
	all, err := e.packages(ctx)
	if err != nil {
		res := failure(err.Error(), "listing packages")
		return nil, &res
	}
	chosen := pick(sortPackages(all))
	if len(chosen) == 0 {
		res := failure("", "no package has %s tests", kind)
		return nil, &res
	}
	return chosen, nil
}

// cache keeps go test from answering out of its cache when strict.
func (e *env) cache(args ...string) []string {
	if e.opts.strict {
		args = append(args, "-count=1")
	}
	return args
}

func checkUnit(ctx context.Context, e *env) result {
	chosen, bad := e.suite(ctx, func(s suites) []string { return s.unit }, "unit")
	if bad != nil {
		return *bad
	}
	args := e.cache("-timeout=5m")
	lack := e.lacks["compiler"]
	if lack == "" {
		args = append(args, "-race")
	}
	res := e.goTest(ctx, append(args, chosen...)...)
	if lack != "" {
		res.leftOut = append(res.leftOut, "the race detector: "+lack)
	}
	return res
}

func checkKernel(ctx context.Context, e *env) result {
	chosen, bad := e.suite(ctx, func(s suites) []string { return s.kernel }, "kernel")
	if bad != nil {
		return *bad
	}
	return e.goTest(ctx, append([]string{"-count=1", "-p=1", "-timeout=6m"}, chosen...)...)
}

func checkBrowser(ctx context.Context, e *env) result {
	chosen, bad := e.suite(ctx, func(s suites) []string { return s.browser }, "browser")
	if bad != nil {
		return *bad
	}
	return e.goTest(ctx, append([]string{"-count=1", "-p=1", "-timeout=6m"}, chosen...)...)
}

// checkFuzz runs each fuzz target for the time asked for: go test takes one
// target of one package at a time.
func checkFuzz(ctx context.Context, e *env) result {
	chosen, bad := e.suite(ctx, func(s suites) []string { return s.unit }, "unit")
	if bad != nil {
		return *bad
	}
	count := 0
	for _, pkg := range chosen {
		out, err := e.output(ctx, "go", "test", "-list", "^Fuzz", pkg)
		if err != nil {
			return failure(out, "listing the fuzz targets of %s", pkg)
		}
		for _, target := range fuzzTargets(out) {
			out, err := e.output(ctx, "go", "test", "-run=^$", "-fuzz=^"+target+"$", "-fuzztime="+e.opts.fuzz.String(), pkg)
			if err != nil {
				return failure(out, "%s of %s", target, pkg)
			}
			count++
		}
	}
	if count == 0 {
		return failure("", "found no fuzz target")
	}
	return passed("%d targets for %s each", count, e.opts.fuzz.Round(time.Millisecond))
}

func fuzzTargets(list string) []string {
	var out []string
	for line := range strings.Lines(list) {
		if line = strings.TrimSpace(line); strings.HasPrefix(line, "Fuzz") {
			out = append(out, line)
		}
	}
	return out
}
